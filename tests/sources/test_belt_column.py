"""A column that counts the belt: turns of the counter, trembling, going back, gaps; and an encoder beside it."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from recording_kit import csv_file, form, opened, read, refusal

from stationtest.model.digital import Digital
from stationtest.model.travel import NM, Travel


def table(counts: list[object], times: list[int] | None = None) -> str:
    times = times or list(range(len(counts)))
    return "t,r,g,b,target,pos\n" + "".join(f"{t},1,2,3,,{count}\n" for t, count in zip(times, counts, strict=True))


def counted(**more: object) -> Travel:
    return Travel(**{"column": "pos", "per_count_nm": NM // 2, **more})  # type: ignore[arg-type]


def way(folder: Path, counts: list[object], travel: Travel, times: list[int] | None = None) -> list[float]:
    position = read(folder, csv_file(folder, table(counts, times)), form(travel=travel)).position_nm
    assert position is not None
    return (position / NM).tolist()


def test_counts_are_belt(tmp_path: Path) -> None:
    assert way(tmp_path, [7, 7, 8, 10], counted()) == [0, 0, 0.5, 1.5]
    assert way(tmp_path, ["7.25", "7.5", "8", "8"], counted(per_count_nm=NM, within_nm=NM // 10)) == [0, 0.25, 0.75, 0.75]


def test_a_counter_that_starts_again(tmp_path: Path) -> None:
    """16 bits: 65534, 65535, 0, 1 are three steps of half a millimetre."""
    assert way(tmp_path, [65534, 65535, 0, 1], counted(wraps_at=65536)) == [0, 0.5, 1.0, 1.5]


def test_trembling_by_a_step_is_standing(tmp_path: Path) -> None:
    """An encoder that stops on a line flickers between two counts; the belt did not go back."""
    assert way(tmp_path, [5, 6, 5, 6, 7], counted()) == [0, 0.5, 0.5, 0.5, 1.0]
    assert way(tmp_path, [0, 65535, 0, 1], counted(wraps_at=65536)) == [0, 0, 0, 0.5]


def test_after_a_gap_a_turn_is_forward(tmp_path: Path) -> None:
    """A counter of 100 that reads 10, and 5 after a gap: the belt has moved on by 95 counts or more, never back by 5."""
    assert way(tmp_path, [9, 10, 10, 5, 6], counted(wraps_at=100), [0, 1, 2, 100, 101]) == [0, 0.5, 0.5, 48, 48.5]


@pytest.mark.parametrize(
    ("counts", "travel", "row", "said"),
    [
        ([5, 6, 4], counted(), 4, "goes back by 2 counts in column pos; a counter that starts again at 0 needs `wraps_at`"),
        ([5, 6, 3], counted(wraps_at=100), 4, "goes back by 3 counts in column pos"),
        ([5, 100, 1], counted(wraps_at=100), 3, "column pos holds 100, and the count starts again at 100"),
        ([5, "", 6], counted(), 3, "is empty"),
        ([5, "x", 6], counted(), 3, "x"),
    ],
)
def test_what_is_refused(tmp_path: Path, counts: list[object], travel: Travel, row: int, said: str) -> None:
    problem = refusal(tmp_path, csv_file(tmp_path, table(counts)), form(travel=travel))
    assert said in problem.message and (problem.place.line, problem.code) == (row, "bad-value")


def test_a_column_that_is_not_there(tmp_path: Path) -> None:
    problem = refusal(tmp_path, csv_file(tmp_path, table([1])), form(travel=counted(column="position")))
    assert (problem.code, problem.key) == ("missing-column", "travel.column")


def test_the_way_does_not_depend_on_how_the_file_is_cut(tmp_path: Path) -> None:
    """Two grid cells: 70,000 rows, in one file and in three parts."""
    counts = np.arange(70_000) // 3 % 1000
    whole = csv_file(tmp_path, table(counts.tolist()))
    lines = (tmp_path / whole).read_text().splitlines()
    (tmp_path / "parts").mkdir()
    for k, (low, high) in enumerate([(1, 20_001), (20_001, 66_000), (66_000, len(lines))]):
        csv_file(tmp_path / "parts", "\n".join([lines[0], *lines[low:high]]) + "\n", f"{k}.csv")
    travel = counted(wraps_at=1000)
    one, two = (read(tmp_path, name, form(pattern="*", travel=travel)).position_nm for name in (whole, "parts"))
    assert one is not None and two is not None
    assert one.tolist() == two.tolist() == (np.arange(70_000) // 3 * (NM // 2)).tolist()


def test_which_travel_a_recording_has(tmp_path: Path) -> None:
    """A form's own, else the station's; an encoder only where the form maps its input."""
    name = csv_file(tmp_path, table([1, 2]))
    pulses = Travel(input="box in", per_pulse_nm=NM)
    assert opened(tmp_path, name, form(travel=pulses)).travel is None
    mapped = form(travel=pulses, inputs=(Digital(name="box in", column="pos"),))
    assert opened(tmp_path, name, mapped).travel == pulses
    steady = Travel(speed_nm_s=500.0 * NM)
    assert opened(tmp_path, name, form(travel=steady)).travel == steady
    assert opened(tmp_path, name, form()).travel is None
