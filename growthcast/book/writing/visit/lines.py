"""Visits as lines of text, one each, as a phone hands them on: tank, day, number, then the visit.

::

    growthcast log --tank lobby --on 2026-03-02 --visit 5f0c9a77e1b2 rotala=19/10 35min

What a messenger puts before ``growthcast log`` is passed over, and so are blank lines and lines
that begin with ``#``. A number makes a visit known again however often it arrives.
"""

from __future__ import annotations

import re
import shlex
from collections.abc import Mapping, Sequence
from datetime import date
from pathlib import Path
from typing import Literal

from growthcast.book.cells.numbers import Fault, parse_date
from growthcast.book.supposed import Cell
from growthcast.book.words import shown
from growthcast.book.writing.append import Addition, add_rows
from growthcast.book.writing.journal import entries
from growthcast.book.writing.lock import book_lock
from growthcast.book.writing.visit.amounts import looks_like_item
from growthcast.book.writing.visit.taps import keep_taps, read_taps
from growthcast.errors import HeldAlready, UsageError
from growthcast.nouns import dataclass

NUMBER = re.compile(r"[0-9a-z]{6,40}")
MOST_LINES, LONGEST_LINE, LONGEST_NAME = 1000, 4000, 60
_OPTION = re.compile(r"[-\N{EN DASH}\N{EM DASH}]{1,2}(tank|on|visit|by|taps|yes|t|y)")
_SHORT = {"t": "tank", "y": "yes"}
_COMMAND = re.compile(r"\bgrowthcast\s+log\b")
_TYPED_QUOTES = str.maketrans("“”„‟‘’", '""""\'\'')

State = Literal["new", "known", "other"]


@dataclass(frozen=True, slots=True)
class Line:
    """One visit as a line: its tank (``None``: the one its areas are in), day, number and items.

    ``by`` is who logged it, ``taps`` what was tapped on its photo; they are no part of what makes
    two visits the same.
    """

    tank_id: str | None
    day: date
    items: tuple[str, ...]
    number: str = ""
    row: int = 0
    by: str = ""
    taps: str = ""

    @property
    def content(self) -> str:
        """What the line says, its number, who logged it and taps aside."""
        return shlex.join(["--tank", self.tank_id or "", "--on", str(self.day), *self.items])


def read_lines(text: str) -> tuple[Line, ...]:
    """Return the visits that lines of a text tell, doubled lines once.

    ``UsageError`` names every line that is not understood, with what to write.
    """
    typed = text.removeprefix("\ufeff").splitlines()
    if len(typed) > MOST_LINES:
        raise UsageError(f"the file has {len(typed)} lines; at most {MOST_LINES} are read at once")
    found: dict[tuple[str, str], Line] = {}
    troubles: list[str] = []
    for row, one in enumerate(typed, start=1):
        if not one.strip() or one.lstrip().startswith("#"):
            continue
        try:
            line = _line(one, row)
            found.setdefault((line.number, line.content), line)
        except UsageError as trouble:
            troubles.append(f"line {row}: {trouble}")
    if troubles:
        raise UsageError("nothing was written; mend these lines:\n    " + "\n    ".join(troubles))
    if not found:
        raise UsageError("the file holds no visit; write one a line, as growthcast log reads it")
    return tuple(found.values())


def _line(text: str, row: int) -> Line:
    if len(text) > LONGEST_LINE:
        raise UsageError(f"{len(text)} letters are too many for one visit")
    command = _COMMAND.search(text)
    text = text[command.end() :] if command else text
    try:
        words = shlex.split(text.translate(_TYPED_QUOTES))
    except ValueError as error:
        raise UsageError(f"{shown(text.strip())} has a quotation mark without its pair") from error
    if command and words and not words[0].startswith("-") and not looks_like_item(words[0]):
        del words[0]  # the folder of the book
    given: dict[str, str] = {}
    items: list[str] = []
    while words:
        word = words.pop(0)
        name, mark, value = word.partition("=")
        option = _OPTION.fullmatch(name)
        what = _SHORT.get(option[1], option[1]) if option else ""
        if option is None:
            items.append(word)
        elif what != "yes":
            if not mark and not words:
                raise UsageError(f"{name} has nothing after it")
            if what in given:
                raise UsageError(f"{name} is given twice")
            given[what] = value if mark else words.pop(0)
    if "on" not in given:
        raise UsageError("the day is missing; write it as in --on 2026-03-02")
    day = parse_date(given["on"])
    if isinstance(day, Fault):
        raise UsageError(f"--on {shown(given['on'])}: a value {day.why}; {day.fix}")
    on = date.fromisoformat(str(day))
    number, by = checked_number(given.get("visit", "")), checked_name(given.get("by", ""))
    if taps := given.get("taps", ""):
        read_taps(taps)
    return Line(given.get("tank"), on, tuple(items), number, row, by, taps)


def checked_number(number: str) -> str:
    """Return a visit's number as it is kept; ``UsageError`` where it is none."""
    if number and not NUMBER.fullmatch(number):
        raise UsageError(
            f"--visit {shown(number)} is no number of a visit: 6 to 40 small letters and digits"
        )
    return number


def checked_name(name: str) -> str:
    """Return who logged a visit as the log keeps it; ``UsageError`` where it cannot."""
    name = " ".join(name.split())
    if len(name) > LONGEST_NAME or not name.isprintable() or name[:1] in tuple("=+-@"):
        raise UsageError(
            f"--by {shown(name)}: write a name of at most {LONGEST_NAME} letters that does not "
            "begin with =, +, - or @, which spreadsheets take for a formula"
        )
    return name


def numbered(folder: Path, line: Line) -> State:
    """Return what the journal knows of a visit by its number alone."""
    for one in entries(folder) if line.number else ():
        if one.visit is not None and one.visit[0] == line.number:
            return "known" if one.visit[1] == line.content else "other"
    return "new"


def log_line(
    folder: Path, line: Line, cells: Sequence[Mapping[str, Cell]], summary: str, *, today: date
) -> tuple[State, Addition | None]:
    """Add a visit's rows to the log once, however often it arrives, all under the book's lock.

    It is "known" where the journal has its number or the log all of its rows, also where it was
    taken back since; "other" where its number was another visit's, which stays as it is.
    Raises as ``add_rows`` does.
    """
    with book_lock(folder):
        if (state := numbered(folder, line)) != "new":
            return state, None
        visit = (line.number, line.content) if line.number else None
        try:
            said = {"command": "log", "summary": summary, "by": line.by}
            added = add_rows(folder, "trims", cells, today=today, visit=visit, **said)
        except HeldAlready:
            return "known", None
        if line.taps:
            keep_taps(folder, str(cells[0]["tank_id"]), line.day, line.number, line.taps)
        return "new", added
