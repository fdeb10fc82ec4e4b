"""Chains: every area's log as a sequence of canopy stages, packed for sweeps over all areas.

A chain is one area's nodes in time order. A node is one canopy height: as planted, as found at a
visit, or as left by a cut. Each node hangs on the one before it by a link: it *grew* from it, it
was *cut* from it by a known length, or it is a *fresh* start about which the earlier node says
nothing (a cut whose result was read, or whose size nobody wrote down).

Packing: areas are ranked by the length of their chain, longest first, and nodes are stored
position by position. The nodes at one position are then the first ranks, in order, so a sweep along
all chains at once needs views only, no gathering and no padding.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import IntEnum

import numpy as np
from numpy.typing import NDArray

__all__ = ["Chains", "Link", "Nodes", "pack_chains"]

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]


class Link(IntEnum):
    """How a node follows from the one before it."""

    FRESH = 0
    GREW = 1
    CUT = 2


@dataclass(frozen=True, slots=True)
class Nodes:
    """Fields of the nodes, all (N,); NaN where a node has no such value.

    ``growth_d`` is the reference days lived since the node before (links GREW), ``span_d`` the
    calendar days; ``reading_cm`` a height read on the day; ``habit_cm`` and ``habit_sd_cm`` where
    this area is usually cut to; ``removed_cm`` the length cut off (links CUT); ``pause_d`` the days
    without growth that follow a hard cut.
    """

    area: IntArray
    day: FloatArray
    link: IntArray
    growth_d: FloatArray
    span_d: FloatArray
    reading_cm: FloatArray
    habit_cm: FloatArray
    habit_sd_cm: FloatArray
    removed_cm: FloatArray
    pause_d: FloatArray

    def take(self, order: IntArray) -> Nodes:
        """Return the nodes in another order."""
        return Nodes(*(getattr(self, name)[order] for name in self.__slots__))


@dataclass(frozen=True, slots=True)
class Chains:
    """Packed chains of all areas.

    ``nodes`` are in packed order; position ``p`` is ``offsets[p]:offsets[p + 1]`` and belongs to
    the areas ``area_at_rank[: offsets[p + 1] - offsets[p]]``. ``previous`` (N,) is the packed index
    of the node before (of itself at position 0), ``last`` (A,) of an area's last node, -1 where an
    area has none.
    """

    nodes: Nodes
    offsets: IntArray
    area_at_rank: IntArray
    previous: IntArray
    last: IntArray

    @property
    def positions(self) -> list[slice]:
        """Slices of the packed nodes, one a position along the chain."""
        return [slice(int(a), int(b)) for a, b in zip(self.offsets, self.offsets[1:], strict=False)]


def pack_chains(nodes: Nodes, area_count: int) -> Chains:
    """Pack nodes that are sorted by area and, within an area, along its chain."""
    length = np.bincount(nodes.area, minlength=area_count)
    area_at_rank = np.argsort(-length, kind="stable")
    rank = np.empty(area_count, dtype=np.int64)
    rank[area_at_rank] = np.arange(area_count)
    starts = np.concatenate([[0], np.cumsum(length)])[:-1]
    position = np.arange(nodes.area.size) - starts[nodes.area]
    order = np.lexsort((rank[nodes.area], position))
    packed = nodes.take(order)
    longest = int(length.max()) if area_count else 0
    width = np.bincount(position, minlength=longest)
    offsets = np.concatenate([[0], np.cumsum(width)]).astype(np.int64)
    at = np.arange(nodes.area.size)
    previous = at.copy()
    if longest > 1:
        behind = position[order] > 0
        previous[behind] = offsets[position[order][behind] - 1] + rank[packed.area[behind]]
    last = np.full(area_count, -1, dtype=np.int64)
    last[packed.area] = at  # later positions overwrite earlier ones
    return Chains(packed, offsets, area_at_rank, previous, last)
