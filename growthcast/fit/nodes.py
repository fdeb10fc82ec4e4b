"""From visits to the nodes of the areas' chains: starts, findings, cuts, and the spans between."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from growthcast.fit.chains import Link, Nodes
from growthcast.fit.clock import GrowthClock, pause_after_cut
from growthcast.fit.visits import AreaTraits, Visits

__all__ = ["build_nodes"]

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

LOG_COVERS_PLANTING_D = 14.0
"""A tank's log that starts at most this long after an area was planted covers its first span."""
RECENTLY_PLANTED_D = 60.0
"""An area nobody has logged is followed from its planting for this long, no longer."""
HABIT_PRIOR_WEIGHT = 2.0
"""How many logged cuts the area's stated ``cut_cm``, or the default spread, counts for."""

START, FOUND, LEFT = 0, 1, 2
"""Kinds of nodes, in the order in which they follow each other on one day."""


@dataclass(frozen=True, slots=True)
class _Draft:
    """Nodes before they are ordered and linked, all (n,); ``cut_cm`` is a length cut off."""

    kind: IntArray
    area: IntArray
    day: FloatArray
    reading_cm: FloatArray
    habit_cm: FloatArray
    habit_sd_cm: FloatArray
    cut_cm: FloatArray
    pause_d: FloatArray

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
    habit_spread: float,
    on_day: float,
) -> Nodes:
    """Lay the visits of every area out as a chain; every area gets at least one node."""
    habit_cm, habit_sd_cm = _habits(visits, traits, habit_spread)
    draft = _Draft.joined(
        _starts(visits, traits, habit_sd_cm, on_day),
        _found(visits),
        _left(visits, traits, habit_cm, habit_sd_cm),
    )
    area = draft.area
    follows = np.zeros(area.size, dtype=bool)
    follows[1:] = area[1:] == area[:-1]
    link = np.full(area.size, int(Link.FRESH))
    link[follows & (draft.kind == FOUND)] = Link.GREW
    link[follows & np.isfinite(draft.cut_cm)] = Link.CUT
    span_d, growth_d = _spans(draft, link, clock)
    return Nodes(
        area=area,
        day=draft.day,
        link=link,
        growth_d=growth_d,
        span_d=span_d,
        reading_cm=draft.reading_cm,
        habit_cm=draft.habit_cm,
        habit_sd_cm=draft.habit_sd_cm,
        removed_cm=np.where(link == Link.CUT, draft.cut_cm, np.nan),
        pause_d=draft.pause_d,
    )


def _found(visits: Visits) -> _Draft:
    """Areas as they were found: with a reading, or with a cut whose length was measured."""
    found = np.isfinite(visits.before_cm) | np.isfinite(visits.removed_cm)
    blank = np.full(int(found.sum()), np.nan)
    return _Draft(
        kind=np.full(blank.size, FOUND),
        area=visits.area[found],
        day=visits.day[found],
        reading_cm=visits.before_cm[found],
        habit_cm=blank,
        habit_sd_cm=blank,
        cut_cm=blank,
        pause_d=np.zeros(blank.size),
    )


def _left(
    visits: Visits, traits: AreaTraits, habit_cm: FloatArray, habit_sd_cm: FloatArray
) -> _Draft:
    """Areas as a cut left them."""
    left = visits.cut
    both = np.isfinite(visits.before_cm) & np.isfinite(visits.after_cm)
    pause = pause_after_cut(visits.removed_share, traits.pause_d[visits.area])
    # An area that may or may not have been cut stands anywhere up to its budget, or above it.
    middle = 0.5 * (traits.floor_cm + traits.budget_cm)[visits.area]
    return _Draft(
        kind=np.full(int(left.sum()), LEFT),
        area=visits.area[left],
        day=visits.day[left],
        reading_cm=visits.after_cm[left],
        habit_cm=np.where(visits.sure, habit_cm[visits.area], middle)[left],
        habit_sd_cm=np.where(visits.sure, habit_sd_cm[visits.area], middle)[left],
        cut_cm=np.where(both, np.nan, visits.removed_cm)[left],
        pause_d=pause[left],
    )


def _spans(draft: _Draft, link: IntArray, clock: GrowthClock) -> tuple[FloatArray, FloatArray]:
    """Calendar days and reference days since the node before, 0 where there is no span."""
    span_d, growth_d = np.zeros(link.size), np.zeros(link.size)
    at = np.flatnonzero(link == Link.GREW)
    began, ended = draft.day[at - 1], draft.day[at]
    span_d[at] = ended - began
    growth_d[at] = clock.growth_between(draft.area[at], began, ended, draft.pause_d[at - 1])
    return span_d, growth_d


def _habits(
    visits: Visits, traits: AreaTraits, habit_spread: float
) -> tuple[FloatArray, FloatArray]:
    """Usual height after a cut and its spread, (A,), from the log and the stated ``cut_cm``."""
    count = traits.tank.size
    read = np.isfinite(visits.after_cm)
    area, after = visits.area[read], visits.after_cm[read]
    number = np.bincount(area, minlength=count).astype(np.float64)
    total = np.bincount(area, weights=after, minlength=count)
    stated = np.isfinite(traits.cut_cm)
    guess = traits.floor_cm + 0.35 * (traits.budget_cm - traits.floor_cm)
    centre = np.where(stated, traits.cut_cm, guess)
    weight = np.where(stated, HABIT_PRIOR_WEIGHT, np.where(number > 0.0, 0.0, 1.0))
    mean = (total + weight * centre) / (number + weight)
    squares = np.bincount(area, weights=(after - mean[area]) ** 2, minlength=count)
    squares = np.maximum(squares - number * traits.reading_error_cm**2, 0.0)
    default = (habit_spread * mean) ** 2
    # Where the log shows no cut height and the book states none, the guess is as wide as its room.
    room = (0.35 * (traits.budget_cm - traits.floor_cm)) ** 2
    default = np.where(stated | (number > 0.0), default, np.maximum(default, room))
    variance = (squares + HABIT_PRIOR_WEIGHT * default) / (number + HABIT_PRIOR_WEIGHT)
    return mean, np.sqrt(np.maximum(variance, (0.03 * mean) ** 2))


def _starts(visits: Visits, traits: AreaTraits, habit_sd_cm: FloatArray, on_day: float) -> _Draft:
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
    planted = (covered | (recent & ~logged)) & (traits.planted_day <= on_day)
    guessed = ~planted & ~logged
    usual_start = np.maximum.reduce([traits.floor_cm, traits.lowest_cut_cm, 0.1 * traits.budget_cm])
    middle = 0.5 * (traits.floor_cm + traits.budget_cm)
    guess = np.where(planted, usual_start, middle)
    unsure = np.maximum(0.5 * (middle - traits.floor_cm), habit_sd_cm)
    spread = np.where(planted, 0.5 * usual_start, unsure)
    reading = np.where(planted, traits.planted_cm, np.nan)
    read = np.isfinite(reading)
    area = np.flatnonzero(planted | guessed)
    return _Draft(
        kind=np.full(area.size, START),
        area=area,
        day=np.where(planted, traits.planted_day, np.maximum(on_day, traits.planted_day))[area],
        reading_cm=reading[area],
        habit_cm=np.where(read, np.nan, guess)[area],
        habit_sd_cm=np.where(read, np.nan, spread)[area],
        cut_cm=np.full(area.size, np.nan),
        pause_d=np.zeros(area.size),
    )
