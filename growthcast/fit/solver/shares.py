"""Sharing the trimmings of a whole tank, weighed together, over the areas they came from.

Each area is told the weight less what the others are expected to have given, and is told it with
the others' uncertainty: the message that the sum sends to one of its terms. What an area gave is
expected from the stage it was found at before any reading of its own, and from where it is usually
cut to.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from growthcast.fit.rows.chains import Chains
from growthcast.fit.solver.linearise import DENSITY, HABIT, Linearised
from growthcast.fit.solver.sweep import Swept

__all__ = ["SharedWeights", "shares_of"]

FloatArray = NDArray[np.float64]

SMALLEST_SHARE = 0.02
"""An area that was there is taken to have given at least this part of the weight."""


@dataclass(frozen=True, slots=True)
class SharedWeights:
    """Weights of whole tanks (W,) [g]; nodes point at them by ``Nodes.share_of``.

    ``gram_per_cm`` (A,) is what one centimetre off an area weighs at the table's density.
    """

    total_g: FloatArray
    gram_per_cm: FloatArray


def shares_of(
    shares: SharedWeights, chains: Chains, at: Linearised, swept: Swept, border: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Length (N,) that each node's share comes to [cm], and what the others add to its doubt [cm].

    Other nodes keep their length and get 0.
    """
    nodes = chains.nodes
    removed, unsure = nodes.removed_cm.copy(), np.zeros(nodes.area.size)
    part = np.flatnonzero(nodes.share_of >= 0)
    if not part.size:
        return removed, unsure
    weight, area, found = nodes.share_of[part], nodes.area[part], chains.previous[part]
    dense = shares.gram_per_cm[area] * np.exp(border[DENSITY, area])
    usual, usual_sd = np.exp(border[HABIT, area]), nodes.aim_sd_cm[part]
    expected_cm = at.height[found] + at.slope[found] * swept.ahead_mean[found]
    given = dense * np.maximum(expected_cm - usual, 0.0)
    spread = at.slope[found] ** 2 * swept.ahead_variance[found] + usual_sd**2
    variance = dense**2 * spread
    total = np.bincount(weight, given, minlength=shares.total_g.size)
    doubt = np.bincount(weight, variance, minlength=shares.total_g.size)
    others = total[weight] - given
    left = np.maximum(shares.total_g[weight] - others, SMALLEST_SHARE * shares.total_g[weight])
    removed[part] = left / shares.gram_per_cm[area]
    unsure[part] = np.sqrt(np.maximum(doubt[weight] - variance, 0.0)) / dense
    return removed, unsure
