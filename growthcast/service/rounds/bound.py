"""What no plan can lose less than: the tanks priced apart (Lagrangian relaxation).

Give every minute of a day a price, and the tanks no longer care for each other: each takes its
cheapest path, and their sum less the price of the minutes there are is a bound from below, whatever
the prices. The journey to a place is shared out over its tanks; any shares give a bound. Prices and
shares are raised where the minutes do not suffice and lowered where they do.

References
----------
Held, M., Wolfe, P. & Crowder, H. P. (1974). Validation of subgradient optimization. Mathematical
Programming 6, 62-88 (from memory).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from growthcast.arrays import FloatArray
from growthcast.service.rounds.paths import RoundsProblem, cheapest_paths

__all__ = ["Priced", "bound_from_below"]


STEPS = 500
PATIENCE = 15
"""Steps without a better bound after which the step is shortened."""
SHORTEST_STEP = 1e-3
REACH = 3.0
"""Steps are as long as if the best plan lost so many times what it does: they shorten later."""
SHARE_STEP = 0.5
HEURISTIC_EVERY = 50


@dataclass(frozen=True, slots=True)
class Priced:
    """The best bound found: its ``value`` and the ``price`` (K, N) of a visit that gives it."""

    value: float
    price: FloatArray


def bound_from_below(
    problem: RoundsProblem,
    upper: float,
    improve: Callable[[FloatArray], float],
    steps: int = STEPS,
) -> Priced:
    """Find prices of the days' minutes that bound what any plan loses.

    Parameters
    ----------
    problem : RoundsProblem
        Tanks, days and what steps lose.
    upper : float
        What a known plan loses.
    improve : callable
        Called now and then with the prices (K, N); returns what the best plan known loses.
    steps : int
        Steps at most.

    Returns
    -------
    Priced
        Every plan that keeps to the hours loses at least ``value``.
    """
    tanks, days = problem.cost.shape[0], problem.cost.shape[2] - 1
    day_price = np.zeros(days)
    leaning = np.zeros((tanks, days))
    best = Priced(-np.inf, leaning)
    length, stalled = 1.0, 0
    for step in range(steps):
        minutes = problem.work_min[:, None] + problem.own_travel_min[:, None] * _shares(
            problem, leaning
        )
        price = minutes * day_price
        total, _, visited = cheapest_paths(problem.cost, price)
        value = float(total.sum() - day_price @ problem.capacity_min)
        stalled += 1
        if value > best.value:
            best, stalled = Priced(value, price), 0
        if step % HEURISTIC_EVERY == HEURISTIC_EVERY - 1:
            upper = improve(best.price)
        if stalled >= PATIENCE:
            length, stalled = 0.6 * length, 0
        over = (minutes * visited).sum(axis=0) - problem.capacity_min
        over = np.where((day_price <= 0.0) & (over < 0.0), 0.0, over)
        if upper - best.value <= 1e-9 * (1.0 + abs(upper)) or length < SHORTEST_STEP:
            break
        if not over.any():
            break
        far = max(REACH * upper - value, 1e-6 * (1.0 + abs(upper)))
        day_price = np.maximum(day_price + length * far / (over @ over) * over, 0.0)
        leaning = leaning + SHARE_STEP / np.sqrt(step + 1.0) * visited
    return best


def _shares(problem: RoundsProblem, leaning: FloatArray) -> FloatArray:
    """Share (K, N) of its place's journey that each tank carries: they sum to one a place."""
    top = np.full((problem.travel_min.size, leaning.shape[1]), -np.inf)
    np.maximum.at(top, problem.site, leaning)
    weight = np.exp(leaning - top[problem.site])
    whole = np.zeros_like(top)
    np.add.at(whole, problem.site, weight)
    share: FloatArray = weight / whole[problem.site]
    return share
