"""Without `scan` no on-time is too short to be seen for sure: nothing asks for it, so it is said where it is read and signed.

How long an output must last for a controller to see it for sure, its worst scan and input filter together, is common practice, no
source.
"""

from __future__ import annotations

import re
from pathlib import Path

import pytest
import station_kit as kit

CHECK = "every on-time, however short, counts as seen for sure; declare `scan` if a controller reads the outputs"
LIMIT = (
    "No scan is declared, so every computed on-time, however short, counts as seen for sure; a controller may miss one that is "
    "shorter than its scan."
)


@pytest.mark.parametrize("declared", [True, False])
def test_it_is_said(declared: bool, tmp_path: Path) -> None:
    station = kit.station(tmp_path / "station", kit.PASSES)
    text = (station / "station.yaml").read_text(encoding="utf-8")
    without = re.sub(r"^scan:.*\n", "", text, flags=re.MULTILINE)
    assert without != text
    (station / "station.yaml").write_text(text if declared else without, encoding="utf-8")
    check = kit.command("check", station)
    assert check.returncode == 0, check.stderr
    assert (CHECK in check.stdout) != declared and ("seen for sure from" in check.stdout) == declared
    kit.command("run", station, "-o", tmp_path / "o")
    assert (LIMIT in kit.record_of(tmp_path / "o")["result"]["limits"]) != declared
    assert (LIMIT in (tmp_path / "o" / "report.html").read_text(encoding="utf-8")) != declared


def test_a_table_by_hand_has_no_such_limit(tmp_path: Path) -> None:
    station = kit.station(tmp_path / "station", kit.NOT_JUDGED)
    text = (station / "station.yaml").read_text(encoding="utf-8")
    (station / "station.yaml").write_text(re.sub(r"^scan:.*\n", "", text, flags=re.MULTILINE), encoding="utf-8")
    kit.command("run", station, "-o", tmp_path / "o")
    assert LIMIT not in kit.record_of(tmp_path / "o")["result"]["limits"]
