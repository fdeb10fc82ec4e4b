"""The plan that loses least within the hours there are, as far as a search by prices finds it.

A tank's plan is a path: from the start to its first visit, from visit to visit, from the last visit
to the end. What a plan loses is a sum over its steps, so the cheapest path of one tank is found by
going backwards over the days once. Only the hours of a day tie the tanks together. Give every
minute of a day a price, and they no longer care for each other: each takes its cheapest path.

Plans are built at several prices, the same on all days, then at prices that rise where the paths
together ask for more minutes than a day has and fall where they ask for fewer. Each is bettered
tank by tank, and the best is taken. A bound and an integer programme found no better plans
(docs/decisions/027-rounds-by-prices-alone.md).
"""

from __future__ import annotations

import numpy as np

from growthcast.arrays import BoolArray, FloatArray, IntArray
from growthcast.nouns import dataclass

ROOM_MIN = 1e-6
LEVELS = np.geomspace(1e-3, 1.0, 7)
"""Prices tried on all days alike, as shares of what a minute is worth where hours are plenty."""
STEPS, STEP = 30, 0.5
"""How often prices are changed day by day, and the first step of their logarithm."""
MOST_ROUNDS = 4
"""How often all tanks of a plan choose anew, while that makes it better."""


@dataclass(frozen=True, slots=True)
class RoundsProblem:
    """Tanks (K,) to be visited on working days (N,), tanks of one place (S,) sharing the journey.

    Attributes
    ----------
    cost : array (K, N + 1, N + 1)
        ``cost[k, 0, j]`` is lost when tank ``k`` is first visited on day ``j``, ``cost[k, i, j]``
        when day ``j`` is the next visit after the one on day ``i - 1``; ``j = N`` stands for no
        further visit. Infinite where a step is not allowed; ``cost[:, :, N]`` is finite.
    work_min : array (K,)
        Minutes at the tank [min].
    site : int array (K,)
        Place of each tank.
    travel_min : array (S,)
        Minutes of travel, once a place and day [min].
    capacity_min : array (N,)
        Minutes of a day [min].
    """

    cost: FloatArray
    work_min: FloatArray
    site: IntArray
    travel_min: FloatArray
    capacity_min: FloatArray

    @property
    def shared_min(self) -> FloatArray:
        """Minutes of a visit to each tank (K,), the journey shared out over its place [min]."""
        sharing = np.bincount(self.site)[self.site]
        return self.work_min + self.travel_min[self.site] / sharing


def solve_rounds(problem: RoundsProblem) -> BoolArray:
    """Find visits that lose little within the minutes of every day.

    Parameters
    ----------
    problem : RoundsProblem
        Tanks (K,), working days (N,) and what steps lose.

    Returns
    -------
    bool array (K, N)
        The visits of the best plan found; the same problem gives the same plan.
    """
    minutes, days = problem.shared_min[:, None], problem.capacity_min.size
    free = np.zeros((minutes.size, days))
    total, _, wish = cheapest_paths(problem.cost, free)
    plans = _planned(problem, free[None])
    if _lost(problem, plans)[0] > float(total.sum()) + 1e-9:  # not every tank has its best path
        saved = float((problem.cost[:, 0, -1] - total).sum())
        levels = saved / float((minutes * wish).sum()) * np.array([0.0, *LEVELS])
        plans = np.concatenate([plans, _planned(problem, free + levels[1:, None, None] * minutes)])
        price = np.full(days, levels[np.argmin(_lost(problem, plans))] or levels[1])
        prices = []
        for step in range(STEPS):
            _, _, wish = cheapest_paths(problem.cost, minutes * price)
            over = (minutes * wish).sum(axis=0) / problem.capacity_min - 1.0
            price = price * np.exp(STEP / np.sqrt(step + 1.0) * np.minimum(over, 1.0))
            prices.append(minutes * price)
        plans = np.concatenate([plans, _planned(problem, np.stack(prices))])
    best: BoolArray = plans[np.argmin(_lost(problem, plans))]
    return best


def cheapest_paths(cost: FloatArray, price: FloatArray) -> tuple[FloatArray, FloatArray, BoolArray]:
    """Find the cheapest path of every tank when a visit has a price on top of its steps.

    Parameters
    ----------
    cost : array (K, N + 1, N + 1)
        What steps lose, as in ``RoundsProblem`` [1].
    price : array (K, N)
        Price of a visit to each tank on each day, in what steps lose [1].

    Returns
    -------
    total : array (K,)
        What the path costs, prices included [1].
    ahead : array (K, N + 1)
        Least cost from each node on to the end, what was paid at the node left out [1].
    visited : bool array (K, N)
        Days the path visits.
    """
    tanks, days = price.shape
    ahead = np.empty((tanks, days + 1))
    beyond = np.zeros((tanks, days + 1))  # from a visit on day j on, its price included
    for node in range(days, -1, -1):
        ahead[:, node] = (cost[:, node, node:] + beyond[:, node:]).min(axis=1)
        if node:
            beyond[:, node - 1] = price[:, node - 1] + ahead[:, node]
    visited = np.zeros((tanks, days + 1), np.bool_)
    at = np.zeros(tanks, np.int64)
    while (going := np.flatnonzero(at <= days)).size:
        after = (cost[going, at[going]] + beyond[going]).argmin(axis=1)
        visited[going, after] = True
        at[going] = after + 1
    return ahead[:, 0], ahead, visited[:, :days]


