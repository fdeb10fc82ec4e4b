"""Cells to numbers and dates, strictly; a fault says how a cell becomes one."""

from __future__ import annotations

import re
from contextlib import suppress
from dataclasses import replace
from datetime import date

from growthcast.book.findings import Fault, fault_of
from growthcast.book.tables import UNIT_WORDS, Column
from growthcast.book.words import as_share
from growthcast.errors import UsageError

_POINT = re.compile(r"[+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][+-]?[0-9]{1,3})?")
_COMMA = re.compile(r"[+-]?(?:[0-9]+,?[0-9]*|,[0-9]+)(?:[eE][+-]?[0-9]{1,3})?")
DECIMAL_COMMA = re.compile(r"[+-]?[0-9]*,[0-9]+(?:[eE][+-]?[0-9]{1,3})?")
_FULL_WIDTH = {0xFF0E: ".", 0xFF0C: ","}


def parse_number(text: str, *, decimal_comma: bool = False) -> float | Fault:
    """Return the number a stripped cell holds, or why it holds none."""
    if (_COMMA if decimal_comma else _POINT).fullmatch(text):
        value = float(text.replace(",", ".")) if decimal_comma else float(text)
        if value - value != 0:
            return Fault("not-finite", "which is beyond any number here", "check the exponent")
        return value
    digits = text.translate(_FULL_WIDTH)
    usual = "".join(str(int(one)) if one.isdecimal() else one for one in digits)[:20]
    fault = fault_of("number", text, mark="," if decimal_comma else ".", usual=usual)
    if fault.slug == "unit-in-number":
        bare = parse_number(fault.fix.removeprefix("write "), decimal_comma=decimal_comma)
        return replace(fault, fix=bare.fix) if isinstance(bare, Fault) else fault
    return fault


def typed_number(text: str) -> float:
    """Return digits with a point or comma among them as a number; ``UsageError`` if it may be two.

    >>> typed_number("12,5"), typed_number("1234.5")
    (12.5, 1234.5)
    """
    part = float(text.replace(",", "."))
    if re.fullmatch(r"[1-9][0-9]{0,2}[.,][0-9]{3}", text):
        whole = re.sub("[.,]", "", text)
        raise UsageError(f"{text} may be {whole} or {part:.2f}; write whichever is meant")
    return part


def check_range(value: float, column: Column) -> Fault | None:
    """Return why a number is outside its column's limits, if it is."""
    low, high = column.low, column.high
    below = low is not None and (value < low or (column.above and value == low))
    beyond = high is not None and value > high
    if column.unit == "share" and 2 <= value <= 100:
        return Fault("percent-for-share", "which looks like per cent", f"write {as_share(value)}")
    if below or beyond:
        side = "too small" if below else "too large"
        fix = f" and that it is {UNIT_WORDS[column.unit]}" if column.unit else ""
        return Fault("out-of-range", f"which is {side}", f"check the number{fix}")
    if column.whole and value != int(value):
        return Fault("not-whole", "which is not a whole number", f"write {round(value)}")
    return None


_ISO = re.compile(r"([0-9]{4})-([0-9]{2})-([0-9]{2})")
_MIDNIGHT = re.compile(r"([0-9]{4}-[0-9]{2}-[0-9]{2}) 00:00:00")
_TIMED = r"([0-9]{4}-[0-9]{2}-[0-9]{2})(?:[T ].*|[zZ+].*)"
YEAR_FIRST = r"([0-9]{4})\s*[-/. ]\s*([0-9]{1,2})\s*[-/. ]\s*([0-9]{1,2})\.?"
YEAR_LAST = r"([0-9]{1,2})\s*[-/. ]\s*([0-9]{1,2})\s*[-/. ]\s*([0-9]{4}|[0-9]{2})"
_PACKED = r"([0-9]{4})([0-9]{2})([0-9]{2})"


def day_of(year: str, month: str, day: str) -> date | None:
    """Return a day of the calendar, of this century where the year has two digits; none else."""
    with suppress(ValueError):
        return date(int(year) + (2000 if len(year) == 2 else 0), int(month), int(day))
    return None


def parse_date(text: str) -> str | Fault:
    """Return a stripped cell's ISO date, without 00:00:00 after it, or why it is no date."""
    midnight = _MIDNIGHT.fullmatch(text)
    plain = midnight[1] if midnight else text
    parts = _ISO.fullmatch(plain)
    if parts:
        if day_of(*parts.groups()) is None:
            return Fault("no-such-day", "a day no calendar has", "check the month and the day")
        return plain
    timed = re.fullmatch(_TIMED, text)
    if timed:
        return Fault("date-with-time", "a date with a time or zone", f"write {timed[1]}")
    return Fault("date-form", "which is not written YYYY-MM-DD", _date_fix(text))


def _date_fix(text: str) -> str:
    ways: list[date | None] = []
    if parts := re.fullmatch(YEAR_FIRST, text) or re.fullmatch(_PACKED, text):
        ways = [day_of(*parts.groups())]
    elif parts := re.fullmatch(YEAR_LAST, text):
        first, second, year = parts.groups()
        ways = [day_of(year, second, first), day_of(year, first, second)]
    days = list(dict.fromkeys(way for way in ways if way))
    if len(days) == 2:
        return f"write {days[0]} (day first) or {days[1]} (month first), whichever is meant"
    if days:
        return f"write {days[0]}"
    return "write the year, month and day as in 2026-03-02"
