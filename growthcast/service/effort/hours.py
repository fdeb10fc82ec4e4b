"""Visits: how long they take, timed or forecast, and what a month or a year of them comes to."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import field
from datetime import date

import numpy as np

from growthcast.arrays import BoolArray, FloatArray, IntArray, day_numbers, distinct, pair_of
from growthcast.book.book import Book, WholeTank
from growthcast.finite import finite_answer
from growthcast.fit.design import Design
from growthcast.fit.model.posterior import RANGE_80
from growthcast.fit.result import GrowthFit
from growthcast.growth.quick import Singles, column, quick_quantiles
from growthcast.nouns import dataclass
from growthcast.plain import in_json
from growthcast.service.draws import stratified_normals
from growthcast.service.effort.learn import Timing, bulk_per_cm, learn_timing
from growthcast.service.interval import IntervalOptions
from growthcast.service.living import FOLLOWED_DRAWS, LivingAreas

DAYS_PER_YEAR = 365.0


@dataclass(frozen=True, slots=True)
class Range:
    """One in ten lies below ``p10``, half below ``p50``, one in ten above ``p90``.

    The unit is that of its name.
    """

    p10: float
    p50: float
    p90: float

    def times(self, factor: float) -> Range:
        """Return the same in another unit, or of so many."""
        return Range(self.p10 * factor, self.p50 * factor, self.p90 * factor)

    @classmethod
    def of_rows(cls, draws: FloatArray | Singles) -> list[Range]:
        """Return the range of each row of draws (A, D)."""
        return [cls(*row) for row in quick_quantiles(draws.copy(), LEVELS).tolist()]


@dataclass(frozen=True, slots=True)
class Year:
    """What a rhythm of visits comes to in a year: ``hours`` [h] and ``cost`` [currency]."""

    visits: float = field(metadata=in_json("visits_per_year"))
    hours: float = field(metadata=in_json("hours_per_year"))
    cost: float = field(metadata=in_json("cost_per_year"))
    hours_range: Range = field(metadata=in_json("hours_per_year_range"))
    cost_range: Range = field(metadata=in_json("cost_per_year_range"))


@dataclass(frozen=True, slots=True)
class Saving:
    """What one rhythm takes less than another in a year, negative where it takes more.

    ``hours`` [h] and ``cost`` [currency].
    """

    hours: Range
    cost: Range


def saving(now_h: FloatArray, then_h: FloatArray, labour_rate_per_h: float) -> Saving:
    """Return what a rhythm saves against another.

    Parameters
    ----------
    now_h, then_h : array (D,)
        Hours a year of both in the same draws [h]: what they share (the hand, the plants that
        stay) is not in doubt between them, so that the range is narrower than those of its parts.
    labour_rate_per_h : float
        Price of an hour [currency/h].

    Returns
    -------
    Saving
        Hours [h] and cost [currency] a year.

    Examples
    --------
    One may take 80 to 120 h and the other 10 h less each time: 10 h are saved for sure.

    >>> now = np.array([80.0, 100.0, 120.0])
    >>> saving(now, now - 10.0, 58.0).cost
    Range(p10=580.0, p50=580.0, p90=580.0)
    """
    [hours] = Range.of_rows((now_h - then_h)[None])
    return Saving(hours=hours, cost=hours.times(labour_rate_per_h))


def year_of_visits(interval_d: float, minutes: Range, labour_rate_per_h: float) -> Year:
    """Work out what a rhythm comes to in a year.

    Parameters
    ----------
    interval_d : float
        Days between visits [d].
    minutes : Range
        Minutes of the mean visit of a year [min].
    labour_rate_per_h : float
        Price of an hour [currency/h].

    Returns
    -------
    Year
        Visits, hours [h] and cost [currency of the rate].

    Examples
    --------
    >>> year = year_of_visits(7, Range(55, 61, 70), 58.0)
    >>> round(year.visits, 2), round(year.hours), round(year.cost)
    (52.14, 53, 3075)
    """
    visits = DAYS_PER_YEAR / interval_d
    hours = minutes.times(visits / 60.0)
    cost = hours.times(labour_rate_per_h)
    return Year(visits=visits, hours=hours.p50, cost=cost.p50, hours_range=hours, cost_range=cost)


LEVELS = (0.1, 0.5, 0.9)
SCATTER_KEY = 10
"""Which of a tank's rows of draws scatters its visits (see ``draw_growth``)."""


