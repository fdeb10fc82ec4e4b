"""What a fit foresees of later readings, and why they may differ: covariances and leans."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from growthcast.book.files import demo_dir
from growthcast.book.read import read_book
from growthcast.fit.design import day_number
from growthcast.fit.foreseen import (
    LEAD_BINS,
    Doubts,
    Evidence,
    Wander,
    _filtered_through,
    _first_stages,
    _of_block,
    _trust,
    doubts_of,
    weekly_drift,
)
from growthcast.fit.growth import last_logged
from growthcast.fit.model.noise import KNOT_WINDOWS_D, knot_precision
from growthcast.fit.rows.chains import Link
from growthcast.fit.solver.kalman import kalman_filter
from growthcast.fit.solver.problem import BORDER, CEILING, HABIT, KNOTS, RATE
from growthcast.fit.solver.solve import starting_point
from growthcast.fit.solver.view import view_of
from growthcast.growth.logistic import height_at_stage
from growthcast.service.watch.readings import gather_evidence, origin_of
from tests.books import TODAY
from tests.unit.fit.dense import joint
from tests.unit.fit.small_problem import small_problem
from tests.unit.fit.test_noise import shared


@pytest.fixture(scope="module")
def demo():
    return read_book(demo_dir(), today=TODAY)


@pytest.fixture(scope="module")
def evidence(demo):
    on = day_number(last_logged(demo))
    return gather_evidence(demo, on, origin_of(demo, on))


@pytest.fixture(scope="module")
def view():
    problem = small_problem()
    return view_of(problem, starting_point(problem))


def test_weeks_of_drift_regress_on_the_knots_as_normal_numbers_do():
    """Covariances of means of ``exp(-t / 30 d)``; a year later they know nothing of the knots."""
    begins = np.array([-40.0, -3.0, 4.0, 400.0])
    weight, remainder = weekly_drift(500.0 + begins, 500.0)
    weeks = [(begin, begin + 7.0) for begin in begins]
    windows = [(-ended, -began) for began, ended in KNOT_WINDOWS_D]
    across = np.array([[shared(week, window) for window in windows] for week in weeks])
    within = np.array([[shared(week, other) for other in weeks] for week in weeks])
    own = 2.0 * (7 / 30 - 1.0 + np.exp(-7 / 30)) / (7 / 30) ** 2
    np.fill_diagonal(within, own)
    apart = np.array([0, 2, 3])  # the others overlap windows, where the sums are less exact
    assert weight[apart] == pytest.approx((across @ knot_precision())[apart], abs=1e-3)
    assert weight[1] == pytest.approx(across[1] @ knot_precision(), abs=0.05)
    left = within - weight @ np.linalg.inv(knot_precision()) @ weight.T
    assert remainder == pytest.approx(left, abs=1e-4)
    assert np.abs(weight[3]).max() < 1e-5
    assert remainder[3] == pytest.approx([0.0, 0.0, 0.0, own], abs=1e-4)


def test_a_weeks_growth_is_how_far_predictions_move_with_its_pace(view):
    """Stages moved by a hundredth of what each span grows in a week, and filtered again.

    Spans are ten days long; that of one area is of two.
    """
    [block] = view.problem.blocks
    nodes = block.chains.nodes
    short = np.where((nodes.area == 2) & (nodes.link == Link.GREW), 2.0, nodes.span_d)
    chains = replace(block.chains, nodes=replace(nodes, span_d=short))
    problem = replace(view.problem, blocks=(replace(block, chains=chains),))
    view = view_of(problem, view.point)
    forward, nodes, bins = view.forward(0), chains.nodes, np.arange(-10.0, 60.0, 7.0)
    at = forward.at
    area, day, surprise, variance, lean, grown = _of_block(view, 0, bins).values()
    read = (forward.innovation_precision > 0.0) & np.isin(nodes.link, [2, *range(Link.CUT, 9)])
    assert int(Link.GREW) == 2
    assert (area.tolist(), day.tolist()) == (nodes.area[read].tolist(), nodes.day[read].tolist())
    assert surprise == pytest.approx(forward.innovation_cm[read])
    assert variance == pytest.approx(1.0 / forward.innovation_precision[read])
    assert lean == pytest.approx(-forward.innovation[1:, read].T)
    for week, begin in enumerate(bins):
        offset = at.offset.copy()
        for node in np.flatnonzero(nodes.link == Link.GREW):
            began, ended = nodes.day[node] - nodes.span_d[node], nodes.day[node]
            days = sum(begin <= d < begin + 7.0 for d in np.arange(began, ended))
            offset[node] += 0.01 * days / (ended - began) * at.own_inputs[RATE, node]
        there = kalman_filter(chains, replace(forward.at, offset=offset))
        moved = (forward.innovation_cm - there.innovation_cm)[read] / 0.01
        assert grown[:, week] == pytest.approx(moved, abs=1e-9)
    assert np.count_nonzero(grown) > read.sum()


def test_since_the_origin_drift_is_no_noise_of_spans_and_stages_have_settled(view):
    """Before it, it is; filtered again from where it ends, stages stay where they are."""
    problem, border = view.problem, view.point.border.copy()
    border[KNOTS:] = 0.0
    through = _filtered_through(SimpleNamespace(problem=problem), border, 20.0, frozenset())
    [block], [forward] = through.problem.blocks, through.kept
    old, day = problem.blocks[0].drift.remainder, block.chains.nodes.day
    assert block.drift.remainder.tolist() == np.where(day >= 20.0, 0.0, old).tolist()
    assert (old[day >= 20.0] > 0.0).any()
    assert np.abs(forward.filtered.mean).max() < 0.02
    assert through.point.border is border
    nodes = block.chains.nodes
    guessed = nodes.area == 6  # no reading: it stands where it is guessed to
    stood = height_at_stage(through.point.stages[0][guessed], np.full(1, 20.0), np.full(1, 1.4))
    assert stood == pytest.approx(6.0, rel=0.2)
    assert np.exp(border[HABIT, 6]) == pytest.approx(4.0)


def test_stages_begin_at_readings_or_usual_cuts_within_the_curve(view):
    """On a logistic curve of 20 cm the stage of h is ln(h / (20 - h)); from 0.2 to 19 cm."""
    [block] = view.problem.blocks
    nodes, read = block.chains.nodes, np.flatnonzero(block.chains.read)
    reading = nodes.reading_cm.copy()
    reading[read[:2]] = 0.05, 30.0
    chains = replace(block.chains, nodes=replace(nodes, reading_cm=reading))
    border = np.zeros((BORDER, 7))
    border[HABIT], border[CEILING] = np.log(4.0), np.log(20.0)
    begun = _first_stages(replace(block, chains=chains), border)
    height = np.where(np.isfinite(reading), reading, 4.0)
    height[read[:2]] = 0.2, 19.0
    assert begun == pytest.approx(np.log(height / (20.0 - height)))


def test_a_reading_that_is_doubted_keeps_a_thousandth_of_its_weight(view):
    [block] = view.problem.blocks
    nodes = block.chains.nodes
    trust = _trust(block, frozenset({(0, 10.0), (2, 20.0), (5, 11.0)}))
    doubted = (nodes.link == Link.GREW) & (
        ((nodes.area == 0) & (nodes.day == 10.0)) | ((nodes.area == 2) & (nodes.day == 20.0))
    )
    assert doubted.sum() == 2
    assert trust.tolist() == np.where(doubted, 1e-3, 1.0).tolist()
    assert (_trust(block, frozenset()) == 1.0).all()


def test_doubts_are_sums_over_the_dense_normal_equations(view):
    """Reading by reading, and week by week: what both lean on, and what both grew."""
    rng, areas = np.random.default_rng(3), np.array([2, 0, 0, 1])
    bins, on_day, n = 470.0 + 7.0 * np.arange(6), 500.0, areas.size
    evidence = Evidence(
        usual=SimpleNamespace(
            solution=SimpleNamespace(view=view),
            design=SimpleNamespace(on_day=on_day, spreads=SimpleNamespace(drift=0.15)),
        ),
        origin_day=500.0,
        bin_day=bins,
        area=areas,
        tank=np.zeros(n, dtype=np.int64),
        day=np.arange(500.0, 504.0),
        surprise_cm=rng.normal(size=n),
        variance_cm2=rng.uniform(0.5, 1.5, n),
        lean_cm=rng.normal(size=(n, BORDER)),
        grown_cm=rng.normal(size=(n, 6)),
    )
    found = doubts_of(evidence, 0)
    _, covariance, into = joint(view)
    weight, remainder = weekly_drift(bins, on_day)
    still = evidence.lean_cm.copy()
    still[:, KNOTS:] = 0.0
    knots = np.hstack([np.zeros((n, KNOTS)), evidence.grown_cm @ weight])
    memory = np.exp(-np.abs(np.subtract.outer(bins, bins)) / 60.0)
    for i in range(n):
        for j in range(n):
            between = into[areas[i]] @ covariance @ into[areas[j]].T
            own = evidence.variance_cm2[i] if i == j else 0.0
            assert found.noise[i, j] == pytest.approx(still[i] @ between @ still[j] + own)
            once = still[i] @ between @ knots[j] + knots[i] @ between @ still[j]
            assert found.with_knots[i, j] == pytest.approx(once)
            assert found.by_knots[i, j] == pytest.approx(knots[i] @ between @ knots[j])
            grown = evidence.grown_cm[i], evidence.grown_cm[j]
            assert found.by_tank[i, j] == pytest.approx(grown[0] @ remainder @ grown[1])
            alone = grown[0] @ memory @ grown[1] if areas[i] == areas[j] else 0.0
            assert found.by_area[i, j] == pytest.approx(alone)
    assert found.mean_cm == pytest.approx(knots[:, KNOTS:] @ view.point.border[KNOTS:, 0])
    assert (found.surprise_cm == evidence.surprise_cm).all()
    assert found.drift == 0.15


def test_readings_come_tank_by_tank_and_day_by_day_in_weeks_from_the_origin_on(evidence):
    order = np.lexsort((evidence.area, evidence.day, evidence.tank))
    assert (order == np.arange(order.size)).all()
    assert evidence.day.min() >= evidence.origin_day
    assert evidence.bin_day[LEAD_BINS] == evidence.origin_day
    assert (np.diff(evidence.bin_day) == 7.0).all()
    assert evidence.bin_day[-2] < evidence.day.max() < evidence.bin_day[-1] + 7.0
    some = evidence.of(np.array([3, 1]))
    assert (some.area.tolist(), some.day.tolist()) == (
        evidence.area[[3, 1]].tolist(),
        evidence.day[[3, 1]].tolist(),
    )
    assert some.lean_cm.shape == (2, BORDER)


def test_growth_of_the_weeks_adds_up_to_the_effect_of_a_lasting_change(evidence):
    """A pace that differs in every week is a rate that differs, where a span lies in the watch."""
    ended = evidence.day > evidence.origin_day + 60.0
    whole, rate = evidence.grown_cm.sum(axis=1), evidence.lean_cm[:, RATE]
    assert whole[ended] == pytest.approx(rate[ended], rel=0.05, abs=0.2)


def test_no_later_row_changes_an_earlier_surprise(demo, evidence):
    on = day_number(last_logged(demo))
    origin = origin_of(demo, on)
    middle = on - 40.0
    dates = demo.trims.date("date").astype("datetime64[D]").astype(int)
    later = dates > middle
    before = demo.trims.number("before_cm").copy()
    before[later] *= 3.0
    poisoned = replace(
        demo, trims=replace(demo.trims, columns={**demo.trims.columns, "before_cm": before})
    )
    whole, changed = evidence, gather_evidence(poisoned, on, origin)
    early = whole.day <= middle
    assert early.any()
    assert (~early).any()
    assert changed.surprise_cm[early] == pytest.approx(whole.surprise_cm[early])
    assert changed.surprise_cm[~early] != pytest.approx(whole.surprise_cm[~early])


def test_what_a_drift_known_at_the_origin_leads_to_expect_shrinks_with_the_wander(evidence):
    doubts = doubts_of(evidence.of(evidence.tank == 0), 0)
    whole, half = (doubts.under(Wander(share * doubts.drift, 0.1)) for share in (1.0, 0.5))
    assert np.abs(whole.mean_cm).max() > 0.05
    assert half.mean_cm == pytest.approx(0.5 * whole.mean_cm)
    assert (np.diag(half.covariance) < np.diag(whole.covariance)).all()


def test_doubts_add_up_by_how_far_paces_wander():
    """Half of the fit's drift: half of what goes with the knots, a quarter of what they square."""
    parts = (np.array([[value]]) for value in (4.0, 1.0, 2.0, 3.0, 5.0))
    doubts = Doubts(np.array([7.0]), np.array([6.0]), *parts, drift=0.2)
    found = doubts.under(Wander(tank=0.1, area=0.3))
    assert found.covariance[0, 0] == pytest.approx(4.0 + 0.5 * 1.0 + 0.25 * 2.0 + 0.03 + 0.45)
    assert (found.surprise_cm[0], found.mean_cm[0], found.noise[0, 0]) == (7.0, 3.0, 4.0)
