"""Where a fit starts: at what was read, at the usual cut or a guess, and rates between them."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from growthcast.fit.rows.chains import Link
from growthcast.fit.solver.problem import CEILING, HABIT, RATE
from growthcast.fit.solver.solve import starting_point
from tests.unit.fit.small_problem import small_problem


def test_every_node_starts_at_its_reading_its_usual_cut_or_its_guess():
    """Of logistic areas, with ceilings (20 cm) and usual cuts (4 cm) of the table.

    What lies beyond a hundredth of the ceiling from either end of the curve starts there.
    """
    problem = small_problem()
    [block] = problem.blocks
    nodes = block.chains.nodes
    places = np.arange(nodes.area.size)
    read = np.where(places == 0, 0.1, nodes.reading_cm)  # next to the ground
    read = np.where(places == 1, 21.5, read)  # by 1.1 times so much the ceiling starts above it
    chains = replace(block.chains, nodes=replace(nodes, reading_cm=read))
    ceiling = np.where(np.arange(7) == 6, 0.5, 20.0)  # area 6 is not read
    pooling = replace(problem.pooling, log_ceiling=np.log(ceiling))
    block = replace(block, chains=chains)
    point = starting_point(replace(problem, blocks=(block,), pooling=pooling))
    ceiling[nodes.area[1]] = 1.1 * 21.5
    assert point.border[CEILING] == pytest.approx(np.log(ceiling))
    assert point.border[HABIT] == pytest.approx(np.log(np.full(7, 4.0)))
    cut = np.isin(nodes.link, (Link.AIMED, Link.CUT, Link.WEIGHED))
    begun = np.where(np.isfinite(read), read, np.where(cut, 4.0, nodes.guess_cm))
    assert {4.0, 6.0, 7.0} <= set(begun.tolist())
    begun = np.clip(begun / ceiling[nodes.area], 0.01, 0.99)
    m = problem.shape[nodes.area]
    np.testing.assert_allclose(point.stages[0], -np.log((begun**-m - 1.0) / m))


@pytest.mark.parametrize(("slower", "shown"), [(1.0, 1.0), (10.0, 5.0), (0.05, 0.2)])
def test_rates_start_where_readings_lead_beside_one_span_at_the_tables(slower, shown):
    """The growth from reading to reading over what was due, a fifth to five times of it."""
    problem = small_problem()
    nodes = problem.blocks[0].chains.nodes
    spans = replace(nodes, growth_d=nodes.growth_d / slower)
    chains = replace(problem.blocks[0].chains, nodes=spans)
    there = replace(problem, blocks=(replace(problem.blocks[0], chains=chains),))
    point = starting_point(there)
    found = point.border[RATE] - problem.pooling.offset
    for area in range(7):
        grown, due, count = 0.0, 0.0, 0
        for i in np.flatnonzero((nodes.area == area) & (nodes.link == Link.GREW)):
            before = chains.previous[i]
            if np.isfinite(nodes.reading_cm[[before, i]]).all():
                m = problem.shape[area]
                pace = np.exp(problem.pooling.offset[area]) * m / (2.0 * (1.0 - 2.0**-m))
                awake = 1.0 - nodes.lag_per_d[i] * problem.lag_d[area]
                grown += point.stages[0][i] - point.stages[0][before]
                due += pace * spans.growth_d[i] * awake
                count += 1
        ratio = min(max(grown / due, 0.2), 5.0) if count else 1.0
        assert found[area] == pytest.approx(np.log(ratio) * count / (1.0 + count))
        if count and shown != 1.0:
            assert ratio == shown
