"""Would the unit tests of a room notice a line that is wrong?

``python -m tests.benchmarks.mutants`` changes one line at a time, twenty lines in each of growth,
fit, forecast, service and book, spread evenly over the room's code, and runs the unit tests of that
room (``tests/unit/ROOM``; for growth the properties and references too, since its laws stand
there). A change that no test notices is a survivor and is printed with its line. The tests named
after the changed module run first, and the first failure ends a run.

Changes: a comparison turned round, plus for minus, times for divided by, ``and`` for ``or``, a
condition denied, a number doubled and raised by one. Lines that only raise, annotate or document
are passed over, as are lines of a table of data.

``--lines N`` for each room (20), ``--rooms``, ``--processes N``. Run by hand: some 40 minutes of
two cores. The same lines are changed every time as long as the code is the same.
"""

from __future__ import annotations

import argparse
import ast
import os
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
TESTS = {
    "growth": ("tests/unit/growth", "tests/properties/test_growth_laws.py", "tests/references"),
    "fit": ("tests/unit/fit",),
    "forecast": ("tests/unit/forecast",),
    "service": ("tests/unit/service",),
    "book": ("tests/unit/book", "tests/unit/sheets"),
}
TURNED: dict[type[ast.cmpop], type[ast.cmpop]] = {
    ast.Lt: ast.Gt,
    ast.Gt: ast.Lt,
    ast.LtE: ast.GtE,
    ast.GtE: ast.LtE,
    ast.Eq: ast.NotEq,
    ast.NotEq: ast.Eq,
    ast.In: ast.NotIn,
    ast.NotIn: ast.In,
}
OPPOSITE: dict[type[ast.operator], type[ast.operator]] = {
    ast.Add: ast.Sub,
    ast.Sub: ast.Add,
    ast.Mult: ast.Div,
    ast.Div: ast.Mult,
}
LONGEST_RUN_S = 900
"""A run this long hangs: the change was noticed."""


@dataclass(frozen=True, slots=True)
class Mutant:
    """One line of one module, changed: the ``place`` of the node among those one can change."""

    room: str
    module: Path
    place: int
    line: int
    was: str
    now: str


def changed(node: ast.AST) -> ast.AST | None:
    """Return a node changed in one way, or None where there is nothing to change."""
    match node:
        case ast.Compare(ops=[op]) if type(op) in TURNED:
            return ast.Compare(node.left, [TURNED[type(op)]()], node.comparators)
        case ast.BinOp(op=op) if type(op) in OPPOSITE and not _is_text(node):
            return ast.BinOp(node.left, OPPOSITE[type(op)](), node.right)
        case ast.BoolOp(op=ast.And()):
            return ast.BoolOp(ast.Or(), node.values)
        case ast.BoolOp(op=ast.Or()):
            return ast.BoolOp(ast.And(), node.values)
        case ast.If(test=test) if not isinstance(test, ast.Compare | ast.BoolOp):
            return ast.If(ast.UnaryOp(ast.Not(), test), node.body, node.orelse)
        case ast.Constant(value=float(value)):
            return ast.Constant(2.0 * value + 1.0)
        case _:
            return None


def _is_text(node: ast.BinOp) -> bool:
    """Whether a sum joins texts or types, not numbers."""
    return any(
        isinstance(part, ast.JoinedStr | ast.List | ast.Tuple)
        or (isinstance(part, ast.Constant) and isinstance(part.value, str))
        for part in (node.left, node.right)
    )


def _nodes(tree: ast.Module) -> Iterator[ast.AST]:
    """Return the nodes inside functions that can be changed, in the order of the text."""
    seen: set[int] = set()
    for function in ast.walk(tree):
        if not isinstance(function, ast.FunctionDef):
            continue
        for statement in function.body:
            for node in ast.walk(statement):
                if isinstance(node, ast.Raise | ast.Assert):
                    seen.update(id(inner) for inner in ast.walk(node))
                elif isinstance(node, ast.AnnAssign):
                    seen.update(id(inner) for inner in ast.walk(node.annotation))
                if id(node) not in seen and changed(node) is not None:
                    seen.add(id(node))
                    yield node


