"""Learning from tanks like it: when nothing is learnt, and what is learnt where there is a lot."""

from __future__ import annotations

import subprocess
import sys
from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import norm

from growthcast.fit import borrowing as learning
from growthcast.fit.borrowing import (
    CONDITIONS,
    Borrowed,
    borrow,
    conditions_lived,
    is_clear_win,
    learn_conditions,
    tank_evidence,
    with_borrowed,
)
from growthcast.fit.model.clock import TankConditions
from growthcast.fit.solver.solve import solve
from tests.unit.fit.small_problem import ON_DAY, small_problem

SPREAD = 0.3


def tanks(count=30, new=6, slope=0.5, rest=0.1, seed=4, columns=3):
    """Return conditions, effects, errors and who has a log; the first condition matters."""
    rng = np.random.default_rng(seed)
    conditions = rng.normal(size=(count + new, columns))
    error = rng.uniform(0.05, 0.15, size=count + new)
    true = slope * conditions[:, 0] + rest * rng.normal(size=count + new)
    seen = true + error * rng.normal(size=count + new)
    logged = np.arange(count + new) < count
    return conditions, np.where(logged, seen, np.nan), error, logged, true


def learn(conditions, effect, error, logged, spread=SPREAD):
    return learn_conditions(conditions, effect, error, logged, np.full(effect.size, spread))


def test_seven_tanks_teach_nothing_and_cost_no_import():
    code = (
        "import sys, numpy as np\n"
        "from growthcast.fit.borrowing import learn_conditions\n"
        "x = np.arange(7.0)\n"
        "got = learn_conditions(x[:, None], x, 0.1 + 0 * x, x > -1, 0.3 + 0 * x)\n"
        "assert got.model == 'none' and got.tanks == 7 and got.log_score == {}\n"
        "assert 'sklearn' not in sys.modules"
    )
    subprocess.run([sys.executable, "-c", code], check=True)


def test_a_strong_slope_is_learnt_and_carried_to_tanks_without_a_log():
    conditions, effect, error, logged, true = tanks()
    got = learn(conditions, effect, error, logged)
    assert got.model != "none"
    assert got.tanks == 30
    new = ~logged
    assert np.abs(got.mean[new] - true[new]).max() < 0.4
    assert np.sqrt(np.mean((got.mean - true)[new] ** 2)) < 0.5 * np.sqrt(np.mean(true[new] ** 2))
    assert np.all(got.sd[new] < SPREAD)
    assert got.log_score[got.model] > got.log_score["none"]


def test_the_prior_is_scored_by_its_own_doubt_and_the_errors():
    """Effects around 0, as far off as prior and errors say: no constant foretells them better."""
    half, error = np.linspace(-1.0, 1.0, 30), np.full(30, 0.1)
    both = np.hypot(SPREAD, 0.1)
    effect = half * both / half.std()
    got = learn(half[:, None], effect, error, np.full(30, True))
    wanted = norm.logpdf(effect, 0.0, both).mean()  # the entropy of a normal, for this spread
    assert wanted == pytest.approx(-0.5 * (1.0 + np.log(2 * np.pi * both**2)))
    assert got.log_score["none"] == pytest.approx(wanted)


def test_without_anything_to_learn_the_prior_comes_back_as_it_was():
    conditions, effect, error, logged, _ = tanks(slope=0.0, rest=SPREAD)
    got = learn(conditions, effect, error, logged)
    assert got.model == "none"
    assert np.all(got.mean == 0.0)
    assert np.all(got.sd == SPREAD)
    assert got.log_score.get("ridge", 0.0) <= got.log_score.get("none", 0.0)


def test_slopes_that_explain_nothing_are_not_tried():
    """Two halves with opposite slopes: least squares explains nothing, nothing is imported."""
    half, error = np.linspace(-1.0, 1.0, 10), np.full(20, 0.1)
    effect = np.concatenate([half, -half])
    conditions = np.concatenate([half, half])[:, None]
    assert learn(conditions, effect, error, np.full(20, True)).log_score == {}


def test_what_slopes_explain_is_weighed_by_prior_and_error():
    """Four effects of 1 either way, off by 0.6 and 0.8 (together 1): 4 / 2 = 2 nats."""
    effect, one = np.array([-1.0, 1.0, -1.0, 1.0]), np.ones(4)
    columns = np.column_stack([one, effect])
    assert learning._explained(columns, np.stack([effect, 0.6 * one, 0.8 * one])) == pytest.approx(
        2.0
    )


