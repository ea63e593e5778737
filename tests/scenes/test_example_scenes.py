"""The example scenes: every case says what its comment says, and each fault is mended by what its comment says.

What is expected is what each scene was built for, by physical cause; the mends are those that the case files name.
"""

from __future__ import annotations

import importlib.metadata
import os
import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

import stationtest
from stationtest import cli
from stationtest.report.page import render

ROOT = Path(__file__).resolve().parents[2]
BENCH = ROOT / "example_station" / "before_the_line"

STATION, SCENES = "station.yaml", "scenes/{}.scene.yaml"

# case: what its reason must name, the file to mend, and what is mended in it
FAULTS: dict[str, tuple[str, str, tuple[tuple[str, str], ...]]] = {
    "NEAR-02": ("channel verbena was on", STATION, (("tolerance: 0.06, hysteresis: 10 %}\n  # 02", "tolerance: 0.02}\n  # 02"),)),
    "LIGHT-04": ("channel rooibos did not fire", SCENES.format("02-lightness-loose"), (
        ("height: 1.5 mm, tilt: 4 deg", "height: 0.1 mm, tilt: 0.5 deg"),)),
    "SEAM-02": ("channel pouch gave 2 pulses", STATION, (
        ("tolerance: 0.05, hysteresis: 10 %}\n  pouch held", "tolerance: 0.05, off_delay: 200 ms}\n  pouch held"),)),
    "TIN-02": ("channel tin did not fire", SCENES.format("04-round-tin-axis"), (("sideways: 0 mm", "sideways: 8 mm"),)),
    "WRAP-03": ("channel amber wrap did not fire", SCENES.format("05-wraps-over-belt"), (
        ("over: bare belt", "over: reflector"),)),
    "RIBBON-02": (r"channel ribbon gave 1 to \d+ pulses", SCENES.format("06-ribbon-small-spot"), (("spot: 1 mm", "spot: 6 mm"),)),
    "MARK-02": ("channel mark gave 0 pulses", SCENES.format("07-mark-averaged"), (("averages: 60", "averages: 10"),)),
    "LABEL-02": (r"channel rose label was on for \d ms, which may have been seen", STATION, (
        ("tolerance: 0.03, hysteresis: 10 %}\n  # 08", "tolerance: 0.03, on_delay: 10 ms}\n  # 08"),)),
    "TIME-02": ("row hibiscus was on for .*held over from hibiscus", STATION, (("off_delay: 80 ms", "off_delay: 20 ms"),)),
    "TIME-03": ("channel row tick gave 0 to 1 pulses", STATION, (("pulse: 5 ms", "pulse: 20 ms"),)),
    "BOX-03": ("flap did not come on", STATION, (("off_delay: 120 ms", "off_delay: 20 ms"),)),
    "LEARN-02": ("channel taught wrongly did not fire", STATION, (
        ("target: verbena, samples: 60}, for: mint", "target: mint, samples: 60}"),)),
    "CHANGE-02": ("channel tea of the day did not fire", SCENES.format("10-changeover-wrong"), (
        ("mint, hibiscus, chamomile", "mint, chamomile, chamomile"),)),
    "CHANGE-03": ("channel tea of the day did not fire", SCENES.format("10-changeover-clipped"), (
        ("standoff: 40 mm}", "standoff: 40 mm, light: 15 deg, view: -15 deg}"),)),
    "LID-02": ("the largest distance in it is", SCENES.format("11-lid-and-tin"), (("raised: 4 mm", "raised: 0 mm"),)),
    "LEVEL-02": ("its least level is", SCENES.format("12-level-aged"), (
        ("used: 15000 h", "used: 0 h"), (", dirt: {share: 15 %, reflectance: 5 %}", ""))),
    "LEVEL-03": (r"its greatest level is 100.0 % \(clipped\)", SCENES.format("12-level-glare"), (
        ("standoff: 40 mm}", "standoff: 40 mm, light: 15 deg, view: -15 deg}"),)),
}  # fmt: skip


