"""The day on which the chance of being over budget reaches a level.

While nothing is cut that chance only grows, so the day is closed in on from both sides; where to
look next is read off the chances at both ends.
"""

from __future__ import annotations

import numpy as np

from growthcast.arrays import FloatArray, IntArray, distinct
from growthcast.fit.model.posterior import AreaPosterior
from growthcast.fit.result import GrowthFit
from growthcast.forecast.heights import HeightForecast, chance_over, in_chunks, outlook
from growthcast.nouns import dataclass

CROSSING_LEVELS = (0.10, 0.50, 0.90)
FIRST_SHARES = (0.0, 0.12, 0.23, 0.47, 1.0)
"""Days on which chances are worked out first, as shares of the time ahead."""
AREAS_AT_ONCE = 192
LEAST_CHANCE = 1e-4
HALVE_EVERY = 4
"""Steps of which one halves the time that is left, whatever the chances say."""
USUAL_REGROWTH_D = 4.0
"""Added to days before their logarithm, against which the way goes nearly straight."""


def crossing_days(
    fit: GrowthFit,
    areas: IntArray,
    from_day: float,
    horizon_d: int,
    posterior: AreaPosterior | None = None,
    seen: HeightForecast | None = None,
) -> FloatArray:
    """Find the days on which the chance of being over budget reaches 10, 50 and 90 %.

    Parameters
    ----------
    fit : GrowthFit
        A fitted book.
    areas : int array (A,)
        Places of the areas in the book.
    from_day : float
        First day that is asked about [day number].
    horizon_d : int
        Days after it within which a crossing is looked for [d].
    posterior : AreaPosterior, optional
        That of the areas, if at hand.
    seen : HeightForecast, optional
        A forecast of the same areas, one of its days ``from_day``, whose chances spare work.

    Returns
    -------
    array (A, 3)
        Days since 1970-01-01 [d], ``nan`` where a chance is not reached within the horizon.
    """
    posterior = posterior or fit.posterior(areas)
    shares = FIRST_SHARES if seen is None else FIRST_SHARES[-1:]
    tried_d, known = distinct(np.round(np.array(shares) * horizon_d)), np.empty((areas.size, 0))
    days = tried_d
    if seen is not None:
        near = (seen.days >= from_day) & (seen.days < from_day + horizon_d)
        known_d, first = np.unique(seen.days[near] - from_day, return_index=True)
        days, known = np.append(known_d, tried_d), seen.chance_over_budget[:, near][:, first]
    parts = [np.empty((0, len(CROSSING_LEVELS)))]
    for some in in_chunks(areas.size, AREAS_AT_ONCE):
        search = _Search(fit, posterior.part(some), areas[some], from_day)
        tried = search.chance(np.arange(search.areas.size), tried_d)
        chances = np.concatenate([known[some], tried], axis=1)
        parts.append(from_day + search.first_days(days, chances))
    return np.concatenate(parts)


@dataclass(frozen=True, slots=True)
class _Search:
    """Areas (A,) that fit in memory together with all their nodes."""

    fit: GrowthFit
    posterior: AreaPosterior
    areas: IntArray
    from_day: float

    def chance(self, rows: IntArray, ahead_d: FloatArray) -> FloatArray:
        """Chance of being over (N, T), ``ahead_d`` (N, T) or (T,) days after the first one."""
        areas = self.areas[rows]
        view = outlook(self.fit, areas, self.from_day + ahead_d, self.posterior.part(rows))
        return chance_over(self.fit, areas, view)

    def first_days(self, days_d: FloatArray, chances: FloatArray) -> FloatArray:
        """Days (A, 3) ahead on which levels are reached, from chances (A, T) at rising days (T,).

        A row is one area and one level; it is followed between the last day on which its chance is
        known to fall short and the first on which it is known not to.
        """
        row = np.repeat(np.arange(self.areas.size), len(CROSSING_LEVELS))
        level = np.tile(CROSSING_LEVELS, self.areas.size)
        reached = chances[row] >= level[:, None]
        ever, after = reached.any(axis=1), reached.argmax(axis=1)
        before = np.maximum(after - 1, 0)
        low, high = np.where(after > 0, days_d[before], -1.0), days_d[after]
        at_low, at_high = chances[row, before], chances[row, after]
        step = 0
        while (left := np.flatnonzero(ever & (high - low > 1.0))).size:
            step += 1
            day = _between(low[left], high[left], at_low[left], at_high[left], level[left])
            if step % HALVE_EVERY == 0:
                day = np.ceil(0.5 * (low[left] + high[left]))
            tried = np.stack([np.maximum(day - 1.0, low[left]), day], axis=1)
            found = self.chance(row[left], tried)
            for days, chance in zip(tried.T, found.T, strict=True):
                passed = chance >= level[left]
                sooner, later = passed & (days < high[left]), ~passed & (days > low[left])
                high[left[sooner]], at_high[left[sooner]] = days[sooner], chance[sooner]
                low[left[later]], at_low[left[later]] = days[later], chance[later]
        return np.where(ever, high, np.nan).reshape(self.areas.size, -1)


def _between(
    low: FloatArray, high: FloatArray, at_low: FloatArray, at_high: FloatArray, level: FloatArray
) -> FloatArray:
    """Whole day after ``low`` and up to ``high`` on which a level is met, all (N,).

    Going straight from end to end, in logarithms of odds and of time.
    """
    held = (np.clip(p, LEAST_CHANCE, 1.0 - LEAST_CHANCE) for p in (at_low, at_high, level))
    start, end, goal = (np.log(p / (1.0 - p)) for p in held)
    share = np.clip((goal - start) / np.maximum(end - start, 1e-9), 0.0, 1.0)
    begin = low + USUAL_REGROWTH_D
    day = begin * ((high + USUAL_REGROWTH_D) / begin) ** share - USUAL_REGROWTH_D
    found: FloatArray = np.clip(np.ceil(day), low + 1.0, high)
    return found
