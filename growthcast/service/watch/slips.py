"""Readings that no change of growth explains: slipped decimals, cuts that nobody logged.

Each reading is held against all before it and the others of its visit, with room left for the whole
tank and for each area to have changed. Only what then still stands far off is set aside, and taken
back when the area's next reading stands off on the same side: a slip is not repeated.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from scipy.linalg import cho_factor, cho_solve

from growthcast.arrays import BoolArray, FloatArray, IntArray
from growthcast.fit.foreseen import Foreseen

TANK_ROOM, AREA_ROOM = 0.4, 0.3
"""Spread of a change, as a share of growth, that a tank and an area are allowed for."""
FAR_OFF = 3.0
"""Standard deviations beyond which a reading is set aside."""
WIDER = 100.0


def slips_set_aside(
    known: Foreseen, grown_cm: FloatArray, area: IntArray, day: FloatArray
) -> tuple[Foreseen, BoolArray]:
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
    aside : bool array (n,)
        Which these are.
    """
    size = grown_cm.sum(axis=1)
    together = TANK_ROOM**2 + np.where(area[:, None] == area[None, :], AREA_ROOM**2, 0.0)
    room = known.covariance + together * size[:, None] * size[None, :]
    own = np.diag(known.noise).copy()
    off = known.surprise_cm - known.mean_cm
    aside = np.zeros(day.size, dtype=bool)
    far = np.zeros(day.size)  # on which side a reading stood far off, set aside or not
    for when in np.unique(day).tolist():
        rows, here = np.flatnonzero(day <= when), np.flatnonzero(day == when)
        for _ in range(here.size):
            doubted = room[np.ix_(rows, rows)] + np.diag(np.where(aside, WIDER * own, 0.0)[rows])
            inverse = cho_solve(cho_factor(doubted), np.eye(rows.size))
            mine = np.searchsorted(rows, here)
            apart = (inverse @ off[rows])[mine] / np.sqrt(np.diag(inverse)[mine])
            apart[far[here] != 0.0] = 0.0
            worst = int(np.argmax(np.abs(apart)))
            if np.abs(apart[worst]) <= FAR_OFF:
                break
            reading = here[worst]
            far[reading] = np.sign(apart[worst])
            before = np.flatnonzero((area == area[reading]) & (day < when))
            repeated = before.size > 0 and far[before[-1]] == far[reading]
            aside[reading] = not repeated
            aside[before[-1:]] &= not repeated
    wide = np.diag(np.where(aside, WIDER * own, 0.0))
    return replace(known, noise=known.noise + wide, covariance=known.covariance + wide), aside
