"""run.yaml: who, where, when and under what conditions a run was made. Facts in the user's words; none is required."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Annotated, Any

from pydantic import ConfigDict

from stationtest.errors import Problem
from stationtest.files.field_problems import typed
from stationtest.files.fields import ByKind, Fields
from stationtest.files.scalars import Text
from stationtest.files.suggest import nearest
from stationtest.files.time_fields import Instant
from stationtest.files.tree import Hole, Map, Tree
from stationtest.model.case import RunFacts
from stationtest.model.settings_found import Export

KNOWN = (
    "who",
    "role",
    "organisation",
    "site",
    "line",
    "stage",
    "protocol",
    "started",
    "trigger",
    "truth",
    "ambient",
    "temperature",
    "belt_speed",
    "instruments",
    "notes",
)


Fact = Annotated[Any, ByKind(text=Text, items=list[Text])]


class ExportFields(Fields):
    """An export or read-back of the settings in a device."""

    file: Text
    read: Instant
    by: Text


class AsFoundFields(ExportFields):
    """Taken before the run, and again after it."""

    again: ExportFields | None = None


AsFound = Annotated[Any, ByKind(mapping=AsFoundFields, items=list[AsFoundFields])]


class RunFields(Fields):
    """run.yaml: facts about a run; those that are not stated are reported as not recorded."""

    model_config = ConfigDict(extra="allow")
    __pydantic_extra__: dict[str, Fact]

    started: Instant | None = None
    settings_as_found: AsFound | None = None


def read_run(tree: Tree, required: tuple[str, ...]) -> tuple[RunFacts, list[Problem]]:
    """Every known word in its order and every `required` one (None where nothing was stated), then the others as they stand."""
    problems = list(tree.problems)
    if not isinstance(tree.root, Map):
        if tree.root is not None and not isinstance(tree.root, Hole):
            problems.append(
                Problem(tree.place(tree.root), "", "this file is a mapping of facts, such as `who: NAME`", "wrong-value")
            )
        return no_facts(required), problems
    fields, found = typed(RunFields, tree.root, tree.path)
    told = (fields.__pydantic_extra__ or {}) | ({"started": fields.started} if fields.started else {}) if fields else {}
    stated = {key: str(value) if isinstance(value, str) else "; ".join(value) for key, value in told.items()}
    facts = tuple((key, stated.get(key)) for key in dict.fromkeys((*KNOWN, *required, *stated)))
    return RunFacts(facts=facts, exports=tuple(_exports(fields, tree.root, tree)) if fields else ()), problems + found


def _exports(fields: RunFields, root: Map, tree: Tree) -> Iterator[Export]:
    given = fields.settings_as_found or ()
    for one in given if isinstance(given, list) else [given] if given else []:
        for again, part in ((False, one), (True, one.again)):
            if part is not None:
                place = tree.place(next(key for key in root if key == "settings_as_found"))
                yield Export(path=str(part.file), read=part.read, by=part.by, again=again, place=place)


def near_words(facts: RunFacts, required: tuple[str, ...]) -> Iterator[str]:
    """Words of the user's own that are so like a known one, of which nothing is stated, that it was probably meant."""
    unstated = [key for key, value in facts.facts if value is None]
    for key, value in facts.facts:
        near = nearest(key, unstated) if value is not None and key not in (*KNOWN, *required) else None
        if near:
            yield f"{key}: this is taken as a word of your own; did you mean {near}?"


def no_facts(required: tuple[str, ...]) -> RunFacts:
    """Nothing was stated, which is told of every known and every required word."""
    return RunFacts(facts=tuple((key, None) for key in dict.fromkeys((*KNOWN, *required))))
