"""Checks of the log's heights and weights against the water, the species, and each other."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from growthcast.arrays import FloatArray, IntArray
from growthcast.book.book import Table, WholeTank
from growthcast.book.checks.log import has_amounts, of_whole_tank
from growthcast.book.checks.together import (
    DAY_SPAN,
    Tables,
    at_cell,
    day_numbers,
    height,
    where,
)
from growthcast.book.words import plain
from growthcast.errors import Finding

_ABOVE_WATER = 1.1  # a slanting surface or a leaf above it is no slip
_ABOVE_CEILING = 1.5
_DENSER = 3.0  # an area's trimmings may weigh so many times what the table makes of them
_UNDER = "a height under water"
_REACHED = "a height the species reaches"


def _of_area(tables: Tables, values: FloatArray) -> FloatArray:
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


def check_grams_of(tables: Tables) -> Iterator[Finding]:
    """Whose grams a row holds is said of a whole tank's weight only."""
    trims = tables.trims
    idle = ~of_whole_tank(trims) | np.isnan(trims.number("removed_g"))
    for index in where(idle & np.asarray(trims.text("grams_of") != "", np.bool_)):
        found = f"{trims.text('grams_of')[index]} in a row without a weight of the whole tank"
        fix = "leave the cell blank; it is not used"
        yield at_cell(trims, index, "grams_of", "grams-of-nothing", found, fix)


def check_share(tables: Tables) -> Iterator[Finding]:
    """A whole tank's trimmings have at least one area to be shared by."""
    trims = tables.trims
    tank, days = tables.tank_of_trims, day_numbers(trims.date("date"))
    whole = of_whole_tank(trims)
    candidates = whole & ~np.isnan(trims.number("removed_g")) & (tank >= 0) & (days > 0)
    if not candidates.any() or not len(tables.areas):
        return
    key = tank * DAY_SPAN + days
    asked = key[candidates]
    area = tables.area_of_trims
    measured = (area >= 0) & has_amounts(trims)
    own = np.unique(np.stack([key[measured], area[measured]]), axis=1)[0]
    ruled_out = np.searchsorted(own, asked, "right") - np.searchsorted(own, asked, "left")
    of_rest = trims.text("grams_of")[candidates] == "rest"
    if tables.whole_tank_grams == "rest":
        of_rest = trims.text("grams_of")[candidates] != "all"
    left = _living(tables, tank[candidates], days[candidates]) - np.where(of_rest, ruled_out, 0)
    for index in np.flatnonzero(candidates)[left <= 0].tolist():
        found = f"{plain(trims.number('removed_g')[index])} g and no area left to share it"
        fix = "name the area, or add the one that is missing; until then only its minutes count"
        yield at_cell(trims, index, "removed_g", "nothing-to-share", found, fix)


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
    everything = _living(tables, tables.tank_of_trims, days, holds)
    most = np.where(of_whole_tank(trims), everything, np.append(holds, np.nan)[area])
    for index in where((grams > _DENSER * most) & (most > 0.0)):
        full = f"{most[index]:.0f} g"
        found = f"{plain(grams[index])} g, where all that stands at its ceiling weighs {full}"
        fix = "look for a slipped decimal, weigh it drained, or write it without an area_id"
        yield at_cell(trims, index, "removed_g", "weight-above-areas", found, fix)


def remark_on_grams(trims: Table, reading: WholeTank | None, why: str) -> Iterator[Finding]:
    """Say how weights of whole tanks are read where it makes a difference.

    That is on days on which areas have amounts of their own, unless the row says whose grams it
    holds. ``reading`` is ``None`` where that has not been settled.
    """
    weighed = of_whole_tank(trims) & ~np.isnan(trims.number("removed_g"))
    visit = trims.coded["tank_id"].codes * DAY_SPAN + day_numbers(trims.date("date"))
    beside = np.isin(visit, visit[~of_whole_tank(trims) & has_amounts(trims)])
    rows = where(weighed & beside & np.asarray(trims.text("grams_of") == "", np.bool_))
    if not rows:
        return
    whose = {
        "all": "as everything that came out of the tank",
        "rest": "as what the areas without amounts of their own gave",
        None: "as the log tells",
    }[reading]
    count = (
        f"{len(rows)} weight{'s' if len(rows) > 1 else ''} of whole tanks beside amounts of areas"
    )
    fix = "nothing to do; whole_tank_grams under [log] in practice.toml, or grams_of, fixes it"
    found = f"{count}, read {whose} ({why})"
    yield at_cell(trims, rows[0], "removed_g", "whole-tank-grams", found, fix)


def _living(
    tables: Tables,
    tank: IntArray,
    days: IntArray,
    each: FloatArray | None = None,
) -> FloatArray:
    """Return the sum over the areas that live in a tank on a day of something (A,), or how many."""
    home = tables.tank_of_areas
    each = np.ones(home.size) if each is None else each
    planted = day_numbers(tables.areas.date("planted_on"))  # 0 of an unknown date: all along
    removed = day_numbers(tables.areas.date("removed_on"))
    removed = np.where(removed == 0, DAY_SPAN, removed)
    total = np.zeros(tank.size)
    for place in np.unique(tank[tank >= 0]):
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
