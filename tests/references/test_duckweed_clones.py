"""Unlimited growth: printed rates beside the doubling times and yields printed with them.

Sources: Ziegler et al., Plant Biology (2015), doi 10.1111/plb.12184: fastest clone 0.519 per day,
doubling in 1.34 days, 37.8-fold in a week; slowest 0.153, 4.54 days (a rounded rate), 2.9-fold.
Nielsen and Sand-Jensen, Aquat. Bot. 39 (1991) 109-120: 0.109 per day doubles in 6.4 days. OECD Test
Guideline 221 (2006), criterion for controls from memory: 0.275 per day, seven-fold in seven days.
Far below its ceiling a canopy of ours must grow like that. Tolerances are the printed digits.
"""

import pytest

from tests.curve import days_to_height, height_after

SMALL, ENDLESS = 1.0, 1e12


@pytest.mark.parametrize(
    ("rate_per_day", "doubling_d", "digit"),
    [(0.519, 1.34, 0.005), (0.153, 4.54, 0.015), (0.109, 6.4, 0.05)],
)
def test_doubling(rate_per_day, doubling_d, digit):
    doubling = days_to_height(SMALL, 2 * SMALL, rate_per_day, ENDLESS)
    assert doubling == pytest.approx(doubling_d, abs=digit)


@pytest.mark.parametrize(
    ("rate_per_day", "weekly", "digit"), [(0.519, 37.8, 0.05), (0.153, 2.9, 0.05), (0.275, 7, 0.5)]
)
def test_a_weeks_yield(rate_per_day, weekly, digit):
    assert height_after(SMALL, 7.0, rate_per_day, ENDLESS) == pytest.approx(weekly, abs=digit)
