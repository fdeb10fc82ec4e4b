"""Plans against every plan there is, on small practices."""

from __future__ import annotations

import itertools
from functools import reduce

import numpy as np
import pytest

from growthcast.service.rounds.solve import (
    RoundsProblem,
    _bettered,
    cheapest_paths,
    minutes_of_days,
    path_cost,
    solve_rounds,
)


def small_problem(seed: int, tanks: int = 3, days: int = 4, load: float = 1.0) -> RoundsProblem:
    """Return an invented problem of a size that can be gone through plan by plan."""
    rng = np.random.default_rng(seed)
    interval = rng.integers(1, 4, tanks)
    due = rng.integers(0, days, tanks)
    slope = rng.uniform(0.1, 1.0, tanks)
    cost = np.full((tanks, days + 1, days + 1), np.inf)
    for node, day in itertools.combinations_with_replacement(range(days + 1), 2):
        late = day - due if node == 0 else day - (node - 1) - interval
        early = 0.0 if day == days else 0.02 * np.maximum(-late, 0)
        cost[:, node, day] = slope * np.maximum(late, 0) ** 1.5 + early
    work = rng.uniform(20, 60, tanks)
    return RoundsProblem(
        cost=cost,
        work_min=work,
        site=np.array([0, 0, *range(1, tanks - 1)])[:tanks],
        travel_min=np.full(tanks, 15.0),
        capacity_min=np.full(days, load * rng.uniform(0.4, 1.0) * work.sum()),
    )


def best_of_all(problem: RoundsProblem) -> float:
    """Least lost over every set of visits of every tank that keeps to the minutes."""
    tanks, days = problem.cost.shape[0], problem.capacity_min.size
    every = np.array(list(itertools.product([False, True], repeat=days)))
    lost = [path_cost(problem.cost[[k] * len(every)], every) for k in range(tanks)]
    total = reduce(np.add.outer, lost)
    for place in np.argsort(total, axis=None, kind="stable"):  # the first that keeps to the minutes
        chosen = np.unravel_index(place, total.shape)
        if (minutes_of_days(problem, every[list(chosen)]) <= problem.capacity_min + 1e-6).all():
            return float(total[chosen])
    return np.inf


@pytest.mark.slow
@pytest.mark.parametrize("load", [0.6, 1.2])
def test_few_plans_are_better_on_small_practices(load):
    """The search is no proof: of 25 practices two may be planned less well, by a fifth at most."""
    missed = 0
    for seed in range(25):
        problem = small_problem(seed, load=load)
        visited = solve_rounds(problem)
        assert (minutes_of_days(problem, visited) <= problem.capacity_min + 1e-6).all()
        lost, best = path_cost(problem.cost, visited).sum(), best_of_all(problem)
        assert best - 1e-9 <= lost <= 1.2 * best + 1e-9
        missed += lost > best + 2e-4 * (1 + best)
    assert missed <= 2


def test_the_cheapest_path_is_that_of_every_path():
    problem = small_problem(3, days=6)
    rng = np.random.default_rng(1)
    price = rng.uniform(0, 0.5, (3, 6))
    every = np.array(list(itertools.product([False, True], repeat=6)))
    total, ahead, visited = cheapest_paths(problem.cost, price)
    for k in range(3):
        all_of_them = path_cost(problem.cost[[k] * 64], every) + every @ price[k]
        assert total[k] == pytest.approx(all_of_them.min())
        assert (every[all_of_them.argmin()] == visited[k]).all()
    np.testing.assert_allclose(total, ahead[:, 0])


def test_the_journey_to_a_place_counts_once_a_day():
    problem = small_problem(0)
    visited = np.zeros((3, 4), np.bool_)
    visited[:2, 1] = True  # two tanks of one place
    visited[2, 1] = True
    minutes = minutes_of_days(problem, visited)
    assert minutes[1] == pytest.approx(problem.work_min.sum() + 2 * 15.0)
    assert minutes[0] == 0.0


def test_hours_for_nothing_leave_every_tank_out():
    assert not solve_rounds(small_problem(0, load=1e-6)).any()


def test_hours_for_all_give_every_tank_its_cheapest_path():
    problem = small_problem(0, days=6, load=100.0)
    _, _, visited = cheapest_paths(problem.cost, np.zeros((3, 6)))
    np.testing.assert_array_equal(solve_rounds(problem), visited)


@pytest.mark.parametrize(
    ("sooner", "first"),
    [(2.5, 0), (3.0 - 1e-8, 0), (3.0 - 1e-10, 1), (3.0, 1), (3.5, 1)],
)
def test_a_plan_is_left_for_one_that_loses_less_and_for_no_other(sooner, first):
    """One tank, two days, visited on the second for 3: less than 1e-9 apart is the same."""
    cost = np.full((1, 3, 3), np.inf)
    cost[0, :, 2] = 0.0
    cost[0, 0] = [sooner, 3.0, 9.0]  # on the first day, on the second, never
    one, two = np.ones(1), np.full(2, 60.0)
    problem = RoundsProblem(cost, one, np.array([0]), one, two)
    better = _bettered(problem, np.array([[False, True]]))
    assert np.flatnonzero(better[0]).tolist() == [first]


@pytest.mark.slow
def test_the_same_problem_gives_the_same_plan():
    problem = small_problem(5, tanks=12, days=20, load=0.5)
    np.testing.assert_array_equal(solve_rounds(problem), solve_rounds(problem))


@pytest.mark.slow
def test_a_price_of_minutes_beats_each_tank_for_itself_where_hours_are_short():
    """Without a price the first tanks take the best days, and the last ones find none."""
    problem = small_problem(8, tanks=40, days=20, load=0.5)
    alone = _bettered(problem, np.zeros((40, 20), np.bool_))
    lost = [path_cost(problem.cost, plan).sum() for plan in (solve_rounds(problem), alone)]
    assert lost[0] < 0.95 * lost[1]
