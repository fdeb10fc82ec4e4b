"""The normal distribution against a general library.

Source: scipy.special (``ndtr``, ``ndtri``, ``log_ndtr``) and scipy.stats, too slow to import
for commands that answer at once.
"""

from __future__ import annotations

import subprocess
import sys

import numpy as np
import pytest
from scipy.special import log_ndtr, ndtr, ndtri
from scipy.stats import norm

from growthcast.growth.normal import (
    log_normal_cdf,
    normal_cdf,
    normal_mean_distance,
    normal_quantile,
)

ANYWHERE = np.concatenate([[-np.inf, np.inf, -300.0], np.linspace(-45.0, 45.0, 90_001)])


def test_chances():
    np.testing.assert_allclose(normal_cdf(ANYWHERE), ndtr(ANYWHERE), rtol=0.0, atol=2e-7)
    assert normal_cdf(ANYWHERE[:2]) == pytest.approx([0.0, 1.0], abs=1e-12)
    assert normal_cdf(np.zeros((2, 3, 0))).shape == (2, 3, 0)


def test_mean_distances():
    exact = 2.0 * norm.pdf(ANYWHERE) + np.abs(ANYWHERE) * (2.0 * ndtr(np.abs(ANYWHERE)) - 1.0)
    np.testing.assert_allclose(normal_mean_distance(ANYWHERE), exact, rtol=0.0, atol=4e-7)


def test_quantiles():
    chances = np.concatenate([[1e-12, 1.0 - 1e-12], (np.arange(1024) + 0.5) / 1024])
    np.testing.assert_allclose(normal_quantile(chances), ndtri(chances), rtol=1e-12, atol=1e-14)
    assert normal_quantile(chances.reshape(2, -1)).shape == (2, 513)


def test_logarithms_of_chances_keep_their_digits_in_the_tail():
    np.testing.assert_allclose(
        log_normal_cdf(ANYWHERE), log_ndtr(ANYWHERE), rtol=1e-11, atol=1e-300
    )
    assert not log_normal_cdf(np.zeros(0)).size


@pytest.mark.parametrize("room", ["fit.growth"])
def test_what_a_day_needs_does_not_wait_for_a_library(room):
    code = f"import sys, growthcast.{room}; sys.exit('scipy.special' in sys.modules)"
    subprocess.run([sys.executable, "-c", code], check=True)
