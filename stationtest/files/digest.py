"""SHA-256 of a file, and its size."""

from __future__ import annotations

import hashlib

from stationtest.files.paths import open_file


def sha256_file(path: str) -> tuple[str, int]:
    """Hexadecimal digest and number of bytes; the file is read in pieces."""
    with open_file(path) as file:
        digest = hashlib.file_digest(file, "sha256")
        return digest.hexdigest(), file.tell()


def sha256_bytes(data: bytes) -> str:
    return hashlib.sha256(data).hexdigest()
