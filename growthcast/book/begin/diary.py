"""An old diary: its table, what its columns seem to hold, and its rows as rows of the log."""

from __future__ import annotations

import csv
import io
import tomllib
from collections.abc import Mapping, Sequence
from datetime import date
from functools import cache
from pathlib import Path
from typing import Any

import tomlkit

from growthcast.book.begin import agreed
from growthcast.book.book import Book
from growthcast.book.cells.text import decoded, read_bytes
from growthcast.book.findings import refusal
from growthcast.book.sheets.load import read_sheet
from growthcast.book.sheets.values import as_text
from growthcast.book.supposed import Cell
from growthcast.book.tables import TABLES, column_of
from growthcast.book.words import check_known, folded, printable, shown, slug
from growthcast.book.writing.append import tried
from growthcast.book.writing.journal import Entry
from growthcast.book.writing.replace import replace_files
from growthcast.book.writing.source import edited, read_source
from growthcast.book.writing.visit.entry import LOOK_WORDS
from growthcast.errors import Finding, RowsRefused, UsageError
from growthcast.nouns import dataclass

LEFT_OUT = ""
"""What a column is that is not taken over."""
_MOST_EXAMPLES = 3


@dataclass(frozen=True, slots=True)
class Diary:
    """A table as it came: its file, its headings, and rows with their numbers, all texts."""

    file: str
    headings: tuple[str, ...]
    rows: tuple[tuple[int, tuple[str, ...]], ...]

    def column(self, heading: str) -> list[str]:
        """Return a column's cells, without blanks around them."""
        at = self.headings.index(heading)
        return [cells[at].strip() if at < len(cells) else "" for _, cells in self.rows]

    def examples(self, heading: str) -> list[str]:
        """Return a few different cells of a column, in quotes."""
        found = dict.fromkeys(filter(None, self.column(heading)))
        return [shown(cell) for cell in found][:_MOST_EXAMPLES]


@dataclass(frozen=True, slots=True)
class Meanings:
    """What each column of a diary holds, by its heading, and how its dates and numbers are read."""

    columns: Mapping[str, str]
    dates: str = ""
    numbers: str = ""


def read_diary(path: Path) -> Diary:
    """Return the first table of a CSV file or workbook; ``UsageError`` where there is none."""
    if path.suffix.casefold() == ".xlsx":
        rows = [
            (number, tuple(as_text(value) for value in values))
            for number, values in read_sheet(path)
        ]
    else:
        data = read_bytes(path)
        if isinstance(data, Finding):
            raise UsageError(f"{path.name} cannot be read: {data.found}; {data.fix}")
        text = decoded(data)[2]
        first = text.partition("\n")[0]
        mark = max((";", "\t", ","), key=first.count)
        lines = csv.reader(io.StringIO(text, newline=""), delimiter=mark)
        rows = [(number, tuple(cells)) for number, cells in enumerate(lines, start=1) if any(cells)]
    if len(rows) < 2:
        raise UsageError(f"{path.name} holds no rows below a heading")
    headings = tuple(cell.strip() for cell in rows[0][1])
    named = [heading for heading in headings if heading]
    if len({*named}) < len(named):
        raise UsageError(f"{path.name} has two columns of one name; give each its own")
    return Diary(path.name, headings, tuple(rows[1:]))


@cache
def diary_words() -> Mapping[str, str]:
    """Return what a column holds by the headings that people write."""
    text = Path(__file__).with_name("diary_words.toml").read_text(encoding="utf-8")
    return {word: name for name, words in tomllib.loads(text).items() for word in words}


def propose_meanings(diary: Diary, book: Book) -> Meanings:
    """Return what the columns of a diary seem to hold, by their names, else by what is in them."""
    columns: dict[str, str] = {}
    for heading in filter(None, diary.headings):
        bare = heading.partition("[")[0].partition("(")[0]
        name = diary_words().get(folded(slug(bare).replace("_", " ")), "")
        name = name or _by_content(list(filter(None, diary.column(heading))), book)
        columns[heading] = LEFT_OUT if name in columns.values() else name
    return Meanings(columns)


def _by_content(cells: Sequence[str], book: Book) -> str:
    """Return what a column holds whose cells all are dates, tanks, areas or looks of the book."""
    if not cells:
        return LEFT_OUT
    names = agreed.Names(book)
    known_ones = (("tank_id", names.tanks), ("area_id", names.areas), ("look", LOOK_WORDS))
    for name, known in known_ones:
        if all(slug(cell) in known for cell in cells):
            return name
    dates = any(None not in agreed.read_dates(cells, order) for order in agreed.ORDERS)
    return "date" if dates else LEFT_OUT


