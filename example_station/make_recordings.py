"""Makes the recordings of the demo: a made-up tea sampler line, as its sensor and its controller might have logged it.

    python example_station/make_recordings.py            # writes example_station/recordings and first_day/recordings

Needs numpy and pyarrow, nothing of stationtest: what is judged must not come from the code that judges. One seed gives the same
files again. All data are invented. How a reading comes about:

1. A colour as CIE 1976 L*a*b* (D65, 2 degrees) becomes relative red, green and blue by the inverse of the sensor's 3 x 3 matrix.
2. The belt runs at 500 mm/s, so one millisecond is half a millimetre. The belt is a row of relative readings, sachets lie on it,
   and the spot (4 mm) averages over 8 steps: that gives the edges of 8 ms at both ends of every sachet.
3. Each physical part has its own colour (specimen spread; limit samples lie lighter and paler, or darker and fuller), each
   presentation its own height, each point along it some texture.
4. The lamp drifts by 1.2 % over the run; each count has noise of 1.5 counts and 0.2 % of the signal; counts are whole numbers of
   12 bits.

Two faults of the line show in these readings once they are judged with the settings of station.yaml; the readings themselves are
those of a line that works: hibiscus is followed after 30 to 60 ms by the next sachet, and verbena is a green near to mint.

The sleeve controller is a plain state machine in `sleeve_controller`, one step a millisecond, with a scan and a transport delay.
"""

from __future__ import annotations

import csv
import sys
from pathlib import Path

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq

SEED = 20260301
HERE = Path(__file__).resolve().parent

# the sachet sensor, as in station.yaml
TO_XYZ = np.array([[0.41, 0.36, 0.18], [0.21, 0.72, 0.07], [0.02, 0.12, 0.95]])
DARK = np.array([12.0, 11.0, 14.0])
WHITE = np.array([3650.0, 3720.0, 3590.0])
# the sleeve sensor, as in station.yaml
SLEEVE_DARK = np.array([20.0, 22.0, 19.0])
SLEEVE_WHITE = np.array([3500.0, 3600.0, 3450.0])
FULL_SCALE = 4095
SPOT_MS = 8  # 4 mm at 500 mm/s

LAB = {
    "mint": (63, -28, 14),
    "verbena": (66, -25, 25),
    "chamomile": (82, 2, 46),
    "hibiscus": (38, 42, 6),
    "rooibos": (45, 25, 31),
    "cocoa husk": (29, 17, 20),
}
BELT_LAB = (26, 0, 1)
LETTER = {"mint": "M", "verbena": "V", "chamomile": "C", "hibiscus": "H", "rooibos": "R", "cocoa husk": "K"}
MEMBERS = ("mint", "hibiscus", "chamomile", "rooibos")  # in the order in which the line lays them
LIMIT = {"light limit": (2.5, 0.95), "dark limit": (-2.5, 1.05)}  # added to L*, factor on a* and b*

# relative readings at the sleeve
BARE_SLEEVE = np.array([0.62, 0.50, 0.38])
PRINT = np.array([0.16, 0.42, 0.46])
ROLLER_GAP = np.array([0.006, 0.006, 0.007])


def relative_of(lab: tuple[float, float, float]) -> np.ndarray:
    """Relative red, green, blue of a colour; the white of the matrix is the reference white."""
    white = TO_XYZ.sum(axis=1)
    fy = (lab[0] + 16) / 116
    f = np.array([fy + lab[1] / 500, fy, fy - lab[2] / 200])
    linear = 3 * (6 / 29) ** 2 * (f - 4 / 29)
    return np.linalg.solve(TO_XYZ, white * np.where(f > 6 / 29, f**3, linear))


