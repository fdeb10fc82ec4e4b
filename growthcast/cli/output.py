"""What every command prints with: JSON for programs, tables for people, sentences on stderr."""

from __future__ import annotations

import contextlib
import json
import os
import shutil
import sys
import textwrap
from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING, Any

from growthcast.errors import UsageError

if TYPE_CHECKING:
    from growthcast.service.effort import Range
    from growthcast.service.rescape.notes import NotHolding

__all__ = [
    "answer_that_arrives",
    "not_holding_dict",
    "print_json",
    "print_line",
    "print_table",
    "range_dict",
    "say",
    "with_range",
]

WIDE = 200
"""Columns of a table that does not go to a terminal: lines are not folded in files and pipes."""


@contextlib.contextmanager
def answer_that_arrives() -> Iterator[None]:
    """Run a command; raise ``UsageError`` if its answer cannot be written to stdout.

    A closed pipe stays ``BrokenPipeError``; trouble with a named file is left to the command.
    """
    try:
        try:
            yield
        finally:
            if sys.stdout is not None:  # nowhere to print to
                sys.stdout.flush()
    except BrokenPipeError:
        raise
    except OSError as error:
        if error.filename is not None:
            raise
        _forget_the_rest()
        reason = error.strerror or "no reason given"
        raise UsageError(f"the answer cannot be written to where stdout goes: {reason}") from error


def _forget_the_rest() -> None:
    """Point stdout to nowhere, so that leaving does not try to write the same text once more."""
    with contextlib.suppress(OSError, ValueError):
        nowhere = os.open(os.devnull, os.O_WRONLY)
        os.dup2(nowhere, sys.stdout.fileno())
        os.close(nowhere)


def say(sentence: str) -> None:
    """Say something beside the answer, on stderr."""
    print(printable(sentence), file=sys.stderr)  # noqa: T201


def print_json(answer: dict[str, Any]) -> None:
    """Print the answer as one JSON object; a number that is not finite is a fault of ours."""
    print(json.dumps(answer, allow_nan=False, ensure_ascii=False))  # noqa: T201


def not_holding_dict(one: NotHolding) -> dict[str, Any]:
    """Return an area whose plant is not likely to hold."""
    return {"area_id": one.area_id, "chance_holds": round(one.chance, 4), "why": one.why}


def range_dict(values: Range, digits: int) -> dict[str, float]:
    """Return a range by name, rounded."""
    return {name: round(getattr(values, name), digits) for name in ("p10", "p50", "p90")}


def with_range(values: Range, unit: str = "") -> str:
    """Return what is most likely with what it lies within 8 times of 10."""
    middle = f"{values.p50:.0f} {unit}".rstrip()
    return f"{middle} ({values.p10:.0f}–{values.p90:.0f})"


def print_line(text: str) -> None:
    """Print a line of the answer for people, folded at words on a terminal."""
    width = shutil.get_terminal_size().columns if sys.stdout.isatty() else WIDE // 2
    print(textwrap.fill(printable(text), width, subsequent_indent="    "))  # noqa: T201


def print_table(title: str, columns: Sequence[str], rows: Sequence[Sequence[str]]) -> None:
    """Print a table for people; columns whose name ends in ``>`` are aligned to the right."""
    from rich import box
    from rich.console import Console
    from rich.table import Table
    from rich.text import Text

    table = Table(
        title=Text(printable(title)), title_justify="left", box=box.SIMPLE_HEAD, pad_edge=False
    )
    for column in columns:
        right = column.endswith(">")
        table.add_column(
            Text(column.rstrip(">")), justify="right" if right else "left", overflow="fold"
        )
    for row in rows:
        table.add_row(*(Text(printable(cell)) for cell in row))
    console = Console(highlight=False, width=None if sys.stdout.isatty() else WIDE)
    console.print(table)


def printable(text: str) -> str:
    """Return a person's text without the characters that would steer a terminal."""
    return "".join(c if c.isprintable() or c == "\n" else "\N{REPLACEMENT CHARACTER}" for c in text)