@pytest.fixture(scope="module")
def record():
    return stationtest.run(stationtest.load(BENCH))


def by_id(record):
    return {case["id"]: case for case in record["result"]["cases"]}


def test_every_case_says_what_it_was_built_for(record):
    found = by_id(record)
    assert {name for name, case in found.items() if case["verdict"] == "fail"} == set(FAULTS)
    assert {case["verdict"] for case in found.values()} == {"pass", "fail"}
    for name, (reason, _, _) in FAULTS.items():
        assert re.search(reason, found[name]["reason"]), found[name]["reason"]


def test_every_kind_has_cases_that_pass_and_one_that_fails(record):
    kinds = {path.name[:2] for path in BENCH.glob("scenes/*.scene.yaml")}
    assert sorted(kinds) == [f"{number:02}" for number in range(1, 13)]
    of_kind: dict[str, set[str]] = {}
    for case in record["result"]["cases"]:
        of_kind.setdefault(Path(case["file"]).name[:2], set()).add(case["verdict"])
    assert of_kind == {kind: {"pass", "fail"} for kind in kinds}


@pytest.mark.parametrize("name", FAULTS)
def test_each_fault_is_mended_by_what_its_comment_says(name, tmp_path):
    folder = Path(shutil.copytree(BENCH, tmp_path / "bench"))
    _, file, changes = FAULTS[name]
    text = (folder / file).read_text()
    for old, new in changes:
        assert old in text
        text = text.replace(old, new)
    (folder / file).write_text(text)
    assert by_id(stationtest.run(stationtest.load(folder), only=[name]))[name]["verdict"] == "pass"


def test_the_page_says_simulated_and_shows_where_each_fault_lies(record):
    page = render(record)
    assert "simulated" in page
    drawn = {figure["id"] for figure in record["result"]["figures"]}
    for name in FAULTS:
        figures = by_id(record)[name]["figures"]
        assert figures and set(figures) <= drawn, name


def test_pytest_gives_the_same_verdicts(tmp_path):
    folder = Path(shutil.copytree(BENCH, tmp_path / "bench"))
    installed = any(point.value == "stationtest.pytest_plugin" for point in importlib.metadata.entry_points(group="pytest11"))
    plugin = [] if installed else ["-p", "stationtest.pytest_plugin"]
    line = [sys.executable, "-m", "pytest", "-q", "-p", "no:cacheprovider", *plugin, str(folder)]
    surroundings = {**os.environ, "PYTHONPATH": str(ROOT)}
    done = subprocess.run(line, cwd=folder, capture_output=True, text=True, check=False, env=surroundings)
    assert "21 passed" in done.stdout and f"{len(FAULTS)} failed" in done.stdout, done.stdout[-2000:]


def test_every_scene_written_out_is_judged_as_it_is_itself(record, tmp_path, capsys):
    """All scenes by `simulate`, and the same cases and references on the recordings, by the forms that it prints."""
    folder = Path(shutil.copytree(BENCH, tmp_path / "bench"))
    forms = []
    for scene in sorted(folder.glob("scenes/*.scene.yaml")):
        output = folder / "recordings" / scene.name.replace(".scene.yaml", ".parquet")
        output.parent.mkdir(exist_ok=True)
        assert cli.main(["simulate", str(scene), "-o", str(output)]) == 0
        forms.append(capsys.readouterr().out.partition("recordings:\n")[2])
    for file in (folder / STATION, *folder.glob("cases/*.case.yaml")):
        text = re.sub(r"scenes/([\w-]+)\.scene\.yaml", r"recordings/\1.parquet", file.read_text())
        file.write_text(text.replace("scene: ", "readings: "))
    with (folder / STATION).open("a") as file:
        file.write("\nrecordings:\n" + "".join(forms))
    later = by_id(stationtest.run(stationtest.load(folder)))
    for name, case in by_id(record).items():
        for key in ("verdict", "basis", "found", "conforming", "nonconforming", "reason"):
            assert later[name][key] == case[key], (name, key)


def test_readme_lists_every_fault():
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    for name in FAULTS:
        assert name in readme
