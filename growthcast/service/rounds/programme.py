"""The mixed-integer programme over the steps that may be part of a better plan."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.optimize import Bounds, LinearConstraint, OptimizeResult, milp
from scipy.sparse import csr_array

from growthcast.arrays import BoolArray, FloatArray, IntArray
from growthcast.service.rounds.bound import Priced
from growthcast.service.rounds.paths import RoundsProblem, cheapest_paths

__all__ = ["SMALL_GAP", "Steps", "likely_steps", "solve_programme", "visits_of"]


MOST_STEPS = 2_500
"""Steps of all tanks in the programme at most; the likeliest ones are taken."""
NODES = 10
"""Branches looked at at most: a hundred times as many seldom find better, and cost a minute."""
SLOWEST_S = 60.0
"""A stop for very slow machines only: where the clock ends a search, no two runs need agree."""
SMALL_GAP = 1e-4


@dataclass(frozen=True, slots=True)
class Steps:
    """Steps (E,) of tanks from a node to a day (or to the end), and what they lose."""

    tank: IntArray
    node: IntArray
    day: IntArray
    cost: FloatArray


def likely_steps(problem: RoundsProblem, priced: Priced, lost: float) -> tuple[Steps, bool]:
    """Steps that a plan better than ``lost`` may use, and whether those are all of them.

    The cheapest path through a step, at the prices of the bound, says how much the bound rises if
    the step is taken; beyond what the best plan loses it cannot be part of a better one.
    """
    cost, price = problem.cost, priced.price
    total, ahead, _ = cheapest_paths(cost, price)
    tanks, days = price.shape
    so_far = np.full((tanks, days + 1), np.inf)
    so_far[:, 0] = 0.0
    for day in range(days):
        to_here = (so_far[:, : day + 1] + cost[:, : day + 1, day]).min(axis=1)
        so_far[:, day + 1] = to_here + price[:, day]
    beyond = np.concatenate([price + ahead[:, 1:], np.zeros((tanks, 1))], axis=1)
    through = so_far[:, :, None] + cost + beyond[:, None, :] - total[:, None, None]
    through[:, np.tri(days + 1, days + 1, -1, dtype=np.bool_)] = np.inf
    slack = lost - priced.value
    worth = through <= slack + 1e-9
    everything = int(worth.sum()) <= MOST_STEPS
    if not everything:
        cut = np.partition(through[worth], MOST_STEPS)[MOST_STEPS]
        worth = through < max(float(cut), 1e-9)
        worth[:, 0, days] = True  # a tank may always be left out
    place = np.nonzero(worth)
    return Steps(place[0], place[1], place[2], cost[worth]), everything


@dataclass(frozen=True, slots=True)
class _Entries:
    """Entries of one block of constraints: values at rows and columns."""

    value: FloatArray
    row: IntArray
    column: IntArray
    height: int

    def over(self, width: int) -> csr_array:
        """Return the block as a matrix of that many columns."""
        return csr_array((self.value, (self.row, self.column)), shape=(self.height, width))


def solve_programme(problem: RoundsProblem, steps: Steps, shape: tuple[int, int]) -> OptimizeResult:
    """Mixed-integer programme: a path a tank, the minutes of a day, one journey a place and day.

    The unknowns are the steps taken, then for every place that tanks share the days it is visited.
    """
    tanks, days = shape
    count = steps.tank.size
    shared = np.bincount(problem.site, minlength=problem.travel_min.size) > 1
    places = np.flatnonzero(shared & (problem.travel_min > 0.0))
    width = count + places.size * days
    starts = np.flatnonzero(steps.node == 0)
    start = _Entries(np.ones(starts.size), steps.tank[starts], starts, tanks)
    limits = [
        LinearConstraint(start.over(width), 1, 1),
        LinearConstraint(_flow(steps, shape).over(width), 0, 0),
        LinearConstraint(
            _minutes(problem, steps, shape, shared, places).over(width),
            -np.inf,
            problem.capacity_min,
        ),
    ]
    if places.size:
        limits.append(
            LinearConstraint(_journeys(problem, steps, shape, places).over(width), -np.inf, 0)
        )
    return milp(
        np.concatenate([steps.cost, np.zeros(width - count)]),
        constraints=limits,
        integrality=np.ones(width, np.int64),
        bounds=Bounds(0, 1),
        options={"node_limit": NODES, "time_limit": SLOWEST_S, "mip_rel_gap": SMALL_GAP},
    )


def _flow(steps: Steps, shape: tuple[int, int]) -> _Entries:
    """Whatever step comes to a day, one goes on from it."""
    tanks, days = shape
    comes, goes = np.flatnonzero(steps.day < days), np.flatnonzero(steps.node > 0)
    return _Entries(
        np.concatenate([np.ones(comes.size), -np.ones(goes.size)]),
        np.concatenate(
            [
                steps.tank[comes] * days + steps.day[comes],
                steps.tank[goes] * days + steps.node[goes] - 1,
            ]
        ),
        np.concatenate([comes, goes]),
        tanks * days,
    )


def _minutes(
    problem: RoundsProblem,
    steps: Steps,
    shape: tuple[int, int],
    shared: BoolArray,
    places: IntArray,
) -> _Entries:
    """Minutes of each day; the journey to a shared place is an unknown of its own."""
    _, days = shape
    comes = np.flatnonzero(steps.day < days)
    travel = np.where(shared[problem.site], 0.0, problem.own_travel_min)
    return _Entries(
        np.concatenate(
            [
                (problem.work_min + travel)[steps.tank[comes]],
                np.repeat(problem.travel_min[places], days),
            ]
        ),
        np.concatenate([steps.day[comes], np.tile(np.arange(days), places.size)]),
        np.concatenate([comes, steps.tank.size + np.arange(places.size * days)]),
        days,
    )


def _journeys(
    problem: RoundsProblem, steps: Steps, shape: tuple[int, int], places: IntArray
) -> _Entries:
    """A tank is visited only on days on which someone travels to its place."""
    tanks, days = shape
    number = np.full(problem.travel_min.size, -1)
    number[places] = np.arange(places.size)
    place = number[problem.site]
    together = np.flatnonzero(place >= 0)
    line = np.full(tanks, -1)
    line[together] = np.arange(together.size)
    comes = np.flatnonzero((steps.day < days) & (place[steps.tank] >= 0))
    grid = np.arange(together.size * days)
    journey = steps.tank.size + (place[together][:, None] * days + np.arange(days)).ravel()
    return _Entries(
        np.concatenate([np.ones(comes.size), -np.ones(grid.size)]),
        np.concatenate([line[steps.tank[comes]] * days + steps.day[comes], grid]),
        np.concatenate([comes, journey]),
        grid.size,
    )


def visits_of(x: FloatArray, steps: Steps, shape: tuple[int, int]) -> BoolArray:
    """Visits (K, N) of a solution of the programme."""
    visited = np.zeros(shape, np.bool_)
    taken = (x[: steps.tank.size] > 0.5) & (steps.day < shape[1])
    visited[steps.tank[taken], steps.day[taken]] = True
    return visited
