"""Observations made by hand, for tests of judging: a station of a few channels, and a table that is filled row by row.

All times given here are in ms. Nothing of the observing code is used.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

from stationtest import plugins
from stationtest.engine.judging import judge
from stationtest.model.case import Case, Evidence, Expected, Present, Suite
from stationtest.model.digital import Digital
from stationtest.model.observations import NEVER, Clock, Presentations, Responses, Sets, Signal, SourceObservations
from stationtest.model.recording_form import RecordingForm
from stationtest.model.station import (
    Channel,
    Colour,
    Edge,
    Logic,
    Output,
    Reference,
    Scan,
    Sensor,
    SetKind,
    Settings,
    Specimen,
    Station,
    Target,
)

MS = 1_000_000
PARTS = plugins.load(plugins.manager(entry_points=()))
TARGETS = ("mint", "chamomile", "hibiscus", "bare belt")
PROVEN = Evidence(reliability=0.95, confidence=0.95, of="presentations")

__all__ = ["MS", "PARTS", "PROVEN", "Did", "Digital", "Edge", "RecordingForm", "Table", "case", "channel", "run_case", "station"]


def channel(name: str, target: str, sensor: str = "sachet", **more: Any) -> Channel:
    reference = Reference(name=target, colour=Colour(space="shares", values=(0.3, 0.4, 0.3)))
    return Channel(
        name=name,
        sensor=sensor,
        references=(reference,),
        for_targets=(target,),
        distance="sensor chromaticity",
        tolerance=0.012,
        **more,
    )


def station(**more: Any) -> Station:
    """Channels 1, 2, 3 for mint, chamomile, hibiscus; a box of mint and chamomile; a flap decided at box out."""
    box_out = Edge(input="box out")
    declared: dict[str, Any] = {
        "name": "tea",
        "scan": Scan(worst_ns=11 * MS, input_filter_ns=3 * MS),
        "between": "bare belt",
        "sensors": (_sensor("sachet"),),
        "targets": tuple(Target(name=name, background=name == "bare belt") for name in TARGETS),
        "settings": (Settings(channels=(channel("1", "mint"), channel("2", "chamomile"), channel("3", "hibiscus"))),),
        "inputs": ("box in", "box out"),
        "outputs": (
            Output(name="box complete", logic=Logic(op="all_of", of=("1", "2")), held_until=box_out),
            Output(name="flap", logic=Logic(op="none_of", of=("box complete",)), decided_at=box_out, pulse=120 * MS),
            Output(name="counter", logic=Logic(op="any_of", of=("1", "2", "3"))),
        ),
        "sets": (
            SetKind(
                name="full box",
                members=(("mint", 1), ("chamomile", 1)),
                from_edge=Edge(input="box in"),
                to_edge=box_out,
                output="box complete",
            ),
        ),
    }
    declared.update(more)
    return Station(**declared)


def _sensor(name: str, **more: Any) -> Sensor:
    return Sensor(
        name=name, reads="linear RGB", bands=("red", "green", "blue"), columns=("r", "g", "b"), full_scale=4095.0,
        clips_at=4095.0,
        dark=(12.0, 12.0, 12.0), white=(4000.0, 4000.0, 4000.0), **more,
    )  # fmt: skip


sensor = _sensor


@dataclass
class Did:
    """What one channel did in one presentation, in ms; `on` is its own on-time from `at` after the start."""

    on: float = 0
    at: float = 2
    held: float = 0
    held_from: int = -1
    longest: float | None = None
    pulses: tuple[int, int] | None = None
    known: bool = True
    closeness: float = float("nan")
    sure: float = float("nan")  # critical tolerances
    any: float = float("nan")
    clipped: bool = False
    dark: bool = False


@dataclass
class Table:
    """Presentations row by row, then sets and signals, then `observations()`."""

    station: Station
    basis: str = "computed"
    channel_basis: str | None = None
    kind: str = "stream"
    period: float = 1
    end: float | None = None
    rows: list[dict[str, Any]] = field(default_factory=list)
    sets: list[dict[str, Any]] = field(default_factory=list)
    signals: dict[tuple[str, str], Signal] = field(default_factory=dict)
    gaps: list[tuple[float, float]] = field(default_factory=list)
    seen: dict[str, list[int]] = field(default_factory=dict)
    expected: int | None = None

    def add(self, target: str, start: float, end: float, *, did: dict[str, Did] | None = None, **more: Any) -> int:
        """One presentation; returns its row."""
        self.rows.append({"target": target, "start": start, "end": end, "did": did or {}, **more})
        return len(self.rows) - 1

    def clean(self, target: str, n: int, specimens: int = 0, begin: float = 100, name: str | None = None) -> None:
        """`n` presentations whose own channel fires for 60 ms."""
        own = name or {"mint": "1", "chamomile": "2", "hibiscus": "3"}[target]
        for i in range(n):
            start = begin + 200 * len(self.rows)
            specimen = f"{target} {i % specimens + 1}" if specimens else ""
            self.add(target, start, start + 80, did={own: Did(on=60)}, specimen=specimen)

    def add_set(self, start: float, end: float, counts: dict[str, int], **more: Any) -> int:
        self.sets.append({"start": start, "end": end, "counts": counts, **more})
        return len(self.sets) - 1

    def signal(self, kind: str, name: str, must: list[tuple[float, float]], can: list[tuple[float, float]] | None = None,
               decisions: list[float] | None = None, basis: str = "computed") -> None:  # fmt: skip
        self.signals[kind, name] = Signal(
            name=name, kind=kind.removeprefix("computed "), basis=basis, must=_ns(must), can=_ns(must if can is None else can),
            decisions_ns=None if decisions is None else np.array([round(t * MS) for t in decisions], dtype=np.int64),
        )  # fmt: skip

    def _codes(self, key: str) -> tuple[tuple[str, ...], np.ndarray]:
        names = tuple(dict.fromkeys(row[key] for row in self.rows if row.get(key)))
        return names, np.array([names.index(row[key]) if row.get(key) else -1 for row in self.rows], dtype=np.int64)

    def observations(self) -> SourceObservations:
        rows = self.rows
        n, bands = len(rows), self.station.most_bands
        last = (
            self.end
            if self.end is not None
            else max([row["end"] for row in rows] + [s["end"] for s in self.sets], default=0) + 1000
        )

        def column(key: str, default: Any, dtype: Any = np.int64) -> np.ndarray:
            return np.array([row.get(key, default) for row in rows], dtype=dtype)

        def times(key: str) -> np.ndarray:
            return np.array([NEVER if row.get(key) is None else round(row[key] * MS) for row in rows], dtype=np.int64)

        targets = tuple(dict.fromkeys([*TARGETS, *(row["target"] for row in rows)]))
        specimens, specimen = self._codes("specimen")
        items, item = self._codes("item")
        sensors = tuple(sensor.name for sensor in self.station.sensors)
        conditions = {}
        for name, _ in self.station.conditions:
            conditions[name] = self._codes(name)
        shown = Presentations(
            sensors=sensors, targets=targets, specimens=specimens, items=items,
            sensor=np.array([sensors.index(row.get("sensor", sensors[0])) for row in rows], dtype=np.int64),
            target=np.array([targets.index(row["target"]) for row in rows], dtype=np.int64),
            specimen=specimen, item=item, set=column("set", -1), between=column("between", False, np.bool_),
            start_ns=times("start"), end_ns=times("end"), covered_ns=times("covered"), first_row=np.arange(n),
            rows=column("rows", 80),
            longest_step_ns=column("step", MS), status=column("status", 0), touches_before=column("touches", False, np.bool_),
            touches_after=np.zeros(n, dtype=np.bool_), level_min=column("level_min", np.nan, np.float64),
            level_max=column("level_max", np.nan, np.float64), clipped_rows=column("clipped", 0), dark_rows=column("dark", 0),
            means=np.array([row.get("means", (np.nan,) * bands) for row in rows], dtype=np.float64).reshape(n, bands),
            conditions=conditions,
        )  # fmt: skip
        set_targets = tuple(dict.fromkeys([*targets, *(name for one in self.sets for name in one["counts"])]))
        kinds = tuple(kind.name for kind in self.station.sets)
        counts = np.array([[one["counts"].get(name, 0) for name in set_targets] for one in self.sets], dtype=np.int64)
        members = dict(self.station.sets[0].members) if kinds else {}
        sets = Sets(
            kinds=kinds, names=tuple(str(one.get("name", i + 1)) for i, one in enumerate(self.sets)), targets=set_targets,
            kind=np.array([kinds.index(one.get("kind", kinds[0])) for one in self.sets], dtype=np.int64),
            start_ns=np.array([round(one["start"] * MS) for one in self.sets], dtype=np.int64),
            end_ns=np.array([round(one["end"] * MS) for one in self.sets], dtype=np.int64),
            status=np.array([one.get("status", 0) for one in self.sets], dtype=np.int64),
            complete=np.array([one["counts"] == members for one in self.sets], dtype=np.bool_),
            counts=counts.reshape(len(self.sets), len(set_targets)),
        )  # fmt: skip
        period = round(self.period * MS)
        return SourceObservations(
            key="r.csv", kind=self.kind, basis=self.basis, reader={"name": "by hand"},
            clock=Clock(origin=None, zone=None, period_ns=(period, period, period), every_ns=period, rows=1000, first_ns=0,
                        end_ns=round(last * MS)),
            gaps=_ns(self.gaps), presentations=shown, responses=self._responses(), sets=sets, signals=self.signals,
            outside=np.empty((0, 3), dtype=np.int64),
            outputs_seen={name: np.array(seen, dtype=np.int64) for name, seen in self.seen.items()},
            expected_presentations=self.expected,
        )  # fmt: skip

    def _responses(self) -> Responses:
        seen = self.station.scan.seen_ns
        names = tuple(one.name for one in self.station.channels)
        basis = self.channel_basis or ("by hand" if self.kind == "trials" else "computed")
        shape = (len(self.rows), len(names))
        ints = {
            key: np.zeros(shape, dtype=np.int64) for key in ("held_over_ns", "on_ns", "longest_ns", "pulses_min", "pulses_max")
        }
        ints |= {"held_from": np.full(shape, -1), "first_on_ns": np.full(shape, NEVER), "at_ns": np.zeros(shape, dtype=np.int64)}
        bools = {key: np.zeros(shape, dtype=np.bool_) for key in ("applies", "known", "fired", "silent", "perhaps",
                                                                  "rested_clipped", "rested_dark")}  # fmt: skip
        floats = {key: np.full(shape, np.nan) for key in ("closeness_max", "critical_any", "critical_sure")}
        for p, row in enumerate(self.rows):
            mine = row.get("sensor", self.station.sensors[0].name)
            for c, one in enumerate(self.station.channels):
                did: Did = row["did"].get(one.name, Did())
                longest = round((did.on if did.longest is None else did.longest) * MS)
                start = round((row["start"] or 0) * MS)
                by_hand = basis == "by hand"
                fired = longest > 0 and (longest >= seen or basis != "computed")
                ints["held_over_ns"][p, c], ints["on_ns"][p, c] = round(did.held * MS), 0 if by_hand else round(did.on * MS)
                ints["longest_ns"][p, c], ints["held_from"][p, c] = 0 if by_hand else longest, did.held_from
                pulses = did.pulses or ((1, 1) if fired else (0, 1) if longest else (0, 0))
                ints["pulses_min"][p, c], ints["pulses_max"][p, c] = pulses
                ints["first_on_ns"][p, c] = start + round(did.at * MS) if fired else NEVER
                ints["at_ns"][p, c] = start + MS
                bools["applies"][p, c], bools["known"][p, c] = one.sensor == mine, did.known
                bools["fired"][p, c], bools["perhaps"][p, c] = fired, longest > 0 and not fired
                bools["silent"][p, c] = not longest and (not did.held or bool(row.get("between")))
                bools["rested_clipped"][p, c], bools["rested_dark"][p, c] = did.clipped, did.dark
                floats["closeness_max"][p, c] = did.closeness
                floats["critical_any"][p, c], floats["critical_sure"][p, c] = did.any, did.sure
        return Responses(channels=names, basis=(basis,) * len(names), **bools, **ints, **floats)


def _ns(pairs: list[tuple[float, float]]) -> np.ndarray:
    return np.array([(round(a * MS), round(b * MS)) for a, b in pairs], dtype=np.int64).reshape(-1, 2)


def case(present: Present, evidence: Evidence = PROVEN, strata: tuple[tuple[str, Present], ...] | None = None, *,
         unit: str | None = None, where: Any = (), basis: str | None = None, readings: tuple[str, ...] = ("r.csv",),
         **expect: Any) -> Case:  # fmt: skip
    """A case; `expect` is written as in a case file."""
    if strata is None:
        strata = tuple((target, replace(present, targets=(target,))) for target in present.targets) or (("set", present),)
        if evidence.pooled or present.kind == "set":
            strata = ((", ".join(present.targets) or present.set or "", present),)
    expected = []
    for name, written in expect.items():
        part = PARTS.expectations[name]
        fields = PARTS.resolve(part.fields).model_validate(written)
        default = "set" if present.kind == "set" and part.unit != "run" else part.unit
        expected.append(Expected(name=name, fields=fields, written=written, version=part.version, unit=unit or default))
    return Case(id="X-01", title="a case", present=present, strata=strata, expect=tuple(expected), evidence=evidence,
                readings=readings, where=tuple(where), basis=basis)  # fmt: skip


def of(*targets: str) -> Present:
    return Present(kind="targets", targets=targets)


def run_case(
    table: Table | SourceObservations, one: Case, specimens: tuple[Specimen, ...] = (), declared: Station | None = None
) -> dict[str, Any]:
    """The result of the case on one recording made by hand."""
    obs = table.observations() if isinstance(table, Table) else table
    declared = table.station if isinstance(table, Table) else declared or station()
    suite = Suite(folder=".", station=declared, cases=(one,), specimens=specimens)
    return dict(judge(suite, one, dict.fromkeys(one.readings, obs), PARTS))
