"""README.md and DEVELOPERS.md stay true: their examples are read by the program, and nothing of it is left unsaid."""

from __future__ import annotations

import ast
import re
import shlex
import shutil
import subprocess
import sys
import textwrap
import tomllib
from pathlib import Path

import pytest

from stationtest import cli, plugins
from stationtest.errors import CODES
from stationtest.files import run_file, schema, suite

ROOT = Path(__file__).resolve().parent.parent
README = (ROOT / "README.md").read_text(encoding="utf-8")
DEVELOPERS = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
BLOCK = re.compile(r"^```(\w+)\n(.*?)^```$", re.MULTILINE | re.DOTALL)


def blocks(language: str) -> list[str]:
    return [text for found, text in BLOCK.findall(README) if found == language]


def named(prefix: str) -> dict[str, str]:
    """Blocks whose first line is a comment that begins so: comment to text."""
    found = {}
    for text in blocks("yaml") + blocks("python"):
        head, _, body = text.partition("\n")
        if head.startswith(f"# {prefix}"):
            found[head.removeprefix("# ")] = body
    return found


CASES = [text.partition("\n")[2] for text in blocks("yaml") if text.startswith("# a case\n")]


def copy_of_the_demo(to: Path) -> Path:
    return Path(shutil.copytree(ROOT / "example_station", to, ignore=shutil.ignore_patterns("runs", "first_day", "cases")))


def test_every_block_of_yaml_is_one_that_is_tested() -> None:
    known = r"# (a case|station\.yaml|cases/\S+\.case\.yaml|recordings/\S+\.recording\.yaml|scenes/\S+\.scene\.yaml)\n"
    assert all(re.match(known, text) for text in blocks("yaml"))


def test_the_cases_are_accepted(tmp_path: Path) -> None:
    """Each in a file of its own, since the same ids stand in the demo; what the file says for all of its cases is added."""
    assert len(CASES) == len(plugins.EXPECTATIONS)
    folder = copy_of_the_demo(tmp_path / "station")
    (folder / "cases").mkdir()
    head = (
        "readings: [../recordings/sorting.parquet]\nevidence: {reliability: 95 %, confidence: 95 %, of: presentations}\ncases:\n"
    )
    for number, text in enumerate(CASES):
        (folder / "cases" / f"readme{number}.case.yaml").write_text(head + textwrap.indent(text, "  "), encoding="utf-8")
    read = suite.load(str(folder), expectations=plugins.load().expectations)
    assert {expected.name for case in read.cases for expected in case.expect} == {name for name, *_ in plugins.EXPECTATIONS}


def test_the_cases_are_those_of_the_demo() -> None:
    """What the README prints of a case stands in the demo under the same id, with the same title up to the part it is about."""
    demo = suite.load(str(ROOT / "example_station"), expectations=plugins.load().expectations)
    ids = {case.id.partition(".")[0] for case in demo.cases}
    for text in CASES:
        assert text.partition(":")[0] in ids


def test_the_tutorial_does_what_it_says(tmp_path: Path) -> None:
    """Typed as printed: the folder is made, checked and judged; MINT-02 is not shown with 30 of 59, so the exit code is 1."""
    for folder in ("recordings", "cases"):
        (tmp_path / folder).mkdir()
    for name, text in {**named("station"), **named("cases"), **named("make.py")}.items():
        (tmp_path / name).write_text(text, encoding="utf-8")
    subprocess.run([sys.executable, "make.py"], cwd=tmp_path, check=True)

    def stationtest(*words: str) -> subprocess.CompletedProcess[str]:
        command = [sys.executable, "-m", "stationtest", *words]
        return subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=False)

    checked = stationtest("check", str(tmp_path))
    assert checked.returncode == 0, checked.stdout + checked.stderr
    assert "22" in checked.stdout and "59" in checked.stdout
    planned = stationtest("plan", str(tmp_path))
    assert planned.returncode == 0 and "29" in planned.stdout, planned.stdout + planned.stderr
    judged = stationtest("run", str(tmp_path))
    assert judged.returncode == 1, judged.stdout + judged.stderr
    assert "not shown" in judged.stdout.lower()
    assert len(list((tmp_path / "runs").glob("*/report.html"))) == 1


def test_the_scene_is_one_of_the_tutorial(tmp_path: Path) -> None:
    """Under the cases of the tutorial, its reference learned from the scene as the README says: all pass, as simulated."""
    taught = "{learned: scenes/line.scene.yaml, target: mint, samples: 50}"
    assert f"reference: {taught}" in README
    for folder in ("recordings", "cases", "scenes"):
        (tmp_path / folder).mkdir()
    for name, text in {**named("station"), **named("cases"), **named("scenes")}.items():
        text = text.replace("{learned: recordings/taught.csv, target: mint}", taught)
        (tmp_path / name).write_text(text, encoding="utf-8")
    (tmp_path / "recordings" / "day1.csv").write_text("ms;r;g;b;part;nr\n0;1;2;3;;\n", encoding="utf-8")
    command = [sys.executable, "-m", "stationtest", "run", str(tmp_path), "--readings", "scenes/line.scene.yaml"]
    judged = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=False)
    assert judged.returncode == 0, judged.stdout + judged.stderr
    assert "simulated: some or all readings were made by a program" in judged.stdout and "pass: 3 pass" in judged.stdout


def test_the_python_example() -> None:
    (example,) = (text for text in blocks("python") if text.startswith("import stationtest"))
    done = subprocess.run([sys.executable, "-c", example], cwd=ROOT, capture_output=True, text=True, check=True)
    assert "held over from hibiscus" in done.stdout


