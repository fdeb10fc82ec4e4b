"""What phones hand on: visits as lines of text, what was tapped on photos, and the phones' keys.

A visit is a line: tank, day, number, then the visit.

::

    growthcast log --tank lobby --on 2026-03-02 --visit 5f0c9a77e1b2 rotala=19/10 35min

What a messenger puts before ``growthcast log`` is passed over, and so are blank lines and lines
that begin with ``#``. A number makes a visit known again however often it arrives.

What was tapped on a photo is kept beside the log, a line a photo: its day, tank, the visit's
number, and the taps as the page for tapping writes them. They are kept whenever a visit by photo
is logged, also where it is taken back, so that a better formula can read them again. Pictures are
kept only where somebody asks for it.
"""

from __future__ import annotations

import contextlib
import json
import re
import shlex
from collections.abc import Mapping, Sequence
from datetime import date
from itertools import count
from pathlib import Path
from typing import Any, Literal

import numpy as np

from growthcast.book.cells.numbers import parse_date
from growthcast.book.findings import Fault, refusal
from growthcast.book.supposed import Cell
from growthcast.book.words import shown
from growthcast.book.writing.append import Change, How, add_rows
from growthcast.book.writing.journal import Entry, book_lock, entries
from growthcast.book.writing.replace import read_file, refusals_in_words, replace_files, write_whole
from growthcast.book.writing.unlog import change_visit
from growthcast.book.writing.visit.entry import looks_like_item
from growthcast.errors import HeldAlready, UsageError
from growthcast.nouns import dataclass

_NUMBER = r"[0-9a-z]{6,40}"
MOST_LINES, LONGEST_LINE, LONGEST_NAME = 1000, 4000, 60
_OPTION = r"[-\N{EN DASH}\N{EM DASH}]{1,2}(tank|on|visit|by|taps|yes|t|y)"
_SHORT = {"t": "tank", "y": "yes"}
_COMMAND = r"\bgrowthcast\s+log\b"
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
    command = re.search(_COMMAND, text)
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
        option = re.fullmatch(_OPTION, name)
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
    if number and not re.fullmatch(_NUMBER, number):
        raise UsageError(refusal("no-visit-number", number=number))
    return number


def checked_name(name: str) -> str:
    """Return who logged a visit as the log keeps it; ``UsageError`` where it cannot."""
    name = " ".join(name.split())
    if len(name) > LONGEST_NAME or not name.isprintable() or name[:1] in tuple("=+-@"):
        raise UsageError(refusal("no-name", name=name, most=LONGEST_NAME))
    return name


def numbered(folder: Path, line: Line) -> State:
    """Return what the journal knows of a visit by its number alone."""
    for one in entries(folder) if line.number else ():
        if one.visit is not None and one.visit[0] == line.number:
            return "known" if one.visit[1] == line.content else "other"
    return "new"


def log_line(
    folder: Path,
    line: Line,
    cells: Sequence[Mapping[str, Cell]],
    *,
    today: date,
    again: bool = False,
) -> tuple[State, Change | None]:
    """Add a visit's rows to the log once, however often it arrives, all under the book's lock.

    It is "known" where the journal has its number or the log all of its rows, also where it was
    taken back since; "other" where its number was another visit's, which stays as it is. One logged
    ``again`` stands in the place of what the book has of its tank and day.
    Raises as ``add_rows``, or ``change_visit``, does.
    """
    with book_lock(folder):
        if (state := numbered(folder, line)) != "new":
            return state, None
        visit = (line.number, line.content) if line.number else None
        count, tank_id = len(cells), str(cells[0]["tank_id"])
        summary = f"{tank_id} on {line.day}, {count} row{'' if count == 1 else 's'}"
        said = {"command": "log", "summary": summary}
        how: How = {"today": today, "by": line.by}
        try:
            if again:
                added = change_visit(folder, tank_id, line.day, cells, **how)
            else:
                added = add_rows(folder, "trims", cells, visit=visit, **said, **how)
        except HeldAlready:
            return "known", None
        if line.taps:
            keep_taps(folder, tank_id, line.day, line.number, line.taps)
        return "new", added


