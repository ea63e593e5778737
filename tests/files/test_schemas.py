# ruff: noqa: E501 (messages stand whole on one line)
"""JSON Schemas: valid against the metaschemas (jsonschema's copies of them), accepting what the files hold as an editor sees it."""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import Any

import pytest
import yaml
from jsonschema import Draft7Validator, Draft202012Validator
from station_folder import CASES, STATION, make, problems, suite

from stationtest import plugins
from stationtest.errors import UsageError
from stationtest.files import schema
from stationtest.model import record

ROOT = Path(__file__).parents[2]
PARTS = plugins.load().expectations
SCHEMAS = schema.schemas(PARTS)


class Core(yaml.SafeLoader):
    """The core schema of YAML 1.2 (section 10.3.2 of its specification): what an editor sees. Keys are text, as in JSON."""

    yaml_implicit_resolvers: dict[str, Any] = {}  # noqa: RUF012

    def construct_mapping(self, node: Any, deep: bool = False) -> dict[Any, Any]:
        return {key.value: self.construct_object(value, deep=True) for key, value in node.value}


def _int(loader: Any, node: Any) -> int:
    return int(node.value, 0) if node.value[:2] in ("0x", "0o") else int(node.value)


for _tag, _pattern, _make in (
    ("null", r"~|null|Null|NULL|", lambda loader, node: None),
    ("bool", r"true|True|TRUE|false|False|FALSE", lambda loader, node: node.value.lower() == "true"),
    ("int", r"[-+]?[0-9]+|0o[0-7]+|0x[0-9a-fA-F]+", _int),
    ("float", r"[-+]?(\.[0-9]+|[0-9]+(\.[0-9]*)?)([eE][-+]?[0-9]+)?", lambda loader, node: float(node.value)),
):
    Core.add_implicit_resolver(f"tag:yaml.org,2002:{_tag}", re.compile(rf"(?:{_pattern})$"), None)
    Core.add_constructor(f"tag:yaml.org,2002:{_tag}", _make)


def seen(text: str) -> Any:
    return yaml.load(text, Loader=Core)


def errors(name: str, text: str, schemas: dict[str, Any] | None = None) -> list[str]:
    found = Draft202012Validator((schemas or SCHEMAS)[name]).iter_errors(seen(text))
    return [f"{'.'.join(map(str, error.absolute_path))}: {error.message[:200]}" for error in found]


def test_the_core_view() -> None:
    assert seen("{a: yes, b: 012, c: 0x1F, d: 1:30, e: true, f: 1e-3, 1: on}") == {
        "a": "yes",
        "b": 12,
        "c": 31,
        "d": "1:30",
        "e": True,
        "f": 0.001,
        "1": "on",
    }


@pytest.mark.parametrize("name", list(SCHEMAS))
def test_valid_against_the_metaschema(name: str) -> None:
    found = SCHEMAS[name]
    Draft202012Validator.check_schema(found)
    Draft7Validator.check_schema({key: value for key, value in found.items() if key != "$schema"})
    assert found["$schema"] == "https://json-schema.org/draft/2020-12/schema"
    assert found["$id"] == f"urn:stationtest:schema:{name}:{record.RECORD_VERSION if name == 'record' else 1}" and found["title"]


@pytest.mark.parametrize("name", ["station", "case", "recording", "run"])
def test_only_what_draft_07_knows_and_nothing_nullable(name: str) -> None:  # Y13
    text = json.dumps(SCHEMAS[name])
    assert not set(re.findall(r'"(prefixItems|unevaluatedProperties|dependentRequired|minContains|names)":', text))
    assert '"null"' not in text and "null" not in re.findall(r'"default": (null)', text)


@pytest.mark.parametrize("file", sorted(str(path.relative_to(ROOT)) for path in (ROOT / "example_station").rglob("*.yaml")))
def test_our_example_files_are_accepted(file: str) -> None:
    name = {"station.yaml": "station", "run.yaml": "run"}.get(Path(file).name, Path(file).stem.rpartition(".")[2])
    assert errors(name, (ROOT / file).read_text(encoding="utf-8")) == []


@pytest.mark.parametrize(
    ("name", "text"),
    [
        ("station", STATION),
        ("case", CASES),
        ("run", "who: A\ninstruments: [a, b]\nnotes: 12\n"),
        ("station", "station: 12\ndrawing: 0012\ntitle: true\n"),  # Y12
        (
            "case",
            "cases: {1: {title: T, present: 1, expect: {channels: [1, 2], outputs: {flap: {is: off, from: box out}}}}}",
        ),  # Y11
        ("case", "cases: {A: {title: T, expect: {no_channel: yes}, rows: [{id: 1, present: mint}]}}"),  # Y19
        ("case", "cases: {A: {title: T, present: mint, expect: {no_channel: true}, evidence: {trials: 5, pooled: false}}}"),
    ],
)
def test_accepted(name: str, text: str) -> None:
    assert errors(name, text) == []


