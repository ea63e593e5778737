"""Makes the recordings of the twelve cases: a line that does all of it right, or one with a fault for each case.

    python make_recordings.py FOLDER            # as it should be
    python make_recordings.py FOLDER --faults   # each case fails

The line is a list of things on a belt, by their place in mm: parts before sensors, signals of the controller, stops. Times follow
from the speed of 500 mm/s and the stops. Nothing of stationtest is used. FOLDER is a copy of this folder; tables go into its
`recordings`, the register of specimens beside it; those of the line that is right lie there already. No line, no tea and no
person is real.
"""

from __future__ import annotations

import csv
import random
import sys
from pathlib import Path

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq

SPEED = 0.5  # mm a ms
STEP_MS = 10  # between readings
PULSE_MS = 120  # of the flap
LATE_MM = 6  # the flap acts so much later than it should, by scan and valve
SACHET, GAP, PITCH = 60, 30, 420  # mm; PITCH from box to box
OFFSET_MS, DRIFT = 37.0, 20e-6
BELT = (12.0, 0.0, 0.0)
TEAS = {"mint": "Q01", "chamomile": "Q02", "hibiscus": "Q03", "rooibos": "Q04", "cocoa husk": "Q05"}
COLOURS = {
    "mint": (60, -28, 14), "verbena": (60, -10, 14), "chamomile": (80, 2, 46), "hibiscus": (40, 45, 15), "rooibos": (38, 22, 28),
    "cocoa husk": (22, 18, 22), "bare sleeve": (85, 0, 6), "label back": (93, 0, 0), "foil": (75, 0, 3),
    "green lid": (45, -35, 20), "blue lid": (35, 5, -40), "green tin": (45, -35, 20), "blue tin": (35, 5, -40), "bare belt": BELT,
}  # fmt: skip
GRADES = ("normal", "normal", "normal", "light limit", "dark limit")
SPECIMENS = 60
BOX = ("mint", "chamomile", "hibiscus", "rooibos")


