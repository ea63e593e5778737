"""What text stands for. Prefixes of units after the SI brochure (9th edition, table 7); minute and hour after its table 8."""

from __future__ import annotations

from typing import Any

import pytest
from pydantic import TypeAdapter, ValidationError

from stationtest.files import scalars as s
from stationtest.files.names import Names
from stationtest.files.tree import parse
from stationtest.files.words import duration_text, listed, number_text, share_text, shown
from stationtest.model.station import Edge


def read(kind: Any, text: object, context: object = None) -> Any:
    return TypeAdapter(kind).validate_python(text, context=context)


def refusal(kind: Any, text: object, context: object = None) -> str:
    with pytest.raises(ValidationError) as error:
        read(kind, text, context)
    return str(error.value.errors()[0]["msg"])


@pytest.mark.parametrize(
    ("text", "ns"),
    [
        ("40 ms", 40_000_000),
        ("40ms", 40_000_000),
        ("0.5 s", 500_000_000),
        ("10 min", 600_000_000_000),
        ("1 h", 3_600_000_000_000),
        ("12 us", 12_000),
        ("12 µs", 12_000),
        ("12 μs", 12_000),
        ("40\u00a0ms", 40_000_000),
        ("4０ ms", 40_000_000),
        ("0 ms", 0),
        ("7 ns", 7),
        ("0.000000001 s", 1),
        ("0.1 s", 100_000_000),
    ],
)
def test_durations(text: str, ns: int) -> None:  # Y21: blanks, signs and the two micro signs read alike
    assert read(s.Duration, text) == ns


@pytest.mark.parametrize(
    ("kind", "text", "value"),
    [
        (s.Length, "4 mm", 4.0),
        (s.Length, "1.5 cm", 15.0),
        (s.Length, "250 µm", 0.25),
        (s.Speed, "0.5 m/s", 500.0),
        (s.Speed, "500 mm/s", 500.0),
        (s.Speed, "30 m/min", 500.0),
        (s.Speed, "30000 mm/min", 500.0),
        (s.Frequency, "1 kHz", 1000.0),
        (s.Angle, "12 deg", 12.0),
        (s.Angle, "−12 deg", -12.0),
        (s.Share, "95 %", 0.95),
        (s.Share, "95%", 0.95),
        (s.Share, "99.5 %", 0.995),
        (s.Share, "0 %", 0.0),
        (s.AnyShare, "110 %", 1.1),
        (s.Number, "0.012", 0.012),
        (s.Number, "−28", -28.0),
        (s.Number, "1e-3", 0.001),
        (s.Number, "-0", 0.0),
        (s.Count, "0", 0),
        (s.AnyDuration, "-40 ms", -40_000_000),
        (s.YesNo, "yes", True),
        (s.YesNo, "false", False),
        (s.OnOff, "off", False),
        (s.AtLeastDuration, "at least 100 ms", 100_000_000),
        (s.AtMostShare, "at most 5 %", 0.05),
        (s.AtLeastCount, "at least 5", 5),
        (s.AtLeastNumber, "at least  0.25", 0.25),
        (s.DurationLimit, "within 3 ms", s.Limit("within", 3_000_000)),
        (s.CountLimit, "exactly 1", s.Limit("exactly", 1)),
        (s.OneOrMore[s.Text], "a", ("a",)),
        (s.OneOrMore[s.Text], ["a", "b"], ("a", "b")),
    ],
)
def test_values(kind: Any, text: object, value: object) -> None:
    assert read(kind, text) == value


