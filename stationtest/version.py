"""The version of stationtest, in the one place where it is written."""

from __future__ import annotations

VERSION = "0.1.0"
