"""What a unit deserves and what its neighbours do not (L12): `as the set is`, `neighbours`. Times in ms, worked by hand.

Boxes of 0.4 s come every 0.5 s; box k is out at 500 k + 500 ms. The flap has 300 ms to go, so its window for box k is
[500 k + 800, 500 k + 900).
"""

from __future__ import annotations

from typing import Any

import pytest
from factory import Did, Table, case, of, run_case, station

from stationtest.model.case import Evidence, Present

ANY = Evidence(trials=1)
LACKS = Present(kind="set", set="full box", which="lacking", lacking="any")
COMPLETE = Present(kind="set", set="full box", which="complete")
WINDOW = {"flap": {"is": "on", "from": "box out", "after": "300 ms", "within": "100 ms"}}


def boxes(lacking: tuple[int, ...], flap: list[tuple[float, float]], n: int = 6, end: float = 6000, **more: Any) -> Table:
    table = Table(station(), end=end)
    outs = [500 * k + 500 for k in range(n)]
    for k in range(n):
        counts = {"mint": 1} if k in lacking else {"mint": 1, "chamomile": 1}
        table.add_set(500 * k + 100, outs[k], counts, **({"status": 16} if k in more.get("unknown", ()) else {}))
        table.add("mint", 500 * k + 150, 500 * k + 200, set=k, did={"1": Did(on=40)})
    table.signal("input", "box out", [(at, at + 20) for at in outs], basis="recorded")
    table.signal("output", "flap", flap, more.get("can"), decisions=outs, basis="recorded")
    return table


def own(*boxes: int) -> list[tuple[float, float]]:
    """The flap as it should come for these boxes, for 80 ms."""
    return [(500 * k + 810, 500 * k + 890) for k in boxes]


def judged(table: Table, present: Present = LACKS, **expect: Any) -> dict[str, Any]:
    return run_case(table, case(present, ANY, **(expect or {"outputs": WINDOW, "neighbours": {"flap": "off"}})))


# --- neighbours ------------------------------------------------------------------------------------------


def test_l12_this_box_and_no_other() -> None:
    result = judged(boxes((2,), own(2)))
    assert (result["verdict"], result["basis"]) == ("pass", "recorded")


@pytest.mark.parametrize(
    ("flap", "told"),
    [
        ([(1810, 2320)], "flap was on at 2.300 s, in the window of full box 4, the one after it"),  # it goes on too long
        ([(1380, 1390), (1810, 1890)], "flap was on at 1.380 s, in the window of full box 2, the one before it"),
        ([(1810, 1890), (2399, 2410)], "flap was on at 2.399 s, in the window of full box 4, the one after it"),  # its last ms
    ],
)
def test_l12_a_neighbour_is_hit(flap: list[tuple[float, float]], told: str) -> None:
    """Windows of boxes 1, 2, 3 (named 2, 3, 4): [1.3, 1.4), [1.8, 1.9), [2.3, 2.4) s. Box 2 gets its own; still nonconforming."""
    result = judged(boxes((2,), flap))
    assert result["verdict"] == "fail" and told in result["reason"]
    assert judged(boxes((2,), flap), outputs=WINDOW)["verdict"] == "pass", "the outputs alone see nothing of it"


def test_the_windows_of_neighbours_are_half_open() -> None:
    """On up to 2.300 and again from 2.400 s: just outside [2.3, 2.4)."""
    assert judged(boxes((2,), [(1810, 2300), (2400, 2500)]))["verdict"] == "pass"


def test_perhaps_is_too_much() -> None:
    table = boxes((2,), own(2), can=[*own(2), (2310, 2315)])
    assert "flap was on at 2.310 s" in judged(table)["reason"]


def test_a_neighbour_with_a_claim_of_its_own_is_left_out() -> None:
    """Boxes 2 and 3 lack: the flap for 3 says nothing of 2; 1 and 4 are looked at. Between 1 and 3, all lacking, 2 has nobody."""
    assert judged(boxes((2, 3), own(2, 3)))["conforming"] == 2
    alone = run_case(boxes((1, 2, 3), own(1, 2, 3)), case(LACKS, Evidence(trials=3), outputs=WINDOW, neighbours={"flap": "off"}))
    assert (alone["conforming"], alone["not_judged"]) == (2, 1)
    assert "full box 3, at 1.100 s: it has no neighbour that could be looked at" in alone["reason"]


