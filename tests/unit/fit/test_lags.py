"""What a log says of the days that every cut costs, and of how long plants take to settle."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import norm, truncnorm

from growthcast.fit import beside
from growthcast.fit.beside import LAG, SETTLING, _along, _moved, beside_told, by_beside
from growthcast.fit.design import build_design, with_spreads
from growthcast.fit.growth import fit_growth
from growthcast.fit.model.clock import days_lost
from growthcast.fit.model.spreads import (
    FORMS,
    Lags,
    Settling,
    Spreads,
    prior_lags,
    prior_settling,
)
from growthcast.fit.rows.chains import Link
from growthcast.fit.solver.kalman import kalman_filter
from growthcast.fit.solver.linearise import linearise
from growthcast.fit.solver.problem import BORDER, CEILING, RATE
from growthcast.fit.solver.solve import solve, starting_point
from growthcast.fit.solver.view import view_of
from growthcast.species import read_forms
from tests.books import HEADER, TODAY, make_book
from tests.unit.fit.dense import joint
from tests.unit.fit.small_problem import small_problem

STEM = FORMS.index("stem")


def fitted(lag_d, per_d=None):
    """Return the small problem fitted at one lag; ``per_d`` makes the share a lag takes alike."""
    problem = small_problem()
    if per_d is not None:
        [block] = problem.blocks
        nodes = block.chains.nodes
        same = replace(nodes, lag_per_d=np.where(nodes.link == Link.GREW, per_d, 0.0))
        blocks = (replace(block, chains=replace(block.chains, nodes=same)),)
        problem = replace(problem, blocks=blocks)
    return solve(replace(problem, lag_d=np.full(problem.area_count, lag_d)), tolerance=1e-6)


def test_lags_are_the_part_above_zero_of_a_normal():
    """Moments and quantiles of truncated normals, half of one among them; all forms by turns."""
    centre, spread = np.array([-6.0, -1.0, 0.0, 0.7, 6.0]), np.array([1.5, 2.0, 0.5, 1.0, 0.4])
    alike = 0.3 + 0.7 * np.eye(5)
    lags = Lags(centre, alike * np.outer(spread, spread))
    exact = truncnorm(-centre / spread, np.inf, centre, spread)
    assert lags.mean_d == pytest.approx(exact.mean(), rel=1e-6)
    assert lags.sd_d == pytest.approx(exact.std(), rel=1e-4)
    normals = np.random.default_rng(2).normal(size=(5, 9))
    form = np.array([3, 0, 3, 4])
    chance = norm.cdf(np.linalg.cholesky(alike) @ normals)[form]
    bounds = (-centre / spread)[form, None], np.inf, centre[form, None], spread[form, None]
    assert lags.drawn(normals, form) == pytest.approx(truncnorm.ppf(chance, *bounds), abs=1e-6)


def test_a_lag_far_below_zero_is_none():
    lags = Lags(np.full(1, -30.0), np.eye(1))
    assert lags.drawn(np.linspace(-6.0, 6.0, 5)[None], np.zeros(1, dtype=np.int64)).max() == 0.0
    assert np.isfinite([lags.mean_d[0], lags.sd_d[0]]).all()


def test_settling_is_drawn_around_its_centre_and_spreads_have_names():
    settling = Settling(np.array([0.2, -0.1]), np.array([[0.04, 0.01], [0.01, 0.09]]))
    assert settling.factor == pytest.approx(np.exp([0.2, -0.1]))
    assert settling.sd == pytest.approx([0.2, 0.3])
    drawn = settling.drawn(np.eye(2))
    assert drawn @ drawn.T == pytest.approx(settling.covariance)
    named = Spreads(tank=0.4).as_dict()
    assert (len(named), named["tank"], named["habit"]) == (10, 0.4, 0.15)


def test_forms_share_a_part_of_their_lags():
    prior = prior_lags()
    alike = prior.covariance / np.outer(prior.spread_d, prior.spread_d)
    assert alike[STEM, FORMS.index("carpet")] == pytest.approx(0.5)


def test_forms_share_a_part_of_how_long_they_settle():
    spread = np.array([form.settle_spread for form in read_forms().values()])
    alike = prior_settling().covariance / np.outer(spread, spread)
    np.testing.assert_allclose(alike, 0.5 + 0.5 * np.eye(spread.size))
    assert (prior_settling().factor == 1.0).all()


def test_small_cuts_cost_little_and_hard_ones_a_pause_besides():
    # 1 - exp(-0.1 / 0.1) = 0.632 of 3 days; beyond half, half of the way to 6 days besides.
    assert days_lost(np.array(0.1), np.array(3.0), np.array(6.0)) == pytest.approx(1.896, abs=1e-3)
    assert days_lost(np.array(0.75), np.array(3.0), np.array(6.0)) == pytest.approx(6.0, abs=2e-3)
    assert days_lost(np.array(0.0), np.array(3.0), np.array(6.0)) == 0.0


def test_rates_follow_a_lag_as_a_fit_at_another_lag_says():
    here, step = fitted(2.0), 0.05
    there = fitted(2.0 + step)
    moved = (there.point.border - here.point.border) / step
    slopes = by_beside(here.view)[LAG]
    # Weights and lines move along a little, which the slopes leave out.
    np.testing.assert_allclose(slopes[RATE], moved[RATE], atol=0.02)
    np.testing.assert_allclose(slopes[CEILING], moved[CEILING], atol=0.02)
    assert slopes[RATE].min() > 0.0


def test_gaps_that_are_all_alike_teach_next_to_nothing():
    """Half of the spread is left by what the species table knows of rates; gaps add nothing."""
    alike, unlike = fitted(2.0, per_d=0.1), fitted(2.0)
    [block] = unlike.problem.blocks
    nodes = block.chains.nodes
    grew = nodes.link == Link.GREW
    mixed = replace(nodes, lag_per_d=np.where(grew, 0.02 + 0.1 * (nodes.day % 20.0 > 9.0), 0.0))
    blocks = (replace(block, chains=replace(block.chains, nodes=mixed)),)
    unlike = solve(replace(unlike.problem, blocks=blocks), tolerance=1e-6)
    form = np.full(7, STEM)
    lags = Lags(np.full(len(FORMS), 2.0), 1e-12 * np.eye(len(FORMS)))
    fits = (beside_told(fit.view, form, lags, prior_settling())[0] for fit in (alike, unlike))
    spread = [fit.spread_d[STEM] for fit in fits]
    prior = prior_lags().spread_d[STEM]
    assert spread[1] < spread[0] <= prior
    assert spread[0] > 0.5 * prior


@pytest.mark.parametrize("others_cut", [False, True])
def test_only_a_visit_that_cut_others_may_have_cut_what_has_no_row(tmp_path, others_cut):
    """Two bushes read on different days; a span bears a lag only where the other one was cut."""
    log = HEADER + "".join(
        f"2026-0{month}-01,lobby,stems,1{month},,,,,,\n"
        f"2026-0{month}-15,lobby,carpet,4,{'2' if others_cut else ''},,,,,\n"
        for month in (2, 3, 4)
    )
    fit = fit_growth(make_book(tmp_path / "book", trims=log), TODAY)
    [block] = fit.solution.problem.blocks
    nodes = block.chains.nodes
    stems = int(np.flatnonzero(fit.design.area_id == "stems")[0])
    grew = (nodes.area == stems) & (nodes.link == Link.GREW)
    assert grew.sum() >= 2
    assert (nodes.lag_per_d[grew] > 0.0).all() == others_cut
    assert (nodes.lag_per_d[grew] == 0.0).all() != others_cut


@pytest.fixture(scope="module")
def beside_view():
    """A small problem where first spans are felt to settle and two areas come near ceilings."""
    problem = small_problem()
    [block] = problem.blocks
    nodes = block.chains.nodes
    first = np.where((nodes.link == Link.GREW) & (nodes.day <= 10.0), 0.4, 0.0)
    unlike = np.where(nodes.link == Link.GREW, 0.02 + 0.06 * (nodes.day % 20.0 > 9.0), 0.0)
    nodes = replace(nodes, by_settling=first, lag_per_d=unlike)
    near = np.isin(np.arange(problem.area_count), [0, 2])
    problem = replace(
        problem,
        blocks=(replace(block, chains=replace(block.chains, nodes=nodes)),),
        pooling=replace(problem.pooling, near_ceiling=near),
    )
    return view_of(problem, starting_point(problem))


def test_stages_move_with_lags_and_settling_as_difference_quotients_say(beside_view):
    """A lag that takes all but a tenth of a span takes no more of it."""
    problem, point, step = beside_view.problem, beside_view.point, 1e-5
    [block] = problem.blocks
    nodes = block.chains.nodes
    lag_d = problem.lag_d.copy()
    lag_d[0] = 200.0
    problem = replace(problem, lag_d=lag_d)
    found = _moved(nodes, linearise(problem, block, point.stages[0], point.border), lag_d)

    def offset(by, settled):
        other = replace(problem, lag_d=lag_d + (0.0 if settled else by))
        grown = nodes.growth_d * np.exp(-nodes.by_settling * (by if settled else 0.0))
        chains = replace(block.chains, nodes=replace(nodes, growth_d=grown))
        at = linearise(other, replace(block, chains=chains), point.stages[0], point.border)
        return at.offset

    for kind, moved in enumerate(found):
        quotient = (offset(step, kind) - offset(-step, kind)) / (2.0 * step)
        grew = nodes.link == Link.GREW
        assert moved[grew] == pytest.approx(quotient[grew], abs=1e-8)
        assert (moved[~grew] == 0.0).all()
    assert (found[0][(nodes.area == 0) & (nodes.link == Link.GREW)] == 0.0).all()


def test_chains_along_lags_and_settling_tell_what_the_filter_says_of_other_stages(beside_view):
    """Derivatives of the likelihood of the straightened chains, and Fisher's of their scatter."""
    problem = beside_view.problem
    [block], [forward] = problem.blocks, beside_view.kept
    at = forward.at
    chains, nodes, count = block.chains, block.chains.nodes, problem.area_count
    found, moved, scatter = _along(beside_view), _moved(nodes, at, problem.lag_d), forward.scatter

    def told(one, other):
        there = kalman_filter(
            chains, replace(at, offset=at.offset + one * moved[0] + other * moved[1])
        )
        squares = -0.5 * there.innovation_precision * there.innovation_cm**2
        score = np.zeros((BORDER, count))
        score[:, chains.area] = forward.score(there.innovation_cm)
        return np.bincount(nodes.area, squares, count), score

    level = {key: told(*key) for key in ((0, 0), (1, 0), (-1, 0), (0, 1), (0, -1), (1, 1))}
    none = level[0, 0][0]
    score = [0.5 * (level[1, 0][0] - level[-1, 0][0]), 0.5 * (level[0, 1][0] - level[0, -1][0])]
    information = np.empty((2, 2, count))
    information[0, 0] = 2.0 * none - level[1, 0][0] - level[-1, 0][0]
    information[1, 1] = 2.0 * none - level[0, 1][0] - level[0, -1][0]
    both = level[1, 0][0] + level[0, 1][0] - level[1, 1][0] - none
    information[0, 1] = information[1, 0] = both
    across = np.stack([level[key][1] - level[0, 0][1] for key in ((1, 0), (0, 1))])
    assert scatter.place.size > 3
    for n, surprise in enumerate(scatter.surprise):
        node, follows = scatter.place[n], scatter.follows[:, n]
        a = nodes.area[node]
        share = nodes.lag_per_d[node]  # of the growth of its span, per day of lag
        log_growth = [-share / (1.0 - share * problem.lag_d[a]), -nodes.by_settling[node]]
        for kind in (LAG, SETTLING):
            changed = log_growth[kind] * follows[RATE]
            score[kind][a] += 0.5 * surprise * changed
            across[kind][:, a] -= 0.5 * changed * follows
            for other in (LAG, SETTLING):
                twice = changed * log_growth[other] * follows[RATE]
                information[kind, other, a] += 0.5 * twice
    assert found.score == pytest.approx(np.stack(score), abs=1e-9)
    assert found.information == pytest.approx(information, abs=1e-8)
    assert found.border_score == pytest.approx(across, abs=1e-9)


