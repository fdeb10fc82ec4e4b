"""Would the unit tests of a room notice a line that is wrong?

``python -m tests.benchmarks.mutants`` changes one line at a time, twenty lines in each of growth,
fit, forecast, service and book, drawn from equal stretches of the room's code, and runs the unit
tests of that room (``tests/unit/ROOM``; for growth the properties and references too, since its
laws stand there). A change that no test notices is a survivor and is printed with its line. Each
room's tests are first gone through once to see which call which function: of a changed function
only those run, the ones of a file named after the module first, then the quickest, and the first
failure ends a run.

Changes: a comparison turned round, plus for minus, times for divided by, ``and`` for ``or``, a
condition denied, a number doubled and raised by one. Lines that only raise, annotate or document
are passed over, as are lines of a table of data. A process is forked for each, with the libraries
read and nothing of growthcast; the few tests that start a command of their own see it unchanged.

``--lines N`` for each room (20), ``--seed N`` for other lines, ``--rooms``, ``--processes N``;
``--at FILE[:LINE]`` for every change of one module or line. Run by hand: some 10 minutes. The same
lines are changed every time as long as the code is the same.
"""

from __future__ import annotations

import argparse
import ast
import json
import os
import random
import signal
import sys
import tempfile
import time
import traceback
from collections import defaultdict
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from importlib.machinery import SourceFileLoader
from pathlib import Path
from types import CodeType, FrameType
from typing import NoReturn

import hypothesis  # noqa: F401  the libraries that a fork need not read again
import matplotlib.pyplot as plt  # noqa: F401
import numpy as np  # noqa: F401
import pandas as pd  # noqa: F401
import pytest

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
LONGEST_RUN_S = 1800
"""A run this long hangs: the change was noticed."""
NEEDLESS = ("cacheprovider", "anyio", "xdist", "unraisableexception", "threadexception")
"""Plugins whose start takes longer than many a test."""
QUIET = (
    "-q",
    *(f"-pno:{name}" for name in NEEDLESS),
    "-Wignore::pytest.PytestAssertRewriteWarning",
)


@dataclass(frozen=True, slots=True)
class Mutant:
    """One line of one module, changed: the ``place`` of the node among those one can change.

    ``function``: lines that may count as the first of its function, a decorator's or its own.
    """

    room: str
    module: Path
    place: int
    function: range
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


def _nodes(tree: ast.Module) -> Iterator[tuple[ast.AST, ast.FunctionDef]]:
    """Yield the nodes that can be changed with their functions, in the order of the text."""
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
                    yield node, function


def _text(module: Path, place: int) -> tuple[str, range, int, str, str]:
    """Return a module's text with one node changed, and what ``Mutant`` says of it."""
    tree = ast.parse(module.read_text(encoding="utf-8"))
    node, function = list(_nodes(tree))[place]
    first = min([function.lineno, *(each.lineno for each in function.decorator_list)])
    new = changed(node)
    assert new is not None
    was, now = (_shown(each) for each in (node, new))

    class Change(ast.NodeTransformer):
        def visit(self, found: ast.AST) -> ast.AST:
            return new if found is node else super().generic_visit(found)

    line: int = node.lineno  # type: ignore[attr-defined]
    return (
        ast.unparse(ast.fix_missing_locations(Change().visit(tree))),
        range(first, function.lineno + 1),
        line,
        was,
        now,
    )


def _shown(node: ast.AST) -> str:
    return ast.unparse(node.test if isinstance(node, ast.If) else node).split("\n")[0]


def every_change(module: Path) -> list[tuple[Path, int]]:
    """Return the places of a module where something can be changed."""
    found = _nodes(ast.parse(module.read_text(encoding="utf-8")))
    return [(module, place) for place, _ in enumerate(found)]


def choose(room: str, lines: int, seed: int) -> list[Mutant]:
    """Return mutants of a room, one drawn from each of equal stretches of what can be changed."""
    modules = sorted((ROOT / "growthcast" / room).rglob("*.py"))
    places = [place for module in modules for place in every_change(module)]
    step, draw = max(len(places) / lines, 1.0), random.Random(seed)
    chosen = [places[int((i + draw.random()) * step)] for i in range(min(lines, len(places)))]
    return [Mutant(room, module, place, *_text(module, place)[1:]) for module, place in chosen]


