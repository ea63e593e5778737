"""YAML text to nodes that know their place, with nothing resolved: every plain scalar stays text until a field converts it.

The tree is built from the parser's events in one pass, so that nothing is composed or recursed into before it is known to be
harmless. What YAML could read in two ways is refused here: anchors, aliases, tags, merge keys, keys that stand twice, keys
that are no text, empty values, several documents, a `#` directly followed by a character.
"""

from __future__ import annotations

import gc
import re
from dataclasses import dataclass, field
from typing import Any, TypeVar

import yaml

from stationtest.errors import Problem
from stationtest.files.words import shown
from stationtest.files.yaml_hints import TooDeepForC, empty_value, never_closed, syntax_error
from stationtest.place import Place

MAX_DEPTH = 30
MAX_NODES = 2_000_000
MAX_BYTES = 20_000_000
TOO_LARGE = f"the file is too large; found more than {MAX_BYTES} bytes; allowed at most {MAX_BYTES}"  # no more of it is read

PURE: Any = yaml.SafeLoader
FAST: Any = getattr(yaml, "CSafeLoader", yaml.SafeLoader)

_EMPTY = frozenset(("", "~", "null", "Null", "NULL"))
_HEADER = re.compile("[|>][-+0-9]*#")
_UNSEEN = re.compile("[^\n\x20-\x7e\xa0-\u2027\u202a-\ud7ff\ue000-\ufefe\uff00-\ufffd\U00010000-\U0010ffff]")
_NO_TEXT = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\x7f\ud800-\udfff]")  # only an escape can give them; no path may hold them


class Word(str):
    """A scalar and where it stands (counted from 1). `quoted` covers every style but the plain one."""

    __slots__ = ("column", "line", "quoted")
    line: int
    column: int
    quoted: bool


class Hole(Word):
    """Where a value is missing or was refused: it stands at its key, and what types it is not told a second time."""

    __slots__ = ()


class Map(dict[str, Any]):
    """A mapping and where it stands; its keys are words with their own places."""

    __slots__ = ("column", "line")
    line: int
    column: int


class Items(list[Any]):
    """A list and where it stands."""

    __slots__ = ("column", "line")
    line: int
    column: int


Node = Word | Map | Items
W = TypeVar("W", bound=Word)


@dataclass(slots=True)
class Tree:
    """The nodes of one file. `root` is None where there is nothing to type; `problems` holds what was refused."""

    path: str
    root: Node | None
    problems: list[Problem] = field(default_factory=list)

    def place(self, node: Any) -> Place:
        return Place(self.path, getattr(node, "line", 0), getattr(node, "column", 0))


def plain(node: Any) -> Any:
    """The same as built-in dictionaries, lists and text."""
    if isinstance(node, str):
        return str(node)
    if isinstance(node, dict):
        return {str(key): plain(value) for key, value in node.items()}
    return [plain(value) for value in node]


def parse(data: bytes, path: str, loader: Any = None) -> Tree:
    """Bytes of a YAML file to its tree; `path` is only for messages. A byte-order mark and CRLF are accepted."""
    if len(data) > MAX_BYTES:
        return _refused(path, 1, 1, TOO_LARGE, "too-large")
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        return _refused(path, line, 0, "the file is not UTF-8 text; save it as UTF-8", "unreadable")
    text = text.replace("\r\n", "\n")
    for match in _UNSEEN.finditer(text):
        begin = text.rfind("\n", 0, match.start()) + 1
        if not text[begin : match.start()].lstrip().startswith("#"):
            return _unseen(path, text, match.start(), begin)
    collecting = gc.isenabled()
    gc.disable()  # half a million small objects without a cycle: collecting them costs more than parsing
    try:
        try:
            return _Builder(path, text, loader or FAST).tree()
        except TooDeepForC:  # the C scanner looks ahead and gives up at 1000, before the first of them can be counted here
            return _Builder(path, text, PURE).tree()
    finally:
        if collecting:
            gc.enable()


def _refused(path: str, line: int, column: int, message: str, code: str) -> Tree:
    return Tree(path, None, [Problem(Place(path, line, column), "", message, code)])


def _unseen(path: str, text: str, at: int, begin: int) -> Tree:
    """Tabs and control characters mean different things to different readers of YAML, so they are refused everywhere."""
    what = "a tab" if text[at] == "\t" else f"an invisible character (U+{ord(text[at]):04X})"
    message = f"{what} stands here; write blanks, or an escape in double quotes"
    return _refused(path, text.count("\n", 0, at) + 1, at - begin + 1, message, "unreadable")


@dataclass(slots=True)
class _Open:
    """A collection that is still being read, the key that waits for its value, and whether braces or brackets opened it."""

    node: Map | Items
    flow: bool
    key: Word | None = None
    before: Word | None = None  # the key before


