"""Packed chains, unpacked for tests."""

from __future__ import annotations

import numpy as np

from growthcast.fit.rows.chains import Chains, Link, Nodes


def in_order(chains: Chains) -> Nodes:
    """Return the nodes by area and along each area's log."""
    nodes = chains.nodes
    position = np.repeat(np.arange(len(chains.positions)), np.diff(chains.offsets))
    found = (nodes.link == Link.FRESH) | (nodes.link == Link.GREW)
    return nodes.take(np.lexsort((position, ~found, nodes.day, nodes.area)))
