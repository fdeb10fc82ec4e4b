"""From visits to the nodes of the areas' chains: starts, findings, cuts, and the spans between."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from growthcast.arrays import BoolArray, FloatArray, IntArray
from growthcast.fit.model.clock import GrowthClock, lag_share, pause_after_cut
from growthcast.fit.rows.chains import Link, Nodes
from growthcast.log.visits import Visits

LOG_COVERS_PLANTING_D = 14.0
"""A tank's log that starts at most this long after an area was planted covers its first span."""
RECENTLY_PLANTED_D = 60.0
"""An area nobody has logged is followed from its planting for this long, no longer."""
HABIT_PRIOR_WEIGHT = 2.0
"""How many logged cuts the area's stated ``cut_cm``, or the default spread, counts for."""

STATED_CUT_SPREAD, GUESSED_CUT_SPREAD = 0.2, 0.5
"""How far (log) the usual cut height may lie from a stated ``cut_cm``, or from a guess."""
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

START, FOUND, LEFT = 0, 1, 2
"""Kinds of nodes, in the order in which they follow each other on one day."""


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

    @property
    def middle_cm(self) -> FloatArray:
        """Height (A,) half-way between floor and budget."""
        return 0.5 * (self.floor_cm + self.budget_cm)

    def planted_lately(self, on_day: float) -> BoolArray:
        """Whether an area (A,) was planted not long before a day [day number]."""
        recent: BoolArray = self.planted_day >= on_day - RECENTLY_PLANTED_D
        return recent & (self.planted_day <= on_day)

    @property
    def unseen_sd_cm(self) -> FloatArray:
        """Spread (A,) of the height at which an area that nobody logs may stand."""
        return UNSEEN_SHARE * 0.5 * (self.budget_cm - self.floor_cm)


@dataclass(frozen=True, slots=True)
class _Draft:
    """Nodes before they are ordered and linked, all (n,); ``by`` is the link of a node that a cut
    left to the one before it, and ``cut_cm`` the length cut off.
    """

    kind: IntArray
    area: IntArray
    day: FloatArray
    reading_cm: FloatArray
    aim_sd_cm: FloatArray
    guess_cm: FloatArray
    guess_sd_cm: FloatArray
    cut_cm: FloatArray
    by: IntArray
    look: IntArray
    pause_d: FloatArray
    lag_share: FloatArray
    bucket: IntArray
    row: IntArray

    @classmethod
    def joined(cls, *drafts: _Draft) -> _Draft:
        """Return several drafts as one, in the order of the chains."""
        whole = [np.concatenate([getattr(d, f) for d in drafts]) for f in cls.__slots__]
        order = np.lexsort((whole[0], whole[2], whole[1]))
        return cls(*(field[order] for field in whole))


def build_nodes(
    visits: Visits,
    traits: AreaTraits,
    clock: GrowthClock,
    habits: Habits,
    on_day: float,
) -> Nodes:
    """Lay the visits of every area out as a chain; every area gets at least one node."""
    draft = _Draft.joined(
        _starts(visits, traits, on_day), _found(visits, traits), _left(visits, traits, habits)
    )
    area = draft.area
    follows = np.zeros(area.size, dtype=bool)
    follows[1:] = area[1:] == area[:-1]
    link = np.where(draft.kind == LEFT, int(Link.AIMED), int(Link.FRESH))
    link[follows & (draft.kind == FOUND)] = Link.GREW
    told = follows & (draft.by != Link.AIMED) & (draft.kind == LEFT)
    link[told] = draft.by[told]
    span_d, growth_d, pause_doubt, lag_per_d, by_settling = _spans(draft, link, clock)
    lag_per_d += _lags_unlogged(draft, link, visits, traits, span_d)
    return Nodes(
        area=area,
        day=draft.day,
        link=link,
        growth_d=growth_d,
        span_d=span_d,
        pause_doubt=pause_doubt,
        lag_per_d=lag_per_d,
        by_settling=by_settling,
        reading_cm=draft.reading_cm,
        aim_sd_cm=draft.aim_sd_cm,
        guess_cm=draft.guess_cm,
        guess_sd_cm=draft.guess_sd_cm,
        removed_cm=np.where(link >= Link.CUT, draft.cut_cm, np.nan),
        look=draft.look,
        pause_d=draft.pause_d,
        lag_share=draft.lag_share,
        bucket=draft.bucket,
        row=draft.row,
    )


