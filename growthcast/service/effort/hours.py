"""Visits as they were timed: fixed minutes learnt from them, and a month's work for the invoice."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

import numpy as np

from growthcast.arrays import BoolArray, FloatArray, IntArray, distinct
from growthcast.book.book import Book
from growthcast.finite import finite_answer
from growthcast.log.visits import day_numbers, pair_of
from growthcast.nouns import dataclass
from growthcast.service.effort.visits import Range

PRIOR_SHARE = 0.5
"""How far (share) a tank's fixed minutes may lie from the book's (an estimate, no source)."""
SCATTER_SHARE, SCATTER_WORTH = 0.25, 4.0
"""Scatter of one visit's fixed minutes to begin with (share), and how many visits that is worth."""
VISITS_TO_USE = 3
"""Timed visits from which on learnt minutes stand in for a practice's (a choice of ours)."""
Z_80 = 1.2815515655446004


@dataclass(frozen=True, slots=True)
class TankDays:
    """Days on which tanks were visited, all (N,), in the order of tank and day.

    Attributes
    ----------
    tank, day
        Place of the tank in the book, day number.
    visit_min, trimming_min, grams
        Minutes at the tank in all, minutes of trimming, grams out of the tank; nan where the log
        does not tell.
    """

    tank: IntArray
    day: FloatArray
    visit_min: FloatArray
    trimming_min: FloatArray
    grams: FloatArray


def tank_days(book: Book) -> TankDays:
    """Sum up the log by tank and day.

    Parameters
    ----------
    book : Book
        A checked book.

    Returns
    -------
    TankDays
        Minutes and grams of areas and whole tanks together: a whole tank's "all" stand for those
        of its areas, "rest" are added to them. Minutes are read as "rest" and grams as "all" unless
        the row or the practice says otherwise.
    """
    trims, practice = book.trims, book.practice
    tank = trims.places("tank_id", book.tanks.text("tank_id"))
    day, whole = day_numbers(trims.date("date")), ~trims.given("area_id")
    known = (tank >= 0) & np.isfinite(day)
    pairs, at = np.unique(pair_of(tank[known], day[known]), return_inverse=True)
    first = np.unique(at, return_index=True)[1]

    def total(name: str, mask: BoolArray) -> FloatArray:
        values = np.where(mask, trims.number(name), np.nan)[known]
        given = np.isfinite(values)
        sums = np.bincount(at[given], values[given], minlength=pairs.size)
        return np.where(np.bincount(at[given], minlength=pairs.size) > 0, sums, np.nan)

    def together(name: str, said: BoolArray) -> FloatArray:
        of_areas, of_all = total(name, ~whole), total(name, whole & said)
        of_rest = total(name, whole & ~said)
        parts = np.stack([of_areas, of_rest])
        added = np.where(np.isfinite(parts).any(axis=0), np.nansum(parts, axis=0), np.nan)
        return np.where(np.isfinite(of_all), np.fmax(of_all, of_areas), added)

    word = trims.text("grams_of")
    all_grams = (word == "all") | ((word == "") & (practice.whole_tank_grams != "rest"))
    all_minutes = np.full(len(trims), practice.whole_tank_minutes == "all")
    return TankDays(
        tank=tank[known][first],
        day=day[known][first],
        visit_min=total("visit_min", whole),
        trimming_min=together("minutes", all_minutes),
        grams=together("removed_g", all_grams),
    )


@dataclass(frozen=True, slots=True)
class FixedMinutes:
    """What a tank's visits take beside trimming: the book's word, and what timed visits tell.

    ``visits`` have both times, at the tank in all and of trimming; ``learnt_min`` is the mean of
    the tank's visits with its doubt, ``book_min`` the book's, its ``own`` or the practice's.
    """

    tank_id: str
    visits: int
    learnt_min: Range
    book_min: float
    own: bool

    @property
    def differs(self) -> bool:
        """Whether the book's minutes lie outside what is learnt, in 8 cases of 10."""
        return not self.learnt_min.p10 <= self.book_min <= self.learnt_min.p90


