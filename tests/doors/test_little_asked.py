"""A demand that shows next to nothing, 0.95 % for 95 %, is warned of where it is read and named where it is signed."""

from __future__ import annotations

from pathlib import Path

import pytest
import station_kit as kit


@pytest.mark.parametrize(
    ("demand", "told"),
    [
        ("{reliability: 0.95 %, confidence: 95 %, of: presentations}", "GOOD-01 (reliability 0.95 %)"),
        ("{reliability: 95 %, confidence: 0.95 %, of: presentations}", "GOOD-01 (confidence 0.95 %)"),
        ("{reliability: 50 %, confidence: 50 %, of: presentations}", None),
    ],
)
def test_less_than_half(demand: str, told: str | None, tmp_path: Path) -> None:
    """By hand: 1 clean trial shows 5 % at 95 % confidence, so that 0.95 % is shown by any trial that conforms."""
    station = kit.station(tmp_path / "station", kit.PASSES + f"    evidence: {demand}\n")
    said = f"Less than 50 % is asked, which shows next to nothing: {told}."
    check = kit.command("check", station)
    assert check.returncode == 0
    assert [line for line in check.stdout.splitlines() if "is asked, which" in line] == ([f"warning: {said}"] if told else [])
    kit.command("run", station, "-o", tmp_path / "o")
    cautions = [caution["text"] for caution in kit.record_of(tmp_path / "o")["result"]["cautions"]]
    assert (said in cautions) == bool(told)
    assert ("Little is asked" in (tmp_path / "o" / "report.html").read_text(encoding="utf-8")) == bool(told)
