"""Every table and column of a book, and every key of its practice.toml: ``columns.csv``.

A row there is a column of a table, or a key under a section in brackets, in the order in which both
are written: what it holds (``kind``), whether its cells are ``required``, tell rows apart
(``key``), lie ``above`` the lowest limit or are ``whole``, its unit and limits, the words it knows,
and what it means.
"""

from __future__ import annotations

import csv
from collections.abc import Mapping
from functools import cache
from pathlib import Path
from types import MappingProxyType
from typing import Any, Literal

from growthcast.book.words import plain
from growthcast.nouns import dataclass

Kind = (
    Literal["id", "text", "number", "date", "choice", "flag"]
    | Literal["quoted", "currency", "locale", "region", "picture"]
    | Literal["intervals", "weekdays", "dates", "texts"]
)
"""What a cell holds; those of the later lines are of practice.toml alone."""

WEEKDAYS = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")


def _read(name: str) -> list[dict[str, str]]:
    """Return the rows of a table of declarations."""
    with Path(__file__).with_name(name).open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


UNITS: Mapping[str, Mapping[str, str]] = {row["unit"]: row for row in _read("units.csv")}
"""How each unit is written: in words, beside a number, in a sheet's heading, by whoever types."""
UNIT_WORDS: Mapping[str, str] = {unit: row["words"] for unit, row in UNITS.items()}
KINDS: Mapping[str, Mapping[str, str]] = {row["kind"]: row for row in _read("kinds.csv")}
"""What a cell of a kind should hold, in words, and of lists an example."""


@dataclass(frozen=True, slots=True)
class Column:
    """One column or key: its name, what its cells hold and within which limits.

    ``above`` makes ``low`` a limit which the value must exceed; ``whole`` asks for whole numbers;
    ``required`` means that the column is there and that none of its cells is blank; by the columns
    that are ``key`` a row of a sheet and a row of a file are the same row.
    """

    name: str
    kind: Kind
    meaning: str
    unit: str = ""
    low: float | None = None
    high: float | None = None
    required: bool = False
    key: bool = False
    above: bool = False
    whole: bool = False
    choices: tuple[str, ...] = ()

    @property
    def expected(self) -> str:
        """What a cell of this column should hold, in words."""
        if self.kind == "choice":
            return "one of " + ", ".join(self.choices)
        if self.kind == "intervals":
            return f"a list of {_expected_number(self)}"
        return _expected_number(self) if self.kind == "number" else KINDS[self.kind]["expected"]


def _expected_number(column: Column) -> str:
    words, above = UNIT_WORDS[column.unit], column.above
    if column.whole:
        words = "whole " + words.removeprefix("a ")
    low, high = (plain(one or 0.0) for one in (column.low, column.high))
    return f"{words} above {low}, at most {high}" if above else f"{words} from {low} to {high}"


def _declared() -> dict[str, tuple[Column, ...]]:
    """Return the columns by table, and the keys by section in brackets."""
    found: dict[str, list[Column]] = {}
    for row in _read("columns.csv"):
        told: dict[str, Any] = dict.fromkeys(row["also"].split(), True)
        told |= {limit: float(row[limit]) for limit in ("low", "high") if row[limit]}
        told |= {name: row[name] for name in ("name", "kind", "meaning", "unit")}
        column = Column(**told, choices=tuple(row["choices"].split()))
        found.setdefault(row["table"], []).append(column)
    return {table: tuple(columns) for table, columns in found.items()}


_ALL = _declared()
TABLES: Mapping[str, tuple[Column, ...]] = MappingProxyType(
    {name: columns for name, columns in _ALL.items() if name[0] != "["}
)
KEYS: Mapping[str, tuple[Column, ...]] = MappingProxyType(
    {name.strip("[]"): columns for name, columns in _ALL.items() if name[0] == "["}
)
"""The keys of practice.toml by section."""


@cache
def column_of(table: str, name: str) -> Column:
    """Return the declaration of one column."""
    return next(column for column in TABLES[table] if column.name == name)


FORMS = column_of("species", "form").choices
NOT_ANSWERED = {
    "fe_mg_l": "growth is not reckoned from iron; the conditions are",
    "ph": "give the CO2 it stands for, as co2_mg_l; the conditions are",
    "kh_dkh": "give the CO2 it stands for, as co2_mg_l; the conditions are",
}
"""Conditions that nobody can suppose, and what is said instead."""
CONDITION_WORDS: Mapping[str, tuple[str, str]] = {
    column.name: (column.meaning.partition(";")[0], UNITS[column.unit]["shown"])
    for column in TABLES["conditions"]
    if column.kind == "number" and column.name not in NOT_ANSWERED
}
"""Conditions that growth answers to: in words, and their unit."""
