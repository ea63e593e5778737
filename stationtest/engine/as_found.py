"""Settings found in the devices against those declared: what stops a run, and what the record says of them (A29)."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from stationtest.errors import FileProblems, Problem
from stationtest.model.case import Case, Suite
from stationtest.model.observations import SourceObservations
from stationtest.model.record import Caution, SettingsRead


def stop_if_they_differ(suite: Suite, cases: Iterable[Case], observations: Mapping[str, SourceObservations]) -> None:
    """A verdict on a recorded basis is about the station as it was set, so it needs the settings that station.yaml declares.

    Raises `FileProblems` with every difference, if any of these cases demands a recorded basis or reads recorded channels or
    outputs. On a computed basis the differences stand on page one instead.
    """
    found = suite.settings_found
    if found is None or not found.differences():
        return
    paths = {path for case in cases for path in case.readings}
    if any(case.basis == "recorded" for case in cases) or any(_recorded(observations[path]) for path in sorted(paths)):
        raise FileProblems(
            [Problem(place, setting, f"{words}; mend the one or the other", "settings-differ") for place, setting, words in
             found.differences()]
        )  # fmt: skip


def _recorded(obs: SourceObservations) -> bool:
    kinds = ("channel", "output")
    return any(signal.basis == "recorded" and kind in kinds for (kind, _), signal in obs.signals.items())


def written(suite: Suite) -> SettingsRead | None:
    """What the record says of them; None where nobody read them back."""
    found = suite.settings_found
    if found is None:
        return None
    return {
        "exports": [
            {"path": one.path, "read": one.read, "by": one.by, "when": "after the run" if one.again else "before the run"}
            for one in found.exports
        ],
        "compared": [
            {
                "setting": one.setting, "key": one.key, "declared": one.declared, "found": one.found, "after": one.after,
                "agrees": one.agrees,
            }
            for one in found.compared
        ],
        "changed": [{"key": key, "first": first, "after": after} for key, first, after in found.changed],
        "not_compared": found.not_compared,
    }  # fmt: skip


def cautions(suite: Suite) -> list[Caution]:
    """The differences, for page one; nothing where there are none."""
    found = suite.settings_found
    if found is None or not found.differences():
        return []
    told = "; ".join(f"{setting}: {words}" for _, setting, words in found.differences())
    return [{"title": "Settings found are not those declared", "text": f"{told}. What is computed rests on those declared."}]


def limit(suite: Suite) -> str:
    """What is claimed of the settings, in a sentence."""
    found = suite.settings_found
    if found is None:
        return "The settings are those declared in station.yaml; they were not read back from the sensor or the controller."
    again = "before and after the run" if found.again else "before the run, and not again after it"
    few = f"; {found.not_compared} others have no key to compare them by" if found.not_compared else ""
    agree = sum(one.agrees for one in found.compared)
    return f"The settings were read back {again}: {agree} of {len(found.compared)} compared are as station.yaml declares{few}."
