"""Would the unit tests of a room notice a line that is wrong?

``python -m tests.benchmarks.mutants`` changes one line at a time, twenty lines in each of growth,
fit, forecast, service and book, spread evenly over the room's code, and runs the unit tests of that
room (``tests/unit/ROOM``; for growth the properties and references too, since its laws stand
there). A change that no test notices is a survivor and is printed with its line. Each room's tests
are first gone through once to see which files call which function: of a changed function only those
run, the ones named after the module first, then the quickest, and the first failure ends a run.

Changes: a comparison turned round, plus for minus, times for divided by, ``and`` for ``or``, a
condition denied, a number doubled and raised by one. Lines that only raise, annotate or document
are passed over, as are lines of a table of data.

``--lines N`` for each room (20), ``--rooms``, ``--processes N``. Run by hand: some 10 minutes of
two cores. The same lines are changed every time as long as the code is the same.
"""

from __future__ import annotations

import argparse
import ast
import json
import os
import shutil
import subprocess
import sys
import tempfile
import time
from collections import defaultdict
from collections.abc import Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from pathlib import Path
from queue import Queue
from types import FrameType

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
ENVIRONMENT = os.environ | {"OMP_NUM_THREADS": "1", "PYTHONPATH": str(ROOT)}
FOLLOW = """
from pathlib import Path
from tests.benchmarks.mutants import follow
follow({room!r}, Path({out!r}))
"""


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


@dataclass(eq=False)
class Bearing:
    """What the test files of a room call: a plugin of pytest that follows every function.

    ``calls`` holds (module, first line) of the functions by test file, ``seconds`` what a file
    takes. What sets up a fixture of the session bears on every file.
    """

    calls: dict[str, set[tuple[str, int]]] = field(default_factory=lambda: defaultdict(set))
    seconds: dict[str, float] = field(default_factory=lambda: defaultdict(float))
    file: str = ""

    def _follow(self, frame: FrameType, event: str, _: object) -> None:
        code = frame.f_code
        if "/growthcast/" in code.co_filename:
            self.calls[self.file].add((code.co_filename, code.co_firstlineno))

    @pytest.hookimpl(wrapper=True)
    def pytest_runtest_protocol(self, item: pytest.Item) -> Iterator[None]:
        """Follow a test with its own fixtures."""
        self.file, began = str(item.path), time.monotonic()
        sys.settrace(self._follow)
        try:
            return (yield)  # type: ignore[return-value]
        finally:
            sys.settrace(None)
            self.seconds[str(item.path)] += time.monotonic() - began

    @pytest.hookimpl(wrapper=True)
    def pytest_fixture_setup(self, fixturedef: pytest.FixtureDef[object]) -> Iterator[None]:
        """Ascribe what a fixture of the session calls to every file."""
        own, self.file = self.file, "" if fixturedef.scope == "session" else self.file
        try:
            return (yield)  # type: ignore[return-value]
        finally:
            self.file = own


def follow(room: str, out: Path) -> None:
    """Write down which test files of a room call which functions, the quickest file first."""
    seen = Bearing()
    tests = [str(ROOT / each) for each in TESTS[room]]
    pytest.main(["-q", "-p", "no:cacheprovider", *tests], plugins=[seen])
    every = seen.calls.pop("", set())
    called = {
        str(Path(file).relative_to(ROOT)): sorted({*calls, *every})
        for file, calls in sorted(seen.calls.items(), key=lambda one: seen.seconds[one[0]])
    }
    out.write_text(json.dumps(called), encoding="utf-8")


def bearing(room: str) -> dict[str, set[tuple[str, int]]]:
    """Return what ``follow`` writes down, asked of a process of its own."""
    with tempfile.TemporaryDirectory() as name:
        out = Path(name) / "calls.json"
        command = [sys.executable, "-c", FOLLOW.format(room=room, out=str(out))]
        subprocess.run(command, cwd=ROOT, env=ENVIRONMENT, check=True, capture_output=True)
        called = json.loads(out.read_text(encoding="utf-8"))
    return {file: {(where, line) for where, line in calls} for file, calls in called.items()}


def tests_of(mutant: Mutant, calls: dict[str, set[tuple[str, int]]]) -> list[str]:
    """Return the test files that call the changed function, the likeliest to notice first.

    All of the room's where none was seen to: what is called once only, or while it is imported.
    """
    mine = {(str(mutant.module), line) for line in mutant.function}
    found = [file for file, called in calls.items() if called & mine] or list(calls)
    return sorted(found, key=lambda file: mutant.module.stem not in Path(file).stem)


def survives(mutant: Mutant, tests: Sequence[str], copies: Queue[Path]) -> bool:
    """Whether these tests pass in a copy with this line changed."""
    copy = copies.get()
    module = copy / mutant.module.relative_to(ROOT)
    module.write_text(_text(mutant.module, mutant.place)[0], encoding="utf-8")
    try:
        _forget(module)
        return _passes(copy, tests)
    finally:
        shutil.copy(mutant.module, module)
        _forget(module)
        copies.put(copy)


def _forget(module: Path) -> None:
    """Delete what Python compiled of a module: it may be of the same second and size."""
    for compiled in (module.parent / "__pycache__").glob(f"{module.stem}.*"):
        compiled.unlink()


def _copied(place: Path) -> Path:
    for part in ("growthcast", "tests", "species", "data", "docs"):
        shutil.copytree(ROOT / part, place / part, ignore=shutil.ignore_patterns("__pycache__"))
    for part in ("pyproject.toml", "README.md", "DEVELOPERS.md", "CHANGELOG.md"):
        shutil.copy(ROOT / part, place / part)
    return place


def _passes(copy: Path, tests: Sequence[str]) -> bool:
    command = [sys.executable, "-m", "pytest", "-q", "-x", "-p", "no:cacheprovider", *tests]
    env = ENVIRONMENT | {"PYTHONPATH": str(copy)}
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
    copies: Queue[Path] = Queue()
    with tempfile.TemporaryDirectory() as name, ThreadPoolExecutor(asked.processes) as pool:
        for number in range(asked.processes):
            copies.put(_copied(Path(name) / str(number)))
        every_call = list(pool.map(bearing, asked.rooms))
        for room, calls in zip(asked.rooms, every_call, strict=True):
            own = choose(room, asked.lines)
            asks = [pool.submit(survives, m, tests_of(m, calls), copies) for m in own]
            lived = [mutant for mutant, ask in zip(own, asks, strict=True) if ask.result()]
            print(f"{room}: {len(lived)} of {len(own)} survive", flush=True)
            for mutant in lived:
                where = f"{mutant.module.relative_to(ROOT)}:{mutant.line}"
                print(f"    {where}  {mutant.was}  ->  {mutant.now}", flush=True)


if __name__ == "__main__":
    main()
