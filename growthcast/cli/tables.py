"""Tables and sentences as a terminal shows them: as wide as it is, in colours where it has them."""

from __future__ import annotations

import os
import re
import shutil
import sys
from collections.abc import Sequence
from itertools import zip_longest

from growthcast.say.words import DAYS, FINE, MONTHS, OVERDUE, RANGES, TIGHT, Table

WIDE, LINE, NARROW = 200, 100, 60
"""Columns of a table that does not go to a terminal, of a sentence at most, and those below which a
row of a table becomes a block."""
BETWEEN, RULE = "  ", "\N{BOX DRAWINGS LIGHT HORIZONTAL}"
BOLD, COLOURS = "1", {OVERDUE: "31", TIGHT: "33", FINE: "32"}
BRACKETS = re.compile(r" \([^()]*\N{EN DASH}[^()]*\)")
UNITS = "|".join(("%", "cm", "h", "min", "days?", *MONTHS))
TOGETHER = re.compile(rf"(?<=\d) (?=(?:{UNITS})(?!\w))|(?<={'|'.join(DAYS)}) (?=\d)")
"""Blanks at which no line ends."""
QUOTED = re.compile(r"""(?<![^\s(])(["'])[^"'\n]*\1(?=[\s.,;:)]|$)""")
"""A name that somebody typed, as a path: no line ends in it."""
ENDS_OR_JOINS = re.compile("\n|\N{NO-BREAK SPACE}|  | $")
"""What folding changes even in a text that has the room."""
PLAIN_LETTERS = str.maketrans({RULE: "-", "\N{EN DASH}": "-", FINE: "+", "×": "x", "÷": "/"})
"""What stands for a character of ours where stdout is not in Unicode."""
NARROW_LETTERS = re.compile(f"[ -~{''.join(map(chr, PLAIN_LETTERS))}]*")
"""Text all of whose characters take one column."""


def takes_any_letter() -> bool:
    """Whether stdout is in Unicode; elsewhere letters that it lacks are escaped."""
    return (sys.stdout.encoding or "utf-8").lower().startswith("utf")


def print_line(text: str) -> None:
    """Print a line of the answer for people, folded at words."""
    first, *rest = _folded(printable(text), min(_room(), LINE))
    print(_shown("\n    ".join([first, *_folded(" ".join(rest), min(_room(), LINE) - 4)]).rstrip()))  # noqa: T201


def _room() -> int:
    return shutil.get_terminal_size().columns if sys.stdout.isatty() else WIDE


def _shown(text: str) -> str:
    """Return lines with the characters that stdout can write."""
    return text if takes_any_letter() else text.translate(PLAIN_LETTERS)


def print_table(table: Table) -> bool:
    """Print a table for people; tell whether ranges were left out.

    Where it is wider than the terminal, columns give way as it declares, then cells are folded at
    words. On a narrow terminal, or where that does not do, a row becomes a block of lines.
    """
    rows = [[*map(printable, row)] for row in table.rows]
    whole = [[*map(printable, table.columns)], *rows]
    room, title, lines, count = _room(), printable(table.title), None, 0
    leave = table.gives_way if room >= NARROW else ()
    for count in range(len(leave) + 1):
        part = _without(whole, leave[:count])
        if lines := _lines(part, room):
            break
    if lines is None and room >= NARROW:
        lines = _lines(part, room, fold=True)
    head = _folded(title, room) if title else []
    print(_shown("\n".join([*head, *(lines or _blocks(whole, room)), ""])))  # noqa: T201
    return lines is not None and RANGES in leave[:count]


def _without(table: list[list[str]], left_out: Sequence[str]) -> list[list[str]]:
    """Return a table without some of its columns, or ``RANGES`` of one column or of all."""
    heads = table[0]
    kept = [n for n, head in enumerate(heads) if head.rstrip(">") not in left_out]
    part = [[row[n] for n in kept] if len(row) == len(heads) else [*row] for row in table]
    bare = [name.removesuffix(RANGES).strip() for name in left_out if name.endswith(RANGES)]
    for row in part[1:]:
        for n, (head, cell) in enumerate(zip(part[0], row, strict=False)):
            if "" in bare or head.rstrip(">") in bare:
                row[n] = BRACKETS.sub("", cell)
    return part


