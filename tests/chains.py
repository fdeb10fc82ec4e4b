"""Packed chains, unpacked for tests."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from growthcast.fit.rows.chains import Chains, Nodes


def in_order(chains: Chains) -> Nodes:
    """Return the nodes by area and along each area's log."""
    nodes, count = chains.nodes, chains.nodes.area.size
    whole: NDArray[np.int64] = np.full((chains.area.size, 0), count)
    for places in chains.by_area:
        short = ((0, chains.area.size - places.shape[0]), (0, 0))
        whole = np.hstack([whole, np.pad(places, short, constant_values=count)])
    flat = whole[np.argsort(chains.area)].ravel()
    return nodes.take(flat[flat < count])
