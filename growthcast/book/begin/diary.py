"""An old diary: its table, what its columns seem to hold, and the file that keeps that."""

from __future__ import annotations

import csv
import io
import tomllib
from collections import defaultdict
from collections.abc import Mapping, Sequence
from datetime import date
from functools import cache
from pathlib import Path
from typing import Any

import tomlkit

from growthcast.book.begin.agreed import MARKS, ORDERS, read_dates
from growthcast.book.begin.typed import slug
from growthcast.book.book import Book
from growthcast.book.cells.text import decoded, read_bytes
from growthcast.book.sheets.load import read_sheet
from growthcast.book.sheets.values import as_text
from growthcast.book.words import check_known, folded, shown
from growthcast.book.writing.visit.amounts import LOOKS
from growthcast.errors import Finding, UsageError
from growthcast.nouns import dataclass

LEFT_OUT = ""
"""What a column is that is not taken over."""
_MOST_EXAMPLES = 3
LOOK_WORDS = {look: look for look in LOOKS} | {look[0]: look for look in LOOKS}
"""Looks, and the letters that stand for them."""


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
            (number, tuple(as_text(value, decimal_comma=False) for value in values))
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


class Names:
    """By which names a book's tanks and areas go, as they are compared."""

    def __init__(self, book: Book) -> None:
        self.tanks: dict[str, set[str]] = defaultdict(set)
        columns = ("tank_id", "name", "site", "client")
        for cells in zip(*(book.tanks.text(name).tolist() for name in columns), strict=True):
            for cell in filter(None, cells):
                self.tanks[slug(cell)].add(cells[0])
        species, areas = book.species, book.areas
        spelt = ("species_id", "scientific_name", "common_name", "also_known_as")
        plants = {
            cells[0]: [one for cell in cells for one in cell.split(";")]
            for cells in zip(*(species.text(name).tolist() for name in spelt), strict=True)
        }
        self.areas: dict[str, set[tuple[str, str]]] = defaultdict(set)
        self.home: dict[str, str] = {}
        self.life: dict[str, tuple[date | None, date | None]] = {}
        texts = [areas.text(n).tolist() for n in ("tank_id", "area_id", "label", "species_id")]
        days = [
            areas.date(n).astype("datetime64[D]").tolist() for n in ("planted_on", "removed_on")
        ]
        for tank, area, label, plant, first, last in zip(*texts, *days, strict=True):
            self.home[area], self.life[area] = tank, (first, last)
            for one in filter(slug, (area, label, *plants.get(plant, ()))):
                self.areas[slug(one)].add((tank, area))

    def place(self, cells: Mapping[str, str], day: date) -> tuple[str, str | None]:
        """Return the tank and the area of a row, the area ``None`` for the whole tank."""
        typed_tank, typed_area = cells.get("tank_id", ""), cells.get("area_id", "")
        homes = self.tanks.get(slug(typed_tank), set())
        if typed_tank and len(homes) != 1:
            raise UsageError(f"no one tank goes by {shown(typed_tank)}")
        tank = next(iter(homes), None)
        if not typed_area:
            if tank is None:
                raise UsageError("no tank and no area")
            return tank, None
        found = {(t, a) for t, a in self._alive(typed_area, day) if tank in {None, t}}
        if len(found) != 1:
            which = ", ".join(sorted(area for _, area in found)) or "none"
            raise UsageError(f"no one area of that day goes by {shown(typed_area)} ({which})")
        return next(iter(found))

    def _alive(self, name: str, day: date) -> set[tuple[str, str]]:
        """Return tank and id of the areas that go by a name, and of several those of the day."""
        if name in self.home:
            return {(self.home[name], name)}
        named = self.areas.get(slug(name), set())
        lives = {area: self.life[area] for _, area in named}
        return {
            (tank, area)
            for tank, area in named
            if (lives[area][0] or day) <= day <= (lives[area][1] or day)
        }


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
    names = Names(book)
    known_ones = (("tank_id", names.tanks), ("area_id", names.areas), ("look", LOOK_WORDS))
    for name, known in known_ones:
        if all(slug(cell) in known for cell in cells):
            return name
    try:
        found = read_dates(cells, "day-first")
        other = read_dates(cells, "month-first")
    except UsageError:
        return LEFT_OUT
    return "date" if None not in found or None not in other else LEFT_OUT


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
    for key, choices in (("dates", ("", *ORDERS)), ("numbers", ("", *MARKS))):
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
    document = tomlkit.document()
    document.add(tomlkit.comment(f'What the columns of {diary.file} hold; "" is not taken over.'))
    document.add(tomlkit.comment(f"One of: {', '.join(dict.fromkeys(diary_words().values()))}."))
    columns = tomlkit.table()
    for heading, name in meanings.columns.items():
        columns.add(heading, name)
        columns[heading].comment(f"as in {', '.join(examples(diary, heading)) or 'nothing'}")
    document.add("columns", columns)
    reading = tomlkit.table()
    reading.add(
        tomlkit.comment('dates = "day-first" or "month-first"; numbers = "comma" or "point"')
    )
    reading.add("dates", meanings.dates)
    reading.add("numbers", meanings.numbers)
    document.add("reading", reading)
    return tomlkit.dumps(document)


def examples(diary: Diary, heading: str) -> list[str]:
    """Return a few different cells of a column, in quotes."""
    return [shown(c) for c in dict.fromkeys(filter(None, diary.column(heading)))][:_MOST_EXAMPLES]
