"""Changes taken back: the last one, one by its id, or the visit of a tank on a day."""

from __future__ import annotations

import hashlib
import re
from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import Unpack

import numpy as np

from growthcast.book.book import Book
from growthcast.book.cells.numbers import parse_date
from growthcast.book.findings import refusal
from growthcast.book.supposed import Cell
from growthcast.book.tables import TABLES
from growthcast.book.writing.append import Change, How, edit_table, row_in_words, tried
from growthcast.book.writing.journal import Entry, Splice, append_line, book_lock, entries, undone
from growthcast.book.writing.replace import read_file, replace_files
from growthcast.book.writing.source import read_source, widened
from growthcast.errors import UsageError

VISITS = ("log",)
CHANGES = (*VISITS, "add", "replace", "retire", "move", "import")
"""Commands, by their first word, of which what they wrote can be taken back."""
_ENDS = (b"\n", b"\r")
_NOT_SAID = ("date", "tank_id", "area_id")


def last_entry(folder: Path, commands: Sequence[str] = VISITS, id_: str = "") -> Entry | None:
    """Return the last entry of some commands that has not been taken back, if any.

    With ``id_``, the one whose id begins so.
    """
    known = list(entries(folder))
    gone = undone(known)
    for entry in reversed(known):
        command = entry.command.partition(" ")[0]
        if command in commands and entry.id not in gone and entry.id.startswith(id_):
            return entry
    return None


def take_back(
    folder: Path,
    commands: Sequence[str] = VISITS,
    id_: str = "",
    *,
    today: date | None = None,
    by: str = "",
) -> Entry:
    """Take back the last entry of some commands and return it; other rows stay as they are.

    The journal keeps both the entry and that it was taken back. ``UsageError`` where there is no
    entry left, or what it wrote is not there any more; ``BookProblems`` where rows written since
    need it.
    """
    with book_lock(folder):
        entry = last_entry(folder, commands, id_)
        if entry is None:
            why = refusal("no-change-named", id=id_) if id_ else None
            raise UsageError(why or refusal("no-change-left", folder=folder))
        now = {name: read_file(folder, name) for name in entry.files}
        old: dict[str, bytes | None] = {}
        for name, splice in entry.files.items():
            found, data = _without(splice, now[name])
            if not found:
                raise UsageError(_moved_on(folder, name, entry, splice, now[name]))
            old[name] = data
        tried(folder, old, now, today=today or date.today(), back=True)
        said = Entry("unlog", f"took back: {entry.summary}", entry.id, by=by)
        replace_files(folder, old, now, said)
        return entry


def _without(splice: Splice, now: bytes | None) -> tuple[bool, bytes | None]:
    """Return whether what a change put into a file is there, and the file without it.

    It is where the file begins with what it was after the change, rows added since aside, or holds
    the lines that were added once, after changes by hand.
    """
    data, added = now or b"", splice.added
    if now is None and splice.after is not None:
        return False, None
    size = len(data) if now is None else _begins_with(data, splice.after)
    if size is not None:
        at = splice.at
    elif added.endswith(_ENDS) and data.count(added) == 1:
        at = data.index(added)
        size = at + len(added)
    else:
        return False, None
    old, since = data[:at] + splice.removed + data[at + len(added) : size], data[size:]
    if since and not old.rstrip(b"\0").endswith(_ENDS):
        return False, None  # a header would go, or two rows become one
    return True, None if splice.before is None and not old else old + since


def _begins_with(data: bytes, wanted: str | None) -> int | None:
    """Return how long the beginning of a file, up to an end of a line, is that has a hash."""
    ends = {match.end() + more for match in re.finditer(rb"[\r\n]", data) for more in (0, 1)}
    known, done = hashlib.sha256(), 0
    for end in sorted(ends | {len(data)}):
        known.update(data[done:end])
        done = min(end, len(data))
        if known.hexdigest() == wanted:
            return done
    return None


