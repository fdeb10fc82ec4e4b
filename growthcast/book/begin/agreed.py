"""What cells of old notes mean: dates and numbers where a column agrees on them, and names."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from datetime import date
from functools import cache

from growthcast.book.book import Book
from growthcast.book.cells.numbers import YEAR_FIRST, YEAR_LAST, day_of
from growthcast.book.findings import refusal
from growthcast.book.names import by_name, names_of_plants
from growthcast.book.words import plain, shown, slug, some_of
from growthcast.errors import UsageError

ORDERS = ("day-first", "month-first")
MARKS = {"comma": ",", "point": "."}
_MONTH_NAMED = re.compile(r"([0-9]{1,2})\.?\s*([^\W\d_]{3,})\.?,?\s*([0-9]{4})")
_MIDNIGHT = re.compile(r"(.*[0-9])[T ]00:00(?::00)?")
_LANGUAGES = ("en", "de", "fr", "es", "it", "nl")

_NUMBER = re.compile(r"([-+]?)([0-9]*[.,]?[0-9]+)\s*([^\W\d_]*|%)\.?")
_HOURS = re.compile(r"([0-9]{1,2})\s*(?:h|std|:)\s*([0-9]{1,2})?\s*(?:min|m)?", re.IGNORECASE)
_BETWEEN = re.compile(r"\s*(?:/|->|=>|→|\bto\b|\bauf\b)\s*")
_UNITS: Mapping[str, Mapping[str, float]] = {
    "cm": {"": 1.0, "cm": 1.0, "mm": 0.1, "%": 1.0},
    "share": {"": 1.0, "%": 1.0},
    "g": {"": 1.0, "g": 1.0, "gr": 1.0, "gram": 1.0, "grams": 1.0, "gramm": 1.0, "kg": 1000.0},
    "min": dict.fromkeys(("", "min", "mins", "minutes", "minuten", "m"), 1.0) | {"h": 60.0},
}


@cache
def _months() -> dict[str, int]:
    """Months by their names, whole and short, in some languages."""
    from babel.dates import get_month_names

    found: dict[str, int] = {}
    for language in _LANGUAGES:
        for width in ("wide", "abbreviated"):
            for month, name in get_month_names(width, locale=language).items():
                found[name.casefold().strip(".")] = int(month)
    return found


def read_dates(cells: Sequence[str], order: str = "") -> list[date | None]:
    """Return the days of a column; ``None`` for a cell that is no date or blank.

    Where no cell tells whether the day or the month comes first, or cells contradict each other,
    ``UsageError`` asks for ``order``, one of ``ORDERS``.
    """
    texts = [match[1] if (match := _MIDNIGHT.fullmatch(cell)) else cell for cell in cells]
    parts = [re.fullmatch(YEAR_LAST, text) for text in texts]
    read = {
        way: [
            day_of(one[3], one[month], one[day]) if one else _plain_day(text)
            for one, text in zip(parts, texts, strict=True)
        ]
        for way, day, month in (("day-first", 1, 2), ("month-first", 2, 1))
    }
    if order:
        return read[order]
    open_ones = [at for at, one in enumerate(parts) if one]
    whole = [way for way, days in read.items() if all(days[at] is not None for at in open_ones)]
    if len(whole) == 1 or read["day-first"] == read["month-first"]:
        return read[whole[0] if whole else "day-first"]
    ask = 'write dates = "day-first" or "month-first" under [reading]'
    if whole:
        raise UsageError(f"{shown(texts[open_ones[0]])} may begin with the day or the month; {ask}")
    odd = [shown(texts[at]) for at in open_ones if None in (days[at] for days in read.values())]
    raise UsageError(f"no order of day and month fits all of them ({some_of(odd, 5)}); {ask}")


def _plain_day(text: str) -> date | None:
    """Return a date that says itself which part is which."""
    if match := re.fullmatch(YEAR_FIRST, text):
        return day_of(*match.groups())
    match = _MONTH_NAMED.fullmatch(text)
    month = _months().get(match[2].casefold()) if match else None
    return day_of(match[3], str(month), match[1]) if match and month else None


def read_numbers(cells: Sequence[str], unit: str, mark: str = "") -> list[float | None]:
    """Return the numbers of a column in a unit; ``None`` for what is none, or may be two.

    ``unit`` is "cm", "g", "min" or "share"; a unit beside a number is read. Shares without a
    percent sign are percent where one is above 1. Where commas and points stand in one column,
    ``UsageError`` asks for ``mark``, a key of ``MARKS``.
    """
    decimal = MARKS.get(mark) or _decimal_mark(cells)
    numbers = [_number(cell, unit, decimal) for cell in cells]
    if unit == "share":
        percent = any(cell.strip().rstrip(".").endswith("%") for cell in cells)
        percent = percent or any(number is not None and number > 1 for number in numbers)
        scale = 100.0 if percent else 1.0
        return [None if number is None else float(plain(number / scale)) for number in numbers]
    return numbers


def read_pairs(cells: Sequence[str], mark: str = "") -> list[tuple[float | None, float | None]]:
    """Return heights before and after of cells such as ``24/12`` or ``24 -> 12`` [cm].

    Both are ``None`` where a cell is not understood.
    """
    split = [_BETWEEN.split(cell) for cell in cells]
    decimal = MARKS.get(mark) or _decimal_mark([part for parts in split for part in parts])
    found: list[tuple[float | None, float | None]] = []
    for parts in split:
        numbers = [_number(part, "cm", decimal) for part in parts]
        lost = any(part and number is None for part, number in zip(parts, numbers, strict=True))
        before, after = (None, None) if lost or len(parts) > 2 else (*numbers, None)[:2]
        found.append((before, after))
    return found


def _decimal_mark(cells: Sequence[str]) -> str:
    """Return what divides the decimals of a column: "," or "."; "" where no cell tells."""
    bodies = [match[2] for cell in cells if (match := _NUMBER.fullmatch(cell.strip()))]
    marked = [(body, mark) for body in bodies for mark in MARKS.values() if mark in body]
    sure = {mark for body, mark in marked if len(body.partition(mark)[2]) != 3}
    if len(sure) > 1:
        raise UsageError(refusal("two-marks"))
    return sure.pop() if sure else ""


def _number(cell: str, unit: str, decimal: str) -> float | None:
    if unit == "min" and (hours := _HOURS.fullmatch(cell.strip())):
        return 60.0 * int(hours[1]) + int(hours[2] or 0)
    match = _NUMBER.fullmatch(cell.strip())
    scale = _UNITS[unit].get(match[3].casefold()) if match else None
    if match is None or scale is None or match[1] == "-":
        return None
    body = match[2]
    mark = "," if "," in body else "." if "." in body else ""
    whole, _, rest = body.partition(mark or "?")
    if mark and not decimal:
        return None  # 1,234 may be a thousand or one and a bit
    if mark and mark != decimal:
        return float(plain(scale * float(whole + rest))) if len(rest) == 3 and whole else None
    return float(plain(scale * float(body.replace(",", "."))))


class Names:
    """By which names a book's tanks and areas go, as they are compared."""

    def __init__(self, book: Book) -> None:
        tanks, areas = book.tanks.as_rows(), book.areas.as_rows()
        plants = names_of_plants(book.species)
        of_tank = ("tank_id", "name", "site", "client")
        named = {t["tank_id"]: [t[name] or "" for name in of_tank] for t in tanks}
        self.tanks = by_name(named, slug)
        named = {
            a["area_id"]: [a["area_id"], a["label"] or "", *plants.get(a["species_id"], ())]
            for a in areas
        }
        self.areas = by_name(named, slug)
        self.life = {a["area_id"]: (a["tank_id"], a["planted_on"], a["removed_on"]) for a in areas}

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
        found = [one for one in self._alive(typed_area, day) if tank in {None, self.life[one][0]}]
        if len(found) != 1:
            which = ", ".join(sorted(found)) or "none"
            raise UsageError(f"no one area of that day goes by {shown(typed_area)} ({which})")
        return self.life[found[0]][0], found[0]

    def _alive(self, name: str, day: date) -> list[str]:
        """Return the areas that go by a name, of several those of the day."""
        if name in self.life:
            return [name]
        lives = ((one, *self.life[one][1:]) for one in self.areas.get(slug(name), ()))
        return [one for one, first, last in lives if (first or day) <= day <= (last or day)]
