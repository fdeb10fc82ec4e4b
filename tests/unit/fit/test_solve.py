"""The arrow solver against the same problem written out densely."""

from __future__ import annotations

import numpy as np
import pytest

from growthcast.fit.chains import Link, Nodes, pack_chains
from growthcast.fit.hierarchy import Pooling
from growthcast.fit.solve import Problem, solve
from growthcast.fit.sweep import ErrorModel, linearise
from growthcast.growth.logistic import height_at_stage

TANK = np.array([0, 0, 0, 1, 1, 2, 2])
SPECIES = np.array([0, 1, 2, 0, 1, 2, 2])
FRESH, GREW, CUT = int(Link.FRESH), int(Link.GREW), int(Link.CUT)


def small_problem(seed=3):
    """Return seven areas with chains of every kind, one of them with a guess only."""
    rng = np.random.default_rng(seed)
    area, day, link, growth, reading, habit, removed = [], [], [], [], [], [], []

    def node(a, when, how, grown=0.0, read=np.nan, usual=np.nan, cut_off=np.nan):
        for row, value in zip(
            (area, day, link, growth, reading, habit, removed),
            (a, when, how, grown, read, usual, cut_off),
            strict=True,
        ):
            row.append(value)

    for a in range(6):
        node(a, 0.0, FRESH, read=4.0 + rng.normal(0, 0.4), usual=4.0)
        for visit in range(1, 4 + a % 3):
            when = 10.0 * visit
            if a == 4 and visit == 2:  # measured, not cut
                node(a, when, GREW, 10.0, read=9.0)
                continue
            if visit % 2 and a % 2:  # only the length cut off is known
                node(a, when, GREW, 10.0)
                node(a, when, CUT, usual=4.0, cut_off=4.0 + rng.normal(0, 0.5))
            else:
                node(a, when, GREW, 9.0, read=8.0 + rng.normal(0, 1.0))
                node(a, when, FRESH, read=4.0 + rng.normal(0, 0.4), usual=4.2)
    node(6, 30.0, FRESH, usual=6.0)
    count = len(area)
    usual = np.array(habit)
    link = np.array(link)
    nodes = Nodes(
        area=np.array(area),
        day=np.array(day),
        link=link,
        growth_d=np.array(growth),
        span_d=np.where(link == GREW, 10.0, 0.0),
        reading_cm=np.array(reading),
        habit_cm=usual,
        habit_sd_cm=np.where(np.isfinite(usual), 0.6, np.nan),
        removed_cm=np.array(removed),
        pause_d=np.zeros(count),
    )
    pooling = Pooling(
        tank=TANK,
        species=SPECIES,
        offset=np.log(np.array([0.08, 0.06, 0.1, 0.08, 0.06, 0.1, 0.1])),
        log_ceiling=np.log(np.full(7, 20.0)),
        ceiling_precision=np.full(7, 1.0 / 0.2**2),
        area_precision=1.0 / 0.2**2,
        tank_precision=1.0 / np.array([0.3, 0.4, 0.3]) ** 2,
        species_precision=1.0 / np.array([0.3, 0.5, 0.4]) ** 2,
    )
    errors = ErrorModel(np.full(7, 0.5), np.full(7, 0.05), span_spread=0.2, drift_spread=0.12)
    return Problem(pack_chains(nodes, 7), pooling, errors, np.array([1, 1, 1, 1.0, 0.5, 1, 1.4]))


def dense_residuals(problem, frozen, x):
    """All residuals, whitened with frozen weights, as one function of one long vector."""
    chains, pooling = problem.chains, problem.pooling
    n, areas = chains.nodes.area.size, pooling.tank.size
    stage, log_rate, log_ceiling, tank, species = np.split(
        x, np.cumsum([n, areas, areas, pooling.tank_precision.size])
    )
    here = linearise(
        chains, stage, np.stack([log_rate, log_ceiling]), problem.shape, problem.errors
    )
    target = frozen.residual + frozen.lean[1]
    read = np.sqrt(frozen.precision) * (here.lean[1] - target)
    # A cut's gap is measured in heights: scale it by the slope at which it was taken.
    linked = chains.nodes.link != FRESH
    scale = np.where(chains.nodes.link == CUT, here.slope / frozen.slope, 1.0)
    gap = np.where(linked, here.gap * scale / np.sqrt(frozen.noise), 0.0)
    centre = pooling.offset + tank[pooling.tank] + species[pooling.species]
    return np.concatenate(
        [
            read,
            gap,
            np.sqrt(pooling.area_precision) * (log_rate - centre),
            np.sqrt(pooling.ceiling_precision) * (log_ceiling - pooling.log_ceiling),
            np.sqrt(pooling.tank_precision) * tank,
            np.sqrt(pooling.species_precision) * species,
        ]
    )


@pytest.fixture(scope="module")
def solved():
    """Return the problem, its solution, and the dense Jacobian and residuals at it."""
    problem = small_problem()
    solution = solve(problem)
    frozen = linearise(
        problem.chains, solution.stage, solution.parameters, problem.shape, problem.errors
    )
    x = np.concatenate(
        [
            solution.stage,
            *solution.parameters,
            solution.effects.tank,
            solution.effects.species,
        ]
    )
    step = 1e-5
    jacobian = np.stack(
        [
            (
                dense_residuals(problem, frozen, x + step * unit)
                - dense_residuals(problem, frozen, x - step * unit)
            )
            / (2 * step)
            for unit in np.eye(x.size)
        ],
        axis=1,
    )
    return problem, solution, jacobian, dense_residuals(problem, frozen, x)


