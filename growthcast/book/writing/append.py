"""Rows added at the end of a table once the book with them has been checked."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from datetime import date
from pathlib import Path

from growthcast.book.book import Book
from growthcast.book.cells.text import decoded
from growthcast.book.read import inspect_book
from growthcast.book.supposed import Cell
from growthcast.book.writing.dialect import appended, dialect_of
from growthcast.book.writing.journal import Entry, hash_of
from growthcast.book.writing.lock import book_lock
from growthcast.book.writing.replace import read_file, replace_files
from growthcast.errors import FileChanged, Finding, HeldAlready, RowsRefused, UsageError
from growthcast.nouns import dataclass

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
    by: str = "",
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
                    by=by,
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
    try:
        return tried(folder, {name: new}, {name: old}, today=today), old, new
    except RowsRefused as refused:
        doubled = all(item.slug == "same-rows" for item in refused.findings)
        if not doubled:
            raise
        held = f"{name} holds this already: {refused.findings[0].found}; nothing was written"
        held_all = len(refused.findings) >= len(rows)
        raise HeldAlready(held) if held_all else UsageError(held) from None


def tried(
    folder: Path,
    new: Mapping[str, bytes | None],
    old: Mapping[str, bytes | None],
    *,
    today: date,
    back: bool = False,
) -> Addition:
    """Return what new bytes of files do to a book that holds the old ones; nothing is written.

    ``RowsRefused`` where the book would have problems which it has not now, or one of the files has
    some already; a table that is left without rows is none. On the way ``back`` to what was, only
    new ones count.
    """
    book, after = inspect_book(folder, today=today, instead=new)
    before = inspect_book(folder, today=today, instead=old)[1] if after else ()
    known = set(before)
    fresh = [item for item in after if item not in known]
    refused = [item for item in fresh if item.level == "problem" or item.slug == "same-rows"]
    refused = [item for item in refused if item.slug != "no-rows"]
    own = [
        item
        for item in before
        if item.file in new and item.level == "problem" and item.slug != "no-rows"
    ]
    own = [] if back else own
    if refused or own:
        raise RowsRefused(tuple(own or refused))
    problems = tuple(item for item in before if item.level == "problem" and item in after)
    notes = tuple(item for item in fresh if item.level == "note")
    return Addition(book, notes, problems)


def add_columns(folder: Path, table: str, names: Sequence[str]) -> Entry:
    """Add columns at the end of a table's header; its rows stay, and are blank there."""
    file = f"{table}.csv"
    with book_lock(folder):
        old = read_file(folder, file)
        dialect = None if old is None else dialect_of(old, table)
        if old is None or dialect is None:
            raise UsageError(f"{folder} holds no {file}, and a new one has every column")
        mark, codec, text = decoded(old)
        ends = [end.start() for end in re.finditer("\r\n|\n|\r", text)] + [len(text)]
        at = ends[min(dialect.header_row, len(ends)) - 1]
        added = dialect.delimiter + dialect.delimiter.join(names)
        new = mark + (text[:at] + added + text[at:]).encode(codec)
        if dialect_of(new, table).header != (*dialect.header, *names):
            raise UsageError(f"{file} has a first line that only a person can add {names[0]} to")
        return replace_files(
            folder,
            {file: new},
            expected={file: hash_of(old)},
            command="add column",
            summary=f"{file}: {', '.join(names)}",
        )