def _found(visits: Visits, traits: AreaTraits) -> _Draft:
    """Areas as they were found: read, judged by eye, or with a cut whose size was measured.

    The first of them, where nobody read it, is guessed to stand between floor and budget.
    """
    found = visits.found | (visits.cut & (visits.bucket >= 0))
    blank, area = np.full(int(found.sum()), np.nan), visits.area[found]
    return _Draft(
        kind=np.full(blank.size, FOUND),
        area=area,
        day=visits.day[found],
        reading_cm=visits.before_cm[found],
        aim_sd_cm=blank,
        guess_cm=traits.middle_cm[area],
        guess_sd_cm=traits.unseen_sd_cm[area],
        cut_cm=blank,
        by=np.full(blank.size, int(Link.GREW)),
        look=visits.look[found],
        pause_d=np.zeros(blank.size),
        lag_share=np.zeros(blank.size),
        bucket=np.full(blank.size, -1),
        row=visits.row[found],
    )


def _left(visits: Visits, traits: AreaTraits, habits: Habits) -> _Draft:
    """Areas as a cut left them."""
    left = visits.cut | visits.unsaid
    both = np.isfinite(visits.before_cm) & np.isfinite(visits.after_cm)
    measured = np.isfinite(visits.removed_cm) & ~both  # two heights win over a length
    weighed_cm = visits.removed_g / traits.gram_per_cm[visits.area]
    weighed = np.isfinite(weighed_cm) & ~np.isfinite(visits.removed_cm)
    by = np.where(measured, int(Link.CUT), np.where(weighed, int(Link.WEIGHED), int(Link.AIMED)))
    taken = visits.removed_share(traits.budget_cm)[left]
    spread = habits.sd_cm[visits.area]
    unsure = np.maximum(spread, UNSURE_CUT_SHARE * np.exp(habits.log_cm)[visits.area])
    blank = np.full(int(left.sum()), np.nan)
    return _Draft(
        kind=np.full(blank.size, LEFT),
        area=visits.area[left],
        day=visits.day[left],
        reading_cm=visits.after_cm[left],
        aim_sd_cm=np.where(visits.unsaid, unsure, spread)[left],
        guess_cm=blank,
        guess_sd_cm=blank,
        cut_cm=np.where(measured, visits.removed_cm, weighed_cm)[left],
        by=np.where(visits.unsaid, int(Link.UNSAID), by)[left],
        look=np.zeros(blank.size, dtype=np.int64),
        pause_d=pause_after_cut(taken, traits.pause_d[visits.area[left]]),
        lag_share=lag_share(_usual_shares(visits, traits)[left]),
        bucket=visits.bucket[left],
        row=visits.row[left],
    )


def _usual_shares(visits: Visits, traits: AreaTraits) -> FloatArray:
    """Share of the height (V,) that an area's cuts before each visit have usually taken.

    The lag of a cut is that of the usual one: its own share is as wrong as the two readings it
    comes from, and goes with the error of the height that growth begins at.
    """
    taken = visits.removed_share(traits.budget_cm)
    sums = np.cumsum(np.stack([taken, taken > 0.0]), axis=1)
    before = np.concatenate([np.zeros((2, 1)), sums], axis=1)  # what all visits before told
    first = np.maximum.accumulate(np.where(visits.follows, 0, np.arange(taken.size)))
    total, count = before[:, :-1] - before[:, first]
    usual: FloatArray = (total + USUAL_CUT_SHARE) / (count + 1.0)
    return usual


