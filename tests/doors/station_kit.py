"""Small stations to judge through every door, all made from the files that `stationtest new` writes."""

from __future__ import annotations

import importlib.metadata
import json
import os
import subprocess
import sys
from pathlib import Path
from typing import Any

from stationtest.commands import starter

ROOT = Path(__file__).resolve().parents[2]
ENVIRONMENT = {
    **{k: v for k, v in os.environ.items() if k not in ("CI", "BUILD_NUMBER")},
    "PYTHONPATH": str(ROOT),
    "COLUMNS": "200",
}

HEAD = "readings: [../recordings/day1.csv]\nevidence: {reliability: 95 %, confidence: 95 %, of: presentations}\ncases:\n"

PASSES = """\
  GOOD-01:
    title: Each sachet fires its own channel
    requirement: URS-1
    tags: [smoke]
    present: [mint, chamomile]
    expect: {own_channel_only: yes}
"""
FAILS = """\
  BAD-01:
    title: Mint fires nothing
    requirement: URS-2
    present: mint
    expect: {no_channel: yes}
"""
NOT_SHOWN = """\
  FEW-01:
    title: Mint fires its own channel, shown for 99 %
    present: mint
    expect: {own_channel_only: yes}
    evidence: {reliability: 99 %, confidence: 95 %, of: presentations}
"""
NOT_JUDGED = """\
  HAND-01:
    title: Mint answers in time
    readings: [../hand/trials.csv]
    present: mint
    expect: {response: {at_most: 15 ms, from: start}}
    evidence: {trials: 2}
"""
EACH = PASSES + FAILS + NOT_SHOWN + NOT_JUDGED
VERDICTS = {"GOOD-01": "pass", "BAD-01": "fail", "FEW-01": "not shown", "HAND-01": "not judged"}

HAND_FORM = (
    '  "hand/*.csv":\n    {rows: trials, target: part, specimen: no, channels: {1: lamp 1, 2: lamp 2}, on: [lit], off: [dark]}\n'
)
HAND_TRIALS = "part,no,r,g,b,lamp 1,lamp 2\nmint,1,520,1400,760,lit,dark\nmint,2,520,1400,760,lit,dark\n"


def station(folder: Path, cases: str = EACH) -> Path:
    """A station folder with the starter's recordings and the given cases; one case of each verdict unless stated."""
    files = {path: text for path, text in starter.files().items() if not path.startswith("cases/")}
    files["station.yaml"] += HAND_FORM
    files["hand/trials.csv"] = HAND_TRIALS
    files["cases/all.case.yaml"] = HEAD + cases
    for path, text in files.items():
        (folder / path).parent.mkdir(parents=True, exist_ok=True)
        (folder / path).write_text(text, encoding="utf-8")
    return folder


def command(*arguments: str | os.PathLike[str], cwd: Path | None = None, **environment: str) -> subprocess.CompletedProcess[str]:
    """One command of `stationtest`, as a process of its own."""
    line = [sys.executable, "-m", "stationtest", *map(os.fspath, arguments)]
    return subprocess.run(line, cwd=cwd, env={**ENVIRONMENT, **environment}, capture_output=True, text=True, check=False)


def pytest_arguments() -> list[str]:
    """What loads the plugin where the package is not installed but lies on the path."""
    found = importlib.metadata.entry_points(group="pytest11")
    return [] if any(point.value == "stationtest.pytest_plugin" for point in found) else ["-p", "stationtest.pytest_plugin"]


def pytest_run(*arguments: str | os.PathLike[str], cwd: Path, **environment: str) -> subprocess.CompletedProcess[str]:
    """pytest as a process of its own, away from the settings of this project."""
    (cwd / "pytest.ini").touch()
    line = [sys.executable, "-m", "pytest", *pytest_arguments(), *map(os.fspath, arguments)]
    return subprocess.run(line, cwd=cwd, env={**ENVIRONMENT, **environment}, capture_output=True, text=True, check=False)


def record_of(folder: Path) -> dict[str, Any]:
    found: dict[str, Any] = json.loads((folder / "record.json").read_bytes())
    return found


def verdicts_of(folder: Path) -> dict[str, str]:
    return {case["id"]: case["verdict"] for case in record_of(folder)["result"]["cases"]}


def everything_in(folder: Path) -> list[str]:
    """Every file and folder below, hidden ones too: what was left behind."""
    return sorted(path.relative_to(folder).as_posix() for path in folder.rglob("*"))
