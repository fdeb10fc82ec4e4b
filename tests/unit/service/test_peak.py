"""Which way leads an area to its best, chosen among ways whose ends are given."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest

from growthcast.forecast.report import as_date
from growthcast.service.visit.peak import _choose, _cuts

BAND = np.array([[10.0], [12.0], [14.0]])


def route(share_inside, hidden=True):
    """Return a way that ends inside the band in some of a hundred draws of one area."""
    heights = np.where(np.arange(100) < 100 * share_inside, 12.0, 15.0)[None]
    return SimpleNamespace(ended=SimpleNamespace(height_cm=heights), hidden=np.array([hidden]))


@pytest.mark.parametrize(
    ("routes", "chosen"),
    [
        ([route(0.9), route(0.85), route(0.7)], 1),  # the latest, within a tenth of the best
        ([route(0.9), route(0.85), route(0.85, hidden=False)], 1),
        ([route(0.55), route(0.5)], 1),
        ([route(0.45), route(0.49)], 1),  # none is likelier than not: the likeliest
        ([route(0.45), route(0.4)], 0),
        ([route(0.3), route(0.5, hidden=False)], 0),  # a cut that shows costs a quarter
        ([route(0.2), route(0.5, hidden=False)], 1),
    ],
)
def test_the_latest_way_whose_cut_is_hidden_is_taken_else_the_likeliest(routes, chosen):
    found, inside = _choose(routes, BAND)
    assert found.tolist() == [chosen]
    assert inside.mean() == pytest.approx(float((routes[chosen].ended.height_cm == 12.0).mean()))


def test_the_ends_of_the_band_are_inside():
    heights = np.array([[9.99, 10.0, 14.0, 14.01]])
    ends = SimpleNamespace(ended=SimpleNamespace(height_cm=heights), hidden=np.array([True]))
    assert _choose([ends], BAND)[1].tolist() == [[False, True, True, False]]


def test_what_comes_off_is_the_middle_of_the_draws_and_worth_a_cut_from_a_fiftieth_on():
    heights = np.array([[20.0, 20.0, 20.0, 20.0, 20.0]])
    living = SimpleNamespace(on_day=20_000)
    before = SimpleNamespace(height_cm=heights, living=living, after_d=3)
    after = SimpleNamespace(height_cm=np.array([[20.0, 19.61, 19.59, 10.0, 21.0]]))
    ended = SimpleNamespace(within=lambda: np.array([[True, True, True, True, False]]))
    [cut] = _cuts(before, np.array([17.0]), after, ended, "hold")
    assert (cut.on, cut.cut_cm, cut.purpose) == (as_date(20_003), 17.0, "hold")
    assert cut.removed_cm == pytest.approx(0.39)
    assert (cut.chance_needed, cut.chance_within) == pytest.approx((2 / 5, 4 / 5))
