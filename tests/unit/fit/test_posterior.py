"""What a fit says of areas by name, against sums done by hand."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from growthcast.fit.model.clock import LEAST_AWAKE_SHARE
from growthcast.fit.model.noise import KNOT_COUNT, today_weight
from growthcast.fit.model.posterior import (
    AreaPosterior,
    Parameters,
    _moved_by_ceilings,
    shared_growth,
)
from growthcast.fit.solver.problem import BORDER, CEILING, KNOTS, RATE
from growthcast.fit.solver.solve import starting_point
from growthcast.fit.solver.view import view_of
from tests.unit.fit.dense import joint
from tests.unit.fit.small_posterior import LAST_STAGE, one_area
from tests.unit.fit.small_problem import small_problem


@pytest.fixture
def posterior():
    return one_area()


def test_numbers_have_names(posterior):
    assert np.exp(posterior.mean.log_rate) == pytest.approx(0.05)
    assert np.exp(posterior.mean.log_ceiling) == pytest.approx(40.0)
    assert posterior.mean.drift[:, 0].tolist() == [0.3, 0.0, 0.0, 0.0, 0.0]
    assert posterior.rate_variance == pytest.approx(0.04)
    assert posterior.log_ceiling_variance == pytest.approx(0.01)
    assert posterior.covariance[:, KNOTS, KNOTS] == pytest.approx(0.09)


def test_a_pace_is_a_rate_and_the_drift_of_its_span(posterior):
    """A span that regresses on today's drift alone: variances add up, with what they share."""
    weight = np.zeros((KNOT_COUNT, 1, 1))
    weight[0] = 1.0
    log_pace, covariance = posterior.pace_ceiling_stage(weight)
    assert log_pace[0, 0] == pytest.approx(np.log(0.05) + 0.3)
    assert covariance[0, 0] == pytest.approx(
        np.array(
            [
                [0.04 + 0.09 + 2 * 0.02, 0.0, 2.0 * (0.04 + 0.02)],
                [0.0, 0.01, 0.0],
                [2.0 * (0.04 + 0.02), 0.0, 4.0 * 0.04 + 0.25],
            ]
        )
    )


def test_a_last_stage_goes_with_the_rate_that_was_drawn(posterior):
    """Two to one, since it follows the rate so; the rest of its variance is its own."""
    log_rate = np.log(0.05) + np.array([[-0.1, 0.0, 0.1]])
    middle, sd = posterior.last_stage_given(
        log_rate,
        np.full((1, 3), np.log(40.0)),
        np.repeat(posterior.mean.drift.T[:, :, None], 3, axis=2),
    )
    assert middle[0] == pytest.approx([LAST_STAGE - 0.2, LAST_STAGE, LAST_STAGE + 0.2])
    assert sd == pytest.approx(0.5)


def test_a_lag_takes_its_days_of_a_span_and_leaves_a_tenth_at_least(posterior):
    """Half of a lag of two days follows the last cut: one day of ten, and all of a single day."""
    cut = replace(posterior, last_lag_share=np.full(1, 0.5), lag_d=np.full(1, 2.0))
    left, falls = cut.awake(np.array([[10.0, 4.0, 1.0]]))
    assert left[0] == pytest.approx([0.9, 0.75, LEAST_AWAKE_SHARE])
    # The logarithm of 1 - lag / 20 falls by (1 / 20) / 0.9 with a day of lag.
    assert falls[0] == pytest.approx([0.05 / 0.9, 0.125 / 0.75, 0.0])


def test_a_lag_that_ends_about_now_is_no_licence_to_soar(posterior):
    """Two and a quarter days after a cut that costs two, half a day less would leave a third awake.

    The curve is steep there: along it, half a day less would be seven times the growth, not three.
    """
    cut = replace(
        posterior,
        last_lag_share=np.ones(1),
        lag_d=np.full(1, 2.0),
        beside_sd=np.array([[0.5], [0.0]]),
    )
    left, falls = cut.awake(np.array([[2.25, 20.0]]))
    assert left[0] == pytest.approx([0.25 / 2.25, 0.9])
    # From a lag of 1.5 days, which leaves a third, to a tenth over the two deviations of a day.
    assert falls[0] == pytest.approx([np.log(10.0 / 3.0), 0.05 / 0.9])


def covariances(rng, count, size):
    """Return positive definite matrices (n, size, size)."""
    root = rng.normal(size=(count, size, 2 * size)) / np.sqrt(2 * size)
    return root @ root.transpose(0, 2, 1)


