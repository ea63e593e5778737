"""What lies where on the belt: every presentation of a scene with its place, its specimen, its set and its times.

Places are mm along the belt from the spot's centre at time 0, against the travel: what lies at x is under the centre at
x / speed. A target is before the sensor from the instant at which its leading edge enters the spot to that at which its
trailing edge leaves it; where neighbours are closer than the spot is long, the border between them is the middle of the gap.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from stationtest.errors import UsageError
from stationtest.model.scene import Defect, Scene, SceneSet
from stationtest.optics.noise import CELL, uniforms_at
from stationtest.optics.spectra import Floats, refused

Ints = NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class Timeline:
    """K presentations in order: (K,) arrays. `target` and `specimen` number those of the scene; `set` counts sets, -1 for none.

    `begin_mm`, `end_mm`: leading and trailing edge on the belt. `start_ns`, `end_ns`: when it is before the sensor.
    `set_kind`, `set_begin_mm`, `set_end_mm` (S,): which of the scene's sets each is, and from where to where it lies. `rows`: of
    the whole scene.
    """

    target: Ints
    specimen: Ints
    set: Ints
    begin_mm: Floats
    end_mm: Floats
    start_ns: Ints
    end_ns: Ints
    set_kind: Ints
    set_start_ns: Ints
    set_end_ns: Ints
    rows: int


def timeline(scene: Scene, spot_mm: float) -> Timeline:
    """The timeline of a scene under a spot of this diameter. Raises `UsageError` where nothing fits on the belt."""
    target, of_set, extra_gap, kinds = _laid(scene)
    count = len(target)
    belt, lengths = scene.belt, np.array([one.length_mm for one in scene.targets])
    low, high = belt.gap_mm
    gap = low + (high - low) * uniforms_at(scene.seed, "gap", 0, count)
    gap = np.where(np.isnan(extra_gap), gap, extra_gap)
    length = lengths[target]
    begin = belt.lead_mm + np.concatenate(([0.0], np.cumsum(length + gap)[:-1]))
    if belt.lasts_ns is not None:
        travelled = belt.lasts_ns * 1e-9 * belt.speed_mm_s
        count = int(np.searchsorted(begin + length + belt.lead_mm, travelled, "right"))
        if count and of_set[count - 1] >= 0 and count < len(of_set) and of_set[count] == of_set[count - 1]:
            count = int(np.searchsorted(of_set, of_set[count - 1]))  # no half sets
        if not count:
            raise _at(scene, "belt.lasts", "is too short for one target to pass")
        target, of_set, begin, length, gap = target[:count], of_set[:count], begin[:count], length[:count], gap[:count]
        whole_ns = belt.lasts_ns
    else:
        whole_ns = round((float(begin[-1] + length[-1]) + belt.lead_mm) / belt.speed_mm_s * 1e9)
    end = begin + length
    between = np.minimum((begin[1:] - end[:-1]) / 2.0, spot_mm / 2.0)
    start = (begin - np.concatenate(([spot_mm / 2.0], between))) / belt.speed_mm_s
    stop = (end + np.concatenate((between, [spot_mm / 2.0]))) / belt.speed_mm_s
    start_ns, end_ns = np.rint(start * 1e9).astype(np.int64), np.rint(stop * 1e9).astype(np.int64)
    heads = np.flatnonzero((of_set >= 0) & (np.append(-2, of_set[:-1]) != of_set))
    tails = np.flatnonzero((of_set >= 0) & (np.append(of_set[1:], -2) != of_set))
    return Timeline(
        target=target,
        specimen=_specimens(scene, target),
        set=of_set,
        begin_mm=begin,
        end_mm=end,
        start_ns=start_ns,
        end_ns=end_ns,
        set_kind=kinds[of_set[heads]] if len(heads) else np.empty(0, np.int64),
        set_start_ns=start_ns[heads],
        set_end_ns=end_ns[tails],
        rows=max(-(-whole_ns // scene.every_ns), 1),
    )


def _laid(scene: Scene) -> tuple[Ints, Ints, Floats, Ints]:
    """Targets in order (K,), the set of each or -1, the gap after each where a set states it (NaN else), and the kind of each
    set."""
    belt = scene.belt
    numbers = {target.name: number for number, target in enumerate(scene.targets)}
    kinds = {kind.name: number for number, kind in enumerate(scene.sets)}
    entries = belt.count if belt.count is not None else _entries_within(scene)
    if belt.weights:
        border = np.cumsum(belt.weights) / np.sum(belt.weights)
        chosen = np.searchsorted(border, uniforms_at(scene.seed, "order", 0, entries), "right")
        chosen = np.minimum(chosen, len(belt.order) - 1)
    else:
        chosen = np.arange(entries) % len(belt.order)
    if not any(name in kinds for name in belt.order):
        target = np.array([numbers[name] for name in belt.order])[chosen]
        none = np.full(entries, -1)
        return target, none, np.full(entries, np.nan), np.empty(0, np.int64)
    target_of: list[int] = []
    set_of: list[int] = []
    gaps: list[float] = []
    kind_of: list[int] = []
    met = [0] * len(kinds)
    for entry in chosen.tolist():
        name = belt.order[entry]
        if name not in kinds:
            target_of.append(numbers[name])
            set_of.append(-1)
            gaps.append(np.nan)
            continue
        kind = kinds[name]
        members = _members(scene, scene.sets[kind], kind, met[kind])
        met[kind] += 1
        target_of += [numbers[member] for member in members]
        set_of += [len(kind_of)] * len(members)
        after = scene.sets[kind].gap_mm
        gaps += [np.nan] * (len(members) - 1) + [np.nan if after is None else after]
        kind_of.append(kind)
    return np.array(target_of), np.array(set_of), np.array(gaps), np.array(kind_of, np.int64)


def _entries_within(scene: Scene) -> int:
    """At least as many entries as pass in the time that is stated."""
    belt = scene.belt
    one = min(target.length_mm for target in scene.targets) + belt.gap_mm[0]
    members = {kind.name: sum(many for _, many in kind.members) for kind in scene.sets}
    fewest = min(max(members.get(name, 1) - 1, 1) for name in belt.order)
    return int((belt.lasts_ns or 0) * 1e-9 * belt.speed_mm_s / (one * fewest)) + 1


@lru_cache(maxsize=64)
def _cell(seed: int, stream: str, cell: int) -> Floats:
    return uniforms_at(seed, stream, cell * CELL, CELL)


def _draw(seed: int, stream: str, ordinal: int) -> float:
    """The number of this ordinal of a stream, in [0, 1)."""
    return float(_cell(seed, stream, ordinal // CELL)[ordinal % CELL])


def _members(scene: Scene, kind: SceneSet, number: int, ordinal: int) -> list[str]:
    """What lies in the set of this ordinal of its kind, its defect done. The first defect that is due is the one."""
    members = [name for name, many in kind.members for _ in range(many)]
    for which, defect in enumerate(kind.defects):
        if _due(scene, defect, number, which, ordinal):
            pick = _draw(scene.seed, f"set {number}/defect {which}/member", ordinal)
            places = [at for at, name in enumerate(members) if defect.member in ("any", name)]
            at = places[int(pick * len(places))]
            if defect.what == "missing":
                del members[at]
            elif defect.what == "wrong":
                members[at] = defect.by or members[at]
            else:
                members.insert(at, members[at])
            break
    if kind.shuffled:
        stream, first = f"set {number}/order {len(members)}", ordinal * len(members)
        keys = [_draw(scene.seed, stream, first + at) for at in range(len(members))]
        members = [members[at] for at in sorted(range(len(members)), key=keys.__getitem__)]
    if not members:
        raise _at(scene, f"sets.{kind.name}", "the set is empty where its only member is missing")
    return members


def _due(scene: Scene, defect: Defect, kind: int, which: int, ordinal: int) -> bool:
    if defect.share is None:
        return ordinal + 1 in defect.sets
    return _draw(scene.seed, f"set {kind}/defect {which}", ordinal) < defect.share


def _specimens(scene: Scene, target: Ints) -> Ints:
    """Which specimen of its target each presentation shows: in turn."""
    specimen = np.zeros(len(target), np.int64)
    for number, one in enumerate(scene.targets):
        mine = np.flatnonzero(target == number)
        specimen[mine] = np.arange(len(mine)) % len(one.specimens)
    return specimen


def _at(scene: Scene, key: str, why: str) -> UsageError:
    return refused(f"{scene.path}: {key}", why)


def names_of_specimens(scene: Scene) -> tuple[list[str], Sequence[int]]:
    """Every specimen of the scene, and the number of the first of each target."""
    names: list[str] = []
    first = []
    for target in scene.targets:
        first.append(len(names))
        names += target.specimens
    return names, first


def on_intervals(starts: Ints, ends: Ints) -> Ints:
    """Half-open intervals (n, 2), sorted; those that touch or overlap made one."""
    order = np.argsort(starts, kind="stable")
    starts, ends = starts[order], np.maximum.accumulate(ends[order]) if len(ends) else ends
    if not len(starts):
        return np.empty((0, 2), np.int64)
    first = np.append(True, starts[1:] > ends[:-1])
    heads = np.flatnonzero(first)
    return np.stack([starts[heads], ends[np.append(heads[1:], len(starts)) - 1]], axis=1)


def driven(scene: Scene, line: Timeline) -> dict[str, Ints]:
    """The on-intervals (n, 2) in ns of every input that the scene drives."""
    found = {}
    for given in scene.inputs:
        if given.at == "times":
            starts = np.array(given.times_ns, np.int64)
            ends = starts + given.lasts_ns
        else:
            begins, stops = _spans(scene, line, given.of)
            base = begins if given.at in ("start", "during") else stops
            starts = base + given.offset_ns
            ends = stops + given.offset_ns if given.at == "during" else starts + given.lasts_ns
        found[given.name] = on_intervals(starts, ends)
    return found


def _spans(scene: Scene, line: Timeline, names: Iterable[str]) -> tuple[Ints, Ints]:
    """Starts and ends of all presentations of these targets and all sets of these names."""
    starts, ends = [np.empty(0, np.int64)], [np.empty(0, np.int64)]
    kinds = [kind.name for kind in scene.sets]
    targets = [target.name for target in scene.targets]
    for name in names:
        if name in kinds:
            mine = line.set_kind == kinds.index(name)
            starts.append(line.set_start_ns[mine])
            ends.append(line.set_end_ns[mine])
        else:
            mine = line.target == targets.index(name)
            starts.append(line.start_ns[mine])
            ends.append(line.end_ns[mine])
    return np.concatenate(starts), np.concatenate(ends)
