"""The recommended visit interval of every tank, with what limits it."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from typing import Any

import numpy as np

from growthcast.arrays import FloatArray, IntArray, distinct, or_none, rows_of
from growthcast.book.book import Book, area_label
from growthcast.finite import finite_answer
from growthcast.fit.result import GrowthFit
from growthcast.service.advice import AreaAdvice, NextLonger, OptionAdvice, TankAdvice, cut_limit
from growthcast.service.compared import compare, falling_short
from growthcast.service.effort.hours import Range, fixed_minutes, saving, visit_effort
from growthcast.service.effort.learn import Timing, learn_timing
from growthcast.service.holding import NOT_LIKELY, holding_of, not_holding
from growthcast.service.interval import IntervalOptions, interval_options, needed_budgets
from growthcast.service.living import LivingAreas, blocks_of_tanks, living_areas, living_part
from growthcast.service.mends import in_full
from growthcast.steps import steps


@finite_answer
def recommend(
    book: Book,
    fit: GrowthFit,
    tanks: IntArray | None = None,
    *,
    full: bool = False,
    briefly: bool = False,
) -> list[TankAdvice]:
    """Recommend a visit interval for every tank.

    Parameters
    ----------
    book : Book
        The book that was fitted.
    fit : GrowthFit
        Its fit.
    tanks : int array (R,), optional
        Places of the tanks in the book; all of them when not given.
    full : bool
        Also work out what would allow the next longer interval and how sure the advice is; takes
        about as long again as a fit for every tank.
    briefly : bool
        Work out no more than the interval chosen (the shortest listed where none is) and which area
        limits it: ``options`` hold that interval alone, ``short``, ``longer`` and ``full`` are not.

    Returns
    -------
    list of TankAdvice
        In the order of the book. The recommendation is the longest listed interval, no longer than
        the tank's own cap, at which every area stays within its budget until the next visit with
        the wanted chance when cut no lower than its floor; none where no plant is likely to hold
        under the conditions given. A tank in which nothing grows gets its cap.
    """
    tanks = np.arange(len(book.tanks)) if tanks is None else tanks
    timing, said = learn_timing(book, fit), _said(book, fit)
    fixed_min = _fixed_min(book, timing)
    advice: dict[int, TankAdvice] = {}
    for tanks_at_once in steps([*blocks_of_tanks(fit, tanks)]):
        living = living_areas(fit, tanks_at_once)
        for run, one in enumerate(_advised(book, fit, living, timing, fixed_min, said, briefly)):
            if full and not one.nothing_holds:
                one = in_full(book, fit, living_part(living, living.run == run), one)
            advice[int(living.tank[run])] = one
    for tank in set(tanks.tolist()) - set(advice):  # nothing grows: no plant limits it
        cap_d = said[tank]["longest_interval_d"]
        advice[tank] = TankAdvice(**said[tank], recommended_interval_d=cap_d, limited_by=None)
    return [advice[tank] for tank in tanks.tolist()]


def _said(book: Book, fit: GrowthFit) -> list[dict[str, Any]]:
    """What is said of each tank (K) and its plants, whatever the interval: fields of its advice."""
    tanks = book.tanks
    columns = {
        "tank_id": tanks.text("tank_id").astype(str),
        "client": tanks.text("client").astype(str),
        "longest_interval_d": book.of_tanks("longest_interval_d").astype(np.int64),
        "own_limit": np.isfinite(tanks.number("longest_interval_d")),
        "confidence": book.of_tanks("confidence"),
    }
    said = rows_of(columns)
    areas = np.flatnonzero(fit.design.stays)
    doubtful = fit.design.tank[areas][holding_of(book, fit, areas).chance < NOT_LIKELY]
    for tank in distinct(doubtful).tolist():
        mine = areas[fit.design.tank[areas] == tank]
        said[tank]["not_holding"] = not_holding(book, fit, tank, mine)
    return said


def _advised(
    book: Book,
    fit: GrowthFit,
    living: LivingAreas,
    timing: Timing,
    fixed_min: FloatArray,
    said: list[dict[str, Any]],
    briefly: bool,
) -> Iterator[TankAdvice]:
    """Yield the advice for each tank of a block; ``said`` (K,) is what is said of it anyhow."""
    listed, tanks = set(book.practice.intervals_d), living.tank
    caps, wanted = (book.of_tanks(n)[tanks] for n in ("longest_interval_d", "confidence"))
    options, chosen, failing = compare(living, listed, caps, wanted, briefly)
    told: dict[tuple[int, int], tuple[OptionAdvice, FloatArray]] = {}
    limits: dict[int, dict[int, float]] = {}
    for days, option in options.items():
        here = np.searchsorted(tanks, option.living.tank)
        shown = np.where(chosen, chosen, failing)[here] == days
        if shown.any() or not briefly:
            told |= _told(book, fit, timing, fixed_min, option.part(shown) if briefly else option)
        if (falls := failing[here] == days).any():
            limits |= _limits(option.part(falls), briefly)
    for run, tank in enumerate(tanks.tolist()):
        areas, cap_d = living.area[living.of_tank(run)], int(caps[run])
        listed_d = sorted(listed | {min(cap_d, min(listed))})
        mine = {days: told[tank, days] for days in listed_d if (tank, days) in told}
        holds = len(said[tank].get("not_holding", ())) < areas.size
        chosen_d, fails_d = int(chosen[run]) if holds else 0, int(failing[run])
        limited, short, longer = limits.get(tank, {}), list[AreaAdvice](), None
        worst = next(iter(limited), None)
        if fails_d and not briefly:
            fails, fails_h = mine[fails_d]
            asked = dict(zip(areas.tolist(), fails.areas, strict=True))
            short = [replace(asked[a], needed_budget_cm=cm) for a, cm in limited.items()]
            if chosen_d:
                now, now_h = mine[chosen_d]
                saved = saving(now_h, fails_h, book.practice.labour_rate_per_h)
                longer = NextLonger.against(now, fails, saved)
        yield TankAdvice(
            **said[tank],
            recommended_interval_d=chosen_d or None,
            limited_by=str(fit.design.area_id[worst]) if limited and holds else None,
            options=tuple(option for option, _ in mine.values()),
            listed_d=tuple(listed_d),
            fails_at_d=fails_d or None,
            short=tuple(short),
            longer=longer,
            minutes=timing.rests_on(areas),
            longest_gap_d=int(fit.design.gap_d[tank]) or None,
        )


def _fixed_min(book: Book, timing: Timing) -> FloatArray:
    """Minutes of a visit to each tank (K,) before any trimming, travel included [min]."""
    return fixed_minutes(book, timing) + book.of_tanks("travel_min")


def _told(
    book: Book, fit: GrowthFit, timing: Timing, fixed_min: FloatArray, option: IntervalOptions
) -> dict[tuple[int, int], tuple[OptionAdvice, FloatArray]]:
    """What an interval asks of each of its tanks and gives, and its hours of a year in each draw.

    By the place of the tank in the book and the interval [d].
    """
    living, days = option.living, option.interval_d
    effort = visit_effort(fit.design, timing, option, fixed_min[living.tank])
    areas, rate = _areas(book, fit, option), book.practice.labour_rate_per_h
    told = {}
    for run, tank in enumerate(living.tank.tolist()):
        mine = tuple(areas[living.of_tank(run)])
        advice = OptionAdvice.of(option, effort, run, rate, areas=mine)
        told[tank, days] = advice, effort.hours_of_year(run, days)
    return told


def _areas(book: Book, fit: GrowthFit, option: IntervalOptions) -> list[AreaAdvice]:
    """What an option asks of every area."""
    living, found = option.living, option.found_cm
    columns = {
        "cut_cm": option.cut_cm,
        "removed_share": option.removed_share,
        "chance_within": option.chance_within,
        "days_below_floor": option.days_below_floor,
        "cm_over_budget_p90": np.maximum(found[:, 2] - living.budget_cm, 0.0),
        "cut_needed_cm": or_none(option.cut_needed_cm),
        "found": [Range(*row) for row in found.tolist()],
        "least_cut_cm": living.least_cut_cm,
        "floor_cm": living.floor_cm,
    }
    return [AreaAdvice(**row) for row in rows_of(known_of(book, fit, living.area) | columns)]


def _limits(option: IntervalOptions, briefly: bool) -> dict[int, dict[int, float]]:
    """Areas that keep an interval from being feasible and budgets that would do, by tank.

    Both by their places in the book, the worst area first; briefly, with the budgets of now.
    """
    living = option.living
    ask = (living, option.interval_d, option.confidence, option.falls_short)
    needed = living.budget_cm if briefly else needed_budgets(*ask)
    by_tank = {}
    for run, tank in enumerate(living.tank.tolist()):
        places = falling_short(option, run)
        mine = zip(living.area[places].tolist(), needed[places].tolist(), strict=True)
        by_tank[tank] = dict(mine)
    return by_tank


def known_of(book: Book, fit: GrowthFit, areas: IntArray) -> dict[str, Any]:
    """Return what book and fit say of areas.

    Parameters
    ----------
    book : Book
        The book that was fitted.
    fit : GrowthFit
        Its fit.
    areas : int array (n,)
        Places of the areas in the book.

    Returns
    -------
    dict
        The fields of a ``KnownArea`` as columns (n,).
    """
    places = areas.tolist()
    return {
        "area_id": [str(fit.design.area_id[area]) for area in places],
        "label": [area_label(book.areas, area) for area in places],
        "unit": np.where(fit.design.is_cover[areas], "% cover", "cm"),
        "basis": [fit.basis[area] for area in places],
        "limit": [cut_limit(fit, area) for area in places],
    }


def option_of(
    book: Book, fit: GrowthFit, tank: int, interval_d: int, cut_cm: FloatArray | None = None
) -> tuple[OptionAdvice, FloatArray]:
    """Work out one interval of one tank, listed or not.

    Parameters
    ----------
    book : Book
        The book that was fitted.
    fit : GrowthFit
        Its fit.
    tank : int
        Place of a tank in the book in which something grows.
    interval_d : int
        Days between visits [d].
    cut_cm : array (A,), optional
        Height to which each of its areas is cut [cm, or % cover], instead of the highest that hold.

    Returns
    -------
    option : OptionAdvice
        As ``recommend`` has it.
    hours : array (D,)
        Hours of its visits in a year in each draw [h], travel included. Draw ``d`` of one tank goes
        with draw ``d`` of another: the hand is the same, so their sum has the range of both
        together.
    """
    living = living_areas(fit, np.array([tank]))
    option = interval_options(living, interval_d, book.of_tanks("confidence")[living.tank], cut_cm)
    timing = learn_timing(book, fit)
    return _told(book, fit, timing, _fixed_min(book, timing), option)[tank, interval_d]
