"""Rows added at the end of a table once the book with them has been checked."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import Required, TypedDict, Unpack

from growthcast.book.book import Book
from growthcast.book.read import inspect_book
from growthcast.book.supposed import Cell
from growthcast.book.writing.journal import Entry, book_lock
from growthcast.book.writing.replace import Files, read_file, write_over
from growthcast.book.writing.source import appended, widened
from growthcast.errors import FileChanged, Finding, HeldAlready, RowsRefused, UsageError
from growthcast.nouns import dataclass

_ATTEMPTS = 5  # each time another program changed the file meanwhile, it is read again


@dataclass(frozen=True, slots=True)
class Addition:
    """Rows added to a table: what they do to the book.

    ``book`` is the book with them, ``None`` where it has problems from before; ``findings`` are
    the notes on the new rows alone; ``columns`` are those that the table did not have;
    ``entry`` is the journal's, ``None`` where nothing was written.
    """

    book: Book | None
    findings: tuple[Finding, ...]
    problems_before: tuple[Finding, ...]
    entry: Entry | None = None
    columns: tuple[str, ...] = ()


class How(TypedDict, total=False):
    """How a change is made: against which day log dates are held, whether it is written, by whom.

    It is written unless told otherwise.
    """

    today: Required[date]
    write: bool
    by: str


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

    All under the book's lock. Columns that the table lacks are added at the end of its header
    first; its rows stay, and are blank there. Where another program changes the file meanwhile, it
    is read again, and the rows are added to what it holds then.

    Raises
    ------
    RowsRefused
        The book would have problems which it has not now, or the table itself has some already.
    NotWritten
        The file cannot be written, or keeps changing.
    UsageError
        A column nobody declared, text its encoding cannot hold, rows it holds already.
    """
    name = f"{table}.csv"
    for attempt in range(_ATTEMPTS):
        try:
            with book_lock(folder):
                tried, old, wide, new = _tried(folder, table, rows, today)
                if tried.columns:
                    said = f"{name}: {', '.join(tried.columns)}"
                    write_over(folder, {name: wide}, {name: old}, "add column", said, by=by)
                files = {name: new}, {name: wide}
                entry = write_over(folder, *files, command, summary, visit=visit, by=by)
            return replace(tried, entry=entry)
        except FileChanged:
            if attempt == _ATTEMPTS - 1:
                raise
    raise AssertionError("unreachable")


def _tried(
    folder: Path, table: str, rows: Sequence[Mapping[str, Cell]], today: date
) -> tuple[Addition, bytes | None, bytes | None, bytes]:
    """Return what rows do to the book; the table's bytes before, with room and with them."""
    name = f"{table}.csv"
    old = read_file(folder, name)
    tanks = read_file(folder, "tanks.csv") if old is None else None
    wide, columns = (None, ()) if old is None else widened(old, table, rows)
    new = appended(wide, table, rows, ("tanks", tanks) if tanks else None)
    try:
        done = tried(folder, {name: new}, {name: old}, today=today)
        return replace(done, columns=columns), old, wide, new
    except RowsRefused as refused:
        doubled = all(item.slug == "same-rows" for item in refused.findings)
        if not doubled:
            raise
        held = f"{name} holds this already: {refused.findings[0].found}; nothing was written"
        held_all = len(refused.findings) >= len(rows)
        raise HeldAlready(held) if held_all else UsageError(held) from None


def carried_out(
    folder: Path,
    new: Files,
    old: Files,
    command: str,
    summary: str,
    takes_back: str | None = None,
    *,
    back: bool = False,
    **how: Unpack[How],
) -> Addition:
    """Hold a book with new bytes of files to every check, as ``tried``, and write them.

    The caller has the lock, and made the bytes from the old ones.
    """
    done = tried(folder, new, old, today=how["today"], back=back)
    if not how.get("write", True):
        return done
    said = {"takes_back": takes_back, "by": how.get("by", "")}
    return replace(done, entry=write_over(folder, new, old, command, summary, **said))


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
