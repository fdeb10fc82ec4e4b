"""Times between the visits of a tank, by hand."""

import numpy as np

from growthcast.log.visits import Visits


def test_gaps_are_those_of_a_tank_and_not_of_an_area():
    """Tank 0 holds areas 0 and 1, tank 1 area 2: visits on days 1, 4, 10 and on days 2, 9."""
    area, day = np.array([0, 0, 1, 1, 2, 2]), np.array([1.0, 10.0, 1.0, 4.0, 2.0, 9.0])
    blank, no = np.full(6, np.nan), np.zeros(6, dtype=bool)
    none = np.zeros(6, dtype=np.int64)
    visits = Visits(area, day, *[blank] * 5, none, no, no, none - 1, np.arange(6))
    tank, gaps_d = visits.gaps(np.array([0, 0, 1]))
    assert tank.tolist() == [0, 0, 1]
    assert gaps_d.tolist() == [3.0, 6.0, 7.0]
