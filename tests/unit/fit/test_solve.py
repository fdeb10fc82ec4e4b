"""The arrow solver against the same linear problem written out densely."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from growthcast.fit.rows.chains import Link, pack_chains
from growthcast.fit.solver.hierarchy import Pooled
from growthcast.fit.solver.kalman import kalman_filter
from growthcast.fit.solver.likelihood import log_likelihood, misfit
from growthcast.fit.solver.linearise import FRESH_STAGE_VARIANCE
from growthcast.fit.solver.problem import BORDER, CEILING, HABIT, KNOTS, OWN, RATE, CannotFit
from growthcast.fit.solver.solve import HIGHEST_START, solve, starting_point
from growthcast.fit.solver.view import departure_of, view_of
from growthcast.growth.logistic import height_at_stage, stage
from tests.chains import in_order
from tests.unit.fit.dense import inputs_of
from tests.unit.fit.small_problem import problem_of, small_nodes, small_problem

AREAS, TANKS, SPECIES_COUNT = 7, 3, 3
M = BORDER - KNOTS
RNG = np.random.default_rng
PLACES = "start", "solution", "two ceilings unlearnt, one start next to the ground"


def dense_system(problem, point, view):
    """Return the normal matrix and right-hand side of the linearised problem, all unknowns at once.

    Unknowns: departures of every stage; of every area's rate, ceiling, density and habit; every
    tank's effect and knots and every species' effect, these last as they are. A ceiling that is not
    learnt rests on its prior alone.
    """
    [block], at = problem.blocks, view.forward(0).at
    nodes, pooling = block.chains.nodes, problem.pooling
    learnt = pooling.ceiling_learnt[nodes.area]
    inputs = np.where(learnt | (np.arange(BORDER) != CEILING)[:, None], inputs_of(at), 0.0)
    n = nodes.area.size
    own = [RATE, *OWN]
    size = n + AREAS * len(own) + TANKS * (1 + M) + SPECIES_COUNT
    area_at = lambda a, b: n + a * len(own) + own.index(b)  # noqa: E731
    tank_at = lambda t, k: n + AREAS * len(own) + t * (1 + M) + k  # noqa: E731
    species_at = lambda s: size - SPECIES_COUNT + s  # noqa: E731
    matrix, right = np.zeros((size, size)), np.zeros(size)

    def say(row, value, precision):
        matrix[:] += precision * np.outer(row, row)
        right[:] += precision * value * row

    def border_row(weights, a):
        row = np.zeros(size)
        for b in own:
            row[area_at(a, b)] += weights[b]
        for k in range(M):
            row[tank_at(pooling.tank[a], 1 + k)] += weights[KNOTS + k]
        return row

    now = point.border
    for i in range(n):
        a = nodes.area[i]
        stands = (inputs_of(at)[KNOTS:, i] * now[KNOTS:, a]).sum()  # knots are unknown as they are
        row = -border_row(inputs[:, i], a)
        row[i] += 1.0
        if nodes.link[i] in (Link.GREW, Link.CUT, Link.WEIGHED):
            row[block.chains.previous[i]] -= at.transition[i]
        say(row, at.offset[i] - stands, 1.0 / at.process_noise[i])
        row = np.zeros(size)
        row[i], row[area_at(a, CEILING)] = at.observation[i], learnt[i] * at.expected_cm[i]
        row[area_at(a, HABIT)] = -at.by_usual_cut[i]
        say(row, at.residual[i], at.observation_precision[i])
    for a in range(AREAS):
        row = np.zeros(size)
        row[area_at(a, RATE)] = 1.0
        row[tank_at(pooling.tank[a], 0)] = row[species_at(pooling.species[a])] = -1.0
        say(row, pooling.offset[a] - now[RATE, a], pooling.area_precision)
        for b, (centre, held) in zip(OWN, pooling.own_priors(), strict=True):
            row = np.zeros(size)
            row[area_at(a, b)] = 1.0
            say(row, centre[a] - now[b, a], held[a])
    for t in range(TANKS):
        row = np.zeros(size)
        row[tank_at(t, 0)] = 1.0
        say(row, 0.0, pooling.tank_precision[t])
        knots = [tank_at(t, 1 + k) for k in range(M)]
        matrix[np.ix_(knots, knots)] += pooling.knot_precision
    for s in range(SPECIES_COUNT):
        row = np.zeros(size)
        row[species_at(s)] = 1.0
        say(row, 0.0, pooling.species_precision[s])
    return matrix, right, n, area_at, tank_at, species_at


@pytest.fixture(scope="module", params=PLACES)
def both(request):
    """Return problem, point and view with the dense solution of the linear problem there."""
    problem = small_problem()
    if request.param == "two ceilings unlearnt, one start next to the ground":
        learnt = ~np.isin(np.arange(AREAS), (0, 4))
        pooling, nodes = replace(problem.pooling, ceiling_learnt=learnt), small_nodes(RNG(3))
        low = (nodes.link == Link.FRESH) & (nodes.area == 2)
        nodes = replace(nodes, reading_cm=np.where(low, 0.3, nodes.reading_cm))
        same = problem.errors, problem.shape, problem.first_habit
        problem = problem_of(nodes, pooling, *same)
    point = solve(problem).point if request.param == "solution" else starting_point(problem)
    view = view_of(problem, point)
    matrix, right, *places = dense_system(problem, point, view)
    covariance = np.linalg.inv(matrix)
    return problem, point, view, covariance @ right, covariance, places


def test_the_step_is_that_of_the_dense_system(both):
    _, _, view, step, _, (n, area_at, tank_at, species_at) = both
    departure = departure_of(view)
    for a in range(AREAS):
        for b in (RATE, *OWN):
            assert departure[b, a] == pytest.approx(step[area_at(a, b)], abs=2e-7)
    for t in range(TANKS):
        for k in range(1 + M):
            assert view.pooled.tank[t, k] == pytest.approx(step[tank_at(t, k)], abs=2e-7)
    for s in range(SPECIES_COUNT):
        assert view.pooled.species[s] == pytest.approx(step[species_at(s)], abs=2e-7)
    stages = view.forward(0).smoothed(departure)
    np.testing.assert_allclose(stages, step[:n], atol=1e-6)


def rate_at_another_ceiling(view, a):
    """How far a log rate moves with a log ceiling to fit its own log as before: least squares."""
    rate, across = view.information[a, RATE, RATE], view.information[a, RATE, CEILING]
    return -across / (rate + view.problem.pooling.area_precision)


def test_covariances_are_those_of_the_dense_system(both):
    problem, _, view, _, covariance, (_, area_at, tank_at, species_at) = both
    asked = np.array([4, 0, 6, 1, 5, 3, 2])
    order = np.argsort(asked)
    found = np.concatenate([view.pooled.covariance(some) for some in (asked[:3], asked[3:])])[order]
    for a in range(AREAS):
        at = [area_at(a, b) for b in (*OWN, RATE)]
        at += [tank_at(problem.pooling.tank[a], 1 + k) for k in range(M)]
        expected = covariance[np.ix_(at, at)]
        if not problem.pooling.ceiling_learnt[a]:  # the rate moves with what nobody learns
            moved = np.eye(BORDER)
            moved[RATE, CEILING] = rate_at_another_ceiling(view, a)
            expected = moved @ expected @ moved.T
        np.testing.assert_allclose(found[a], expected, rtol=1e-5, atol=1e-9)
    species = [species_at(s) for s in range(SPECIES_COUNT)]
    of_species = covariance[np.ix_(species, species)]
    np.testing.assert_allclose(view.pooled.species_covariance, of_species, rtol=1e-5)
    np.testing.assert_allclose(view.pooled.species_sd**2, np.diag(of_species), rtol=1e-5)
    for t, whole in enumerate(view.pooled.whole_tank_covariance()):
        tank = [tank_at(t, k) for k in range(1 + M)]
        np.testing.assert_allclose(whole, covariance[np.ix_(tank, tank)], rtol=1e-5, atol=1e-9)
        sd = view.pooled.tank_sd[t]
        assert sd == pytest.approx(np.sqrt(covariance[tank[0], tank[0]]), rel=1e-6)
        # What a tank's effect and knots are given the species: as regressed on them.
        regression = view.pooled.tank_regression(np.array([t]))[0]
        given = covariance[np.ix_(tank, species)] @ np.linalg.inv(of_species)
        np.testing.assert_allclose(regression, given, rtol=1e-4, atol=1e-9)
    if not problem.pooling.ceiling_learnt.all():
        return
    chains, filtered = problem.blocks[0].chains, view.filtered[0]
    moved, border = filtered.sensitivity[:, chains.last], found[chains.area]
    whole = filtered.variance[chains.last] + np.einsum("bn,nbc,cn->n", moved, border, moved)
    np.testing.assert_allclose(whole, np.diag(covariance)[chains.last], rtol=1e-4)


def test_the_likelihood_is_that_of_the_dense_system(both):
    """Gaussian evidence: squares at the solution and the determinant, all unknowns at once.

    A start is flat in height, not in stage: the filter's leaves out its slope and its own scale.
    """
    problem, point, view, step, covariance, _ = both
    right = dense_system(problem, point, view)[1]
    [block], at, pooling = problem.blocks, view.forward(0).at, problem.pooling
    nodes = block.chains.nodes
    fresh = (nodes.link == Link.FRESH) & block.chains.read
    stands = np.einsum("mn,mn->n", inputs_of(at)[KNOTS:], point.border[KNOTS:][:, nodes.area])
    squares = ((at.offset - stands) ** 2 / at.process_noise).sum()
    squares += misfit(problem, block, at, point.border)
    squares += (pooling.area_precision * (pooling.offset - point.border[RATE]) ** 2).sum()
    for b, (centre, held) in zip(OWN, pooling.own_priors(), strict=True):
        squares += (held * (centre - point.border[b]) ** 2).sum()
    squares -= right @ step
    determinant = -np.linalg.slogdet(covariance)[1]
    determinant += (
        np.log(at.process_noise[~fresh]).sum() - 2.0 * np.log(at.observation[fresh]).sum()
    )
    determinant += np.log(FRESH_STAGE_VARIANCE) * fresh.sum()
    priors = [np.full(AREAS, pooling.area_precision), pooling.tank_precision]
    priors += [pooling.species_precision, *(held for _, held in pooling.own_priors())]
    determinant -= sum(np.log(held).sum() for held in priors)
    determinant -= TANKS * np.linalg.slogdet(pooling.knot_precision)[1]
    expected = -0.5 * (squares + determinant)
    assert log_likelihood(view) == pytest.approx(expected, abs=1e-4)


@pytest.fixture(scope="module")
def settled():
    return solve(small_problem(), tolerance=1e-6)


def test_the_fit_settles(settled):
    assert settled.converged.all()
    assert np.abs(departure_of(settled.view)).max() < 1e-5


def test_a_fit_ends_though_a_stage_is_pulled_beyond_where_stages_end():
    """A start read above its ceiling stands at the end of the curve and is pulled further."""
    nodes = small_nodes(np.random.default_rng(3))
    full = replace(nodes, reading_cm=np.where(nodes.day == 0.0, 24.0, nodes.reading_cm))
    full = replace(full, reading_cm=np.where(nodes.link == Link.AIMED, 4.0, full.reading_cm))
    whole = small_problem()
    held = replace(whole.pooling, ceiling_precision=np.full(7, 1e6))
    solution = solve(problem_of(full, held, whole.errors, whole.shape, whole.first_habit))
    [stages] = solution.point.stages
    assert (stages == HIGHEST_START).sum() >= 3
    assert solution.converged.all()
    assert solution.steps < 20


def test_areas_of_a_tank_teach_each_other(settled):
    problem = settled.problem
    # Area 6 has no span of its own: its rate is its tank's and its species'.
    shared = settled.view.pooled.centre[6]
    assert settled.point.border[RATE, 6] == pytest.approx(shared, abs=1e-5)
    assert shared != pytest.approx(problem.pooling.offset[6], abs=1e-3)


@pytest.mark.parametrize("nodes_a_block", [1, 20, 16_000])
def test_blocks_and_order_do_not_matter(settled, nodes_a_block):
    order = [3, 6, 0, 5, 1, 4, 2]
    second = solve(small_problem(order=order, nodes_a_block=nodes_a_block), tolerance=1e-6)
    assert len(second.problem.blocks) >= (3 if nodes_a_block == 1 else 1)
    np.testing.assert_allclose(second.point.border, settled.point.border[:, order], atol=1e-5)


def test_packing_keeps_every_chain_in_order():
    for block in small_problem(nodes_a_block=20).blocks:
        nodes, behind = block.chains.nodes, block.chains.previous
        assert (nodes.area[behind] == nodes.area).all()
        linked = nodes.link >= Link.GREW
        assert (nodes.day[behind][linked] <= nodes.day[linked]).all()
        assert (nodes.area[block.chains.last] == block.chains.area).all()
        latest = np.full(7, -np.inf)
        np.maximum.at(latest, nodes.area, nodes.day)
        assert (nodes.day[block.chains.last] == latest[block.chains.area]).all()


def test_a_chain_ends_where_a_cut_tells_nothing_of_what_stood_before():
    [block] = small_problem().blocks
    starts = np.arange(block.chains.nodes.area.size) < block.chains.offsets[1]
    assert (starts == (block.chains.nodes.link < Link.GREW)).all()
    nodes = in_order(block.chains)
    assert (np.diff(nodes.area) >= 0).all()
    assert (np.diff(nodes.day)[np.diff(nodes.area) == 0] >= 0).all()
    assert (np.bincount(nodes.area) == np.bincount(block.chains.nodes.area)).all()


def test_a_fit_without_readings_is_the_prior():
    nodes = small_nodes(np.random.default_rng(3))
    only = nodes.take(np.flatnonzero(nodes.area == 6))
    rest = type(nodes)(
        np.arange(7), *(np.repeat(getattr(only, name), 7) for name in only.__slots__[1:])
    )
    whole = small_problem()
    alone = problem_of(rest, whole.pooling, whole.errors, whole.shape, whole.first_habit)
    solution = solve(alone)
    np.testing.assert_allclose(solution.point.border[RATE], whole.pooling.offset, atol=1e-9)
    np.testing.assert_allclose(solution.view.forward(0).at.expected_cm, 6.0, atol=0.01)


def test_a_guessed_start_is_straightened_where_later_readings_show_it():
    """Planted lower than guessed, read precisely on a curve of the rate that is expected.

    Straightened where the guess expected it, such a start takes the early readings for slow growth.
    """
    began, days, rate = 4.3, np.array([0.0, 10.0, 20.0, 30.0]), 0.1
    height = height_at_stage(stage(began, 20.0) + rate * days, 20.0)
    lone = small_nodes(np.random.default_rng(3)).take(np.full(7 * days.size, -1))
    grew = np.tile(days > 0.0, 7)
    nodes = replace(
        lone,
        area=np.repeat(np.arange(7), days.size),
        day=np.tile(days, 7),
        link=np.where(grew, Link.GREW, Link.FRESH).astype(np.int64),
        growth_d=np.where(grew, 10.0, 0.0),
        span_d=np.where(grew, 10.0, 0.0),
        reading_cm=np.where(grew, np.tile(height, 7), np.nan),
        guess_cm=np.where(grew, np.nan, 6.0),
        guess_sd_cm=np.where(grew, np.nan, 3.0),
    )
    whole = small_problem()
    pooling = replace(whole.pooling, offset=np.full(7, np.log(rate)))
    errors = replace(whole.errors, height_error_cm=np.full(7, 0.2))
    solution = solve(problem_of(nodes, pooling, errors, np.ones(7), whole.first_habit))
    assert solution.converged.all()
    np.testing.assert_allclose(np.exp(solution.point.border[RATE]), rate, rtol=0.1)
    [block], at = solution.problem.blocks, solution.view.forward(0).at
    starts = block.chains.nodes.link == Link.FRESH
    np.testing.assert_allclose(at.expected_cm[starts], began, atol=0.3)


def test_a_score_alone_is_that_of_the_whole_word(both):
    _, _, view, *_ = both
    forward = view.forward(0)
    score = forward.information()[1]
    np.testing.assert_allclose(forward.score(), score, rtol=1e-9, atol=1e-9)


def test_innovations_move_with_what_is_predicted_as_another_filter_says(both):
    """A filter is linear in its offsets."""
    _, _, view, *_ = both
    forward = view.forward(0)
    chains, at = forward.chains, forward.at
    moved = RNG(7).normal(size=at.offset.size)
    there = kalman_filter(chains, replace(at, offset=at.offset + moved))
    found = forward.along(moved)
    np.testing.assert_allclose(found, there.innovation[0] - forward.innovation[0], atol=1e-9)


def test_fields_that_are_the_same_everywhere_take_the_memory_of_one():
    nodes = small_nodes(np.random.default_rng(3))
    nothing = np.full(nodes.area.size, np.nan)
    [chains] = pack_chains(replace(nodes, guess_cm=nothing), np.zeros(AREAS, dtype=np.int64))
    assert np.isnan(chains.nodes.guess_cm).all()
    assert chains.nodes.guess_cm.strides == (0,)
    assert chains.nodes.day.strides == (8,)


def test_unread_starts_alone_are_known_as_their_whole_chain_has_them():
    problem = small_problem()
    nodes = small_nodes(np.random.default_rng(3))
    begun = (nodes.link == Link.FRESH) & (nodes.area % 2 == 0)
    aimed = (nodes.link == Link.AIMED) & (nodes.day == 0.0)
    nodes = nodes.take(np.flatnonzero(~aimed))  # from the start straight to the first visit
    begun = begun[~aimed]
    nodes = replace(
        nodes,
        reading_cm=np.where(begun, np.nan, nodes.reading_cm),
        guess_cm=np.where(begun, 6.0, nodes.guess_cm),
        guess_sd_cm=np.where(begun, 2.0, nodes.guess_sd_cm),
    )
    problem = problem_of(nodes, problem.pooling, problem.errors, problem.shape, problem.first_habit)
    view = view_of(problem, starting_point(problem))
    [block], forward = problem.blocks, view.forward(0)
    chains, moved = block.chains, np.random.default_rng(1).normal(0.0, 0.1, (BORDER, AREAS))
    unread = (chains.nodes.link == Link.FRESH) & ~chains.read
    assert unread.sum() == begun.sum() == 4
    whole = forward.smoothed(moved)
    by_day = forward.filtered.departure(chains, moved)
    assert np.abs(whole - by_day)[unread].max() > 0.1
    known = view.filtered[0].departure(chains, moved)
    np.testing.assert_allclose(known, np.where(unread, whole, by_day), atol=1e-9)


def test_growth_is_one_curve_only_without_luck_and_drift():
    problem = small_problem()
    for span, drift, exact in ((0.0, 0.0, True), (0.2, 0.0, False), (0.0, 0.1, False)):
        errors = replace(problem.errors, span=span, drift=drift)
        assert replace(problem, errors=errors).is_exact is exact


def test_a_bend_that_is_doubted_moves_ceiling_and_rate_together(both):
    """The more a bend is doubted the less a log tells of a ceiling; the rate keeps to its log."""
    problem, _, view, *_ = both
    doubted = replace(problem.pooling, bend_doubt=3.0)
    areas = np.array([5, 0, 2])
    sure, unsure = (
        replace(view.pooled, pooling=pooling).covariance(areas)
        for pooling in (problem.pooling, doubted)
    )
    for a, wider in zip(areas, unsure - sure, strict=True):
        along = np.zeros(BORDER)
        along[[CEILING, RATE]] = 1.0, rate_at_another_ceiling(view, a)
        np.testing.assert_allclose(
            wider, wider[CEILING, CEILING] * np.outer(along, along), atol=1e-12
        )
        assert (wider[CEILING, CEILING] > 1e-4) == problem.pooling.ceiling_learnt[a]


def test_a_covariance_that_is_none_is_named(both, monkeypatch):
    _, _, view, *_ = both
    areas = np.array([5, 0, 2])
    root = view.pooled.covariance_root(areas)
    found = view.pooled.covariance(areas)
    np.testing.assert_allclose(root @ root.transpose(0, 2, 1), found, atol=1e-12)
    flat = found[0].copy()
    flat[RATE], flat[:, RATE] = flat[CEILING], flat[:, CEILING]
    flat[RATE, RATE] *= 1.0 - 1e-9
    nothing = np.full_like(flat, np.nan)
    for several, named in (
        ([found[0], -found[1], found[2]], [0]),
        ([found[0], flat, found[2]], [0]),
        ([-found[0], found[1], nothing], [5, 2]),
    ):
        matrices = np.array(several)
        monkeypatch.setattr(Pooled, "covariance", lambda *_, it=matrices, **__: it)
        with pytest.raises(CannotFit) as fault:
            view.pooled.covariance_root(areas)
        assert fault.value.areas.tolist() == named
