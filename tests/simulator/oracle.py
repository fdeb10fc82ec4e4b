"""What somebody who knows the true rates, but not the weather ahead, would expect."""

from __future__ import annotations

import numpy as np

from tests.simulator.arrays import FloatArray
from tests.simulator.course import Course
from tests.simulator.nature import days_lost, grow_one_day
from tests.simulator.world import daily_noise, drift_course

__all__ = ["true_chance_all_within"]


def true_chance_all_within(
    course: Course, tanks: list[int], interval_d: int, cut_cm: FloatArray, draws: int, seed: int
) -> FloatArray:
    """Chance of each tank (n,) that all its areas are within budget after an interval from today.

    Lasting effects, conditions and season are the true ones; day noise, the tank's drift and the
    scatter of the hand are drawn anew. Two intervals are run and the second one is judged: its
    areas were cut to ``cut_cm`` (A,) from where the first one brought them, pause included.
    """
    rng = np.random.default_rng([seed, 6])
    world, richness = course.world, course.richness
    mine = np.flatnonzero(np.isin(world.tank, tanks) & world.alive[course.row])
    budget = np.array([course.plan.areas[a].budget_cm for a in mine])
    pause_d = np.array([world.traits[a].pause_d for a in mine]) * richness.pause
    tank = np.searchsorted(tanks, world.tank[mine])
    days = 2 * interval_d
    drift = drift_course(rng, days, draws * len(tanks), richness)
    drift = drift.reshape(days, draws, len(tanks))[:, :, tank]
    aim, ceiling, shape = cut_cm[mine], world.ceiling[mine], world.shape[mine]
    size = (draws, mine.size)
    height, pause = np.full(size, np.inf), np.zeros(size)
    for day in range(days):
        if day % interval_d == 0:
            left = aim * np.exp(richness.hand_spread * rng.normal(size=size))
            left = np.minimum(np.minimum(left, height), 0.999 * ceiling)
            taken = np.where(np.isfinite(height), 1.0 - left / height, 0.0)
            pause = day + days_lost(taken, world.lag_d[mine], pause_d)
            height = left
        ahead = min(course.row + day % interval_d, course.days - 1)
        rate = world.expected_rate[ahead, mine] * drift[day]
        rate = rate * daily_noise(rng, size, richness.week_spread)
        rate = rate * np.clip(day + 1.0 - pause, 0.0, 1.0)
        height = grow_one_day(height, rate, ceiling, shape)
    over = height > budget
    return np.array([1.0 - over[:, tank == k].any(axis=1).mean() for k in range(len(tanks))])
