"""Readings that no change of growth explains: slipped decimals, cuts that nobody logged.

Each reading is held against all before it and the others of its visit, with room left for the whole
tank and for each area to have changed. Only what then still stands far off is set aside.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import cho_factor, cho_solve

from growthcast.service.watch.doubt import Foreseen

__all__ = ["slips_set_aside"]

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

TANK_ROOM, AREA_ROOM = 0.4, 0.3
"""Spread of a change, as a share of growth, that a tank and an area are allowed for."""
FAR_OFF = 3.0
"""Standard deviations beyond which a reading is set aside."""
WIDER = 100.0


def slips_set_aside(
    known: Foreseen, grown_cm: FloatArray, area: IntArray, day: FloatArray
) -> tuple[Foreseen, NDArray[np.bool_]]:
    """Widen the readings (n,) that do not belong, so that they say next to nothing.

    Parameters
    ----------
    known : Foreseen
        What was foreseen of the readings of one tank.
    grown_cm : array (n, T)
        Growth of each week that a reading shows [cm].
    area : int array (n,)
        Whose readings they are.
    day : array (n,)
        Their days, ascending.

    Returns
    -------
    Foreseen
        The same with variances 100 times as large where a reading was set aside.
    slipped : bool array (n,)
        Which these are. A visit's readings are judged by nothing later than the visit.
    """
    size = grown_cm.sum(axis=1)
    together = TANK_ROOM**2 + np.where(area[:, None] == area[None, :], AREA_ROOM**2, 0.0)
    room = known.covariance + together * size[:, None] * size[None, :]
    own = np.diag(known.noise).copy()
    off = known.surprise_cm - known.mean_cm
    slipped = np.zeros(day.size, dtype=bool)
    added = np.zeros(day.size)
    for when in np.unique(day).tolist():
        rows, here = np.flatnonzero(day <= when), np.flatnonzero(day == when)
        for _ in range(here.size):
            inverse = cho_solve(
                cho_factor(room[np.ix_(rows, rows)] + np.diag(added[rows])), np.eye(rows.size)
            )
            mine = np.searchsorted(rows, here)
            apart = np.abs((inverse @ off[rows])[mine]) / np.sqrt(np.diag(inverse)[mine])
            apart[slipped[here]] = 0.0
            worst = int(np.argmax(apart))
            if apart[worst] <= FAR_OFF:
                break
            slipped[here[worst]] = True
            added[here[worst]] = WIDER * own[here[worst]]
    wide = np.diag(added)
    return replace(known, noise=known.noise + wide, covariance=known.covariance + wide), slipped