class _Builder:
    def __init__(self, path: str, text: str, loader: Any) -> None:
        self.path = path
        self.text = text
        self.loader = loader
        self.problems: list[Problem] = []
        self.hashes = _lines_with_hash(text)
        self.spans: dict[int, list[tuple[int, int]]] = {}  # by line with a `#`: the scalars that begin or end on it
        self.stack: list[_Open] = []
        self.root: Node | None = None
        self.event: Any = None  # the last one

    def tree(self) -> Tree:
        try:
            self._build()
            if self.root is None and not self.problems:
                self._problem(1, 1, "the file is empty", "no-value")
        except yaml.YAMLError as error:
            self._syntax(error)
        else:
            self._eaten_values(self.event.end_mark.line if self.event else 0)
        return Tree(self.path, self.root, self.problems)

    def _syntax(self, error: Any) -> None:
        """What the parser refuses. A `#` that ate the end of a list or mapping is told in place of what is missing then."""
        line, column, sentence, last_line = syntax_error(error, self.text)
        self.root = None
        opened = [one.node for one in self.stack if one.flow]
        if opened and error.problem_mark is not None and error.problem_mark.index >= len(self.text.rstrip()):
            line, column, sentence = opened[-1].line, opened[-1].column, never_closed(isinstance(opened[-1], Items))
            last_line = error.problem_mark.line
        self._eaten_values(last_line)
        begun = min([line, *(node.line for node in opened)])
        if not any(problem.place.line >= begun for problem in self.problems):
            self._problem(line, column, sentence, "unreadable")

    def _problem(self, line: int, column: int, message: str, code: str, key: str = "") -> None:
        self.problems.append(Problem(Place(self.path, line, column), key, message, code))

    def _path(self, last: _Open) -> str:
        """The dotted path of the value that was read last in a mapping that is still open."""
        above = (str(len(one.node)) if isinstance(one.node, Items) else str(one.before) for one in self.stack[:-1])
        return ".".join([*above, str(last.before)])

    def _refuse(self, event: Any, message: str) -> None:
        self._problem(event.start_mark.line + 1, event.start_mark.column + 1, message, "not-allowed")

    def _build(self) -> None:
        parser = self.loader(self.text)
        nodes = documents = 0
        try:
            while parser.check_event():
                event = self.event = parser.get_event()
                kind = type(event)
                if kind is yaml.ScalarEvent:
                    nodes += 1
                    self._scalar(event)
                elif kind is yaml.MappingStartEvent or kind is yaml.SequenceStartEvent:
                    nodes += 1
                    if not self._open(event, Map() if kind is yaml.MappingStartEvent else Items()):
                        return
                elif kind is yaml.MappingEndEvent or kind is yaml.SequenceEndEvent:
                    self.stack.pop()
                elif kind is yaml.AliasEvent:
                    self._refuse(event, "aliases (`*name`) are not used here; write the value out, or put the text in quotes")
                    self._put(self._word(Hole, event, "*"), None)
                elif kind is yaml.DocumentStartEvent:
                    documents += 1
                    if documents > 1:
                        self._refuse(event, "a second document begins here with `---`; a file holds one")
                        return
                    if event.version or event.tags:
                        self._refuse(event, "directives (`%YAML`, `%TAG`) are not used here; leave the line out")
                if nodes > MAX_NODES:
                    self._problem(event.start_mark.line + 1, 1, f"the file has more than {MAX_NODES} values", "too-large")
                    self.root = None
                    return
        finally:
            parser.dispose()

    def _word(self, kind: type[W], event: Any, text: str) -> W:
        word = kind(text)
        mark = event.start_mark
        word.line, word.column, word.quoted = mark.line + 1, mark.column + 1, bool(getattr(event, "style", None))
        return word

    def _decorated(self, event: Any) -> None:
        if event.anchor is not None:
            self._refuse(event, f"anchors (`&{event.anchor}`) are not used here; write the value out, or put the text in quotes")
        if event.tag is not None:
            self._refuse(event, f"tags (`{event.tag}`) are not used here; put the text in quotes")

    def _scalar(self, event: Any) -> None:
        if event.anchor is not None or event.tag is not None:
            self._decorated(event)
        mark, end = event.start_mark, event.end_mark
        if self.hashes:
            if event.style in ("|", ">") and (header := _HEADER.match(self.text, mark.index)):
                # the C loader takes that for a comment, YAML and the other loader do not
                at = yaml.Mark("", header.end() - 1, mark.line, mark.column + header.end() - 1 - mark.index, None, 0)
                said = "expected chomping or indentation indicators, but found '#'"
                raise yaml.scanner.ScannerError("while scanning a block scalar", mark, said, at)
            for line in range(mark.line, end.line + 1):
                if line in self.hashes:
                    self.spans.setdefault(line, []).append((mark.index, end.index))
        text: str = event.value
        word = Word(text)
        word.line, word.column, word.quoted = mark.line + 1, mark.column + 1, bool(event.style)
        if word.quoted and (strange := _NO_TEXT.search(text)):
            said = f"this text holds a character that is no text (U+{ord(strange[0]):04X}); leave the escape out"
            self._problem(word.line, word.column, said, "wrong-value")
            word = self._word(Hole, event, _NO_TEXT.sub("", text))
        top = self.stack[-1] if self.stack else None
        if text in _EMPTY and not word.quoted:
            self._put(word, event)
        elif top is not None and top.key is not None and isinstance(top.node, Map):  # by far the most: the value of a key
            top.node[top.key] = word
            top.before, top.key = top.key, None
        else:
            self._put(word, None)

    def _open(self, event: Any, node: Map | Items) -> bool:
        if event.anchor is not None or event.tag is not None:
            self._decorated(event)
        node.line, node.column = event.start_mark.line + 1, event.start_mark.column + 1
        if len(self.stack) >= MAX_DEPTH:
            self._problem(node.line, node.column, f"values are nested more than {MAX_DEPTH} deep", "too-large")
            self.root = None
            return False
        self._put(node, None)
        self.stack.append(_Open(node, bool(event.flow_style)))
        return True

    def _put(self, node: Node, empty: Any) -> None:
        """A node to where it belongs: the root, a list, a key, or the value of the key before. `empty` is the event of a
        missing one.
        """
        top = self.stack[-1] if self.stack else None
        if top is None:
            self.root = node
            if empty:
                self.root = None
        elif isinstance(top.node, Items):
            if empty:
                assert isinstance(node, Word)
                self._problem(node.line, node.column, empty_value(None, False, None)[0], "no-value")
                node = self._word(Hole, empty, "")
            top.node.append(node)
        elif top.key is None:
            top.key = self._key(top.node, node)
        else:
            key, top.key = top.key, None
            if empty:
                node = self._hole(top, key, empty)
            top.node[key] = node
            top.before = key

    def _key(self, mapping: Map, node: Node) -> Word:
        if not isinstance(node, Word):
            self._problem(node.line, node.column, "a key is text; found a list or a mapping", "not-allowed")
            word = Word("?")
            word.line, word.column, word.quoted = node.line, node.column, True
            return word
        if node == "<<" and not node.quoted:
            self._problem(node.line, node.column, "merge keys (`<<`) are not used here; write the keys out", "not-allowed")
        elif node in mapping:
            first: Any = next(key for key in mapping if key == node)
            where = f"line {first.line}, column {first.column}"
            self._problem(
                node.line, node.column, f"the key {node} stands twice in this mapping; the first is in {where}", "duplicate-key"
            )
        elif node in _EMPTY and not node.quoted:
            self._problem(node.line, node.column, "a key is missing before this colon", "no-value")
        return node

    def _hole(self, top: _Open, key: Word, event: Any) -> Hole:
        hole = self._word(Hole, event, event.value)
        hole.line, hole.column = key.line, key.column
        line = event.start_mark.line
        if not (line in self.hashes and self._hash_after(line, event.end_mark.index)):
            assert isinstance(top.node, Map)
            before = top.node.get(top.before) if top.flow and top.before else None
            message, decimal = empty_value(key, top.flow, before if isinstance(before, Word) else None)
            code, about = ("wrong-value", self._path(top)) if decimal else ("no-value", "")
            self._problem(key.line, key.column, message, code, about)
            if decimal and top.before and isinstance(before, Word):
                whole = Hole(before)  # what stands before the comma is half a number, not a value
                whole.line, whole.column, whole.quoted = before.line, before.column, False
                top.node[top.before] = whole
        return hole

    def _hash_after(self, line: int, index: int) -> bool:
        """True where a `#` directly followed by a character comes next on this line: it ate the value, and that is told
        instead.
        """
        rest = self.text[index : self._end_of(line)].lstrip()
        return rest.startswith("#") and rest[1:2].strip() != ""

    def _end_of(self, line: int) -> int:
        end = self.text.find("\n", self.hashes[line])
        return len(self.text) if end < 0 else end

    def _eaten_values(self, last_line: int) -> None:
        """Tells every `#` up to a line (from 0) that YAML reads as a comment and that nobody meant as one."""
        for line, begin in self.hashes.items():
            if line > last_line:
                return
            spans = self.spans.get(line, ())
            at = self.text.find("#", begin)
            end = self._end_of(line)
            while 0 <= at < end and any(first <= at < last for first, last in spans):
                at = self.text.find("#", at + 1)
            if 0 <= at < end and self.text[at + 1 : at + 2].strip():
                eaten = shown(self.text[at:end], 20)
                message = (
                    f"YAML reads `{eaten}` as a comment, not as part of the value; put the value in quotes, or leave a blank "
                    "after the # of a comment"
                )
                self._problem(line + 1, at - begin + 1, message, "comment-eats-value")


def _lines_with_hash(text: str) -> dict[int, int]:
    """Lines that hold a `#` but are no comment as a whole: number (from 0) → index of their first character."""
    found: dict[int, int] = {}
    if "#" not in text:
        return found
    begin = 0
    for number, line in enumerate(text.split("\n")):
        if "#" in line and not line.lstrip(" ").startswith("#"):
            found[number] = begin
        begin += len(line) + 1
    return found