class Parts:
    """The physical parts of each target: twelve normal ones and three of each limit; the foreign ones have eight."""

    def __init__(self, rng: np.random.Generator) -> None:
        self.colour: dict[str, np.ndarray] = {}
        self.grade: dict[str, str] = {}
        self.target: dict[str, str] = {}
        self.cycle: dict[str, list[str]] = {}
        self.shown: dict[str, int] = dict.fromkeys(LAB, 0)
        for target, lab in LAB.items():
            normal, limits = 12 if target in MEMBERS else 8, 3
            ids = [(f"{LETTER[target]}{k:02d}", "normal") for k in range(1, normal + 1)]
            for grade, letter in (("light limit", "L"), ("dark limit", "D")):
                ids += [(f"{LETTER[target]}{letter}{k}", grade) for k in range(1, limits + 1)]
            for name, grade in ids:
                shift, factor = LIMIT.get(grade, (0.0, 1.0))
                spread = np.clip(rng.normal(0, [0.6, 0.4, 0.4]), [-1.2, -0.8, -0.8], [1.2, 0.8, 0.8])
                varied = (lab[0] + shift + spread[0], lab[1] * factor + spread[1], lab[2] * factor + spread[2])
                self.colour[name], self.grade[name], self.target[name] = relative_of(varied), grade, target
            by_grade = {grade: [name for name, g in ids if g == grade] for grade in ("normal", *LIMIT)}
            turns = ["normal", "light limit", "normal", "dark limit", "normal"]  # a fifth are light, a fifth dark limit samples
            count = dict.fromkeys(by_grade, 0)
            self.cycle[target] = []
            for k in range(normal * 5):
                grade = turns[k % 5]
                self.cycle[target].append(by_grade[grade][count[grade] % len(by_grade[grade])])
                count[grade] += 1

    def next(self, target: str) -> str:
        """The part that is laid on the belt next: all take turns."""
        cycle = self.cycle[target]
        name = cycle[self.shown[target] % len(cycle)]
        self.shown[target] += 1
        return name


def slow_noise(rng: np.random.Generator, n: int, size: float, length: int) -> np.ndarray:
    """Texture along the belt: noise of standard deviation `size` that is alike over about `length` steps."""
    raw = rng.normal(0, 1, n + length)
    smooth = np.convolve(raw, np.ones(length) / np.sqrt(length), mode="full")[length : length + n]
    return 1 + size * smooth


class Line:
    """A stretch of belt under one sensor: relative readings a step, and what was really presented where."""

    def __init__(self, seconds: float, background: np.ndarray, rng: np.random.Generator) -> None:
        self.rng, self.n = rng, round(seconds * 1000)
        self.profile = background * slow_noise(rng, self.n, 0.02, 200)[:, None]
        self.truth: list[tuple[int, int, str, str, dict[str, str]]] = []

    def lay(
        self, start: int, length: int, colour: np.ndarray, target: str, specimen: str, level: float = 1.0, **more: str
    ) -> int:
        """Lays a part so that its readings are [start, start + length); returns their end."""
        body = length - SPOT_MS + 1
        texture = level * slow_noise(self.rng, body, 0.012, 12)[:, None]
        tint = np.stack([slow_noise(self.rng, body, 0.002, 6) for _ in range(3)], axis=1)
        self.profile[start : start + body] = colour * texture * tint
        self.truth.append((start, start + length, target, specimen, more))
        return start + length

    def counts(self, dark: np.ndarray, white: np.ndarray, drift: float = 0.012) -> np.ndarray:
        """What the sensor logs: the spot's average over the belt, lamp drift, noise, whole counts."""
        padded = np.concatenate([np.repeat(self.profile[:1], SPOT_MS - 1, axis=0), self.profile])
        sums = np.cumsum(np.concatenate([np.zeros((1, 3)), padded]), axis=0)
        seen = (sums[SPOT_MS:] - sums[:-SPOT_MS]) / SPOT_MS
        t = np.arange(self.n) / self.n
        lamp = 1 - drift * t + 0.001 * np.sin(2 * np.pi * 5 * t)
        signal = seen * lamp[:, None] * (white - dark)
        noisy = signal * (1 + self.rng.normal(0, 0.002, signal.shape)) + dark + self.rng.normal(0, 1.5, signal.shape)
        return np.clip(np.rint(noisy), 0, FULL_SCALE).astype(np.int16)

    def column(self, pick: int | str) -> list[str]:
        """A truth column: 2 is the target, 3 the specimen, a name one of `more`; empty between presentations."""
        values = [""] * self.n
        for entry in self.truth:
            word = entry[pick] if isinstance(pick, int) else entry[4].get(pick, "")
            values[entry[0] : entry[1]] = [word] * (entry[1] - entry[0])
        return values


def words(values: list[str]) -> pa.Array:
    return pa.array(values, pa.string()).dictionary_encode()


def write_parquet(path: Path, columns: dict[str, pa.Array]) -> None:
    """Small files: whole numbers as differences, words as dictionaries, both compressed with zstd."""
    table = pa.table(columns)
    numbers = [name for name in table.column_names if pa.types.is_integer(table.schema.field(name).type)]
    named = [name for name in table.column_names if pa.types.is_dictionary(table.schema.field(name).type)]
    pq.write_table(
        table, path, compression="zstd", compression_level=19, use_dictionary=named, row_group_size=131_072,
        column_encoding=dict.fromkeys(numbers, "DELTA_BINARY_PACKED"), store_schema=False,
    )  # fmt: skip


