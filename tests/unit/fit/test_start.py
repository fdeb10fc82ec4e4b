"""Where a fit starts: at what was read, else where growth leads to, else at the usual cut."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.special import logit

from growthcast.fit.rows.chains import Link
from growthcast.fit.solver.problem import CEILING, HABIT
from growthcast.fit.solver.solve import starting_point
from tests.unit.fit.small_problem import small_problem


def test_every_node_starts_at_its_reading_or_where_its_link_leads():
    """Of logistic areas, with rates, ceilings (20 cm) and usual cuts (4 cm) of the table."""
    problem = small_problem()
    point, [block] = starting_point(problem), problem.blocks
    nodes, [stage] = block.chains.nodes, point.stages
    assert point.border[CEILING] == pytest.approx(np.log(np.full(7, 20.0)))
    assert point.border[HABIT] == pytest.approx(np.log(np.full(7, 4.0)))
    logistic = problem.shape[nodes.area] == 1.0
    read = np.isfinite(nodes.reading_cm)
    np.testing.assert_allclose(
        stage[read & logistic], logit(nodes.reading_cm[read & logistic] / 20.0)
    )
    grew = np.flatnonzero((nodes.link == Link.GREW) & ~read & logistic)
    assert grew.size >= 4
    rate = np.exp(problem.pooling.offset[nodes.area[grew]])
    awake = 1.0 - nodes.lag_per_d[grew] * problem.lag_d[nodes.area[grew]]  # a lag takes its share
    led_to = stage[block.chains.previous[grew]] + rate * nodes.growth_d[grew] * awake
    np.testing.assert_allclose(stage[grew], led_to)
    cut = np.isin(nodes.link, (Link.AIMED, Link.CUT, Link.WEIGHED)) & ~read & logistic
    assert cut.any()
    np.testing.assert_allclose(stage[cut], logit(4.0 / 20.0))