def test_what_a_log_tells_of_forms_is_the_dense_normal_equations_of_all_unknowns(
    beside_view, monkeypatch
):
    """Borders, lags, factors of settling, and what all of the table's rates have in common."""
    form = np.array([0, 1, 0, 2, 1, 2, 2])
    size = len(FORMS)
    lags = Lags(np.linspace(0.5, 2.0, size), np.diag(np.full(size, 0.3)))
    settling = Settling(np.linspace(-0.2, 0.3, size), np.eye(size))
    along, point = _along(beside_view), beside_view.point.border
    mean, covariance, into = joint(beside_view)
    raised = joint(beside_view, raised=1.0)[0] - mean
    precision = np.linalg.inv(covariance)
    count = mean.size
    whole = np.zeros((count + 2 * size + 1,) * 2)
    right = np.zeros(len(whole))
    whole[:count, :count], right[:count] = precision, precision @ mean
    # The level raises all rates: what it does to the mean tells its cross term.
    whole[:count, -1] = whole[-1, :count] = -precision @ raised
    offset = np.array(
        [[*np.zeros(RATE), beside_view.problem.pooling.offset[a], *np.zeros(5)] for a in range(7)]
    )
    for a in range(7):
        rate = beside_view.information[a]
        whole[-1, -1] += rate[RATE, RATE]
        here = rate @ (point[:, a] - offset[a]) + beside_view.score[:, a]
        right[-1] += here[RATE]
        for kind in (LAG, SETTLING):
            of = count + kind * size + form[a]
            cross = along.border_score[kind, :, a]
            whole[:count, of] -= into[a].T @ cross
            whole[-1, of] -= cross[RATE]
            right[of] += along.score[kind, a] + cross @ (offset[a] - point[:, a])
            for other in (LAG, SETTLING):
                whole[of, count + other * size + form[a]] += along.information[kind, other, a]
    whole[count:-1, :count] = whole[:count, count:-1].T
    whole[count:-1, -1] = whole[-1, count:-1]
    current = np.concatenate([lags.mean_d, settling.centre])
    right += whole[:, count:-1] @ current  # lags are told as departures from where they stand
    begun = slice(count, count + 2 * size)
    whole[-1, -1] += 0.5**-2.0
    whole[begun, begun][:size, :size] += np.linalg.inv(prior_lags().covariance)
    whole[begun, begun][size:, size:] += np.linalg.inv(prior_settling().covariance)
    exact = np.linalg.inv(whole)
    centre = (exact @ right)[begun]
    told_lags, told_settling = beside_told(beside_view, form, lags, settling)
    assert told_lags.covariance == pytest.approx(exact[begun, begun][:size, :size])
    assert told_settling.covariance == pytest.approx(exact[begun, begun][size:, size:])
    assert told_lags.centre_d == pytest.approx(centre[:size])
    assert told_settling.centre == pytest.approx(centre[size:])
    widest = np.abs(centre[size:]).max()
    assert 0.01 < widest < 1.5
    monkeypatch.setattr(beside, "LONGEST_LOG_FACTOR", 0.5 * widest)
    clipped = beside_told(beside_view, form, lags, settling)[1].centre
    assert clipped == pytest.approx(np.clip(centre[size:], -0.5 * widest, 0.5 * widest))


