"""What every command prints with: JSON for programs, tables for people, sentences on stderr."""

from __future__ import annotations

import contextlib
import io
import json
import os
import shutil
import sys
import textwrap
from collections.abc import Iterable, Iterator, Sequence
from typing import TYPE_CHECKING, Any, Literal, NoReturn, TextIO

from growthcast.errors import Exit, UsageError
from growthcast.plain import plain
from growthcast.say.words import Beside, Table

if TYPE_CHECKING:
    from growthcast.fit.result import GrowthFit
    from growthcast.forecast.verdict import BacktestResult


WIDE = 200
"""Columns of a table that does not go to a terminal: lines are not folded in files and pipes."""
BETWEEN, RULE = "   ", "\N{BOX DRAWINGS LIGHT HORIZONTAL}"
HEAD_LINE = 2


@contextlib.contextmanager
def answer_that_arrives() -> Iterator[None]:
    """Run a command; raise ``UsageError`` if its answer cannot be written to stdout.

    Where the reader of a pipe has seen enough, leave quietly. Trouble with a named file is left to
    the command.
    """
    _open_streams()
    try:
        try:
            yield
        finally:
            sys.stdout.flush()
    except BrokenPipeError:
        _leave_quietly()
    except SystemExit as stop:
        if isinstance(stop.__context__, BrokenPipeError):  # so typer leaves a closed pipe
            _leave_quietly()
        raise
    except OSError as error:
        if error.filename is not None:
            raise
        _forget_the_rest(sys.stdout)
        reason = error.strerror or "no reason given"
        raise UsageError(f"the answer cannot be written to where stdout goes: {reason}") from error


def _open_streams() -> None:
    """Open what is closed, lest a file takes its place, and let the outputs take any letter."""
    if sys.stdout is None:  # nothing can be written to it, so that an answer is told not to arrive
        sys.stdout = os.fdopen(os.open(os.devnull, os.O_RDONLY), "w", encoding="utf-8")
    if sys.stderr is None:
        sys.stderr = os.fdopen(os.open(os.devnull, os.O_WRONLY), "w", encoding="utf-8")
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="backslashreplace")


def _leave_quietly() -> NoReturn:
    _forget_the_rest(sys.stdout)
    sys.exit(int(Exit.DONE))


def _forget_the_rest(stream: TextIO) -> None:
    """Point a stream to nowhere, so that leaving does not try to write the same text once more."""
    with contextlib.suppress(OSError, ValueError):
        nowhere = os.open(os.devnull, os.O_WRONLY)
        os.dup2(nowhere, stream.fileno())
        os.close(nowhere)


def say(sentence: str) -> None:
    """Say something beside the answer, on stderr, as long as anybody reads it."""
    try:
        print(printable(sentence), file=sys.stderr)  # noqa: T201
    except BrokenPipeError:
        _forget_the_rest(sys.stderr)


def print_answer(
    as_json: bool,
    noun: object,
    words: Iterable[str | Table | Beside],
    fit: GrowthFit | BacktestResult | None = None,
) -> None:
    """Print an answer: its noun for programs, else its sentences and tables for people."""
    if as_json:
        print_json(noun, fit)
    else:
        print_words(words)


def print_words(words: Iterable[str | Table | Beside]) -> None:
    """Print sentences and tables for people."""
    for part in words:
        if isinstance(part, str):
            print_line(part)
        elif isinstance(part, Beside):
            say(part.sentence)
        else:
            print_table(*part)


def print_json(noun: object, fit: GrowthFit | BacktestResult | None = None) -> None:
    """Print an answer as one JSON object; a number that is not finite is a fault of ours.

    With the fit, or the fits, that it rests on, tanks whose log could not be fitted are named.
    """
    answer: dict[str, Any] = plain(noun)
    if fit is not None:
        failed = [{"tank_id": tank, "why": why} for tank, why in fit.not_fitted.items()]
        answer = answer | {"not_fitted": failed}
    try:
        text = json.dumps(answer, allow_nan=False, ensure_ascii=not _takes_any_letter())
    except ValueError:
        from growthcast.finite import finite

        finite(answer, "JSON")  # names the number
        raise
    print(text)  # noqa: T201


def _takes_any_letter() -> bool:
    """Whether stdout is in Unicode; elsewhere letters that it lacks are escaped."""
    return (sys.stdout.encoding or "utf-8").lower().startswith("utf")


def print_line(text: str) -> None:
    """Print a line of the answer for people, folded at words on a terminal."""
    width = shutil.get_terminal_size().columns if sys.stdout.isatty() else WIDE // 2
    print(textwrap.fill(printable(text), width, subsequent_indent="    "))  # noqa: T201


