"""Published colour differences through the whole chain: a recording in, margins in the record out."""

from __future__ import annotations

import csv
from pathlib import Path

import pytest

from stationtest import public

# Sharma, Wu and Dalal (2005), Table 1, all 34 pairs; see tests/values/colour_sources.md
TABLE = Path(__file__).parent.parent / "values" / "ciede2000_sharma_34.csv"
PAIRS = list(csv.DictReader(TABLE.read_text(encoding="utf-8").splitlines()))
TOLERANCE = 40  # above the greatest of them, 31.9


def lab(pair: dict[str, str], number: int) -> str:
    return ", ".join(pair[f"{axis}{number}"] for axis in "Lab")


@pytest.fixture(scope="module")
def margins(tmp_path_factory: pytest.TempPathFactory) -> dict[str, float]:
    """The margin of each pair's own channel: its reference is the first colour, and the second one is what the sensor reads."""
    folder = tmp_path_factory.mktemp("pairs")
    (folder / "recordings").mkdir()
    (folder / "cases").mkdir()
    numbers = [pair["pair"] for pair in PAIRS]
    station = [
        "station: published pairs",
        "sensors: {eye: {reads: CIELAB, columns: {L: L, a: a, b: b}, illuminant: D65, observer: 2 deg}}",
        "targets:",
        *(f"  pair {p['pair']}: {{colour: {{Lab: [{lab(p, 1)}], illuminant: D65, observer: 2 deg}}}}" for p in PAIRS),
        "channels:",
        *(f"  {n}: {{reference: pair {n}, distance: CIEDE2000, tolerance: {TOLERANCE}}}" for n in numbers),
        'recordings: {"recordings/*.csv": {time: {column: t, in: ms}, every: 1 ms, gap: 3 ms, target: part}}',
    ]
    cases = ["readings: [../recordings/r.csv]", "evidence: {trials: 1}", "cases:"]
    empty = [",50,200,200,"] * 100  # far from every reference
    rows = ["t,L,a,b,part", *(f"{ms}{row}" for ms, row in enumerate(empty))]
    for k, pair in enumerate(PAIRS):
        n = pair["pair"]
        cases.append(f"  P-{n}: {{title: Pair {n}, present: pair {n}, expect: {{margin: {{must_fire: at least 0}}}}}}")
        rows += [f"{100 * (k + 1) + ms},{lab(pair, 2).replace(' ', '')},pair {n}" for ms in range(100)]
    rows += [f"{100 * (len(PAIRS) + 1) + ms}{row}" for ms, row in enumerate(empty)]
    (folder / "station.yaml").write_text("\n".join(station) + "\n", encoding="utf-8")
    (folder / "cases" / "pairs.case.yaml").write_text("\n".join(cases) + "\n", encoding="utf-8")
    (folder / "recordings" / "r.csv").write_text("\n".join(rows) + "\n", encoding="utf-8")
    found = {}
    for case in public.run(public.load(str(folder)))["result"]["cases"]:
        assert case["verdict"] == "pass", case["reason"]
        found[case["id"].removeprefix("P-")] = case["expectations"][0]["worst"]["value"]
    return found


@pytest.mark.parametrize("pair", PAIRS, ids=lambda pair: pair["pair"])
def test_the_margin_in_the_record_is_one_less_the_published_difference(pair: dict[str, str], margins: dict[str, float]) -> None:
    """Margin = 1 - s*, and s* is the difference by the tolerance (A1); published to four decimals."""
    assert TOLERANCE * (1 - margins[pair["pair"]]) == pytest.approx(float(pair["dE00_published"]), abs=5e-5)