def _moved_on(folder: Path, name: str, entry: Entry, splice: Splice, now: bytes | None) -> str:
    """Say why an entry cannot be taken back; one that is gone is marked so in the journal."""
    lines = splice.added.replace(b"\0", b"").decode("utf-8", "replace").strip().splitlines() or [""]
    said = {"name": name, "summary": entry.summary}
    if now is not None and splice.added.strip() in now:
        return refusal("rows-after", **said, row=lines[-1])
    if entry.command not in VISITS:
        return refusal("changed-since", **said)
    gone = f"was not in {name} any more: {entry.summary}"
    append_line(folder, Entry("unlog", gone, entry.id).stamped({}))
    return refusal("visit-gone", **said)


def without_visit(book: Book, tank_id: str, on: date) -> Book:
    """Return a book as if a tank had not been visited on a day."""
    trims = book.trims
    there = (trims.text("tank_id") == tank_id) & (trims.date("date") == np.datetime64(on, "D"))
    return replace(book, trims=trims.keep(~np.asarray(there, np.bool_)))


def change_visit(
    folder: Path,
    tank_id: str,
    on: date,
    cells: Sequence[Mapping[str, Cell]] = (),
    **how: Unpack[How],
) -> Change:
    """Put other rows in the place of a visit's, or none, whatever was logged since.

    Rows of areas that both have stay in their place, with the new amounts; cells of columns that
    nobody declared stay as typed.

    Parameters
    ----------
    folder
        The book's folder.
    tank_id, on
        The tank, and the day it was visited.
    cells
        The rows it becomes, by column of ``trims.csv``; without any it is taken back.
    **how
        The day that log dates are held against, whether it is written, and by whom.

    Raises
    ------
    UsageError
        The log has no row of the tank on the day, or the new rows are those it has.
    BookProblems
        The book would have problems which it has not now.
    NotWritten
        The file cannot be written.
    """
    with book_lock(folder):
        source = read_source(folder, "trims")
        day = on.isoformat()
        mine = [
            (record, old)
            for record, old in source.rows()
            if old.get("tank_id", "").strip() == tank_id
            and parse_date(old.get("date", "").strip()) == day
        ]
        if not mine:
            raise UsageError(f"trims.csv has no row of {tank_id} on {on}; nothing was changed")
        typed = widened(source, source.lacking(cells)).typed
        waiting = {str(row.get("area_id") or ""): typed(row) for row in cells}
        changed, gone, lines = dict[int, dict[str, str]](), set[int](), list[str]()
        for record, old in mine:
            area = old.get("area_id", "").strip()
            title, row = area or "whole tank", waiting.pop(area, None)
            if row is None:
                gone.add(record.row)
                lines.append(f"{title}: {_said(old)}: taken out")
            elif new := _differing(old, row):
                changed[record.row] = new
                lines.append(f"{title}: {_said(old)}; now {_said(old | new)}")
        lines += [f"{area or 'whole tank'}: {_said(row)}: new" for area, row in waiting.items()]
        if not lines:
            raise UsageError(f"the visit of {tank_id} on {on} is in the book as typed already")
        what = f"{len(lines)} row{'s' if len(lines) > 1 else ''}"
        said = Entry("log", f"{tank_id} on {on}, {what} logged again")
        if not cells:
            back = _logged_by(folder, tank_id, on)
            said = Entry("unlog", f"{tank_id} on {on}, {what} taken back", back)
        rows = changed, list(waiting.values()), said, frozenset(gone)
        return replace(edit_table(folder, source, *rows, **how), lines=tuple(lines))


def _differing(old: Mapping[str, str], row: Mapping[str, str]) -> dict[str, str]:
    """Return the declared cells of a row that change; those it does not have are blanked."""
    new = {column.name: "" for column in TABLES["trims"] if column.name in old}
    new |= row
    fixed = {*_NOT_SAID} if row.get("by") else {*_NOT_SAID, "by"}
    return {n: c for n, c in new.items() if n not in fixed and c != old.get(n, "").strip()}


def _said(cells: Mapping[str, str]) -> str:
    told = {name: cell for name, cell in cells.items() if cell.strip() and name not in _NOT_SAID}
    return row_in_words(told) or "no amounts"


def _logged_by(folder: Path, tank_id: str, on: date) -> str | None:
    """Return the ids of the journal's entries that logged a visit, if it has any."""
    known = list(entries(folder))
    visit = f"{tank_id} on {on}, "
    mine = [e.id for e in known if e.command in VISITS and e.summary.startswith(visit)]
    return " ".join(one for one in mine if one not in undone(known)) or None
