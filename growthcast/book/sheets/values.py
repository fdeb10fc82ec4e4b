"""Cells of the book's text as spreadsheet values, and spreadsheet values as the book's text."""

from __future__ import annotations

import datetime as dt
import re
from decimal import Decimal

from growthcast.book.cells.numbers import Fault, parse_date, parse_number
from growthcast.book.tables import Column

Value = str | float | bool | dt.date | dt.datetime | dt.time | dt.timedelta | None
"""What a cell of a spreadsheet holds; a blank one holds none."""

_NO_XML = re.compile("[\x00-\x08\x0b-\x1f\ufffe\uffff\ud800-\udfff]")


def as_value(cell: str, column: Column | None, *, decimal_comma: bool) -> Value:
    """Return what a spreadsheet should hold for a cell of the book.

    Numbers and dates where the column declares them and the cell can be read as one; text as it
    stands everywhere else, ids and columns nobody declared too.
    """
    text = cell.strip()
    if not text:
        return None
    if column is not None and column.kind == "number":
        number = parse_number(text, decimal_comma=decimal_comma)
        return cell if isinstance(number, Fault) else number
    if column is not None and column.kind == "date":
        day = parse_date(text)
        return cell if isinstance(day, Fault) else dt.date.fromisoformat(day)
    return cell


def as_text(value: Value, *, decimal_comma: bool) -> str:
    """Return the book's text for what a spreadsheet cell holds."""
    if value is None:
        return ""
    if isinstance(value, str):
        return value
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, int | float):
        text = number_text(float(value))
        return text.replace(".", ",") if decimal_comma else text
    if isinstance(value, dt.datetime):
        midnight = value.time() == dt.time()
        return value.date().isoformat() if midnight else value.isoformat(sep=" ")
    if isinstance(value, dt.date | dt.time):
        return value.isoformat()
    return str(value)


def number_text(number: float) -> str:
    """Return a number as people write it, to the 15 digits that spreadsheets keep.

    >>> number_text(24.0), number_text(0.1 + 0.2), number_text(1e-5)
    ('24', '0.3', '0.00001')
    """
    if number != number or number in (float("inf"), float("-inf")):
        return str(number)
    text = f"{Decimal(f'{number:.15g}'):f}"
    if "." in text:
        text = text.rstrip("0").rstrip(".")
    return "0" if text == "-0" else text


def canonical(text: str) -> str:
    """Return text as it comes back from a spreadsheet.

    Line ends become plain ones, characters that XML does not know a replacement mark.
    """
    text = text.replace("\r\n", "\n").replace("\r", "\n")
    return _NO_XML.sub("\N{REPLACEMENT CHARACTER}", text)


def same(old: str, new: str, column: Column | None, *, decimal_comma: bool) -> bool:
    """Whether two texts of a cell say the same in their column."""
    if old == new:
        return True
    a, b = old.strip(), new.strip()
    if not a or not b:
        return not a and not b
    kind = "text" if column is None else column.kind
    if kind == "flag":
        return a.casefold() == b.casefold()
    if kind == "number":
        one, two = (parse_number(text, decimal_comma=decimal_comma) for text in (a, b))
        if not isinstance(one, Fault) and not isinstance(two, Fault):
            return number_text(one) == number_text(two)
    if kind == "date":
        first, second = parse_date(a), parse_date(b)
        if not isinstance(first, Fault) and not isinstance(second, Fault):
            return first == second
    if kind in {"number", "date", "choice"}:
        return canonical(a) == canonical(b)
    return canonical(old) == canonical(new)