@dataclass(frozen=True, slots=True)
class VisitEffort:
    """Minutes of the visits of tanks (R,) at one interval, travel and fixed part included.

    ``visit_min`` (R) are the ranges of one visit, ``year_min`` (R) those of the
    mean visit of a year: from visit to visit scatter evens out, not knowing the plants or the hand
    does not. Of that mean visit, ``mean_min`` (R, D) are the minutes in each draw, ``area_min``
    (A, D) those at each area and ``removed_cm`` (A, D) what comes off there.
    """

    visit_min: list[Range]
    year_min: list[Range]
    mean_min: Singles
    area_min: Singles
    removed_cm: Singles

    def hours_of_year(self, run: int, interval_d: int) -> FloatArray:
        """Return the hours of a tank's visits in a year in each draw, (D,)."""
        visits = DAYS_PER_YEAR / interval_d
        return np.asarray(self.mean_min[run].astype(np.float64) * visits / 60.0)


@dataclass(frozen=True, slots=True)
class Hands:
    """Minutes of trimming in each draw, all (A, D).

    ``set_up_min`` are those to get set up at an area, ``min_per_cm`` those for each centimetre (or
    point of cover) taken off, ``scatter`` is that of a visit of its tank [log].
    """

    set_up_min: Singles
    min_per_cm: Singles
    scatter: Singles

    def minutes(self, removed_cm: Singles, visits: float = 1.0) -> Singles:
        """Minutes at each area (A, D), on the mean of so many visits; 0 where nothing comes off."""
        each: Singles = self.min_per_cm * removed_cm
        each += self.set_up_min
        each *= removed_cm > 0.0
        each *= np.exp(self.scatter / np.float32(np.sqrt(visits)))
        return each


def hands_of(living: LivingAreas, design: Design, timing: Timing) -> Hands:
    """Draw the minutes of trimming of a block of tanks.

    Parameters
    ----------
    living : LivingAreas
        The areas of the tanks (A,).
    design : Design
        The design they were fitted in.
    timing : Timing
        The minutes of trimming.

    Returns
    -------
    Hands
        ``FOLLOWED_DRAWS`` draws.
    """
    set_up, work = timing.draws(living.area, FOLLOWED_DRAWS)
    work *= column(bulk_per_cm(design)[living.area])
    scatter = stratified_normals(living.tank * 16 + SCATTER_KEY, FOLLOWED_DRAWS)
    return Hands(set_up, work, np.float32(timing.scatter) * scatter[living.run])


def visit_effort(
    design: Design, timing: Timing, option: IntervalOptions, fixed_min: FloatArray
) -> VisitEffort:
    """Work out the minutes of the visits of a block of tanks at an interval.

    Parameters
    ----------
    design : Design
        The design they were fitted in, for ground and measure of the areas.
    timing : Timing
        The minutes of trimming.
    option : IntervalOptions
        The interval, and the height to which each area is cut at every visit.
    fixed_min : array (R,)
        Minutes of each visit before any trimming, travel included [min].

    Returns
    -------
    VisitEffort
        At a regular visit each area is taken down from where an interval has brought it to its cut.

    Notes
    -----
    Growth and minutes are drawn together: the draws of the growth of the areas, and as many of the
    minutes. For one visit a week's surprises, the hand and the scatter of timed visits are in; for
    the mean of a year they are left out but for the scatter's share over so many visits.
    """
    living, interval_d, cut_cm = option.living, option.interval_d, column(option.cut_cm)
    hands, even = hands_of(living, design, timing), living.even
    once_cm = np.maximum(option.end_cm - cut_cm * living.hand_share[:, :FOLLOWED_DRAWS], 0.0)
    awake = 1.0 - option.rest_d[:, :FOLLOWED_DRAWS] / np.float32(interval_d)
    end_cm = even.end_height(even.growth(interval_d) * awake, option.cut_cm)
    removed_cm = np.maximum(end_cm - cut_cm, 0.0)
    area_min = hands.minutes(removed_cm, max(DAYS_PER_YEAR / interval_d, 1.0))
    visit_min, mean_min = (
        living.by_tank(np.add, each) + column(fixed_min)
        for each in (hands.minutes(once_cm), area_min)
    )
    return VisitEffort(
        visit_min=Range.of_rows(visit_min),
        year_min=Range.of_rows(mean_min),
        mean_min=mean_min,
        area_min=area_min,
        removed_cm=removed_cm,
    )