def print_table(title: str, columns: Sequence[str], rows: Sequence[Sequence[str]]) -> None:
    """Print a table for people; columns whose name ends in ``>`` are aligned to the right.

    rich folds what is wider than the terminal. What fits, nearly every table, is laid out here as
    rich would, in a thirtieth of the time.
    """
    right = [column.endswith(">") for column in columns]
    heads = [printable(column.rstrip(">")) for column in columns]
    title, cells = printable(title), [[printable(cell) for cell in row] for row in rows]
    lines = _lines(title, [heads, *cells], right) if _is_plain() else None
    if lines is None:
        _print_with_rich(title, heads, right, cells)
        return
    if sys.stdout.isatty() and not os.environ.get("NO_COLOR"):
        lines[HEAD_LINE] = f"\x1b[1m{lines[HEAD_LINE]}\x1b[0m"
    print("\n".join(lines))  # noqa: T201


def _is_plain() -> bool:
    """Whether nothing but the width decides how a table looks on this stdout."""
    if not _takes_any_letter():
        return False  # lines are drawn with other characters
    if "FORCE_COLOR" in os.environ or "TTY_COMPATIBLE" in os.environ:
        return False
    usual = sys.platform != "win32" and os.environ.get("TERM", "dumb") not in ("dumb", "unknown")
    return usual or not sys.stdout.isatty()


def _lines(title: str, table: list[list[str]], right: list[bool]) -> list[str] | None:
    """Lay out a table, its first row the header; None where something must be folded."""
    widths = [max(map(_width, column)) for column in zip(*table, strict=True)]
    inner = sum(widths) + len(BETWEEN) * (len(widths) - 1)
    room = shutil.get_terminal_size().columns if sys.stdout.isatty() else WIDE
    one_line = all(cell == cell.strip() and "\n" not in cell for row in table for cell in row)
    titled = title != "" and title == title.strip() and "\n" not in title
    if not one_line or not titled or min(widths, default=0) == 0:
        return None
    if inner + 2 > room or _width(title) > inner + 2:
        return None
    body = [f" {BETWEEN.join(map(_padded, row, widths, right))} " for row in table]
    blank, rule = " " * (inner + 2), f" {RULE * inner} "
    return [_padded(title, inner + 2), blank, body[0], rule, *body[1:], blank]


def _padded(text: str, width: int, right: bool = False) -> str:
    blanks = " " * (width - _width(text))
    return blanks + text if right else text + blanks


def _width(text: str) -> int:
    """Columns that a text takes on a terminal."""
    if text.isascii():
        return len(text)
    from rich.cells import cell_len

    return cell_len(text)


def _print_with_rich(
    title: str, heads: list[str], right: list[bool], cells: list[list[str]]
) -> None:
    from rich import box
    from rich.console import Console
    from rich.table import Table
    from rich.text import Text

    def text(cell: str) -> Text:
        coding = sys.stdout.encoding or "utf-8"
        return Text(cell.encode(coding, "backslashreplace").decode(coding))

    console = Console(
        highlight=False,
        width=None if sys.stdout.isatty() else WIDE,
        color_system=None if os.environ.get("NO_COLOR") else "auto",  # bold is none either
    )
    table = Table(title=text(title), title_justify="left", box=box.SIMPLE_HEAD, pad_edge=False)
    widths = _folded([heads, *cells], console.width - 2 - len(BETWEEN) * (len(heads) - 1))
    for head, to_right, width in zip(heads, right, widths, strict=True):
        justify: Literal["left", "right"] = "right" if to_right else "left"
        table.add_column(text(head), justify=justify, overflow="fold", width=width)
    for row in cells:
        table.add_row(*map(text, row))
    console.print(table)


def _folded(table: list[list[str]], room: int) -> list[int | None]:
    """Return the widths of columns folded between words; None where words must break."""
    columns = list(zip(*table, strict=True))
    widths = [max(map(_width, column)) for column in columns]
    longest = [max(map(_width, " ".join(column).split()), default=0) for column in columns]
    if sum(longest) > room:
        return [None] * len(columns)
    while sum(widths) > room:
        spare = [
            width if width > least else 0 for width, least in zip(widths, longest, strict=True)
        ]
        widths[spare.index(max(spare))] -= 1
    return list(widths)


def printable(text: str) -> str:
    """Return a person's text without the characters that would steer a terminal."""
    if text.isprintable():
        return text
    return "".join(c if c.isprintable() or c == "\n" else "\N{REPLACEMENT CHARACTER}" for c in text)
