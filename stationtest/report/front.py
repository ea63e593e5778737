"""Page one: accepted or not, on what, by whom, how sure. Sentences made from the counts and verdicts of a record."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from typing import Any

from stationtest.report.wording import NOT_RECORDED, count, duration, listed, percent, plural

MOST_NAMED = 12
"""Requirements without a case that are named on page one; the table of requirements has all."""

MOST_AGAINST = 6
"""Cases that page one names for not passing: with more, its printed sheet would end before it says how sure and by whom."""

FACTS = {
    "who": "Carried out by",
    "role": "Role",
    "organisation": "Organisation",
    "site": "Site",
    "line": "Line",
    "stage": "Stage",
    "protocol": "Protocol",
    "started": "Recordings begun",
    "trigger": "Trigger",
    "truth": "What was presented is known from",
    "ambient": "Ambient light",
    "temperature": "Temperature",
    "belt_speed": "Belt speed",
    "instruments": "Instruments",
    "notes": "Notes",
}
"""The known words of run.yaml and how the page names them; any other word stands as it is."""

BASIS = {
    "recorded": "recorded: from outputs that the station itself gave",
    "by hand": "by hand: from what a person saw and wrote down",
    "computed": "computed: from our model of the sensor and its logic on recorded readings; no wire of the station was looked at",
    "simulated": "simulated: from made-up readings; says nothing of a station that was built",
}


@dataclass(frozen=True, slots=True)
class Headline:
    """`slug` chooses the mark. `accepted` is the answer in a few words, `but` what nobody may overlook beside it, `sentence` what
    it rests on."""

    slug: str
    accepted: str
    sentence: str
    but: tuple[str, ...] = ()

    @property
    def words(self) -> str:
        """The answer in one line, with all that must stand beside it."""
        return "; ".join((self.accepted, *self.but))


@dataclass(frozen=True, slots=True)
class Notice:
    """Something that must not be overlooked. `loud` ones stand in a heavy frame."""

    title: str
    text: str
    loud: bool = False


@dataclass(frozen=True, slots=True)
class Fact:
    label: str
    value: str
    missing: bool


def headline(record: dict[str, Any]) -> Headline:
    result = record["result"]
    counts, verdict = result["counts"], result["verdict"]
    cases = plural(counts["executed"], "case")
    against = [
        plural(counts[key], *words)
        for key, words in (
            ("failed", ("fails", "fail")),
            ("not_shown", ("is not shown", "are not shown")),
            ("not_judged", ("could not be judged", "could not be judged")),
        )
        if counts[key]
    ]
    whole = (
        f"Of {cases} that were run, {listed(against)}; {count(counts['passed'])} {'passes' if counts['passed'] == 1 else 'pass'}."
    )
    uncovered = not_covered(result)
    if verdict == "pass" and result["partial"]:
        return Headline(
            "not-shown",
            "No acceptance: a part was run",
            f"The {cases} that were run all pass, but others were not run. {uncovered}".rstrip(),
        )
    if verdict == "pass" and result["simulated"]:
        return Headline(
            "not-shown",
            "No acceptance: simulated readings",
            f"The {cases} that were run all pass on made-up readings. {uncovered}".rstrip(),
        )
    if verdict == "pass":
        return Headline("pass", "Accepted by its cases", f"All {cases} pass. {uncovered}".rstrip(), reservations(record))
    words = {"fail": "Not accepted", "not shown": "Not accepted: not shown", "not judged": "Not accepted: not judged"}
    return Headline(verdict.replace(" ", "-"), words[verdict], f"{whole} {uncovered}".rstrip())


def reservations(record: dict[str, Any]) -> tuple[str, ...]:
    """What a reader of an acceptance must see at once: requirements without a case, and circumstances that nobody wrote down.

    Neither changes the verdict, since the cases are the criteria; () for any other verdict than an acceptance.
    """
    result, facts = record["result"], record["run"]["facts"]
    if result["verdict"] != "pass" or result["partial"] or result["simulated"]:
        return ()
    found = []
    if names := _not_covered(result):
        of = plural(sum(each["listed"] for each in result["requirements"]), "requirement")
        found.append(f"{count(len(names))} of {of} {'has' if len(names) == 1 else 'have'} no case")
    missing = [name for name in result["station"]["settings"].get("required_in_run") or () if not facts.get(name)]
    if not any(facts.values()):
        found.append("circumstances not recorded")
    elif missing:
        found.append(f"{plural(len(missing), 'required fact')} not recorded")
    return tuple(found)


def in_a_line(record: dict[str, Any]) -> str:
    """The verdict in a terminal: `pass, but 1 of 12 requirements has no case; circumstances not recorded`."""
    verdict, beside = str(record["result"]["verdict"]), "; ".join(reservations(record))
    return f"{verdict}, but {beside}" if beside else verdict


def _not_covered(result: dict[str, Any]) -> list[str]:
    return [each["id"] for each in result["requirements"] if each["state"] == "not covered"]


def not_covered(result: dict[str, Any]) -> str:
    """A sentence that names the listed requirements that no case shows and nothing else verifies, or ''."""
    names = _not_covered(result)
    if not names:
        return ""
    rest = len(names) - MOST_NAMED
    shown = listed(names) if rest <= 0 else f"{', '.join(names[:MOST_NAMED])} and {count(rest)} more"
    of = plural(sum(each["listed"] for each in result["requirements"]), "requirement")
    return f"{count(len(names))} of {of} {'is' if len(names) == 1 else 'are'} not covered by any case: {shown}."


def notices(result: dict[str, Any]) -> list[Notice]:
    found = []
    counts = result["counts"]
    if result["partial"]:
        because = " ".join(result["partial_because"])
        text = (
            f"{count(counts['planned'])} cases are planned, {count(counts['selected'])} were selected, "
            f"{count(counts['executed'])} executed. {because}"
        )
        found.append(Notice("Partial", text, loud=True))
    if result["simulated"]:
        found.append(
            Notice(
                "Simulated", "Some or all readings were made by a program. " + BASIS["simulated"].capitalize() + ".", loud=True
            )
        )
    if counts["repeated"]:
        found.append(Notice("Repeated", f"{plural(counts['repeated'], 'case')} ran more than once; each case says how often."))
    computed = sum(case["basis"] == "computed" for case in result["cases"] if case["state"] == "executed")
    if computed:
        text = (
            f"{plural(computed, 'verdict')} of {count(counts['executed'])} rest on outputs that were computed from the readings, "
        )
        found.append(Notice("Computed outputs", text + "not on what the station's own outputs did."))
    read = result.get("settings_as_found")
    if read is None:
        text = "The settings below are those declared in station.yaml. They were not read back from the sensor or the controller."
        found.append(Notice("Settings not read back", text))
    else:
        agree = sum(one["agrees"] for one in read["compared"])
        text = f"{agree} of {plural(len(read['compared']), 'setting')} compared with station.yaml are as declared (section 2)."
        found.append(Notice("Settings read back", text))
    found += [Notice(each["title"], each["text"], loud=True) for each in result.get("cautions", [])]
    found.append(_outside(result))
    return found


def _outside(result: dict[str, Any]) -> Notice:
    streams = [source for source in result["sources"] if source["kind"] != "trials"]
    times = sum(source["outside_count"] for source in streams)
    if not streams:
        text = "There is no recording with times, so on-times outside every presentation cannot be seen."
    elif times:
        lasting = duration(sum(source["outside_ns"] for source in streams))
        text = (
            f"{plural(times, 'on-time')}, {lasting} in all, belong to no presentation and to no stretch between. "
            "They are listed with the readings."
        )
    else:
        text = f"No channel was on outside a presentation or a stretch between, in {plural(len(streams), 'recording')}."
    return Notice("On outside everything", text, loud=bool(times))


def facts(run: dict[str, Any]) -> list[Fact]:
    """Every known word of run.yaml, missing ones as 'not recorded', then the words of the plant's own."""
    given = run["facts"]
    names = [*FACTS, *sorted(set(given) - set(FACTS))]
    return [Fact(FACTS.get(name, name), given.get(name) or NOT_RECORDED, not given.get(name)) for name in names]


