"""How soon a lasting drop of a whole tank would be noticed, from the tank's own visits.

The test is tried on draws of the tank's readings to which the drop has been added, with its own
thresholds, as if the drop had begun right after this or that visit of the time watched. A tank
whose plants grow little between visits, or whose rows tell no heights, needs more visits.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from growthcast.arrays import BoolArray, FloatArray, IntArray
from growthcast.fit.foreseen import BIN_D
from growthcast.service.draws import stratified_normals
from growthcast.service.watch.cases import TankCase
from growthcast.service.watch.scan import LARGEST_SURPRISE, strongest

DROP_TO_SHARE = 0.6
"""Share of its usual growth that the tank would still grow."""
SURE = 0.9
"""Share of such drops that has to be noticed."""
SOON_VISITS = 3
"""Visits within which one would like to notice them."""
MOST_STARTS = 8
"""Visits, evenly spread, after which the drop is tried; the chance is their mean."""
LEAST_STARTS = 3
"""No chance is given from fewer."""
DRAWS = 128


@dataclass(frozen=True, slots=True)
class Power:
    """Chance that a drop is noticed by the first, second, ... visit after it began.

    ``chance`` (N,) ends where too few visits of the time watched had so many visits after them;
    ``visit_d`` is the middling time from visit to visit [d].
    """

    chance: tuple[float, ...]
    visit_d: float

    @property
    def visits(self) -> int | None:
        """Visits by which nine of ten are noticed, None where the time watched is too short."""
        sure = [n for n, chance in enumerate(self.chance, start=1) if chance >= SURE]
        return sure[0] if sure else None


def power_of(case: TankCase, limits: FloatArray) -> Power | None:
    """Try a drop of the whole tank to 60 % on its own visits.

    Parameters
    ----------
    case : TankCase
        The tank.
    limits : array (J, 2)
        Its thresholds, ``judge.limits_of``.

    Returns
    -------
    Power or None
        None where there are too few visits after which a drop could be told.
    """
    course, day = case.course, np.unique(case.evidence.day)
    starts = _starts(case, day)
    if starts.size < LEAST_STARTS:
        return None
    moved = np.stack([_effect_from(case, day[start]) for start in starts.tolist()], axis=1)
    drawn = stratified_normals(np.arange(course.surprise.size), DRAWS)
    shifted = drawn[:, None, :] - (1.0 - DROP_TO_SHARE) * moved[:, :, None]
    shifted = np.clip(shifted, -LARGEST_SURPRISE, LARGEST_SURPRISE)
    reached = strongest(course, shifted.reshape(drawn.shape[0], -1), -1.0)
    passed = (reached > limits[:, :1, None]).any(axis=0).reshape(day.size, starts.size, DRAWS)
    after = [_noticed_by(passed[:, n], start) for n, start in enumerate(starts.tolist())]
    chance = []
    for n in range(day.size):
        known = [one[n] for one in after if one.size > n]
        if len(known) < LEAST_STARTS:
            break
        chance.append(float(np.mean(known)))
    return Power(tuple(chance), float(np.median(np.diff(day))))


def _starts(case: TankCase, day: FloatArray) -> IntArray:
    """Places of the visits (V,) after which a drop may begin and enough visits follow."""
    week = np.searchsorted(case.evidence.bin_day, day, side="right") - 1
    may = case.course.open_week[0, week]
    may[max(day.size - SOON_VISITS, 0) :] = False
    places = np.flatnonzero(may)
    if not places.size:
        return places
    evenly = np.linspace(0, places.size - 1, min(MOST_STARTS, places.size))
    return places[evenly.round().astype(np.int64)]


def _effect_from(case: TankCase, day: float) -> FloatArray:
    """Effect (n,) of a change of the whole tank from a day on, between those of two weeks."""
    since = case.course.effect[0]
    place = (day - case.evidence.bin_day[0]) / BIN_D
    week = int(place)
    following = since[week + 1] if week + 1 < len(since) else np.zeros_like(since[week])
    effect: FloatArray = since[week] + (place - week) * (following - since[week])
    return effect


def _noticed_by(passed: BoolArray, start: int) -> FloatArray:
    """Share of draws noticed by each visit after ``start``, of those without an earlier alarm.

    ``passed`` (V, D) tells after which visits anything stands beyond its threshold.
    """
    quiet = ~passed[: start + 1].any(axis=0)
    since = np.logical_or.accumulate(passed[start + 1 :, quiet], axis=0)
    share: FloatArray = since.mean(axis=1)
    return share
