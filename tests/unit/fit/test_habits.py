"""Where areas are usually cut to, what holds between rows, and a normal above a bound, by hand."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest
from scipy.special import ndtr

from growthcast.fit.model.clock import _carried
from growthcast.fit.rows.nodes import cutting_habits
from growthcast.fit.solver.problem import _above

NAN = np.nan


def habits(after_cm, area, cut_cm, held_cm=None, error_cm=0.0):
    """Habits of three areas with bands of 10 to 20 cm whose single cuts scatter by 15 %."""
    after_cm, area = np.array(after_cm), np.array(area, dtype=np.int64)
    visits = SimpleNamespace(after_cm=after_cm, area=area)
    held = SimpleNamespace(cut_cm=np.array(cut_cm)[area] if held_cm is None else np.array(held_cm))
    traits = SimpleNamespace(
        tank=np.zeros(3, dtype=np.int64),
        cut_cm=np.array(cut_cm),
        floor_cm=np.full(3, 10.0),
        budget_cm=np.full(3, 20.0),
    )
    return cutting_habits(visits, held, traits, 0.15, np.full(3, error_cm))


def test_a_usual_cut_is_the_logs_beside_two_of_the_stated_one():
    """Cuts to 8, 9 and 13 cm beside two to 12; without a word the log's, or 35 % of the band."""
    found = habits([8.0, 9.0, 13.0, NAN, 15.0], [0, 0, 0, 0, 1], [12.0, NAN, 0.0])
    assert np.exp(found.first_log_cm) == pytest.approx(
        [(8 + 9 + 13 + 2 * 12) / 5, (15 + 0.001 * 13.5) / 1.001, 13.5]
    )
    assert np.exp(found.log_cm) == pytest.approx([12.0, 13.5, 13.5])
    assert found.log_spread == pytest.approx([0.2, 0.5, 0.5])


def test_single_cuts_scatter_as_the_log_shows_beside_two_usual_ones_less_errors():
    """Around 10.8 cm by 2.8, 1.8 and 2.2; readings err by 1 cm, so that 3 cm2 of it are theirs."""
    mean = 10.8
    squares = 2.8**2 + 1.8**2 + 2.2**2
    for error, off in ((0.0, 0.0), (1.0, 3.0)):
        found = habits([8.0, 9.0, 13.0], [0, 0, 0], [12.0, NAN, NAN], error_cm=error)
        variance = (squares - off + 2.0 * (0.15 * mean) ** 2) / 5.0
        assert found.sd_cm[0] == pytest.approx(variance**0.5)
    few = habits([12.0] * 3, [0] * 3, [12.0, NAN, NAN], error_cm=5.0)
    assert few.sd_cm[0] == pytest.approx((2.0 * (0.15 * 12.0) ** 2 / 5.0) ** 0.5)
    alike = habits([12.0] * 400, [0] * 400, [12.0, NAN, NAN], error_cm=5.0)
    assert alike.sd_cm[0] == pytest.approx(0.03 * 12.0)  # no hand is steadier than that


def test_cuts_under_another_agreement_teach_nothing_and_the_lowest_habit_is_a_twentieth():
    """Two visits were to cut to 15 cm instead of 12; budgets of 20 cm allow for habits of 1 cm."""
    found = habits([15.0, 15.0, 12.0], [0, 0, 0], [12.0, NAN, NAN], held_cm=[15.0, 15.0, NAN])
    assert np.exp(found.first_log_cm[0]) == pytest.approx(12.0)
    low = habits([0.0] * 50, [0] * 50, [0.1, NAN, NAN])
    assert np.exp([low.first_log_cm[0], low.log_cm[0]]) == pytest.approx([1.0, 1.0])


def test_values_hold_until_the_next_and_the_first_one_before_it():
    grid = np.array([[NAN, 2.0, NAN, 4.0], [1.0, NAN, NAN, NAN], [NAN] * 4])
    filled = _carried(grid)
    assert filled[:2].tolist() == [[2.0, 2.0, 2.0, 4.0], [1.0] * 4]
    assert np.isnan(filled[2]).all()


@pytest.mark.parametrize(("bound", "error"), [(3.0, 0.5), (1.0, 0.2), (2.0, 2.0)])
def test_a_normal_above_a_bound_that_was_read_has_the_moments_of_a_sum(bound, error):
    """2 +- 1 above a reading; one in twenty is a mistake, after which nothing is known anew."""
    at = np.linspace(-8.0, 12.0, 20001)
    weight = np.exp(-0.5 * (at - 2.0) ** 2)
    weight /= weight.sum()
    above = ndtr((at - bound) / error)
    told = 0.95 * above @ weight / (0.95 * above @ weight + 0.05)
    given = above * weight / (above @ weight)
    mixed = told * given + (1.0 - told) * weight
    mean, variance = _above(*(np.array([v]) for v in (2.0, 1.0, bound, error)), 0.05)
    assert mean == pytest.approx([mixed @ at], rel=1e-4)
    assert variance == pytest.approx([mixed @ (at - mixed @ at) ** 2], rel=1e-3)
