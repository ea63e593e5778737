"""The page in a real browser: no message, no request, no finding of axe-core, nothing that scrolls sideways on a narrow screen.

Needs node, Chromium, and the npm packages playwright-core and axe-core: in the folder named by STATIONTEST_BROWSER_MODULES, or in
tests/report/browser/node_modules. Development only; skipped elsewhere.
"""

from __future__ import annotations

import json
import os
import shutil
import subprocess
from pathlib import Path

import pytest
from report_records import clean_record, record

from stationtest.report import page

HERE = Path(__file__).parent / "browser"
MODULES = Path(os.environ.get("STATIONTEST_BROWSER_MODULES") or HERE / "node_modules")


def _missing() -> str:
    if not shutil.which("node"):
        return "there is no node"
    if not shutil.which("chromium"):
        return "there is no chromium"
    absent = [name for name in ("playwright-core", "axe-core") if not (MODULES / name).is_dir()]
    return f"{' and '.join(absent)} not in {MODULES}; see STATIONTEST_BROWSER_MODULES" if absent else ""


pytestmark = pytest.mark.skipif(bool(_missing()), reason=_missing() or "-")


def test_the_page_in_a_browser(tmp_path: Path) -> None:
    pages = []
    for name, given in (("full", record()), ("clean", clean_record())):
        pages.append(tmp_path / f"{name}.html")
        pages[-1].write_text(page.render(given), encoding="utf-8")
    command = ["node", str(HERE / "look.mjs"), str(MODULES), str(shutil.which("chromium")), *map(str, pages)]
    ran = subprocess.run(command, capture_output=True, text=True, timeout=180, check=False)
    assert ran.returncode == 0, ran.stderr
    found = json.loads(ran.stdout)
    visits = [each for each in found if "scripts" in each]
    assert len(visits) == 4 and {each["scripts"] for each in visits} == {True, False}
    assert [(each["messages"], each["requests"]) for each in visits] == [([], [])] * 4
    audits = [each for each in found if "axe" in each]
    assert len(audits) == 4 and all(each["rules"] > 20 for each in audits)
    assert [each["axe"] for each in audits] == [[]] * 4
    assert [each["wide"] for each in audits] == [0] * 4


def test_a_page_that_broke_the_rules_would_be_noticed(tmp_path: Path) -> None:
    bad = tmp_path / "bad.html"
    html = page.render(clean_record())
    bad.write_text(
        html.replace("</main>", '<img src="http://127.0.0.1:9/x.png"><p style="color:#eee">pale</p></main>'), encoding="utf-8"
    )
    command = ["node", str(HERE / "look.mjs"), str(MODULES), str(shutil.which("chromium")), str(bad)]
    found = json.loads(subprocess.run(command, capture_output=True, text=True, timeout=180, check=True).stdout)
    assert all(each["messages"] for each in found if "scripts" in each)  # the policy spoke
    assert any("image-alt" in words for each in found if "axe" in each for words in each["axe"])
