"""A tank's recommendation in full: the next longer interval, what would allow it, how sure."""

from __future__ import annotations

from dataclasses import replace

from growthcast.arrays import FloatArray
from growthcast.book.book import Book
from growthcast.fit.result import GrowthFit
from growthcast.service.advice import Mend, NextLonger, OptionAdvice, TankAdvice
from growthcast.service.effort import DAYS_PER_YEAR, saving
from growthcast.service.living import LivingAreas
from growthcast.service.longer.certainty import certainty_of
from growthcast.service.longer.mends import mends_for


def next_longer(
    now: OptionAdvice,
    longer: OptionAdvice,
    *,
    now_h: FloatArray,
    longer_h: FloatArray,
    labour_rate_per_h: float,
) -> NextLonger:
    """Compare the recommended interval with the next longer one.

    Parameters
    ----------
    now, longer : OptionAdvice
        Both intervals, cut as low as still looks right where the wanted chance asks it.
    now_h, longer_h : array (D,)
        Hours a year of both in the same draws [h].
    labour_rate_per_h : float
        Price of an hour [currency/h].

    Returns
    -------
    NextLonger
        What the longer one saves in a year, and what it costs in looks.

    Notes
    -----
    A visit in ten finds some area over its height where the chance of none is 90 %: with a visit
    every 14 days that is 2.6 visits a year.
    """
    lost_days = now.share_of_days_presentable - longer.share_of_days_presentable
    return NextLonger(
        interval_d=longer.interval_d,
        chance_all_within=longer.chance_all_within,
        visits_over_per_year=longer.visits_over_per_year,
        presentable_days_lost=DAYS_PER_YEAR * lost_days,
        hours_saved=now.year.hours - longer.year.hours,
        cost_saved=now.year.cost - longer.year.cost,
        saved=saving(now_h, longer_h, labour_rate_per_h),
        bare_areas=tuple(
            area
            for area in longer.areas
            if area.cut_needed_cm is not None and area.days_below_floor > 0.0
        ),
        lost_areas=tuple(area.label for area in longer.areas if area.cut_needed_cm is None),
    )


def in_full(book: Book, fit: GrowthFit, living: LivingAreas, advice: TankAdvice) -> TankAdvice:
    """Return the advice with what would allow the next longer interval and how sure it is.

    Parameters
    ----------
    book : Book
        The book that was fitted.
    fit : GrowthFit
        Its fit.
    living : LivingAreas
        The areas of the tank.
    advice : TankAdvice
        What ``recommend`` says of it.

    Returns
    -------
    TankAdvice
        With ``mends`` (for the next longer interval, or the shortest where none is feasible) and
        ``certainty``.
    """
    allowed = tuple(
        option.interval_d
        for option in advice.options
        if option.interval_d <= advice.longest_interval_d
    )
    if not allowed:
        return advice
    chosen = advice.recommended_interval_d
    certainty = certainty_of(living, allowed, chosen, advice.confidence)
    mends: tuple[Mend, ...] = ()
    if advice.fails_at_d is not None and advice.limited_by is not None:
        longer = advice.option(advice.fails_at_d)
        mends = mends_for(book, fit, living, longer, advice.confidence, advice.limited_by)
    return replace(advice, certainty=certainty, mends=mends)
