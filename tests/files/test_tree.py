# ruff: noqa: E501 (messages stand whole on one line)
"""YAML text to nodes. The traps Y1 to Y30 were collected by trying YAML 1.1 and 1.2 readers; each is one test or parameter here."""

from __future__ import annotations

import pytest

from stationtest.errors import Problem
from stationtest.files.tree import FAST, PURE, Items, Map, Tree, Word, parse, plain

LOADERS = pytest.mark.parametrize("loader", [FAST, PURE], ids=["C", "pure"])


def read(text: str | bytes, loader: object = None) -> Tree:
    return parse(text.encode() if isinstance(text, str) else text, "f", loader)


def told(tree: Tree) -> list[str]:
    return [f"{problem.place.line}:{problem.place.column}: {problem.message} [{problem.code}]" for problem in tree.problems]


def test_the_fast_loader_is_the_c_one() -> None:
    assert FAST is not PURE, "PyYAML without libyaml: 10,000 cases take five times as long"


@LOADERS
def test_every_plain_scalar_stays_text(loader: object) -> None:
    words = [
        "on",
        "no",
        "yes",
        "1:30",
        "012",
        "1e-3",
        "0x1F",
        "2026-01-02",
        ".inf",
        "95%",
        "-28",
        "true",
        "1_000",
    ]  # ecosystem of YAML 1.1
    tree = read("".join(f"k{i}: {word}\n" for i, word in enumerate(words)), loader)
    assert isinstance(tree.root, Map) and not tree.problems
    assert list(tree.root.values()) == words
    assert not any(word.quoted for word in tree.root.values())


@LOADERS
def test_nodes_know_their_place_and_quotes(loader: object) -> None:
    tree = read("a: x\nb:\n  - 'y'\n  - {c: \"z\"}\n", loader)
    assert isinstance(tree.root, Map)
    b = tree.root["b"]
    assert isinstance(b, Items) and (b.line, b.column) == (3, 3)
    assert isinstance(b[0], Word) and (b[0], b[0].line, b[0].column, b[0].quoted) == ("y", 3, 5, True)
    key = next(iter(b[1]))
    assert (key, key.line, key.column, key.quoted) == ("c", 4, 6, False)
    assert b[1]["c"].quoted


@LOADERS
def test_byte_order_mark_and_crlf_are_accepted(loader: object) -> None:  # Y30
    tree = read(b"\xef\xbb\xbfa: b\r\nc: d\r\n", loader)
    assert plain(tree.root) == {"a": "b", "c": "d"} and not tree.problems
    assert [(key.line, key.column) for key in tree.root] == [(1, 1), (2, 1)]  # type: ignore[union-attr]


