"""From visits to the nodes of the areas' chains: starts, findings, cuts, and the spans between."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from growthcast.arrays import BoolArray, FloatArray, IntArray, distinct, pair_of
from growthcast.book.book import Bounds
from growthcast.fit.model.clock import GrowthClock, lag_share, pause_after_cut
from growthcast.fit.rows.chains import Link, Nodes, taken, thin
from growthcast.log.visits import Visits
from growthcast.nouns import dataclass

Values = NDArray[Any]

LOG_COVERS_PLANTING_D = 14.0
"""A tank's log that starts at most this long after an area was planted covers its first span."""
RECENTLY_PLANTED_D = 60.0
"""An area nobody has logged is followed from its planting for this long, no longer."""
HABIT_PRIOR_WEIGHT = 2.0
"""How many logged cuts the area's stated ``cut_cm``, or the default spread, counts for."""

STATED_CUT_SPREAD, GUESSED_CUT_SPREAD = 0.2, 0.5
"""How far (log) the usual cut height may lie from a stated ``cut_cm``, or from a guess."""
NOT_AIMED_SD_CM = 1000.0
"""Scatter [cm] of a cut around today's usual height where another was agreed on its day."""
SMALLEST_HABIT_SHARE = 0.05
"""No area is usually cut to less than this share of its budget."""
UNSEEN_SHARE = 0.7
"""Spread of heights nobody logged, in half rooms between floor and budget: kept anywhere between
them it would be 0.58; some stand outside (an estimate)."""
USUAL_CUT_SHARE = 0.35
"""Share of the height that a cut takes off, before an area's log tells (an estimate)."""
DAYS_A_TANK = 2.0**20
"""More days than any log has."""
LEAST_SPAN_D = 1.0
"""Days of a span at least, for the share of its growth that a day of lag takes."""
UNSURE_CUT_SHARE = 0.2
"""Spread of the height an area is left at by a cut of which no word is said."""

START, FOUND, LEFT = KINDS = 0, 1, 2
"""Kinds of nodes, in the order in which they follow each other on one day."""
BLANK = {
    **dict.fromkeys(("reading_cm", "reading_sd_cm", "aim_sd_cm"), np.nan),
    **dict.fromkeys(("floor_cm", "budget_cm"), np.nan),
    **dict.fromkeys(("guess_cm", "guess_sd_cm", "removed_cm"), np.nan),
    **dict.fromkeys(("pause_d", "lag_share"), 0.0),
    **{"link": int(Link.FRESH), "look": 0, "bucket": -1, "row": -1},
}
"""What a node has of which nothing is told."""


