"""Every record that a run leaves fits the schema that `stationtest schema record` prints: of a whole run and of partial ones.

Outside the project: JSON Schema 2020-12, by the package jsonschema; typing.NotRequired, PEP 655.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
import station_kit as kit
from jsonschema import Draft202012Validator

SINCE_1_0 = {  # keys that a minor version added: a record of 1.0 has none of them
    "Asked": {"name"},
    "CaseResult": {"not_judged_first", "by_condition", "without_corrections", "warnings"},
    "Source": {"truth_by", "composed_of", "events", "events_count"},
    "ResultPart": {"cautions", "corrections", "settings_as_found"},
}


@pytest.fixture(scope="module")
def schema() -> dict[str, Any]:
    printed = kit.command("schema", "record")
    found: dict[str, Any] = json.loads(printed.stdout)
    return found


@pytest.fixture(scope="module")
def station(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return kit.station(tmp_path_factory.mktemp("schema") / "station")


def errors(schema: dict[str, Any], record: dict[str, Any]) -> list[str]:
    return [f"{error.json_path}: {error.message}" for error in Draft202012Validator(schema).iter_errors(record)]


@pytest.mark.parametrize(("arguments", "executed"), [((), 4), (("--only", "BAD-01"), 1)])
def test_of_the_command_line(
    arguments: tuple[str, ...], executed: int, schema: dict[str, Any], station: Path, tmp_path: Path
) -> None:
    assert kit.command("run", station, *arguments, "-o", tmp_path / "o").returncode == 1
    record = kit.record_of(tmp_path / "o")
    assert record["result"]["counts"]["executed"] == executed and errors(schema, record) == []


@pytest.mark.parametrize(("arguments", "executed"), [((), 4), (("-k", "BAD"), 1), (("-x",), 2), (("-n", "1", "-x"), 2)])
def test_of_pytest(arguments: tuple[str, ...], executed: int, schema: dict[str, Any], station: Path, tmp_path: Path) -> None:
    done = kit.pytest_run(station, *arguments, f"--station-record={tmp_path / 'o'}", cwd=tmp_path)
    assert done.returncode in (1, 2), done.stdout + done.stderr  # 2: xdist ends -x by interrupting
    record = kit.record_of(tmp_path / "o")
    assert record["result"]["counts"]["executed"] == executed and errors(schema, record) == []


def test_a_record_of_1_0_fits_too(schema: dict[str, Any], station: Path, tmp_path: Path) -> None:
    kit.command("run", station, "-o", tmp_path / "o")
    record = kit.record_of(tmp_path / "o")
    result = record["result"]
    for kind, found in (("ResultPart", [result]), ("Source", result["sources"]), ("CaseResult", result["cases"])):
        for mapping in found:
            for key in SINCE_1_0[kind]:
                mapping.pop(key, None)
    for case in result["cases"]:
        case["asked"].pop("name")
    assert errors(schema, record) == []


def test_what_is_required_is_all_that_1_0_had(schema: dict[str, Any]) -> None:
    for name, definition in schema["$defs"].items():
        assert set(definition["properties"]) - set(definition["required"]) == SINCE_1_0.get(name, set()), name
