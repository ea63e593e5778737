"""run.yaml: who, where, when and under what conditions a run was made. Facts in the user's words; none is required."""

from __future__ import annotations

from typing import Annotated, Any

from pydantic import RootModel

from stationtest.errors import Problem
from stationtest.files.field_problems import typed
from stationtest.files.fields import ByKind
from stationtest.files.scalars import Name, Text
from stationtest.files.tree import Hole, Map, Tree
from stationtest.model.case import RunFacts

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


class RunFields(RootModel[dict[Name, Fact]]):
    """run.yaml: facts about a run; those that are not stated are reported as not recorded."""


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
    stated = (
        {key: str(value) if isinstance(value, str) else "; ".join(value) for key, value in fields.root.items()} if fields else {}
    )
    return RunFacts(facts=tuple((key, stated.get(key)) for key in dict.fromkeys((*KNOWN, *required, *stated)))), problems + found


def no_facts(required: tuple[str, ...]) -> RunFacts:
    """Nothing was stated, which is told of every known and every required word."""
    return RunFacts(facts=tuple((key, None) for key in dict.fromkeys((*KNOWN, *required))))