class Line:
    """One day. `here` is the place of the belt from which things are laid on, in mm."""

    def __init__(self, name: str, seed: int, sensors: tuple[str, ...] = ("sachet",)) -> None:
        self.name, self.sensors, self.rng = name, sensors, np.random.default_rng(seed)
        self.here = 3000.0
        self.parts: list[tuple[str, str, float, float, tuple[float, ...], dict[str, str]]] = []
        self.signals: list[tuple[str, float, float, float]] = []  # name, on at mm, off at mm, off that many ms later
        self.stops: list[tuple[float, float]] = []
        self.events: list[tuple[str, float]] = []
        self.shown: dict[str, int] = {}
        self.boxes = 0

    def specimen(self, target: str, kind: str = "") -> tuple[str, str]:
        """The next specimen of a target, in turn, and its grade."""
        number = self.shown.get(target + kind, 0)
        self.shown[target + kind] = number + 1
        which = number % SPECIMENS
        return f"{target} {which + 1}", GRADES[which % len(GRADES)]

    def part(
        self, sensor: str, target: str, at: float, length: float, colour: tuple[float, ...] | None = None, **truth: str
    ) -> None:  # fmt: skip
        self.parts.append((sensor, target, at, at + length, colour or COLOURS[target], truth))

    def on(self, name: str, at: float, until: float = 0.0, ms: float = 0.0) -> None:
        self.signals.append((name, at, until, ms))

    def sachet(
        self, target: str, at: float, *, near: float = 0.0, switches: str | None = "own", twice: bool = False, **truth: str
    ) -> None:  # fmt: skip
        """A sachet before the first sensor, and what its channel was seen to do. Limit samples are 3 away from the reference."""
        name, grade = self.specimen(target)
        lightness, a, b = COLOURS[target]
        if grade != "normal":
            lightness += 3 if grade == "light limit" else -3
        self.part("sachet", target, at, SACHET, (lightness, a - near, b), specimen=name, **truth)
        channel = TEAS.get(target) if switches == "own" else switches
        if channel and twice:
            self.on(channel, at + 5, at + 25)
            self.on(channel, at + 40, at + SACHET + 5)
        elif channel:
            self.on(channel, at + 5, at + SACHET + 5)

    def box(
        self, contents: tuple[str, ...], thrown: bool, *, also: float = 0.0, at_mm: float = 620.0, stop_ms: float = 0.0,
        blind: bool = False, twice: bool = False,
    ) -> float:  # fmt: skip
        """A box with its sachets; the flap as it acted on it. Returns where box out rose."""
        self.boxes += 1
        begin = self.here
        self.on("Gate1", begin, begin + 10)
        order = list(contents)
        random.Random(self.boxes).shuffle(order)
        belt = "stopped" if stop_ms else "running"
        for k, tea in enumerate(order):
            self.sachet(tea, begin + 20 + k * (SACHET + GAP), switches=None if blind else "own", set=str(self.boxes), belt=belt,
                        standoff="40 mm", twice=twice and k == 0)  # fmt: skip
        out = begin + 20 + 4 * (SACHET + GAP)
        self.on("Gate2", out, out + 10)
        if stop_ms:
            self.stops.append((begin + 20 + SACHET + GAP / 2, stop_ms))
            self.events += [("belt stop", self.stops[-1][0]), ("belt start", self.stops[-1][0])]
        for way in ([at_mm] if thrown else []) + ([also] if also else []):
            self.on("Q41", out + way + LATE_MM, ms=PULSE_MS)
        self.here = begin + PITCH
        return out

    # --- from places to times, and to files --------------------------------------------------------------------------------

    def write(self, folder: Path) -> None:
        end = self.here + 3000.0
        stops = sorted(self.stops)
        places = np.array([[0.0, 0.0]] + [[place, ms] for place, ms in stops])
        waited = np.cumsum(places[:, 1])

        def arrives(at: np.ndarray) -> np.ndarray:
            """When the belt comes to a place (n,), in ms on the sensor's clock; a stop there is still ahead."""
            before = np.searchsorted(places[:, 0], at, "left") - 1
            return at / SPEED + np.where(before >= 0, waited[np.maximum(before, 0)], 0.0)

        corners_t, corners_x = [0.0], [0.0]
        for place, ms in stops:
            corners_t += [float(arrives(np.array([place]))[0]), float(arrives(np.array([place]))[0]) + ms]
            corners_x += [place, place]
        corners_t.append(float(arrives(np.array([end]))[0]))
        corners_x.append(end)
        t = np.arange(0, int(corners_t[-1]), STEP_MS)
        way = np.interp(t, corners_t, corners_x)
        self._readings(folder, t, way, arrives)
        self._log(folder, arrives, corners_t[-1])
        self._truth(folder, arrives)
        if self.events:
            self._events(folder, arrives, dict(stops))

    def _readings(self, folder: Path, t: np.ndarray, way: np.ndarray, arrives) -> None:  # type: ignore[no-untyped-def]
        table: dict[str, pa.Array] = {"t": pa.array(t * 1000, pa.int64())}
        for sensor in self.sensors:
            seen = np.tile(np.array(BELT, np.float32)[:, None], len(t))
            mine = [part for part in self.parts if part[0] == sensor and part[1] != "bare belt"]
            starts = np.ceil(arrives(np.array([part[2] for part in mine])) / STEP_MS).astype(int)
            ends = np.ceil(arrives(np.array([part[3] for part in mine])) / STEP_MS).astype(int)
            for part, low, high in zip(mine, starts, ends, strict=True):
                seen[:, low:high] = np.array(part[4])[:, None]
            seen = np.round(seen + self.rng.normal(0, 0.15, seen.shape), 2)
            for band, values in zip("Lab", seen, strict=True):
                table[band if sensor == "sachet" else f"{sensor} {band}"] = pa.array(values.astype(np.float32))
        table["position"] = pa.array(np.floor(way / 0.5 + 1e-6).astype(np.int64) % 65536)
        colours = [name for name in table if name not in ("t", "position")]
        counted = {"t": "DELTA_BINARY_PACKED", "position": "DELTA_BINARY_PACKED"}  # a quarter of the size
        pq.write_table(
            pa.table(table), folder / f"{self.name}_sensor.parquet", compression="zstd", compression_level=15,
            use_dictionary=colours, column_encoding=counted,
        )  # fmt: skip

    def _log(self, folder: Path, arrives, end_ms: float) -> None:  # type: ignore[no-untyped-def]
        first = dict.fromkeys(sorted({name for name, *_ in self.signals} | set(TEAS.values())), False)
        rows = [(plc(0.0), name, "FALSE") for name in first]
        rows.append((plc(end_ms), "Q01", "FALSE"))  # a last row: after it nobody knows whether the log went on
        on = arrives(np.array([at for _, at, _, _ in self.signals]))
        off = arrives(np.array([until for _, _, until, _ in self.signals]))
        for (name, _, _, ms), rises, falls in zip(self.signals, on, off, strict=True):
            rows += [(plc(rises), name, "TRUE"), (plc(rises + ms if ms else falls), name, "FALSE")]
        rows.sort(key=lambda row: row[0])
        save(folder / f"{self.name}_plc.csv", ("TS", "TAG", "VAL"), [(f"{ms:.3f}", name, value) for ms, name, value in rows])

    def _truth(self, folder: Path, arrives) -> None:  # type: ignore[no-untyped-def]
        columns = ("start", "end", "target", "specimen", "set", "item", "sensor", "belt", "standoff", "mark")
        parts = sorted(self.parts, key=lambda part: part[2])
        starts, ends = (arrives(np.array([part[k] for part in parts])) for k in (2, 3))
        rows = []
        for (sensor, target, _, _, _, truth), a, b in zip(parts, starts, ends, strict=True):
            cells = {"target": target, "sensor": sensor, **truth}
            rows.append((f"{plc(a):.3f}", f"{plc(b):.3f}", *(cells.get(key, "") for key in columns[2:])))
        save(folder / f"{self.name}_truth.csv", columns, rows)

    def _events(self, folder: Path, arrives, stops: dict[float, float]) -> None:  # type: ignore[no-untyped-def]
        rows = []
        for name, place in self.events:
            at = float(arrives(np.array([place]))[0]) + (stops.get(place, 0.0) if name == "belt start" else 0.0)
            rows.append((round(at * 1000), name, ""))
        save(folder / f"{self.name}_events.csv", ("time", "event", "note"), sorted(rows))


