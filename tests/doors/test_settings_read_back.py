"""Settings as found, through the doors: a recorded basis stops on a difference, a computed one carries it to page one (A29)."""

from __future__ import annotations

from pathlib import Path

import station_kit as kit

KEYS = "settings_keys: {channels.1.tolerance: TOL}\n"
COMPUTED = kit.PASSES


def station(folder: Path, value: str, cases: str = COMPUTED) -> Path:
    made = kit.station(folder, cases)
    (made / "station.yaml").write_text((made / "station.yaml").read_text(encoding="utf-8") + KEYS, encoding="utf-8")
    (made / "found.csv").write_text(f"TOL;{value}\n", encoding="utf-8")
    (made / "run.yaml").write_text("settings_as_found: {file: found.csv, read: 2026-03-01T08:10, by: crew 1}\n", encoding="utf-8")
    return made


def test_settings_that_agree_are_printed_as_read_back(tmp_path: Path) -> None:
    assert kit.command("run", station(tmp_path / "s", "0.0500"), "-o", tmp_path / "o").returncode == 0
    result = kit.record_of(tmp_path / "o")["result"]
    assert result["settings_as_found"]["compared"][0]["agrees"] is True and result["cautions"] == []
    assert "before the run, and not again after it: 1 of 1 compared are as station.yaml declares" in " ".join(result["limits"])
    page = (tmp_path / "o" / "report.html").read_text(encoding="utf-8")
    assert "Settings read back" in page and "2026-03-01T08:10, by crew 1" in page and "not read back" not in page


def test_nobody_read_them_back(tmp_path: Path) -> None:
    assert kit.command("run", kit.station(tmp_path / "s", COMPUTED), "-o", tmp_path / "o").returncode == 0
    assert kit.record_of(tmp_path / "o")["result"]["settings_as_found"] is None
    page = (tmp_path / "o" / "report.html").read_text(encoding="utf-8")
    assert "Declared, not read back." in page and "they were not read back from the sensor or the controller" in page


def test_a_difference_on_a_computed_basis_stands_on_page_one(tmp_path: Path) -> None:
    made = station(tmp_path / "s", "0.06")
    run = kit.command("run", made, "-o", tmp_path / "o")
    told = "channels.1.tolerance: station.yaml says 0.05, and 0.06 was found under TOL"
    assert run.returncode == 0 and told in run.stdout
    assert told in kit.record_of(tmp_path / "o")["result"]["cautions"][0]["text"]
    assert told in (tmp_path / "o" / "report.html").read_text(encoding="utf-8")
    assert told in kit.command("check", made).stdout


def test_a29_a_recorded_basis_stops_with_each_difference_named(tmp_path: Path) -> None:
    recorded = COMPUTED.replace("    present:", "    basis: recorded\n    present:")
    made = station(tmp_path / "s", "0.06", recorded)
    run = kit.command("run", made, "-o", tmp_path / "o")
    told = "found.csv:1: channels.1.tolerance: station.yaml says 0.05, and 0.06 was found under TOL; mend the one or the other"
    assert run.returncode == 2 and told in run.stderr and not (tmp_path / "o").exists()
    under_pytest = kit.pytest_run(made, cwd=made)
    assert under_pytest.returncode == 1 and "was found under TOL" in under_pytest.stdout
    (made / "found.csv").write_text("TOL;0.05\n", encoding="utf-8")
    assert kit.command("run", made, "-o", tmp_path / "o").returncode == 1, "not judged: its outputs are computed"
