"""What is written in a case file. Expectations bring their own field classes, so `expect:` is only a mapping here."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import ConfigDict, Field, PlainValidator, WithJsonSchema

from stationtest.files.evidence_fields import EvidenceFields
from stationtest.files.fields import ByKind, Fields, said
from stationtest.files.scalars import CaseId, EvidenceName, ItemName, OneOrMore, OneUp, SetName, TargetName, Text, Yes, YesNo
from stationtest.files.station_fields import Language


class PresentFields(Fields):
    """What is presented, if it is not simply a target: a stretch between, a set that is complete, lacks or holds something, or
    an item whose parts match or do not."""

    between: TargetName | None = None
    set_: SetName | None = None
    complete: Yes | None = None
    lacking: Text | None = None
    contents: dict[TargetName, OneUp] | None = Field(default=None, min_length=1)
    extra: Text | None = None
    item: ItemName | None = None
    matching: YesNo | None = None


Present = Annotated[Any, ByKind(text=TargetName, items=Annotated[list[TargetName], Field(min_length=1)], mapping=PresentFields)]


Evidence = Annotated[Any, ByKind(text=EvidenceName, mapping=EvidenceFields)]


def _anything(value: object) -> object:
    return value


Anything = Annotated[Any, PlainValidator(_anything), WithJsonSchema({"type": "object", "minProperties": 1})]
Basis = Literal["recorded", "by hand", "computed", "simulated"]


class _Stated(Fields):
    """What a case or a row may state."""

    title: Text | None = None
    requirement: OneOrMore[Text] | None = None
    present: Present | None = None
    where: dict[Text, OneOrMore[Text]] | None = None
    expect: Anything = None
    evidence: Evidence | None = None
    basis: Basis | None = None
    readings: OneOrMore[Text] | None = None
    scene: OneOrMore[Text] | None = None
    do: Text | None = None
    tags: OneOrMore[Text] | None = None


class CaseFields(_Stated):
    """An acceptance case, with its rows already laid over it."""

    title: Text
    present: Present
    expect: Anything


class RowFields(_Stated):
    """A part-case: its keys replace those of the case, each whole. For the schema only."""

    id: CaseId | None = None


class WrittenCase(_Stated):
    """A case as it stands in the file: what its rows state may be left out. For the schema only."""

    model_config = ConfigDict(json_schema_extra={"anyOf": [{"required": ["present", "expect"]}, {"required": ["rows"]}]})

    title: Text
    rows: list[RowFields] | None = Field(default=None, min_length=1)


class CaseFileHead(Fields):
    """What stands beside the cases, and holds for each that does not say its own."""

    language: Language = said("1")
    readings: OneOrMore[Text] | None = None
    scene: OneOrMore[Text] | None = None
    evidence: Evidence | None = None
    basis: Basis | None = None
    cases: Anything = None


class CaseFileFields(CaseFileHead):
    """*.case.yaml: what a station must do. For the schema only: cases are typed one by one."""

    cases: dict[CaseId, WrittenCase] = Field(min_length=1)
