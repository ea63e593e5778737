"""The build itself: floors, sizes, who may import what, and what is loaded at start-up, each in a fresh interpreter."""

from __future__ import annotations

import ast
import json
import os
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
PACKAGE = ROOT / "stationtest"

FLOORS: dict[str, int] = {
    "errors": 0, "place": 0, "hookspecs": 0, "version": 0, "collector": 0,
    "model": 1, "optics": 1,
    "files": 2, "signals": 2, "stats": 2,
    "sources": 3, "expectations": 3,
    "plugins": 4,
    "engine": 5, "report": 5, "selftest": 5,
    "__init__": 6, "__main__": 6, "cli": 6, "commands": 6, "public": 6, "pytest_plugin": 6, "pytest_door": 6,
}  # fmt: skip
LOWEST_ONLY = {"report": 1}  # any stored record can be shown without the code that judged it

# third-party packages: the only folders or modules that may import them, at whatever depth
MAY_IMPORT: dict[str, tuple[str, ...]] = {
    "colour": ("signals/colour_science.py",),
    "jinja2": ("report/",),
    "markupsafe": ("report/",),
    "numpy": ("signals/", "optics/", "stats/", "sources/", "expectations/", "engine/"),
    "pluggy": ("hookspecs.py", "plugins.py"),
    "pyarrow": ("sources/", "engine/"),
    "pydantic": ("files/", "expectations/"),
    "pydantic_core": ("files/", "expectations/"),
    "pytest": ("pytest_plugin.py", "pytest_door/"),
    "rich": ("commands/",),
    "scipy": ("stats/",),
    "yaml": ("files/",),
}
LONGEST = 400

MODULES = sorted(PACKAGE.rglob("*.py"))


def unit_of(path: Path) -> str:
    """The folder, or the module directly in the package, that has a floor."""
    return path.relative_to(PACKAGE).parts[0].removesuffix(".py")


def imports(path: Path) -> Iterator[tuple[int, str, bool]]:
    """Line, dotted name and whether it is on top, of every import that happens at run time (not under TYPE_CHECKING)."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    pending: list[tuple[ast.AST, bool]] = [(tree, True)]
    while pending:
        node, on_top = pending.pop()
        for child in ast.iter_child_nodes(node):
            if isinstance(child, ast.If) and "TYPE_CHECKING" in ast.unparse(child.test):
                continue
            if isinstance(child, ast.Import):
                yield from ((child.lineno, alias.name, on_top) for alias in child.names)
            elif isinstance(child, ast.ImportFrom):
                assert child.level == 0, f"{path}:{child.lineno}: write the whole name of the module"
                assert child.module
                yield from ((child.lineno, f"{child.module}.{alias.name}", on_top) for alias in child.names)
            pending.append((child, on_top and not isinstance(child, (ast.FunctionDef, ast.AsyncFunctionDef, ast.Lambda))))


def own(name: str) -> str | None:
    """The module of the package that an imported name lies in, as a path relative to it; None for anything else."""
    parts = name.split(".")
    if parts[0] != "stationtest":
        return None
    for length in range(len(parts), 0, -1):
        base = PACKAGE.joinpath(*parts[1:length])
        if base.with_suffix(".py").is_file() and length > 1:
            return base.with_suffix(".py").relative_to(PACKAGE).as_posix()
        if (base / "__init__.py").is_file():
            return (base / "__init__.py").relative_to(PACKAGE).as_posix()
    return None


def test_every_module_has_a_floor() -> None:
    assert {unit_of(path) for path in MODULES} <= set(FLOORS)


@pytest.mark.parametrize("path", MODULES, ids=lambda path: path.relative_to(PACKAGE).as_posix())
def test_imports_go_down_the_floors(path: Path) -> None:
    here = unit_of(path)
    wrong = []
    for line, name, _ in imports(path):
        target = own(name)
        if target is None or target == "__init__.py":
            continue
        there = unit_of(PACKAGE / target)
        lower = FLOORS[there] < FLOORS[here]
        together = there == here or (FLOORS[there] == FLOORS[here] and FLOORS[here] in (0, 6))
        if here == "selftest" or there == "selftest":
            together = together or FLOORS[there] == FLOORS[here]  # one module beside the folder that calls it
        if here in LOWEST_ONLY and there != here:
            lower, together = FLOORS[there] <= LOWEST_ONLY[here], False
        if not (lower or together):
            wrong.append(f"{path.relative_to(ROOT)}:{line}: {name}: floor {FLOORS[here]} may not import floor {FLOORS[there]}")
    assert not wrong, "\n".join(wrong)


@pytest.mark.parametrize("path", MODULES, ids=lambda path: path.relative_to(PACKAGE).as_posix())
def test_third_party_packages_stay_where_they_belong(path: Path) -> None:
    relative = path.relative_to(PACKAGE).as_posix()
    wrong = []
    for line, name, _ in imports(path):
        package = name.partition(".")[0]
        if package in sys.stdlib_module_names or package == "stationtest":
            continue
        allowed = MAY_IMPORT.get(package, ())
        if not any(relative == place or (place.endswith("/") and relative.startswith(place)) for place in allowed):
            wrong.append(
                f"{path.relative_to(ROOT)}:{line}: {package} may be imported in {', '.join(allowed) or 'no module'} only"
            )
        if package == "scipy" and not name.startswith("scipy.special"):
            wrong.append(f"{path.relative_to(ROOT)}:{line}: of scipy only scipy.special; scipy.stats costs 0.4 s more")
    assert not wrong, "\n".join(wrong)


@pytest.mark.parametrize("path", MODULES, ids=lambda path: path.relative_to(PACKAGE).as_posix())
def test_modules_are_short(path: Path) -> None:
    lines = len(path.read_text(encoding="utf-8").splitlines())
    assert lines <= LONGEST, f"{path.relative_to(ROOT)} has {lines} lines; divide it by subject"


def test_no_module_imports_itself_in_a_circle() -> None:
    """Imports at the top of modules only: those are the ones that break when a circle is entered from the wrong side."""
    graph = {
        path.relative_to(PACKAGE).as_posix(): {target for _, name, top in imports(path) if top and (target := own(name))}
        for path in MODULES
    }
    done: set[str] = set()

    def visit(module: str, trail: tuple[str, ...]) -> None:
        assert module not in trail, " -> ".join([*trail[trail.index(module) :], module])
        if module not in done:
            for target in graph[module] - {"__init__.py", module}:
                visit(target, (*trail, module))
            done.add(module)

    for module in graph:
        visit(module, ())


ALONE = """
import importlib, os, sys, traceback
failed = []
for name in sys.argv[1:]:
    if hasattr(os, "fork"):
        child = os.fork()
        if child == 0:
            try:
                importlib.import_module(name)
            except BaseException:
                traceback.print_exc()
                os._exit(1)
            os._exit(0)
        if os.waitpid(child, 0)[1]:
            failed.append(name)
    else:
        importlib.import_module(name)
