"""Checks of ids: each once in its home table, and known wherever it is named."""

from __future__ import annotations

import re
from collections.abc import Iterator

import numpy as np

from growthcast.book.book import Table
from growthcast.book.checks.together import Tables, at_cell, where
from growthcast.book.words import did_you_mean, shown
from growthcast.errors import Finding

_MOST_GUESSES = 20  # looking for near misses among thousands of ids takes its time
_LIKE_A_VALUE = re.compile(
    r"[+-]?[0-9][0-9.,]*(?:[eE][+-]?[0-9]+)?|[0-9]{1,4}[-/. ][0-9]{1,4}(?:[-/. ][0-9]{1,4})?"
)


def _homes(tables: Tables) -> tuple[tuple[Table, str], ...]:
    return (
        (tables.tanks, "tank_id"),
        (tables.areas, "area_id"),
        (tables.own_species, "species_id"),
    )


def check_double_ids(tables: Tables) -> Iterator[Finding]:
    """Each id stands once in its home table."""
    for home, column in _homes(tables):
        first: dict[str, int] = {}
        for index, name in enumerate(home.text(column).tolist()):
            row = first.setdefault(name, int(home.rows[index]))
            if name and row != home.rows[index]:
                found = f"{shown(name)}, which row {row} has too"
                fix = "give one of the two another id, or remove the row that is there twice"
                yield at_cell(home, index, column, "double-id", found, fix, "ids, each once")


def check_id_case(tables: Tables) -> Iterator[Finding]:
    """No two ids differ in case alone."""
    shipped = {name.casefold(): name for name in tables.species.text("species_id").tolist()}
    for home, column in _homes(tables):
        first = dict(shipped) if column == "species_id" else {}
        for index, name in enumerate(home.text(column).tolist()):
            other = first.setdefault(name.casefold(), name)
            if other != name:
                found = f"{shown(name)}, which differs from {shown(other)} only in case"
                fix = f"write {other} if the same is meant, else choose another id"
                yield at_cell(home, index, column, "id-case", found, fix)


def check_id_looks(tables: Tables) -> Iterator[Finding]:
    """An id that looks like a number or a date may be changed by a spreadsheet."""
    for home, column in _homes(tables):
        for index, name in enumerate(home.text(column).tolist()):
            if _LIKE_A_VALUE.fullmatch(name):
                found = f"{shown(name)}, which looks like a number or a date"
                fix = "put a letter in front, so that no spreadsheet rewrites it"
                yield at_cell(home, index, column, "id-looks-like-value", found, fix)
            elif name != name.strip():
                found = f"{shown(name)}, with a space at its beginning or end"
                fix = f"write {name.strip()} wherever it is used"
                yield at_cell(home, index, column, "id-spaces", found, fix)


def check_unknown_ids(tables: Tables) -> Iterator[Finding]:
    """Every id named stands in its home table."""
    named = (
        (tables.areas, "tank_id", tables.tanks),
        (tables.areas, "species_id", tables.species),
        (tables.trims, "tank_id", tables.tanks),
        (tables.trims, "area_id", tables.areas),
        (tables.conditions, "tank_id", tables.tanks),
        (tables.closed, "tank_id", tables.tanks),
    )
    for table, column, home in named:
        known = [name for name in home.text(column).tolist() if name]
        if known:  # else the home table itself has the finding
            yield from _unknown(table, column, home, known)


def _unknown(table: Table, column: str, home: Table, known: list[str]) -> Iterator[Finding]:
    names = table.text(column)
    missing = (table.places(column, home.text(column)) < 0) & np.asarray(names != "", np.bool_)
    fixes: dict[str, str] = {}
    otherwise = f"add it to {home.name}, or write one of its ids"
    for index in where(missing):
        name = str(names[index])
        if name not in fixes:
            guess = len(fixes) < _MOST_GUESSES
            fixes[name] = did_you_mean(name, known, otherwise) if guess else otherwise
        found = f"{shown(name)}, which {home.name} does not have"
        yield at_cell(
            table, index, column, "unknown-id", found, fixes[name], f"an id of {home.name}"
        )


ID_CHECKS = (check_double_ids, check_id_case, check_id_looks, check_unknown_ids)