def learn_fixed_minutes(book: Book) -> list[FixedMinutes]:
    """Learn the fixed minutes of each tank from visits with both times.

    Parameters
    ----------
    book : Book
        A checked book.

    Returns
    -------
    list of FixedMinutes
        Of tanks with such a visit, in the order of the book.

    Notes
    -----
    A visit's fixed minutes are those at the tank in all less those of trimming. A tank's mean is
    normal around the book's minutes with a spread of ``PRIOR_SHARE`` of them; visits scatter
    around it with one share for the whole practice, learnt beside a prior. A visit that took less
    in all than its trimming teaches nothing.
    """
    days, usual = tank_days(book), book.of_tanks("fixed_min")
    left = days.visit_min - days.trimming_min
    both = left >= 0.0
    tank, left = days.tank[both], left[both]
    count = np.bincount(tank, minlength=usual.size)
    mean = np.bincount(tank, left, minlength=usual.size) / np.maximum(count, 1)
    level = np.maximum(usual, 5.0)
    off = (left - mean[tank]) / level[tank]
    share2 = (SCATTER_WORTH * SCATTER_SHARE**2 + (off**2).sum()) / (
        SCATTER_WORTH + max(off.size - (count > 0).sum(), 0)
    )
    precision = 1.0 / (PRIOR_SHARE * level) ** 2 + count / (share2 * level**2)
    middle = (usual / (PRIOR_SHARE * level) ** 2 + count * mean / (share2 * level**2)) / precision
    half = Z_80 / np.sqrt(precision)
    own = book.tanks.given("fixed_min")
    return [
        FixedMinutes(
            str(book.tanks.text("tank_id")[k]),
            int(count[k]),
            Range(max(middle[k] - half[k], 0.0), float(middle[k]), float(middle[k] + half[k])),
            float(usual[k]),
            bool(own[k]),
        )
        for k in np.flatnonzero(count).tolist()
    ]


def fixed_minutes(book: Book) -> FloatArray:
    """Return the minutes of a visit before any trimming that advice reckons with.

    Parameters
    ----------
    book : Book
        A checked book.

    Returns
    -------
    array (K,)
        A tank's own ``fixed_min``; without one what ``VISITS_TO_USE`` timed visits or more tell,
        else the practice's [min].
    """
    minutes = book.of_tanks("fixed_min").copy()
    if book.trims.given("visit_min").any():
        places = {str(name): k for k, name in enumerate(book.tanks.text("tank_id").tolist())}
        for one in learn_fixed_minutes(book):
            if not one.own and one.visits >= VISITS_TO_USE:
                minutes[places[one.tank_id]] = one.learnt_min.p50
    return minutes


@dataclass(frozen=True, slots=True)
class TankHours:
    """The visits of a tank in a month.

    ``visit_min`` are the minutes at the tank in all of the ``timed`` visits, None without any;
    ``trimming_min`` and ``grams`` likewise of those whose rows tell.
    """

    client: str
    tank_id: str
    visits: int
    timed: int
    visit_min: float | None
    trimming_min: float | None
    grams: float | None


@dataclass(frozen=True, slots=True)
class MonthOfWork:
    """The visits of a month by client and tank, and what timed visits tell of fixed minutes."""

    month: str
    tanks: Sequence[TankHours]
    fixed: Sequence[FixedMinutes]


@finite_answer
def month_of_work(book: Book, month: date, client: str | None = None) -> MonthOfWork:
    """Sum up the visits of a month.

    Parameters
    ----------
    book : Book
        A checked book.
    month : date
        Any day of the month.
    client : str, optional
        Only the tanks of this client.

    Returns
    -------
    MonthOfWork
        Tanks with a visit, by client and then in the order of the book. Nothing is made up for
        visits of which the log does not tell the time.
    """
    begins = np.datetime64(month, "M")
    first, behind = (at.astype("M8[D]").astype(np.int64) for at in (begins, begins + 1))
    days, names = tank_days(book), book.tanks.text("client")
    ids = book.tanks.text("tank_id")
    here = (days.day >= first) & (days.day < behind)
    rows = []
    for k in distinct(days.tank[here]).tolist():
        mine = here & (days.tank == k)
        if client is None or names[k] == client:
            sums = [_sum(getattr(days, n)[mine]) for n in ("visit_min", "trimming_min", "grams")]
            timed = int(np.isfinite(days.visit_min[mine]).sum())
            rows.append(TankHours(str(names[k]), str(ids[k]), int(mine.sum()), timed, *sums))
    shown = {row.tank_id for row in rows}
    fixed = [one for one in learn_fixed_minutes(book) if one.tank_id in shown]
    return MonthOfWork(f"{month:%Y-%m}", sorted(rows, key=lambda row: row.client), fixed)


def _sum(values: FloatArray) -> float | None:
    return float(np.nansum(values)) if np.isfinite(values).any() else None
