"""What is plain is read without typer, to the same values; typer has all else."""

from __future__ import annotations

import shlex
from dataclasses import MISSING, fields, is_dataclass
from typing import Any, get_type_hints
from unittest import mock

import pytest
import typer
from typer.testing import CliRunner

from growthcast.cli.commands import takes_options
from growthcast.cli.main import COMMANDS, function_of
from growthcast.cli.options import KINDS, Command

EXAMPLES = [
    line.split("growthcast ", 1)[1]
    for name in COMMANDS
    for line in (function_of(name).__doc__ or "").splitlines()
    if line.strip().startswith("Example: growthcast ") and "--last" not in line
]
PLAIN = [
    "interval",
    "forecast --at 2026-01-01 book --at 2026-02-01",
    "rescape book --tank lobby --layouts a.csv b.csv c.csv",
    "species --light low --sort name",
    "peak --target 0.5 --target 0.6 --visits 2026-03-01",
    "import sheet.xlsx",
]


def by_typer(name: str, words: list[str]) -> dict[str, Any] | None:
    app, given = typer.Typer(rich_markup_mode=None), list[dict[str, Any]]()
    app.command(name)(takes_options(name))
    with mock.patch.object(Command, "__call__", lambda _, **values: given.append(values)):
        CliRunner().invoke(app, words)
    return given[0] if given else None


@pytest.mark.parametrize("line", [*EXAMPLES, *PLAIN])
def test_plain_words_are_read_as_typer_reads_them(line: str) -> None:
    name, *words = shlex.split(line)
    read = Command(name).read(words)
    assert read is not None
    assert read == by_typer(name, words)


@pytest.mark.parametrize(
    "line",
    [
        "interval --details=1",
        "interval one two",
        "interval --on 2026-13-01",
        "interval --tank",
        "interval --tank --json",
        "interval --help",
        "rounds --weeks many",
        "species --light dim",
        "journal --last 5",  # which has limits
        "log -tlobby stems=24",
        "import",
        "peak --within -1",
        "interval -- book",
        "interval ''",
    ],
)
def test_what_is_not_plain_is_left_to_typer(line: str) -> None:
    name, *words = shlex.split(line)
    assert Command(name).read(words) is None


@pytest.mark.parametrize("name", COMMANDS)
def test_a_function_takes_what_is_declared_in_that_order_and_of_that_kind(name: str) -> None:
    declared = {one.name: one for one in Command(name).takes if one.name != "no_cache"}
    taken: dict[str, Any] = {}
    for one, kind in get_type_hints(function_of(name)).items():
        if is_dataclass(kind):
            by_itself = {part.name for part in fields(kind) if part.default is not MISSING}
            kinds = get_type_hints(kind).items()
            taken |= {part: of for part, of in kinds if part in declared or part not in by_itself}
        else:
            taken[one] = kind
    del taken["return"]
    assert [*declared] == [*taken]
    for one, kind in taken.items():
        said = declared[one]
        of = list[KINDS[said.kind]] if said.many else KINDS[said.kind]
        may_be_none = said.default is None and not said.required and not said.lacking
        assert kind == (of | None if may_be_none else of)
