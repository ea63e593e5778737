"""What keeps a command from printing is told in one sentence, with exit code 2, and never taken for a fault of stationtest.

Outside the project: full(4) of Linux, a device on which every write fails with ENOSPC; errno.h of POSIX.
"""

from __future__ import annotations

import errno
import io
import os
import subprocess
import sys
from pathlib import Path

import pytest
import station_kit as kit

from stationtest import cli

FULL = "/dev/full"
SAID = "what this command prints cannot be written: no space left on device [cannot-write]\n"
COMMANDS = (
    "check {}",
    "plan {}",
    "observe {}",
    "observe {} recordings/day1.csv --csv -",
    "run {} -o o",
    "look {}/recordings/day1.csv",
    "sizes --reliability 95% --confidence 95%",
    "schema record",
    "run --help",
    "--version",
)


@pytest.fixture(scope="module")
def station(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return kit.station(tmp_path_factory.mktemp("printed") / "station", kit.PASSES)


def shell(line: str, cwd: Path) -> subprocess.CompletedProcess[str]:
    whole = f"{sys.executable} -m stationtest {line}"
    return subprocess.run(whole, shell=True, cwd=cwd, env=kit.ENVIRONMENT, capture_output=True, text=True, check=False)


@pytest.mark.skipif(not os.path.exists(FULL), reason="full(4) of Linux")
@pytest.mark.parametrize("command", COMMANDS)
def test_onto_a_full_disk(command: str, station: Path, tmp_path: Path) -> None:
    done = shell(f"{command.format(station)} > {FULL}", tmp_path)
    assert (done.returncode, done.stderr) == (2, SAID)


@pytest.mark.skipif(not os.path.exists(FULL), reason="full(4) of Linux")
def test_where_no_message_can_be_written_either_the_exit_code_tells(tmp_path: Path) -> None:
    assert shell(f"check nowhere 2> {FULL}", tmp_path).returncode == 2
    assert shell(f"--version > {FULL} 2> {FULL}", tmp_path).returncode == 2


@pytest.mark.skipif(os.name != "posix", reason="a shell of POSIX")
def test_to_a_stream_that_was_closed(station: Path, tmp_path: Path) -> None:
    for line, code in ((f"check {station} >&-", 0), (f"check {station} 2>&-", 0), ("check nowhere >&- 2>&-", 2)):
        assert shell(line, tmp_path).returncode == code, line
    done = shell("check nowhere 2>&-", tmp_path)
    assert (done.returncode, done.stdout) == (2, "")


class Terminal(io.StringIO):
    """A terminal that cannot be written: tables are drawn for it."""

    def isatty(self) -> bool:
        return True

    def write(self, text: str) -> int:
        raise OSError(errno.EIO, os.strerror(errno.EIO))


def test_tables_that_are_drawn(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    broken = Terminal()
    monkeypatch.setattr("sys.stdout", broken)
    assert cli.main(["sizes", "--reliability", "95%", "--confidence", "95%"]) == 2
    assert capsys.readouterr().err == "what this command prints cannot be written: input/output error [cannot-write]\n"
    assert sys.stdout is broken


def test_another_error_of_the_system_is_still_a_fault(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def body(args: object) -> int:
        raise OSError(errno.EIO, os.strerror(errno.EIO))

    monkeypatch.setattr("stationtest.commands.selftest.body", body)
    assert cli.main(["selftest"]) == 3
    assert capsys.readouterr().err.startswith("internal error: OSError")