print(failed)
sys.exit(bool(failed))
"""


def test_every_module_can_be_imported_alone_with_warnings_as_errors() -> None:
    """Each in a process that has loaded nothing else of the package, forked from one fresh interpreter to save time."""
    names = [
        ".".join(("stationtest", *path.relative_to(PACKAGE).with_suffix("").parts)).removesuffix(".__init__") for path in MODULES
    ]
    done = subprocess.run([sys.executable, "-W", "error", "-c", ALONE, *names], cwd=ROOT, capture_output=True, text=True)
    assert done.returncode == 0, done.stdout + done.stderr


# start-up

LOADED = """
import json, sys
before = set(sys.modules)
from stationtest.cli import main
try:
    code = main(sys.argv[1:])
except SystemExit as stop:
    code = stop.code
names = {name.partition(".")[0] for name in set(sys.modules) - before}
print("LOADED", json.dumps([code, sorted(names - set(sys.stdlib_module_names))]))
"""


def loaded(*arguments: str) -> tuple[int, set[str]]:
    """Exit code and third-party packages that one command loads, in a fresh interpreter."""
    environment = {**os.environ, "PYTHONPATH": str(ROOT)}
    done = subprocess.run([sys.executable, "-c", LOADED, *arguments], capture_output=True, text=True, env=environment)
    line = next(line for line in done.stdout.splitlines() if line.startswith("LOADED"))
    code, names = json.loads(line.removeprefix("LOADED"))
    compiled = ("_cython", "cython_runtime", "_sysconfigdata")  # what compiled modules and the interpreter load for themselves
    return code or 0, {name for name in names if name != "stationtest" and not name.startswith(compiled)}


READING_FILES = {
    "yaml", "_yaml", "pydantic", "pydantic_core", "annotated_types", "typing_extensions", "typing_inspection", "pluggy",
}  # fmt: skip


def test_version_loads_nothing() -> None:
    assert loaded("--version") == (0, set())


def test_help_loads_nothing() -> None:
    assert loaded("--help") == (0, set())


def test_check_of_files_with_mistakes_loads_only_what_reads_files(tmp_path: Path) -> None:
    (tmp_path / "station.yaml").write_text("station: x\nsensor: {}\n")
    code, names = loaded("check", str(tmp_path))
    assert code == 2
    assert names <= READING_FILES, f"`check` also loads {sorted(names - READING_FILES)}"


def test_check_of_a_good_station_loads_no_more_than_its_recordings_need(tmp_path: Path) -> None:
    assert loaded("new", str(tmp_path / "station"))[0] == 0
    code, names = loaded("check", str(tmp_path / "station"))
    assert code == 0
    assert not names & {"colour", "jinja2", "pytest", "_pytest", "scipy", "rich"}


def test_the_report_of_a_record_needs_no_numbers() -> None:
    """report/ draws any stored record without the code that judged it."""
    heavy = {"numpy", "pyarrow", "pydantic", "scipy", "colour"}
    code = f"import sys, stationtest.report.page; print(sorted({heavy} & set(sys.modules)))"
    done = subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


PLUGIN = """
import sys, time
import pytest
before = set(sys.modules)
began = time.perf_counter()
import stationtest.pytest_plugin
print((time.perf_counter() - began) * 1000, *sorted(set(sys.modules) - before))
"""


def test_the_pytest_plugin_costs_a_project_that_does_not_use_it_under_30_ms() -> None:
    """The least of several times, since other work on the computer can only add."""
    times = []
    for _ in range(5):
        done = subprocess.run([sys.executable, "-c", PLUGIN], cwd=ROOT, capture_output=True, text=True, check=True)
        spent, *names = done.stdout.split()
        times.append(float(spent))
        assert {name for name in names if name.partition(".")[0] not in sys.stdlib_module_names} == {
            "stationtest", "stationtest.pytest_plugin", "stationtest.version",
        }  # fmt: skip
    assert min(times) < 30
