"""How fast `stationtest observe` is, as ratios measured in one run beside the script that a user would write instead.

    python tests/benchmarks/observe_speed.py --scripts FOLDER [--work FOLDER] [--runs 5] [--long]

FOLDER of `--scripts` holds `make_recording.py` and `naive_baseline.py` (pandas, colour-science and a Python loop). One hour at
1 kHz, 7,200 presentations, CIEDE2000 on 4 channels with hysteresis and both delays, from Parquet, exact margins. Whole
processes, in turn, so that a change of the machine's speed meets all of them: the naive script, `stationtest observe`, a plain
pyarrow read of the same file, and `stationtest observe` with 16 channels; `--long` adds ten hours. Medians and ratios are
printed; the figures in DEVELOPERS.md come from here. It is no test: a timed test would fail on a busy machine.
"""

from __future__ import annotations

import argparse
import json
import os
import resource
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

CLASSES = ("near shade", "foreign")


def make(scripts: Path, work: Path, name: str, seconds: int, channels: int, formats: str) -> Path:
    prefix = work / name
    if not Path(f"{prefix}.parquet").exists():
        call = [sys.executable, scripts / "make_recording.py", prefix, "--seconds", str(seconds), "--channels", str(channels)]
        subprocess.run(
            [*call, "--formats", formats, "--no-outputs" if channels > 4 or seconds > 3600 else "--seed=1"], check=True
        )
    return prefix


def station(prefix: Path) -> Path:
    """A station folder whose settings are those of the recording's truth file."""
    truth = json.loads(Path(f"{prefix}.truth.json").read_text())
    folder = Path(f"{prefix}-station")
    (folder / "recordings").mkdir(parents=True, exist_ok=True)
    (folder / "cases").mkdir(exist_ok=True)
    target = folder / "recordings" / "run.parquet"
    if not target.exists():
        os.link(f"{prefix}.parquet", target)
    names = [f"part {number + 1}" for number in range(truth["channels"])]
    rows = ["start;end;target"]
    classes = [*names, *CLASSES]
    period_us = 1_000_000 // truth["rate"]
    for start, end, kind in zip(truth["start"], truth["end"], truth["cls"], strict=True):
        rows.append(f"{start * period_us};{end * period_us};{classes[kind - 1]}")
    (folder / "recordings" / "truth.csv").write_text("\n".join(rows) + "\n")
    lines = [
        "station: bench",
        "scan: {worst: 8 ms}",
        "sensors:",
        "  eye: {reads: linear RGB, columns: {red: r, green: g, blue: b}, full_scale: 1, dark: [0, 0, 0], white: [1, 1, 1],",
        f"    to_xyz: {json.dumps(truth['matrix'])}, illuminant: D65, observer: 2 deg}}",
        "targets:",
    ]
    for name, reference in zip(names, truth["references"], strict=True):
        lines.append(f"  {name}: {{colour: {{Lab: {json.dumps(reference)}, illuminant: D65, observer: 2 deg}}}}")
    lines += [f"  {name}: {{title: {name}}}" for name in CLASSES]
    lines.append("channels:")
    for number, name in enumerate(names):
        on, off = truth["on"][number], truth["off"][number]
        hysteresis = round((off / on - 1) * 100, 6)
        lines.append(
            f"  {number + 1}: {{reference: {name}, distance: CIEDE2000, tolerance: {on}, hysteresis: {hysteresis} %, "
            f"on_delay: {truth['on_delay_us'][number] // 1000} ms, off_delay: {truth['off_delay_us'][number] // 1000} ms}}"
        )
    lines += [
        "recordings:",
        '  "recordings/*.parquet":',
        "    {time: {column: t_us, in: us}, every: 1 ms, gap: 5 ms,",
        "     presentations: {file: recordings/truth.csv, separator: semicolon, time: {in: us},",
        "                     start: start, end: end, target: target}}",
    ]
    (folder / "station.yaml").write_text("\n".join(lines) + "\n")
    (folder / "cases" / "one.case.yaml").write_text(
        "readings: ../recordings/run.parquet\nevidence: {reliability: 95 %, confidence: 95 %, of: presentations}\n"
        f"cases:\n  ONE: {{title: Each fires its own, present: {names[0]}, expect: {{own_channel_only: yes}}}}\n"
    )
    return folder


