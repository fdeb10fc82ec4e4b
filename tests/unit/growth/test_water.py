"""Edges of the water chemistry."""

import numpy as np
import pytest

from growthcast.growth.water import (
    beer_lambert,
    co2_mg_l,
)


def test_co2_is_never_negative():
    """At pH 10 with little hardness the hydroxide exceeds the alkalinity."""
    assert co2_mg_l(10.0, [0.0, 0.1], 25.0).tolist() == [0.0, 0.0]


def test_salts_leave_more_hydroxide_to_take_off_the_alkalinity():
    """At pH 10 it is 10^(10 - 13.995) mol/L; divided by 0.902, what 0.314 degrees are instead of
    0.283 without salts (0.357 mmol/L a degree).
    """
    assert co2_mg_l(10.0, [0.28, 0.29], 25.0).astype(bool).tolist() == [False, True]
    assert co2_mg_l(10.0, [0.31, 0.32], 25.0, 0.01).astype(bool).tolist() == [False, True]


def test_co2_a_tenth_of_a_ph_apart():
    ratio = co2_mg_l(6.9, 4.0, 25.0) / co2_mg_l(7.0, 4.0, 25.0)
    assert ratio == pytest.approx(1.26, abs=0.005)


def test_trade_rule_reads_about_15_percent_low():
    rule = 3 * 4.0 * 10 ** (7 - 7.0)
    assert 1 - rule / co2_mg_l(7.0, 4.0, 25.0) == pytest.approx(0.15, abs=0.005)


def test_not_known_stays_not_known():
    nan = float("nan")
    assert np.isnan(co2_mg_l([nan, 7.0, 7.0], [4.0, nan, 4.0], [25.0, 25.0, nan])).all()


def test_soft_water_is_refused_only_below_zero():
    with pytest.raises(ValueError, match="kh_dkh must be 0 or more"):
        co2_mg_l(7.0, -1.0, 25.0)


def test_shapes_broadcast():
    assert co2_mg_l(np.full((2, 1), 7.0), np.ones(3), 25.0).shape == (2, 3)
    assert beer_lambert(np.ones((2, 1)), np.zeros(3), 0.005).tolist() == [[1.0] * 3] * 2


@pytest.mark.parametrize(
    ("strength_mol_l", "one_charge", "two_charges"), [(0.001, 0.965, 0.867), (0.01, 0.902, 0.662)]
)
def test_salts_lower_the_co2_that_a_ph_implies(
    strength_mol_l: float, one_charge: float, two_charges: float
) -> None:
    """Activity coefficients as printed by the Davies equation (from memory, to 0.5 %)."""
    at_zero = co2_mg_l(6.5, 4.0, 25.0)
    assert co2_mg_l(6.5, 4.0, 25.0, strength_mol_l) / at_zero == pytest.approx(one_charge, rel=5e-3)
    carbonate_rich = co2_mg_l(9.9, 8.0, 25.0, strength_mol_l) / co2_mg_l(9.9, 8.0, 25.0)
    share = 2 * 10 ** (9.9 - 10.329)
    expected = one_charge * (1 + share) / (1 + share * one_charge / two_charges)
    assert carbonate_rich == pytest.approx(expected, rel=0.02)