def write_csv(path: Path, header: list[str], rows: list[list[object]], separator: str = ",") -> None:
    with path.open("w", encoding="utf-8", newline="") as file:
        out = csv.writer(file, delimiter=separator, lineterminator="\n")
        out.writerow(header)
        out.writerows(rows)


def pulse(n: int, starts: list[int], length: int) -> np.ndarray:
    signal = np.zeros(n, bool)
    for start in starts:
        signal[start : start + length] = True
    return signal


def box_plan(rng: np.random.Generator) -> list[tuple[str, ...]]:
    """What each of the 604 boxes holds. The first is complete, so that every latch is known to have been set and reset."""
    boxes = [MEMBERS] * 199
    for member in MEMBERS:
        boxes += [tuple(m for m in MEMBERS if m != member)] * 62
    boxes += [("mint", "hibiscus", "chamomile", "mint")] * 32  # two of a kind, rooibos missing
    boxes += [("verbena", "hibiscus", "chamomile", "rooibos")] * 62  # the near green in place of mint
    boxes += [("mint", "hibiscus", "chamomile", "cocoa husk")] * 62  # the dark brown in place of rooibos
    return [MEMBERS, *(boxes[k] for k in rng.permutation(len(boxes)))]


def sorting(folder: Path, parts: Parts) -> None:
    """Boxes of four under the sachet sensor: 10.4 minutes at 1 kHz. No outputs of the station were logged here."""
    rng = np.random.default_rng([SEED, 1])
    plan = box_plan(rng)
    line = Line(len(plan) + 20, relative_of(BELT_LAB), rng)
    box_in, box_out = [], []
    heights = ("low", "nominal", "high")
    factor = {"low": 1.025, "nominal": 1.0, "high": 0.975}
    for k, box in enumerate(plan):
        start = 10_000 + 1000 * k  # one box a second after 10 s of empty belt
        height = heights[k * 3 // len(plan)]  # the guide was set three times
        box_in.append(start)
        at = start + 90 + int(rng.integers(-8, 9))
        slots = list(box) if len(box) == 4 else [m if m in box else "" for m in MEMBERS]
        for target in slots:
            if target:
                name = parts.next(target)
                level = factor[height] * (1 + float(np.clip(rng.normal(0, 0.008), -0.016, 0.016)))
                line.lay(at, 80, parts.colour[name], target, name, level, height=height)
            at += 80 + int(rng.integers(30, 61))
        box_out.append(start + 740 + int(rng.integers(-5, 6)))
    counts = line.counts(DARK, WHITE)
    write_parquet(folder / "sorting.parquet", {
        "t": pa.array(np.arange(line.n, dtype=np.int32)),
        **{band: pa.array(counts[:, b]) for b, band in enumerate("rgb")},
        "box_in": pa.array(pulse(line.n, box_in, 20)),
        "box_out": pa.array(pulse(line.n, box_out, 20)),
        "target": words(line.column(2)),
        "specimen": words(line.column(3)),
        "height": words(line.column("height")),
    })  # fmt: skip


def repeat(folder: Path, parts: Parts) -> None:
    """Fifteen rounds: one sachet of each sort, and the same four once more. For repeatability and drift.

    Whoever presents them presses a button before and after each round.
    """
    rng = np.random.default_rng([SEED, 2])
    numbers = [*(f"{k:02d}" for k in range(1, 13)), "L1", "L2", "D1"]
    line = Line(0.4 * 8 * len(numbers) + 6, relative_of(BELT_LAB), rng)
    at, begins, ends = 3000, [], []
    for number in numbers:
        begins.append(at - 100)
        for target in (*MEMBERS, *MEMBERS):
            name = LETTER[target] + number
            level = 1 + float(np.clip(rng.normal(0, 0.008), -0.016, 0.016))
            line.lay(at, 80, parts.colour[name], target, name, level)
            at += 400
        ends.append(at - 250)
    counts = line.counts(DARK, WHITE, drift=0.002)
    write_parquet(folder / "repeat.parquet", {
        "t": pa.array(np.arange(line.n, dtype=np.int32)),
        **{band: pa.array(counts[:, b]) for b, band in enumerate("rgb")},
        "target": words(line.column(2)),
        "specimen": words(line.column(3)),
        "button_1": pa.array(pulse(line.n, begins, 50)),
        "button_2": pa.array(pulse(line.n, ends, 50)),
    })  # fmt: skip


def sleeve_profile(line: Line, start: int, label: bool, specimen: str, rng: np.random.Generator) -> int:
    """A sleeve of 100 mm (200 ms); the label lies on its middle 60 mm, with two unprinted stripes of 6 mm across it."""
    tone = 1 + rng.normal(0, 0.01)
    end = line.lay(start, 200, BARE_SLEEVE * tone, "label" if label else "bare sleeve", specimen)
    if label:
        first = start + 40 + int(rng.integers(-3, 4))
        body = line.profile[first : first + 120]
        body *= PRINT / BARE_SLEEVE
        for stripe in (40, 76):
            body[stripe : stripe + 12] *= BARE_SLEEVE / PRINT
    return end


def sleeve_controller(
    counts: np.ndarray, sleeve_in: np.ndarray, reference: np.ndarray, rng: np.random.Generator
) -> tuple[np.ndarray, np.ndarray]:
    """The controller's own log of the label channel and the sleeve flap, one step a millisecond.

    The sensor compares the shares of its bands with the taught ones: a difference over 0.03 (0.033 once it matches) or a level
    under 6 % decides, then 20 ms off-delay; dark is off. Its wire is read once a scan of 8 to 11 ms, after an input filter of
    3 ms; when the sleeve's light barrier falls without a label seen, the flap is driven for 80 ms.
    """
    relative = (counts - SLEEVE_DARK) / (SLEEVE_WHITE - SLEEVE_DARK)
    level = ((counts - SLEEVE_DARK) / (FULL_SCALE - SLEEVE_DARK)).max(axis=1)
    total = relative.sum(axis=1)
    shares = relative / np.where(total > 0, total, 1)[:, None]
    far = np.sqrt(((shares - reference) ** 2).sum(axis=1))
    matches, off_at, wire = False, -1, np.zeros(len(counts), bool)
    for i in range(len(counts)):
        matches = far[i] <= 0.03 or (matches and far[i] <= 0.033)
        raw = not matches and level[i] >= 0.06
        if raw:
            off_at = i + 20
        wire[i] = raw or i < off_at
    label, flap = np.zeros(len(counts), bool), np.zeros(len(counts), bool)
    seen = latched = barrier = False
    next_scan, flap_until = 0, -1
    for i in range(len(counts)):
        if i == next_scan:
            next_scan = i + int(rng.integers(8, 12))
            seen = bool(wire[max(i - 3, 0)])
            was, barrier = barrier, bool(sleeve_in[i])
            if was and not barrier and not latched:
                flap_until = i + 80
            latched = barrier and (latched or seen)
        label[i], flap[i] = seen, i < flap_until
    return label, flap


def sleeves(folder: Path) -> None:
    """Sleeves with and without a label; readings, and what the controller did with them. The truth is a list of its own."""
    rng = np.random.default_rng([SEED, 3])
    count = 140
    line = Line(0.6 * count + 6, ROLLER_GAP, rng)
    barrier = np.zeros(line.n, bool)
    order = rng.permutation(np.arange(count) % 2 == 0)
    for k in range(count):
        start = 3000 + 600 * k + int(rng.integers(-10, 11))
        name = (
            f"{'P' if order[k] else 'B'}{int(order[: k + 1].sum() if order[k] else (k + 1 - order[: k + 1].sum())) % 20 + 1:02d}"
        )
        end = sleeve_profile(line, start, bool(order[k]), name, rng)
        barrier[start + 4 : end - 4] = True
    counts = line.counts(SLEEVE_DARK, SLEEVE_WHITE, drift=0.003)
    reference = BARE_SLEEVE / BARE_SLEEVE.sum()
    label, flap = sleeve_controller(counts, barrier, reference, rng)
    write_parquet(folder / "sleeves.parquet", {
        "t": pa.array(np.arange(line.n, dtype=np.int32)),
        **{f"s_{band}": pa.array(counts[:, b]) for b, band in enumerate("rgb")},
        "sleeve_in": pa.array(barrier),
        "Q05": pa.array(label),
        "Q11": pa.array(flap),
    })  # fmt: skip
    listed: list[list[object]] = [list(entry[:4]) for entry in line.truth]
    write_csv(folder / "sleeves_truth.csv", ["start_ms", "end_ms", "target", "specimen"], listed)


def teaching(folder: Path) -> None:
    """The readings from which chamomile and the bare sleeve were taught, on parts that are used for nothing else."""
    rng = np.random.default_rng([SEED, 4])
    line = Line(3.2, relative_of(BELT_LAB), rng)
    for k in range(5):
        line.lay(400 + 500 * k, 80, relative_of(LAB["chamomile"]), "chamomile", f"CT{k + 1}")
    counts = line.counts(DARK, WHITE, drift=0)
    rows = [[i, *map(int, counts[i]), t, s] for i, (t, s) in enumerate(zip(line.column(2), line.column(3), strict=True))]
    write_csv(folder / "teach_chamomile.csv", ["ms", "r", "g", "b", "part", "no"], rows, ";")
    sleeve = Line(2.4, ROLLER_GAP, rng)
    for k in range(3):
        sleeve.lay(400 + 600 * k, 200, BARE_SLEEVE, "bare sleeve", f"BT{k + 1}")
    counts = sleeve.counts(SLEEVE_DARK, SLEEVE_WHITE, drift=0)
    rows = [[i, *map(int, counts[i]), t, s] for i, (t, s) in enumerate(zip(sleeve.column(2), sleeve.column(3), strict=True))]
    write_csv(folder / "teach_sleeve.csv", ["ms", "s_r", "s_g", "s_b", "part", "no"], rows, ";")


def hand_table(path: Path, parts: Parts, targets: tuple[str, ...], each: int, rng: np.random.Generator, voided: int = -1) -> None:
    """What a person wrote down at the stopped line: which lamp of the four was lit, and the counts on the display."""
    lamp = {"mint": 0, "chamomile": 1, "hibiscus": 2, "rooibos": 3}
    rows: list[list[object]] = []
    for k in range(each * len(targets)):
        target = targets[k % len(targets)]
        name = parts.cycle[target][(k // len(targets)) % len(parts.cycle[target])]
        mean = DARK + parts.colour[name] * (1 + rng.normal(0, 0.005)) * (WHITE - DARK)
        lit = ["lit" if lamp.get(target) == c else "dark" for c in range(4)]
        shown = [f"{value:.1f}".replace(".", ",") for value in mean]
        rows.append([k + 1, target, name, *shown, *lit, "operator 1" if k % 2 else "operator 2", "yes" if k == voided else "no"])
    header = ["trial", "part", "no", "r", "g", "b", "lamp 1", "lamp 2", "lamp 3", "lamp 4", "seen by", "void"]
    write_csv(path, header, rows, ";")


def register(path: Path, parts: Parts) -> None:
    """The register of the physical parts."""
    by = ["lot 7", "sample room", "colour cabinet, two people"]
    rows = [[name, parts.target[name], parts.grade[name], *by] for name in parts.colour]
    rows += [[f"P{k:02d}", "label", "normal", "lot 3", "print shop", "by eye"] for k in range(1, 21)]
    rows += [[f"B{k:02d}", "bare sleeve", "normal", "lot 3", "print shop", "by eye"] for k in range(1, 21)]
    write_csv(path, ["id", "target", "grade", "lot", "made_by", "confirmed_by"], rows)


def first_day(folder: Path, parts: Parts) -> None:
    """An hour after switching on: too few sachets, and 30 ms of readings lost in the middle of one chamomile."""
    rng = np.random.default_rng([SEED, 5])
    line = Line(20, relative_of(BELT_LAB), rng)
    for k in range(32):
        target = "chamomile" if k % 8 in (2, 5, 7) else "mint"
        name = parts.next(target)
        line.lay(2000 + 500 * k, 80, parts.colour[name], target, name)
    counts = line.counts(DARK, WHITE)
    lost = next(entry[0] for entry in line.truth[10:] if entry[2] == "chamomile")
    keep = np.ones(line.n, bool)
    keep[lost + 25 : lost + 55] = False
    write_parquet(folder / "morning.parquet", {
        "t": pa.array(np.arange(line.n, dtype=np.int32)[keep]),
        **{band: pa.array(counts[keep, b]) for b, band in enumerate("rgb")},
        "target": words([w for w, k in zip(line.column(2), keep, strict=True) if k]),
        "specimen": words([w for w, k in zip(line.column(3), keep, strict=True) if k]),
    })  # fmt: skip
    hand_table(folder / "hand_trials.csv", parts, ("mint", "chamomile"), 10, rng)


def main(folder: Path) -> None:
    recordings, first = folder / "recordings", folder / "first_day" / "recordings"
    for made in (recordings, first):
        made.mkdir(parents=True, exist_ok=True)
    parts = Parts(np.random.default_rng([SEED, 0]))
    sorting(recordings, parts)
    repeat(recordings, parts)
    sleeves(recordings)
    teaching(recordings)
    hand_table(recordings / "hand_trials.csv", parts, (*MEMBERS, "verbena"), 23, np.random.default_rng([SEED, 6]), voided=17)
    register(folder / "specimens.csv", parts)
    first_day(first, parts)
    for path in sorted([*recordings.iterdir(), *first.iterdir()]):
        print(f"{path.relative_to(folder)}: {path.stat().st_size:,} bytes")


if __name__ == "__main__":
    main(Path(sys.argv[1]) if len(sys.argv) > 1 else HERE)
