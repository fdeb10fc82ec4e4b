"""Equilibrium constants of carbonic acid in fresh water.

Source: L. N. Plummer and E. Busenberg, Geochim. Cosmochim. Acta 46 (1982) 1011-1040, as read;
pKw as in C. Neal, W. A. House and K. Down, Sci. Total Environ. 210-211 (1998) 173-185. The values
below were worked out from the equations apart from this code; tolerance is their last digit. The
second, independent source for pK1 is Harned and Davis 1943 (from memory), for pK2 Neal et al.
"""

import numpy as np
import pytest

from growthcast.growth.water import carbonate_constants

#      C   pK1     pK2
ROWS = [
    (5, 6.5163, 10.5544),
    (10, 6.4633, 10.4879),
    (15, 6.4188, 10.4284),
    (20, 6.3819, 10.3756),
    (24, 6.3573, 10.3377),
    (25, 6.3519, 10.3289),
    (28, 6.3369, 10.3036),
    (30, 6.3281, 10.2879),
]


@pytest.mark.parametrize(("temperature_c", "first", "second"), ROWS)
def test_worked_values(temperature_c, first, second):
    pk = carbonate_constants(temperature_c)
    assert pk.first == pytest.approx(first, abs=6e-5)
    assert pk.second == pytest.approx(second, abs=6e-5)


def test_values_at_25_degrees():
    """Textbook values at 25 deg C: 6.352, 10.329, 13.997."""
    rounded = [round(float(pk), 3) for pk in carbonate_constants(25.0)]
    assert rounded == [6.352, 10.329, 13.997]


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