def _lines(table: list[list[str]], room: int, *, fold: bool = False) -> list[str] | None:
    """Lay out a table, its first row the header; None where it is wider than the room."""
    heads = table[0]
    right = [head.endswith(">") for head in heads]
    table = [[head.rstrip(">") for head in heads], *table[1:]]
    columns = [*zip(*(row for row in table if len(row) == len(heads)), strict=True)]
    widths = [max(map(_width, column)) for column in columns]
    room -= 2 + len(BETWEEN) * (len(widths) - 1)
    if fold:
        least = [
            max(_width(word) for cell in column for word in _words(cell)) for column in columns
        ]
        while sum(widths) > room:
            spare = [w if w > low else 0 for w, low in zip(widths, least, strict=True)]
            if not any(spare):
                return None
            widths[spare.index(max(spare))] -= 1
    elif sum(widths) > room:
        return None
    lines = []
    for row in table:
        if len(row) < len(heads):
            lines.append(f" {row[0]}")
            continue
        cells = [_folded(cell, width) for cell, width in zip(row, widths, strict=True)]
        for part in zip_longest(*cells, fillvalue=""):
            padded = map(_padded, part, row, widths, right)
            lines.append(f" {BETWEEN.join(padded)}".rstrip())
    tall = max(len(_folded(head, width)) for head, width in zip(table[0], widths, strict=True))
    rule = f" {RULE * (sum(widths) + len(BETWEEN) * (len(widths) - 1))}"
    return [*(_coloured(line, BOLD) for line in lines[:tall]), rule, *lines[tall:]]


def _padded(text: str, cell: str, width: int, right: bool) -> str:
    """Return a line of a cell in the cell's colour, as wide as its column."""
    blanks, said = " " * (width - _width(text)), _coloured(text, COLOURS.get(cell[:2].strip(), ""))
    return blanks + said if right else said + blanks


def _blocks(table: list[list[str]], room: int) -> list[str]:
    """Lay out every row of a table as lines of their own under what it is about."""
    heads, lines = [head.rstrip(">") for head in table[0]], []
    about = 1 if len(heads) < 4 or table[0][1].endswith(">") else 2  # cells, as day and tank
    for row in table[1:]:
        named = ", ".join(cell for cell in row[:about] if cell)
        lines += [_coloured(line, BOLD) for line in _folded(named, room)]
        for head, cell in zip(heads[about:], row[about:], strict=False):
            told = _folded(f"{head}: {cell}" if head else cell, room - 4) if cell else []
            colour = COLOURS.get(cell[:2].strip(), "")
            lines += [
                f"{'    ' if n else '  '}{_coloured(line, colour)}" for n, line in enumerate(told)
            ]
    return lines


def _folded(text: str, width: int) -> list[str]:
    """Fold a text between words; what belongs together, and a word wider than that, stays whole."""
    if _width(text) <= width and not ENDS_OR_JOINS.search(text):
        return [text]
    lines = [text[: len(text) - len(text.lstrip(" "))]]
    for word in _words(text):
        joined = f"{lines[-1]} {word}" if lines[-1].strip() else lines[-1] + word
        if _width(joined) <= width or not lines[-1].strip():
            lines[-1] = joined
        else:
            lines.append(word)
    return lines


def _words(text: str) -> list[str]:
    """Return the words of a text; a number with its unit, a date and a quoted name are one."""
    together = TOGETHER.sub("\N{NO-BREAK SPACE}", text)
    together = QUOTED.sub(lambda name: name[0].replace(" ", "\N{NO-BREAK SPACE}"), together)
    words = together.replace("\n", " ").split(" ")
    return [word.replace("\N{NO-BREAK SPACE}", " ") for word in words if word] or [""]


def _coloured(text: str, code: str) -> str:
    """Return a text in a colour where stdout shows colours."""
    if not code or not text or os.environ.get("NO_COLOR"):
        return text
    shows = sys.stdout.isatty() and os.environ.get("TERM", "dumb") not in ("dumb", "unknown")
    if sys.platform == "win32":
        shows = sys.stdout.isatty() and "WT_SESSION" in os.environ  # older windows print the codes
    return f"\x1b[{code}m{text}\x1b[0m" if shows else text


def _width(text: str) -> int:
    """Columns that a text takes on a terminal."""
    if NARROW_LETTERS.fullmatch(text) or text.isascii():
        return len(text)
    from rich.cells import cell_len

    return cell_len(text)


def printable(text: str) -> str:
    """Return a person's text without the characters that would steer a terminal."""
    if text.isprintable():
        return text
    return "".join(c if c.isprintable() or c == "\n" else "\N{REPLACEMENT CHARACTER}" for c in text)