def test_a_spread_that_is_merely_too_wide_is_no_win_of_the_conditions():
    conditions, effect, error, logged, _ = tanks(slope=0.0, rest=0.05)
    assert learn(conditions, effect, error, logged, spread=0.6).model == "none"


def test_a_tank_with_a_log_is_told_what_the_others_say():
    conditions, effect, error, logged, _ = tanks()
    once = learn(conditions, effect, error, logged)
    without = logged.copy()
    without[3] = False
    again = learn(conditions, effect, error, without)
    # Left out exactly, but for the conditions' standardisation, which sees one tank less.
    assert once.model == again.model
    assert once.mean[3] == pytest.approx(again.mean[3], abs=0.02)
    assert once.sd[3] == pytest.approx(again.sd[3], rel=0.1)
    assert once.mean[3] != effect[3]


def test_slopes_are_those_of_generalised_least_squares_where_the_prior_is_weak():
    """Weighted normal equations solved by hand; with many tanks the ridge hardly shrinks."""
    conditions, effect, error, logged, _ = tanks(count=90, new=1, columns=1, slope=0.5)
    got = learn(conditions, effect, error, logged)
    seen = (conditions[logged] - conditions[logged].mean()) / conditions[logged].std()
    columns, weight = np.column_stack([np.ones(90), seen]), 1.0 / (SPREAD**2 + error[logged] ** 2)
    normal = columns.T @ (weight[:, None] * columns)
    slopes = np.linalg.solve(normal, columns.T @ (weight * effect[logged]))
    new = (conditions[-1, 0] - conditions[logged].mean()) / conditions[logged].std()
    assert got.mean[-1] == pytest.approx(slopes @ [1.0, new], abs=0.02)


def test_conditions_mostly_unknown_or_all_alike_are_dropped():
    conditions, effect, error, logged, _ = tanks()
    rng = np.random.default_rng(1)
    mostly_blank = np.where(rng.random(effect.size) < 0.5, np.nan, conditions[:, 0])
    more = np.column_stack([conditions, mostly_blank, np.full(effect.size, 25.0)])
    got, plain = (learn(x, effect, error, logged) for x in (more, conditions))
    assert np.array_equal(got.mean, plain.mean)
    assert learn(more[:, 4:], effect, error, logged).model == "none"
    assert learn(np.full_like(conditions, np.nan), effect, error, logged).model == "none"


def test_a_tank_of_which_nothing_is_known_keeps_its_prior():
    conditions, effect, error, logged, _ = tanks()
    conditions[-1] = np.nan
    prior = np.full(effect.size, SPREAD)
    prior[-1] = 0.5
    got = learn_conditions(conditions, effect, error, logged, prior)
    assert got.model != "none"
    assert got.mean[-1] == 0.0
    assert got.sd[-1] == 0.5


def test_conditions_outside_what_was_seen_count_as_the_nearest_seen():
    conditions, effect, error, logged, _ = tanks()
    conditions[-2:] = 0.0
    conditions[-2:, 0] = [conditions[logged, 0].max(), 50.0]
    got = learn(conditions, effect, error, logged)
    assert got.mean[-1] == pytest.approx(got.mean[-2], abs=1e-9)


def test_the_order_of_tanks_and_the_units_of_conditions_do_not_matter():
    conditions, effect, error, logged, _ = tanks()
    shuffled = np.random.default_rng(0).permutation(effect.size)
    one = learn(conditions, effect, error, logged)
    scaled = conditions * np.array([7.0, 1.0, 0.1]) + 3.0
    other = learn(scaled[shuffled], effect[shuffled], error[shuffled], logged[shuffled])
    assert other.mean == pytest.approx(one.mean[shuffled], abs=1e-8)
    assert other.sd == pytest.approx(one.sd[shuffled], abs=1e-8)


def test_of_many_tanks_the_best_known_are_learnt_from(monkeypatch):
    monkeypatch.setattr(learning, "MOST_TANKS", 25)
    conditions, effect, error, logged, true = tanks(count=60)
    effect[:30], error[:30] = 50.0, 5.0
    got = learn(conditions, effect, error, logged)
    assert got.model != "none"
    assert got.tanks == 60
    assert np.abs(got.mean[~logged] - true[~logged]).max() < 0.5


