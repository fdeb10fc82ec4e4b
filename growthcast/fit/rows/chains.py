"""Chains: every area's log as a sequence of canopy stages, packed for sweeps over all areas.

A chain is one area's nodes in time order. A node is one canopy height: as planted, as found at a
visit, or as left by a cut. Each node hangs on the one before it by a link: it *grew* from it, it
was *cut* from it by a known length or weight, or the earlier node says nothing of it: a cut that
was *aimed* at the area's usual height, or a *fresh* start of which only its own readings are known.

Packing: chains are put into blocks of whole tanks that fit a processor's cache. In a block, areas
are ranked by the length of their chain, longest first, and nodes are stored position by position.
The nodes at one position are then the first ranks, in order, so a sweep along all chains at once
needs views only, no gathering and no padding.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from enum import IntEnum

import numpy as np
from numpy.typing import NDArray

__all__ = ["Chains", "Link", "Look", "Nodes", "pack_chains"]

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

NODES_A_BLOCK = 16_000


class Link(IntEnum):
    """How a node follows from the one before it."""

    FRESH = 0
    AIMED = 1
    GREW = 2
    CUT = 3
    WEIGHED = 4


class Look(IntEnum):
    """How an area stood, judged by eye against its floor and budget."""

    NONE = 0
    SHORT = 1
    RIGHT = 2
    OVER = 3


@dataclass(frozen=True, slots=True)
class Nodes:
    """Fields of the nodes, all (N,); NaN where a node has no such value.

    Attributes
    ----------
    area
        Place of the area in the book.
    day
        Day number.
    link
        How it follows from the node before (``Link``).
    growth_d, span_d
        Reference days and calendar days since the node before (links GREW).
    reading_cm
        A height read on the day.
    aim_sd_cm
        Scatter of a cut around the area's usual height, for nodes that a cut left.
    guess_cm, guess_sd_cm
        What a fresh start is taken to be where nothing was read.
    removed_cm
        Length cut off (links CUT), or what a weight comes to at the table's density (WEIGHED).
    look
        A judgement by eye (``Look``).
    pause_d
        Days without growth that follow a hard cut.
    share_of
        Number of the whole-tank weight a node has a share of, -1 for none.
    row
        Index of the log row it comes from, -1 for none.
    """

    area: IntArray
    day: FloatArray
    link: IntArray
    growth_d: FloatArray
    span_d: FloatArray
    reading_cm: FloatArray
    aim_sd_cm: FloatArray
    guess_cm: FloatArray
    guess_sd_cm: FloatArray
    removed_cm: FloatArray
    look: IntArray
    pause_d: FloatArray
    share_of: IntArray
    row: IntArray

    def take(self, order: IntArray) -> Nodes:
        """Return the nodes in another order."""
        return Nodes(*(getattr(self, name)[order] for name in self.__slots__))


@dataclass(frozen=True, slots=True)
class Chains:
    """A block of packed chains.

    ``nodes`` are in packed order; position ``p`` is ``offsets[p]:offsets[p + 1]`` and belongs to
    the areas ``area[: offsets[p + 1] - offsets[p]]``. ``previous`` (N,) is the packed index of the
    node before (of itself at position 0), ``last`` (R,) that of the last node of each rank.
    """

    nodes: Nodes
    offsets: IntArray
    area: IntArray
    previous: IntArray
    last: IntArray

    @property
    def positions(self) -> list[slice]:
        """Slices of the packed nodes, one a position along the chain."""
        return [slice(int(a), int(b)) for a, b in zip(self.offsets, self.offsets[1:], strict=False)]

    def with_removed(self, removed_cm: FloatArray) -> Chains:
        """Return the same chains with other lengths cut off."""
        return replace(self, nodes=replace(self.nodes, removed_cm=removed_cm))


def pack_chains(
    nodes: Nodes, tank: IntArray, nodes_a_block: int = NODES_A_BLOCK
) -> tuple[Chains, ...]:
    """Pack nodes, sorted by area and along each chain; ``tank`` (A,) is the tank of each area.

    Every area needs at least one node. Areas of a tank stay in one block.
    """
    length = np.bincount(nodes.area, minlength=tank.size)
    in_tank = np.bincount(tank, weights=length)
    block = ((np.cumsum(in_tank) - in_tank) // nodes_a_block).astype(np.int64)[tank]
    starts = np.cumsum(length) - length
    position = np.arange(nodes.area.size) - starts[nodes.area]
    return tuple(
        _pack(nodes, position, length, np.flatnonzero(block == number))
        for number in np.unique(block)
    )


def _pack(nodes: Nodes, position: IntArray, length: IntArray, areas: IntArray) -> Chains:
    """Pack the chains of some areas into a block."""
    area = areas[np.argsort(-length[areas], kind="stable")]
    rank = np.full(length.size, -1)
    rank[area] = np.arange(area.size)
    mine = np.flatnonzero(rank[nodes.area] >= 0)
    order = mine[np.lexsort((rank[nodes.area[mine]], position[mine]))]
    position = position[order]
    offsets = np.concatenate([[0], np.cumsum(np.bincount(position))]).astype(np.int64)
    packed = nodes.take(order)
    at = np.arange(order.size)
    previous = np.where(position > 0, offsets[position - 1] + rank[packed.area], at)
    last = np.empty(area.size, dtype=np.int64)
    last[rank[packed.area]] = at  # later positions overwrite earlier ones
    return Chains(packed, offsets, area, previous, last)