def path_cost(cost: FloatArray, visited: BoolArray) -> FloatArray:
    """Return what the visits of each tank lose.

    Parameters
    ----------
    cost : array (K, N + 1, N + 1)
        What steps lose, as in ``RoundsProblem`` [1].
    visited : bool array (..., K, N)
        The visits, of one plan or several.

    Returns
    -------
    array (..., K)
        The sum over the steps of each tank's path [1].
    """
    tanks, days = visited.shape[-2:]
    ends = np.insert(visited, days, True, axis=-1)
    since = np.maximum.accumulate(np.where(ends, np.arange(1, days + 2), 0), axis=-1)
    node = np.insert(since[..., :-1], 0, 0, axis=-1)
    steps = cost[np.arange(tanks)[:, None], node, np.arange(days + 1)]
    total: FloatArray = np.where(ends, steps, 0.0).cumsum(axis=-1)[..., -1]
    return total


def minutes_of_days(problem: RoundsProblem, visited: BoolArray) -> FloatArray:
    """Add up the minutes of each day: work at the tanks, and each place's travel once.

    Parameters
    ----------
    problem : RoundsProblem
        Tanks (K,) and working days (N,).
    visited : bool array (K, N)
        The visits.

    Returns
    -------
    array (N,)
        Minutes of each day [min].
    """
    there = np.zeros((problem.travel_min.size, visited.shape[1]), np.bool_)
    np.logical_or.at(there, problem.site, visited)
    return problem.work_min @ visited + problem.travel_min @ there


def _lost(problem: RoundsProblem, plans: BoolArray) -> FloatArray:
    lost: FloatArray = path_cost(problem.cost, plans).sum(axis=-1)
    return lost


def _planned(problem: RoundsProblem, prices: FloatArray) -> BoolArray:
    """Plans (P, K, N), one at each of some prices (P, K, N)."""
    return _bettered(problem, np.stack([_day_by_day(problem, price) for price in prices]))


def _bettered(problem: RoundsProblem, plans: BoolArray) -> BoolArray:
    """Give every tank in turn the best path that the others leave, the costliest first."""
    plans, going = plans.copy(), np.arange(len(plans))
    for _ in range(MOST_ROUNDS):
        if not going.size:
            break
        before, after = path_cost(problem.cost, plans[going]), plans[going]
        _place_each(problem, after, np.argsort(-before, axis=-1, kind="stable"))
        better = _lost(problem, after) < before.sum(axis=-1) - 1e-9
        going = going[better]
        plans[going] = after[better]
    return plans


def _day_by_day(problem: RoundsProblem, price: FloatArray) -> BoolArray:
    """Fill one day after the other with the tanks that lose most a minute by waiting.

    What waiting loses follows from the cheapest paths at these prices: the best step to a later day
    against the step to this one, each with the least cost from there on.
    """
    _, ahead, _ = cheapest_paths(problem.cost, price)
    tanks, days = price.shape
    beyond = np.concatenate([price + ahead[:, 1:], np.zeros((tanks, 1))], axis=1)
    node, here = np.zeros(tanks, np.int64), np.arange(tanks)
    visited = np.zeros((tanks, days), np.bool_)
    minutes = problem.work_min + problem.travel_min[problem.site]
    for day in range(days):
        wait = (problem.cost[here, node, day + 1 :] + beyond[:, day + 1 :]).min(axis=1)
        saves = wait - problem.cost[here, node, day] - ahead[:, day + 1]
        room = float(problem.capacity_min[day])
        there: set[int] = set()
        for tank in np.argsort(-saves / np.maximum(minutes, 1.0), kind="stable").tolist():
            if saves[tank] <= 0.0:
                break
            site = int(problem.site[tank])
            need = problem.work_min[tank] + (0.0 if site in there else problem.travel_min[site])
            if need <= room + ROOM_MIN:
                room -= need
                there.add(site)
                visited[tank, day] = True
                node[tank] = day + 1
    return visited


def _place_each(problem: RoundsProblem, plans: BoolArray, order: IntArray) -> None:
    """Give each tank in turn its cheapest path within the minutes that the others leave.

    In all plans (P, K, N) at once, each with its own order (P, K).
    """
    used = np.stack([minutes_of_days(problem, plan) for plan in plans])
    here = np.arange(len(plans))
    there = np.zeros((problem.travel_min.size, here.size, plans.shape[2]), np.int64)
    np.add.at(there, problem.site, plans.swapaxes(0, 1).astype(np.int64))
    for tank in order.T:
        site, own = problem.site[tank], plans[here, tank]
        at = site, here
        there[at] -= own
        need = problem.work_min[tank, None] + problem.travel_min[site, None] * (there[at] == 0)
        used -= need * own
        full = used + need > problem.capacity_min + ROOM_MIN
        _, _, own = cheapest_paths(problem.cost[tank], np.where(full, np.inf, 0.0))
        plans[here, tank] = own
        there[at] += own
        used += need * own
