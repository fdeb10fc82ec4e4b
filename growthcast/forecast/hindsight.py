"""The book as it was known before a day, and the visits that came of it.

Nothing of a later day may reach an earlier forecast: not a log row, not a change of conditions, not
an area that was planted later, not the day on which one was going to be taken out.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from growthcast.book.book import Book, Table

__all__ = ["LogVisits", "Spans", "known_before", "log_visits", "own_spans"]

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class LogVisits:
    """Visits that read or cut an area, one an area and day, sorted so; all (V,).

    ``before_cm`` is the height read before any cut and ``left_cm`` the height the area was left at
    as far as the row tells it, NaN where not known. ``cut`` tells that something was taken off.
    ``row`` is the index of the log row, -1 where only the whole tank's trimmings were weighed.
    """

    area: IntArray
    day: FloatArray
    before_cm: FloatArray
    left_cm: FloatArray
    cut: BoolArray
    row: IntArray

    def keep(self, mask: BoolArray) -> LogVisits:
        """Return some of the visits."""
        return LogVisits(*(getattr(self, name)[mask] for name in self.__slots__))

    @property
    def follows(self) -> BoolArray:
        """Whether a visit has one of the same area before it, (V,)."""
        follows = np.zeros(self.area.size, dtype=bool)
        follows[1:] = self.area[1:] == self.area[:-1]
        return follows


@dataclass(frozen=True, slots=True)
class Spans:
    """Growth between two visits of an area, both heights read; all (S,), sorted by area and day."""

    area: IntArray
    start_cm: FloatArray
    end_cm: FloatArray
    days: FloatArray


def known_before(book: Book, day: float) -> Book:
    """Return the book as it was known at the end of the day before ``day``.

    Parameters
    ----------
    book : Book
        The whole book.
    day : float
        Day number (days since 1970-01-01) [d].

    Returns
    -------
    Book
        Log rows and conditions dated before ``day``; areas planted before it, and those that were
        taken out later still standing. What the other tables say of an area (its usual cut, floor,
        budget and species) carries no date and is taken as known.
    """
    limit = np.datetime64(int(day), "D")
    areas, trims, conditions = book.areas, book.trims, book.conditions
    planted = areas.date("planted_on") < limit
    removed_on = areas.date("removed_on").copy()
    removed_on[removed_on >= limit] = np.datetime64("NaT")
    standing = replace(areas, columns={**areas.columns, "removed_on": removed_on}).keep(planted)
    place = area_places(book, trims)
    ids = trims.coded["area_id"]
    blank = np.array([not value for value in ids.values], dtype=bool)[ids.codes]
    theirs = blank | ((place >= 0) & planted[place])
    return replace(
        book,
        areas=standing,
        trims=trims.keep((trims.date("date") < limit) & theirs),
        conditions=conditions.keep(conditions.date("from_date") < limit),
    )


def area_places(book: Book, table: Table) -> IntArray:
    """Place in areas.csv of each row's area, -1 for none."""
    index = {name: place for place, name in enumerate(book.areas.text("area_id").tolist())}
    ids = table.coded["area_id"]
    places = np.array([index.get(value, -1) for value in ids.values], dtype=np.int64)
    return places[ids.codes]


def log_visits(book: Book) -> LogVisits:
    """Read the visits off a book's log; rows that neither read a height nor cut are left out."""
    trims = book.trims
    area, day = area_places(book, trims), _days(trims, "date")
    before, after = trims.number("before_cm"), trims.number("after_cm")
    removed, mass = trims.number("removed_cm"), trims.number("removed_g")
    weighed = np.isfinite(mass) & (mass > 0.0)
    untouched = ~weighed & ((removed == 0.0) | (before == after))
    cut = (np.isfinite(after) | np.isfinite(removed) | weighed) & ~untouched
    left = np.where(np.isfinite(after), after, before - np.where(cut, removed, 0.0))
    told = (area >= 0) & (np.isfinite(before) | cut)
    rows = np.flatnonzero(told)
    own = LogVisits(area[rows], day[rows], before[rows], left[rows], cut[rows], rows)
    shared = _shared(book, np.flatnonzero((area < 0) & weighed), day, area)
    joined = [np.concatenate([getattr(own, f), getattr(shared, f)]) for f in LogVisits.__slots__]
    order = np.lexsort((joined[1], joined[0]))
    return LogVisits(*(field[order] for field in joined))


def own_spans(visits: LogVisits) -> Spans:
    """Spans between visits in which both the height left and the height found were read."""
    at = np.flatnonzero(visits.follows)
    start, end = visits.left_cm[at - 1], visits.before_cm[at]
    read = np.isfinite(start) & np.isfinite(end) & (start > 0.0)
    at = at[read]
    return Spans(
        visits.area[at], start[read], end[read], np.maximum(visits.day[at] - visits.day[at - 1], 1)
    )


def _shared(book: Book, whole: IntArray, day: FloatArray, area: IntArray) -> LogVisits:
    """Visits to the areas of a tank whose trimmings were only weighed together."""
    if not whole.size:
        nothing = np.zeros(0)
        none = np.zeros(0, dtype=np.int64)
        return LogVisits(none, nothing, nothing, nothing, np.zeros(0, dtype=bool), none)
    tank_of_area, tank_of_row = book.areas.text("tank_id"), book.trims.text("tank_id")
    planted, removed = _days(book.areas, "planted_on"), _days(book.areas, "removed_on")
    seen = set(zip(area.tolist(), day.tolist(), strict=True))
    pairs = [
        (place, day[row])
        for row in whole.tolist()
        for place in np.flatnonzero(tank_of_area == tank_of_row[row]).tolist()
        if planted[place] <= day[row]
        and not removed[place] < day[row]
        and (place, day[row]) not in seen
    ]
    count = len(pairs)
    blank = np.full(count, np.nan)
    return LogVisits(
        np.array([place for place, _ in pairs], dtype=np.int64),
        np.array([when for _, when in pairs], dtype=np.float64),
        blank,
        blank,
        np.ones(count, dtype=bool),
        np.full(count, -1),
    )


def _days(table: Table, name: str) -> FloatArray:
    """Day numbers of a column of dates, NaN where blank."""
    dates = table.date(name).astype("datetime64[D]")
    days = dates.astype(np.int64).astype(np.float64)
    days[np.isnat(dates)] = np.nan
    return days