def on_what(result: dict[str, Any]) -> list[str]:
    """What was accepted: the readings the verdicts rest on, in counts."""
    found = []
    for kind, one in (("stream", "recording"), ("trials", "table of trials by hand"), ("scene", "simulated scene")):
        sources = [source for source in result["sources"] if source["kind"] == kind]
        if not sources:
            continue
        many = "tables of trials by hand" if kind == "trials" else None
        presentations = plural(sum(source["presentations"] for source in sources), "presentation")
        lasting = sum((source["end_ns"] or 0) - (source["first_ns"] or 0) for source in sources)
        words = f"{plural(len(sources), one, many)}: {presentations}"
        found.append(f"{words} in {duration(lasting)}" if lasting else words)
    return found


def how_sure(result: dict[str, Any]) -> list[str]:
    """What the passing cases show, grouped by the evidence they asked; then on what basis."""
    executed = [case for case in result["cases"] if case["state"] == "executed"]
    passed = [case["asked"] for case in executed if case["verdict"] == "pass"]
    groups = Counter(_demand(asked) for asked in passed if asked["trials"] is None)
    found = [
        f"{plural(number, 'case')} that pass{'es' if number == 1 else ''}: {words}." for words, number in sorted(groups.items())
    ]
    trials = sorted(asked["trials"] for asked in passed if asked["trials"] is not None)
    if trials:
        numbers = listed([count(number) for number in dict.fromkeys(trials)], "or")
        found.append(f"{plural(len(trials), 'case')} that pass{'es' if len(trials) == 1 else ''}: {numbers} trials, as planned.")
    basis = Counter(case["basis"] for case in executed if case["basis"])
    if basis:
        found.append(
            "Basis of the verdicts: " + listed(f"{count(number)} {name}" for name, number in sorted(basis.items())) + "."
        )
    return found


def _demand(asked: dict[str, Any]) -> str:
    if asked["reliability"] is not None and asked["confidence"] is not None and asked["duration_ns"] is None:
        share, sure = percent(asked["reliability"], 4), percent(asked["confidence"], 4)
        return f"at least {share} of trials conform, at {sure} confidence (one-sided)"
    if asked["duration_ns"] is not None:
        return f"no event in at least {duration(asked['duration_ns'])}"
    if asked["runs"] is not None:
        return f"{plural(asked['runs'], 'run')} as a whole, which claims nothing of other runs"
    return str(asked["words"])


def marks(result: dict[str, Any]) -> str:
    """For the head of every page: what must be known of each sheet by itself."""
    return ", ".join(word for word, there in (("PARTIAL", result["partial"]), ("SIMULATED", result["simulated"])) if there)
