"""Unlimited growth: the duckweed test guideline and a set of clones.

Sources: OECD Test Guideline 221 (2006), criterion for controls from memory: 0.275 per day, doubling
in 2.5 days, seven-fold in seven days; its three numbers agree only after rounding. Ziegler et al.,
Plant Biology (2015), doi 10.1111/plb.12184: fastest clone 0.519 per day, doubling in 1.34 days,
37.8-fold in a week; slowest 0.153, 4.54 days (a rounded rate), 2.9-fold. Far below its ceiling a
canopy of ours must grow like that. Tolerances are the printed digits.
"""

import numpy as np
import pytest

from growthcast.growth.logistic import days_to_height, height_after

SMALL, ENDLESS = 1.0, 1e12


def test_doubling_time_of_the_guideline():
    """0.275 per day doubles in 2.5 days (2.52)."""
    assert round(float(days_to_height(SMALL, 2 * SMALL, 0.275, ENDLESS)), 1) == 2.5


def test_seven_fold_in_seven_days():
    """0.275 per day is 6.9-fold, printed as seven-fold; 2.5 days' doubling is 6.96-fold."""
    assert round(float(height_after(SMALL, 7.0, 0.275, ENDLESS) / SMALL)) == 7
    assert height_after(SMALL, 7.0, np.log(2) / 2.5, ENDLESS) == pytest.approx(2**2.8, rel=1e-9)


@pytest.mark.parametrize(
    ("rate_per_day", "doubling_d", "doubling_digit", "weekly", "weekly_digit"),
    [(0.519, 1.34, 0.005, 37.8, 0.05), (0.153, 4.54, 0.015, 2.9, 0.05)],
)
def test_duckweed_clones(rate_per_day, doubling_d, doubling_digit, weekly, weekly_digit):
    doubling = days_to_height(SMALL, 2 * SMALL, rate_per_day, ENDLESS)
    assert doubling == pytest.approx(doubling_d, abs=doubling_digit)
    week = height_after(SMALL, 7.0, rate_per_day, ENDLESS)
    assert week == pytest.approx(weekly, abs=weekly_digit)


def test_submerged_plants():
    """Nielsen and Sand-Jensen, Aquat. Bot. 39 (1991) 109-120: 0.109 per day doubles in 6.4 days."""
    assert round(float(days_to_height(SMALL, 2 * SMALL, 0.109, ENDLESS)), 1) == 6.4