def _spans(draft: _Draft, link: IntArray, clock: GrowthClock) -> tuple[FloatArray, ...]:
    """Calendar days and reference days since the node before, 0 where there is no span.

    Also how far the latter may be off for a pause, and what each day of lag takes of it, as shares,
    and how its log falls with the log of the days of settling.
    """
    span_d, growth_d, pause_doubt, lag_per_d, by_settling = np.zeros((5, link.size))
    at = np.flatnonzero(link == Link.GREW)
    began, ended = draft.day[at - 1], draft.day[at]
    span_d[at] = ended - began
    spans = draft.area[at], began, ended, draft.pause_d[at - 1]
    growth_d[at], pause_doubt[at] = clock.growth_between(*spans)
    by_settling[at] = clock.slowed_by_settling(*spans)
    lag_per_d[at] = draft.lag_share[at - 1] / np.maximum(span_d[at], LEAST_SPAN_D)
    return span_d, growth_d, pause_doubt, lag_per_d, by_settling


def _lags_unlogged(
    draft: _Draft, link: IntArray, visits: Visits, traits: AreaTraits, span_d: FloatArray
) -> FloatArray:
    """Lags a day (N,) of visits within a span that cut other areas, of which the area has no row.

    For all one knows it was cut like them: a gap that only a missing row makes must not look
    like one in which nobody came, and slow growth in it like the lack of a lag.
    """
    cut = visits.cut | visits.unsaid
    key = np.unique(traits.tank[visits.area[cut]] * DAYS_A_TANK + visits.day[cut])
    at = np.flatnonzero(link == Link.GREW)
    tank = traits.tank[draft.area[at]] * DAYS_A_TANK
    began = np.searchsorted(key, tank + draft.day[at - 1], side="right")
    within = np.searchsorted(key, tank + draft.day[at]) - began
    lags = np.zeros(link.size)
    lags[at] = within * lag_share(np.array(USUAL_CUT_SHARE)) / np.maximum(span_d[at], LEAST_SPAN_D)
    return lags


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


def cutting_habits(visits: Visits, traits: AreaTraits, habit_spread: float) -> Habits:
    """Read the areas' cutting habits off the log and the stated ``cut_cm``."""
    count = traits.tank.size
    read = np.isfinite(visits.after_cm)
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
    misread = np.minimum(traits.reading_error_cm, mean)
    squares = np.maximum(squares - number * misread**2, 0.0)
    default = (habit_spread * mean) ** 2
    variance = (squares + HABIT_PRIOR_WEIGHT * default) / (number + HABIT_PRIOR_WEIGHT)
    return Habits(
        log_cm=np.log(np.maximum(centre, SMALLEST_HABIT_SHARE * traits.budget_cm)),
        log_spread=np.where(stated, STATED_CUT_SPREAD, GUESSED_CUT_SPREAD),
        first_log_cm=np.log(mean),
        sd_cm=np.sqrt(np.maximum(variance, (0.03 * mean) ** 2)),
    )


def _starts(visits: Visits, traits: AreaTraits, on_day: float) -> _Draft:
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
    usual_start = np.maximum.reduce([traits.floor_cm, traits.lowest_cut_cm, 0.1 * traits.budget_cm])
    guess = np.where(planted, usual_start, traits.middle_cm)
    spread = np.where(planted, 0.5 * usual_start, traits.unseen_sd_cm)
    reading = np.where(planted & (traits.planted_cm > 0.0), traits.planted_cm, np.nan)
    read = np.isfinite(reading)
    area = np.flatnonzero(planted | guessed)
    return _Draft(
        kind=np.full(area.size, START),
        area=area,
        day=np.where(planted, traits.planted_day, np.maximum(on_day, traits.planted_day))[area],
        reading_cm=reading[area],
        aim_sd_cm=np.full(area.size, np.nan),
        guess_cm=np.where(read, np.nan, guess)[area],
        guess_sd_cm=np.where(read, np.nan, spread)[area],
        cut_cm=np.full(area.size, np.nan),
        by=np.full(area.size, int(Link.FRESH)),
        look=np.zeros(area.size, dtype=np.int64),
        pause_d=np.zeros(area.size),
        lag_share=np.zeros(area.size),
        bucket=np.full(area.size, -1),
        row=np.full(area.size, -1),
    )
