"""A station whose readings, controller signals and truth stand in one tidy table, or the same in three on two clocks.

Readings and signals are invented; what the logs hold is worked out here in plain Python from one list of events.
"""

from __future__ import annotations

import itertools
import random
from fractions import Fraction
from pathlib import Path

STATION = """\
station: tea-sampler-2
scan: {worst: 11 ms, input_filter: 3 ms}
between: bare belt
sensors:
  sachet:
    reads: linear RGB
    columns: {red: r, green: g, blue: b}
    full_scale: 4095
    dark: [12, 11, 14]
    white: [3650, 3720, 3590]
targets:
  mint: {colour: {shares: [0.2, 0.5, 0.3]}}
  chamomile: {colour: {shares: [0.5, 0.35, 0.15]}}
  bare belt: {background: yes}
channels:
  1: {reference: mint, distance: sensor chromaticity, tolerance: 0.05}
  2: {reference: chamomile, distance: sensor chromaticity, tolerance: 0.05}
inputs: [box in, box out, box present]
outputs:
  box complete: {all_of: [1, 2], held_until: box out}
  flap: {none_of: [box complete], decided_at: box out, pulse: 120 ms}
sets:
  full box: {members: {mint: 1, chamomile: 1}, from: box in, to: box out, output: box complete}
recordings:
  "recordings/tidy.csv":
    {time: {column: t, in: us}, every: 1 ms, gap: 3 ms, target: part, specimen: no,
     inputs: {box in: bi, box out: bo, box present: bp}, channels: {1: q1, 2: q2}, outputs: {flap: fl}}
"""

# the names and numbers of counter-example A7; signals that the station has besides are there too
RECORDING = """\
# recordings/day1.recording.yaml
tables:
  colour: {file: day1_sensor.csv, sensor: sachet, time: t, unit: us, clock: sensor, rows_are: samples, gap: longer than 3 ms}
  logic:  {file: day1_plc.csv, layout: long, time: TS, name: TAG, value: VAL, clock: plc, rows_are: changes,
           resolution: RESOLUTION, unit: us,
           signals: {box in: Gate1, box out: Gate2, flap: Q41, box present: {from: Gate3, inverted: yes}, 1: Q1, 2: Q2},
           values: {on: ["TRUE", "1"], off: ["FALSE", "0"], unknown: ["Bad", ""]}}
  truth:  {file: day1_truth.csv, kind: presentations, clock: plc, within: TRUTH}
clocks:
  sensor: {to: plc, offset: 37 ms, drift: 20 ppm, within: SYNC, found_by: sync edges at start and end}
"""

COUNTS = {"": (160, 150, 155), "mint": (740, 1850, 1100), "chamomile": (1850, 1300, 560)}
OFFSET_US, DRIFT = 37_000, Fraction(20, 10**6)


def on_plc(us: int, first_us: int = 0) -> Fraction:
    """An instant of the sensor's clock on the controller's, in microseconds, exact."""
    return us + OFFSET_US + DRIFT * (us - first_us)