def read_meanings(path: Path, diary: Diary) -> Meanings:
    """Return the meanings that a file keeps; ``UsageError`` where they are not understood."""
    try:
        kept: dict[str, Any] = tomllib.loads(path.read_text(encoding="utf-8"))
    except (OSError, ValueError) as error:
        raise UsageError(f"{path.name} cannot be read: {error}") from error
    columns, reading = dict(kept.get("columns", {})), dict(kept.get("reading", {}))
    known = [*dict.fromkeys(diary_words().values()), LEFT_OUT]
    for heading, name in columns.items():
        check_known(str(name), known, f"{path.name}, {shown(heading)}: no column is", "they are")
    for key, choices in (("dates", ("", *agreed.ORDERS)), ("numbers", ("", *agreed.MARKS))):
        said = str(reading.get(key, ""))
        check_known(said, choices, f"{path.name}, [reading] {key}: there is no", "it is one of")
    names = [name for name in columns.values() if name]
    if len({*names}) < len(names):
        raise UsageError(f'{path.name}: two columns of the diary have one meaning; leave one as ""')
    if lost := [one for one in columns if one not in diary.headings]:
        raise UsageError(f"{diary.file} has no column {shown(lost[0])}, which {path.name} names")
    fresh = {heading: LEFT_OUT for heading in diary.headings if heading and heading not in columns}
    return Meanings(columns | fresh, reading.get("dates", ""), reading.get("numbers", ""))


def meanings_text(meanings: Meanings, diary: Diary) -> str:
    """Return meanings as the file that keeps them, with examples of each column."""
    lines = [f'# What the columns of {printable(diary.file)} hold; "" is not taken over.']
    lines += [f"# One of: {', '.join(dict.fromkeys(diary_words().values()))}.", "", "[columns]"]
    for heading, name in meanings.columns.items():
        held = ", ".join(diary.examples(heading)) or "nothing"
        lines.append(f'{tomlkit.key(heading).as_string()} = "{name}" # as in {held}')
    ways = '# dates = "day-first" or "month-first"; numbers = "comma" or "point"'
    read = f'dates = "{meanings.dates}"', f'numbers = "{meanings.numbers}"'
    return "\n".join([*lines, "", "[reading]", ways, *read, ""])


_UNITS = {one.name: one.unit for one in TABLES["trims"] if one.kind == "number"}
_OF_TANK = ("visit_min", "water_share")
_TEXTS = ("note", "by")


@dataclass(frozen=True, slots=True)
class NotTaken:
    """A row of a diary that is left out, and why."""

    row: int
    why: str


@dataclass(frozen=True, slots=True)
class Plan:
    """Rows for the log, each with the diary's row that it comes from, and the rows left out.

    Once they are laid beside the log: the notes on them, and its bytes before and with them.
    """

    rows: tuple[tuple[int, Mapping[str, Cell]], ...]
    not_taken: tuple[NotTaken, ...]
    notes: tuple[Finding, ...] = ()
    before: bytes | None = None
    after: bytes | None = None


def understand_diary(diary: Diary, meanings: Meanings, book: Book) -> Plan:
    """Return a diary as rows of the log; nothing is guessed, what is not understood is left out.

    ``UsageError`` where it has no dates, or where dates or numbers may be read in two ways.
    """
    heading_of = {name: heading for heading, name in meanings.columns.items() if name}
    if "date" not in heading_of:
        raise UsageError("no column holds the days; write date beside it")
    read = {name: _column(name, diary.column(h), h, meanings) for name, h in heading_of.items()}
    names = agreed.Names(book)
    rows: list[tuple[int, dict[str, Cell]]] = []
    not_taken: list[NotTaken] = []
    for at, (number, _) in enumerate(diary.rows):
        values = {name: column[at] for name, column in read.items() if column[at] is not None}
        try:
            for trouble in (v for v in values.values() if isinstance(v, UsageError)):
                raise trouble
            rows.append((number, _row(values, names)))
        except UsageError as trouble:
            not_taken.append(NotTaken(number, str(trouble)))
    return Plan(tuple(_joined(rows)), tuple(not_taken))


