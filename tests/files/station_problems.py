# ruff: noqa: E501 (messages stand whole on one line)
"""One change in station.yaml of station_folder.py, and every problem that it makes, with its full text. Written and read by hand."""

from __future__ import annotations

from stationtest.files.station_fields import StationFields

STATION_PROBLEMS: list[tuple[str, str, list[str]]] = [
    (
        "tolerance: 4}\n  2",
        "tolerence: 4}\n  2",
        [
            (
                "station.yaml:18:45: channels.1.tolerence: there is no key `tolerence` here; did you mean "
                "`tolerance`?; allowed sensor, reference, references, for, distance, tolerance, switching, hysteresis, switches, on_delay, "
                "off_delay, pulse and 5 more [unknown-key]"
            ),
        ],
    ),
    (
        "CIEDE2000, tolerance: 4}\n  2",
        "CIEDE200, tolerance: 4}\n  2",
        [
            (
                "station.yaml:18:34: channels.1.distance: this word is not known here; did you mean `CIEDE2000`?; "
                "found CIEDE200; allowed CIE 1976 u'v', CIE 1976 L*a*b*, CIE 1994, CIEDE2000, CMC(2:1), CMC(1:1), "
                "sensor chromaticity [wrong-value]"
            ),
        ],
    ),
    (
        "tolerance: 4}\n  2",
        "tolerance: 0,012, hysteresis: 10 %}\n  2",
        [
            ("station.yaml:18:58: channels.1.tolerance: numbers are written with a decimal point, not a comma; found 0,012; allowed 0.012 [wrong-value]"),
        ],
    ),
    (
        "tolerance: 4}\n  2",
        'tolerance: "4"}\n  2',
        [
            (
                "station.yaml:18:56: channels.1.tolerance: a number is due here, and what is quoted is text: write "
                'it without quotes; found "4"; allowed a number such as 0.012 [wrong-value]'
            ),
        ],
    ),
    (
        "pulse: 120 ms",
        "pulse: 120",
        [
            (
                "station.yaml:23:59: outputs.flap.pulse: a bare number needs a unit: 120 ms; found 120; allowed a "
                "number with its unit (ns, us, ms, s, min, h), such as 40 ms [wrong-value]"
            ),
        ],
    ),
    (
        "pulse: 120 ms",
        "pulse: 120 mss",
        [
            (
                "station.yaml:23:59: outputs.flap.pulse: `mss` is no unit of a duration; did you mean 120 ms?; found "
                "120 mss; allowed a number with its unit (ns, us, ms, s, min, h), such as 40 ms [wrong-value]"
            ),
        ],
    ),
    (
        "pulse: 120 ms",
        "pulse: 12,5 ms",
        [
            (
                "station.yaml:23:62: outputs.flap.pulse: numbers are written with a decimal point, not a comma; found 12,5 ms; allowed "
                "12.5 ms [wrong-value]"
            ),
        ],
    ),
    (
        "observer: 2 deg\ntargets",
        "observer: 2 grad\ntargets",
        [
            (
                "station.yaml:12:15: sensors.sachet.observer: this word is not known here; found 2 grad; allowed 2 "
                "deg, 10 deg [wrong-value]"
            ),
        ],
    ),
    (
        "all_of: [1, 2]",
        "all_of: [1, 3]",
        [
            (
                "station.yaml:22:26: outputs.complete.all_of.2: there is no channel, input or output of this name; "
                "found 3; allowed 1, 2, box in, box out, complete, flap [unknown-name]"
            ),
        ],
    ),
    (
        "none_of: [complete]",
        "none_of: [flap]",
        [
            ("station.yaml:23:3: outputs.flap: this logic depends on itself: flap → flap [loop]"),
        ],
    ),
    (
        "all_of: [1, 2]",
        "all_of: [1, flap]",
        [
            ("station.yaml:23:3: outputs.flap: this logic depends on itself: complete → flap → complete [loop]"),
        ],
    ),
    (
        "inputs: [box in, box out]",
        "inputs: [box in, box out, 01]",
        [
            (
                "station.yaml:20:27: inputs.01: this name differs from `1` of channels in line 18 only in leading "
                "zeros, case or blanks [duplicate-name]"
            ),
        ],
    ),
    (
        "inputs: [box in, box out]",
        "inputs: [box in, box out, box in]",
        [
            ("station.yaml:20:27: inputs.box in: this name is given already, to one of inputs in line 20 [duplicate-name]"),
        ],
    ),
    (
        "  chamomile: {title: Chamomile}",
        "  chamomile: {title: Chamomile}\n  Chamomile: {title: x}",
        [
            (
                "station.yaml:16:3: targets.Chamomile: this name differs from `chamomile` of targets in line 15 only "
                "in leading zeros, case or blanks [duplicate-name]"
            ),
        ],
    ),
    (
        "  chamomile: {title: Chamomile}",
        "  chamomile: {title: Chamomile}\n  any: {title: x}",
        [
            (
                "station.yaml:16:3: targets.any: this word has a meaning of its own and cannot be a name; found any; "
                "allowed any other word [reserved-word]"
            ),
        ],
    ),
    (
        "Lab: [63, -28, 14], illuminant: D65",
        "Lab: [63, -28, 14], illuminant: D50",
        [
            (
                "station.yaml:18:18: channels.1.reference: the reference is given for illuminant D50, and the "
                "readings for D65; without spectra they cannot be compared [colour-mismatch]"
            ),
        ],
    ),
    (
        "Lab: [63, -28, 14], illuminant: D65, observer: 2 deg",
        "Lab: [63, -28, 14]",
        [
            (
                "station.yaml:14:10: targets.mint.colour.illuminant: this key is missing; Lab values without "
                "illuminant are not a colour [missing-key]"
            ),
            (
                "station.yaml:14:10: targets.mint.colour.observer: this key is missing; Lab values without observer "
                "are not a colour [missing-key]"
            ),
        ],
    ),
    (
        "Lab: [63, -28, 14]",
        "Lab: [63, -28]",
        [
            (
                "station.yaml:14:19: targets.mint.colour.Lab: this has the wrong number of entries; found 2; allowed "
                "at least 3 [wrong-value]"
            ),
        ],
    ),
    (
        "Lab: [63, -28, 14]",
        "Lab: [63, minty, 14]",
        [
            (
                "station.yaml:14:29: targets.mint.colour.Lab.2: this is not a number; found minty; allowed a number "
                "such as 0.012 [wrong-value]"
            ),
        ],
    ),
    (
        "between: bare belt",
        "between: bare bolt",
        [
            (
                "station.yaml:2:10: between: there is no target of this name; did you mean `bare belt`?; found bare "
                "bolt; allowed mint, chamomile, bare belt [unknown-name]"
            ),
        ],
    ),
    (
        "station: tea-sampler-2\n",
        "",
        [
            ("station.yaml:1:1: station: this key is missing [missing-key]"),
        ],
    ),
    (
        "station: tea-sampler-2\n",
        "station: tea-sampler-2\nproducts: {a: b}\n",
        [
            ("station.yaml:2:1: products: this word is kept for a later version of the files [reserved-word]"),
        ],
    ),
    (
        "learned: recordings/day1.csv",
        "learned: recordings/day2.csv",
        [
            (
                "station.yaml:19:28: channels.2.reference.learned: there is no file recordings/day2.csv; "
                "did you mean recordings/day1.csv? [no-file]"
            ),
        ],
    ),
    (
        "learned: recordings/day1.csv",
        "learned: ../outside.csv",
        [
            (
                "station.yaml:19:28: channels.2.reference.learned: this path leaves the station folder; found "
                "../outside.csv; allowed files inside it, or --allow-outside [outside-folder]"
            ),
        ],
    ),
    (
        "reference: mint",
        "reference: chamomile",
        [
            (
                "station.yaml:18:18: channels.1.reference: the target `chamomile` has no colour to compare with; "
                "give it `colour:`, or write reference: {learned: RECORDING, target: NAME} [colour-mismatch]"
            ),
        ],
    ),
    (
        "    to_xyz: [[0.41, 0.36, 0.18], [0.21, 0.72, 0.07], [0.02, 0.12, 0.95]]\n",
        "",
        [
            (
                "station.yaml:17:34: channels.1.distance: CIEDE2000 needs calibrated readings; give the sensor "
                "`to_xyz`, `illuminant` and `observer`, or use sensor chromaticity [colour-mismatch]"
            ),
            (
                "station.yaml:18:79: channels.2.distance: CIEDE2000 needs calibrated readings; give the sensor "
                "`to_xyz`, `illuminant` and `observer`, or use sensor chromaticity [colour-mismatch]"
            ),
        ],
    ),
    (
        "reads: linear RGB",
        "reads: linear rgb",
        [
            (
                "station.yaml:5:12: sensors.sachet.reads: what the sensor reads is not known; did you mean linear RGB?; found "
                "linear rgb; allowed linear RGB, XYZ, CIELAB, bands [wrong-value]"
            ),
        ],
    ),
    (
        "reads: linear RGB",
        "reads: cielab",
        [
            (
                "station.yaml:5:12: sensors.sachet.reads: what the sensor reads is not known; did you mean CIELAB?; found "
                "cielab; allowed linear RGB, XYZ, CIELAB, bands [wrong-value]"
            ),
        ],
    ),
    (
        "reads: linear RGB",
        "reads: RGB",
        [
            (
                "station.yaml:5:12: sensors.sachet.reads: what the sensor reads is not known; found RGB; "
                "allowed linear RGB, XYZ, CIELAB, bands [wrong-value]"
            ),
        ],
    ),
    (
        "columns: {red: r, green: g, blue: b}",
        "columns: {X: r, green: g, blue: b}",
        [
            (
                "station.yaml:6:5: sensors.sachet.columns: a sensor that reads linear RGB has one column for each of "
                "its bands; found X, green and blue; allowed red, green and blue [wrong-value]"
            ),
        ],
    ),
    (
        "white: [3650",
        "white: [10",
        [
            ("station.yaml:9:5: sensors.sachet.white: white must be above dark in every band [contradiction]"),
        ],
    ),
    (
        "held_until: box out",
        "held_until: box out, decided_at: box out",
        [
            (
                "station.yaml:22:42: outputs.complete.held_until: an output that is decided at an edge holds until "
                "the next decision; it has no latch [contradiction]"
            ),
        ],
    ),
    (
        "from: box in, to: box out",
        "from: box in",
        [
            (
                "station.yaml:25:3: sets.full box.to: this key is missing; a set has both `from` and `to`, or "
                "neither and a set column in its recordings [missing-key]"
            ),
        ],
    ),
    (
        "gap: 3 ms",
        "gap: 3 ms, decimal: comma",
        [
            (
                "station.yaml:29:84: recordings.recordings/*.csv.decimal: a comma cannot separate columns and "
                "decimals in one table [contradiction]"
            ),
        ],
    ),
    (
        "every: 1 ms, ",
        "",
        [
            (
                "station.yaml:29:3: recordings.recordings/*.csv.every: this key is missing; it says how long the "
                "last reading holds, such as 1 ms [missing-key]"
            ),
        ],
    ),
    (
        "in: ms}",
        "in: ms, zone: Europe/Berlin}",
        [
            (
                "station.yaml:29:56: recordings.recordings/*.csv.time.zone: a zone belongs to ISO 8601 times and "
                "times of day, and these are in ms [contradiction]"
            ),
        ],
    ),
    (
        "in: ms}",
        "in: ISO 8601, zone: Mars/Crater}",
        [
            (
                "station.yaml:29:62: recordings.recordings/*.csv.time.zone: this time zone is not known; found "
                "Mars/Crater; allowed names such as Europe/Berlin, or UTC [wrong-value]"
            ),
        ],
    ),
    (
        "target: part",
        "target: part, on: [1, 0]",
        [
            (
                "station.yaml:29:3: recordings.recordings/*.csv.off: the word `0` stands under `on` and under `off` "
                "[contradiction]"
            ),
        ],
    ),
    (
        "  mint: {colour",
        "  mint: {color: #ff0000}\n  mint2: {colour",
        [
            (
                "station.yaml:14:17: YAML reads `#ff0000}` as a comment, not as part of the value; put the value in "
                "quotes, or leave a blank after the # of a comment [comment-eats-value]"
            ),
        ],
    ),
    (
        "sensors:\n",
        "language: 2\nsensors:\n",
        [
            (
                "station.yaml:3:11: language: this version of stationtest does not read that language of files; "
                "found 2; allowed 1 [wrong-value]"
            ),
        ],
    ),
    (
        "conditions:\n",
        "required_in_run: [who, stage, who]\nconditions:\n",
        [
            ("station.yaml:26:31: required_in_run.3: this fact is asked for twice; found who [duplicate-name]"),
        ],
    ),
    (
        "height: [low, high]",
        "height: low",
        [
            ("station.yaml:27:11: conditions.height: a list is due here; found low [wrong-value]"),
        ],
    ),
    (
        "all_of: [1, 2]",
        "at_least: {n: 3, of: [1, 2]}",
        [
            ("station.yaml:22:14: outputs.complete.at_least: 3 of 2 can never be on [contradiction]"),
        ],
    ),
    (
        "all_of: [1, 2], held_until: box out",
        "held_until: box out",
        [
            (
                "station.yaml:22:3: outputs.complete: logic is exactly one of any_of, all_of, none_of and at_least; "
                "found none [missing-key]"
            ),
        ],
    ),
    (
        "all_of: [1, 2]",
        "all_of: [1, 2], any_of: [1]",
        [
            (
                "station.yaml:22:3: outputs.complete: logic is exactly one of any_of, all_of, none_of and at_least; "
                "found any_of and all_of [contradiction]"
            ),
        ],
    ),
    (
        "reference: mint, distance: CIEDE2000",
        "reference: {colour: {shares: [0.2, 0.3, 0.5]}}, distance: sensor chromaticity",
        [
            (
                "station.yaml:18:7: channels.1.reference: a reference given as a colour stands for no target by "
                "itself; say which with `for: [NAME]` in the channel [missing-key]"
            ),
        ],
    ),
    (
        "members: {mint: 1, chamomile: 1}",
        "members: {mint: 1, camomile: 0}",
        [
            (
                "station.yaml:25:33: sets.full box.members.camomile: there is no target of this name; did you mean "
                "`chamomile`?; found camomile; allowed mint, chamomile, bare belt [unknown-name]"
            ),
            (
                "station.yaml:25:43: sets.full box.members.camomile: this number must be at least 1; found 0; "
                "allowed a whole number such as 3 [wrong-value]"
            ),
        ],
    ),
    (
        "reads: linear RGB",
        "reads: CIELAB",
        [
            (
                "station.yaml:6:5: sensors.sachet.columns: a sensor that reads CIELAB has one column for each of its "
                "bands; found red, green and blue; allowed L, a and b [wrong-value]"
            ),
            (
                "station.yaml:7:17: sensors.sachet.full_scale: this belongs to counts, and the sensor reads CIELAB; "
                "leave the line out [contradiction]"
            ),
            (
                "station.yaml:8:5: sensors.sachet.dark: this belongs to counts, and the sensor reads CIELAB; leave "
                "the line out [contradiction]"
            ),
            (
                "station.yaml:9:5: sensors.sachet.white: this belongs to counts, and the sensor reads CIELAB; leave "
                "the line out [contradiction]"
            ),
            (
                "station.yaml:10:5: sensors.sachet.to_xyz: this belongs to counts, and the sensor reads CIELAB; "
                "leave the line out [contradiction]"
            ),
        ],
    ),
    (
        "full_scale: 4095",
        "clips_at: 4095",
        [
            (
                "station.yaml:7:15: sensors.sachet.clips_at: levels are shares of the full scale; `full_scale:` is "
                "missing [missing-key]"
            ),
        ],
    ),
    (
        "reference: mint, distance: CIEDE2000",
        "reference: {learned: recordings/day1.csv}, distance: CIEDE2000",
        [
            (
                "station.yaml:18:7: channels.1.reference.target: this key is missing; it says which target of the "
                "recording is learned [missing-key]"
            ),
        ],
    ),
    (
        "reference: mint, distance: CIEDE2000",
        "reference: mint, distance: sensor chromaticity",
        [
            (
                "station.yaml:18:18: channels.1.reference: sensor chromaticity compares with shares of this sensor's "
                "bands; allowed a learned reference, or colour: {shares: [..]} [colour-mismatch]"
            ),
        ],
    ),
    (
        "illuminant: D65\n",
        "illuminant: neon\n",
        [
            (
                "station.yaml:11:17: sensors.sachet.illuminant: this illuminant is not known, so its white point "
                "must be stated; found neon; allowed A, B, C, D50, D55, D60, D65, D75, E, FL2, FL7, FL11, or any "
                "name with `white_point: [X, Y, Z]` [wrong-value]"
            ),
            (
                "station.yaml:18:18: channels.1.reference: the reference is given for illuminant D65, and the "
                "readings for neon; without spectra they cannot be compared [colour-mismatch]"
            ),
        ],
    ),
    (
        "  1: {reference: mint",
        "  1: {sensor: sachett, reference: mint",
        [
            (
                "station.yaml:18:15: channels.1.sensor: there is no sensor of this name; did you mean `sachet`?; "
                "found sachett; allowed sachet [unknown-name]"
            ),
        ],
    ),
    (
        "target: part",
        "gate: {input: box in, list: recordings/day1.csv}",
        [
            (
                "station.yaml:29:3: recordings.recordings/*.csv.target: this key is missing; it names the column of "
                "the list that says what was put through [missing-key]"
            ),
        ],
    ),
    (
        "target: part",
        "rows: trials, target: part",
        [
            (
                "station.yaml:29:24: recordings.recordings/*.csv.time: a table of trials has no times; leave the "
                "line out, or say rows: samples [contradiction]"
            ),
            (
                "station.yaml:29:58: recordings.recordings/*.csv.every: a table of trials has no times; leave the "
                "line out, or say rows: samples [contradiction]"
            ),
            (
                "station.yaml:29:69: recordings.recordings/*.csv.gap: a table of trials has no times; leave the line "
                "out, or say rows: samples [contradiction]"
            ),
        ],
    ),
    (
        "tolerance: 4}\n  2",
        "tolerance: 4, hysteresis: -5 %}\n  2",
        [
            ("station.yaml:18:71: channels.1.hysteresis: a share is out of range; found -5 %; allowed 0 % or more [wrong-value]"),
        ],
    ),
    (
        "inputs: {box in: I1, box out: I2}",
        "inputs: {box in: I1, box out: I1}",
        [
            (
                "station.yaml:29:119: recordings.recordings/*.csv.inputs.box out: `box in` is read from the same "
                "column I1 [contradiction]"
            ),
        ],
    ),
    (
        "station: tea-sampler-2\n",
        "station: tea-sampler-2\nrequirements: {a: b}\n",
        [
            ("station.yaml:2:1: requirements: this word is kept for a later version of the files [reserved-word]"),
        ],
    ),
    (
        "station: tea-sampler-2\n",
        "station: tea-sampler-2\nrequirements: nowhere.csv\n",
        [
            ("station.yaml:2:15: requirements: there is no file nowhere.csv [no-file]"),
        ],
    ),
    (
        "conditions:\n",
        "conditions: none\nx:\n",
        [
            ("station.yaml:26:13: conditions: a mapping is due here; found none [wrong-value]"),
            (
                "station.yaml:27:1: x: there is no key `x` here; allowed language, station, title, drawing, scan, "
                f"between, belt_speed, sensors, targets, channels, inputs, outputs and {len(StationFields.model_fields) - 12} more [unknown-key]"
            ),
        ],
    ),
]