def plc(sensor_ms: float) -> float:
    """An instant of the sensor's clock on the controller's."""
    return sensor_ms + OFFSET_MS + DRIFT * sensor_ms


def save(path: Path, head: tuple[str, ...], rows: list[tuple[object, ...]]) -> None:
    with path.open("w", newline="", encoding="utf-8") as file:
        writer = csv.writer(file)
        writer.writerow(head)
        writer.writerows(rows)


def day1(faults: bool) -> Line:
    """The bare belt; boxes: each that lacks a sachet between two complete ones; then boxes with two mint and no hibiscus."""
    line = Line("day1", 1)
    bare_belt(line, faults)
    line.here += 1000
    for number in range(299 * 4):
        line.box(BOX, thrown=faults and number == 40, twice=faults and number in range(40))  # SET-06, REC-01
        lacking = BOX[number % 4]
        missed, neighbour = faults and number in range(4), faults and number in range(8, 12)  # SET-05
        line.box(tuple(tea for tea in BOX if tea != lacking), thrown=not missed, also=620 + PITCH if neighbour else 0.0)
    for number in range(30):
        line.box(BOX, thrown=False)
        line.box(("mint", "mint", "chamomile", "rooibos"), thrown=not (faults and number == 3))  # SET-07
    line.box(BOX, thrown=False)
    line.box(BOX, thrown=False)
    return line


def day2(faults: bool) -> Line:
    """Limit samples of the greens, browns at three heights, sleeves, foil, tins."""
    line = Line("day2", 2, ("sachet", "sleeve", "foil", "lid", "tin"))
    for _ in range(SPECIMENS * 5):
        for tea in ("mint", "verbena"):
            # NEAR-02: verbena 6 from mint, where 18 is right; limit samples of mint 5 away, where 3 is right
            near = {"mint": 4.0, "verbena": 12.0}[tea] if faults else 0.0
            line.sachet(tea, line.here, near=near, belt="running", standoff="40 mm")
            line.here += SACHET + GAP
    for standoff in ("38 mm", "40 mm", "42 mm"):
        for tea in ("rooibos", "cocoa husk"):
            for number in range(SPECIMENS * 5):
                crossed = faults and tea == "cocoa husk" and number in range(3)  # BROWN-03
                line.sachet(tea, line.here, switches="Q04" if crossed else "own", belt="running", standoff=standoff)
                line.here += SACHET + GAP
    line.here += 1000
    for target in ("bare sleeve", "label back"):
        for number in range(SPECIMENS * 5):
            name, _ = line.specimen(target)
            line.part("sleeve", target, line.here, 100, specimen=name)
            line.on("Q06", line.here + 5, line.here + 105)
            line.on("Gate3", line.here + 110, line.here + 120)
            if not (faults and number == 2):  # LABEL-08
                line.on("Q41", line.here + 110 + 450 + LATE_MM, ms=PULSE_MS)
            line.here += 200
    line.here += 1000
    for number in range(SPECIMENS * 5):
        for touching in (False, True):
            for k in range(1 + touching):
                name, _ = line.specimen("foil", "touching" if touching else "apart")
                at = line.here + k * SACHET
                line.part("foil", "foil", at, SACHET, specimen=name)
                lost = faults and number == 4 and k == touching  # FOIL-09: one is not counted, alone and as the second of two
                if not lost:
                    line.on("Q50", at + 10, at + 30)
            line.here += (1 + touching) * SACHET + 40
    line.here += 1000
    for number in range(120):
        right = number % 2 == 0
        lid, tin = ("green lid", "green tin") if number % 4 < 2 else ("blue lid", "blue tin")
        tin = tin if right else {"green tin": "blue tin", "blue tin": "green tin"}[tin]
        line.part("lid", lid, line.here, 80, item=str(number))
        line.part("tin", tin, line.here + 100, 80, item=str(number))
        line.on("Gate4", line.here + 200, line.here + 210)
        wrong_way = faults and number in (10, 11)  # TIN-10
        if right == wrong_way:
            line.on("Q41", line.here + 200 + 300 + LATE_MM, ms=PULSE_MS)
        line.here += 400
    line.here += 2000
    return line


