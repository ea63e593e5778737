"""Presentations against a plain state machine over rows that shares no code with the package."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from stationtest.errors import ReadingsError
from stationtest.model.observations import CUT_END, CUT_START, GAP, UNKNOWN_TARGET, VOID
from stationtest.signals.batch import Batch, Listed, of_sensor
from stationtest.signals.presentations import Facts, PresentationTable, builder_for

WORDS = ["mint", "chamomile", "?"]
EVERY, GAP_NS = 10, 50


def facts(**keys: object) -> Facts:
    usual = {"sensors": ("one",), "every_ns": EVERY, "gap_ns": GAP_NS, "between": "bare belt"}
    return Facts(**(usual | keys))  # type: ignore[arg-type]


def batch(t: list[int], target: list[int], specimen: list[int] | None = None, **more: list[int]) -> Batch:
    columns = {"target": target, **({"specimen": specimen} if specimen is not None else {}), **more}
    tables = {"target": list(WORDS), "specimen": ["s0", "s1", "s2"], "sensor": ["one", "two"], "speed": ["slow", "fast"]}
    return Batch(
        0,
        np.array(t, np.int64),
        codes={name: np.array(column, np.int32) for name, column in columns.items()},
        tables={name: tables[name] for name in columns},
        rows=len(t),
    )


def cut(whole: Batch, lengths: list[int]) -> list[Batch]:
    ends = np.cumsum(lengths).tolist()
    return [whole.part(end - length, end) for end, length in zip(ends, lengths, strict=True) if length]


def run(whole: Batch, lengths: list[int], about: Facts, listed: Listed | None = None):  # type: ignore[no-untyped-def]
    """The table, and for each row its presentation and whether it is plateau, by position in the table (-1: nobody's)."""
    builder = builder_for(about, listed)
    owner: dict[int, list[int]] = {k: [-1] * len(whole) for k in range(len(about.sensors))}
    plateau: set[tuple[int, int]] = set()
    for piece, ranges in builder.walk(cut(whole, lengths)):
        for k in range(len(ranges)):
            assert ranges.i0[k] < ranges.i1[k] and ranges.i0[k] <= ranges.p0[k] <= ranges.p1[k] <= ranges.i1[k]
            for i in range(ranges.i0[k], ranges.i1[k]):
                assert owner[int(ranges.sensor[k])][piece.first_row + i] == -1
                owner[int(ranges.sensor[k])][piece.first_row + i] = int(ranges.id[k])
            plateau |= {(int(ranges.sensor[k]), piece.first_row + i) for i in range(ranges.p0[k], ranges.p1[k])}
    table = builder.finish()
    place = {int(number): k for k, number in enumerate(table.ids)} | {-1: -1}
    return table, {k: [place[number] for number in numbers] for k, numbers in owner.items()}, plateau


def machine(t: list[int], target: list[int], specimen: list[int], edge: int) -> tuple[list[dict], set[int]]:
    """Row by row, as the rules are written."""
    found: list[dict] = []
    for i in range(len(t)):
        key = (target[i], specimen[i]) if target[i] >= 0 else (-1, -1)
        if not found or found[-1]["key"] != key:
            found.append({"key": key, "rows": []})
        found[-1]["rows"].append(i)
    plateau = set()
    for k, one in enumerate(found):
        first, last = one["rows"][0], one["rows"][-1]
        one["start"] = t[first]
        one["end"] = min(t[last + 1], t[last] + GAP_NS) if last + 1 < len(t) else t[last] + EVERY
        steps = [t[i + 1] - t[i] for i in one["rows"] if i + 1 < len(t)] + ([EVERY] if last + 1 == len(t) else [])
        one["longest"] = max(steps)
        gap = one["longest"] > GAP_NS or (first > 0 and t[first] - t[first - 1] > GAP_NS)
        one["status"] = (
            (GAP if gap else 0)
            | (CUT_START if first == 0 else 0)
            | (CUT_END if last == len(t) - 1 else 0)
            | (UNKNOWN_TARGET if one["key"][0] == 2 else 0)
        )
        before = found[k - 1] if k else None
        one["touches"] = bool(before and before["key"][0] >= 0 and one["key"][0] >= 0 and before["end"] == one["start"])
        plateau |= {i for i in one["rows"] if one["start"] + edge <= t[i] < one["end"] - edge}
    return found, plateau


@st.composite
def streams(draw: st.DrawFn) -> tuple[list[int], list[int], list[int], list[int]]:
    runs = draw(st.lists(st.tuples(st.integers(-1, 2), st.integers(-1, 1), st.integers(1, 6)), min_size=1, max_size=12))
    target = [a for a, _, n in runs for _ in range(n)]
    specimen = [b for _, b, n in runs for _ in range(n)]
    steps = draw(st.lists(st.sampled_from([1, 10, 10, 10, 50, 51, 300]), min_size=len(target), max_size=len(target)))
    lengths, left = [], len(target)
    while left:
        lengths.append(min(left, draw(st.integers(1, 9))))
        left -= lengths[-1]
    return np.cumsum(steps).tolist(), target, specimen, lengths


@settings(max_examples=300, deadline=None)
@given(streams(), st.sampled_from([0, 5, 10, 25, 120, 1000]), st.booleans())
def test_against_a_state_machine(stream: tuple, edge: int, between: bool) -> None:
    t, target, specimen, lengths = stream
    about = facts(edge_ns={"one": edge}, between="bare belt" if between else None)
    table, owner, plateau = run(batch(t, target, specimen), lengths, about)
    expected, expected_plateau = machine(t, target, specimen, edge)
    wanted = [one for one in expected if between or one["key"][0] >= 0]
    assert table.start_ns.tolist() == [one["start"] for one in wanted]
    assert table.end_ns.tolist() == [one["end"] for one in wanted]
    assert table.first_row.tolist() == [one["rows"][0] for one in wanted]
    assert table.rows.tolist() == [len(one["rows"]) for one in wanted]
    assert table.longest_step_ns.tolist() == [one["longest"] for one in wanted]
    assert table.status.tolist() == [one["status"] for one in wanted]
    assert table.between.tolist() == [one["key"][0] < 0 for one in wanted]
    assert table.touches_before.tolist() == [one["touches"] for one in wanted]
    names = [WORDS[one["key"][0]] if one["key"][0] >= 0 else "bare belt" for one in wanted]
    assert [table.tables["target"][code] for code in table.target] == names
    assert table.specimen.tolist() == [one["key"][1] for one in wanted]
    rows = [k for k, one in enumerate(wanted) for _ in one["rows"]]
    assert [number for number in owner[0] if number >= 0] == rows
    shown = {i for one in wanted for i in one["rows"]}
    assert {i for _, i in plateau} == expected_plateau & shown


def equal(one: PresentationTable, other: PresentationTable) -> None:
    for name in PresentationTable.__slots__:
        a, b = getattr(one, name), getattr(other, name)
        if isinstance(a, np.ndarray):
            assert a.dtype == b.dtype and a.tobytes() == b.tobytes(), name
        elif name == "conditions":
            assert all((a[key] == b[key]).all() for key in a)
        else:
            assert a == b


@settings(max_examples=100, deadline=None)
@given(streams(), st.sampled_from([0, 10, 120]))
def test_a_list_of_the_same_times_gives_the_same_rows(stream: tuple, edge: int) -> None:
    """Presentations found in the columns, written as a list and found again, have the same rows, plateaus and flags."""
    t, target, specimen, lengths = stream
    about = facts(edge_ns={"one": edge})
    whole = batch(t, target, specimen)
    table, owner, plateau = run(whole, lengths, about)
    real = np.flatnonzero(~table.between)
    if not len(real):
        return
    listed = Listed(
        "truth.csv",
        table.start_ns[real],
        table.end_ns[real],
        {"target": table.target[real].astype(np.int32), "specimen": table.specimen[real].astype(np.int32)},
        {"target": list(table.tables["target"]), "specimen": list(table.tables["specimen"])},
        real + 2,
        np.zeros(len(real), np.bool_),
    )
    again, owner_again, plateau_again = run(Batch(0, np.array(t), rows=len(t)), lengths, about, listed)
    mine = np.flatnonzero(~again.between)
    for name in ("start_ns", "end_ns", "first_row", "rows", "target", "specimen", "touches_before", "touches_after"):
        assert getattr(again, name)[mine].tolist() == getattr(table, name)[real].tolist(), name
    rank, rank_again = {int(k): n for n, k in enumerate(real)}, {int(k): n for n, k in enumerate(mine)}
    assert [rank.get(k, -1) for k in owner[0]] == [rank_again.get(k, -1) for k in owner_again[0]]
    rows = {i for i in range(len(t)) if owner[0][i] in rank}
    assert {i for _, i in plateau} & rows == {i for _, i in plateau_again} & rows
    whole_list, _, _ = run(Batch(0, np.array(t), rows=len(t)), [len(t)], about, listed)
    equal(again, whole_list)


def test_touching_neighbours() -> None:
    """Counter-example A23: two of one target that touch are told apart by a specimen, and marked; without one they are one."""
    t = list(range(0, 80, 10))
    table, _, _ = run(batch(t, [-1, 0, 0, 0, 0, -1, 0, -1], [-1, 0, 0, 1, 1, -1, 1, -1]), [8], facts())
    real = ~table.between
    assert table.start_ns[real].tolist() == [10, 30, 60]
    assert table.touches_after[real].tolist() == [True, False, False]
    assert table.touches_before[real].tolist() == [False, True, False]
    table, _, _ = run(batch(t, [-1, 0, 0, 0, 0, -1, 0, -1]), [8], facts())
    assert table.start_ns[~table.between].tolist() == [10, 60]


def test_cut_at_the_ends_and_in_gaps() -> None:
    """Counter-examples A9 and A25: presentations at the ends of a recording and beside gaps are there, and marked."""
    t = [0, 10, 20, 30, 200, 210, 220]
    table, _, _ = run(batch(t, [0, 0, -1, 1, 1, -1, 2]), [3, 4], facts())
    assert [(int(s), int(e)) for s, e in zip(table.start_ns, table.end_ns, strict=True)] == [
        (0, 20), (20, 30), (30, 210), (210, 220), (220, 230)]  # fmt: skip
    assert table.status.tolist() == [CUT_START, 0, GAP, 0, CUT_END | UNKNOWN_TARGET]
    table, _, _ = run(batch(t, [0, 0, -1, 1, -1, -1, -1]), [7], facts())
    assert table.end_ns[2] == 80 and table.status.tolist()[2:] == [GAP, GAP | CUT_END]
    assert table.start_ns[3] == 200


def test_time_between_is_judged_too_if_declared() -> None:
    """Counter-example A8: stretches between are presentations of the target that is declared for them."""
    whole = batch([0, 10, 20, 30], [-1, 0, -1, -1])
    table, owner, _ = run(whole, [4], facts())
    assert [table.tables["target"][k] for k in table.target] == ["bare belt", "mint", "bare belt"]
    assert owner[0] == [0, 1, 2, 2]
    table, owner, _ = run(whole, [4], facts(between=None))
    assert [table.tables["target"][k] for k in table.target] == ["mint"] and owner[0] == [-1, 0, -1, -1]


def test_several_sensors_see_their_own_targets() -> None:
    whole = batch([0, 10, 20, 30, 40], [0, 0, 1, -1, 1], sensor=[0, 0, 1, -1, 0])
    table, owner, _ = run(whole, [2, 3], facts(sensors=("one", "two")))
    rows = [
        (table.sensors[s], table.tables["target"][k], a, e)
        for s, k, a, e in zip(
            table.sensor.tolist(), table.target.tolist(), table.start_ns.tolist(), table.end_ns.tolist(), strict=True
        )
    ]
    assert rows == [
        ("one", "mint", 0, 20), ("two", "bare belt", 0, 20), ("one", "bare belt", 20, 40), ("two", "chamomile", 20, 30),
        ("two", "bare belt", 30, 50), ("one", "chamomile", 40, 50)]  # fmt: skip
    assert owner == {0: [0, 0, 2, 2, 5], 1: [1, 1, 3, 4, 4]}


def test_a_condition_is_that_of_the_first_row_and_parts_nothing() -> None:
    whole = batch([0, 10, 20, 30], [-1, 0, 0, -1], speed=[0, 1, 0, 0])
    table, _, _ = run(whole, [2, 2], facts(conditions=("speed",)))
    assert len(table) == 3
    assert [table.tables["speed"][k] for k in table.conditions["speed"]] == ["slow", "fast", "slow"]


def listed_at(*times: tuple[int, int], void: list[bool] | None = None) -> Listed:
    n = len(times)
    start, end = (np.array(column, np.int64) for column in zip(*times, strict=True))
    return Listed(
        "truth.csv", start, end, {"target": np.zeros(n, np.int32)}, {"target": ["mint"]}, np.arange(n) + 2,
        np.array(void or [False] * n),
    )  # fmt: skip


def test_a_list_longer_than_the_recording() -> None:
    """Counter-example A28: what is listed but was not recorded is kept, without rows, and can never conform."""
    t = list(range(100, 200, 10))
    listed = listed_at((0, 50), (80, 115), (122, 128), (150, 170), (300, 310))
    table, _, _ = run(Batch(0, np.array(t), rows=10), [4, 6], facts(), listed)
    real = ~table.between
    assert table.start_ns[real].tolist() == [0, 100, 122, 150, 300] and table.end_ns[real].tolist() == [50, 115, 128, 170, 310]
    assert table.rows[real].tolist() == [0, 2, 0, 2, 0]
    assert table.status[real].tolist() == [GAP | CUT_START, CUT_START, GAP, 0, GAP | CUT_END]
    between = [(int(s), int(e)) for s, e in zip(table.start_ns[~real], table.end_ns[~real], strict=True)]
    assert between == [(115, 122), (128, 150), (170, 200)]
    assert table.status[~real].tolist() == [0, 0, CUT_END]
    with pytest.raises(ReadingsError, match="none of the 1 presentations lies in the recording"):
        run(Batch(0, np.array(t), rows=10), [10], facts(), listed_at((300, 310)))


def test_a_void_line_of_a_list() -> None:
    table, _, _ = run(Batch(0, np.arange(0, 100, 10), rows=10), [10], facts(), listed_at((10, 20), (40, 60), void=[True, False]))
    assert table.status[~table.between].tolist() == [VOID, 0]


def test_an_edge_holds_a_batch_back_only_as_long_as_needed() -> None:
    whole = batch(list(range(0, 120, 10)), [0] * 12)
    seen = []
    builder = builder_for(facts(edge_ns={"one": 15}))

    def counted():  # type: ignore[no-untyped-def]
        for k, piece in enumerate(cut(whole, [4, 4, 4])):
            seen.append(f"read {k}")
            yield piece

    for piece, ranges in builder.walk(counted()):
        seen.append(f"handed on {piece.first_row // 4}: {ranges.p0[0]} to {ranges.p1[0]}")
    assert seen == ["read 0", "read 1", "handed on 0: 2 to 4", "read 2", "handed on 1: 0 to 4", "handed on 2: 0 to 3"]


def by_sensor(t: list[int], **columns: list[int]) -> Batch:
    """Columns of truth named `target_one`, `specimen_two` …; each has its words in an order of its own."""
    words = {"target": list(WORDS), "specimen": ["s0", "s1", "s2"]}
    codes, tables = {}, {}
    for name, column in columns.items():
        role, sensor = name.split("_")
        codes[of_sensor(role, sensor)] = np.array(column, np.int32)
        tables[of_sensor(role, sensor)] = words[role] if sensor == "one" else words[role][::-1]
    return Batch(0, np.array(t, np.int64), codes=codes, tables=tables, rows=len(t))


@st.composite
def two_truths(draw: st.DrawFn) -> tuple[list[int], dict[str, list[int]], list[int]]:
    """Two streams of truth on the times of one, the other cut or filled up to its length."""
    t, target, specimen, lengths = draw(streams())
    _, other, others, _ = draw(streams())
    n = len(t)
    columns = {"target_one": target, "specimen_one": specimen}
    return t, columns | {"target_two": (other * n)[:n], "specimen_two": (others * n)[:n]}, lengths


@settings(max_examples=200, deadline=None)
@given(two_truths(), st.sampled_from([0, 10, 120]), st.booleans())
def test_a27_each_sensor_has_the_presentations_of_its_own_column(stream: tuple, edge: int, between: bool) -> None:
    """Counter-example A27: each column by itself through the state machine, whatever the other says; a third sensor, of which
    no column speaks, has nothing, not even stretches between."""
    t, columns, lengths = stream
    about = facts(
        sensors=("one", "none", "two"), edge_ns=dict.fromkeys(("one", "none", "two"), edge),
        between="bare belt" if between else None,
    )  # fmt: skip
    whole = by_sensor(t, **columns)
    table, owner, plateau = run(whole, lengths, about)
    assert set(owner[1]) == {-1}
    for number, name in ((0, "one"), (2, "two")):
        words = whole.tables[of_sensor("target", name)]
        mystery = words.index("?")
        target = [code if code != mystery else 2 if name == "one" else 9 for code in columns[f"target_{name}"]]
        expected, expected_plateau = machine(t, target, columns[f"specimen_{name}"], edge)
        wanted = [one for one in expected if between or one["key"][0] >= 0]
        rows = np.flatnonzero(table.sensor == number)
        assert table.start_ns[rows].tolist() == [one["start"] for one in wanted]
        assert table.end_ns[rows].tolist() == [one["end"] for one in wanted]
        assert table.touches_before[rows].tolist() == [one["touches"] for one in wanted]
        assert [table.tables["target"][code] for code in table.target[rows]] == [
            "bare belt" if one["key"][0] < 0 else words[mystery if one["key"][0] == 9 else one["key"][0]] for one in wanted
        ]
        unknown = [words[code] == "?" if code >= 0 else False for code in columns[f"target_{name}"]]
        assert [bool(s & UNKNOWN_TARGET) for s in table.status[rows]] == [unknown[one["rows"][0]] for one in wanted]
        own = whole.tables[of_sensor("specimen", name)]
        assert [table.tables["specimen"][code] if code >= 0 else None for code in table.specimen[rows]] == [
            own[one["key"][1]] if one["key"][1] >= 0 else None for one in wanted
        ]
        place = [k for k, one in zip(rows.tolist(), wanted, strict=True) for _ in one["rows"]]
        assert [k for k in owner[number] if k >= 0] == place
        shown = {i for one in wanted for i in one["rows"]}
        assert {i for k, i in plateau if k == number} == expected_plateau & shown
    again = run(whole, [len(t)], about)[0]
    equal(replace(table, ids=again.ids), again)  # which number a presentation had while streaming matters to nobody


def test_a27_one_word_in_two_columns_is_one_target_and_a_shared_column_holds_for_both() -> None:
    """Two sensors, targets apart and one specimen column: rows of 10 ns, by hand."""
    codes = {of_sensor("target", "one"): [-1, 0, 0, -1], of_sensor("target", "two"): [0, 0, 1, 1], "specimen": [0, 0, 1, 1]}
    tables = {of_sensor("target", "one"): ["mint"], of_sensor("target", "two"): ["chamomile", "mint"], "specimen": ["A", "B"]}
    arrays = {name: np.array(column, np.int32) for name, column in codes.items()}
    whole = Batch(0, np.arange(0, 40, 10), codes=arrays, tables=tables, rows=4)
    table, _, _ = run(whole, [1, 3], facts(sensors=("one", "two"), between=None))
    assert table.tables["target"] == ("mint", "chamomile")
    found = zip(table.sensor, table.target, table.specimen, table.start_ns, table.end_ns, strict=True)
    assert [(table.sensors[s], table.tables["target"][k], "AB"[n], int(a), int(b)) for s, k, n, a, b in found] == [
        ("two", "chamomile", "A", 0, 20), ("one", "mint", "A", 10, 20), ("one", "mint", "B", 20, 30), ("two", "mint", "B", 20, 40)
    ]  # fmt: skip
