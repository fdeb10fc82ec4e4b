"""What is known of a height before a look at it is heard, and of a cut before it is made."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from growthcast.fit.model.noise import look_log_chance
from growthcast.fit.rows.chains import Link
from growthcast.fit.rows.nodes import USUAL_CUT_SHARE, _usual_shares
from growthcast.fit.sites.looks import sites_of_looks
from growthcast.fit.solver.problem import CEILING
from growthcast.fit.solver.solve import starting_point
from growthcast.fit.solver.view import view_of
from growthcast.growth.logistic import height_at_stage
from growthcast.log.visits import Look
from tests.unit.fit.small_problem import small_problem


def test_before_any_look_is_heard_it_is_what_the_filter_knows():
    """The border taken as known, a reading adds its precision and draws the mean to itself."""
    problem = small_problem()
    view = view_of(problem, starting_point(problem))
    _, known = sites_of_looks(view, 0, border_known=True)
    forward = view.forward(0)
    nodes = problem.blocks[0].chains.nodes
    silent = nodes.look == 0  # a look itself is left out
    assert silent.sum() == silent.size - 1
    assert known.variance[silent] == pytest.approx(forward.filtered.variance[silent])
    assert known.mean[silent] == pytest.approx(forward.filtered.mean[silent])
    read = np.isfinite(nodes.reading_cm)
    assert (known.variance[read] < forward.predicted_variance[read]).all()


def test_the_usual_cut_of_an_area_is_learnt_from_its_earlier_ones():
    """The mean of the shares told before, beside one of the usual size; unknown ones are none."""
    taken = np.array([0.5, 0.0, 0.3, 0.6, 0.2])
    visits = SimpleNamespace(
        removed_share=lambda _: taken, follows=np.array([False, True, True, False, True])
    )
    found = _usual_shares(visits, SimpleNamespace(budget_cm=None))
    one = USUAL_CUT_SHARE
    assert found == pytest.approx([one, (0.5 + one) / 2, (0.5 + one) / 2, one, (0.6 + one) / 2])


def test_a_look_is_no_sharper_than_an_eye():
    """Of a narrow layout a word would tell more than the 15 % that an eye is off by."""
    problem = small_problem()
    chains = problem.blocks[0].chains
    [seen] = np.flatnonzero(chains.nodes.look > 0)
    point = starting_point(problem)
    point.stages[0][seen] = 2.0
    everywhere = np.ones(chains.nodes.day.size)
    nodes = replace(chains.nodes, floor_cm=15.0 * everywhere, budget_cm=17.0 * everywhere)
    block = replace(problem.blocks[0], chains=replace(chains, nodes=nodes))
    view = view_of(replace(problem, blocks=(block,)), point)
    sites, _ = sites_of_looks(view, 0)
    standing = view.forward(0).at.height_cm[seen]
    assert sites.precision[seen] == pytest.approx((0.15 * standing) ** -2)


@pytest.mark.parametrize("budget", [11.0, 4.5])
def test_a_heard_look_is_the_normal_of_what_is_known_times_the_chance_of_the_word(budget):
    """Mean and variance by a sum over a fine grid of stages."""
    problem = small_problem()
    chains = problem.blocks[0].chains
    looks = np.where(chains.nodes.look > 0, int(Look.OVER), 0)
    nodes = replace(chains.nodes, look=looks, budget_cm=np.full(looks.size, budget))
    block = replace(problem.blocks[0], chains=replace(chains, nodes=nodes))
    view = view_of(replace(problem, blocks=(block,)), starting_point(problem))
    sites, heard = sites_of_looks(view, 0, border_known=True)
    forward = view.forward(0)
    at = forward.at
    [seen] = np.flatnonzero(looks)
    mean, sd = forward.filtered.mean[seen], forward.filtered.variance[seen] ** 0.5
    off = np.linspace(-8.0, 8.0, 4001)
    stages = view.point.stages[0][seen] + mean + sd * off
    area = nodes.area[seen]
    height = height_at_stage(stages, np.exp(view.point.border[CEILING, area]), problem.shape[area])
    bounds = nodes.floor_cm[[seen]], nodes.budget_cm[[seen]]
    weight = np.exp(look_log_chance(nodes.look[[seen]], height[None], *bounds)[0] - 0.5 * off**2)
    weight /= weight.sum()
    middle = weight @ off
    spread = weight @ (off - middle) ** 2
    assert abs(middle) > 1e-3
    assert (spread < 0.9) == (budget > 10.0)
    assert heard.mean[seen] - mean == pytest.approx(sd * middle, rel=0.02)
    assert heard.variance[seen] == pytest.approx(sd**2 * spread, rel=0.01)
    # As a height through the slope there: the precision that the word adds to that of the stage.
    added = (1.0 / spread - 1.0) / sd**2 / at.observation[seen] ** 2
    assert sites.precision[seen] == pytest.approx(added, rel=0.02)
    assert (np.delete(sites.precision, seen) == 0.0).all()
    assert (np.delete(sites.precision_mean, seen) == 0.0).all()


def test_beside_parameters_that_are_not_known_a_stage_is_known_less_well():
    problem = small_problem()
    view = view_of(problem, starting_point(problem))
    _, alone = sites_of_looks(view, 0)
    _, given = sites_of_looks(view, 0, border_known=True)
    grew = problem.blocks[0].chains.nodes.link == Link.GREW
    assert (alone.variance[grew] > given.variance[grew]).all()
    assert (alone.variance >= (1.0 - 1e-9) * given.variance).all()


def test_a_look_is_heard_without_what_was_said_of_it_before():
    """Other sites at the last nodes of two chains change neither; a reading beside stays heard."""
    problem = small_problem()
    block = problem.blocks[0]
    chains = block.chains
    look = chains.nodes.look.copy()
    last = chains.last[np.isin(chains.area, [0, 1])]
    ends = np.append(last, np.flatnonzero(look))
    look[last[0]] = int(Look.RIGHT)  # a look alone, and a reading
    reading = chains.nodes.reading_cm.copy()
    reading[last[0]] = np.nan
    nodes = replace(chains.nodes, look=look, reading_cm=reading)
    begun = replace(block, chains=replace(chains, nodes=nodes))
    precision = np.zeros(look.size)
    precision[last] = 0.7
    told = replace(begun.sites, precision=precision, precision_mean=9.0 * precision)
    point = starting_point(problem)
    found = []
    for sites in (begun.sites, told):
        view = view_of(replace(problem, blocks=(replace(begun, sites=sites),)), point)
        found.append(sites_of_looks(view, 0, border_known=True))
    (one, known), (other, again) = found
    assert one.precision[last[0]] > 0.0
    np.testing.assert_allclose(other.precision[ends], one.precision[ends], rtol=1e-10)
    np.testing.assert_allclose(other.precision_mean[ends], one.precision_mean[ends], rtol=1e-10)
    np.testing.assert_allclose(again.mean[last], known.mean[last], rtol=1e-10)
    np.testing.assert_allclose(again.variance[last], known.variance[last], rtol=1e-10)


@pytest.mark.parametrize(("trust", "heard"), [(1.0, False), (1e-4, True)])
def test_a_look_counts_beside_a_reading_only_where_that_was_set_aside(trust, heard):
    problem = small_problem()
    block = problem.blocks[0]
    nodes = block.chains.nodes
    both = np.flatnonzero((nodes.link == Link.GREW) & np.isfinite(nodes.reading_cm))[0]
    here = np.arange(nodes.look.size) == both
    nodes = replace(nodes, look=np.where(here, int(Look.OVER), 0))
    chains = replace(block.chains, nodes=nodes)
    block = replace(block, chains=chains, trust=np.where(here, trust, 1.0))
    sites, _ = sites_of_looks(
        view_of(replace(problem, blocks=(block,)), starting_point(problem)), 0
    )
    assert (sites.precision[both] > 0.0) == heard
    assert (np.delete(sites.precision, both) == 0.0).all()
