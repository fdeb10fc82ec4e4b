"""A log with one doubled gap a tank tells what a cut costs; one with equal gaps leaves it open.

A smaller run of ``python -m tests.benchmarks.lag``, whose figures stand in docs/evidence.md, with
bounds that leave room for the error of so few tanks.
"""

from __future__ import annotations

from functools import reduce
from operator import add

import numpy as np
import pytest

from tests.benchmarks.lag import advised_practice

pytestmark = pytest.mark.slow

SEEDS = range(500, 506)
TANKS = 5


def advised(lag, doubled):
    """Advise some practices whose cuts cost so many days."""
    return reduce(add, (advised_practice(seed, lag, doubled, TANKS) for seed in SEEDS))


@pytest.fixture(scope="module")
def of_three_days():
    return {doubled: advised("3", doubled) for doubled in (False, True)}


@pytest.mark.parametrize(("doubled", "least"), [(False, 0.75), (True, 0.83)])
def test_a_promise_is_kept_where_every_cut_costs_three_days(of_three_days, doubled, least):
    found = of_three_days[doubled]
    assert len(found.kept) >= 20
    assert np.mean(found.promised) == pytest.approx(0.90, abs=0.01)
    assert np.mean(found.kept) > least


def test_advice_is_not_timid_where_a_cut_costs_nothing():
    found = advised("0", True)
    assert found.visits < 1.15 * found.oracle_visits