def once(command: list[str], env: dict[str, str] | None = None) -> float:
    """Wall seconds of one whole process."""
    begin = time.perf_counter()
    child = subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, env=env)
    _, errors = child.communicate()
    seconds = time.perf_counter() - begin
    if child.returncode:
        sys.exit(f"{' '.join(command)} failed:\n{errors.decode()}")
    return seconds


def peak_mb(command: list[str], env: dict[str, str] | None = None) -> float:
    """Peak resident memory of one whole process, in MB, by a process of its own so that children do not add up."""
    code = (
        "import resource, subprocess, sys; subprocess.run(sys.argv[1:], check=True, stdout=subprocess.DEVNULL); "
        "print(resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss)"
    )
    found = subprocess.run([sys.executable, "-c", code, *command], check=True, capture_output=True, env=env)
    return int(found.stdout) / (1024 if resource.getpagesize() else 1)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--scripts", type=Path, required=True)
    parser.add_argument("--work", type=Path, default=Path(tempfile.gettempdir()) / "stationtest-speed")
    parser.add_argument("--runs", type=int, default=5)
    parser.add_argument("--long", action="store_true")
    given = parser.parse_args()
    scripts, work = given.scripts.resolve(), given.work.resolve()
    work.mkdir(parents=True, exist_ok=True)
    helper = work / "helper"
    helper.mkdir(exist_ok=True)
    # the naive script reports its memory through a helper module that is not beside it
    (helper / "bench.py").write_text(
        "import resource\ndef hwm_mb():\n    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024\n"
    )
    hour = make(scripts, work, "hour", 3600, 4, "csv,parquet")
    wide = make(scripts, work, "wide", 3600, 16, "parquet")
    out = str(work / "observations.csv")

    def observe(prefix: Path) -> list[str]:
        return [sys.executable, "-m", "stationtest", "observe", str(station(prefix)), "recordings/run.parquet", "--csv", out]

    read = "import sys, pyarrow.parquet as pq; pq.read_table(sys.argv[1], columns=['t_us', 'r', 'g', 'b'])"
    commands = {
        "naive script": [sys.executable, str(scripts / "naive_baseline.py"), f"{hour}.csv"],
        "observe, 4 channels": observe(hour),
        "plain pyarrow read": [sys.executable, "-c", read, f"{hour}.parquet"],
        "observe, 16 channels": observe(wide),
    }
    env = {**os.environ, "PYTHONPATH": os.pathsep.join([str(helper), os.environ.get("PYTHONPATH", "")])}
    env.pop("PYTHONDONTWRITEBYTECODE", None)
    if given.long:
        commands["observe, ten hours"] = observe(make(scripts, work, "long", 36000, 4, "parquet"))
    times: dict[str, list[float]] = {name: [] for name in commands}
    for turn in range(given.runs + 1):
        for name, command in commands.items():
            seconds = once(command, env)
            if turn:  # the first turn warms the file cache, and compiles what an installer would have compiled
                times[name].append(seconds)
    memory = {name: peak_mb(command, env) for name, command in commands.items()}
    middle = {name: statistics.median(found) for name, found in times.items()}
    for name in commands:
        print(f"{name:22} {min(times[name]):7.2f} {middle[name]:7.2f} {max(times[name]):7.2f} s   {memory[name]:6.0f} MB")
    own = middle["observe, 4 channels"]
    print(f"naive script / observe:           {middle['naive script'] / own:.1f}   (at least 10)")
    print(f"observe / plain read:             {own / middle['plain pyarrow read']:.1f}   (at most 6)")
    print(f"16 channels / 4 channels:         {middle['observe, 16 channels'] / own:.2f}   (at most 4.5)")
    print(f"peak memory of observe:           {memory['observe, 4 channels']:.0f} MB   (under 400)")
    if given.long:
        grown = memory["observe, ten hours"] / memory["observe, 4 channels"]
        print(f"memory, ten hours / one:          {grown:.2f}   (at most 1.3)")


if __name__ == "__main__":
    main()