def test_a_win_must_be_large_and_not_due_to_one_tank():
    assert is_clear_win(np.full(20, 0.2))
    assert not is_clear_win(np.full(20, 0.12))  # 2.4 nats in all
    assert not is_clear_win(np.r_[6.0, np.full(19, -0.1)])  # one lucky tank
    assert not is_clear_win(np.full(20, -1.0))


def test_the_prior_is_taken_out_of_a_tanks_posterior():
    """Prior N(0, 0.09), a reading of 0.4 with variance 0.03: posterior 0.3, variance 0.0225."""
    pooled = replace(
        solve(small_problem()).view.pooled,
        species=np.zeros(3),
        species_covariance=np.zeros((3, 3)),
        tank=np.array([[0.3], [0.0], [0.1]]),
        tank_covariance=np.array([0.0225, 0.16, 0.0225]).reshape(3, 1, 1),
        tank_by_species=np.zeros((7, 1)),
    )
    effect, effect_sd, informative = tank_evidence(pooled)
    assert effect[0] == pytest.approx(0.4)
    assert effect_sd[0] ** 2 == pytest.approx(0.03)
    assert informative.tolist() == [True, False, True]
    assert np.isinf(effect_sd[1])


def small_conditions():
    """Three tanks: one whose lamp changed on day 10, one without rows, one without light."""
    blank = np.full((3, 2), np.nan)
    names = ("ppfd_umol", "photoperiod_h", "co2_mg_l", "no3_mg_l", "po4_mg_l", "k_mg_l")
    values = {name: blank.copy() for name in (*names, "temperature_c")}
    values["ppfd_umol"][0] = [50.0, 100.0]
    values["photoperiod_h"][0] = 8.0
    values["co2_mg_l"][[0, 2]] = [[20.0, 20.0], [0.0, 0.0]]
    values["no3_mg_l"][0], values["po4_mg_l"][0] = 15.0, 0.5
    values["temperature_c"][0] = 24.0
    from_day = np.array([[-1e6, 10.0], [-1e6, np.inf], [-1e6, np.inf]])
    return TankConditions(from_day, values, np.zeros((3, 2), np.bool_))


def test_conditions_are_averaged_over_the_days_logged():
    problem = small_problem()
    lived = conditions_lived(
        problem,
        small_conditions(),
        np.array([40.0, 30.0, 20.0]),
        ON_DAY,
    )
    assert lived.shape == (3, len(CONDITIONS))
    # Every span is ten days long; the first one of each of tank 0's three areas had the old lamp.
    spans = sum(
        int(((b.chains.nodes.link == 2) & (problem.pooling.tank[b.chains.nodes.area] == 0)).sum())
        for b in problem.blocks
    )
    dim = 3 / spans
    light = np.log(8.0) + dim * np.log(50.0) + (1 - dim) * np.log(100.0)
    assert lived[0] == pytest.approx([light, np.log(20.0), np.log(0.5), 24.0, np.log(40.0)])
    assert np.isnan(lived[1, :4]).all()
    assert lived[2, 1] == pytest.approx(np.log(0.5))  # no CO2 at all counts as a trace
    assert lived[:, 4] == pytest.approx(np.log([40.0, 30.0, 20.0]))


def test_a_tank_without_a_log_is_compared_by_its_conditions_today():
    problem = small_problem()
    args = (small_conditions(), np.full(3, 40.0))
    then, now = (conditions_lived(replace(problem, blocks=()), *args, day) for day in (5.0, 15.0))
    assert then[0, 0] == pytest.approx(np.log(400.0))
    assert now[0, 0] == pytest.approx(np.log(800.0))


def test_a_book_of_three_tanks_borrows_nothing():
    solution = solve(small_problem())
    got = borrow(solution, small_conditions(), np.full(3, 40.0), ON_DAY)
    assert got.model == "none"
    assert got.sd == pytest.approx(1.0 / np.sqrt(solution.problem.pooling.tank_precision))


def test_what_is_borrowed_moves_the_prior_of_every_area_of_a_tank():
    problem = small_problem()
    mean, sd = np.array([0.2, -0.1, 0.0]), np.array([0.1, 0.2, 0.3])
    new = with_borrowed(problem, Borrowed(mean, sd, "ridge", 9, {})).pooling
    assert new.offset - problem.pooling.offset == pytest.approx(mean[new.tank])
    assert new.tank_precision == pytest.approx(1.0 / sd**2)
