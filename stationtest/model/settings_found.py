"""Settings as they were found in the sensor and the controller, laid beside those of station.yaml (A29)."""

from __future__ import annotations

from dataclasses import dataclass

from stationtest.place import NOWHERE, Place


@dataclass(frozen=True, slots=True, kw_only=True)
class SettingKey:
    """Under which key a device keeps a setting of station.yaml (`setting`, a path such as `channels.1.tolerance`).

    `unit` is that of a bare number there; `words` are its words for ours.
    """

    setting: str
    key: str
    unit: str | None = None
    words: tuple[tuple[str, str], ...] = ()
    decimal: str = "point"
    place: Place = NOWHERE


@dataclass(frozen=True, slots=True, kw_only=True)
class Export:
    """An export or read-back: a file with keys and values, when it was read, and by whom. `again`: after the run."""

    path: str
    read: str
    by: str
    again: bool = False
    place: Place = NOWHERE


@dataclass(frozen=True, slots=True, kw_only=True)
class Compared:
    """One setting: as station.yaml declares it, as it was found, and as it was found again (None where nobody looked)."""

    setting: str
    key: str
    declared: str
    found: str
    after: str | None
    agrees: bool
    place: Place = NOWHERE


@dataclass(frozen=True, slots=True, kw_only=True)
class SettingsFound:
    """`changed` are keys of the exports, mapped or not, whose value at the end is not that of the start: key, first, then.

    `not_compared` is how many settings of sensors, channels, outputs and scan no key is declared for.
    """

    exports: tuple[Export, ...]
    compared: tuple[Compared, ...]
    changed: tuple[tuple[str, str, str], ...]
    not_compared: int

    @property
    def again(self) -> bool:
        return any(export.again for export in self.exports)

    def differences(self) -> tuple[tuple[Place, str, str], ...]:
        """Place, setting and words of everything that is not as declared, or did not stay so."""
        told = [
            (one.place, one.setting, f"station.yaml says {one.declared}, and {one.found} was found under {one.key}")
            for one in self.compared
            if not one.agrees
        ]
        where = next((export.place for export in self.exports if export.again), NOWHERE)
        told += [(where, key, f"this was {first} before the run and {then} after it") for key, first, then in self.changed]
        return tuple(told)
