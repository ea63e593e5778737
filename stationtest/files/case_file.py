"""*.case.yaml to `model.Case`: rows laid over, expectations typed by their own field classes, names and paths checked."""

from __future__ import annotations

import re
from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any

from pydantic import TypeAdapter

from stationtest.errors import Problem
from stationtest.files import case_checks
from stationtest.files.case_fields import CaseFields, CaseFileHead
from stationtest.files.case_model import evidence, present, strata
from stationtest.files.evidence_fields import EvidenceFields, evidence_problems
from stationtest.files.field_problems import check_field, locate, typed
from stationtest.files.paths import Folder, matches
from stationtest.files.scalars import CaseId, Names
from stationtest.files.suggest import allowed_words, nearest
from stationtest.files.tree import Hole, Items, Map, Tree, Word, plain
from stationtest.files.words import shown
from stationtest.model.case import Case, Expected
from stationtest.model.endings import SCENE, has_tables, is_scene
from stationtest.model.parts import ExpectationPart
from stationtest.place import Place

_HEAD = ("readings", "scene", "evidence", "basis")
_SOURCES = ("readings", "scene")
_ID: TypeAdapter[str] = TypeAdapter(CaseId)
_NOT_AN_ID = re.compile(r"[^A-Za-z0-9_.-]")  # ids of these characters need no closer look


@dataclass(slots=True)
class Known:
    """What the cases are checked against."""

    folder: Folder
    names: Names | None  # None where the station file cannot be read: then no name is looked up
    patterns: tuple[str, ...]
    members: Mapping[str, tuple[str, ...]]
    evidence: Mapping[str, EvidenceFields]  # by name, from the station file
    parts: Mapping[str, ExpectationPart]
    classes: Mapping[str, Any]
    requirements: Collection[str] | None = None  # None where the station has no list
    register: Mapping[str, Collection[str]] | None = None  # what occurs in specimens.csv, by column; None where there is none
    readings: dict[tuple[str, str], tuple[str, str, str]] = field(
        default_factory=dict
    )  # (file, as written) → path, message, code


def read_cases(tree: Tree, file: str, known: Known) -> tuple[list[Case], list[Problem]]:
    """The cases of one file (`file` relative to the folder), and every problem in it."""
    problems = list(tree.problems)
    root = tree.root
    if not isinstance(root, Map):
        if root is not None:
            problems.append(Problem(tree.place(root), "", "a case file is a mapping with `cases:`", "wrong-value"))
        return [], problems
    head_node = Map({key: value for key, value in root.items() if key != "cases"})
    head_node.line, head_node.column = root.line, root.column
    head, found = typed(CaseFileHead, head_node, tree.path, context=known.names)
    problems += found
    if head is not None and isinstance(head.evidence, EvidenceFields):
        told = ((("evidence", *loc), message, code) for loc, message, code in evidence_problems(head.evidence))
        problems += _told(tree, root, "", told)
    cases_node = root.get("cases")
    if not isinstance(cases_node, Map):
        if not isinstance(cases_node, Hole):
            message = (
                "this key is missing; it holds the cases by their ids"
                if cases_node is None
                else "`cases:` is a mapping of ids to cases"
            )
            place = tree.place(root if cases_node is None else cases_node)
            problems.append(Problem(place, "cases", message, "missing-key" if cases_node is None else "wrong-value"))
        return [], problems
    reader = _Reader(tree, file, known, head_node, head, problems)
    cases = [case for key, node in cases_node.items() for case in reader.case(key, node)]
    return cases, reader.problems


def _told(tree: Tree, node: Any, key: str, told: Any) -> Iterator[Problem]:
    for loc, message, code in told:
        _, at, path = locate(node, loc, key)
        yield Problem(Place(tree.path, getattr(at, "line", 0), getattr(at, "column", 0)), ".".join(path), message, code)