def _text(module: Path, place: int) -> tuple[str, int, str, str]:
    """Return a module's text with one node changed, its line, and the node before and after."""
    tree = ast.parse(module.read_text(encoding="utf-8"))
    node = list(_nodes(tree))[place]
    new = changed(node)
    assert new is not None
    was, now = (_shown(each) for each in (node, new))

    class Change(ast.NodeTransformer):
        def visit(self, found: ast.AST) -> ast.AST:
            return new if found is node else super().generic_visit(found)

    line: int = node.lineno  # type: ignore[attr-defined]
    return ast.unparse(ast.fix_missing_locations(Change().visit(tree))), line, was, now


def _shown(node: ast.AST) -> str:
    return ast.unparse(node.test if isinstance(node, ast.If) else node).split("\n")[0]


def choose(room: str, lines: int) -> list[Mutant]:
    """Return mutants of a room, spread evenly over what can be changed in it."""
    modules = sorted((ROOT / "growthcast" / room).rglob("*.py"))
    places = [
        (module, place)
        for module in modules
        for place in range(len(list(_nodes(ast.parse(module.read_text(encoding="utf-8"))))))
    ]
    step = max(len(places) / lines, 1.0)
    chosen = [places[int((i + 0.5) * step)] for i in range(min(lines, len(places)))]
    return [Mutant(room, module, place, *_text(module, place)[1:]) for module, place in chosen]


def survives(mutant: Mutant) -> bool:
    """Whether the unit tests of its room pass with this line changed."""
    with tempfile.TemporaryDirectory() as name:
        copy = Path(name)
        for part in ("growthcast", "tests", "species", "data"):
            shutil.copytree(ROOT / part, copy / part, ignore=shutil.ignore_patterns("__pycache__"))
        for part in ("pyproject.toml", "README.md", "DEVELOPERS.md", "CHANGELOG.md"):
            shutil.copy(ROOT / part, copy / part)
        text = _text(mutant.module, mutant.place)[0]
        (copy / mutant.module.relative_to(ROOT)).write_text(text, encoding="utf-8")
        tests = list(TESTS[mutant.room])
        own = [
            str(test.relative_to(copy))
            for folder in tests
            for test in sorted((copy / folder).rglob(f"test_*{mutant.module.stem}*.py"))
        ]
        first = [*own, *(each for each in tests if each not in own)]
        return _passes(copy, first)


def _passes(copy: Path, tests: Sequence[str]) -> bool:
    command = [sys.executable, "-m", "pytest", "-q", "-x", "-p", "no:cacheprovider", *tests]
    env = os.environ | {"PYTHONPATH": str(copy), "OMP_NUM_THREADS": "1"}
    try:
        done = subprocess.run(
            command, cwd=copy, env=env, capture_output=True, timeout=LONGEST_RUN_S
        )
    except subprocess.TimeoutExpired:
        return False
    if done.returncode not in (0, 1, 2):
        raise RuntimeError(done.stdout.decode()[-2000:] + done.stderr.decode()[-2000:])
    return done.returncode == 0


def main(arguments: Sequence[str] | None = None) -> None:
    """Print the survivors, room by room."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--lines", type=int, default=20)
    parser.add_argument("--rooms", nargs="+", choices=tuple(TESTS), default=tuple(TESTS))
    parser.add_argument("--processes", type=int, default=os.cpu_count())
    asked = parser.parse_args(arguments)
    mutants = [mutant for room in asked.rooms for mutant in choose(room, asked.lines)]
    with ThreadPoolExecutor(asked.processes) as pool:
        lived = list(pool.map(survives, mutants))
    for room in asked.rooms:
        own = [(m, alive) for m, alive in zip(mutants, lived, strict=True) if m.room == room]
        print(f"{room}: {sum(alive for _, alive in own)} of {len(own)} survive")
        for mutant, alive in own:
            if alive:
                where = f"{mutant.module.relative_to(ROOT)}:{mutant.line}"
                print(f"    {where}  {mutant.was}  ->  {mutant.now}")


if __name__ == "__main__":
    main()
