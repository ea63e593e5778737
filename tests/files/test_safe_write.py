"""Writing whole or not at all."""

from __future__ import annotations

import errno
import os
from pathlib import Path
from typing import Any

import pytest

from stationtest.errors import UsageError
from stationtest.files import digest, safe_write


def test_a_file_is_made_and_replaced(tmp_path: Path) -> None:
    path = tmp_path / "a.json"
    safe_write.write(str(path), b"one")
    safe_write.write(str(path), b"two")
    assert path.read_bytes() == b"two" and [entry.name for entry in tmp_path.iterdir()] == ["a.json"]


@pytest.mark.parametrize("call", ["fsync", "replace", "fdopen"])
def test_a_full_disk_leaves_nothing_half_written(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, call: str) -> None:
    path = tmp_path / "a.json"
    path.write_bytes(b"old")
    real = os.fdopen

    def full(*args: Any, **options: Any) -> Any:
        if call == "fdopen":
            os.close(args[0])
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(os, call, full)
    with pytest.raises(UsageError) as error:
        safe_write.write(str(path), b"new")
    monkeypatch.setattr(os, "fdopen", real)
    assert str(error.value) == f"{path} cannot be written: no space left on device [cannot-write]"
    assert path.read_bytes() == b"old" and [entry.name for entry in tmp_path.iterdir()] == ["a.json"]


@pytest.mark.skipif(not os.path.exists("/dev/full"), reason="needs a device that is always full")
def test_a_really_full_device(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    real = os.fdopen

    def into_full(descriptor: int, mode: str) -> Any:
        os.close(descriptor)
        return real(os.open("/dev/full", os.O_WRONLY), mode)

    monkeypatch.setattr(os, "fdopen", into_full)
    with pytest.raises(UsageError, match="cannot be written: no space left on device"):
        safe_write.write(str(tmp_path / "a"), b"x" * 100_000)
    assert not list(tmp_path.iterdir())


def test_no_such_folder(tmp_path: Path) -> None:
    with pytest.raises(UsageError, match=r"cannot be written: no such file or directory \[cannot-write\]"):
        safe_write.write(str(tmp_path / "no" / "a"), b"")


def test_new_folder(tmp_path: Path) -> None:
    safe_write.new_folder(str(tmp_path / "a" / "b"))
    safe_write.new_folder(str(tmp_path / "a" / "b"))  # empty: may be used
    with pytest.raises(UsageError) as error:
        safe_write.new_folder(str(tmp_path / "a"))
    assert str(error.value) == f"{tmp_path / 'a'} is there already and is not written over; name a new folder [exists]"


def test_digest(tmp_path: Path) -> None:
    """SHA-256 of `abc`: FIPS 180-4, example of the NIST (from memory)."""
    (tmp_path / "a").write_bytes(b"abc")
    known = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
    assert digest.sha256_file(str(tmp_path / "a")) == (known, 3) and digest.sha256_bytes(b"abc") == known
