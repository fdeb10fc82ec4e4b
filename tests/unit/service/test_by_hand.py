"""Small sums of advice, worked out by hand: usual cuts, what a plan loses, the scan of changes."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest

from growthcast.service.doubts.typed import PastCuts
from growthcast.service.rounds.plan import steps_cost
from growthcast.service.visit.cuts import minutes_of_day
from growthcast.service.watch.readings import _log_likelihoods
from growthcast.service.watch.scan import Course, strongest

NONE = np.zeros(0)


def test_a_usual_cut_that_is_only_stated_scatters_by_15_per_cent():
    stated = PastCuts(NONE, 12.0)
    assert stated.range_cm == pytest.approx((12 - 1.28 * 1.8, 12, 12 + 1.28 * 1.8))
    assert stated.is_usual(12 + 1.5 * 1.8)
    assert not stated.is_usual(12 + 1.6 * 1.8)
    assert PastCuts(NONE, float("nan")).range_cm is None


def test_logged_cuts_scatter_as_they_did_beside_two_usual_ones():
    """8, 10 and 12 cm: squares of 8 cm2, and twice (15 % of 10 cm)^2, over five cuts."""
    logged = PastCuts(np.array([8.0, 10.0, 12.0]), 20.0)  # what was stated does not count
    scatter = np.sqrt((4 + 0 + 4 + 2 * 1.5**2) / 5)
    assert logged.range_cm == pytest.approx((10 - 1.28 * scatter, 10, 10 + 1.28 * scatter))
    assert logged.is_usual(10 - 1.49 * scatter)
    assert not logged.is_usual(10 - 1.51 * scatter)


def window(**changes):
    """A tank due on day 2 and every 4 days, for half an hour; 0.1 and 0.2 are lost a day over."""
    days = np.arange(7.0)
    known = {
        "interval_d": 4,
        "minutes": 30.0,
        "due_d": 2,
        "limit_d": 3,
        "longest_d": 5,
        "now": SimpleNamespace(lost=lambda: 0.1 * days),
        "after": SimpleNamespace(lost=lambda: 0.2 * days),
    }
    return SimpleNamespace(**known | changes)


def test_what_each_step_of_a_plan_loses():
    """Days 0, 2 and 4 of six; the last column is the end of the plan.

    Late, a day weighs 0.02 beside what is lost, and 1 beyond a limit of the tank's own. Early, an
    hour weighs 0.1 for the share of the rhythm given away: half an hour and half of it are 0.025.
    """
    offsets, inf = np.array([0, 2, 4]), np.inf
    cost = steps_cost(window(), np.ones(3, bool), offsets, 6)
    first = [0.025, 0.0, 0.2 + 0.04 + 1.0, 0.4 + 0.08 + 3.0]
    wanted = [
        first,
        [inf, 0.025, 0.0, 0.4 + 0.04 + 1.0],
        [inf, inf, 0.025, 0.0],
        [inf, inf, inf, 0.0],
    ]
    np.testing.assert_allclose(cost, wanted, atol=1e-12)
    free = steps_cost(window(limit_d=None, longest_d=None), np.ones(3, bool), offsets, 6)
    assert free[0].tolist() == pytest.approx([0.025, 0.0, 0.24, 0.48])
    assert free[1, 3] == pytest.approx(0.44)


def test_a_day_that_is_not_worked_cannot_be_stepped_to():
    cost = steps_cost(window(), np.array([True, False, True]), np.array([0, 2, 4]), 6)
    assert np.isinf(cost[:, 1]).all()
    assert np.isfinite(cost[0, [0, 2, 3]]).all()


def test_no_visit_comes_before_half_of_the_interval():
    """Two days after a visit are less than half of five, three are more."""
    cost = steps_cost(window(interval_d=5), np.ones(3, bool), np.array([0, 2, 3]), 6)
    assert np.isinf(cost[1, 1])
    assert np.isfinite(cost[1, 2])
    assert np.isinf(cost[2, :3]).all()  # nor on the same day, nor before it


def test_an_overdue_visit_is_late_from_the_first_day_on():
    cost = steps_cost(window(due_d=-3, limit_d=None), np.ones(3, bool), np.array([0, 2, 4]), 6)
    assert cost[0].tolist() == pytest.approx([0.0, 0.2 + 0.04, 0.4 + 0.08, 0.6 + 0.12])


def course(surprise, effect, suspects=1):
    """One reading at each of four visits, and a change that may have begun before all of them."""
    return Course(
        surprise=np.asarray(surprise, dtype=float),
        effect=np.full((suspects, 1, 4), effect),
        day=np.arange(4.0),
        open_week=np.ones((suspects, 1), dtype=bool),
    )


@pytest.mark.parametrize(
    ("each", "effect", "sign", "z"),
    [
        (0.2, 1.0, 1.0, 0.2 * np.sqrt([1, 2, 3, 4])),  # score n x 0.2 over the root of n
        (0.2, 1.0, -1.0, np.zeros(4)),
        (-0.2, 1.0, -1.0, 0.2 * np.sqrt([1, 2, 3, 4])),
        (0.14, 1.0, 1.0, np.zeros(4)),  # a change by less than 15 % is not worth a visit
        (0.3, 0.5, 1.0, [0, 0, 0, 0.6]),  # only four halves tell a change to within 1
        (0.07, 0.5, 1.0, np.zeros(4)),  # 14 % of the usual growth
    ],
)
def test_a_change_is_as_strong_as_its_readings_together(each, effect, sign, z):
    shared = course(np.full(4, each), effect)
    found = strongest(shared, shared.surprise[:, None], sign)
    assert found[0, :, 0] == pytest.approx(z)


def replaced(one, **changes):
    """Return a namespace with other values."""
    return SimpleNamespace(**vars(one) | changes)


def test_a_day_counts_the_longest_journey_to_a_place_once_and_none_where_none_is_made():
    """40 and 30 minutes at one place, 20 and 15 of them on the road; 25 minutes next door."""

    def sheet(tank, site, minutes, travel):
        return SimpleNamespace(
            tank_id=tank, client="A" if site else "", site=site, minutes=minutes, travel_min=travel
        )

    here = [sheet("one", "Hall", 40.0, 20.0), sheet("two", "Hall", 30.0, 15.0)]
    assert minutes_of_day(here) == 20.0 + 20.0 + 15.0
    assert minutes_of_day([*here, sheet("three", "", 25.0, 0.0)]) == 55.0 + 25.0
    nowhere = [replaced(one, site="") for one in here]  # a client without a site is one place
    assert minutes_of_day(nowhere) == 55.0
    strangers = [replaced(one, site="", client="") for one in here]
    assert minutes_of_day(strangers) == 40.0 + 30.0


def test_surprises_count_from_what_was_expected_and_at_most_three_deviations():
    """Deviations of 2 and 3 cm; 5 cm where 3 cm were expected is one, -12 cm counts as three."""
    known = SimpleNamespace(
        surprise_cm=np.array([5.0, -12.0]),
        mean_cm=np.array([3.0, 0.0]),
        covariance=np.diag([4.0, 9.0]),
    )
    told = -0.5 * (1.0 + 9.0) - np.log(2.0 * 3.0)
    assert _log_likelihoods([known, known]) == pytest.approx([told, told])