class _Reader:
    """Cases of one file, one after the other."""

    def __init__(
        self, tree: Tree, file: str, known: Known, head_node: Map, head: CaseFileHead | None, problems: list[Problem]
    ) -> None:
        self.tree = tree
        self.file = file
        self.known = known
        self.head = head
        self.head_node = head_node
        self.problems = problems
        self.inherited = {key: value for key, value in head_node.items() if key in _HEAD}

    def case(self, key: str, node: Any) -> Iterator[Case]:
        path = f"cases.{key}"
        if _NOT_AN_ID.search(key):
            self.problems += [
                Problem(self.tree.place(key), path, p.message, p.code) for p in check_field(_ID, key, self.tree.path, path)[1]
            ]
        if not isinstance(node, Map):
            if not isinstance(node, Hole):
                self.problems.append(
                    Problem(self.tree.place(key), path, "a case is a mapping with `title`, `present` and `expect`", "wrong-value")
                )
            return
        for id_, place, laid in self._rows(key, node, path):
            case = self._one(id_, place, laid, node)
            if case is not None:
                yield case

    def _rows(self, key: str, node: Map, path: str) -> Iterator[tuple[str, Place, Map]]:
        """The case itself, or one for each row: the row's keys laid over the case's, each whole (expect, where and evidence
        too).
        """
        rows = node.get("rows")
        if rows is None:
            yield str(key), self.tree.place(key), self._plain(node, {}, key)
            return
        if not isinstance(rows, Items) or not rows:
            if not isinstance(rows, Hole):
                self.problems.append(
                    Problem(self.tree.place(rows), f"{path}.rows", "rows are a list of mappings, at least one", "wrong-value")
                )
            return
        seen: dict[str, Place] = {}
        for number, row in enumerate(rows, 1):
            at = f"{path}.rows.{number}"
            if not isinstance(row, Map):
                if not isinstance(row, Hole):
                    self.problems.append(
                        Problem(self.tree.place(row), at, "a row is a mapping of the keys that it replaces", "wrong-value")
                    )
                continue
            if "rows" in row:
                self.problems.append(Problem(self.tree.place(row), at, "a row has no rows of its own", "unknown-key"))
            name = self._row_id(row, at)
            if name is None:
                continue
            place = self.tree.place(row)
            first = seen.setdefault(name, place)
            if first != place:
                self.problems.append(
                    Problem(
                        place, f"{at}.id", f"two rows have the id `{name}`; the first is in line {first.line}", "duplicate-name"
                    )
                )
                continue
            yield f"{key}.{name}", place, self._plain(node, row, key)

    def _row_id(self, row: Map, at: str) -> str | None:
        given = row.get("id", row.get("present"))
        if not isinstance(given, Word):
            self.problems.append(
                Problem(
                    self.tree.place(row),
                    f"{at}.id",
                    "this key is missing; a row has an id, unless it presents one target",
                    "missing-key",
                )
            )
            return None
        value, found = check_field(_ID, given, self.tree.path, f"{at}.id")
        self.problems += found
        return None if found else str(value)

    def _plain(self, base: Map, row: Mapping[str, Any], key: str) -> Map:
        laid = Map(self.inherited)
        for layer in (base, row):
            if any(word in layer for word in _SOURCES):  # readings or a scene: what is said last holds alone
                for word in _SOURCES:
                    laid.pop(word, None)
            laid.update(layer)
        for word in ("rows", "id"):
            if word in laid and (word != "id" or "id" in row):
                del laid[word]
        at: Any = row if isinstance(row, Map) else key
        laid.line, laid.column = at.line, at.column
        return laid

    def _one(self, id_: str, place: Place, node: Map, base: Map) -> Case | None:
        path = f"cases.{id_}"
        before = len(self.problems)
        fields, found = typed(CaseFields, node, self.tree.path, key=path, context=self.known.names)
        self.problems += found
        expected = self._expected(node, path)
        readings = self._readings(node, path)
        if "evidence" not in node and (self.head is not None or "evidence" not in self.head_node):
            message = (
                "this case does not say how much evidence it needs; give it, or the file, an `evidence:`; "
                "there is no built-in default"
            )
            self.problems.append(Problem(place, f"{path}.evidence", message, "no-evidence"))
        if fields is None or not all(expected) or self.known.names is None:
            return None
        name = fields.evidence if isinstance(fields.evidence, str) else None
        if name is not None:  # a name of the station's; what is wrong with it is told there
            fields = fields.model_copy(update={"evidence": self.known.evidence.get(name)})
        judged = [(e.name, e.unit) for e in expected if e]
        told = case_checks.Checks(
            fields, judged, self.known.names, self.known.members, self.known.requirements, self.known.register,
            {e.name: e.written for e in expected if e},
        ).run()
        self.problems += _told(self.tree, node, path, told)
        if len(self.problems) > before or fields.evidence is None:
            return None
        shape = present(fields.present)
        asked = evidence(fields.evidence, name)
        unit = case_checks.unit_of(judged, shape.kind)
        return Case(
            id=id_,
            title=fields.title,
            present=shape,
            strata=strata(shape, asked.pooled, dict.fromkeys(self.known.members.get(shape.set or "", ()))),
            expect=tuple(
                Expected(name=e.name, fields=e.fields, written=e.written, version=e.version, unit=unit) for e in expected if e
            ),
            evidence=asked,
            readings=readings,
            where=tuple((fields.where or {}).items()),
            requirements=fields.requirement or (),
            tags=fields.tags or (),
            basis=fields.basis,
            do=fields.do,
            written=plain(node),
            place=place,
        )

    def _expected(self, node: Map, path: str) -> list[Expected | None]:
        """Each expectation typed by its own class; None for one with problems."""
        expect = node.get("expect")
        if expect is None or isinstance(expect, Hole):
            return [None]
        if not isinstance(expect, Map) or not expect:
            message = "`expect:` is a mapping of expectations; each is `name: what it asks`, such as `own_channel_only: yes`"
            self.problems.append(Problem(self.tree.place(expect), f"{path}.expect", message, "wrong-value"))
            return [None]
        return [self._expectation(key, value, f"{path}.expect.{key}") for key, value in expect.items()]

    def _expectation(self, key: str, value: Any, path: str) -> Expected | None:
        part = self.known.parts.get(key)
        if part is None:
            near = nearest(key, self.known.parts)
            message = (
                f"there is no expectation `{shown(key, 40)}`"
                + (f"; did you mean `{near}`?" if near else "")
                + f"; allowed {allowed_words(self.known.parts)}; if a plugin brings it, `stationtest plugins` lists those present"
            )
            self.problems.append(Problem(self.tree.place(key), path, message, "unknown-name"))
            return None
        fields, found = typed(self.known.classes[part.name], value, self.tree.path, key=path, context=self.known.names)
        for problem in found:
            place = problem.place if problem.place.line else self.tree.place(key)
            self.problems.append(Problem(place, problem.key, problem.message, problem.code))
        if fields is None:
            return None
        return Expected(name=part.name, fields=fields, written=plain(value), version=part.version, unit=part.unit)

    def _readings(self, node: Map, path: str) -> tuple[str, ...]:
        given = [(key, word) for key in _SOURCES for word in _each(node.get(key))]
        if not any(key in node for key in _SOURCES):
            message = "this key is missing; it names the recordings on which the case, or every case of the file, is judged"
            self.problems.append(
                Problem(Place(self.tree.path, node.line, node.column), f"{path}.readings", message, "missing-key")
            )
        elif all(key in node for key in _SOURCES):
            message = "a case is judged on recordings (readings) or on a scene; make two cases"
            at = self.tree.place(next(key for key in node if key == "scene"))
            self.problems.append(Problem(at, f"{path}.scene", message, "contradiction"))
        found: list[str] = []
        for key, word in given:
            if isinstance(word, Hole) or not isinstance(word, Word):
                continue
            at_key = key if node.get(key) is self.inherited.get(key) else f"{path}.{key}"
            relative, message, code = self._recording(word)
            if not message and is_scene(relative) != (key == "scene"):
                message = f"a scene is a file NAME{SCENE} and stands under `scene:`; found {shown(relative)}"
                code = "wrong-value"
            if message:
                self.problems.append(Problem(self.tree.place(word), at_key, message, code))
            elif relative in found:
                said = f"this recording is named twice; found {word}"
                self.problems.append(Problem(self.tree.place(word), at_key, said, "duplicate-name"))
            found.append(relative)
        return tuple(found)

    def _recording(self, word: Word) -> tuple[str, str, str]:
        key = (self.file, str(word))
        if key not in self.known.readings:
            relative = self.known.folder.relative(word, self.file)
            message, code = self.known.folder.problem(relative) or ("", "")
            if code == "no-file" and (meant := self.known.folder.from_above(word, self.file)):
                message = f"there is no file {shown(relative)}; did you mean {shown(meant)}?"
            if (
                not message
                and self.known.names is not None
                and not has_tables(relative)
                and not is_scene(relative)
                and not any(matches(relative, pattern) for pattern in self.known.patterns)
            ):
                message = (
                    f"no entry under `recordings:` of the station says how this file is written; found {shown(relative)}; "
                    f"allowed {allowed_words(self.known.patterns)}"
                )
                code = "no-form"
            self.known.readings[key] = relative, message, code
        return self.known.readings[key]


def _each(node: Any) -> list[Any]:
    return node if isinstance(node, Items) else [] if node is None else [node]