PRIOR_SHARE = 0.5
"""How far (share) a tank's fixed minutes may lie from the book's (an estimate, no source)."""
SCATTER_SHARE, SCATTER_WORTH = 0.25, 4.0
"""Scatter of one visit's fixed minutes to begin with (share), and how many visits that is worth."""
VISITS_TO_USE = 3
"""Timed visits from which on learnt minutes stand in for a practice's (a choice of ours)."""


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


def tank_days(book: Book, minutes: WholeTank, grams: WholeTank = "all") -> TankDays:
    """Sum up the log by tank and day.

    Parameters
    ----------
    book : Book
        A checked book.
    minutes, grams : {"all", "rest"}
        Whose minutes and grams rows of whole tanks hold; of grams a row may say it itself.

    Returns
    -------
    TankDays
        Minutes and grams of areas and whole tanks together: a whole tank's "all" stand for those
        of its areas, "rest" are added to them.
    """
    trims = book.trims
    tank = trims.places("tank_id", book.tanks.text("tank_id"))
    day, whole = day_numbers(trims.date("date")), ~trims.given("area_id")
    pairs, first, at = np.unique(pair_of(tank, day), return_index=True, return_inverse=True)

    def total(name: str, mask: BoolArray) -> FloatArray:
        given = mask & trims.given(name)
        sums = np.bincount(at[given], trims.number(name)[given], minlength=pairs.size)
        return np.where(np.bincount(at[given], minlength=pairs.size) > 0, sums, np.nan)

    def together(name: str, said: BoolArray) -> FloatArray:
        of_areas, of_all = total(name, ~whole), total(name, whole & said)
        of_rest = total(name, whole & ~said)
        added = np.where(np.isnan(of_areas), of_rest, of_areas + np.nan_to_num(of_rest))
        return np.where(np.isnan(of_all), added, np.fmax(of_all, of_areas))

    word = trims.text("grams_of")
    return TankDays(
        tank=tank[first],
        day=day[first],
        visit_min=total("visit_min", whole),
        trimming_min=together("minutes", np.full(len(trims), minutes == "all")),
        grams=together("removed_g", np.where(word == "", grams, word) == "all"),
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


def learn_fixed_minutes(book: Book, timing: Timing) -> list[FixedMinutes]:
    """Learn the fixed minutes of each tank from visits with both times.

    Parameters
    ----------
    book : Book
        A checked book.
    timing : Timing
        The minutes of trimming, for whose the log's are.

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
    days, usual = tank_days(book, timing.whose), book.of_tanks("fixed_min")
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
    ends = middle[:, None] + RANGE_80 / np.sqrt(precision)[:, None]
    learnt = [Range(*row) for row in np.maximum(ends, 0.0).tolist()]
    ids, own = book.tanks.text("tank_id"), book.tanks.given("fixed_min")
    return [
        FixedMinutes(str(ids[k]), int(count[k]), learnt[k], float(usual[k]), bool(own[k]))
        for k in np.flatnonzero(count).tolist()
    ]


def fixed_minutes(book: Book, timing: Timing) -> FloatArray:
    """Return the minutes of a visit before any trimming that advice reckons with.

    Parameters
    ----------
    book : Book
        A checked book.
    timing : Timing
        The minutes of trimming, for whose the log's are.

    Returns
    -------
    array (K,)
        A tank's own ``fixed_min``; without one what ``VISITS_TO_USE`` timed visits or more tell,
        else the practice's [min].
    """
    minutes = book.of_tanks("fixed_min")
    if not book.trims.given("visit_min").any():
        return minutes
    told = (one for one in learn_fixed_minutes(book, timing) if not one.own)
    learnt = {one.tank_id: one.learnt_min.p50 for one in told if one.visits >= VISITS_TO_USE}
    usual = dict(zip(book.tanks.text("tank_id").tolist(), minutes.tolist(), strict=True))
    return np.array([*(usual | learnt).values()])


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
def month_of_work(
    book: Book, fit: GrowthFit, month: date, client: str | None = None
) -> MonthOfWork:
    """Sum up the visits of a month.

    Parameters
    ----------
    book : Book
        A checked book.
    fit : GrowthFit
        Its fit, which tells whose minutes and grams rows of whole tanks hold.
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
    timing, names = learn_timing(book, fit), book.tanks.text("client")
    days = tank_days(book, timing.whose, fit.whole_tank_grams[0])
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
    fixed = [one for one in learn_fixed_minutes(book, timing) if one.tank_id in shown]
    return MonthOfWork(f"{month:%Y-%m}", sorted(rows, key=lambda row: row.client), fixed)


def _sum(values: FloatArray) -> float | None:
    return float(np.nansum(values)) if np.isfinite(values).any() else None
