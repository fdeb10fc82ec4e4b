"""From the rows of a log to visits: what was done to which area on which day."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from growthcast.book.book import Table

__all__ = ["AreaTraits", "LeftOut", "Visits", "read_visits"]

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class LeftOut:
    """A log row that the fit did not use, or used only as the end of a span."""

    file: str
    row: int
    why: str


@dataclass(frozen=True, slots=True)
class AreaTraits:
    """What the book says of each area, all (A,); days are day numbers, NaN = not known."""

    tank: IntArray
    planted_day: FloatArray
    planted_cm: FloatArray
    removed_day: FloatArray
    floor_cm: FloatArray
    budget_cm: FloatArray
    cut_cm: FloatArray
    lowest_cut_cm: FloatArray
    pause_d: FloatArray
    reading_error_cm: FloatArray


@dataclass(frozen=True, slots=True)
class Visits:
    """What was done to which area on which day; one entry an area and day, sorted so.

    ``cut`` tells that the area was (or may have been) cut; ``sure`` that it certainly was.
    """

    area: IntArray
    day: FloatArray
    before_cm: FloatArray
    after_cm: FloatArray
    removed_cm: FloatArray
    cut: BoolArray
    sure: BoolArray

    @property
    def removed_share(self) -> FloatArray:
        """Share of the height that a cut took off, 0 where the log does not tell."""
        before = np.where(
            np.isfinite(self.before_cm), self.before_cm, self.after_cm + self.removed_cm
        )
        left = np.where(np.isfinite(self.after_cm), self.after_cm, before - self.removed_cm)
        known = np.isfinite(before) & np.isfinite(left) & self.cut & (before > 0.0)
        share = np.divide(before - left, before, out=np.zeros_like(before), where=known)
        taken: FloatArray = np.clip(share, 0.0, 1.0)
        return taken


def read_visits(
    trims: Table, area_of_row: IntArray, tank_of_row: IntArray, traits: AreaTraits
) -> tuple[Visits, IntArray, tuple[LeftOut, ...]]:
    """Turn log rows into visits; also returns the rows used per area and the rows left out.

    ``area_of_row`` is -1 for a whole-tank row. Weights and looks do not say how high an area
    stood: such a row is left out, but it still ends the span before it where something was cut.
    """
    day = trims.date("date").astype("datetime64[D]").astype(np.float64)
    before, after = trims.number("before_cm"), trims.number("after_cm")
    removed, mass = trims.number("removed_cm"), trims.number("removed_g")
    own = area_of_row >= 0
    measured = own & (np.isfinite(before) | np.isfinite(after) | np.isfinite(removed))
    weighed = np.isfinite(mass) & (mass > 0.0)
    cut = own & (np.isfinite(after) | np.isfinite(removed) | weighed)
    # Nothing came off: the height before is the height after, and the span goes on.
    untouched = own & ~weighed & ((removed == 0.0) | (before == after))
    after = np.where(untouched & np.isfinite(before), np.nan, after)
    removed = np.where(untouched, np.nan, removed)
    cut &= ~untouched | np.isfinite(after)
    kept = measured | cut

    left_out = [
        LeftOut(trims.name, int(trims.rows[row]), why)
        for row, why in _reasons(trims, own, measured, weighed)
    ]
    broken_area, broken_day = _shared_cuts(traits, own, weighed, area_of_row, tank_of_row, day)
    blank = np.full(broken_area.size, np.nan)
    area = np.concatenate([area_of_row[kept], broken_area])
    days = np.concatenate([day[kept], broken_day])
    order = np.lexsort((days, area))
    yes, no = np.ones(broken_area.size, dtype=bool), np.zeros(broken_area.size, dtype=bool)
    visits = Visits(
        area=area[order],
        day=days[order],
        before_cm=np.concatenate([before[kept], blank])[order],
        after_cm=np.concatenate([after[kept], blank])[order],
        removed_cm=np.concatenate([removed[kept], blank])[order],
        cut=np.concatenate([cut[kept], yes])[order],
        sure=np.concatenate([cut[kept], no])[order],
    )
    used = np.bincount(area_of_row[measured], minlength=traits.tank.size)
    return visits, used, tuple(left_out)


def _reasons(
    trims: Table, own: BoolArray, measured: BoolArray, weighed: BoolArray
) -> list[tuple[int, str]]:
    """Index and reason of each log row whose amounts say nothing on a height."""
    looked = trims.text("look") != ""
    reasons = []
    for row in np.flatnonzero(~measured & (weighed | looked)):
        if not own[row]:
            why = "a whole tank's weight: ends the span of every area without a row that day"
        elif weighed[row]:
            why = "a weight without a height: ends the span before it"
        else:
            why = "a look without a height"
        reasons.append((int(row), why))
    return reasons


def _shared_cuts(
    traits: AreaTraits,
    own: BoolArray,
    weighed: BoolArray,
    area_of_row: IntArray,
    tank_of_row: IntArray,
    day: FloatArray,
) -> tuple[IntArray, FloatArray]:
    """Areas and days at which a whole tank was trimmed and the area has no row of its own."""
    row = np.flatnonzero(~own & weighed)
    by_tank = np.argsort(traits.tank, kind="stable")
    size = np.bincount(traits.tank, minlength=int(tank_of_row.max(initial=-1)) + 1)
    first = np.cumsum(size) - size
    members = size[tank_of_row[row]]
    row = np.repeat(row, members)
    place = np.arange(row.size) - np.repeat(np.cumsum(members) - members, members)
    area = by_tank[first[tank_of_row[row]] + place]
    when = day[row]
    alive = (traits.planted_day[area] <= when) & ~(traits.removed_day[area] < when)
    logged = np.isin(_pair(area, when), _pair(area_of_row[own], day[own]))
    kept = alive & ~logged
    return area[kept], when[kept]


def _pair(area: IntArray, day: FloatArray) -> IntArray:
    """One number for an area and a day."""
    pair: IntArray = area * 10_000_000 + day.astype(np.int64)
    return pair