def changes_at(where: str) -> list[Mutant]:
    """Return every mutant of a module, ``FILE``, or of one line of it, ``FILE:LINE``."""
    name, _, line = where.partition(":")
    module = (ROOT / name).resolve()
    room = module.relative_to(ROOT / "growthcast").parts[0]
    found = [Mutant(room, *place, *_text(*place)[1:]) for place in every_change(module)]
    return [mutant for mutant in found if not line or mutant.line == int(line)]


@dataclass(eq=False)
class Bearing:
    """What the tests of a room call: a plugin of pytest that follows every function.

    ``calls`` holds the code of the functions by test, ``seconds`` what a test takes. What sets up a
    fixture of a file or of the session bears on every test of it.
    """

    calls: dict[str, set[CodeType]] = field(default_factory=lambda: defaultdict(set))
    seconds: dict[str, float] = field(default_factory=lambda: defaultdict(float))
    now: str = ""

    def _follow(self, frame: FrameType, *_: object) -> None:
        self.calls[self.now].add(frame.f_code)

    def of(self, test: str) -> set[tuple[str, int]]:
        """Return module and first line of every function that bears on a test."""
        codes = self.calls[test] | self.calls[test.partition("::")[0]] | self.calls[""]
        places = {(code.co_filename, code.co_firstlineno) for code in codes}
        return {place for place in places if place[0].startswith(f"{ROOT}/growthcast/")}

    @pytest.hookimpl(wrapper=True)
    def pytest_runtest_protocol(self, item: pytest.Item) -> Iterator[None]:
        """Follow a test with its own fixtures."""
        self.now, began = item.nodeid, time.monotonic()
        sys.settrace(self._follow)
        try:
            return (yield)  # type: ignore[return-value]
        finally:
            sys.settrace(None)
            self.seconds[item.nodeid] += time.monotonic() - began

    @pytest.hookimpl(wrapper=True)
    def pytest_fixture_setup(self, fixturedef: pytest.FixtureDef[object]) -> Iterator[None]:
        """Ascribe what a fixture calls to every test that may use it."""
        own = self.now
        shared = {"session": "", "function": own}
        self.now = shared.get(fixturedef.scope, own.partition("::")[0])
        try:
            return (yield)  # type: ignore[return-value]
        finally:
            self.now = own


def follow(room: str, out: Path) -> None:
    """Write down the tests of a room, the quickest first, with the functions that each calls."""
    seen = Bearing()
    if pytest.main([*QUIET, *(str(ROOT / each) for each in TESTS[room])], plugins=[seen]):
        raise RuntimeError(f"the tests of {room} fail as they are")
    quickest = sorted(seen.seconds, key=seen.seconds.__getitem__)
    called = {test: sorted(seen.of(test)) for test in quickest}
    out.write_text(json.dumps(called), encoding="utf-8")


def bearing(room: str) -> dict[str, set[tuple[str, int]]]:
    """Return what ``follow`` writes down, asked of a process of its own."""
    with tempfile.TemporaryDirectory() as name:
        out = Path(name) / "calls.json"
        child = os.fork()
        if not child:
            _in_silence(lambda: follow(room, out) or 0)
        os.waitpid(child, 0)
        called = json.loads(out.read_text(encoding="utf-8"))
    return {test: {(where, line) for where, line in calls} for test, calls in called.items()}


def tests_of(mutant: Mutant, calls: dict[str, set[tuple[str, int]]]) -> list[str]:
    """Return the tests that call the changed function, the likeliest to notice first.

    All of the room's where none was seen to: what is called once only, or while it is imported.
    """
    mine = {(str(mutant.module), line) for line in mutant.function}
    found = [test for test, called in calls.items() if called & mine] or list(calls)
    files = list(dict.fromkeys(test.partition("::")[0] for test in found))
    files.sort(key=lambda file: mutant.module.stem not in Path(file).stem)
    return sorted(found, key=lambda test: files.index(test.partition("::")[0]))