def test_the_first_two_commands() -> None:
    """Not run here (they make environments); what they name must be there, and the program must understand the run."""
    first, second = (shlex.split(text.replace("&&", ";"), comments=False) for text in blocks("sh")[:2])
    assert first[:3] == ["python3", "-m", "venv"] and second[:3] == ["python3", "-m", "venv"]
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
    assert first[-3].endswith("/bin/stationtest") and "stationtest" in project["project"]["scripts"]
    assert ".[test]" in second and "test" in project["project"]["optional-dependencies"]
    assert first[-2:] == ["run", "example_station"] and (ROOT / first[-1] / "station.yaml").is_file()
    helped = subprocess.run(
        [sys.executable, "-m", "stationtest", *first[-2:], "--help"], cwd=ROOT, capture_output=True, check=False
    )
    assert helped.returncode == 0
    assert second[-1].endswith("/bin/pytest")


def test_the_readme_opens_with_the_job() -> None:
    title, opening = README.split("\n\n")[:2]
    assert title == "# stationtest"
    assert not opening.startswith(("#", "*", "-", "```"))
    assert README.index("```sh") < README.index("\n## ")


@pytest.mark.parametrize("code", CODES)
def test_every_message_code_has_a_paragraph(code: str) -> None:
    assert re.search(rf"^\*\*{re.escape(code)}\*\*: \S", DEVELOPERS, re.MULTILINE)


def test_no_paragraph_is_of_a_code_that_is_gone() -> None:
    part = DEVELOPERS.partition("## Message codes")[2].partition("\n## ")[0]
    assert re.findall(r"^\*\*(\S+)\*\*:", part, re.MULTILINE) == list(CODES)
    for code in re.findall(r"\| `([a-z-]+)` \|$", README.partition("## Messages")[2].partition("\n## ")[0], re.MULTILINE):
        assert code in CODES


@pytest.mark.parametrize("name", [name for name, *_ in plugins.EXPECTATIONS])
def test_every_expectation_is_described(name: str) -> None:
    part = README.partition(f"\n### {name}\n")[2].partition("\n### ")[0].partition("\n## ")[0]
    assert "One trial is a" in part and "onforms when" in part and "By hand:" in part
    expectation = plugins.load().expectations[name]
    fields = plugins.load().resolve(expectation.fields)
    keys = [field.alias or key for key, field in fields.model_fields.items() if key != "root"]
    for key in keys:
        assert f"`{key}`" in part, f"{name}: {key}"
    assert expectation.unit in part


def keys_of(schema: object) -> set[str]:
    """Every key that a JSON Schema knows, at any depth."""
    if isinstance(schema, dict):
        own = set(schema["properties"]) if isinstance(schema.get("properties"), dict) else set()
        return own.union(*(keys_of(part) for part in schema.values()))
    return set().union(*(keys_of(part) for part in schema)) if isinstance(schema, list) else set()


@pytest.mark.parametrize("name", ["station", "case", "recording", "run", "scene"])
def test_every_key_of_the_files_is_described(name: str) -> None:
    """As a word in a code span of the reference."""
    spans = re.findall(r"`([^`\n]+(?:\n[^`\n]+)?)`", README.partition("## The files")[2])
    assert keys_of(schema.schemas()[name]) - set(re.findall(r"[A-Za-z_]+", " ".join(spans))) == set()


def test_every_known_word_of_run_yaml_is_described() -> None:
    part = README.partition("### requirements.csv")[2].partition("\n## ")[0]
    assert [word for word in run_file.KNOWN if f"`{word}`" not in part] == []


@pytest.mark.parametrize("name", [name for name, *_ in plugins.DISTANCES])
def test_every_distance_is_described(name: str) -> None:
    assert f"`{name}`" in README.partition("## The files")[2]


@pytest.mark.parametrize("name", cli.COMMANDS)
def test_every_command_is_described(name: str) -> None:
    assert f"| `stationtest {name}" in README


def test_the_floors_are_those_that_are_held() -> None:
    """The table against the one that test_architecture.py holds the imports to."""
    rows = re.findall(r"^\| (\d) \| ([^|]+) \|", DEVELOPERS, re.MULTILINE)
    told = {
        word.removesuffix("/").removesuffix(".py"): int(floor) for floor, words in rows for word in re.findall(r"`(\S+)`", words)
    }
    tree = ast.parse((ROOT / "tests" / "test_architecture.py").read_text(encoding="utf-8"))
    held = next(node.value for node in tree.body if isinstance(node, ast.AnnAssign) and ast.unparse(node.target) == "FLOORS")
    assert held is not None and told == ast.literal_eval(held)


def test_what_to_copy_is_there() -> None:
    """Every path and file that the table of things to add names."""
    part = DEVELOPERS.partition("## I want to add")[2].partition("\n\n")[2].partition("\n\n")[0]
    for row in part.splitlines()[2:]:
        _, _, folder, copy, test, *_ = row.split("|")
        for path in re.findall(r"`((?:stationtest|tests)/\S*)`", row):
            assert (ROOT / path).exists(), path
        for name in re.findall(r"`(\w+\.py)`", copy):
            assert (ROOT / folder.strip().strip("`") / name).is_file(), name
        assert "tests/" in test or "a test" in test


def test_every_package_has_a_reason() -> None:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    part = DEVELOPERS.partition("## Packages")[2].partition("\n## ")[0]
    for requirement in project["dependencies"] + project["optional-dependencies"]["test"]:
        assert re.match(r"[A-Za-z-]+", requirement)[0] in part, requirement  # type: ignore[index]
