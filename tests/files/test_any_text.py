"""Whatever stands in the files, the answer is a list of problems, never a traceback, and both loaders give the same one."""

from __future__ import annotations

from pathlib import Path

from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st
from station_folder import CASES, STATION, make, problems, suite

from stationtest.errors import CODES, StationtestError
from stationtest.files.tree import FAST, PURE, parse, plain

_PIECES = st.sampled_from(
    [
        "a",
        "b: c",
        ": ",
        "- ",
        "\n",
        "\n  ",
        "{",
        "}",
        "[",
        "]",
        ", ",
        "'",
        '"',
        "#x",
        " # y",
        "&a",
        "*a",
        "!t",
        "<<: ",
        "? ",
        "|",
        ">",
        "~",
        "%",
        "@",
        "null",
        "---\n",
        "...\n",
        "\t",
        "1 ms",
        "é",
        "\u2028",
        "\x00",
        "=1+1",
        "0,5",
        "\\",
        "\r\n",
        "on",
        "a: b\n",
    ]
)
_YAML = st.lists(_PIECES, max_size=25).map("".join)
_QUICK = settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])


@settings(max_examples=250, deadline=None)
@given(_YAML | st.text(max_size=60))
@example("a: |#x\n  b\n")
@example(">-#\n")
def test_both_loaders_give_the_same_answer(text: str) -> None:
    fast, pure = parse(text.encode(), "f", FAST), parse(text.encode(), "f", PURE)
    assert bool(fast.problems) == bool(pure.problems)
    assert (fast.root is None) == (pure.root is None)
    assert fast.root is None or plain(fast.root) == plain(pure.root)
    if fast.root is not None:  # what cannot be read to its end is refused by both, each in its own words
        assert fast.problems == pure.problems


@settings(max_examples=100, deadline=None)
@given(st.binary(max_size=60))
def test_any_bytes(data: bytes) -> None:
    tree = parse(data, "f")
    assert tree.root is not None or tree.problems


def _answer(folder: Path) -> None:
    try:
        suite(folder)
    except StationtestError as error:
        assert error.problems and all(problem.code in CODES and "\n" not in problem.message for problem in error.problems)


@_QUICK
@given(_YAML, st.integers(0, len(STATION)), st.integers(0, 40))
def test_any_text_in_a_station_file(tmp_path: Path, text: str, at: int, cut: int) -> None:
    _answer(make(tmp_path, station=STATION[:at] + text + STATION[at + cut :]))


@_QUICK
@given(_YAML, st.integers(0, len(CASES)), st.integers(0, 40))
def test_any_text_in_a_case_file(tmp_path: Path, text: str, at: int, cut: int) -> None:
    _answer(make(tmp_path, cases=CASES[:at] + text + CASES[at + cut :]))


@_QUICK
@given(st.text(max_size=60) | _YAML)
def test_any_text_in_the_lists(tmp_path: Path, text: str) -> None:
    make(tmp_path)
    for name in ("requirements.csv", "specimens.csv", "run.yaml"):
        (tmp_path / name).write_bytes(text.encode())
    _answer(tmp_path)


def _paths(node: object, path: tuple[object, ...] = ()) -> list[tuple[object, ...]]:
    inner = node.items() if isinstance(node, dict) else enumerate(node) if isinstance(node, list) else ()
    return [path, *(deeper for key, value in inner for deeper in _paths(value, (*path, key)))]


@settings(max_examples=80, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.data())
def test_any_value_in_any_field(tmp_path: Path, data: st.DataObject) -> None:
    """Every field in turn gets a value of the wrong kind: text, a list or a mapping of text."""
    for name, text in (("station", STATION), ("cases", CASES)):
        tree = plain(parse(text.encode(), "f").root)
        path = data.draw(st.sampled_from([path for path in _paths(tree) if path]))
        value = data.draw(
            st.sampled_from(["x", "0", "1 ms", "mint", [], ["x"], {"x": "y"}, [["x"]], {"mint": "1"}, "any", "../x"])
        )
        holder = tree
        for key in path[:-1]:
            holder = holder[key]
        holder[path[-1]] = value
        make(tmp_path, **{"station": STATION, "cases": CASES, name: _flow(tree)})
        assert all(line.startswith(("station.yaml:", "cases/a.case.yaml:")) for line in problems(tmp_path))


def _flow(value: object) -> str:
    if isinstance(value, dict):
        return "{" + ", ".join(f'"{key}": {_flow(inner)}' for key, inner in value.items()) + "}"
    if isinstance(value, list):
        return "[" + ", ".join(map(_flow, value)) + "]"
    return str(value) if ":" not in str(value) and str(value) else f"'{value}'"