@dataclass(frozen=True)
class Only:
    """A plugin of pytest: these tests, in this order."""

    tests: Sequence[str]

    @pytest.hookimpl(trylast=True)
    def pytest_collection_modifyitems(self, items: list[pytest.Item]) -> None:
        """Leave out the others."""
        order = {test: place for place, test in enumerate(self.tests)}
        items[:] = sorted(
            (item for item in items if item.nodeid in order), key=lambda item: order[item.nodeid]
        )


def start(mutant: Mutant, tests: Sequence[str]) -> int:
    """Run these tests with this line changed, in a process of their own; return its number."""
    text = _text(mutant.module, mutant.place)[0]
    plain = SourceFileLoader.get_code

    def get_code(loader: SourceFileLoader, name: str) -> CodeType | None:
        if loader.path != str(mutant.module):
            return plain(loader, name)
        return compile(text, loader.path, "exec")

    def run() -> int:
        SourceFileLoader.get_code = get_code  # type: ignore[method-assign]
        signal.alarm(LONGEST_RUN_S)
        files = dict.fromkeys(str(ROOT / test.partition("::")[0]) for test in tests)
        return pytest.main([*QUIET, "-x", *files], plugins=[Only(tests)])

    return os.fork() or _in_silence(run)


def _in_silence(run: Callable[[], int]) -> NoReturn:
    """End this process with what ``run`` returns; 3 where it breaks."""
    code, nowhere = 3, os.open(os.devnull, os.O_RDWR)
    error = os.fdopen(os.dup(2), "w")
    try:
        os.dup2(nowhere, 1)
        os.dup2(nowhere, 2)
        code = int(run())
    finally:
        traceback.print_exc(file=error) if sys.exc_info()[0] else None
        error.flush()
        os._exit(code)


def survivors(
    mutants: Sequence[Mutant], calls: dict[str, set[tuple[str, int]]], processes: int
) -> list[Mutant]:
    """Return the mutants that their tests do not notice."""
    left, running, lived = list(mutants), dict[int, Mutant](), list[Mutant]()
    while left or running:
        if left and len(running) < processes:
            mutant = left.pop(0)
            running[start(mutant, tests_of(mutant, calls))] = mutant
            continue
        child, status = os.wait()
        mutant, code = running.pop(child), os.waitstatus_to_exitcode(status)
        if code > 2:
            raise RuntimeError(f"the tests of {mutant} could not be run: {code}")
        if code == 0:
            lived.append(mutant)
    return sorted(lived, key=lambda mutant: (mutant.module, mutant.line))


def main(arguments: Sequence[str] | None = None) -> None:
    """Print the survivors, room by room."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--lines", type=int, default=20)
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--rooms", nargs="+", choices=tuple(TESTS), default=tuple(TESTS))
    parser.add_argument("--at", nargs="+", metavar="FILE[:LINE]")
    parser.add_argument("--processes", type=int, default=os.cpu_count())
    asked = parser.parse_args(arguments)
    os.chdir(ROOT)
    sys.dont_write_bytecode = False  # what is not changed is compiled once
    os.environ |= {"OMP_NUM_THREADS": "1", "CI": "1"}  # the same examples of hypothesis each time
    chosen = [mutant for where in asked.at or () for mutant in changes_at(where)]
    if not asked.at:
        chosen = [m for room in asked.rooms for m in choose(room, asked.lines, asked.seed)]
    for room in dict.fromkeys(mutant.room for mutant in chosen):
        own = [mutant for mutant in chosen if mutant.room == room]
        lived = survivors(own, bearing(room), asked.processes)
        print(f"{room}: {len(lived)} of {len(own)} survive", flush=True)
        for mutant in lived:
            where = f"{mutant.module.relative_to(ROOT)}:{mutant.line}"
            print(f"    {where}  {mutant.was}  ->  {mutant.now}", flush=True)


if __name__ == "__main__":
    main()