SETTLED = 0.4
"""How far the log of growth falls with the log of the days of settling, in the small problem."""


def settling(log_factor, learnt=True):
    """Return the small problem fitted at a log factor of settling, felt by spans from day 0."""
    problem = small_problem()
    [block] = problem.blocks
    nodes = block.chains.nodes
    first = np.where((nodes.link == Link.GREW) & (nodes.day <= 10.0), SETTLED, 0.0)
    grown = nodes.growth_d * np.exp(-first * log_factor)
    nodes = replace(nodes, growth_d=grown, by_settling=first if learnt else 0.0 * first)
    blocks = (replace(block, chains=replace(block.chains, nodes=nodes)),)
    return solve(replace(problem, blocks=blocks), tolerance=1e-6)


def test_rates_follow_settling_as_a_fit_at_another_factor_says():
    here, step = settling(0.0), 0.05
    moved = (settling(step).point.border - here.point.border) / step
    slopes = by_beside(here.view)[SETTLING]
    # Area 4 was read far below what was foreseen that day: there lines are too short.
    sound = np.arange(7) != 4
    np.testing.assert_allclose(slopes[RATE, sound], moved[RATE, sound], atol=0.02)
    assert slopes[RATE].min() > 0.0


def test_first_spans_teach_settling_and_without_them_it_stays_as_it_was():
    form, prior = np.full(7, STEM), prior_settling()
    lags = Lags(np.full(len(FORMS), 2.0), 1e-12 * np.eye(len(FORMS)))
    slow, fast = (
        beside_told(settling(at).view, form, lags, prior)[1].centre[STEM] for at in (-1.0, 1.0)
    )
    # Fitted as if plants settled faster (slower) than they do, the log says: slower (faster).
    assert slow > 0.3
    assert fast < slow - 0.3
    none = beside_told(settling(0.0, learnt=False).view, form, lags, prior)[1]
    np.testing.assert_array_equal(none.centre, 0.0)
    np.testing.assert_allclose(none.covariance, prior.covariance, atol=1e-12)


def test_a_factor_of_settling_moves_first_spans_as_a_book_built_with_it(tmp_path):
    areas = "area_id,tank_id,label,species_id,area_cm2,floor_cm,budget_cm,cut_cm,planted_on\n"
    areas += "stems,lobby,stems,rotala-rotundifolia,300,6,15,6,2026-02-01\n"
    log = HEADER + "".join(f"2026-02-{day:02d},lobby,stems,{day},,,,,,\n" for day in (5, 9, 20))
    book = make_book(tmp_path / "book", areas=areas, trims=log)
    plain = build_design(book, TODAY)
    slower = replace(plain.spreads, settling=Settling(np.full(len(FORMS), 0.5), np.eye(len(FORMS))))
    built, moved = build_design(book, TODAY, slower), with_spreads(plain, slower)
    np.testing.assert_allclose(moved.clock.settle_d, built.clock.settle_d)
    [there], [here] = built.problem.blocks, moved.problem.blocks
    for name in ("growth_d", "by_settling"):
        wanted = getattr(there.chains.nodes, name)
        np.testing.assert_allclose(getattr(here.chains.nodes, name), wanted)
        assert (wanted != getattr(plain.problem.blocks[0].chains.nodes, name)).any()