def bare_belt(line: Line, faults: bool) -> None:
    """Half an hour each: running, with a splice, and standing, in ten stretches. BELT-04: a channel fires for 30 ms in each."""
    for kind in ("running", "splice", "stopped"):
        for number in range(10):
            truth = {"mark": "splice"} if kind == "splice" else {"belt": kind}
            length = 92_000.0 if kind != "stopped" else 200.0
            line.part("sachet", "bare belt", line.here, length, **truth)
            if kind == "stopped":
                line.stops.append((line.here + 100, 184_000.0))
            if faults and number == 5:
                line.on("Q02", line.here + 50, ms=30)
            line.here += length + 100


def day3(faults: bool) -> Line:
    """Boxes under way while the belt stops for two seconds, and the first three after power-on."""
    line = Line("day3", 3)
    line.box(BOX, thrown=False)
    for number in range(22):
        lacking = tuple(tea for tea in BOX if tea != BOX[number % 4])
        # STOP-11: one box comes as if the belt had gone on for the time of the stop; a complete one is thrown out
        line.box(lacking, thrown=True, stop_ms=2000.0, at_mm=380.0 if faults and number == 5 else 620.0)
        line.box(BOX, thrown=False)
        line.box(BOX, thrown=faults and number == 6, stop_ms=2000.0)
        line.box(BOX, thrown=False)
    for number in range(7):
        line.here += 1500
        line.events.append(("power on", line.here - 100))
        for k in range(3):
            line.box(tuple(tea for tea in BOX if tea != BOX[k]), thrown=not (faults and number == 2 and k == 1))
        for _ in range(3):
            line.box(BOX, thrown=False)
    line.here += 1000
    return line


def day4(faults: bool) -> Line:
    """The sensor unplugged, its window covered, a lamp held into it: every box is thrown out, and the alarm comes."""
    line = Line("day4", 4)
    for event in ("sachet sensor unplugged", "window covered", "lamp into window"):
        line.box(BOX, thrown=False)
        line.here += 1500
        line.events.append((event, line.here - 400))
        late = faults and event != "lamp into window"  # SAFE-12: the alarm comes after 4 s; one box is let go
        line.on("Q60", line.here - 400 + (2000 if late else 500), ms=60_000)
        for number in range(12):
            line.box(BOX, thrown=not (faults and event == "lamp into window" and number == 2), blind=True)
        line.here += 1500
        line.events.append(("mended", line.here))
        line.here += 40_000
        line.box(BOX, thrown=False)
    line.here += 1000
    return line


def register(folder: Path) -> None:
    """specimens.csv: each target's physical parts with their grades."""
    rows = []
    for target in [*TEAS, "verbena", "bare sleeve", "label back", "foil"]:
        rows += [(f"{target} {k + 1}", target, GRADES[k % len(GRADES)]) for k in range(SPECIMENS)]
    save(folder / "specimens.csv", ("id", "target", "grade"), rows)


def main() -> None:
    folder, faults = Path(sys.argv[1]), "--faults" in sys.argv[2:]
    (folder / "recordings").mkdir(exist_ok=True)
    register(folder)
    for day in (day1, day2, day3, day4):
        day(faults).write(folder / "recordings")


if __name__ == "__main__":
    main()
