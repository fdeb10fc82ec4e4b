"""Equilibrium constants of carbonic acid in fresh water.

Source: L. N. Plummer and E. Busenberg, Geochim. Cosmochim. Acta 46 (1982) 1011-1040, as read;
pKw as in C. Neal, W. A. House and K. Down, Sci. Total Environ. 210-211 (1998) 173-185. The values
below were worked out from the equations apart from this code; tolerance is their last digit. The
second, independent source for pK1 is Harned and Davis 1943 (from memory), for pK2 Neal et al.
"""

import numpy as np
import pytest

from growthcast.growth.water import carbonate_constants, co2_in_air_equilibrium_mg_l

#      C   pKH     pK1     pK2      CO2 at 420 uatm, mg/L
ROWS = [
    (5, 1.1921, 6.5163, 10.5544, 1.188),
    (10, 1.2694, 6.4633, 10.4879, 0.994),
    (15, 1.3408, 6.4188, 10.4284, 0.843),
    (20, 1.4069, 6.3819, 10.3756, 0.724),
    (24, 1.4561, 6.3573, 10.3377, 0.647),
    (25, 1.4679, 6.3519, 10.3289, 0.629),
    (28, 1.5024, 6.3369, 10.3036, 0.581),
    (30, 1.5244, 6.3281, 10.2879, 0.553),
]


@pytest.mark.parametrize(("temperature_c", "henry", "first", "second", "in_air"), ROWS)
def test_worked_values(temperature_c, henry, first, second, in_air):
    pk = carbonate_constants(temperature_c)
    assert pk.henry == pytest.approx(henry, abs=6e-5)
    assert pk.first == pytest.approx(first, abs=6e-5)
    assert pk.second == pytest.approx(second, abs=6e-5)
    assert co2_in_air_equilibrium_mg_l(temperature_c) == pytest.approx(in_air, abs=6e-4)


def test_values_at_25_degrees():
    """Textbook values at 25 deg C: 1.468, 6.352, 10.329, 13.997."""
    rounded = [round(float(pk), 3) for pk in carbonate_constants(25.0)]
    assert rounded == [1.468, 6.352, 10.329, 13.997]


def test_agrees_with_older_equations():
    """pK1 of Harned and Davis within 0.002, pK2 as printed by Neal et al. within 0.01, 5-30 C."""
    celsius = np.linspace(5.0, 30.0, 26)
    kelvin = celsius + 273.15
    pk = carbonate_constants(celsius)
    np.testing.assert_allclose(
        pk.first, 3404.71 / kelvin + 0.032786 * kelvin - 14.8435, rtol=0, atol=0.0025
    )
    np.testing.assert_allclose(
        pk.second, 2902.39 / kelvin + 0.02379 * kelvin - 6.498, rtol=0, atol=0.01
    )