TAPS, PHOTOS = "taps.jsonl", "photos"
LONGEST_TAPS = 20_000
"""Letters: 300 areas with a base and a top each."""


def read_taps(text: str) -> Mapping[str, Any]:
    """Return what was tapped on a photo, checked, and nothing else that the text may hold.

    It is a JSON object: ``width`` and ``height`` of the picture that was tapped on, ``corners``,
    ``areas`` by id with ``base`` and ``top`` or "skip", and ``focal`` or
    ``back``; pairs of pixels. ``UsageError`` where it is no such object.
    """
    try:
        return _checked(text)
    except (ValueError, TypeError, KeyError, AttributeError, RecursionError, OverflowError) as odd:
        raise UsageError(refusal("no-taps")) from odd


def _checked(text: str) -> dict[str, Any]:
    if len(text) > LONGEST_TAPS:
        raise ValueError("too long")
    given = json.loads(text)
    sizes = ("width", "height", *(("focal",) if given.get("focal") is not None else ()))
    told: dict[str, Any] = dict(zip(sizes, _numbers([given[name] for name in sizes]), strict=True))
    if min(told.values()) <= 0.0:
        raise ValueError("not a size")
    told["magnified"] = bool(given.get("magnified"))
    told["corners"] = _numbers(given["corners"], 4, 2)
    told |= {"back": _numbers(given["back"], 2, 2)} if given.get("back") else {}
    told["areas"] = {str(area): _tapped(tapped) for area, tapped in given["areas"].items()}
    return told


def _tapped(tapped: Any) -> Any:
    if tapped == "skip":
        return tapped
    base = {"base": _numbers(tapped["base"], 2)} if tapped.get("base") else {}
    return {**base, "top": _numbers(tapped["top"], 2)}


def _numbers(told: Any, *shape: int) -> list[Any]:
    """Return numbers as lists of a shape, of any length where none is given."""
    numbers = np.asarray(told, np.float64)
    if numbers.shape != (shape or (len(told),)) or not np.isfinite(numbers).all():
        raise ValueError("not numbers")
    found: list[Any] = numbers.tolist()
    return found


def keep_taps(folder: Path, tank_id: str, day: date, number: str, taps: str) -> None:
    """Add the taps of a visit to the book's, once, under its lock and with its journal."""
    line = {"date": day.isoformat(), "tank_id": tank_id, "visit": number, "taps": read_taps(taps)}
    new = json.dumps(line, ensure_ascii=False).encode() + b"\n"
    with book_lock(folder):
        old = read_file(folder, TAPS)
        if new not in (held := old or b""):
            said = Entry("taps", f"{tank_id} on {day}, what was tapped on its photo")
            replace_files(folder, {TAPS: held + new}, {TAPS: old}, said)


def keep_picture(folder: Path, tank_id: str, day: date, content: bytes) -> Path:
    """Keep a picture of a tank in the book's ``photos``, under a name of our own; return its path.

    A picture that is there already stays.
    """
    name = f"{day}-{re.sub(r'[^A-Za-z0-9_-]', '-', tank_id)}"
    with book_lock(folder), refusals_in_words(folder / PHOTOS):
        (folder / PHOTOS).mkdir(exist_ok=True)
        names = (f"{name}{f'-{n}' if n > 1 else ''}.jpg" for n in count(1))
        file = next(path for path in map((folder / PHOTOS).joinpath, names) if not path.exists())
        write_whole(file, content)
    return file


PHONES = ".growthcast.phones"
"""Hidden from readers of the book, and readable by its owner alone."""


def read_phones(folder: Path) -> dict[str, dict[str, Any]]:
    """Return what is known of phones, by the names of their keys; nothing where it is torn."""
    with contextlib.suppress(OSError, ValueError):
        known = json.loads((folder / PHONES).read_text(encoding="utf-8"))
        return {str(name): dict(one) for name, one in known.items()}
    return {}


def write_phones(folder: Path, phones: Mapping[str, Mapping[str, Any]]) -> None:
    """Write what is known of phones, whole or not at all, for its owner alone."""
    with book_lock(folder):
        write_whole(folder / PHONES, json.dumps(phones).encode(), 0o600)
