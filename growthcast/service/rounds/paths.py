"""Visits of tanks as paths over working days, and the cheapest path of each.

A tank's plan is a path: from the start to its first visit, from visit to visit, from the last visit
to the end. What a plan loses is a sum over its steps, so the cheapest plan of one tank is found by
going backwards over the days once. Only the hours of a day tie the tanks together.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from growthcast.arrays import BoolArray, FloatArray, IntArray

__all__ = ["RoundsProblem", "cheapest_paths", "minutes_of_days", "path_cost"]


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
    def own_travel_min(self) -> FloatArray:
        """Travel to each tank (K,), as if it were alone at its place [min]."""
        travel: FloatArray = self.travel_min[self.site]
        return travel


def cheapest_paths(cost: FloatArray, price: FloatArray) -> tuple[FloatArray, FloatArray, BoolArray]:
    """Cheapest path of every tank when a visit costs ``price`` (K, N) on top of its steps.

    Returns
    -------
    total : array (K,)
        What the path costs, prices included.
    ahead : array (K, N + 1)
        Least cost from each node on to the end, what was paid at the node left out.
    visited : bool array (K, N)
        Days the path visits.
    """
    tanks, days = price.shape
    ahead = np.empty((tanks, days + 1))
    step = np.empty((tanks, days + 1), np.int64)
    beyond = np.zeros((tanks, days + 1))  # from a visit on day j on, its price included
    here = np.arange(tanks)
    for node in range(days, -1, -1):
        costs = cost[:, node, node:] + beyond[:, node:]
        best = costs.argmin(axis=1)
        ahead[:, node], step[:, node] = costs[here, best], best + node
        if node:
            beyond[:, node - 1] = price[:, node - 1] + ahead[:, node]
    visited = np.zeros((tanks, days + 1), np.bool_)
    at = np.zeros(tanks, np.int64)
    while (at <= days).any():
        going = np.flatnonzero(at <= days)
        after = step[going, at[going]]
        visited[going, after] = True
        at[going] = after + 1
    return ahead[:, 0], ahead, visited[:, :days]


def path_cost(cost: FloatArray, visited: BoolArray) -> FloatArray:
    """What the visits (K, N) of each tank lose, (K,)."""
    tanks, days = visited.shape
    total = np.zeros(tanks)
    node = np.zeros(tanks, np.int64)
    for day in range(days):
        going = np.flatnonzero(visited[:, day])
        total[going] += cost[going, node[going], day]
        node[going] = day + 1
    lost: FloatArray = total + cost[np.arange(tanks), node, days]
    return lost


def minutes_of_days(problem: RoundsProblem, visited: BoolArray) -> FloatArray:
    """Minutes of each day (N,): work at the tanks, and each place's travel once."""
    there = np.zeros((problem.travel_min.size, visited.shape[1]), np.bool_)
    np.logical_or.at(there, problem.site, visited)
    minutes: FloatArray = problem.work_min @ visited + problem.travel_min @ there
    return minutes
