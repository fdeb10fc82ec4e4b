"""Rules of the house that a machine can hold."""

from __future__ import annotations

import ast
import doctest
import importlib
import json
import re
import subprocess
import sys
import tomllib
from dataclasses import FrozenInstanceError, is_dataclass
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


@pytest.mark.parametrize(
    ("line", "heavy"),
    [
        ("--help", {"numpy", "typer", "rich", "pathlib", "dataclasses"}),
        ("interval data/demo", {"starlette", "uvicorn", "segno", "h11", "anyio", "matplotlib"}),
    ],
)
def test_a_command_imports_nothing_heavy_that_it_can_do_without(line, heavy):
    code = (
        f"import sys; sys.argv = ['growthcast', *{line.split()}]\n"
        "from growthcast.cli.main import main\n"
        "try:\n    main()\nexcept SystemExit:\n    pass\n"
        f"heavy = {heavy} & set(sys.modules)\n"
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


def test_every_public_name_is_documented_and_can_be_imported():
    page = (ROOT / "docs" / "python.md").read_text(encoding="utf-8")
    for name in growthcast.__all__:
        assert getattr(growthcast, name) is not None
        assert f"`{name}`" in page, name


@pytest.mark.slow
def test_the_python_shown_runs():
    page = (ROOT / "docs" / "python.md").read_text(encoding="utf-8")
    code = "import matplotlib; matplotlib.use('Agg')\n"
    code += "\n".join(re.findall(r"```python\n(.*?)```", page, re.S))
    done = subprocess.run(
        [sys.executable, "-c", code], check=True, capture_output=True, text=True, cwd=ROOT
    )
    assert len(done.stdout.splitlines()) > 6


@pytest.mark.parametrize(("page", "most_bytes"), [("README.md", 10_000), ("DEVELOPERS.md", 8_000)])
def test_the_front_pages_stay_short(page, most_bytes):
    assert (ROOT / page).stat().st_size <= most_bytes


def test_every_room_has_a_line_in_the_guide():
    guide = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    rooms = [file.parent.relative_to(PACKAGE) for file in PACKAGE.rglob("__init__.py")]
    named = {Path(name) for name in re.findall(r"^\| `([\w/]+)/` \|", guide, re.M)}
    assert named == {room for room in rooms if room != Path()} | {Path("tests"), Path("species")}


DECISIONS = sorted((ROOT / "docs" / "decisions").glob("[0-9]*.md"))


@pytest.mark.parametrize("page", DECISIONS, ids=lambda page: page.stem)
def test_a_decision_has_its_date_measurement_and_command(page):
    title, dated, *_ = page.read_text(encoding="utf-8").split("\n\n")
    assert re.match(r"20\d\d-\d\d-\d\d, commits? [0-9a-f]{7}", dated)
    for part in ("**Measured.**", "**Command.**"):
        assert part in page.read_text(encoding="utf-8")
    index = (page.parent / "README.md").read_text(encoding="utf-8")
    assert f"[{page.stem[:3]}]({page.name}) {title.removeprefix('# ')}\n" in index


def test_nouns_are_frozen():
    for name in growthcast.__all__:
        noun = getattr(growthcast, name)
        if is_dataclass(noun):
            with pytest.raises(FrozenInstanceError):
                object.__new__(noun).name = name


def test_only_one_room_writes_files():
    """Of a person's, that is: two modules write, into a folder thrown away and into the cache."""
    writes = re.compile(r"\.write_(text|bytes)\(|os\.(replace|rename)\(|\.(unlink|mkdir|touch)\(")
    found = {
        str(path.relative_to(PACKAGE))
        for path in MODULES
        if PACKAGE / "book" / "writing" not in path.parents
        and writes.search(path.read_text(encoding="utf-8"))
    }
    assert found == {"brief/pdf.py", "cache.py"}


@pytest.mark.parametrize("room", ["growth", "fit/solver"])
def test_the_mathematics_knows_neither_book_nor_calendar(room):
    for path in (PACKAGE / room).rglob("*.py"):
        text = path.read_text(encoding="utf-8")
        assert not re.search(r"growthcast\.(book|species)|datetime|pathlib|\bcsv\b", text), path


UNITS = re.compile(
    r"(?<![a-z0-9])(cm|cm2|l|g|d|min|h|c|umol|points)(?![a-z0-9])|_(per|in)_|chance|confidence"
    r"|share|log_|days|hours|minutes|litres|visits|cost|heights|effect|spread|mends"
)
"""What says in which unit a number is; heights and mends are those of their area."""


@pytest.mark.parametrize(
    "command",
    [
        "interval data/demo --tank desk-nano",
        "forecast data/demo --tank desk-nano --at 2026-12-01",
        "cuts data/demo --tank desk-nano",
        "away data/demo --from 2026-12-01 --to 2026-12-14",
        "fit data/demo",
    ],
)
def test_numbers_that_leave_say_their_unit(command):
    def bare(answer, names):
        if isinstance(answer, dict):
            return [p for name, value in answer.items() for p in bare(value, f"{names}.{name}")]
        if isinstance(answer, list):
            return [path for value in answer for path in bare(value, names)]
        return [names] if isinstance(answer, float) and not UNITS.search(names) else []

    assert not bare(json.loads(run(*command.split(), "--json").out), "")


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
    one_file_a_question = {PACKAGE / "cli", PACKAGE / "say"}  # however many they are
    for room in rooms - one_file_a_question:
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


INNER = {
    "LivingAreas": "draws, of which answers are made",
    "BacktestResult": "guards its model",
    "GrowthFit": "a fit, of which answers are made",
    "Picture": "what a file says, which may not tell its focal length",
}
IN_WORDS = {"str", "bytes", "bool", "date", "list[str]", "list[int]", "Iterator[IntArray]"}
IN_WORDS |= {"tuple[str | None, str]"}


def test_every_answer_passes_the_guard():
    """What commands, pages and pictures ask of the rooms below holds finite numbers only."""
    unguarded = set()
    for room in ("cli", "brief", "figures", "say"):
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
