"""Checks of the log's heights and weights against the water, the species, and each other."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from growthcast.arrays import FloatArray, IntArray, distinct
from growthcast.book.book import Table, WholeTank
from growthcast.book.checks.log import has_amounts, of_whole_tank
from growthcast.book.checks.together import (
    DAY_SPAN,
    HEIGHTS,
    Tables,
    at_cell,
    at_cells,
    day_numbers,
    where,
)
from growthcast.errors import Finding

_ABOVE_WATER = 1.1  # a slanting surface or a leaf above it is no slip
_ABOVE_CEILING = 1.5
_DENSER = 3.0  # an area's trimmings may weigh so many times what the table makes of them


def _of_area(tables: Tables, values: FloatArray) -> FloatArray:
    """Return a value of each area for every log row (N,), nan where the area is unknown."""
    return np.asarray(np.append(values, np.nan)[tables.area_of_trims], np.float64)


def check_reach(tables: Tables) -> Iterator[Finding]:
    """A height, or a length cut off, is one that the water and the species allow."""
    trims = tables.trims
    water = _of_area(tables, tables.water_of_areas_cm)
    own = np.where(tables.surface_areas, np.nan, tables.ceiling_of_areas_cm)
    ceiling = _of_area(tables, own)
    for column in HEIGHTS:
        cells = np.where(tables.cover_trims, np.nan, trims.number(column))
        above = cells > _ABOVE_WATER * water
        yield from at_cells(trims, above, column, "height-above-water", water=water)
        far = (cells > _ABOVE_CEILING * ceiling) & ~above
        yield from at_cells(trims, far, column, "height-above-ceiling", ceiling=ceiling)


def check_look(tables: Tables) -> Iterator[Finding]:
    """A look does not contradict the height measured beside it."""
    trims = tables.trims
    before, look = trims.number("before_cm"), trims.text("look")
    held = tables.bounds_of(tables.area_of_trims, trims.date("date"))
    floor, budget = held.floor_cm, held.budget_cm
    for word, odd, limit, beyond in (
        ("short", before > budget, budget, "above the height budget"),
        ("over", before < floor, floor, "below the floor"),
    ):
        differs = odd & np.asarray(look == word, np.bool_) & (floor < budget)
        said = {"limit": limit, "beyond": beyond, "unit": tables.unit_trims}
        yield from at_cells(trims, differs, "look", "look-differs", **said)


def check_left_over(tables: Tables) -> Iterator[Finding]:
    """A cut leaves something to grow on; only floating plants are taken out whole."""
    trims = tables.trims
    nothing = (trims.number("after_cm") == 0) & ~tables.cover_trims & (tables.area_of_trims >= 0)
    yield from at_cells(trims, nothing, "after_cm", "cut-to-nothing")


def check_grams_of(tables: Tables) -> Iterator[Finding]:
    """Whose grams a row holds is said of a whole tank's weight only."""
    trims = tables.trims
    idle = ~of_whole_tank(trims) | ~trims.given("removed_g")
    yield from at_cells(trims, idle & trims.given("grams_of"), "grams_of", "grams-of-nothing")


def check_share(tables: Tables) -> Iterator[Finding]:
    """A whole tank's trimmings have at least one area to be shared by."""
    trims = tables.trims
    tank, days = tables.tank_of_trims, day_numbers(trims.date("date"))
    whole = of_whole_tank(trims)
    candidates = whole & trims.given("removed_g") & (tank >= 0) & (days > 0)
    if not candidates.any() or not len(tables.areas):
        return
    key = tank * DAY_SPAN + days
    asked = key[candidates]
    area = tables.area_of_trims
    measured = (area >= 0) & has_amounts(trims)
    pairs = np.stack([key[measured], area[measured]])
    (own, _), _ = np.unique(pairs, axis=1, return_counts=True)  # without them ``numpy.ma`` comes in
    ruled_out = np.searchsorted(own, asked, "right") - np.searchsorted(own, asked, "left")
    of_rest = trims.text("grams_of")[candidates] == "rest"
    if tables.whole_tank_grams == "rest":
        of_rest = trims.text("grams_of")[candidates] != "all"
    left = _living(tables, tank[candidates], days[candidates]) - np.where(of_rest, ruled_out, 0)
    for index in np.flatnonzero(candidates)[left <= 0].tolist():
        yield at_cell(trims, index, "removed_g", "nothing-to-share")


def check_what_areas_hold(tables: Tables) -> Iterator[Finding]:
    """A weight is one that its areas can have given, had all of them stood at their ceilings."""
    trims, area = tables.trims, tables.area_of_trims
    grams, days = trims.number("removed_g"), day_numbers(trims.date("date"))
    if not (grams > 0.0).any():
        return
    density = np.append(tables.species.number("density_g_l"), np.nan)[tables.species_of_areas]
    per_cm = np.where(tables.cover_areas, 1e-4, 1e-3) * tables.areas.number("area_cm2")
    ceiling_cm = np.fmin(tables.ceiling_of_areas_cm, tables.water_of_areas_cm)
    ceiling_cm = np.where(tables.cover_areas, 100.0, ceiling_cm)
    holds = np.nan_to_num(density * per_cm * ceiling_cm)
    whole = of_whole_tank(trims)
    everything = _living(tables, np.where(whole, tables.tank_of_trims, -1), days, holds)
    most = np.where(whole, everything, np.append(holds, np.nan)[area])
    heavy = (grams > _DENSER * most) & (most > 0.0)
    yield from at_cells(trims, heavy, "removed_g", "weight-above-areas", most=most)


def remark_on_grams(trims: Table, reading: WholeTank | None, why: str) -> Iterator[Finding]:
    """Say how weights of whole tanks are read where it makes a difference.

    That is on days on which areas have amounts of their own, unless the row says whose grams it
    holds. ``reading`` is ``None`` where that has not been settled.
    """
    weighed = of_whole_tank(trims) & trims.given("removed_g")
    visit = trims.coded["tank_id"].codes * DAY_SPAN + day_numbers(trims.date("date"))
    beside = np.isin(visit, visit[~of_whole_tank(trims) & has_amounts(trims)])
    rows = where(weighed & beside & ~trims.given("grams_of"))
    if not rows:
        return
    whose = {
        "all": "as everything that came out of the tank",
        "rest": "as what the areas without amounts of their own gave",
        None: "as the log tells",
    }[reading]
    count = f"{len(rows)} weight{'s' if len(rows) > 1 else ''}"
    said = {"count": count, "whose": whose, "why": why}
    yield at_cell(trims, rows[0], "removed_g", "whole-tank-grams", **said)


def _living(
    tables: Tables, tank: IntArray, days: IntArray, each: FloatArray | None = None
) -> FloatArray:
    """Return the sum over the areas that live in a tank on a day of something (A,), or how many."""
    home = tables.tank_of_areas
    each = np.ones(home.size) if each is None else each
    planted = day_numbers(tables.areas.date("planted_on"))  # 0 of an unknown date: all along
    removed = day_numbers(tables.areas.date("removed_on"))
    removed = np.where(removed == 0, DAY_SPAN, removed)
    total = np.zeros(tank.size)
    for place in distinct(tank[tank >= 0]):
        rows, areas = np.flatnonzero(tank == place), np.flatnonzero(home == place)
        day = days[rows, None]
        total[rows] = ((planted[areas] <= day) & (day <= removed[areas])) @ each[areas]
    return total


READING_CHECKS = (
    check_reach,
    check_look,
    check_left_over,
    check_grams_of,
    check_share,
    check_what_areas_hold,
)
