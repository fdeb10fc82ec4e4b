"""Rows typed as column=value items, and rows added once the book with them has been checked."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from contextlib import suppress
from dataclasses import field, replace
from datetime import date
from pathlib import Path
from typing import Required, TypedDict, Unpack

from growthcast.book.book import Book
from growthcast.book.cells.numbers import DECIMAL_COMMA, parse_date, parse_number
from growthcast.book.findings import Fault, refusal
from growthcast.book.read import inspect_book
from growthcast.book.supposed import Cell
from growthcast.book.tables import TABLES, UNITS, Column
from growthcast.book.words import did_you_mean, plain, shown, slug
from growthcast.book.writing.journal import Entry, book_lock
from growthcast.book.writing.replace import Files, read_file, replace_files
from growthcast.book.writing.source import Source, edited, new_source, taken_apart, widened
from growthcast.errors import FileChanged, Finding, HeldAlready, RowsRefused, UsageError
from growthcast.nouns import dataclass

KINDS = {"tank": "tanks", "area": "areas", "conditions": "conditions", "closed": "closed"}
"""What may be added by name, and the table it goes into."""

_EXAMPLES = dict.fromkeys(KINDS, "photoperiod_h=8")
_EXAMPLES |= {"tank": "water_depth_cm=45", "area": "budget_cm=22"}
_WITH_UNIT = r"([+-]?[0-9.,]+)\s*([^0-9.,\s].{0,8})"


def parse_row(kind: str, items: Sequence[str], *, whole: bool = True) -> dict[str, Cell]:
    """Return the row that ``column=value`` items mean for one of ``KINDS``.

    A name may stop short of its unit (``co2`` for ``co2_mg_l``) where that leaves one column. A
    decimal comma and the column's unit are read. ``UsageError`` with every column or value not
    understood, given twice, or, where the row is to be ``whole``, needed and not given.
    """
    row, troubles = parse_cells(kind, items)
    troubles += still_needed(kind, row) if whole else []
    if troubles:
        raise UsageError("\n    ".join(troubles))
    return row


def parse_cells(
    kind: str, items: Sequence[str], own: Sequence[str] = ()
) -> tuple[dict[str, Cell], list[str]]:
    """Return what is understood of items, as of ``parse_row``, and what is not in sentences.

    ``own`` are columns of the practice's own. What is not understood of a column is blank text.
    """
    columns = {column.name: column for column in TABLES[KINDS[kind]]}
    row: dict[str, Cell] = {}
    troubles: list[str] = []
    for item in items:
        try:
            name, value = _split(kind, item, columns, own)
            if name in row:
                raise UsageError(f"{shown(item)}: {name} is given twice")
            row[name] = ""
            row[name] = _cell(columns[name], value) if name in columns else value or None
        except UsageError as trouble:
            troubles.append(str(trouble))
    return row, troubles


def still_needed(kind: str, row: Mapping[str, Cell]) -> list[str]:
    """Return the sentence that names what a whole row lacks; none where it lacks nothing."""
    needed = [c for c in TABLES[KINDS[kind]] if c.required and row.get(c.name) is None]
    wanted = "; ".join(
        f"{c.name} ({c.meaning}{'' if c.kind == 'id' else f', {c.expected}'})" for c in needed
    )
    return [f"add {kind} also needs {wanted}; write column=value for each"] if needed else []


def _split(
    kind: str, item: str, columns: Mapping[str, Column], own: Sequence[str]
) -> tuple[str, str]:
    """Return the column that an item names, and the text of its value."""
    typed, mark, value = item.partition("=")
    name = typed.strip().casefold()
    name = f"{kind}_id" if name == "id" and f"{kind}_id" in columns else name
    begin = [known for known in columns if known.startswith(f"{name}_")]
    if name not in columns and typed.strip() not in own and len(begin) == 1:
        name = begin[0]  # co2 for co2_mg_l
    if not mark:
        raise UsageError(f"{shown(item)} has no =; write column=value, as in {_EXAMPLES[kind]}")
    if name not in columns and typed.strip() not in own:
        known = list(dict.fromkeys([*columns, *own]))
        hint = did_you_mean(name, known, f"the columns are {', '.join(known)}")
        raise UsageError(f"{shown(item)}: {KINDS[kind]}.csv has no column {name}; {hint}")
    return name if name in columns else typed.strip(), value.strip()


def _cell(column: Column, text: str) -> Cell:
    if not text:
        return None
    if column.kind == "number":
        return _number(column, text)
    if column.kind == "date":
        day = parse_date(text)
        if isinstance(day, Fault):
            raise UsageError(f"{column.name}={text}: a value {day.why}; {day.fix}")
        return day
    return text


def _number(column: Column, typed: str) -> float:
    text, scale = typed, 1.0
    match = re.fullmatch(_WITH_UNIT, typed)
    if match and match[2].casefold() in UNITS[column.unit]["typed"].split():
        text, scale = match[1], 0.01 if match[2] == "%" else 1.0
    if DECIMAL_COMMA.fullmatch(text) and not re.fullmatch(r"[1-9][0-9]{0,2},[0-9]{3}", text):
        text = text.replace(",", ".")
    number = parse_number(text)
    if isinstance(number, Fault):
        said = {"name": column.name, "typed": typed, "why": number.why, "fix": number.fix}
        raise UsageError(refusal("no-number", **said, expected=column.expected))
    return float(plain(number * scale))


def slug_for(kind: str, row: Mapping[str, Cell]) -> str | None:
    """Return an id that is easier to type than a row's own; ``None`` where that will do.

    >>> slug_for("tank", {"tank_id": "Practice Hall 2"})
    'practice-hall-2'
    """
    named = str(row.get(f"{kind}_id") or "")
    if re.fullmatch(r"[\w.\-]*", named):
        return None
    return slug(named) or None


def row_in_words(row: Mapping[str, Cell]) -> str:
    """Return a row as it was understood, on one line."""
    cells = {name: plain(v) if isinstance(v, float) else v for name, v in row.items() if v}
    return ", ".join(f"{name} {value}" for name, value in cells.items())


_ATTEMPTS = 5  # each time another program changed the file meanwhile, it is read again


@dataclass(frozen=True, slots=True)
class Change:
    """What other rows and cells do to a book, and the journal's entry where they were written.

    ``book`` is the book with them, ``None`` where it has problems from before; ``findings`` are
    the notes that it has now and had not; ``columns`` are those that its ``table`` did not have.
    ``summary`` says the change in a sentence, ``lines`` row by row; ``ended`` names the areas whose
    life ends, ``row`` holds the cells of the area or the bounds that are added.
    """

    book: Book | None
    findings: tuple[Finding, ...]
    problems_before: tuple[Finding, ...]
    entry: Entry | None = None
    table: str = ""
    columns: tuple[str, ...] = ()
    summary: str = ""
    lines: tuple[str, ...] = ()
    ended: tuple[str, ...] = ()
    row: Mapping[str, Cell] = field(default_factory=dict)


class How(TypedDict, total=False):
    """How a change is made: against which day log dates are held, whether it is written, by whom.

    It is written unless told otherwise.
    """

    today: Required[date]
    write: bool
    by: str


def would_add(
    folder: Path, table: str, rows: Sequence[Mapping[str, Cell]], *, today: date
) -> Change:
    """Return what adding rows would do, without writing; raise as ``add_rows`` does."""
    return _added(folder, table, rows, Entry(), today=today, write=False)


def add_rows(
    folder: Path,
    table: str,
    rows: Sequence[Mapping[str, Cell]],
    *,
    command: str,
    summary: str,
    visit: tuple[str, str] | None = None,
    **how: Unpack[How],
) -> Change:
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
    said = Entry(command, summary, None, visit)
    for _ in range(_ATTEMPTS - 1):
        with suppress(FileChanged), book_lock(folder):
            return _added(folder, table, rows, said, **how)
    with book_lock(folder):
        return _added(folder, table, rows, said, **how)


def _added(
    folder: Path,
    table: str,
    rows: Sequence[Mapping[str, Cell]],
    said: Entry,
    **how: Unpack[How],
) -> Change:
    """Add rows to a table as it is now."""
    old = read_file(folder, f"{table}.csv")
    if old is None:
        source = new_source(table, read_file(folder, "tanks.csv"))
    else:
        source, _ = taken_apart(old, table)
    try:
        return edit_table(folder, source, {}, rows, said, **how)
    except RowsRefused as refused:
        if any(item.slug != "same-rows" for item in refused.findings):
            raise
        held = f"{source.file} holds this already: {refused.findings[0].found}; nothing was written"
        held_all = len(refused.findings) >= len(rows)
        raise HeldAlready(held) if held_all else UsageError(held) from None


def edit_table(
    folder: Path,
    source: Source,
    changed: Mapping[int, Mapping[str, Cell]],
    added: Sequence[Mapping[str, Cell]],
    said: Entry,
    without: frozenset[int] = frozenset(),
    **how: Unpack[How],
) -> Change:
    """Change, add and take out rows of a table, held to every check as ``tried``, and write it.

    Where rows are only added, columns that the table lacks are a change of their own before it, so
    that they stay when the rows are taken back. The caller has the lock.
    """
    file, by = source.file, how.get("by")
    lacking = () if source.data is None else source.lacking([*changed.values(), *added])
    wide = source if changed or without else widened(source, lacking)
    old, room, new = source.data, wide.data, edited(wide, changed, added, without)[0]
    back = said.command == "unlog"
    done = tried(folder, {file: new}, {file: old}, today=how["today"], back=back)
    row = added[0] if added else {}
    done = replace(done, table=source.table, columns=lacking, summary=said.summary, row=row)
    if not how.get("write", True):
        return done
    if room != old:
        first = Entry("add column", f"{file}: {', '.join(lacking)}", by=by)
        replace_files(folder, {file: room}, {file: old}, first)
    entry = replace_files(folder, {file: new}, {file: room}, replace(said, by=by))
    return replace(done, entry=entry)


def tried(folder: Path, new: Files, old: Files, *, today: date, back: bool = False) -> Change:
    """Return what new bytes of files do to a book that holds the old ones; nothing is written.

    ``RowsRefused`` where the book would have problems which it has not now, or one of the files has
    some already; a table that is left without rows is none. On the way ``back`` to what was, only
    new ones count.
    """
    book, after = inspect_book(folder, today=today, instead=new)
    before = inspect_book(folder, today=today, instead=old)[1] if after else ()
    known = set(before)
    fresh = [item for item in after if item not in known]
    refused = [i for i in fresh if i.level == "problem" or i.slug == "same-rows"]
    own = [i for i in before if i.file in new and i.level == "problem" and not back]
    for found in (own, refused):
        if listed := tuple(item for item in found if item.slug != "no-rows"):
            raise RowsRefused(listed)
    problems = tuple(item for item in before if item.level == "problem" and item in after)
    return Change(book, tuple(item for item in fresh if item.level == "note"), problems)