def test_what_is_not_known_of_a_neighbour_is_not_judged() -> None:
    assert judged(boxes((2,), own(2), unknown=(1, 3)))["not_judged"] == 1
    assert judged(boxes((0,), own(0), n=1))["not_judged"] == 1, "no neighbour at all"
    late = judged(boxes((4,), own(4), end=3350))  # the window of box 5 is [3.3, 3.4): cut, and it may have been hit
    assert (late["not_judged"], late["nonconforming"]) == (1, 0)
    before = judged(boxes((4,), [(2350, 2360), *own(4)], end=3350))  # but box 3 was hit, in [2.3, 2.4), which stays so
    assert before["nonconforming"] == 1


def test_windows_that_overlap_tell_nobody_apart() -> None:
    wide = {"flap": {"is": "on", "from": "box out", "within": "600 ms"}}
    result = judged(boxes((2,), [(1600, 1700)]), outputs=wide, neighbours={"flap": "off"})
    assert (result["not_judged"], result["nonconforming"]) == (1, 0)


def test_complete_boxes_have_neighbours_too_and_presentations() -> None:
    table = Table(station(), end=5000)
    for k, target in enumerate(("mint", "chamomile", "mint", "hibiscus")):
        table.add(target, 1000 * k, 1000 * k + 100, did={})
        table.add("bare belt", 1000 * k + 100, 1000 * k + 1000, between=True)
    table.signal("output", "flap", [(1050, 1300)], basis="recorded")
    asked = {"flap": {"is": "on", "from": "start", "within": "100 ms"}}
    good = run_case(table, case(of("chamomile"), ANY, outputs=asked, neighbours={"flap": "off"}))
    assert good["verdict"] == "pass"
    table.signal("output", "flap", [(1050, 2001)], basis="recorded")
    hit = run_case(table, case(of("chamomile"), ANY, outputs=asked, neighbours={"flap": "off"}))
    assert "flap was on at 2.000 s, in the window of mint, the one after it" in hit["reason"]


# --- as the set is ---------------------------------------------------------------------------------------

AS_IS = {"flap": {"is": "as the set is", "after": "300 ms", "within": "100 ms"}}


def test_l12_on_for_what_lacks_and_off_for_what_is_complete() -> None:
    good = boxes((2,), own(2))
    assert judged(good, LACKS, outputs=AS_IS)["verdict"] == "pass"
    assert judged(good, COMPLETE, outputs=AS_IS)["conforming"] == 5
    missed = judged(boxes((2,), []), LACKS, outputs=AS_IS)
    assert missed["verdict"] == "fail"
    assert "flap did not come on within 100 ms from 300 ms after box out at 1.500 s" in missed["reason"]
    thrown = judged(boxes((2,), own(2, 4)), COMPLETE, outputs=AS_IS)
    assert (thrown["nonconforming"], thrown["verdict"]) == (1, "fail")
    assert "flap was on from 2.810 s for 80 ms, and must be off from box out at 2.500 s" in thrown["reason"]


def test_l12_both_kinds_must_occur() -> None:
    """All complete and the flap never on, or all lacking and the flap always on: neither shows that it tells them apart."""
    only = judged(boxes((), []), COMPLETE, outputs=AS_IS)
    assert only["verdict"] == "not shown"
    assert only["reason"].endswith("but no incomplete set came in these readings, so nobody saw the output tell the two apart")
    always = judged(boxes((0, 1, 2, 3, 4, 5), own(0, 1, 2, 3, 4, 5)), LACKS, outputs=AS_IS)
    assert (always["verdict"], always["nonconforming"]) == ("not shown", 0) and "no complete set came" in always["reason"]


def test_both_kinds_may_come_in_two_recordings() -> None:
    from dataclasses import replace

    from factory import PARTS

    from stationtest.engine.judging import judge
    from stationtest.model.case import Suite

    one = case(COMPLETE, ANY, readings=("a.csv", "b.csv"), outputs=AS_IS)
    lacking, clean = boxes((2,), own(2)).observations(), boxes((), []).observations()
    suite = Suite(folder=".", station=station(), cases=(one,))
    assert judge(suite, one, {"a.csv": clean, "b.csv": replace(lacking, key="b.csv")}, PARTS)["verdict"] == "pass"
