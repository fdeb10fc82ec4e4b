"""Every refusal that is listed is used, and every one used is listed with what fills it in."""

from __future__ import annotations

import ast
import tomllib
from pathlib import Path
from string import Formatter

from growthcast.book import findings
from growthcast.book.findings import refusal

BOOK = Path(findings.__file__).parent


def asked_for():
    """Yield the calls of ``refusal`` in the room: the name and, if told, what fills it in."""
    for module in BOOK.rglob("*.py"):
        for call in ast.walk(ast.parse(module.read_text(encoding="utf-8"))):
            if isinstance(call, ast.Call) and getattr(call.func, "id", "") == "refusal":
                told = {one.arg for one in call.keywords}
                yield ast.literal_eval(call.args[0]), None if None in told else told


def test_refusals_listed_and_used_are_the_same():
    listed = tomllib.loads((BOOK / "refusals.toml").read_text(encoding="utf-8"))
    calls = [*asked_for()]
    assert {name for name, _ in calls} == set(listed)
    for name, told in calls:
        wanted = {field for _, field, _, _ in Formatter().parse(listed[name]) if field}
        assert told in (None, wanted), name


def test_words_are_filled_in_as_in_findings():
    assert refusal("area-elsewhere", name="stems", tank="lobby") == (
        'area "stems" is in tank lobby; log that tank in a line of its own'
    )
    assert "for 30 s; wait" in refusal("lock-kept", folder="book", seconds=30.0)
