"""A small station with a scene, and how to change one thing in it."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from stationtest import plugins
from stationtest.errors import StationtestError
from stationtest.files.suite import load
from stationtest.model.case import Suite
from stationtest.signals.batch import Batch, joined
from stationtest.sources.scenes.opened import OpenedScene, open_scene

STATION = """\
station: tea-sampler-3
between: bare belt
belt_speed: 500 mm/s
scan: {worst: 11 ms, input_filter: 3 ms}
sensors:
  eye:
    reads: linear RGB
    columns: {red: r, green: g, blue: b}
    full_scale: 4095
    dark: [12, 11, 14]
    white: [3650, 3720, 3590]
    spot: 4 mm
targets:
  mint: {title: Mint}
  chamomile: {title: Chamomile}
  bare belt: {background: yes}
channels:
  1: {reference: {learned: scenes/taught.scene.yaml, target: mint}, distance: sensor chromaticity, tolerance: 0.03,
      hysteresis: 10 %, off_delay: 10 ms}
  2: {reference: {learned: scenes/taught.scene.yaml, target: chamomile}, distance: sensor chromaticity, tolerance: 0.03}
inputs: [box in, box out]
outputs:
  complete: {all_of: [1, 2], held_until: box out}
  flap: {none_of: [complete], decided_at: box out, pulse: 60 ms}
sets:
  box: {members: {mint: 1, chamomile: 1}, from: box in, to: box out, output: complete}
recordings:
  "recordings/*.parquet": {time: {column: t, in: ms}, every: 1 ms, gap: 2 ms, target: target, specimen: specimen}
"""

SCENE = """\
seed: 7
every: 1 ms
sensors:
  eye:
    light: {illuminant: LED-B3}
    head: {standoff: 40 mm, view: 45 deg}
    bands: {peaks: [610 nm, 540 nm, 460 nm], widths: [50 nm, 50 nm, 50 nm]}
    electrons: 200000
    read_noise: 1.5
surfaces:
  mint: {colour: {Lab: [63, -28, 14], illuminant: D65, observer: 2 deg}, gloss: {index: 1.5, roughness: 0.3}}
  chamomile: {colour: {Lab: [82, 2, 46], illuminant: D65, observer: 2 deg}}
  bare belt: {grey: 6 %}
targets:
  mint: {length: 40 mm, specimens: 5, spread: {L: 0.5, a: 0.3, b: 0.3, gloss: 5 %}}
  chamomile: {length: 40 mm, specimens: 5}
belt:
  gap: 30 mm
  order: [mint, chamomile]
  count: 60
  jitter: {height: 0.2 mm, tilt: 0.5 deg}
"""

BOXES = SCENE.replace("order: [mint, chamomile]\n  count: 60", "order: [box]\n  count: 30") + """\
sets:
  box: {gap: 120 mm, defects: [{missing: mint, sets: [3]}, {wrong: mint, by: chamomile, sets: [5]}, {doubled: any, sets: 7}]}
inputs:
  box in: {at: start, of: box, offset: -40 ms, lasts: 20 ms}
  box out: {at: end, of: box, offset: 40 ms, lasts: 20 ms}
"""

CASES = """\
scene: ../scenes/line.scene.yaml
evidence: {trials: 20}
cases:
  REC-01:
    title: Each sachet fires its own channel and no other
    present: [mint, chamomile]
    expect: {own_channel_only: yes}
  BELT-01:
    title: Nothing switches on the bare belt
    present: {between: bare belt}
    expect: {no_channel: yes}
"""


def make(folder: Path, scene: str = SCENE, *, station: str = STATION, cases: str = CASES, **files: str) -> Path:
    """A station folder with scenes/line.scene.yaml and scenes/taught.scene.yaml; `files` are spectra under scenes/, by name."""
    for name in ("scenes", "cases", "recordings"):
        (folder / name).mkdir(exist_ok=True)
    (folder / "station.yaml").write_text(station, encoding="utf-8")
    (folder / "scenes" / "line.scene.yaml").write_text(scene, encoding="utf-8")
    (folder / "scenes" / "taught.scene.yaml").write_text(SCENE.replace("count: 60", "count: 6"), encoding="utf-8")
    (folder / "cases" / "line.case.yaml").write_text(cases, encoding="utf-8")
    for name, text in files.items():
        (folder / "scenes" / f"{name}.csv").write_text(text, encoding="utf-8")
    return folder


def suite(folder: Path) -> Suite:
    return load(str(folder), expectations=plugins.load().expectations)


def opened(folder: Path, path: str = "scenes/line.scene.yaml") -> OpenedScene:
    return open_scene(suite(folder), path)


def whole(scene: OpenedScene) -> Batch:
    return joined(list(scene.batches()))


def counts(scene: OpenedScene) -> np.ndarray:
    """(B, n) counts of the whole scene."""
    return np.stack(whole(scene).bands[scene.sensors[0]])


def problems(folder: Path) -> list[str]:
    """The printed problems, without the folder in front of the paths; those of the physics too."""
    try:
        for scene in (found := suite(folder)).scenes:
            open_scene(found, scene.path)
    except StationtestError as error:
        return [str(problem).replace(f"{folder}/", "") for problem in error.problems]
    return []
