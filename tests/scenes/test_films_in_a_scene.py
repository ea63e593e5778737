"""A film whose transmittance was measured through it in air, boundaries and all, reads as one of which the material is known."""

import numpy as np
from scene_kit import SCENE, counts, make, opened, problems

from stationtest.optics import film

INNER = 0.62
IN_AIR = float(film.sheet(np.array([INNER]), 1.5)[0][0])  # two boundaries of index 1.5 and what goes to and fro between them


def with_film(transmittance):
    layer = f"{{film: {{over: bare belt, transmittance: {transmittance}, index: 1.5, roughness: 0.1, lies: loose}}}}"
    begin, end = SCENE.index("  mint: {colour"), SCENE.index("  chamomile: {colour")
    return SCENE[:begin] + f"  mint: {layer}\n" + SCENE[end:]


def test_both_ways_of_measuring_a_film_give_the_same_counts(tmp_path):
    assert round(IN_AIR, 3) == 0.572  # (1 - F)^2 t / (1 - F^2 t^2), F = 0.04
    alone = counts(opened(make(tmp_path, with_film(f"{100 * INNER:g} %"))))
    in_air = counts(opened(make(tmp_path, with_film(f"{100 * IN_AIR:.12g} %, measured: in air"))))
    assert np.array_equal(alone, in_air)


def test_more_than_a_clear_film_lets_through_is_refused(tmp_path):
    make(tmp_path, with_film("93 %, measured: in air"))
    assert problems(tmp_path) == [
        "scenes/line.scene.yaml:11:3: mint: a film of index 1.5 lets through at most 0.9231, found 0.9300 [wrong-value]"
    ]
