"""Docstrings say what is true: names that exist, and all that a caller needs.

``lacking.txt`` lists the public functions whose docstring does not say all of it yet. It only
shrinks: the test fails for a listed function that has become complete, and for one not listed.
"""

from __future__ import annotations

import ast
import builtins
import importlib
import inspect
import keyword
import re
import sys
from functools import cache
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
PACKAGE = ROOT / "growthcast"
MODULES = sorted({*PACKAGE.rglob("*.py")} - {PACKAGE / "__main__.py"})
PAGES = [*sorted(ROOT.glob("*.md")), *sorted((ROOT / "docs").rglob("*.md"))]
SCIENCE = ("growth", "fit", "forecast", "service")
LACKING = Path(__file__).parent / "lacking.txt"
ARRAY = re.compile(r"NDArray|Array\b|Singles|Floats")
NUMBER = re.compile(r"FloatArray|ArrayLike|Singles|Floats|\bfloat\b")
HEADING = re.compile(r"^(\w[\w ]*)\n-+$", re.M)
NAME = re.compile(r"[A-Za-z_]\w*(?:\.[A-Za-z_]\w*)*")
FILE = re.compile(r"[\w./-]+\.(?:py|toml|csv|md|txt|jsonl)\b")
QUOTED = re.compile(r"``([^`]+)``|:\w+:`([^`]+)`")


def dotted(path):
    """Return the name under which a file is imported."""
    parts = path.relative_to(ROOT).with_suffix("").parts
    return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)


def docstrings(path):
    """Yield (what it documents, its text) for every docstring of a file, of constants too."""
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if not isinstance(node, ast.Module | ast.ClassDef | ast.FunctionDef):
            continue
        for inner in node.body:
            text = getattr(getattr(inner, "value", None), "value", None)
            if isinstance(inner, ast.Expr) and isinstance(text, str):
                yield node, inspect.cleandoc(text)


def sections(text):
    """Return the sections of a numpydoc docstring by their headings."""
    parts = HEADING.split(text)
    return dict(zip(parts[1::2], parts[2::2], strict=True))


def entries(section):
    """Return (names, type, text) of each entry of a section of parameters or attributes."""
    parts = re.split(r"^(\S[^\n]*)$", section.replace("\\\n", ""), flags=re.M)
    return [
        (re.split(r",\s*", head.split(" : ")[0].replace("*", "")), head.partition(" : ")[2], text)
        for head, text in zip(parts[1::2], parts[2::2], strict=True)
    ]


def arguments(node):
    """Return the arguments of a function that a caller gives."""
    named = [*node.args.posonlyargs, *node.args.args, *node.args.kwonlyargs]
    listed = [*named, *filter(None, [node.args.vararg])]
    return {a.arg: ast.unparse(a.annotation) for a in listed if a.annotation is not None}


def lacks(node):
    """Return what a function's docstring leaves out: arguments, shapes, units, results, errors."""
    told = sections(ast.get_docstring(node) or "")
    given = {
        name: (kind, text)
        for names, kind, text in entries(told.get("Parameters", ""))
        for name in names
    }
    missing = [f"argument {name}" for name in arguments(node) if name not in given]
    for name, (kind, text) in given.items():
        annotation = arguments(node).get(name, "")
        if ARRAY.search(annotation) and "(" not in kind and kind != "array_like":
            missing.append(f"shape of {name}")
        if NUMBER.search(annotation) and "[" not in text:
            missing.append(f"unit of {name}")
    returned, result = ast.unparse(node.returns), told.get("Returns", "")
    if returned != "None" and not result:
        missing.append("what is returned")
    elif ARRAY.search(returned) and "(" not in result and "ndarray" not in result:
        missing.append("shape of what is returned")
    elif re.fullmatch("FloatArray|Singles|float", returned) and "[" not in result:
        missing.append("unit of what is returned")
    raised = [n.exc for n in ast.walk(node) if isinstance(n, ast.Raise) and n.exc is not None]
    errors = {ast.unparse(exc).split("(")[0] for exc in raised}
    return missing + [f"error {name}" for name in errors if name not in told.get("Raises", "")]


def public_functions():
    """Return the functions that the rooms of the science offer, by their names."""
    found = {}
    for path in [path for room in SCIENCE for path in sorted((PACKAGE / room).rglob("*.py"))]:
        for node in ast.parse(path.read_text(encoding="utf-8")).body:
            if isinstance(node, ast.FunctionDef) and not node.name.startswith("_"):
                found[f"{dotted(path).removeprefix('growthcast.')}.{node.name}"] = node
    return found


def lacking():
    """Return what is left out by the name of each public function that leaves anything out."""
    return {name: what for name, node in public_functions().items() if (what := lacks(node))}


def test_public_functions_of_the_science_say_all_a_caller_needs():
    found, listed = lacking(), LACKING.read_text(encoding="utf-8").split()
    assert not {name: what for name, what in found.items() if name not in listed}, "say it"
    assert not [name for name in listed if name not in found], "take it off tests/house/lacking.txt"