class Day:
    """Boxes of two sachets each, as events of the sensor's clock in ms: presentations, and on-times of each signal."""

    def __init__(self, boxes: int, seed: int = 4, pause_ms: int = 0) -> None:
        """With `pause_ms` nothing is recorded for so long after half of the boxes."""
        chance = random.Random(seed)
        self.pause = (0, 0)
        self.shown: list[tuple[int, int, str, int]] = []  # start, end, target, specimen
        self.on: dict[str, list[tuple[int, int]]] = {name: [] for name in ("bi", "bo", "bp", "q1", "q2", "fl")}
        now = 100
        for box in range(boxes):
            self.on["bi"].append((now, now + 30))
            self.on["bp"].append((now, now + 700))
            lacking = box % 7 == 3
            for number, target in enumerate(["mint"] if lacking else ["mint", "chamomile"]):
                start = now + 100 + 200 * number + chance.randrange(20)
                self.shown.append((start, start + 80, target, box % 10))
                late = 15 + chance.randrange(6)
                if box % 29 != 13:  # one in 29 is missed by the controller
                    self.on["q1" if target == "mint" else "q2"].append((start + late, start + 80 + late))
            out = now + 600
            self.on["bo"].append((out, out + 40))
            if lacking or box % 29 == 13:
                self.on["fl"].append((out + 30, out + 150))
            now += 1000
            if pause_ms and box == boxes // 2:
                self.pause = (now - 100, now - 100 + pause_ms)
                now += pause_ms
        self.end = now + 200

    def state(self, name: str, ms: int) -> int:
        return int(any(a <= ms < b for a, b in self.on[name]))

    def tidy(self) -> str:
        """Everything in one table, a row a millisecond."""
        return self._table(signals=True)

    def sensor_log(self) -> str:
        return self._table(signals=False)

    def _table(self, signals: bool) -> str:
        chance = random.Random(9)
        part = {ms: (target, no) for a, b, target, no in self.shown for ms in range(a, b)}
        on = {name: {ms for a, b in pairs for ms in range(a, b)} for name, pairs in self.on.items()}
        lines = ["t,r,g,b" + (",part,no," + ",".join(on) if signals else "")]
        for ms in itertools.chain(range(self.pause[0]), range(self.pause[1], self.end)):
            target, no = part.get(ms, ("", ""))
            bands = ",".join(str(round(chance.gauss(count, 2))) for count in COUNTS[target])
            row = f"{ms * 1000},{bands}"
            lines.append(row + (f",{target},{no}," + ",".join(str(int(ms in on[name])) for name in on) if signals else ""))
        return "\n".join(lines) + "\n"

    def controller_log(self, step_us: int = 0) -> str:
        """Changes only, on the controller's clock; each is seen at the next of its steps."""
        tags = {"bi": "Gate1", "bo": "Gate2", "fl": "Q41", "bp": "Gate3", "q1": "Q1", "q2": "Q2"}
        rows = [(on_plc(0), tags[name], name == "bp") for name in self.on]
        for name, pairs in self.on.items():
            for a, b in pairs:
                rows += [(on_plc(a * 1000), tags[name], name != "bp"), (on_plc(b * 1000), tags[name], name == "bp")]
        rows.append((on_plc(self.end * 1000), "Mode", True))
        rows.sort(key=lambda row: (row[0], row[1]))
        text = ["TS,TAG,VAL", f"{_written(_stepped(on_plc(0), step_us))},Mode,AUTO"]
        text += [f"{_written(_stepped(at, step_us))},{tag},{'TRUE' if state else '0'}" for at, tag, state in rows]
        return "\n".join(text) + "\n"

    def truth(self) -> str:
        rows = [f"{_written(on_plc(a * 1000))},{_written(on_plc(b * 1000))},{target},{no}" for a, b, target, no in self.shown]
        return "start,end,target,specimen\n" + "\n".join(rows) + "\n"

    def write(self, folder: Path, step_us: int = 0, resolution: str = "0 ms", truth: str = "0 ms", sync: str = "0 ms") -> Path:
        """The station with the tidy table and the three tables of the same day."""
        for name in ("cases", "recordings"):
            (folder / name).mkdir(parents=True, exist_ok=True)
        texts = {
            "station.yaml": STATION,
            "recordings/tidy.csv": self.tidy(),
            "recordings/day1_sensor.csv": self.sensor_log(),
            "recordings/day1_plc.csv": self.controller_log(step_us),
            "recordings/day1_truth.csv": self.truth(),
            "recordings/day1.recording.yaml":
                RECORDING.replace("RESOLUTION", resolution).replace("TRUTH}", truth + "}").replace("SYNC", sync),
        }  # fmt: skip
        for path, text in texts.items():
            (folder / path).write_text(text, encoding="utf-8")
        return folder


def _stepped(at: Fraction, step_us: int) -> Fraction:
    return Fraction(-(-at // step_us) * step_us) if step_us else at


def _written(us: Fraction) -> str:
    """Microseconds with three decimals, so to the nanosecond; halves up."""
    ns = (us * 1000 * 2 + 1) // 2
    return f"{ns // 1000}.{ns % 1000:03d}"