@pytest.fixture(scope="module")
def several():
    """Three areas of which everything is known a little, and everything moves together."""
    rng, n = np.random.default_rng(7), 3
    sd, by = rng.uniform(0.2, 0.6, size=(2, n)), 0.3 * rng.normal(size=(2, BORDER, n))
    covariance = covariances(rng, n, BORDER)
    for one in by * sd[:, None]:
        covariance += one.T[:, :, None] * one.T[:, None, :]
    return AreaPosterior(
        mean=Parameters(rng.normal(size=(BORDER, n))),
        covariance=covariance,
        last_stage=rng.normal(size=n),
        last_stage_variance=rng.uniform(0.1, 0.2, size=n),
        stage_follows=rng.normal(size=(BORDER, n)),
        last_day=np.arange(10.0, 10.0 + n),
        last_pause_d=np.arange(20.0, 20.0 + n),
        last_lag_share=np.arange(30.0, 30.0 + n),
        lag_d=np.arange(40.0, 40.0 + n),
        beside_sd=sd,
        by_beside=by,
    )


def test_a_pace_falls_with_a_lag_and_with_settling_that_the_rate_goes_with(several):
    """Border, lag, settling and last stage as one normal, and the sums of it that are asked for."""
    rng, n = np.random.default_rng(8), 3
    weight = rng.normal(size=(KNOT_COUNT, n, 2))
    taken = np.array([[0.1, 0.0], [0.2, 0.3], [0.0, 0.1]]), np.zeros((n, 2))
    taken[1][1] = 0.4, 0.2
    log_pace, found = several.pace_ceiling_stage(weight, taken)
    plain_pace, plain = several.pace_ceiling_stage(weight)
    for a in range(n):
        of_beside = np.diag(several.beside_sd[:, a] ** 2)
        across = several.by_beside[:, :, a].T @ of_beside
        every = np.block([[several.covariance[a], across], [across.T, of_beside]])
        for t in range(2):
            into = np.zeros((3, BORDER + 2))
            into[0, RATE], into[1, CEILING] = 1.0, 1.0
            into[0, KNOTS:BORDER] = weight[:, a, t]
            into[0, BORDER:] = [-each[a, t] for each in taken]
            into[2, :BORDER] = several.stage_follows[:, a]
            own = np.diag([0.0, 0.0, several.last_stage_variance[a]])
            assert found[a, t] == pytest.approx(into @ every @ into.T + own)
            into[0, BORDER:] = 0.0
            assert plain[a, t] == pytest.approx(into @ every @ into.T + own)
            drifted = weight[:, a, t] @ several.mean.border[KNOTS:, a]
            assert plain_pace[a, t] == pytest.approx(several.mean.log_rate[a] + drifted)
    assert log_pace == pytest.approx(plain_pace)


def test_a_last_stage_is_a_normal_given_whatever_else_was_drawn(several):
    """The textbook's conditional normal, of a joint one of the border and the stage."""
    rng, drawn = np.random.default_rng(9), [RATE, CEILING, *range(KNOTS, BORDER)]
    rate, ceiling = rng.normal(size=(2, 3, 4))
    drift = rng.normal(size=(3, KNOT_COUNT, 4))
    mean, sd = several.last_stage_given(rate, ceiling, drift)
    for a in range(3):
        follows, covariance = several.stage_follows[:, a], several.covariance[a]
        across = (covariance @ follows)[drawn]
        weight = np.linalg.inv(covariance[np.ix_(drawn, drawn)]) @ across
        own = follows @ covariance @ follows + several.last_stage_variance[a]
        assert sd[a] ** 2 == pytest.approx(own - weight @ across)
        draws = np.vstack([rate[a], ceiling[a], drift[a]])
        off = draws - several.mean.border[drawn, a, None]
        assert mean[a] == pytest.approx(several.last_stage[a] + weight @ off)


def test_a_stage_goes_with_a_ceiling_by_its_share_of_the_variance(several):
    """Cov(stage, ceiling) / Var(ceiling); a ceiling that is known moves nothing."""
    known = several.covariance.copy()
    known[1, CEILING] = known[1, :, CEILING] = 0.0
    found = replace(several, covariance=known).stage_by_ceiling
    slopes = [
        covariance[CEILING] @ several.stage_follows[:, a] / covariance[CEILING, CEILING]
        for a, covariance in enumerate(several.covariance)
    ]
    assert found == pytest.approx([slopes[0], 0.0, slopes[2]])


def test_a_part_of_a_posterior_has_everything_of_its_areas(several):
    part = several.part(np.array([2, 0, 2]))
    assert part.mean.border == pytest.approx(several.mean.border[:, [2, 0, 2]])
    assert part.covariance == pytest.approx(several.covariance[[2, 0, 2]])
    assert part.by_beside == pytest.approx(several.by_beside[:, :, [2, 0, 2]])
    assert [part.last_day.tolist(), part.last_pause_d.tolist()] == [[12, 10, 12], [22, 20, 22]]
    assert [part.last_lag_share.tolist(), part.lag_d.tolist()] == [[32, 30, 32], [42, 40, 42]]


