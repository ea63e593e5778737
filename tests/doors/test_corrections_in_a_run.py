"""Corrections of truth through the doors (A6): the file is never edited, the verdict is given with and without."""

from __future__ import annotations

from pathlib import Path

import station_kit as kit

HEAD = "recording,row,time,what,was,is,by,when,why\n"
CASE = """\
  GOOD-01:
    title: Each sachet fires its own channel
    requirement: URS-1
    present: [mint, chamomile]
    expect: {own_channel_only: yes}
    evidence: {trials: 1}
"""


def wrongly_written(folder: Path) -> tuple[Path, int]:
    """The starter's recording with one stretch of chamomile written down as mint; and the first of its rows."""
    made = kit.station(folder, CASE)
    path = made / "recordings" / "day1.csv"
    lines = path.read_text(encoding="utf-8").splitlines()
    part = lines[0].split(";").index("part")
    rows = [number for number, line in enumerate(lines[1:], 1) if line.split(";")[part] == "chamomile"]
    first = rows[0]
    last = next(row for row in rows if row + 1 not in rows)
    for row in range(first, last + 1):
        cells = lines[row].split(";")
        cells[part] = "mint"
        lines[row] = ";".join(cells)
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return made, first


def test_a6_with_and_without(tmp_path: Path) -> None:
    made, row = wrongly_written(tmp_path / "s")
    before = (made / "recordings" / "day1.csv").read_bytes()
    plain = kit.command("run", made, "-o", tmp_path / "plain")
    assert plain.returncode == 1, "mint that fires the channel of chamomile"
    text = f"{HEAD}recordings/day1.csv,{row},,,mint,chamomile,trial crew 1,2026-03-02,seen on the video\n"
    (made / "corrections.csv").write_text(text, encoding="utf-8")
    run = kit.command("run", made, "-o", tmp_path / "o")
    assert run.returncode == 0, run.stdout + run.stderr
    assert "Truth was corrected: 1 correction is laid over what was written down" in run.stdout
    result = kit.record_of(tmp_path / "o")["result"]
    (case,) = result["cases"]
    assert (case["verdict"], case["without_corrections"]["verdict"]) == ("pass", "fail")
    assert {part["role"] for part in result["inputs"]} >= {"corrections"}
    page = (tmp_path / "o" / "report.html").read_text(encoding="utf-8")
    assert "seen on the video" in page and "Without the corrections of truth:" in page
    assert (made / "recordings" / "day1.csv").read_bytes() == before
    under_pytest = kit.pytest_run(made, "--station-record=rec", cwd=made)
    assert under_pytest.returncode == 0, under_pytest.stdout
    assert next(made.rglob("rec/**/record.json"), None) or next(made.rglob("record.json"))


def test_a_correction_that_does_not_fit_stops_the_run(tmp_path: Path) -> None:
    made, row = wrongly_written(tmp_path / "s")
    text = f"{HEAD}recordings/day1.csv,{row},,,hibiscus,chamomile,A,B,C\nrecordings/day1.csv,1,,,mint,?,A,B,C\n"
    (made / "corrections.csv").write_text(text, encoding="utf-8")
    run = kit.command("run", made, "-o", tmp_path / "o")
    assert run.returncode == 2 and not (tmp_path / "o").exists()
    assert f"corrections.csv:2: was: `was` does not fit: at row {row} of recordings/day1.csv the target is mint" in run.stderr
    assert "corrections.csv:3: row: nothing is presented there in recordings/day1.csv, at row 1" in run.stderr
