"""Shade of floating plants on what stands below: how much of a tank's surface they cover, when.

The light below is ``1 - cover`` of what the book says, the cover constant from one visit to the
next: half of what the last one left and the next one found. Ahead it is the mean of the last year's
spans, or before any log the middle of floor and budget.
"""

from __future__ import annotations

import numpy as np

from growthcast.arrays import FloatArray
from growthcast.nouns import dataclass

LONG_AGO = -1.0e6
"""Day number before every log: the first known condition is taken to have held until then."""
MOST_COVER = 0.95
"""Some light comes in at the glass also where floating plants close (an estimate)."""


@dataclass(frozen=True, slots=True)
class Shade:
    """Share of each tank's surface under floating plants, piecewise constant, (K, S).

    ``from_day`` is padded with ``inf``; before the first day nothing floats. ``share`` is 0-1.
    """

    from_day: FloatArray
    share: FloatArray

    def on(self, day: float) -> FloatArray:
        """Share of each tank's surface that is covered on a day, (K,)."""
        column = (self.from_day <= day).sum(axis=1) - 1
        found: FloatArray = self.share[np.arange(column.size), column]
        return found