def _column(name: str, cells: Sequence[str], heading: str, meanings: Meanings) -> list[Any]:
    """Return a column's values: ``None`` for a blank cell, an error for one not understood."""
    found: Sequence[Any]
    try:
        if name == "date":
            found = agreed.read_dates(cells, meanings.dates)
        elif name in _UNITS:
            found = agreed.read_numbers(cells, _UNITS[name], meanings.numbers)
        elif name == "heights":
            pairs = agreed.read_pairs(cells, meanings.numbers)
            found = [None if pair == (None, None) else pair for pair in pairs]
        elif name == "look":
            found = [LOOK_WORDS.get(slug(cell)) for cell in cells]
        else:
            return [cell or None for cell in cells]
    except UsageError as trouble:
        raise UsageError(f"column {shown(heading)}: {trouble}") from trouble
    return [
        UsageError(f"{heading}: {shown(cell)} is not understood")
        if cell and value is None
        else value
        for cell, value in zip(cells, found, strict=True)
    ]


def _row(values: Mapping[str, Any], names: agreed.Names) -> dict[str, Cell]:
    """Return one row of the log."""
    if "date" not in values:
        raise UsageError("no day")
    row: dict[str, Cell] = {"date": values["date"]}
    row["tank_id"], row["area_id"] = names.place(values, values["date"])
    row |= {name: values[name] for name in (*_UNITS, *_TEXTS, "look") if name in values}
    pair = zip(("before_cm", "after_cm"), values.get("heights", ()), strict=False)
    row |= {name: cm for name, cm in pair if cm is not None}
    if len(row) == 3:
        raise UsageError("nothing that the log holds")
    for name, value in row.items():
        column = column_of("trims", name)
        if isinstance(value, float) and column.high is not None and value > column.high:
            raise UsageError(f"{name}: {value:g} is beyond {column.expected}")
    return row


def _joined(rows: Sequence[tuple[int, dict[str, Cell]]]) -> list[tuple[int, Mapping[str, Cell]]]:
    """Move the time at the tank and its water, which a diary writes beside areas, to its row."""
    whole = {(row["date"], row["tank_id"]): row for _, row in rows if row["area_id"] is None}
    found: list[tuple[int, Mapping[str, Cell]]] = []
    for number, row in rows:
        of_tank = {name: row.pop(name) for name in _OF_TANK if name in row and row["area_id"]}
        if row.keys() - {"date", "tank_id", "area_id"}:
            found.append((number, row))
        key = row["date"], row["tank_id"]
        if of_tank and key not in whole:
            whole[key] = {"date": key[0], "tank_id": key[1], "area_id": None}
            found.append((number, whole[key]))
        for name, value in of_tank.items():
            whole[key].setdefault(name, value)
    return found


def plan_import(folder: Path, understood: Plan, *, today: date) -> Plan:
    """Return what can be added to the log, columns that it lacks with it; nothing is written.

    Rows that the log has already, and rows that a check refuses, are listed with what it says.
    ``UsageError`` where the log has problems of its own.
    """
    rows, not_taken = list(understood.rows), list(understood.not_taken)
    source = read_source(folder, "trims")
    after, notes = source.data, tuple[Finding, ...]()
    while rows:
        after, places = edited(source, {}, [row for _, row in rows])
        files = {"trims.csv": after}, {"trims.csv": source.data}
        try:
            notes = tried(folder, *files, today=today).findings
            break
        except RowsRefused as refused:
            said = {i.row: i for i in reversed(refused.findings) if i.row in places}
        if not said:
            raise UsageError(refusal("log-has-problems"))
        for place, (number, _) in zip(places, rows, strict=True):
            if item := said.get(place):
                why = f"trims.csv refuses it: {item.heading}: {item.found}; {item.fix}"
                why = "the log has this row already" if item.slug == "same-rows" else why
                not_taken.append(NotTaken(number, why))
        rows = [row for place, row in zip(places, rows, strict=True) if place not in said]
        after = source.data
    listed = tuple(sorted(not_taken, key=lambda one: one.row))
    return Plan(tuple(rows), listed, notes, source.data, after)


def write_import(folder: Path, plan: Plan, file: str) -> None:
    """Write a plan's rows, all in one step, with a line in the journal."""
    files = {"trims.csv": plan.after}, {"trims.csv": plan.before}
    replace_files(folder, *files, Entry("import", f"{len(plan.rows)} rows from {file}"))