@pytest.mark.parametrize(
    ("name", "text", "where"),
    [
        ("station", "station: a\nscan: {worst: 11}\n", "scan.worst"),
        ("station", "station: a\nchanels: {}\n", ""),
        ("station", "title: a\n", ""),
        ("station", "station: a\nchannels: {1: {reference: a, distance: CIEDE200, tolerance: 4}}\n", "channels.1.distance"),
        ("station", "station: a\nchannels: {1: {reference: a, distance: CIEDE2000, tolerance: 4 %}}\n", "channels.1.tolerance"),
        ("case", "cases: {A: {title: T, present: mint, expect: {own_chanel_only: yes}}}", "cases.A.expect"),
        ("case", "cases: {A: {title: T, present: mint, expect: {held: 50 ms}}}", "cases.A.expect.held"),
        ("case", "cases: {A: {title: T}}", "cases.A"),
        ("run", "who: {a: b}", "who"),
    ],
)
def test_refused(name: str, text: str, where: str) -> None:
    assert [error.split(": ")[0] for error in errors(name, text)] == [where]


def test_defaults_are_what_a_user_would_write() -> None:  # Y14
    channel = SCHEMAS["station"]["$defs"]["ChannelFields"]["properties"]
    assert channel["hysteresis"]["default"] == "0 %" and channel["on_delay"]["default"] == "0 ms"
    assert SCHEMAS["station"]["$defs"]["RecordingFields"]["properties"]["skip_lines"]["default"] == 0


def test_write_puts_schemas_with_the_stations_names_beside_its_files(tmp_path: Path) -> None:  # Y28
    make(tmp_path)
    (tmp_path / "run.yaml").write_bytes(b"\xef\xbb\xbfwho: A\r\n")
    assert schema.write(str(tmp_path), PARTS) == [
        "station.schema.json",
        "station.yaml",
        "cases/case.schema.json",
        "cases/a.case.yaml",
        "run.schema.json",
        "run.yaml",
    ]
    first = "# yaml-language-server: $schema="
    assert (tmp_path / "station.yaml").read_text().splitlines()[0] == f"{first}station.schema.json"
    assert (tmp_path / "cases" / "a.case.yaml").read_text() == f"{first}case.schema.json\n{CASES}"
    assert (tmp_path / "run.yaml").read_bytes() == b"\xef\xbb\xbf" + f"{first}run.schema.json\r\nwho: A\r\n".encode()
    assert problems(tmp_path) == [] and suite(tmp_path).run_facts.facts[0] == ("who", "A")
    written = {
        name: json.loads((tmp_path / folder / f"{name}.schema.json").read_text())
        for name, folder in (("station", "."), ("case", "cases"))
    }
    assert errors("case", CASES, written) == [] and errors("station", STATION, written) == []
    assert len(errors("case", CASES.replace("mint,", "mimt,"), written)) == 1
    assert len(errors("station", STATION.replace("all_of: [1, 2]", "all_of: [1, 3]"), written)) == 1
    text = json.dumps(written["case"])
    assert '"enum": ["mint", "chamomile", "bare belt"]' in text and '"enum": ["1", "2", 1, 2]' in text
    assert schema.write(str(tmp_path), PARTS) == [
        "station.schema.json",
        "cases/case.schema.json",
        "run.schema.json",
    ]  # nothing else changes


def test_write_needs_a_station(tmp_path: Path) -> None:
    with pytest.raises(UsageError, match=r"there is no station.yaml in .* \[no-station\]"):
        schema.write(str(tmp_path), PARTS)


def test_an_older_editor_line_is_replaced(tmp_path: Path) -> None:
    make(tmp_path, station="# yaml-language-server: $schema=../old.json\n" + STATION)
    schema.write(str(tmp_path), PARTS)
    assert (tmp_path / "station.yaml").read_text().count("yaml-language-server") == 1


def test_the_records_schema_follows_its_types() -> None:
    found = SCHEMAS["record"]
    assert set(found["required"]) == set(record.Record.__annotations__)
    worst = found["$defs"]["Worst"]["properties"]
    assert worst["at_ns"] == {"anyOf": [{"type": "integer"}, {"type": "null"}]} and worst["label"] == {"type": "string"}
    assert found["$defs"]["CaseResult"]["properties"]["state"] == {"enum": ["executed", "not run"]}
    good = {
        "index": 0,
        "source": "a",
        "label": "mint",
        "at_ns": None,
        "at": "",
        "channel": "",
        "value": 1,
        "unit": "",
        "text": "",
    }
    validator = Draft202012Validator({"$ref": "#/$defs/Worst", "$defs": found["$defs"]})
    assert not list(validator.iter_errors(good)) and list(validator.iter_errors({**good, "index": "0"}))
