"""Checks of weights, above all of whole tanks: whose they are, and whether areas can give them."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from growthcast.book.book import Table, WholeTank
from growthcast.book.checks.log import has_amounts, of_whole_tank
from growthcast.book.checks.together import DAY_SPAN, Tables, at_cell, day_numbers, where
from growthcast.book.words import plain
from growthcast.errors import Finding

__all__ = ["WEIGHT_CHECKS", "remark_on_grams"]

Side = Literal["left", "right"]
_DENSER = 3.0
"""An area's trimmings may weigh so many times what the table makes of them."""


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
    told = (area >= 0) & has_amounts(trims)
    own = np.unique(np.stack([key[told], area[told]]), axis=1)[0]
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
    tank: NDArray[np.int64],
    days: NDArray[np.int64],
    each: NDArray[np.float64] | None = None,
) -> NDArray[np.float64]:
    """Return the sum over the areas that live in a tank on a day of something (A,), or how many."""
    home = tables.tank_of_areas
    each = np.ones(home.size) if each is None else each
    planted = day_numbers(tables.areas.date("planted_on"))
    removed = day_numbers(tables.areas.date("removed_on"))
    known, start, key = home >= 0, tank * DAY_SPAN, tank * DAY_SPAN + days

    def before(day: NDArray[np.int64], mask: NDArray[np.bool_], side: Side) -> NDArray[np.float64]:
        """Sum over areas whose day in the tank lies before the asked one."""
        at = (home * DAY_SPAN + day)[mask]
        order = np.argsort(at, kind="stable")
        total = np.append(0.0, np.cumsum(each[mask][order]))
        first, last = (
            np.searchsorted(at[order], start, "left"),
            np.searchsorted(at[order], key, side),
        )
        return np.asarray(total[last] - total[first], np.float64)

    # An area of unknown date has been there all along.
    return before(planted, known, "right") - before(removed, known & (removed > 0), "left")


WEIGHT_CHECKS = (check_grams_of, check_share, check_what_areas_hold)