ANSWERS = [
    # Y1: a decimal comma in braces
    (
        "{tolerance: 0,012, hysteresis: 10 %}",
        ["1:15: numbers are written with a decimal point, not a comma; found 0,012; allowed 0.012 [wrong-value]"],
    ),
    # Y3 and `color: #ff0000`
    (
        "title: Box #3 is full",
        [
            "1:12: YAML reads `#3 is full` as a comment, not as part of the value; put the value in quotes, or leave a blank after the # "
            "of a comment [comment-eats-value]"
        ],
    ),
    (
        "color: #ff0000",
        [
            "1:8: YAML reads `#ff0000` as a comment, not as part of the value; put the value in quotes, or leave a blank after the # of a "
            "comment [comment-eats-value]"
        ],
    ),
    (
        "a: {color: #ff0000}",
        [
            "1:12: YAML reads `#ff0000}` as a comment, not as part of the value; put the value in quotes, or leave a blank after the # of a "
            "comment [comment-eats-value]"
        ],
    ),
    (
        "a: [x]#c",
        [
            "1:7: YAML reads `#c` as a comment, not as part of the value; put the value in quotes, or leave a blank after the # of a comment "
            "[comment-eats-value]"
        ],
    ),
    # Y4: what YAML's scanner refuses
    (
        "title: Mint: fires",
        [
            "1:12: a colon with a blank behind it stands inside a value; put the value in quotes, or mend the indentation [unreadable]"
        ],
    ),
    ("a: %95", ["1:4: a value cannot begin with `%`; write the number first (`95 %`), or put it in quotes [unreadable]"]),
    (
        "a: >= 30 %",
        [
            "1:5: a value that begins with `>` or `|` opens folded text; write a limit in words, such as `at least 30 %`, or quote it "
            "[unreadable]"
        ],
    ),
    ("a: @x", ["1:4: a value cannot begin with `@`; put it in quotes [unreadable]"]),
    ("a: *", ["1:4: a value cannot begin with `*`; put it in quotes [unreadable]"]),
    ("a: & b", ["1:4: a value cannot begin with `&`; put it in quotes [unreadable]"]),
    ("a: ? x", ["1:4: a value cannot begin with `?`; put it in quotes [unreadable]"]),
    ("a:\tb", ["1:3: a tab stands here; write blanks, or an escape in double quotes [unreadable]"]),
    ("\ta: b", ["1:1: a tab stands here; write blanks, or an escape in double quotes [unreadable]"]),
    ("a: - b", ["1:4: a list item `- ` cannot stand here; put it on a line of its own, or write a list as [a, b] [unreadable]"]),
    ("a: 'b", ["1:4: a quote is opened here and never closed [unreadable]"]),
    ('a: "b\\q"', ["1:4: a backslash in double quotes begins an escape; put the text in single quotes [unreadable]"]),
    (
        "a: [1, 2\nb: 3",
        [
            "1:4: a list is opened here with `[`, and its items are not separated by `,` or it is never closed with `]` [unreadable]"
        ],
    ),
    (
        "a: {x: 1",
        [
            "1:4: a mapping is opened here with `{`, and its entries are not separated by `,` or it is never closed with `}` [unreadable]"
        ],
    ),
    (
        "a: b\nc",
        [
            "2:1: this line has no `: `; a mapping needs `key: value` on each line, and lines that belong together start in the same column "
            "[unreadable]"
        ],
    ),
    (
        "a:\n  b: 1\n c: 2",
        ["3:2: this line does not fit the mapping above it; lines that belong together start in the same column [unreadable]"],
    ),
    (
        "- a\nb: 1",
        ["2:1: this line is no item `- ` of the list above it; lines that belong together start in the same column [unreadable]"],
    ),
    ("a: b\x07", ["1:5: an invisible character (U+0007) stands here; write blanks, or an escape in double quotes [unreadable]"]),
    (
        "a: b\u2028c: d",
        ["1:5: an invisible character (U+2028) stands here; write blanks, or an escape in double quotes [unreadable]"],
    ),
    # Y5, Y6, Y13: empty values
    ("{b:1}", ["1:2: a blank is missing after the colon; found b:1; allowed b: 1 [no-value]"]),
    (
        "{mint, fresh}",
        [
            "1:2: this key has no value; did you mean a list [ ] instead of { }?; found nothing; allowed `key: value` [no-value]",
            "1:8: this key has no value; did you mean a list [ ] instead of { }?; found nothing; allowed `key: value` [no-value]",
        ],
    ),
    ("a:", ["1:1: this key has no value; found nothing; allowed a value, or no such line [no-value]"]),
    ("a: ~", ["1:1: this key has no value; found nothing; allowed a value, or no such line [no-value]"]),
    ("a: null", ["1:1: this key has no value; found nothing; allowed a value, or no such line [no-value]"]),
    ("- \n- b", ["1:2: a list item has no value; found nothing; allowed text, a list or a mapping [no-value]"]),
    ("", ["1:1: the file is empty [no-value]"]),
    ("# nothing but a comment\n", ["1:1: the file is empty [no-value]"]),
    # Y7 merge key, Y8 complex key, Y9 duplicate keys
    ("<<: {a: b}", ["1:1: merge keys (`<<`) are not used here; write the keys out [not-allowed]"]),
    ("? [1, 2]\n: 3", ["1:3: a key is text; found a list or a mapping [not-allowed]"]),
    ("a: 1\nb: 2\na: 3", ["3:1: the key a stands twice in this mapping; the first is in line 1, column 1 [duplicate-key]"]),
    # Y24: separators
    (
        "separator: ,",
        ["1:12: a value cannot begin with `,`; write comma, semicolon, tab or bar in words, or put it in quotes [unreadable]"],
    ),
    (
        "separator: |x",
        [
            "1:13: a value that begins with `>` or `|` opens folded text; write a limit in words, such as `at least 30 %`, or quote it "
            "[unreadable]"
        ],
    ),
    # Y30: anchors, aliases, tags, documents, directives
    ("a: &x b", ["1:4: anchors (`&x`) are not used here; write the value out, or put the text in quotes [not-allowed]"]),
    ("a: *x", ["1:4: aliases (`*name`) are not used here; write the value out, or put the text in quotes [not-allowed]"]),
    ("a: !x b", ["1:4: tags (`!x`) are not used here; put the text in quotes [not-allowed]"]),
    (
        "a: !!python/object/apply:os.system [ls]",
        ["1:4: tags (`tag:yaml.org,2002:python/object/apply:os.system`) are not used here; put the text in quotes [not-allowed]"],
    ),
    ("a: 1\n---\nb: 2", ["2:1: a second document begins here with `---`; a file holds one [not-allowed]"]),
    ("%YAML 1.1\n---\na: 1", ["1:1: directives (`%YAML`, `%TAG`) are not used here; leave the line out [not-allowed]"]),
]


