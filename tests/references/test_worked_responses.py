"""Responses against numbers worked out by hand, in whole fractions, not by the code's own formulas.

CO2: half-saturations of *Hydrilla*, *Ceratophyllum* and *Myriophyllum* of 75 to 170 umol/L, which
is 3.3 to 7.5 mg/L (T. K. Van, W. T. Haller and G. Bowes, Plant Physiology 58, 1976, 761-768),
beside what the same author says of growth: a tenth to a fifth of its most at about 1 mg/L,
saturated at about 30 (G. Bowes 1985, quoted second hand). Light under water: with an attenuation
of 0.5 per metre 81.9 % of the light is left at 0.4 m (worked out; attenuation of a clear lake 0.5
to 1 per metre, lecture notes, weak).
"""

from fractions import Fraction

import pytest

from growthcast.growth.responses import (
    canopy_light,
    co2_response,
    light_response,
    nutrient_response,
    temperature_response,
)


def test_co2_at_a_milligram_and_where_it_saturates():
    """Over a most that is reached without limit: divide by the response at very much CO2."""
    for half in (4.5, 7.0):
        low, high, most = (float(co2_response(c, half, 25.0)) for c in (1.0, 30.0, 1e9))
        assert 0.10 < low / most <= 0.20
        assert high / most >= 0.8


def test_co2_in_whole_fractions():
    """7 mg/L under a half-saturation of 3 is 7/10, the reference 17 is 17/20: 14/17."""
    assert float(co2_response(7.0, 3.0, 17.0)) == pytest.approx(float(Fraction(14, 17)), rel=1e-14)


def test_the_scarcest_nutrient_in_whole_fractions():
    """Potassium 2 under 6 is 1/4; at the reference 12 under 6 it is 2/3, the least of the three
    (nitrate 20 under 4 is 5/6, phosphate 3 under 1 is 3/4): 1/4 over 2/3 is 3/8."""
    response = nutrient_response(20, 3, 2, 4, 1, 6, 20, 3, 12)
    assert float(response) == pytest.approx(float(Fraction(3, 8)), rel=1e-14)


def test_another_nutrient_may_be_the_scarcest_at_the_reference():
    """Nitrate 1 under 4 is 1/5; at the reference phosphate 3 under 1, 3/4, is the least: 4/15."""
    response = nutrient_response(1, 3, 1000, 4, 1, 6, 20, 3, 1000)
    assert float(response) == pytest.approx(float(Fraction(4, 15)), rel=1e-14)


def test_light_in_whole_fractions_where_the_curve_is_flat():
    """Far beyond saturation tanh is 1: 10 h less 24 x 1/20 is 44/5 h, 8 h less it 34/5 h; a floor
    of 2/5 leaves 2/5 + 3/5 x 44/34."""
    response = light_response(1e6, 10.0, 50.0, 0.4, 0.05, 1e6, 8.0)
    expected = Fraction(2, 5) + Fraction(3, 5) * Fraction(44, 34)
    assert float(response) == pytest.approx(float(expected), rel=1e-12)


def test_light_near_the_ground_of_clear_water():
    """Higher up there is more: 0.4 m above a ground that 81.9 % reaches, all of it."""
    assert float(canopy_light(81.9, 1.0, 40.0, 0.005)) == pytest.approx(100.0, abs=0.05)


def test_half_of_the_warmth_below_the_best():
    """Growth ends at 10 and at 40 and is best at 25: at 17.5 and 32.5 three quarters of the best.

    The beta function with these three is a parabola, (T - 10)(40 - T)/225: 7.5 x 22.5 / 225.
    """
    for temperature in (17.5, 32.5):
        response = float(temperature_response(temperature, 10.0, 25.0, 40.0, 25.0))
        assert response == pytest.approx(0.75, rel=1e-12)
