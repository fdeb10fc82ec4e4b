"""A day to shine: what to cut at which visit so that every area stands at its best on the day."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import field
from datetime import date, timedelta

import numpy as np

from growthcast.arrays import BoolArray, FloatArray, IntArray, median, rows_of
from growthcast.book.book import Book
from growthcast.finite import finite_answer
from growthcast.fit.design import day_number
from growthcast.fit.result import GrowthFit
from growthcast.forecast.heights import growth_a_week
from growthcast.forecast.report import as_date
from growthcast.frames import Framed
from growthcast.nouns import dataclass
from growthcast.plain import HIDDEN
from growthcast.service.advice import KnownArea
from growthcast.service.effort.hours import Range
from growthcast.service.recommend import known_of
from growthcast.service.visit.standing import Standing, cut_to_last, standing_areas

REGROWN_SHARE = 0.15
"""Share of a height that must be new growth for a cut not to show (common practice, no source)."""
BARELY_CUT_SHARE = 0.02
"""A cut that takes less than this share of the height does not show anyhow."""


@dataclass(frozen=True, slots=True)
class PeakCut:
    """One cut on the way: to what height [cm, or % cover] and about how much comes off.

    Only what stands above ``cut_cm`` is cut; ``chance_needed`` is the chance that anything does,
    ``chance_within`` that the area stays inside its budget until the next visit (a cut to hold it)
    or the day to shine (its last cut, to shape it).
    ``purpose`` is "shape" for the cut from which the area grows towards the day, "hold" for one
    that only keeps it inside its budget until the next visit.
    """

    on: date
    cut_cm: float
    removed_cm: float
    chance_needed: float
    chance_within: float
    purpose: str


@dataclass(frozen=True, slots=True)
class Route:
    """One way of all areas of a tank to the day.

    ``cuts`` are those of each visit, by area (A,), ``ended`` the areas on the day; ``hidden`` (A,)
    tells where the last cut will not show, ``regrown`` (A,) is the share of the height that has
    grown since it (None: no last cut).
    """

    cuts: tuple[list[PeakCut], ...]
    ended: Standing
    hidden: BoolArray
    regrown: Sequence[float | None]


def routes_to(
    standing: Standing,
    visits_d: Sequence[int],
    day_d: int,
    target_cm: FloatArray,
    confidence: float,
) -> list[Route]:
    """List the ways to a day: no cut at all, or the last cut at each of the visits.

    Parameters
    ----------
    standing : Standing
        The areas of one tank as they stand on the day of the fit.
    visits_d : sequence of int
        Days after the fit on which cuts can be made, ascending, before ``day_d``.
    day_d : int
        Days after the fit of the day to shine.
    target_cm : array (A,)
        Height aimed at on the day [cm].
    confidence : float
        Chance with which all areas are held inside from visit to visit before their last cuts
        [0-1].

    Returns
    -------
    list of Route
        The first leaves everything uncut. The last cut of each other goes to the height from which
        the middle forecast stands at the target on the day, no lower than looks right; at earlier
        visits areas are only held inside their budgets, by the cuts of ``cut_to_last``.
    """
    living, wanted = standing.living, np.array([confidence])
    least, target = living.least_cut_cm, living.stage_of(target_cm)
    never = np.ones(least.size, dtype=np.bool_), [None] * least.size
    routes = [Route((), standing.later(day_d), *never)]
    held, cuts = standing, tuple[list[PeakCut], ...]()
    for visit, until in zip(visits_d, (*visits_d[1:], day_d), strict=True):
        arrived = held.later(visit - held.after_d)
        growth = arrived.growth(day_d - visit)
        middle = median(arrived.aims(target, day_d - visit, growth))
        aim = np.minimum(np.maximum(middle, least), living.budget_cm)
        began = arrived.cut(aim)
        ended = began.grown(day_d - visit, growth)
        last = _cuts(arrived, aim, began, ended, "shape")
        off = np.array([cut.removed_cm for cut in last])
        height, start = (median(one.height_cm) for one in (ended, began))
        regrown = np.maximum(1.0 - start / height, 0.0)
        hidden = (regrown >= REGROWN_SHARE) | (off < BARELY_CUT_SHARE * start)
        routes.append(Route((*cuts, last), ended, hidden, regrown.tolist()))
        lasting = cut_to_last(arrived, until - visit, wanted)
        held = lasting.began
        cuts = (*cuts, _cuts(arrived, lasting.cut_cm, held, lasting.ended, "hold"))
    return routes


def _cuts(
    arrived: Standing, aim_cm: FloatArray, began: Standing, ended: Standing, purpose: str
) -> list[PeakCut]:
    """What a visit does to each area (A): it arrives, cuts to an aim, and what began so ends."""
    stood = arrived.height_cm
    off = np.maximum(stood - began.height_cm, 0.0)
    columns = {
        "cut_cm": aim_cm,
        "removed_cm": median(off),
        "chance_needed": (off > BARELY_CUT_SHARE * stood).mean(axis=1),
        "chance_within": ended.within().mean(axis=1),
    }
    on = as_date(arrived.living.on_day + arrived.after_d)
    return [PeakCut(on=on, purpose=purpose, **row) for row in rows_of(columns)]


TARGET_SHARE, BAND_SHARE = 0.85, 0.15
"""An area is at its best at this share of its budget, give or take the second (common practice, no
source): full, but not yet outgrown."""
REACHED = 0.5
"""Below this chance an area is said to be unlikely at its best."""
HARDLY_NEEDED = 0.1
"""Cuts that are less likely than this to take anything off are not listed."""
LONGEST_WAIT_D = 180
"""How far beyond the day a later best is looked for."""


@dataclass(frozen=True, slots=True)
class PeakArea(KnownArea):
    """How one area is brought to the day.

    ``low_cm`` to ``high_cm`` is the band in which it stands at its best, ``chance_best`` the chance
    that it does on the day, ``regrown_share`` the share of its height that will have grown since
    its last cut (None: it is left uncut) and ``shows_cut`` whether that is too little to hide the
    cut. ``uncut_on_day_cm`` is where it would stand on the day if left uncut, ``best_from`` the day
    from which it is then more likely than not at its best (None: it is within reach).
    """

    cm_per_week: float
    height_now_cm: Range
    low_cm: float
    target_cm: float
    high_cm: float
    cuts: tuple[PeakCut, ...]
    height_on_day_cm: Range
    chance_best: float
    regrown_share: float | None
    reachable: bool
    best_from: date | None
    shows_cut: bool = field(metadata=HIDDEN)
    uncut_on_day_cm: Range = field(metadata=HIDDEN)


@dataclass(frozen=True, slots=True, repr=False)
class PeakPlan(Framed):
    """The way of one tank to a day; areas slowest first.

    ``chance_all_best`` is the chance that every area stands at its best on the day at once.
    """

    tank_id: str
    client: str
    on: date
    day: date
    target_share: float
    band_share: float
    visits: tuple[date, ...]
    chance_all_best: float
    areas: tuple[PeakArea, ...]


@finite_answer
def peak_plan(
    book: Book,
    fit: GrowthFit,
    tank: int,
    day: date,
    visits: Sequence[date],
    target_share: float = TARGET_SHARE,
    band_share: float = BAND_SHARE,
) -> PeakPlan:
    """Plan the cuts that bring every area of a tank to its best on a day.

    Parameters
    ----------
    book : Book
        The book that was fitted.
    fit : GrowthFit
        Its fit; plans start on the day it was made for.
    tank : int
        Place of the tank in the book.
    day : date
        The day to shine, after the day of the fit.
    visits : sequence of date
        Visits before it, none before the day of the fit, ascending; may be empty.
    target_share, band_share : float
        An area is at its best between ``(target_share - band_share)`` of its budget, or its floor
        if that is higher, and ``(target_share + band_share)``, at most its budget [0-1].

    Returns
    -------
    PeakPlan
        Each area's last cut is at the latest visit after which new growth still hides it; slow
        areas therefore come first. Where no visit is early enough, the way that most likely ends in
        the band is taken and what is missing is said.

    Raises
    ------
    ValueError
        If ``day`` is not after the day of the fit, or a visit does not lie between the two.
    """
    design = fit.design
    span_d = int(day_number(day) - design.on_day)
    offsets = [int(day_number(visit) - design.on_day) for visit in visits]
    if span_d < 1 or any(not 0 <= offset < span_d for offset in offsets):
        raise ValueError("visits lie between the day of the fit and the day to shine")
    on = day - timedelta(days=span_d)
    standing = standing_areas(fit, np.array([tank]))
    living = standing.living
    confidence = float(book.of_tanks("confidence")[tank])
    # What each area (A,) is at its best between, and aims at: low, target and high, (3, A).
    band = np.outer([target_share + n * band_share for n in (-1, 0, 1)], living.budget_cm)
    band[:2] = np.maximum(band[:2], living.floor_cm)
    band[2] = np.minimum(band[2], living.budget_cm)
    areas: list[PeakArea] = []
    chance_all = 1.0
    if living.area.size:
        routes = routes_to(standing, offsets, span_d, band[1], confidence)
        chosen, inside = _choose(routes, band)
        chance_all = float(living.all_hold(inside)[0])
        areas = _areas(book, fit, standing, on, span_d, band, routes, chosen, inside)
    return PeakPlan(
        tank_id=str(book.tanks.text("tank_id")[tank]),
        client=str(book.tanks.text("client")[tank]),
        on=on,
        day=day,
        target_share=target_share,
        band_share=band_share,
        visits=tuple(visits),
        chance_all_best=chance_all,
        areas=tuple(sorted(areas, key=lambda area: area.cm_per_week / area.target_cm)),
    )


def _choose(routes: list[Route], band: FloatArray) -> tuple[IntArray, BoolArray]:
    """Choose a route (A,) for every area, and tell whether each draw (A, D) ends in the band.

    Of the routes whose cut is hidden and that are more likely than not to end in the band the
    latest; else whichever most likely ends there, hidden ones first.
    """
    heights = np.array([route.ended.height_cm for route in routes])
    ends = (heights >= band[0, :, None]) & (heights <= band[2, :, None] * (1.0 + 1e-9))
    chance = ends.mean(axis=2)
    hidden = np.array([route.hidden for route in routes])
    works = hidden & (chance >= np.maximum(REACHED, chance.max(axis=0) - 0.1))
    place = np.arange(len(routes))[:, None]
    latest = np.where(works, place, -1).max(axis=0)
    likely = np.where(hidden, chance, chance - 0.25).argmax(axis=0)
    chosen = np.where(latest >= 0, latest, likely)
    return chosen, ends[chosen, np.arange(chosen.size)]


def _areas(
    book: Book,
    fit: GrowthFit,
    standing: Standing,
    on: date,
    span_d: int,
    band: FloatArray,
    routes: list[Route],
    chosen: IntArray,
    inside: BoolArray,
) -> list[PeakArea]:
    """Return which way every area goes and where that ends."""
    living = standing.living
    now, alone = Range.of_rows(standing.height_cm), Range.of_rows(routes[0].ended.height_cm)
    areas = np.arange(chosen.size)
    heights = np.array([route.ended.height_cm for route in routes])
    chance, mine = inside.mean(axis=1), [routes[route] for route in chosen.tolist()]
    best_from = _best_from(standing, band, span_d)
    columns = {
        "cm_per_week": growth_a_week(fit, living.area)[:, 1],
        "height_now_cm": now,
        "low_cm": band[0],
        "target_cm": band[1],
        "high_cm": band[2],
        "cuts": [
            tuple(cut[i] for cut in route.cuts if cut[i].chance_needed > HARDLY_NEEDED)
            for i, route in enumerate(mine)
        ],
        "height_on_day_cm": Range.of_rows(heights[chosen, areas]),
        "chance_best": chance,
        "regrown_share": [route.regrown[i] for i, route in enumerate(mine)],
        "reachable": chance >= REACHED,
        "best_from": [
            on + timedelta(days=later) if later and likely < REACHED else None
            for later, likely in zip(best_from, chance.tolist(), strict=True)
        ],
        "shows_cut": [not route.hidden[i] for i, route in enumerate(mine)],
        "uncut_on_day_cm": alone,
    }
    return [PeakArea(**row) for row in rows_of(known_of(book, fit, living.area) | columns)]


def _best_from(standing: Standing, band: FloatArray, span_d: int) -> list[int | None]:
    """Days until each uncut area has most likely grown into its band, if that is after the day."""
    found = np.full(standing.living.area.size, -1)
    for wait in range(span_d + 1, span_d + LONGEST_WAIT_D, 3):
        if (found >= 0).all():
            break
        height = median(standing.later(wait).height_cm)
        grown = (found < 0) & (height >= band[0])
        found = np.where(grown, np.where(height <= band[2], wait, 0), found)
    return [wait if wait > 0 else None for wait in found.tolist()]
