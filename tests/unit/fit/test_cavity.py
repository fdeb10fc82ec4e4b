"""What is known of a height before a look at it is heard, and of a cut before it is made."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from growthcast.fit.rows.nodes import USUAL_CUT_SHARE, _usual_shares
from growthcast.fit.sites.looks import sites_of_looks
from growthcast.fit.solver.solve import starting_point
from growthcast.fit.solver.view import view_of
from tests.unit.fit.small_problem import small_problem


def test_before_any_look_is_heard_it_is_what_the_filter_knows():
    """The border taken as known, a reading adds its precision and draws the mean to itself."""
    problem = small_problem()
    view = view_of(problem, starting_point(problem))
    _, known = sites_of_looks(view, 0, border_known=True)
    _, forward = view.block(0)
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
    standing = view.block(0)[0].height_cm[seen]
    assert sites.precision[seen] == pytest.approx((0.15 * standing) ** -2)
