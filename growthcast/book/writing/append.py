"""Rows added at the end of a table once the book with them has been checked, and taken back."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import UTC, date, datetime
from pathlib import Path
from uuid import uuid4

from growthcast.book.book import Book
from growthcast.book.read import inspect_book
from growthcast.book.supposed import Cell
from growthcast.book.words import shown
from growthcast.book.writing.dialect import appended
from growthcast.book.writing.journal import Entry, Splice, append_line, entries, hash_of
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


def last_entry(folder: Path, command: str = "log") -> Entry | None:
    """Return the journal's last entry of a command that has not been taken back, if any."""
    known = list(entries(folder))
    undone = {entry.takes_back for entry in known}
    left = [entry for entry in known if entry.command == command and entry.id not in undone]
    return left[-1] if left else None


def take_back(folder: Path, command: str = "log") -> Entry:
    """Take back the last entry of a command and return it; its file is as it was before, exactly.

    The journal keeps both the entry and that it was taken back. ``UsageError`` where there is no
    entry left, or the file no longer ends with it.
    """
    with book_lock(folder):
        entry = last_entry(folder, command)
        if entry is None:
            raise UsageError(
                f"nothing logged in {folder} is left to take back; rows typed by hand are removed "
                "by hand"
            )
        [(name, splice)] = entry.files.items()
        now = read_file(folder, name)
        if now is None or not now.endswith(splice.added) or not splice.added:
            raise UsageError(_moved_on(folder, name, entry, splice, now))
        before = now[: len(now) - len(splice.added)]
        old = None if splice.before is None and not before else before
        replace_files(
            folder,
            {name: old},
            expected={name: hash_of(now)},
            command="unlog",
            summary=f"took back: {entry.summary}",
            takes_back=entry.id,
        )
        return entry


def _moved_on(folder: Path, name: str, entry: Entry, splice: Splice, now: bytes | None) -> str:
    """Say why an entry cannot be taken back; one that is gone is marked so in the journal."""
    lines = splice.added.replace(b"\0", b"").decode("utf-8", "replace").strip().splitlines() or [""]
    if now is None or splice.added.strip() not in now:
        at = datetime.now(UTC).isoformat(timespec="seconds")
        gone = f"was not in {name} any more: {entry.summary}"
        append_line(folder, Entry(uuid4().hex[:12], at, "unlog", gone, {}, entry.id))
        return (
            f"the last visit logged ({entry.summary}) is not in {name} any more: it was changed or "
            "removed by hand; nothing was changed. The next unlog takes back the visit before it"
        )
    return (
        f"{name} no longer ends with the last visit logged ({entry.summary}): rows were added "
        f"after it; nothing was changed. To take it back, remove the row {shown(lines[-1])} by hand"
    )