@LOADERS
@pytest.mark.parametrize(("text", "answer"), ANSWERS, ids=[text[:20] for text, _ in ANSWERS])
def test_refusals(text: str, answer: list[str], loader: object) -> None:
    assert told(read(text, loader)) == answer


@LOADERS
@pytest.mark.parametrize(
    "text",
    [
        "a: b # a comment\n",
        "a: 1 # see #3\n",
        "a: 'Box #3'\n",
        'a: "x #y" # z\n',
        "a: |\n  # x #y\n  b #c\n",
        "#whole line\na: b\n",
        "a: b#c\n",
        "a: 'x\n  y #z\n  '\n",
        "---\na: b\n",
        "a: 'null'\n",
        "a: ''\n",
        "{a: b, c: [d]}\n",
    ],
)
def test_what_is_allowed(text: str, loader: object) -> None:
    assert told(read(text, loader)) == []


@LOADERS
def test_alias_bomb_is_never_expanded(loader: object) -> None:
    bomb = "a: &a [x, x, x]\n" + "".join(
        f"{chr(98 + i)}: &{chr(98 + i)} [{', '.join(['*' + chr(97 + i)] * 9)}]\n" for i in range(9)
    )
    tree = read(bomb, loader)
    assert {problem.code for problem in tree.problems} == {"not-allowed"}
    assert isinstance(tree.root, Map)
    assert sum(map(len, tree.root.values())) == 3 + 9 * 9


@LOADERS
def test_depth(loader: object) -> None:
    assert told(read("[" * 30 + "x" + "]" * 30, loader)) == []
    assert told(read("[" * 3000 + "]" * 3000, loader)) == ["1:31: values are nested more than 30 deep [too-large]"]


def test_size() -> None:
    assert told(read(b"a: " + b"x" * 20_000_000)) == [
        "1:1: the file is too large; found more than 20000000 bytes; allowed at most 20000000 [too-large]"
    ]


def test_number_of_values(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("stationtest.files.tree.MAX_NODES", 100)
    assert told(read("[" + "x, " * 200 + "x]")) == ["1:1: the file has more than 100 values [too-large]"]


def test_not_utf8() -> None:
    assert told(read("a: b\nc: \u00e9\n".encode("cp1252"))) == ["2:0: the file is not UTF-8 text; save it as UTF-8 [unreadable]"]


def test_problems_are_problems() -> None:
    assert all(isinstance(problem, Problem) for problem in read("a: *x\na: 1").problems)
