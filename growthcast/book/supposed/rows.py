"""Supposed changes as rows and cells over a book in memory."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import date

import numpy as np

from growthcast.book.book import Book
from growthcast.book.suppose import Cell, with_cells, with_rows

__all__ = ["PlannedArea", "with_conditions", "with_planted_areas", "with_references"]

PlannedArea = Mapping[str, Cell]
"""Cells of an area by column name; ``area_id``, ``tank_id`` and ``species_id`` at least."""


def with_references(book: Book, tank_id: str, on: date, values: Mapping[str, float]) -> Book:
    """Lay reference values over conditions that nobody ever gave, from the tank's first day on.

    The first known condition holds backwards: without this row a supposed one would be taken to
    have held in the past as well.
    """
    if not values:
        return book
    conditions = book.conditions
    given = conditions.date("from_date")[conditions.text("tank_id") == tank_id]
    first = min([on, *(day.item() for day in given.astype("datetime64[D]"))])
    row: dict[str, Cell] = {"tank_id": tank_id, "from_date": first, **values}
    return replace(book, conditions=with_rows(conditions, [row]))


def with_conditions(book: Book, tank_id: str, on: date, values: Mapping[str, float]) -> Book:
    """Lay supposed conditions over a tank from a day on; no row of a later day overrides them."""
    conditions = book.conditions
    later = conditions.text("tank_id") == tank_id
    later &= conditions.date("from_date") >= np.datetime64(on, "D")
    kept = with_cells(conditions, later, dict.fromkeys(values)) if later.any() else conditions
    row: dict[str, Cell] = {"tank_id": tank_id, "from_date": on, **values}
    return replace(book, conditions=with_rows(kept, [row]))


def with_planted_areas(book: Book, areas: Sequence[PlannedArea], on: date) -> Book:
    """Lay areas over a book that are planted on a day and have no log."""
    rows = [{**area, "planted_on": on} for area in areas]
    return replace(book, areas=with_rows(book.areas, rows))
