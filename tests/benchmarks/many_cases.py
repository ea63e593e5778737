"""What ten thousand cases on one recording cost through pytest, beside ten thousand tests that do nothing.

    python tests/benchmarks/many_cases.py --scripts FOLDER [--work FOLDER] [--runs 3] [--cases 10000]

FOLDER of `--scripts` holds `make_recording.py`. Ten minutes at 1 kHz, 1,200 presentations, four channels; five expectations with
limits that differ, 500 cases a file. Whole runs of pytest, in turn; the times of the calls of all tests are summed by a small
plugin, so that judging stands apart from reading the files and from what pytest does for every test. The first call observes the
recording. It is no test: a timed test would fail on a busy machine.
"""

from __future__ import annotations

import argparse
import os
import re
import shutil
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from observe_speed import make, station

PLUGIN = '''
import time
import pytest

CALLS = []

@pytest.hookimpl(wrapper=True)
def pytest_runtest_call(item):
    began = time.perf_counter()
    try:
        return (yield)
    finally:
        CALLS.append(time.perf_counter() - began)

def pytest_terminal_summary(terminalreporter):
    terminalreporter.write_line(f"calls {CALLS[0]:.4f} {sum(CALLS[1:]):.4f}")
'''
PER_FILE = 500


def expectation(number: int) -> str:
    """Limits that a good station meets, no two alike."""
    kinds = (
        "own_channel_only: yes",
        f"held: at least {20 + number % 37} ms",
        f"response: {{at_most: {400 + number % 83} ms, from: start}}",
        f"margin: {{must_fire: at least -{1 + number % 97}.{number % 89}}}",
        f"pulses: {{channels: own, at_least: 1, at_most: {1 + number % 41}}}",
    )
    return kinds[number % len(kinds)]


def folders(scripts: Path, work: Path, cases: int) -> tuple[Path, Path]:
    """A station folder with that many cases, and a folder with as many tests that do nothing."""
    made = station(make(scripts, work, "minutes", 600, 4, "parquet"))
    folder, idle = work / "many", work / "idle"
    for path in (folder, idle):
        shutil.rmtree(path, ignore_errors=True)
    shutil.copytree(made, folder, ignore=shutil.ignore_patterns("*.case.yaml"))
    idle.mkdir()
    for first in range(0, cases, PER_FILE):
        numbers = range(first, min(first + PER_FILE, cases))
        evidence = "evidence: {reliability: 95 %, confidence: 95 %, of: presentations}"
        lines = ["readings: [../recordings/run.parquet]", evidence, "cases:"]
        for number in numbers:
            lines += [
                f"  C-{number:05d}:",
                f"    title: Part {number % 4 + 1}, variant {number}",
                f"    present: part {number % 4 + 1}",
                f"    expect: {{{expectation(number)}}}",
            ]
        (folder / "cases" / f"c{first:05d}.case.yaml").write_text("\n".join(lines) + "\n")
        test = f'import pytest\n\n@pytest.mark.parametrize("i", range({len(numbers)}))\ndef test_nothing(i):\n    pass\n'
        (idle / f"test_{first:05d}.py").write_text(test)
    return folder, idle


def once(path: Path, work: Path, *more: str) -> tuple[float, float, float, str]:
    """Seconds of a whole run, of the first call, of all other calls; and what pytest said."""
    env = {**os.environ, "PYTHONPATH": os.pathsep.join([str(work), os.environ.get("PYTHONPATH", "")])}
    command = [sys.executable, "-m", "pytest", "-q", "-p", "no:cacheprovider", "-p", "call_times", str(path), *more]
    began = time.perf_counter()
    said = subprocess.run(command, cwd=work, env=env, capture_output=True, text=True).stdout
    seconds = time.perf_counter() - began
    found = re.search(r"^calls ([\d.]+) ([\d.]+)$", said, re.M)
    assert found, said[-2000:]
    return seconds, float(found[1]), float(found[2]), said.splitlines()[-1]


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--scripts", type=Path, required=True)
    parser.add_argument("--work", type=Path, default=Path(tempfile.gettempdir()) / "stationtest-speed")
    parser.add_argument("--runs", type=int, default=3)
    parser.add_argument("--cases", type=int, default=10_000)
    given = parser.parse_args()
    work = given.work.resolve()
    work.mkdir(parents=True, exist_ok=True)
    (work / "call_times.py").write_text(PLUGIN)
    folder, idle = folders(given.scripts.resolve(), work, given.cases)
    cases, nothing = [], []
    for _ in range(given.runs + 1):
        cases.append(once(folder, work))
        nothing.append(once(idle, work))
    print(cases[-1][3])
    middle = [statistics.median(run[part] for run in cases[1:]) for part in range(3)]
    rest = [statistics.median(run[part] for run in nothing[1:]) for part in range(3)]
    print(f"pytest, {given.cases} tests that do nothing:   {rest[0]:6.2f} s")
    print(f"pytest, {given.cases} cases:                   {middle[0]:6.2f} s")
    print(f"  of which observing the recording:    {middle[1]:6.2f} s")
    print(f"  judging, beyond calls of nothing:    {middle[2] - rest[2]:6.2f} s   (under 1)")
    out = work / "many-record"
    shutil.rmtree(out, ignore_errors=True)
    seconds = once(folder, work, f"--station-record={out}")[0]
    print(f"the same with record and report:       {seconds:6.2f} s")
    for name in ("record.json", "report.html"):
        print(f"  {name}: {(out / name).stat().st_size / 1e6:.1f} MB")


if __name__ == "__main__":
    main()
