"""Photosynthesis against light.

Source: A. D. Jassby and T. Platt, Limnol. Oceanogr. 21 (1976) 540-547: P/Pmax = tanh(I/Ik). Values
of tanh to the four digits of a table; half of the maximum lies at I/Ik = 0.5493. Extinction: at Kd
0.5 per metre 81.9 % of the light passes 0.4 m (Beer and Lambert, worked by hand).
"""

import pytest

from growthcast.growth.responses import light_gain_h, light_response
from growthcast.growth.water import beer_lambert


@pytest.mark.parametrize(
    ("light_over_k", "share"),
    [(0.5, 0.4621), (0.5493, 0.5000), (1, 0.7616), (2, 0.9640), (3, 0.9951)],
)
def test_share_of_the_maximum(light_over_k, share):
    gain = light_gain_h(70.0 * light_over_k, 1.0, 70.0, 0.0)
    assert gain == pytest.approx(share, abs=5e-5)
    brightest = light_response(70.0 * light_over_k, 8.0, 70.0, 0.0, 0.0, 1e6, 8.0)
    assert brightest == pytest.approx(share, abs=5e-5)


def test_respiration_runs_around_the_clock():
    """8 h at Ik less 24 h of 5 %: 8 x 0.7616 - 1.2 = 4.893."""
    assert light_gain_h(70.0, 8.0, 70.0, 0.05) == pytest.approx(4.893, abs=5e-4)


def test_light_below_40_cm_of_clear_water():
    assert beer_lambert(1.0, 40.0, 0.005) == pytest.approx(0.819, abs=5e-4)
