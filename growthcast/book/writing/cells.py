"""One row of a table, typed as ``column=value`` items."""

from __future__ import annotations

import re
from collections.abc import Sequence

from growthcast.book.cells.numbers import DECIMAL_COMMA, Fault, parse_date, parse_number
from growthcast.book.columns import Column
from growthcast.book.supposed import Cell
from growthcast.book.tables import TABLES
from growthcast.book.words import did_you_mean, plain, shown
from growthcast.errors import UsageError

KINDS = {"tank": "tanks", "area": "areas", "conditions": "conditions", "closed": "closed"}
"""What may be added by name, and the table it goes into."""

_UNITS = {
    "cm": ("cm",),
    "cm2": ("cm2", "cm²"),
    "g": ("g",),
    "min": ("min",),
    "d": ("d", "days"),
    "h": ("h",),
    "mg/l": ("mg/l", "mg", "ppm"),
    "umol": ("umol", "µmol", "ppfd"),
    "dKH": ("dkh", "kh"),
    "c": ("c", "°c"),
    "share": ("%",),
}
_WITH_UNIT = re.compile(r"([+-]?[0-9.,]+)\s*([^0-9.,\s].{0,8})")


def parse_row(kind: str, items: Sequence[str], own: Sequence[str] = ()) -> dict[str, Cell]:
    """Return the row that ``column=value`` items mean for one of ``KINDS``.

    ``own`` are columns of the practice's own. A name may stop short of its unit (``co2`` for
    ``co2_mg_l``) where that leaves one column. A decimal comma and the column's unit are read.
    ``UsageError`` for a column or value not understood, given twice, or needed and not given.
    """
    columns = {column.name: column for column in TABLES[KINDS[kind]]}
    row: dict[str, Cell] = {}
    for item in items:
        typed, mark, value = item.partition("=")
        name = typed.strip().casefold()
        name = f"{kind}_id" if name == "id" and f"{kind}_id" in columns else name
        begin = [known for known in columns if known.startswith(f"{name}_")]
        if name not in columns and typed.strip() not in own and len(begin) == 1:
            name = begin[0]  # co2 for co2_mg_l
        if not mark:
            raise UsageError(f"{shown(item)} has no =; write column=value, as in {_example(kind)}")
        if name not in columns and typed.strip() not in own:
            known = list(dict.fromkeys([*columns, *own]))
            hint = did_you_mean(name, known, f"the columns are {', '.join(known)}")
            raise UsageError(f"{shown(item)}: {KINDS[kind]}.csv has no column {name}; {hint}")
        name = name if name in columns else typed.strip()
        if name in row:
            raise UsageError(f"{shown(item)}: {name} is given twice")
        text = value.strip()
        row[name] = _cell(columns[name], text) if name in columns else text or None
    missing = [c for c in columns.values() if c.required and row.get(c.name) is None]
    if missing:
        wanted = "; ".join(f"{c.name} ({_words(c)})" for c in missing)
        raise UsageError(f"add {kind} also needs {wanted}; write column=value for each")
    return row


def _words(column: Column) -> str:
    return column.meaning if column.kind == "id" else f"{column.meaning}, {column.expected}"


def _example(kind: str) -> str:
    return {"tank": "water_depth_cm=45", "area": "budget_cm=22"}.get(kind, "photoperiod_h=8")


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
    match = _WITH_UNIT.fullmatch(typed)
    if match and match[2].casefold() in _UNITS.get(column.unit, ()):
        text, scale = match[1], 0.01 if match[2] == "%" else 1.0
    if DECIMAL_COMMA.fullmatch(text) and not re.fullmatch(r"[1-9][0-9]{0,2},[0-9]{3}", text):
        text = text.replace(",", ".")
    number = parse_number(text)
    if isinstance(number, Fault):
        raise UsageError(
            f"{column.name}={typed}: a value {number.why}; {number.fix} (wanted: {column.expected})"
        )
    return float(plain(number * scale))


def row_in_words(row: dict[str, Cell]) -> str:
    """Return a row as it was understood, on one line."""
    cells = {name: plain(v) if isinstance(v, float) else v for name, v in row.items() if v}
    return ", ".join(f"{name} {value}" for name, value in cells.items())
