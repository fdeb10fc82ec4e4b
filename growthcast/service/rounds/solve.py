"""The plan that loses least within the hours there are.

Three parts: a plan built tank by tank within the hours left, bettered tank by tank; a bound on what
any plan loses; and a mixed-integer programme over the steps that can still be part of a better
plan, as told by the bound. Small practices are solved to the end, large ones to the gap reported.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from growthcast.arrays import BoolArray, FloatArray, IntArray
from growthcast.service.rounds.bound import Priced, bound_from_below
from growthcast.service.rounds.paths import (
    RoundsProblem,
    cheapest_paths,
    minutes_of_days,
    path_cost,
)
from growthcast.service.rounds.programme import (
    SMALL_GAP,
    likely_steps,
    solve_programme,
    visits_of,
)

__all__ = ["Solved", "solve_rounds"]


ROOM_MIN = 1e-6
ROUNDS, TANKS_AT_ONCE = 120, 30
"""How often some tanks' visits are taken out of the plan and put back in, and how many at most."""
SEED = 7
"""The order in which that happens: always the same, so that the same book gives the same plan."""


@dataclass(frozen=True, slots=True)
class Solved:
    """Visits (K, N), what they lose, and what no plan can lose less than."""

    visited: BoolArray
    lost: float
    bound: float


def solve_rounds(problem: RoundsProblem) -> Solved:
    """Find visits that lose least within the minutes of every day.

    Parameters
    ----------
    problem : RoundsProblem
        Tanks (K,), working days (N,) and what steps lose.

    Returns
    -------
    Solved
        The best plan found; ``bound`` holds for every plan that keeps to the minutes.
    """
    search = _Search(problem)
    free = np.zeros(search.shape)
    search.build(free)
    priced = bound_from_below(problem, search.lost, search.build)
    bound = priced.value
    if search.gap(bound) > SMALL_GAP:
        search.put_back(priced)
    if search.gap(bound) > SMALL_GAP:
        bound = max(bound, search.programme(priced))
    return Solved(search.visited, search.lost, min(bound, search.lost))


class _Search:
    """The best plan known while better ones are looked for."""

    def __init__(self, problem: RoundsProblem) -> None:
        self.problem = problem
        self.shape = (problem.cost.shape[0], problem.capacity_min.size)
        self.visited = np.zeros(self.shape, np.bool_)
        self.lost = float(path_cost(problem.cost, self.visited).sum())

    def keep(self, visited: BoolArray) -> None:
        """Take a plan if it is the best so far and keeps to the hours."""
        problem = self.problem
        lost = float(path_cost(problem.cost, visited).sum())
        over = minutes_of_days(problem, visited) - problem.capacity_min
        if lost < self.lost and (over <= ROOM_MIN).all():
            self.visited, self.lost = visited.copy(), lost

    def build(self, price: FloatArray) -> float:
        """Build a plan tank by tank at these prices, better it, and return the least lost."""
        problem = self.problem
        total, _, wish = cheapest_paths(problem.cost, price)
        none = problem.cost[:, 0, -1]
        visited = np.zeros(self.shape, np.bool_)
        pressing = np.argsort(-(none - total) / problem.work_min, kind="stable")
        _place_each(problem, visited, pressing, price, wish)
        self.better(visited)
        self.better(_day_by_day(problem, price))
        return self.lost

    def better(self, visited: BoolArray) -> None:
        """Give every tank in turn the best path that the others leave, the costliest first."""
        problem = self.problem
        self.keep(visited)
        for _ in range(4):
            before = path_cost(problem.cost, visited)
            worst_first = np.argsort(-before, kind="stable")
            _place_each(problem, visited, worst_first, np.zeros(self.shape), None)
            self.keep(visited)
            if path_cost(problem.cost, visited).sum() >= before.sum() - 1e-9:
                break

    def gap(self, bound: float) -> float:
        """How far the best plan is from a bound, relative to what it loses."""
        return (self.lost - bound) / (1.0 + abs(self.lost))

    def put_back(self, priced: Priced) -> None:
        """Take the visits of some tanks out and put them back in another order, again and again.

        Half of the tanks meet around one day, the others are those that lose most.
        """
        problem, (tanks, days) = self.problem, self.shape
        order = np.random.default_rng(SEED)
        size = max(min(TANKS_AT_ONCE, tanks // 3), 2) // 2
        visited = self.visited.copy()
        for _ in range(ROUNDS if tanks > 1 else 0):
            lost = path_cost(problem.cost, visited)
            day = int(order.integers(days))
            near = np.flatnonzero(visited[:, max(day - 2, 0) : day + 3].any(axis=1))
            chance = 0.5 * lost / lost.sum() + 0.5 / tanks if lost.sum() > 0 else None
            chosen = np.unique(
                np.concatenate(
                    [order.permutation(near)[:size], order.choice(tanks, size, p=chance)]
                )
            )
            tried = visited.copy()
            tried[chosen] = False
            price = order.uniform(0.0, 1.2) * priced.price
            _place_each(problem, tried, order.permutation(chosen), price, None)
            _place_each(problem, tried, chosen, np.zeros(self.shape), None)
            if path_cost(problem.cost, tried).sum() <= lost.sum():
                visited = tried
            self.keep(visited)
            if self.gap(priced.value) <= SMALL_GAP:
                break

    def programme(self, priced: Priced) -> float:
        """Solve over the steps that may be part of a better plan; return a bound, if it is one."""
        steps, all_taken = likely_steps(self.problem, priced, self.lost)
        found = solve_programme(self.problem, steps, self.shape)
        if found.x is not None:
            self.keep(visits_of(found.x, steps, self.shape))
        told = found.mip_dual_bound
        if all_taken and told is not None and np.isfinite(told):
            return float(told)
        return -np.inf


def _day_by_day(problem: RoundsProblem, price: FloatArray) -> BoolArray:
    """Fill one day after the other with the tanks that lose most a minute by waiting.

    What waiting loses is told by the cheapest paths at these prices: the best step to a later day
    against the step to this one, each with the least cost from there on.
    """
    _, ahead, _ = cheapest_paths(problem.cost, price)
    tanks, days = price.shape
    beyond = np.concatenate([price + ahead[:, 1:], np.zeros((tanks, 1))], axis=1)
    node, here = np.zeros(tanks, np.int64), np.arange(tanks)
    visited = np.zeros((tanks, days), np.bool_)
    minutes = problem.work_min + problem.own_travel_min
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


def _place_each(
    problem: RoundsProblem,
    visited: BoolArray,
    order: IntArray,
    price: FloatArray,
    wish: BoolArray | None,
) -> None:
    """Give each tank in turn its cheapest path within the minutes that the others leave.

    ``wish`` are paths taken as they are where there is room for them.
    """
    used = minutes_of_days(problem, visited)
    there = np.zeros((problem.travel_min.size, visited.shape[1]), np.int64)
    np.add.at(there, problem.site, visited.astype(np.int64))
    for tank in order.tolist():
        site = problem.site[tank]
        own = visited[tank]
        there[site] -= own
        alone = there[site] == 0
        need = problem.work_min[tank] + problem.travel_min[site] * alone
        used -= need * own
        full = used + need > problem.capacity_min + ROOM_MIN
        if wish is not None and not (wish[tank] & full).any():
            own = wish[tank].copy()
        else:
            barred = np.where(full, np.inf, price[tank])
            _, _, path = cheapest_paths(problem.cost[tank : tank + 1], barred[None])
            own = path[0]
        visited[tank] = own
        there[site] += own
        used += need * own
