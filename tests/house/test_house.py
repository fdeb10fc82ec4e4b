"""Rules of the house that a machine can hold."""

from __future__ import annotations

import ast
import doctest
import importlib
import re
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest

import growthcast
from growthcast.cli.main import COMMANDS
from tests.cli import run

ROOT = Path(__file__).parents[2]
PACKAGE = ROOT / "growthcast"
MODULES = sorted(PACKAGE.rglob("*.py"))
LONGEST_MODULE = 300
LONGEST_FUNCTION = 60
MOST_FILES_IN_A_ROOM = 10


def test_help_imports_neither_numpy_nor_matplotlib():
    code = (
        "import sys; sys.argv = ['growthcast', '--help']\n"
        "from growthcast.cli.main import main\n"
        "try:\n    main()\nexcept SystemExit:\n    pass\n"
        "heavy = {'numpy', 'scipy', 'matplotlib', 'pandas', 'rich.table'} & set(sys.modules)\n"
        "assert not heavy, heavy"
    )
    subprocess.run([sys.executable, "-c", code], check=True, capture_output=True, cwd=ROOT)


@pytest.mark.parametrize("command", COMMANDS)
def test_every_command_is_in_the_readme_and_has_an_example(command):
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    assert f"growthcast {command}" in readme
    helped = run(command, "--help")
    assert helped.status == 0
    assert f"Example: growthcast {command}" in helped.out
    assert "Exit status" in helped.out


def test_every_public_name_is_in_the_readme_and_can_be_imported():
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    for name in growthcast.__all__:
        assert getattr(growthcast, name) is not None
    for name in ("read_book", "fit_growth", "forecast_growth", "recommend"):
        assert name in readme


def test_the_readmes_python_runs():
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    [code] = re.findall(r"```python\n(.*?)```", readme, re.S)
    done = subprocess.run(
        [sys.executable, "-c", code], check=True, capture_output=True, text=True, cwd=ROOT
    )
    assert len(done.stdout.splitlines()) > 6


def test_the_version_is_written_once_in_effect():
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    assert project["version"] == growthcast.__version__
    assert f"[{growthcast.__version__}]" in (ROOT / "CHANGELOG.md").read_text(encoding="utf-8")


def lines_without_docstrings(node, text):
    """Return how many lines a module or function has beside its docstrings."""
    lines = text.count("\n") if isinstance(node, ast.Module) else _span(node)
    for inner in ast.walk(node):
        if isinstance(inner, ast.Module | ast.ClassDef | ast.FunctionDef) and ast.get_docstring(
            inner
        ):
            lines -= _span(inner.body[0])
    return lines


def _span(node):
    return node.end_lineno - node.lineno + 1


@pytest.mark.parametrize("module", MODULES, ids=lambda path: str(path.relative_to(ROOT)))
def test_modules_and_functions_stay_small(module):
    text = module.read_text(encoding="utf-8")
    tree = ast.parse(text)
    assert lines_without_docstrings(tree, text) <= LONGEST_MODULE
    for node in ast.walk(tree):
        if isinstance(node, ast.FunctionDef):
            lines = lines_without_docstrings(node, text)
            assert lines <= LONGEST_FUNCTION, f"{node.name} has {lines} lines"


def test_rooms_stay_small():
    rooms = {file.parent for file in PACKAGE.rglob("__init__.py")} - {PACKAGE}
    for room in rooms - {PACKAGE / "cli"}:  # one file a command, however many they are
        assert len(list(room.glob("*.py"))) - 1 <= MOST_FILES_IN_A_ROOM, room.name


DOCTESTED = [
    ".".join(path.relative_to(ROOT).with_suffix("").parts)
    for path in MODULES
    if ">>>" in path.read_text(encoding="utf-8") and path.name != "__init__.py"
]


@pytest.mark.parametrize("module", ["growthcast", *DOCTESTED])
def test_examples_in_docstrings_are_true(module):
    result = doctest.testmod(importlib.import_module(module))
    assert result.attempted > 0
    assert result.failed == 0


SCIENCE = [path for path in MODULES if path.parent.name in {"growth", "service", "forecast"}]


@pytest.mark.parametrize("module", SCIENCE, ids=lambda path: str(path.relative_to(ROOT)))
def test_public_functions_of_the_science_are_documented(module):
    text = module.read_text(encoding="utf-8")
    for node in ast.parse(text).body:
        if isinstance(node, ast.FunctionDef) and not node.name.startswith("_"):
            assert ast.get_docstring(node), node.name


INNER = {"LivingAreas": "draws, of which answers are made", "BacktestResult": "guards its model"}
IN_WORDS = {"str", "bytes", "bool", "date", "list[str]"}


def test_every_answer_passes_the_guard():
    """What commands, pages and pictures ask of the rooms below holds finite numbers only."""
    unguarded = set()
    for room in ("cli", "brief", "figures"):
        for path in (PACKAGE / room).rglob("*.py"):
            for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
                if not isinstance(node, ast.ImportFrom) or not str(node.module).startswith(
                    ("growthcast.service", "growthcast.forecast")
                ):
                    continue
                found = importlib.import_module(str(node.module))
                for name in (alias.name for alias in node.names if alias.name[0].islower()):
                    arrow = getattr(found, name)
                    kind = arrow.__annotations__["return"]
                    if kind not in {*IN_WORDS, *INNER} and not hasattr(arrow, "__wrapped__"):
                        unguarded.add(name)
    assert not unguarded


def test_no_prose_where_code_should_speak():
    """No leftovers: markers of unfinished work, and exceptions swallowed whole."""
    unfinished = re.compile(r"\b(TODO|FIXME|XXX|HACK)\b")
    for path in [*MODULES, *sorted((ROOT / "tests").rglob("*.py"))]:
        if path == Path(__file__):
            continue
        text = path.read_text(encoding="utf-8")
        assert not unfinished.search(text), path
        assert "except Exception:\n        pass" not in text, path