@pytest.mark.parametrize("module", MODULES, ids=dotted)
def test_docstrings_list_no_argument_and_no_field_that_is_not_there(module):
    for node, text in docstrings(module):
        if isinstance(node, ast.FunctionDef):
            beside = (node.args.vararg, node.args.kwarg)
            there = {*arguments(node), *(one.arg for one in beside if one is not None)}
            heading = "Parameters"
        elif isinstance(node, ast.ClassDef):
            there = {n.target.id for n in node.body if isinstance(n, ast.AnnAssign)}
            there |= {n.name for n in node.body if isinstance(n, ast.FunctionDef)}
            heading = "Attributes"
        else:
            continue
        listed = {
            name for names, _, _ in entries(sections(text).get(heading, "")) for name in names
        }
        assert listed <= there, node.name


def words_of_the_code():
    """Return every name and every one-word text that stands in the code, docstrings aside."""
    words = {*keyword.kwlist, *dir(builtins), *sys.stdlib_module_names}
    for path in [*MODULES, *sorted((ROOT / "species").glob("*.py"))]:
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            for field in ("id", "attr", "arg", "name", "asname", "module", "value"):
                value = getattr(node, field, None)
                if isinstance(value, str) and " " not in value:
                    words.update(re.findall(r"\w+", value))
    return words


def classes_of_the_code():
    """Return every class of the package by its name."""
    found = {}
    for path in MODULES:
        for thing in vars(importlib.import_module(dotted(path))).values():
            if inspect.isclass(thing):
                found[thing.__name__] = thing
    return found


WORDS, CLASSES = words_of_the_code(), classes_of_the_code()
SHIPPED = {path.name for path in ROOT.rglob("*.*") if ".git" not in path.parts}
WRITTEN = {"species.csv", "bounds.csv", "closed.csv", "journal.jsonl", "taps.jsonl", "README.txt"}
"""Files of a person's book beside those of the demo."""


def has(thing, name):
    """Tell whether a module or a class offers a name; fields without a default count."""
    fields = getattr(thing, "__annotations__", {})
    return hasattr(thing, name) or (isinstance(fields, dict) and name in fields)


@cache
def imports(name):
    """Tell whether a dotted name can be imported, or is offered by what can be."""
    home, _, last = name.rpartition(".")
    try:
        importlib.import_module(name)
    except ModuleNotFoundError:
        if not home:
            return False
        first, _, owner = home.rpartition(".")
        try:
            return has(importlib.import_module(home), last)
        except ModuleNotFoundError:
            return bool(first) and imports(home) and has(CLASSES.get(owner), last)
    return True


def exists(name, home):
    """Tell whether a name in backquotes stands for anything, seen from the package ``home``."""
    first, *rest = name.split(".")
    if not rest:
        return len(name) < 3 or name in WORDS
    if first in CLASSES:
        return has(CLASSES[first], rest[0])
    if any(imports(f"{start}{name}") for start in (f"{home}.", "growthcast.", "")):
        return True
    fields = [any(has(thing, part) for thing in CLASSES.values()) for part in rest]
    return first in WORDS and all(fields)  # what an argument holds


def absent(text, home):
    """Return what a text names in backquotes, and :roles:, that is not there."""
    quoted = [first or other for first, other in QUOTED.findall(text)]
    files = FILE.findall(text)
    names = [name.removesuffix("()") for name in quoted if not FILE.fullmatch(name)]
    missing = [name for name in files if Path(name).name not in SHIPPED | WRITTEN]
    return missing + [n for n in names if NAME.fullmatch(n) and not exists(n, home)]


@pytest.mark.parametrize("module", MODULES, ids=dotted)
def test_docstrings_name_only_what_is_there(module):
    name = dotted(module)
    home = name if module.name == "__init__.py" else name.rpartition(".")[0]
    assert not [absent(text, home) for _, text in docstrings(module) if absent(text, home)]


def leads_anywhere(page, link):
    """Tell whether a link leads to a file and, where it names one, to a heading of it."""
    file, _, heading = link.partition("#")
    target = page.parent / file if file else page
    if not heading:
        return target.exists()
    headings = re.findall(r"^#+ (.+)$", target.read_text(encoding="utf-8"), re.M)
    return heading in {re.sub(r"[^\w -]", "", h).lower().replace(" ", "-") for h in headings}


@pytest.mark.parametrize("page", PAGES, ids=lambda page: str(page.relative_to(ROOT)))
def test_pages_name_only_what_is_there(page):
    """Dotted names of the code, files with their folders, and links; names in capitals stand in."""
    text = re.sub(r"```.*?```", "", page.read_text(encoding="utf-8"), flags=re.S)
    quoted = re.findall(r"(?<!`)`([^`]+)`(?!`)", text)
    names = [name for name in quoted if NAME.fullmatch(name) and "." in name]
    assert not [
        n for n in names if not FILE.fullmatch(n) and not exists(n, "growthcast.fit.solver")
    ]
    named = [f for each in quoted for f in FILE.findall(each) if not Path(f).stem.isupper()]
    roots = [ROOT, PACKAGE, page.parent]
    assert not [
        name
        for name in named
        if Path(name).name not in SHIPPED | WRITTEN
        or ("/" in name and not any((root / name).exists() for root in roots))
    ]
    modules = re.findall(r"python -m (tests\.[a-z_.]+[a-z])(?![.\w])", text)
    assert not [n for n in modules if not (ROOT / f"{n.replace('.', '/')}.py").exists()]
    links = [link for link in re.findall(r"\]\(([^)\s]+)", text) if "://" not in link]
    assert not [link for link in links if not leads_anywhere(page, link)]


if __name__ == "__main__":
    LACKING.write_text("".join(f"{name}\n" for name in lacking()), encoding="utf-8")