def test_a_ceiling_that_growth_tells_of_has_its_mean_above_its_mode():
    """Normal in ``1 / K`` with the information 300 on ``log K``, beside a prior of 100: on a grid.

    What goes with the ceiling by half of it moves by half as much.
    """
    information, prior = 300.0, 100.0
    x = np.linspace(-1.0, 1.0, 20_001)
    weight = np.exp(-0.5 * information * (np.exp(-x) - 1.0) ** 2 - 0.5 * prior * x**2)
    exact = weight @ x / weight.sum()
    covariance = np.zeros((2, BORDER, BORDER))
    covariance[:, CEILING, CEILING] = 1.0 / (information + prior)
    covariance[:, RATE, CEILING] = 0.5 / (information + prior)
    moved = _moved_by_ceilings(covariance, np.array([prior, 1.01 * (information + prior)]))
    assert exact > 0.002
    assert moved[CEILING, 0] == pytest.approx(exact, rel=0.05)
    assert moved[RATE, 0] == pytest.approx(0.5 * moved[CEILING, 0])
    assert (moved[:, 1] == 0.0).all()  # no more is known than before


@pytest.fixture(scope="module", params=["all", "none", "some"])
def view(request):
    """A small problem; the log teaches all ceilings, none, or those of four areas."""
    problem, some = small_problem(), np.arange(7) % 2 == 0
    learnt = {"all": np.ones(7, dtype=bool), "none": np.zeros(7, dtype=bool), "some": some}
    pooling = replace(problem.pooling, ceiling_learnt=learnt[request.param], bend_doubt=3.0)
    problem = replace(problem, pooling=pooling)
    return view_of(problem, starting_point(problem))


def test_borders_of_a_tank_hang_together_as_the_dense_normal_equations_have_it(view):
    """Between areas what they share, within one what it has alone: the doubt of its bend, too."""
    _, covariance, into = joint(view)
    pooling, effects = view.problem.pooling, view.pooled
    own = view.pooled.covariance(np.arange(7))
    assert own[5] == pytest.approx(into[5] @ covariance @ into[5].T) or pooling.ceiling_learnt[5]
    for tank in range(3):
        areas = np.flatnonzero(pooling.tank == tank)
        by_species, by_tank, alone = view.pooled.tank_parts(tank, areas)
        for i, one in enumerate(areas):
            for j, other in enumerate(areas):
                found = by_species[i] @ effects.species_covariance @ by_species[j].T
                found += by_tank[i] @ effects.tank_covariance[tank] @ by_tank[j].T
                wanted = own[one] if i == j else into[one] @ covariance @ into[other].T
                assert found + (i == j) * alone[i] == pytest.approx(wanted, abs=1e-12)


def test_shared_growth_has_the_covariance_of_the_dense_normal_equations(view):
    """Rates and ceilings as they are drawn, each from normals of species, tanks and its own."""
    _, covariance, into = joint(view)
    rng, pooling = np.random.default_rng(4), view.problem.pooling
    areas, tanks = np.arange(7), np.arange(3)
    mean, beside = rng.normal(size=(BORDER, 7)), rng.normal(size=(2, BORDER, 7))
    shared = shared_growth(view, mean, beside, areas, tanks)
    planted, width = shared.species_root.shape[1], shared.tank_root.shape[1]
    count = planted + 3 * width + 14
    of_species = np.hstack([shared.species_root, np.zeros((planted, count - planted))])
    of_tank = shared.tank_by_species @ of_species
    rows = []
    for a in areas:
        tank = pooling.tank[a]
        mine = of_tank[tank].copy()
        begin = planted + tank * width
        mine[:, begin : begin + width] += shared.tank_root[tank]
        mine[0] += of_species[shared.species[a]]
        both = shared.by_shared[a] @ mine
        both[:, [count - 7 + a, count - 14 + a]] += shared.own_root[a]
        rows.append(both)
    wanted = into[:, [CEILING, RATE]]
    own = view.pooled.covariance(areas)
    for a in areas:
        for b in areas:
            exact = wanted[a] @ covariance @ wanted[b].T
            if a == b:  # with the doubt of the bends, which an area has alone
                exact = own[a][np.ix_([CEILING, RATE], [CEILING, RATE])]
            assert rows[a] @ rows[b].T == pytest.approx(exact, abs=1e-12)
    assert shared.drift == pytest.approx(view.pooled.tank[:, 1:])
    assert shared.pace_by == pytest.approx(
        beside[:, RATE] + np.einsum("m,kma->ka", today_weight(), beside[:, KNOTS:])
    )
    assert (shared.ceiling_by == beside[:, CEILING]).all()
    assert (shared.mean.border == mean).all()