def test_solution_is_stationary(solved):
    _, solution, jacobian, residuals = solved
    assert solution.converged.all()
    scale = np.sqrt((jacobian**2).sum(axis=0))
    assert np.abs(jacobian.T @ residuals / scale).max() < 2e-4


def test_covariance_is_that_of_the_dense_system(solved):
    problem, solution, jacobian, _ = solved
    # The flat start of a chain has no residual of its own; its readings hold it.
    covariance = np.linalg.inv(jacobian.T @ jacobian)
    n, areas, tanks = problem.chains.nodes.area.size, 7, 3
    rate = slice(n, n + areas)
    ceiling = slice(n + areas, n + 2 * areas)
    tank = slice(n + 2 * areas, n + 2 * areas + tanks)
    species = slice(n + 2 * areas + tanks, None)
    effects, pooling = solution.effects, problem.pooling
    held = solution.area.precision + pooling.area_precision
    share = pooling.area_precision / held
    rate_variance = 1.0 / held + share**2 * effects.centre_variance(pooling)
    follows = solution.area.ceiling_follows
    ceiling_variance = solution.area.ceiling_variance + follows**2 * rate_variance
    np.testing.assert_allclose(rate_variance, np.diag(covariance)[rate], rtol=1e-5)
    np.testing.assert_allclose(ceiling_variance, np.diag(covariance)[ceiling], rtol=1e-5)
    np.testing.assert_allclose(
        follows * rate_variance, np.diag(covariance[rate, ceiling]), rtol=1e-4, atol=1e-9
    )
    np.testing.assert_allclose(effects.tank_sd() ** 2, np.diag(covariance)[tank], rtol=1e-5)
    np.testing.assert_allclose(effects.species_sd() ** 2, np.diag(covariance)[species], rtol=1e-5)

    last = problem.chains.last
    carry = solution.last_carry
    parameters = np.stack(
        [[rate_variance, follows * rate_variance], [follows * rate_variance, ceiling_variance]]
    )
    last_variance = solution.last_variance + np.einsum("pa,pqa,qa->a", carry, parameters, carry)
    np.testing.assert_allclose(last_variance, np.diag(covariance)[last], rtol=1e-4)


def test_areas_of_a_tank_teach_each_other():
    problem = small_problem()
    solution = solve(problem)
    # Area 6 has no span of its own: its rate is its tank's and its species'.
    shared = solution.effects.centre(problem.pooling)[6]
    assert solution.parameters[0, 6] == pytest.approx(shared, abs=1e-6)
    assert shared != pytest.approx(problem.pooling.offset[6], abs=1e-3)


def test_packing_keeps_every_chain_in_order():
    problem = small_problem()
    chains = problem.chains
    for a in range(7):
        days = chains.nodes.day[chains.nodes.area == a]
        assert (np.diff(days) >= 0).all()
    behind = chains.previous
    assert (chains.nodes.area[behind] == chains.nodes.area).all()
    linked = chains.nodes.link != FRESH
    assert (chains.nodes.day[behind][linked] <= chains.nodes.day[linked]).all()


def test_the_order_of_areas_does_not_matter():
    """Relabel the areas of the same problem and find the same rates."""
    problem = small_problem()
    order = np.array([3, 6, 0, 5, 1, 4, 2])
    nodes, pooling = problem.chains.nodes, problem.pooling
    place = np.argsort(order)
    by_area = np.lexsort((np.arange(nodes.area.size), place[nodes.area]))
    moved = nodes.take(by_area)
    moved = Nodes(place[moved.area], *(getattr(moved, f) for f in Nodes.__slots__[1:]))
    again = Problem(
        pack_chains(moved, 7),
        Pooling(
            pooling.tank[order],
            pooling.species[order],
            pooling.offset[order],
            pooling.log_ceiling[order],
            pooling.ceiling_precision[order],
            pooling.area_precision,
            pooling.tank_precision,
            pooling.species_precision,
        ),
        problem.errors,
        problem.shape[order],
    )
    first, second = solve(problem), solve(again)
    np.testing.assert_allclose(second.parameters, first.parameters[:, order], rtol=1e-8)


def test_a_fit_without_readings_is_the_prior():
    problem = small_problem()
    nodes = problem.chains.nodes
    only = nodes.take(np.flatnonzero(nodes.area == 6))
    rest = Nodes(
        np.arange(7),
        *(np.repeat(getattr(only, name), 7) for name in Nodes.__slots__[1:]),
    )
    alone = Problem(pack_chains(rest, 7), problem.pooling, problem.errors, problem.shape)
    solution = solve(alone)
    np.testing.assert_allclose(solution.parameters[0], problem.pooling.offset, atol=1e-9)
    height = height_at_stage(
        solution.stage, np.exp(solution.parameters[1])[alone.chains.nodes.area], problem.shape
    )
    np.testing.assert_allclose(height, 6.0, atol=0.02)
