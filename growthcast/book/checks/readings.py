"""Checks of the log's heights against the water, the species and the look beside them."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from growthcast.book.checks.together import Tables, at_cell, height, where
from growthcast.book.words import plain
from growthcast.errors import Finding

__all__ = ["READING_CHECKS"]

_ABOVE_WATER = 1.1  # a slanting surface or a leaf above it is no slip
_ABOVE_CEILING = 1.5
_UNDER = "a height under water"
_REACHED = "a height the species reaches"


def _of_area(tables: Tables, values: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return a value of each area for every log row (N,), nan where the area is unknown."""
    return np.asarray(np.append(values, np.nan)[tables.area_of_trims], np.float64)


def check_reach(tables: Tables) -> Iterator[Finding]:
    """A height, or a length cut off, is one that the water and the species allow."""
    trims = tables.trims
    water = _of_area(tables, tables.water_of_areas_cm)
    own = np.where(tables.surface_areas, np.nan, tables.ceiling_of_areas_cm)
    ceiling = _of_area(tables, own)
    fix = "look for a slipped decimal, inches, or another area's row; else leave it"
    for column in ("before_cm", "after_cm", "removed_cm"):
        cells = trims.number(column)
        above = (cells > _ABOVE_WATER * water) & ~tables.cover_trims
        for index in where(above):
            found = f"{plain(cells[index])} cm, in water of {plain(water[index])} cm"
            yield at_cell(trims, index, column, "height-above-water", found, fix, _UNDER)
        far = (cells > _ABOVE_CEILING * ceiling) & ~above & ~tables.cover_trims
        for index in where(far):
            found = f"{plain(cells[index])} cm, far above the ceiling of {plain(ceiling[index])} cm"
            more = fix + ", or raise ceiling_cm in species.csv"
            yield at_cell(trims, index, column, "height-above-ceiling", found, more, _REACHED)


def check_look(tables: Tables) -> Iterator[Finding]:
    """A look does not contradict the height measured beside it."""
    trims = tables.trims
    before, look = trims.number("before_cm"), trims.text("look")
    floor = _of_area(tables, tables.areas.number("floor_cm"))
    budget = _of_area(tables, tables.areas.number("budget_cm"))
    for word, odd, limit, words in (
        ("short", before > budget, budget, "above the height budget"),
        ("over", before < floor, floor, "below the floor"),
    ):
        for index in where(odd & np.asarray(look == word, np.bool_) & (floor < budget)):
            cover = bool(tables.cover_trims[index])
            stood = height(before[index], cover)
            found = f"{word} beside {stood}, {words} of {height(limit[index], cover)}"
            fix = "correct the look or the height; the look is how it stood before any cut"
            yield at_cell(
                trims, index, "look", "look-differs", found, fix, "a look that fits the height"
            )


def check_left_over(tables: Tables) -> Iterator[Finding]:
    """A cut leaves something to grow on; only floating plants are taken out whole."""
    trims = tables.trims
    nothing = (trims.number("after_cm") == 0) & ~tables.cover_trims & (tables.area_of_trims >= 0)
    for index in where(nothing):
        found = "0 cm: nothing to grow on"
        fix = "write the height left, or removed_on in areas.csv if the area was taken out"
        yield at_cell(trims, index, "after_cm", "cut-to-nothing", found, fix, "a height above 0 cm")


READING_CHECKS = (check_reach, check_look, check_left_over)
