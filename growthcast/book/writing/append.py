"""Rows added at the end of a table, once the book as it would be has been checked."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path

from growthcast.book.book import Book
from growthcast.book.read import inspect_book
from growthcast.book.supposed.rows import Cell
from growthcast.book.writing.dialect import appended
from growthcast.book.writing.journal import Entry
from growthcast.book.writing.lock import book_lock
from growthcast.book.writing.replace import hash_of, read_file, replace_files
from growthcast.errors import FileChanged, Finding, HeldAlready, RowsRefused, UsageError

_ATTEMPTS = 5  # each time another program changed the file meanwhile, it is read again


@dataclass(frozen=True, slots=True)
class Addition:
    """Rows added to a table: what they do to the book.

    ``book`` is the book with them, ``None`` where it has problems from before; ``findings`` are
    the notes on the new rows alone; ``entry`` is the journal's, ``None`` where nothing was written.
    """

    book: Book | None
    findings: tuple[Finding, ...]
    problems_before: tuple[Finding, ...]
    entry: Entry | None = None


def would_add(
    folder: Path, table: str, rows: Sequence[Mapping[str, Cell]], *, today: date
) -> Addition:
    """Return what adding rows would do, without writing; raise as ``add_rows`` does."""
    return _tried(folder, table, rows, today)[0]


def add_rows(
    folder: Path,
    table: str,
    rows: Sequence[Mapping[str, Cell]],
    *,
    today: date,
    command: str,
    summary: str,
    visit: tuple[str, str] | None = None,
) -> Addition:
    """Add rows at the end of a table of a book: its old bytes as they were, then the new lines.

    All under the book's lock. Where another program changes the file meanwhile, it is read again,
    and the rows are added to what it holds then.

    Raises
    ------
    RowsRefused
        The book would have problems which it has not now, or the table itself has some already.
    NotWritten
        The file cannot be written, or keeps changing.
    UsageError
        A column the table does not have, text its encoding cannot hold, rows it holds already.
    """
    name = f"{table}.csv"
    for attempt in range(_ATTEMPTS):
        try:
            with book_lock(folder):
                tried, old, new = _tried(folder, table, rows, today)
                entry = replace_files(
                    folder,
                    {name: new},
                    expected={name: hash_of(old)},
                    command=command,
                    summary=summary,
                    visit=visit,
                )
            return Addition(tried.book, tried.findings, tried.problems_before, entry)
        except FileChanged:
            if attempt == _ATTEMPTS - 1:
                raise
    raise AssertionError("unreachable")


def _tried(
    folder: Path, table: str, rows: Sequence[Mapping[str, Cell]], today: date
) -> tuple[Addition, bytes | None, bytes]:
    """Return what rows do to the book, and the table's bytes without and with them."""
    name = f"{table}.csv"
    old = read_file(folder, name)
    tanks = read_file(folder, "tanks.csv") if old is None else None
    new = appended(old, table, rows, ("tanks", tanks) if tanks else None)
    book, after = inspect_book(folder, today=today, instead={name: new})
    before: tuple[Finding, ...] = ()
    if after:
        _, before = inspect_book(folder, today=today, instead={} if old is None else {name: old})
    known = set(before)
    fresh = [item for item in after if item not in known]
    refused = [item for item in fresh if item.level == "problem" or item.slug == "same-rows"]
    own = [i for i in before if i.file == name and i.level == "problem" and i.slug != "no-rows"]
    if not own and refused and all(item.slug == "same-rows" for item in refused):
        held = f"{name} holds this already: {refused[0].found}; nothing was written"
        raise HeldAlready(held) if len(refused) >= len(rows) else UsageError(held)
    if refused or own:
        raise RowsRefused(tuple(own or refused))
    problems = tuple(item for item in before if item.level == "problem" and item in after)
    notes = tuple(item for item in fresh if item.level == "note")
    return Addition(book, notes, problems), old, new
