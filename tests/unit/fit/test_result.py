"""What a fit says of its areas, against sums and tables done by hand."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from growthcast.fit.beside import by_beside
from growthcast.fit.model.posterior import RANGE_80, mean_border, rate_on_day
from growthcast.fit.model.spreads import FORMS, Lags, Settling, Spreads
from growthcast.fit.result import GrowthFit
from growthcast.fit.rows.chains import Link
from growthcast.fit.solver.problem import RATE
from growthcast.fit.solver.solve import Solution, starting_point
from growthcast.fit.solver.view import view_of
from tests.unit.fit.small_posterior import one_area
from tests.unit.fit.small_problem import small_problem

FORM = np.array([0, 1, 2, 0, 1, 2, 2])


@pytest.fixture(scope="module")
def fit():
    """A small problem where it begins, with lags and settling of its forms, half as wide again."""
    problem = small_problem()
    [block] = problem.blocks
    nodes = block.chains.nodes
    first = np.where((nodes.link == Link.GREW) & (nodes.day <= 10.0), 0.4, 0.0)
    last = np.arange(first.size, dtype=float)
    nodes = replace(nodes, by_settling=first, pause_d=last, lag_share=0.01 * last)
    block = replace(block, chains=replace(block.chains, nodes=nodes))
    problem = replace(problem, blocks=(block,))
    view = view_of(problem, starting_point(problem))
    size = len(FORMS)
    spreads = Spreads(
        lags=Lags(np.linspace(1.0, 3.0, size), np.diag(np.linspace(0.2, 0.9, size))),
        settling=Settling(np.zeros(size), np.diag(np.linspace(0.1, 0.3, size))),
    )
    clock = SimpleNamespace(speed=lambda day: np.linspace(0.5, 1.5, 7) * (day == 50.0))
    design = SimpleNamespace(
        problem=problem,
        form=FORM,
        spreads=spreads,
        area_id=np.arange(7),
        clock=clock,
        on_day=50.0,
    )
    settled = Solution(view=view, steps=1, converged=np.ones(7, dtype=bool))
    return GrowthFit(design, settled, borrowed=None, widening=1.5)


def test_a_posterior_is_the_solvers_with_what_goes_with_lags_and_settling(fit):
    """Their slopes times their standard deviations, squared, beside it; all of it widened."""
    areas = np.array([4, 1])
    found, view = fit.posterior(areas), fit.solution.view
    spreads, slopes = fit.design.spreads, by_beside(view)
    sd = np.stack([spreads.lags.sd_d, spreads.settling.sd])
    own = view.pooled.covariance(areas)
    mean, mode = mean_border(view), view.point.border
    [block] = view.problem.blocks
    nodes, filtered = block.chains.nodes, view.known(0)
    for n, area in enumerate(areas):
        wanted = own[n].copy()
        for kind in (0, 1):
            one = sd[kind, FORM[area]] * slopes[kind, :, area]
            wanted += np.outer(one, one)
        assert found.covariance[n] == pytest.approx(1.5**2 * wanted)
        mine = np.flatnonzero(nodes.area == area)  # a cut comes after what was found that day
        node = max(mine, key=lambda i: (nodes.day[i], nodes.link[i] != Link.GREW))
        follows = filtered.sensitivity[:, node]
        stage = view.point.stages[0][node] + follows @ (mean - mode)[:, area]
        assert found.last_stage[n] == pytest.approx(stage)
        assert found.last_stage_variance[n] == pytest.approx(2.25 * filtered.variance[node])
        assert (found.last_day[n], found.last_pause_d[n]) == (nodes.day[node], node)
        assert found.last_lag_share[n] == pytest.approx(0.01 * node)
        assert found.stage_follows[:, n] == pytest.approx(follows)
        assert found.lag_d[n] == pytest.approx(spreads.lags.mean_d[FORM[area]])
        assert found.beside_sd[:, n] == pytest.approx(1.5 * sd[:, FORM[area]])
    assert found.mean.border == pytest.approx(mean[:, areas])
    assert found.by_beside == pytest.approx(slopes[:, :, areas])
    shared = fit.shared(areas, np.arange(3))
    assert shared.mean.border == pytest.approx(mean[:, areas])
    assert shared.ceiling_by.shape == (2, 2)


def test_rates_of_the_day_have_its_speed_its_drift_and_their_range(fit):
    """A log rate of ln 0.05 and a drift of 0.3, together off by root(0.04 + 0.09 + 0.04)."""
    pace, sd = rate_on_day(one_area())
    assert pace == pytest.approx([np.log(0.05) + 0.3], abs=0.02)
    assert sd == pytest.approx([np.sqrt(0.04 + 0.09 + 2 * 0.02)], abs=0.02)
    found = fit.rate_range(np.array([6]), one_area())
    assert found[0] == pytest.approx(1.5 * np.exp(pace[0] + RANGE_80 * sd[0]))
    assert RANGE_80[2] == pytest.approx(1.28155, abs=1e-5)


def test_spans_are_counted_from_the_day_they_began(fit):
    nodes = fit.design.problem.blocks[0].chains.nodes
    for day in (-np.inf, 10.0, 10.5):
        began = [
            sum(
                (nodes.area == area) & (nodes.link == Link.GREW) & (nodes.day - nodes.span_d >= day)
            )
            for area in range(7)
        ]
        assert fit.spans_since(day).tolist() == began
    assert fit.spans_since(10.0)[0] < fit.spans_since(0.0)[0]


def test_a_fit_keeps_what_it_has_worked_out_where_its_solution_stays(fit):
    mean, beside = fit.border_mean, fit.beside
    other = fit.but_for(widening=2.0)
    assert (other.widening, fit.widening) == (2.0, 1.5)
    assert other.border_mean is mean
    assert other.beside is beside


@pytest.mark.parametrize(
    ("said", "evidence", "reading", "why"),
    [
        ("rest", 50.0, "rest", "as [log] whole_tank_grams says"),
        (None, None, "all", "nothing in the log tells, so everything"),
        (None, -2.99, "all", "nothing in the log tells, so everything"),
        (None, 2.99, "all", "nothing in the log tells, so everything"),
        (None, -3.01, "rest", "the log makes it 20 times as likely"),
        (None, 3.01, "all", "the log makes it 20 times as likely"),
        (None, 6.9, "all", "the log makes it 992 times as likely"),
        (None, -7.0, "rest", "the log makes it more than 1000 times as likely"),
    ],
)
def test_how_whole_tanks_are_read_is_said_with_its_reason(fit, said, evidence, reading, why):
    """e^3.01 = 20.3, e^6.9 = 992; 3 nats are asked for."""
    told = fit.but_for(grams_said=said, evidence_for_everything=evidence)
    assert told.whole_tank_grams == (reading, why)


def test_a_forecast_rests_on_two_spans_of_its_own_else_on_the_tank_or_species_else_the_table(fit):
    design = SimpleNamespace(
        tank=np.array([0, 0, 1, 2, 3]),
        species=np.array([0, 1, 1, 0, 2]),
        spans=np.array([2, 0, 0, 0, 0]),
    )
    assert fit.but_for(design=design).basis == ["log", "tank", "table", "tank", "table"]
    one = SimpleNamespace(**{**vars(design), "spans": np.array([1, 0, 0, 0, 0])})
    assert fit.but_for(design=one).basis == ["tank", "tank", "table", "tank", "table"]


def test_a_weight_is_unused_where_no_area_of_it_counts(fit):
    """Of everything the measured count, too; of the rest only those that nobody tells of."""
    nodes = SimpleNamespace(link=np.array([Link.AIMED, Link.UNSAID, Link.AIMED]))
    members = SimpleNamespace(left=np.array([0, 1, 2]), bucket=np.array([0, 1, 2]))
    block = SimpleNamespace(chains=SimpleNamespace(nodes=nodes), members=members)
    weights = SimpleNamespace(
        grams=np.ones(4), everything=np.array([True, False, False, True]), row=np.arange(4)
    )
    design = SimpleNamespace(
        problem=SimpleNamespace(weights=weights), row_numbers=np.array([12, 15, 17, 19])
    )
    solution = SimpleNamespace(problem=SimpleNamespace(blocks=[block]))
    unused = fit.but_for(design=design, solution=solution).unused_weights
    assert [row.row for row in unused] == [17, 19]


def test_the_lowest_cut_is_the_tables_or_a_lower_one_that_the_log_shows(fit, monkeypatch):
    shown = np.array([3.0, np.inf, 9.0])
    monkeypatch.setattr("growthcast.fit.result.lowest_cuts_shown", lambda _: shown)
    traits = SimpleNamespace(lowest_cut_cm=np.array([5.0, 5.0, 5.0]))
    told = replace(fit, design=SimpleNamespace(traits=traits))
    assert told.lowest_cut_cm.tolist() == [3.0, 5.0, 5.0]


def test_the_mode_is_where_the_fit_stands(fit):
    assert fit.mode.log_rate is not None
    assert (fit.mode.log_rate == fit.solution.point.border[RATE]).all()
    assert fit.converged.all()
