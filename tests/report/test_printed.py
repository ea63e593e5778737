"""Page one as printed: one sheet of A4 and one of Letter with accepted or not, on what, how sure and by whom.

Needs Chromium, which prints, and pdftotext (poppler), which reads what stands on a sheet. Skipped where they are missing.
"""

from __future__ import annotations

import copy
import re
import shutil
import subprocess
from pathlib import Path
from typing import Any

import pytest

import stationtest
from stationtest.report import front, page, wording

DEMO = Path(__file__).resolve().parents[2] / "example_station"
PAPERS = {"A4": (210, 297), "letter": (215.9, 279.4)}
"""Sizes of a sheet in mm. Source: ISO 216 (A4), ANSI/ASME Y14.1 (Letter)."""

printing = pytest.mark.skipif(
    not all(map(shutil.which, ("chromium", "pdftotext", "pdfinfo"))), reason="needs chromium, pdftotext and pdfinfo"
)


@pytest.fixture(scope="module")
def demo() -> dict[str, Any]:
    return dict(stationtest.run(stationtest.load(str(DEMO))))


def failing(record: dict[str, Any]) -> dict[str, Any]:
    """The same run with every case failing for the longest reason that the demo has."""
    changed = copy.deepcopy(record)
    cases = changed["result"]["cases"]
    longest = max((case["reason"] for case in cases if case["verdict"] == "fail"), key=len)
    for case in cases:
        case.update(verdict="fail", reason=longest)
    changed["result"]["counts"].update(passed=0, failed=len(cases))
    return changed


def sheets(record: dict[str, Any], paper: str, folder: Path) -> list[str]:
    """The words of each of the first sheets, up to the settings."""
    whole = page.render(record)
    first = whole[: whole.index('<section id="requirements"')] + "</main></body></html>"
    html = re.sub("<meta http-equiv[^>]*>", "", first)  # the policy would not let this style be changed
    html = html.replace("@page {", f"@page {{ size: {paper};", 1)
    (folder / "page.html").write_text(html, encoding="utf-8")
    made = folder / "page.pdf"
    options = ["--headless", "--no-sandbox", "--disable-gpu", "--no-pdf-header-footer", f"--print-to-pdf={made}"]
    subprocess.run(["chromium", *options, (folder / "page.html").as_uri()], check=True, capture_output=True, timeout=180)
    size = subprocess.run(["pdfinfo", str(made)], check=True, capture_output=True, text=True).stdout
    points = [float(found) for found in re.findall(r"Page size: +([\d.]+) x ([\d.]+)", size)[0]]
    assert points == pytest.approx([mm / 25.4 * 72 for mm in PAPERS[paper]], abs=1)
    text = subprocess.run(["pdftotext", "-layout", "-l", "2", str(made), "-"], check=True, capture_output=True, text=True).stdout
    return [re.sub(r"\s+", " ", sheet) for sheet in text.split("\f")]


@printing
@pytest.mark.parametrize("paper", PAPERS)
@pytest.mark.parametrize("change", [dict, failing])
def test_page_one_is_one_sheet_with_all_its_answers(demo: dict[str, Any], change: Any, paper: str, tmp_path: Path) -> None:
    first, second = sheets(change(demo), paper, tmp_path)[:2]
    assert "Not accepted" in first and "What stands against it" in first
    assert "On what" in first and "3 recordings: 2 428 presentations" in first.replace("\u202f", " ")
    assert "How sure" in first and "Basis of the verdicts:" in first
    assert "By whom, where, when" in first and "trial crew 1" in first and "invented data" in first
    assert "Not recorded: Trigger; Instruments." in first  # the last words of the result
    assert "page 1 of" in first
    assert "2 Settings under test" in second and "2 Settings under test" not in first


def test_page_one_names_the_first_cases_and_points_to_the_others(demo: dict[str, Any]) -> None:
    html = page.render(failing(demo))
    block = html[html.index('<ul class="against">') : html.index('<div class="columns">')]
    assert block.count("<li>") == front.MOST_AGAINST
    assert f"The first {front.MOST_AGAINST} of 51; section 4 has all, with what each shows." in block
    sections = re.findall(r'<section id="([a-z]+)"', html)
    assert sections[3] == "cases"  # section 4


@pytest.mark.parametrize(
    ("reason", "told"),
    [
        ("61 of 62 sets nonconforming, none accepted; at least 0.1 %. First: box 9, at 18.744 s: flap; it did not come on",
         "61 of 62 sets nonconforming, none accepted. First: box 9, at 18.744 s: flap; it did not come on"),
        ("readings come every 10 ms; a limit of 2 ms is finer", "readings come every 10 ms; a limit of 2 ms is finer"),
    ],
)  # fmt: skip
def test_a_reason_in_short_keeps_the_first_trial_whole(reason: str, told: str) -> None:
    assert wording.in_short(reason) == told