@pytest.mark.parametrize(
    ("kind", "text", "message"),
    [
        (
            s.Duration,
            "40",
            "a bare number needs a unit: 40 ms; found 40; allowed a number with its unit (ns, us, ms, s, min, h), such as 40 ms",
        ),
        (
            s.Duration,
            "12,5 ms",
            "numbers are written with a decimal point, not a comma; found 12,5 ms; allowed 12.5 ms or a number with its unit "
            "(ns, us, ms, s, min, h), such as 40 ms",
        ),
        (
            s.Duration,
            "40 Ms",
            "`Ms` is no unit of a duration; did you mean 40 ms?; found 40 Ms; allowed a number with its unit (ns, us, ms, s, "
            "min, h), such as 40 ms",
        ),
        (
            s.Duration,
            "-20 mm",
            "`mm` is a unit of length, and a duration is due here; found -20 mm; allowed a number with its unit (ns, us, ms, s, "
            "min, h), such as 40 ms",
        ),
        (s.Duration, "0.5 ns", "a duration finer than 1 ns cannot be kept; found 0.5 ns; allowed whole nanoseconds"),
        (s.Duration, "-1 ms", "a duration is out of range; found -1 ms; allowed 0 ms up to 104 days"),
        (s.Duration, "99999 h", "a duration is out of range; found 99999 h; allowed 0 ms up to 104 days"),
        (s.PositiveDuration, "0 ms", "this duration must be longer than nothing; found 0 ms; allowed such as 1 ms"),
        (
            s.Duration,
            ["x"],
            "a duration is due here; found a list; allowed a number with its unit (ns, us, ms, s, min, h), such as 40 ms",
        ),
        (s.Share, "101 %", "a share is out of range; found 101 %; allowed 0 % to 100 %"),
        (s.OpenShare, "100 %", "no number of trials can show this; found 100 %; allowed more than 0 % and at most 99.9999 %"),
        (s.Number, "5.", "this is not a number; found 5.; allowed a number such as 0.012"),  # Y23
        (s.Number, "012", "this is not a number; found 012; allowed a number such as 0.012"),  # octal to YAML 1.1
        (s.Number, ".nan", "this is not a number; found .nan; allowed a number such as 0.012"),
        (s.Number, "1_000", "this is not a number; found 1_000; allowed a number such as 0.012"),
        (s.Number, "1e999", "this is not a number; found 1e999; allowed a number such as 0.012"),
        (s.Number, "1e300", "a number is out of range; found 1e300; allowed -1e15 to 1e15"),
        (s.Number, "-1e16", "a number is out of range; found -1e16; allowed -1e15 to 1e15"),
        (s.Number, "9" * 400, f"this is not a number; found {'9' * 59}…; allowed a number such as 0.012"),
        (s.Positive, "0", "this number must be more than 0; found 0; allowed a number such as 0.012"),
        (s.Count, "1.0", "this is not a whole number of 0 or more; found 1.0; allowed a whole number such as 3"),
        (s.Yes, "no", "only `yes` says something here; leave the line out otherwise; found no; allowed yes"),
        (s.YesNo, "On", "yes or no is due here; found On; allowed yes or no"),
        (s.OnOff, "yes", "on or off is due here; found yes; allowed on or off"),
        (s.AtLeastDuration, "100 ms", "a limit begins with `at least`; found 100 ms; allowed at least 100 ms"),
        (
            s.CountLimit,
            "3",
            "a limit begins with `at least` or `at most` or `exactly`; found 3; allowed at least 3 or at most 3 or exactly 3",
        ),
        (s.Name, "any", "this word has a meaning of its own and cannot be a name; found any; allowed any other word"),  # Y25
        (s.Name, "box falls", "a name cannot end in `falls` or `rises`: that is how an edge is written; found box falls"),
        (s.Name, "a\nb", "a name has no blanks at its ends and no control characters; found 'a\\nb'"),
        (s.CaseId, "REC::1", "an id cannot hold `::`, `[` or `]`; found REC::1; allowed such as REC-01"),
        (s.Text, " ", 'text is due here, and this is blank; found " "'),
        (s.OneOrMore[s.Text], [], "this list is empty; allowed one or more"),
    ],
)
def test_refusals(kind: Any, text: object, message: str) -> None:
    assert refusal(kind, text) == message


def test_quoted_is_text() -> None:  # Y20
    word = parse(b'a: "30"', "f").root["a"]  # type: ignore[index,call-overload,union-attr]
    assert refusal(s.Number, word).startswith(
        'a number is due here, and what is quoted is text: write it without quotes; found "30"'
    )
    assert read(s.Text, word) == "30" and type(read(s.Text, word)) is str


@pytest.mark.parametrize(
    "name", ["<script>alert(1)</script>", "=1+1", "@SUM(A1)", "-2", "naïve ☕", "100 %", "a.b: c", "1", "01"]
)
def test_names_are_any_text(name: str) -> None:
    assert read(s.Name, name) == name


def test_names_are_checked_where_the_station_is_known() -> None:
    names = Names(channel=("1", "2"), input=("box out",), target=("mint",))
    assert read(s.ChannelName, "2", names) == "2" and read(s.ChannelName, "9") == "9"
    assert (
        refusal(s.TargetName, "Mint", names) == "there is no target of this name; did you mean `mint`?; found Mint; allowed mint"
    )
    assert read(s.Edge, "box out falls", names) == Edge(input="box out", falls=True)
    assert read(s.Edge, "box out rises", names) == Edge(input="box out")
    assert read(s.Instant, "covered", names) == "covered" and read(s.Until, "next decision", names) == "next decision"
    assert refusal(s.Instant, "box uot", names) == (
        "there is no input of this name; did you mean `box out`?; found box uot; allowed start, end, covered, event, box out"
    )


@pytest.mark.parametrize(
    ("limit", "holds", "fails"),
    [
        (s.Limit("at least", 3), [3, 4], [2.9]),
        (s.Limit("at most", 3), [3, -9], [3.1]),
        (s.Limit("exactly", 3), [3], [2, 4]),
        (s.Limit("within", 3), [-3, 0, 3], [3.1, -3.1]),
    ],
)
def test_limits(limit: s.Limit, holds: list[float], fails: list[float]) -> None:
    assert all(map(limit.holds, holds)) and not any(map(limit.holds, fails))


@pytest.mark.parametrize(
    ("ns", "text"),
    [
        (0, "0 ms"),
        (40_000_000, "40 ms"),
        (1_500_000_000, "1.5 s"),
        (600_000_000_000, "10 min"),
        (7_200_000_000_000, "2 h"),
        (1_500, "1.5 us"),
        (7, "7 ns"),
        (-40_000_000, "-40 ms"),
        (120_000_000, "120 ms"),
        (90_000_000_000, "90 s"),
        (1_234_567, "1.234567 ms"),
    ],
)
def test_durations_in_words_read_back(ns: int, text: str) -> None:
    assert duration_text(ns) == text
    assert read(s.AnyDuration, text) == ns


def test_other_words() -> None:
    assert share_text(0.95) == "95 %" and share_text(0.995) == "99.5 %" and share_text(0.1 + 0.2) == "30.000000000000004 %"
    assert number_text(3650.0) == "3650" and number_text(0.012) == "0.012" and number_text(4) == "4"
    assert listed(["a"]) == "a" and listed(["a", "b", "c"]) == "a, b and c" and listed(["a", "b"], "or") == "a or b"
    assert shown("a\nb\x00c") == "a b c" and len(shown("x" * 999)) == 60