@dataclass(frozen=True, slots=True)
class AreaTraits:
    """What the book says of each area, all (A,); days are day numbers, NaN = not known.

    ``gram_per_cm`` is what a centimetre of the area's height weighs at the table's density;
    ``first`` are the bounds of the day it was planted, the others those of the day of the fit.
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
    first: Bounds

    @property
    def middle_cm(self) -> FloatArray:
        """Height (A,) half-way between floor and budget."""
        return 0.5 * (self.floor_cm + self.budget_cm)

    def planted_lately(self, on_day: float) -> BoolArray:
        """Whether an area (A,) was planted not long before a day [day number]."""
        recent: BoolArray = self.planted_day >= on_day - RECENTLY_PLANTED_D
        return recent & (self.planted_day <= on_day)


def _draft(kind: int, area: IntArray, day: FloatArray, **told: Values) -> dict[str, Values]:
    """Nodes (n,) before they are ordered and linked; what is not told is blank.

    ``link`` is that to the one before it unless it grew from that.
    """
    blank = {name: np.broadcast_to(value, area.size) for name, value in BLANK.items()}
    return blank | {"kind": np.full(area.size, kind), "area": area, "day": day} | told


def build_nodes(
    visits: Visits,
    held: Bounds,
    traits: AreaTraits,
    clock: GrowthClock,
    habits: Habits,
    on_day: float,
) -> Nodes:
    """Lay the visits of every area out as a chain; every area gets at least one node.

    Parameters
    ----------
    visits : Visits
        What was done to the areas.
    held : Bounds
        What was agreed for the areas on the days of the visits (V,).
    traits : AreaTraits
        What the book says of them (A,).
    clock : GrowthClock
        Reference days of growth.
    habits : Habits
        Where the areas are usually cut to.
    on_day : float
        Day the fit is made for [day number].

    Returns
    -------
    Nodes
        Of all areas, sorted by area and along each log (N,).
    """
    left = _left(visits, held, traits, habits, clock)
    drafts = [_starts(visits, traits, on_day), _found(visits, held), left]
    keys = [pair_of(one["area"], one["day"]) * len(KINDS) + one["kind"] for one in drafts]
    order = np.argsort(np.concatenate(keys), kind="stable")
    draft = {  # field by field: of a large book they are most of what a design takes
        name: taken(thin(np.concatenate([one.pop(name) for one in drafts])), order)
        for name in list(left)
    }
    area, kind, link = draft["area"], draft.pop("kind"), draft.pop("link").copy()
    link[1:][(kind[1:] == FOUND) & (area[1:] == area[:-1])] = Link.GREW
    return Nodes(link=link, **_spans(draft, link, visits, traits, clock), **draft)


def _found(visits: Visits, held: Bounds) -> dict[str, Values]:
    """Areas as they were found: read, judged by eye, or with a cut whose size was measured.

    The first of them, where nobody read it, is guessed to stand between floor and budget.
    """
    found = visits.found | (visits.cut & (visits.bucket >= 0))
    floor, budget = held.floor_cm[found], held.budget_cm[found]
    read, looked = np.isfinite(visits.before_cm[found]), visits.look[found] > 0
    return _draft(
        FOUND,
        visits.area[found],
        visits.day[found],
        reading_cm=visits.before_cm[found],
        reading_sd_cm=visits.before_sd_cm[found],
        guess_cm=np.where(read, np.nan, 0.5 * (floor + budget)),
        guess_sd_cm=np.where(read, np.nan, UNSEEN_SHARE * 0.5 * (budget - floor)),
        floor_cm=np.where(looked, floor, np.nan),
        budget_cm=np.where(looked, budget, np.nan),
        look=visits.look[found],
        row=visits.row[found],
    )


def _left(
    visits: Visits, held: Bounds, traits: AreaTraits, habits: Habits, clock: GrowthClock
) -> dict[str, Values]:
    """Areas as a cut left them; tops planted anew settle instead of pausing.

    Where another usual cut was agreed on the day than today's, that one stands in its place: the
    height that was left is as good as read from it, with the spread of a stated cut.
    """
    usual = _usual_shares(visits, held)
    left = visits.cut | visits.unsaid
    visits, usual = visits.keep(left), usual[left]
    held = Bounds(held.floor_cm[left], held.budget_cm[left], held.cut_cm[left])
    replanted = (clock.replanted_day[visits.area] == visits.day[:, None]).any(axis=1)
    both = np.isfinite(visits.before_cm) & np.isfinite(visits.after_cm)
    measured = np.isfinite(visits.removed_cm) & ~both  # two heights win over a length
    weighed_cm = visits.removed_g / traits.gram_per_cm[visits.area]
    weighed = np.isfinite(weighed_cm) & ~np.isfinite(visits.removed_cm)
    link = np.where(weighed, int(Link.WEIGHED), int(Link.AIMED))
    link = np.where(measured, int(Link.CUT), link)
    taken = visits.removed_share(held.budget_cm)
    other = _cut_agreed_otherwise(visits, held, traits) & ~visits.unsaid
    unread = other & np.isnan(visits.after_cm)
    link = np.where(other & (link == Link.AIMED), int(Link.FRESH), link)
    spread = np.where(other, NOT_AIMED_SD_CM, habits.sd_cm[visits.area])
    unsure = np.maximum(spread, UNSURE_CUT_SHARE * np.exp(habits.log_cm)[visits.area])
    return _draft(
        LEFT,
        visits.area,
        visits.day,
        reading_cm=np.where(unread, held.cut_cm, visits.after_cm),
        reading_sd_cm=np.where(unread, STATED_CUT_SPREAD * held.cut_cm, np.nan),
        aim_sd_cm=np.where(visits.unsaid, unsure, spread),
        removed_cm=np.where(measured, visits.removed_cm, np.where(weighed, weighed_cm, np.nan)),
        link=np.where(visits.unsaid, int(Link.UNSAID), link),
        pause_d=np.where(replanted, 0.0, pause_after_cut(taken, traits.pause_d[visits.area])),
        lag_share=lag_share(usual),
        bucket=visits.bucket,
        row=visits.row,
    )


def _cut_agreed_otherwise(visits: Visits, held: Bounds, traits: AreaTraits) -> BoolArray:
    """Whether another usual cut was agreed on the day of a visit than on that of the fit, (V,)."""
    then, now = held.cut_cm, traits.cut_cm[visits.area]
    return np.asarray((then != now) & ~np.isnan(then) & ~np.isnan(now), np.bool_)


def _usual_shares(visits: Visits, held: Bounds) -> FloatArray:
    """Share of the height (V,) that an area's cuts before each visit have usually taken.

    The lag of a cut is that of the usual one: its own share is as wrong as the two readings it
    comes from, and goes with the error of the height that growth begins at.
    """
    taken = visits.removed_share(held.budget_cm)
    sums = np.cumsum(np.stack([taken, taken > 0.0]), axis=1)
    before = np.concatenate([np.zeros((2, 1)), sums], axis=1)  # what all visits before told
    first = np.maximum.accumulate(np.where(visits.follows, 0, np.arange(taken.size)))
    total, count = before[:, :-1] - before[:, first]
    usual: FloatArray = (total + USUAL_CUT_SHARE) / (count + 1.0)
    return usual


def _spans(
    draft: dict[str, Values], link: IntArray, visits: Visits, traits: AreaTraits, clock: GrowthClock
) -> dict[str, Values]:
    """Return what nodes have of the spans since the node before, 0 where there is none.

    Visits within a span that cut other areas, of which the area has no row, count with their lags:
    for all one knows it was cut like them. A gap that only a missing row makes must not look like
    one in which nobody came, and slow growth in it like the lack of a lag.
    """
    at = np.flatnonzero(link == Link.GREW)
    area, began, ended = draft["area"][at], draft["day"][at - 1], draft["day"][at]
    spans = area, began, ended, draft["pause_d"][at - 1]
    growth_d, pause_doubt = clock.growth_between(*spans)
    cut = visits.cut | visits.unsaid
    key = distinct(traits.tank[visits.area[cut]] * DAYS_A_TANK + visits.day[cut])
    tank = traits.tank[area] * DAYS_A_TANK
    others = np.searchsorted(key, tank + ended) - np.searchsorted(key, tank + began, side="right")
    lags = draft["lag_share"][at - 1] + others * lag_share(np.array(USUAL_CUT_SHARE))
    told = {
        "span_d": ended - began,
        "growth_d": growth_d,
        "pause_doubt": pause_doubt,
        "lag_per_d": lags / np.maximum(ended - began, LEAST_SPAN_D),
        "by_settling": clock.slowed_by_settling(*spans),
    }
    of_nodes: dict[str, Values] = {name: np.zeros(link.size) for name in told}
    for name, values in told.items():
        of_nodes[name][at] = values
    return of_nodes


@dataclass(frozen=True, slots=True)
class Habits:
    """Where each area is usually cut to, (A,), before its log is fitted.

    ``log_cm`` with spread ``log_spread`` is the prior of the usual height, ``first_log_cm`` where a
    fit starts from, ``sd_cm`` the scatter of single cuts around it.
    """

    log_cm: FloatArray
    log_spread: FloatArray
    first_log_cm: FloatArray
    sd_cm: FloatArray


def cutting_habits(
    visits: Visits, held: Bounds, traits: AreaTraits, habit_spread: float, error_cm: FloatArray
) -> Habits:
    """Read the areas' cutting habits off the log and the stated ``cut_cm``.

    Parameters
    ----------
    visits : Visits
        What was done to the areas.
    held : Bounds
        What was agreed for the areas on the days of the visits (V,).
    traits : AreaTraits
        What the book says of them (A,).
    habit_spread : float
        Scatter of the heights an area is cut to, as a share, before its log says otherwise [-].
    error_cm : array (A,)
        Fixed part of the error of a reading [cm].

    Returns
    -------
    Habits
        Usual heights and the scatter around them.
    """
    count = traits.tank.size
    read = np.isfinite(visits.after_cm) & ~_cut_agreed_otherwise(visits, held, traits)
    area, after = visits.area[read], visits.after_cm[read]
    number = np.bincount(area, minlength=count).astype(np.float64)
    stated = np.isfinite(traits.cut_cm) & (traits.cut_cm > 0.0)
    room = traits.budget_cm - traits.floor_cm
    centre = np.where(stated, traits.cut_cm, traits.floor_cm + 0.35 * room)
    weight = np.where(stated, HABIT_PRIOR_WEIGHT, 1e-3)
    total = np.bincount(area, weights=after, minlength=count)
    mean = (total + weight * centre) / (number + weight)
    mean = np.maximum(mean, SMALLEST_HABIT_SHARE * traits.budget_cm)
    squares = np.bincount(area, weights=(after - mean[area]) ** 2, minlength=count)
    misread = np.minimum(error_cm, mean)
    squares = np.maximum(squares - number * misread**2, 0.0)
    default = (habit_spread * mean) ** 2
    variance = (squares + HABIT_PRIOR_WEIGHT * default) / (number + HABIT_PRIOR_WEIGHT)
    return Habits(
        log_cm=np.log(np.maximum(centre, SMALLEST_HABIT_SHARE * traits.budget_cm)),
        log_spread=np.where(stated, STATED_CUT_SPREAD, GUESSED_CUT_SPREAD),
        first_log_cm=np.log(mean),
        sd_cm=np.sqrt(np.maximum(variance, (0.03 * mean) ** 2)),
    )


def _starts(visits: Visits, traits: AreaTraits, on_day: float) -> dict[str, Values]:
    """First nodes: the planting where the log covers it, else (without any log) a guess for today.

    A tank whose log begins long after an area was planted was tended before; growing that area on
    from its planting would put it at its ceiling.
    """
    count = traits.tank.size
    tanks = int(traits.tank.max(initial=-1)) + 1
    log_starts = np.full(tanks, np.inf)
    np.minimum.at(log_starts, traits.tank[visits.area], visits.day)
    covered = traits.planted_day >= log_starts[traits.tank] - LOG_COVERS_PLANTING_D
    recent = traits.planted_day >= on_day - RECENTLY_PLANTED_D
    logged = np.bincount(visits.area, minlength=count) > 0
    # What only looks tell of is followed from its planting as it would be without them.
    amounts = np.bincount(visits.area[visits.has_amounts], minlength=count) > 0
    planted = (covered | (recent & ~amounts)) & (traits.planted_day <= on_day)
    guessed = ~planted & ~logged
    first = traits.first
    usual_start = np.maximum.reduce([first.floor_cm, traits.lowest_cut_cm, 0.1 * first.budget_cm])
    guess = np.where(planted, usual_start, traits.middle_cm)
    unseen = UNSEEN_SHARE * 0.5 * (traits.budget_cm - traits.floor_cm)
    spread = np.where(planted, 0.5 * usual_start, unseen)
    reading = np.where(planted & (traits.planted_cm > 0.0), traits.planted_cm, np.nan)
    read = np.isfinite(reading)
    area = np.flatnonzero(planted | guessed)
    return _draft(
        START,
        area,
        np.where(planted, traits.planted_day, np.maximum(on_day, traits.planted_day))[area],
        reading_cm=reading[area],
        guess_cm=np.where(read, np.nan, guess)[area],
        guess_sd_cm=np.where(read, np.nan, spread)[area],
    )
