"""From the rows of a log to visits: what was done to which area on which day."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from growthcast.book.book import Table
from growthcast.fit.rows.chains import Look

__all__ = ["AreaTraits", "LeftOut", "Visits", "read_visits"]

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]

MOST_OF_BUDGET = 1.25


@dataclass(frozen=True, slots=True)
class LeftOut:
    """A log row that the fit did not use, or used only as the end of a span."""

    file: str
    row: int
    why: str


@dataclass(frozen=True, slots=True)
class AreaTraits:
    """What the book says of each area, all (A,); days are day numbers, NaN = not known.

    ``gram_per_cm`` is what a centimetre of the area's height weighs at the table's density.
    """

    tank: IntArray
    planted_day: FloatArray
    planted_cm: FloatArray
    removed_day: FloatArray
    floor_cm: FloatArray
    budget_cm: FloatArray
    cut_cm: FloatArray
    lowest_cut_cm: FloatArray
    pause_d: FloatArray
    gram_per_cm: FloatArray
    reading_error_cm: FloatArray


@dataclass(frozen=True, slots=True)
class Visits:
    """What was done to which area on which day; one entry an area and day, sorted so.

    ``cut`` tells that the area was (or may have been) cut. ``weighed_cm`` is what a weight comes to
    at the table's density; for a share of a whole tank's weight, ``share_of`` is that weight's
    number and ``weighed_cm`` a first guess. ``look`` is a ``Look``; ``row`` the index of the log
    row.
    """

    area: IntArray
    day: FloatArray
    before_cm: FloatArray
    after_cm: FloatArray
    removed_cm: FloatArray
    weighed_cm: FloatArray
    look: IntArray
    cut: BoolArray
    share_of: IntArray
    row: IntArray

    @property
    def found(self) -> BoolArray:
        """Whether anything says how the area stood before a cut, or how much came off."""
        amounts = np.isfinite(self.before_cm) | np.isfinite(self.removed_cm)
        found: BoolArray = amounts | np.isfinite(self.weighed_cm) | (self.look > 0)
        return found

    def removed_share(self, budget_cm: FloatArray) -> FloatArray:
        """Share of the height that a cut took off, 0 where the log does not tell.

        A height before counts up to a little above the area's budget (A,): a slipped decimal must
        not look like a cut to the base.
        """
        before = np.where(
            np.isfinite(self.before_cm), self.before_cm, self.after_cm + self.removed_cm
        )
        before = np.minimum(before, MOST_OF_BUDGET * budget_cm[self.area])
        left = np.where(np.isfinite(self.after_cm), self.after_cm, before - self.removed_cm)
        known = np.isfinite(before) & np.isfinite(left) & self.cut & (before > 0.0)
        share = np.divide(before - left, before, out=np.zeros_like(before), where=known)
        taken: FloatArray = np.clip(share, 0.0, 1.0)
        return taken


def read_visits(
    trims: Table, area_of_row: IntArray, tank_of_row: IntArray, traits: AreaTraits
) -> tuple[Visits, FloatArray, tuple[LeftOut, ...]]:
    """Turn log rows into visits; also the whole tanks' weights (W,) [g] and the rows left out.

    ``area_of_row`` is -1 for a whole-tank row: its weight is shared by the areas that have no row
    of their own that day.
    """
    day = trims.date("date").astype("datetime64[D]").astype(np.float64)
    before, after = trims.number("before_cm").copy(), trims.number("after_cm").copy()
    removed, mass = trims.number("removed_cm").copy(), trims.number("removed_g")
    look = _looks(trims)
    own = area_of_row >= 0
    weighed = np.isfinite(mass) & (mass > 0.0)
    cut = own & (np.isfinite(after) | np.isfinite(removed) | weighed)
    # Nothing came off: the height before is the height after, and the span goes on.
    untouched = own & ~weighed & ((removed == 0.0) | (before == after))
    after[untouched & np.isfinite(before)] = np.nan
    removed[untouched] = np.nan
    cut &= ~untouched | np.isfinite(after)
    told = np.isfinite(before) | np.isfinite(after) | np.isfinite(removed) | weighed | (look > 0)

    kept = np.flatnonzero(own & told)
    area = area_of_row[kept]
    of_own = Visits(
        area=area,
        day=day[kept],
        before_cm=before[kept],
        after_cm=after[kept],
        removed_cm=removed[kept],
        weighed_cm=np.where(weighed[kept], mass[kept], np.nan) / traits.gram_per_cm[area],
        look=look[kept],
        cut=cut[kept],
        share_of=np.full(kept.size, -1),
        row=kept,
    )
    whole = np.flatnonzero(~own & weighed)
    shared = _shared(whole, mass[whole], day, of_own, tank_of_row, traits)
    visits = Visits(
        *(np.concatenate([getattr(of_own, f), getattr(shared, f)]) for f in Visits.__slots__)
    )
    order = np.lexsort((visits.day, visits.area))
    visits = Visits(*(getattr(visits, f)[order] for f in Visits.__slots__))
    left_out = _left_out(trims, own & ~told, np.setdiff1d(whole, shared.row))
    return visits, mass[whole], left_out


def _looks(trims: Table) -> IntArray:
    words = trims.text("look")
    look = np.zeros(words.size, dtype=np.int64)
    for meaning in (Look.SHORT, Look.RIGHT, Look.OVER):
        look[words == meaning.name.lower()] = meaning
    return look


def _left_out(trims: Table, empty: BoolArray, unshared: IntArray) -> tuple[LeftOut, ...]:
    """Rows that say nothing on any area."""
    rows = [(int(row), "no amount and no look") for row in np.flatnonzero(empty)]
    rows += [(int(row), "no area is left to share this weight") for row in unshared]
    return tuple(LeftOut(trims.name, int(trims.rows[row]), why) for row, why in sorted(rows))


def _shared(
    whole: IntArray,
    total_g: FloatArray,
    day: FloatArray,
    own: Visits,
    tank_of_row: IntArray,
    traits: AreaTraits,
) -> Visits:
    """Visits to the areas of a tank whose trimmings were weighed together."""
    by_tank = np.argsort(traits.tank, kind="stable")
    size = np.bincount(traits.tank, minlength=int(tank_of_row.max(initial=-1)) + 1)
    first = np.cumsum(size) - size
    members = size[tank_of_row[whole]]
    number = np.repeat(np.arange(whole.size), members)
    place = np.arange(number.size) - np.repeat(np.cumsum(members) - members, members)
    area = by_tank[first[tank_of_row[whole[number]]] + place]
    when = day[whole[number]]
    alive = (traits.planted_day[area] <= when) & ~(traits.removed_day[area] < when)
    kept = alive
    if area.size:  # else there is no need to go through all visits
        kept = alive & ~np.isin(_pair(area, when), _pair(own.area, own.day))
    area, when, number = area[kept], when[kept], number[kept]
    blank = np.full(area.size, np.nan)
    sharers = np.bincount(number, minlength=whole.size)
    return Visits(
        area=area,
        day=when,
        before_cm=blank,
        after_cm=blank,
        removed_cm=blank,
        weighed_cm=total_g[number] / sharers[number] / traits.gram_per_cm[area],
        look=np.zeros(area.size, dtype=np.int64),
        cut=np.ones(area.size, dtype=bool),
        share_of=number,
        row=whole[number],
    )


def _pair(area: IntArray, day: FloatArray) -> IntArray:
    """One number for an area and a day."""
    pair: IntArray = area * 10_000_000 + day.astype(np.int64)
    return pair
