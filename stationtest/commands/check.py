"""`stationtest check`: every problem of every file, or what was found."""

from __future__ import annotations

import argparse

from stationtest import plugins
from stationtest.commands.terminal import table
from stationtest.errors import EXIT_PASS, FileProblems, Problem, StationtestError, told_in
from stationtest.model.case import Suite
from stationtest.model.parts import Parts
from stationtest.model.station import Logic


def body(args: argparse.Namespace) -> int:
    from stationtest.files import suite

    parts = plugins.load()
    try:
        found = suite.load(args.station, allow_outside=args.allow_outside, expectations=parts.expectations)
    except FileProblems as error:
        raise FileProblems([*error.problems, *_beside_other_problems(args, parts)]) from None
    _calibrations(found)
    recordings = _recordings(found, parts)
    _print_station(found)
    _print_safe_states(found)
    _print_requirements(found)
    for text in recordings:
        print(text)
    _print_needs(found)
    _print_warnings(found)
    return EXIT_PASS


def _beside_other_problems(args: argparse.Namespace, parts: Parts) -> list[Problem]:
    """What is wrong with recordings where other files have problems too: nobody should mend the one to be told of the other."""
    from stationtest.files import suite

    try:
        station = suite.load_station(args.station, allow_outside=args.allow_outside)
    except StationtestError:
        return []  # nobody knows how its recordings are written
    from stationtest.commands import understood
    from stationtest.engine import looking_over

    problems: list[Problem] = []
    for key in looking_over.not_named(station):
        wrong = looking_over.problems(station, key, parts, named=False)
        if not wrong and looking_over.all_there(station, key):
            try:
                list(understood.lines(station, key, parts))
            except StationtestError as error:
                wrong = list(told_in(station.folder, error))
        problems += wrong
    return problems


def _calibrations(found: Suite) -> None:
    """The matrices of spectral sensors are worked out; raises the problems of all that give no colour."""
    problems: list[Problem] = []
    for sensor in found.station.sensors:
        if sensor.spectral is not None:
            from stationtest.signals.conversion import SensorModel

            try:
                SensorModel.from_sensor(sensor)
            except FileProblems as error:
                problems += error.problems
    if problems:
        raise FileProblems(problems)


def _recordings(found: Suite, parts: Parts) -> list[str]:
    """What was understood of each recording; raises the problems of all of them."""
    from stationtest.commands import understood
    from stationtest.engine import looking_over

    told: list[str] = []
    problems: list[Problem] = []
    for key in dict.fromkeys([*found.readings(), *(scene.path for scene in found.scenes)]):
        try:
            told += ["", *understood.lines(found, key, parts)]
        except StationtestError as error:
            problems += told_in(found.folder, error)
        problems += looking_over.problems(found, key, parts)
    for key in looking_over.not_named(found):
        wrong = looking_over.problems(found, key, parts, named=False)
        told += [] if wrong else ["", f"{key}: nothing wrong with it; no case names it"]
        problems += wrong
    if problems:
        raise FileProblems(problems)
    return told


def _print_station(found: Suite) -> None:
    station = found.station
    print(f"{station.name}: {station.title or 'no title'}")
    for sensor in station.sensors:
        calibrated = "calibrated" if sensor.calibrated else "not calibrated: sensor chromaticity only"
        print(f"  sensor {sensor.name}: reads {sensor.reads}, {calibrated}")
    for channel in station.channels:
        stands_for = ", ".join(channel.for_targets)
        limit = f"{channel.distance} at most {channel.tolerance:g}, hysteresis {channel.hysteresis:.0%}"
        print(f"  channel {channel.name} ({channel.sensor}): for {stands_for}; {limit}; {channel.switches}")
    for group in station.groups:
        print(f"  group {group.name}: only the nearest of {', '.join(group.channels)} matches, lead {group.lead:.0%}")
    for output in station.outputs:
        print(f"  output {output.name}: {_logic(output.logic)}")
    for kind in station.sets:
        print(f"  set {kind.name}: {', '.join(f'{number} {name}' for name, number in kind.members)}")
    for item in station.items:
        print(f"  item {item.name}: at {', '.join(item.at)}; {_matching(item.matching)}")
    read = len(found.readings())
    seen = f"seen for sure from {station.scan.seen_ns / 1e6:g} ms"
    if not station.scan.seen_ns:
        seen = "every on-time, however short, counts as seen for sure; declare `scan` if a controller reads the outputs"
    print(f"  {len(found.cases)} case{'s' * (len(found.cases) != 1)}, {read} recording{'s' * (read != 1)}, {seen}")


def _logic(logic: Logic) -> str:
    """`any of 1, 2, (all of 3, 4)`, as nested as it is."""
    parts = [part if isinstance(part, str) else f"({_logic(part)})" for part in logic.of]
    word = f"at least {logic.n} of" if logic.n is not None else logic.op.replace("_", " ")
    return f"{word} {', '.join(parts)}"


def _matching(lists: tuple[tuple[str, ...], ...]) -> str:
    return "matching are " + "; ".join(" with ".join(targets) for targets in lists) if lists else "matching if of one target"


def _print_safe_states(found: Suite) -> None:
    from stationtest.engine.safe_states import FAILURES, safe_states

    states = list(safe_states(found.station))
    if not states:
        return
    rows = {(state.output.name, state.sensor): state for state in states}
    words = {(state.output.name, state.sensor, state.failure): state.words for state in states}
    said = {True: "on", False: "off", None: "not stated"}
    print()
    table(
        ("output", "if the sensor", *(f"is {failure}" for failure in FAILURES), "good"),
        [(*key, *(words[*key, failure] for failure in FAILURES), said[state.good]) for key, state in rows.items()],
    )
    for state in states:
        if state.looks_good:
            where = f"{state.output.place}: outputs.{state.output.name}"
            print(f"caution: {where}: with sensor {state.sensor} {state.failure} this gives {state.words}, which looks like good")


def _print_requirements(found: Suite) -> None:
    covered = {name for case in found.cases for name in case.requirements}
    listed = [requirement.id for requirement in found.requirements]
    otherwise = [
        requirement.id for requirement in found.requirements if requirement.verified_by and requirement.id not in covered
    ]
    missing = [name for name in listed if name not in covered and name not in otherwise]
    if not listed and not covered:
        return
    print()
    print(f"requirements: {len([name for name in listed if name in covered])} of {len(listed)} covered by cases")
    for words, names in (
        ("not covered", missing),
        ("verified otherwise", otherwise),
        ("not listed", sorted(covered - set(listed))),
    ):
        if names:
            print(f"  {words}: {', '.join(names)}")


def _print_warnings(found: Suite) -> None:
    from stationtest.engine import as_found, claims, register
    from stationtest.files import run_file

    for text in run_file.near_words(found.run_facts, found.station.required_in_run):
        print(f"warning: run.yaml: {text}")
    for text in (*register.unregistered(found), *claims.without_margin(found)):
        print(f"warning: {text}")
    for caution in (*claims.not_recorded(found), *claims.little_asked(found), *as_found.cautions(found)):
        print(f"warning: {caution['text']}")


def _print_needs(found: Suite) -> None:
    from stationtest.engine import planning

    print()
    if not found.cases:
        print("there is no case yet, so there is nothing to judge: write one in cases/NAME.case.yaml")
        return
    table(("case", "needs", "title"), [(case.id, planning.needs(case), case.title) for case in found.cases])
