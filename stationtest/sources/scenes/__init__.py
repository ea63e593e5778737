"""Scenes as sources of readings: the same batches on the same grid as a recording, made from a description.

    timeline     what lies where on the belt, and when it is before the sensor
    driven       the inputs: on-intervals from the timeline
    optical      what the physics makes of a scene once: band sums of every surface, gains, detector
    sensed       counts of one sensor, grid cell by grid cell
    opened       the scene with the face of a recording
    written      the scene written out as a recording

No name of a target or specimen goes into the readings: random numbers are addressed by the scene's seed, the number of a target
in the file, and the ordinal of a presentation.
"""
