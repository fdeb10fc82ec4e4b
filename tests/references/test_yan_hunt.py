"""Growth against temperature.

Source: W. Yan and L. A. Hunt, Ann. Bot. 84 (1999) 607-614, beta function as printed (there with a
minimum of 0). The cardinal temperatures 8, 26.7 and 40.5 deg C are those of the duckweed model of
Klein et al. (2022); the values were worked out apart from this code, to four digits.
"""

import numpy as np
import pytest

from growthcast.growth.responses import temperature_response

ROWS = [
    (15.0, 0.6056, 0.4880),
    (20.0, 0.8494, 0.8143),
    (24.0, 0.9728, 0.9679),
    (26.7, 1.0, 1.0),
    (30.0, 0.9533, 0.9483),
    (35.0, 0.6729, 0.6556),
]


@pytest.mark.parametrize(("temperature_c", "from_zero", "from_eight"), ROWS)
def test_worked_values(temperature_c, from_zero, from_eight):
    def at(minimum_c):
        return temperature_response(temperature_c, minimum_c, 26.7, 40.5, 26.7)

    assert at(0.0) == pytest.approx(from_zero, abs=6e-5)
    assert at(8.0) == pytest.approx(from_eight, abs=6e-5)


def test_nothing_grows_at_and_outside_the_limits():
    temperature = np.array([-3.0, 0.0, 8.0, 40.5, 45.0])
    assert temperature_response(temperature, 8.0, 26.7, 40.5, 25.0).tolist() == [0.0] * 5


def test_scaled_to_the_reference():
    """At a reference of 20 the optimum is 1 / 0.8143 times as fast."""
    at_best = temperature_response(26.7, 8.0, 26.7, 40.5, 20.0)
    assert at_best == pytest.approx(1 / 0.8143, rel=1e-4)
