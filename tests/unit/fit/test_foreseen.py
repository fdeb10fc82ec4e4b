"""What a fit foresees of later readings, and why they may differ: covariances and leans."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from growthcast.book.files import demo_dir
from growthcast.book.read import read_book
from growthcast.fit.design import day_number
from growthcast.fit.foreseen import Doubts, Wander, doubts_of, weekly_drift
from growthcast.fit.growth import last_logged
from growthcast.fit.solver.problem import RATE
from growthcast.service.watch.readings import gather_evidence, origin_of
from tests.books import TODAY


@pytest.fixture(scope="module")
def demo():
    return read_book(demo_dir(), today=TODAY)


@pytest.fixture(scope="module")
def evidence(demo):
    on = day_number(last_logged(demo))
    return gather_evidence(demo, on, origin_of(demo, on))


def test_what_the_knots_leave_open_is_a_covariance():
    weight, remainder = weekly_drift(np.arange(100.0, 200.0, 7.0), 100.0)
    assert np.linalg.eigvalsh(remainder).min() > -1e-9
    assert 0.0 <= np.diag(remainder).min() < np.diag(remainder).max() < 1.0
    assert weight.shape == (remainder.shape[0], 5)


def test_growth_of_the_weeks_adds_up_to_the_effect_of_a_lasting_change(evidence):
    """A pace that differs in every week is a rate that differs, where a span lies in the watch."""
    ended = evidence.day > evidence.origin_day + 60.0
    whole, rate = evidence.grown_cm.sum(axis=1), evidence.lean_cm[:, RATE]
    assert whole[ended] == pytest.approx(rate[ended], rel=0.05, abs=0.2)


def test_no_later_row_changes_an_earlier_surprise(demo):
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
    whole, changed = (gather_evidence(book, on, origin) for book in (demo, poisoned))
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
