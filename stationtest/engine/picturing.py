"""What a picture of a scene shows, as plain numbers: its spectra, how head and targets stand, and a stretch of its readings."""

from __future__ import annotations

from typing import Any

import numpy as np

from stationtest.engine.thinning import extremes
from stationtest.files.words import duration_text
from stationtest.model.scene import SceneTarget
from stationtest.optics.spectra import GRID as WAVELENGTHS
from stationtest.optics.spectra import Floats
from stationtest.sources.scenes.opened import OpenedScene

PRESENTED = 4  # presentations in the stretch of readings
POINTS = 600  # of each band


def picture(opened: OpenedScene) -> dict[str, Any]:
    """The facts of a scene and its three figures, for `report.scene_page`."""
    scene, optics, line = opened.scene, opened.optics, opened.line
    given = optics.sensor
    facts = [
        ("seed", str(scene.seed)),
        ("readings", f"{line.rows}, one every {duration_text(scene.every_ns)}"),
        ("presentations", str(len(line.target))),
        ("sensor", f"{given.name}: {given.bits} bits, {given.electrons:g} electrons at full scale"),
        ("belt", f"{scene.belt.speed_mm_s:g} mm/s"),
    ]
    return {
        "path": scene.path,
        "title": scene.title,
        "facts": facts,
        "figures": [_spectra(opened), _geometry(opened), _readings(opened)],
    }


def _curve(values: Floats) -> list[list[float]]:
    return [[float(nm), round(float(value), 5)] for nm, value in zip(WAVELENGTHS, values, strict=True)]


def _spectra(opened: OpenedScene) -> dict[str, Any]:
    optics = opened.optics
    bands = opened.suite.station.sensor(optics.sensor.name).bands
    above = [{"name": "light", "points": _curve(optics.spectrum / optics.spectrum.max())}]
    above += [
        {"name": f"band {name}", "points": _curve(curve / curve.max())}
        for name, curve in zip(bands, optics.responses, strict=True)
    ]
    below = []
    for name, seen in optics.surfaces.items():
        below.append({"name": name, "points": _curve(seen.surface.matt)})
        if seen.surface.mirror is not None:
            below.append({"name": f"{name}, mirror", "points": _curve(seen.surface.mirror)})
    return {
        "id": "spectra",
        "kind": "spectra",
        "title": "Spectra.",
        "description": "Above: the light and what each band sees, each as a share of its peak. Below: what each surface reflects "
        "without its gloss.",
        "data": {"above": above, "below": below},
    }


def _geometry(opened: OpenedScene) -> dict[str, Any]:
    scene, head = opened.scene, opened.optics.head
    line = opened.line
    first = (line.begin_mm[0] + line.end_mm[0]) / 2
    lying = []
    for begin, end, number in zip(line.begin_mm[:8], line.end_mm[:8], line.target[:8].tolist(), strict=True):
        target = scene.targets[number]
        lying.append({"name": target.name, "from": float(begin - first), "to": float(end - first), **_shape(target)})
    return {
        "id": "geometry",
        "kind": "geometry",
        "title": "Head and belt, from the side.",
        "description": "The first target lies under the middle of the spot; the belt moves to the right. Lengths are to scale.",
        "data": {
            "standoff": head.standoff_mm, "spot": head.spot_mm, "light_deg": head.light_deg, "view_deg": head.view_deg,
            "light_half_deg": head.light_half_deg, "view_half_deg": head.view_half_deg, "targets": lying,
        },
    }  # fmt: skip


def _shape(target: SceneTarget) -> dict[str, Any]:
    """How a target rises over the belt: raised, its rib (from the leading edge), its radius and which way its axis lies."""
    rib = target.rib
    return {
        "raised": target.raised_mm,
        "rib": None if rib is None else [rib.at_mm, rib.width_mm, rib.height_mm],
        "radius": None if target.cylinder is None else target.cylinder.radius_mm,
        "along": target.cylinder is not None and target.cylinder.along,
    }


def _readings(opened: OpenedScene) -> dict[str, Any]:
    scene, line = opened.scene, opened.line
    shown = min(PRESENTED, len(line.target))
    margin = max(int(line.end_ns[0] - line.start_ns[0]) // 3, 5 * scene.every_ns)
    start = max(int(line.start_ns[0]) - margin, 0)
    end = min(int(line.end_ns[shown - 1]) + margin, line.rows * scene.every_ns)
    times, counts, inputs = [], [], {given.name: [] for given in scene.inputs}  # type: ignore[var-annotated]
    for batch in opened.seek(start, end):
        assert batch.t_ns is not None
        low, high = np.searchsorted(batch.t_ns, (start, end)).tolist()
        times.append(batch.t_ns[low:high])
        counts.append(np.stack([column[low:high] for column in batch.bands[opened.sensors[0]]]))
        for name, states in inputs.items():
            states.append(batch.digital["input", name][low:high])
    t_ns, levels = np.concatenate(times), np.concatenate(counts, axis=1)
    bands = opened.suite.station.sensor(opened.sensors[0]).bands
    first_few = [part[:shown].tolist() for part in (line.target, line.start_ns, line.end_ns)]
    curves = []
    for name, values in zip(bands, levels, strict=True):
        kept = extremes(values, POINTS)
        curves.append({"name": name, "points": [[int(t_ns[row]), float(values[row])] for row in kept]})
    return {
        "id": "readings",
        "kind": "readings",
        "title": "A stretch of its readings.",
        "description": f"Counts of each band while the first {shown} targets pass, and the inputs.",
        "data": {
            "span_ns": [start, end], "full_scale": opened.optics.detector.full_scale, "bands": curves, "of": len(t_ns),
            "presented": [
                {"label": scene.targets[number].name, "start_ns": begin, "end_ns": until}
                for number, begin, until in zip(*first_few, strict=True)
            ],
            "inputs": [
                {"name": name, "on": _on(t_ns, np.concatenate(states), scene.every_ns)} for name, states in inputs.items()
            ],
        },
    }  # fmt: skip


def _on(t_ns: np.ndarray, states: np.ndarray, every_ns: int) -> list[list[int]]:
    edges = np.flatnonzero(np.diff(np.concatenate(([0], states.astype(np.int8), [0]))))
    return [[int(t_ns[a]), int(t_ns[b - 1]) + every_ns] for a, b in edges.reshape(-1, 2).tolist()]
