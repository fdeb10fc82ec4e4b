"""Chains: every area's log as runs of canopy stages, packed so that one filter runs over all areas.

An area's log is a sequence of nodes in time order. A node is one canopy height: as planted, as
found at a visit, or as left by a cut. Each node hangs on the one before it by a link: it *grew*
from it, it was *cut* from it by a known length or weight, it may have been cut without a word
(*unsaid*), or the earlier node says nothing of it: a cut that was *aimed* at the area's usual
height, or a *fresh* start of which only its own readings are known. There a new chain begins, so
most chains are two or three nodes long however long the log is.

Packing: chains are put into blocks of whole tanks that fit a processor's cache. In a block they are
ranked by length, longest first, and nodes are stored position by position. The nodes at one
position are then the first ranks, in order, so a filter along all chains at once needs views only,
no gathering and no padding. Aimed starts stand together as far as that allows.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from functools import cached_property
from typing import Any, TypeVar, cast

import numpy as np
from numpy.typing import NDArray

from growthcast.arrays import BoolArray, FloatArray, IntArray, distinct, numbered
from growthcast.fit.model.clock import LEAST_AWAKE_SHARE, GrowthClock
from growthcast.nouns import dataclass

Values = TypeVar("Values", bound=NDArray[Any])

NODES_A_BLOCK = 32_000
MOST_SETTLING = 20.0
"""No factor of the days of settling is so much larger than another."""


class Link:
    """How a node follows from the one before it; an ``UNSAID`` cut may not have been made.

    Plain numbers: comparing an array with a member of an enumeration takes four times as long.
    """

    FRESH, AIMED, GREW, UNSAID, CUT, WEIGHED = range(6)


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
    pause_doubt
        Relative spread of ``growth_d`` where a pause took part of it.
    lag_per_d
        Share of ``growth_d`` that each day of lag takes [1/d].
    by_settling
        How far the log of ``growth_d`` falls with the log of the days of settling.
    reading_cm, reading_sd_cm
        A height read on the day, and its own error where that is not a ruler's.
    aim_sd_cm
        Scatter of a cut around the area's usual height, for nodes that a cut left.
    guess_cm, guess_sd_cm
        What a fresh start is taken to be where nothing was read.
    removed_cm
        Length cut off (links CUT), or what a weight comes to at the table's density (WEIGHED).
    floor_cm, budget_cm
        What a look is judged against: the bounds of its day, for areas as they were found.
    look
        A judgement by eye (``Look``).
    pause_d
        Days without growth that follow a hard cut.
    lag_share
        Share of its form's lag that follows a cut.
    bucket
        Number of the whole tank's weight of that day, for nodes that a cut left; -1 for none.
    row
        Index of the log row it comes from, -1 for none.
    """

    area: IntArray
    day: FloatArray
    link: IntArray
    growth_d: FloatArray
    span_d: FloatArray
    pause_doubt: FloatArray
    lag_per_d: FloatArray
    by_settling: FloatArray
    reading_cm: FloatArray
    reading_sd_cm: FloatArray
    aim_sd_cm: FloatArray
    guess_cm: FloatArray
    guess_sd_cm: FloatArray
    removed_cm: FloatArray
    floor_cm: FloatArray
    budget_cm: FloatArray
    look: IntArray
    pause_d: FloatArray
    lag_share: FloatArray
    bucket: IntArray
    row: IntArray

    def awake_share(self, lag_d: FloatArray, at: slice | IntArray) -> FloatArray:
        """Share of the growth of the spans ``at`` that the lags ``lag_d`` (A,) leave [0-1]."""
        left = 1.0 - self.lag_per_d[at] * lag_d.take(self.area[at])
        return np.maximum(left, LEAST_AWAKE_SHARE)

    def take(self, order: IntArray) -> Nodes:
        """Return the nodes in another order."""
        return Nodes(**{name: taken(getattr(self, name), order) for name in self.__slots__})


def thin(values: Values) -> Values:
    """Return values that take the memory of one where all are the same, as most often they are.

    Parameters
    ----------
    values : array (n,)
        Any values.

    Returns
    -------
    array (n,)
        The same, not to be written to.
    """
    first = values[:1].copy()
    alike = values != values if (first != first).all() else values == first
    return cast(Values, np.broadcast_to(first, values.shape)) if alike.all() else values


def taken(values: Values, order: IntArray) -> Values:
    """Return values in another order, thin where they are all the same.

    Parameters
    ----------
    values : array (n,)
        Any values.
    order : int array (m,)
        Places among them.

    Returns
    -------
    array (m,)
        The values there.
    """
    if values.strides == (0,):
        return cast(Values, np.broadcast_to(values[:1], order.shape))
    return thin(cast(Values, values.take(order)))


@dataclass(frozen=True)
class Chains:
    """A block of packed chains of R areas and N nodes.

    ``nodes`` are in packed order; position ``p`` is ``offsets[p]:offsets[p + 1]``. ``previous``
    (N,) is the packed index of the node before (of itself at position 0). ``area`` (R,) are the
    areas, longest logs first, and ``rank`` (N,) the place of each node's area there; ``last`` (R,)
    is the packed index of the last node of each. ``by_area`` are the nodes of each: those at
    position 0, then the others, counted from the first of them; arrays (r, n) for the first r
    areas, in any order, padded with the number of such nodes where there is none.
    """

    nodes: Nodes
    offsets: IntArray
    previous: IntArray
    area: IntArray
    rank: IntArray
    last: IntArray
    by_area: tuple[tuple[IntArray, ...], tuple[IntArray, ...]]

    @property
    def starts_and_later(self) -> tuple[slice, slice]:
        """The packed nodes at position 0, and the others."""
        begun = int(self.offsets[1])
        return slice(0, begun), slice(begun, self.rank.size)

    @cached_property
    def read(self) -> BoolArray:
        """Whether the height of a node (N,) was read."""
        return np.isfinite(self.nodes.reading_cm)

    @cached_property
    def unread_starts(self) -> IntArray:
        """Fresh starts that nobody read; at position 0, so that their places are ranks."""
        return np.flatnonzero((self.nodes.link == Link.FRESH) & ~self.read)

    @cached_property
    def grew(self) -> slice | IntArray:
        """Nodes that grew from the one before."""
        return _places(self.nodes.link == Link.GREW)

    @cached_property
    def aimed(self) -> tuple[slice | IntArray, slice | IntArray]:
        """Nodes that were cut as usual, and all others."""
        aimed = self.nodes.link == Link.AIMED
        return _places(aimed), _places(~aimed)

    @cached_property
    def unsaid(self) -> IntArray:
        """Nodes that may have been cut without a word."""
        return np.flatnonzero(self.nodes.link == Link.UNSAID)

    @cached_property
    def cut(self) -> IntArray:
        """Nodes that were cut by a known length or weight."""
        return np.flatnonzero(self.nodes.link >= Link.CUT)

    @cached_property
    def positions(self) -> list[slice]:
        """Slices of the packed nodes, one a position along the chain."""
        return [slice(int(a), int(b)) for a, b in zip(self.offsets, self.offsets[1:], strict=False)]

    @cached_property
    def links(self) -> list[tuple[slice, slice]]:
        """Pairs of (nodes before, nodes), one a position along the chain after the first."""
        here, later = self.positions[:-1], self.positions[1:]
        before = [
            slice(a.start, a.start + b.stop - b.start) for a, b in zip(here, later, strict=True)
        ]
        return list(zip(before, later, strict=True))

    @property
    def place(self) -> tuple[IntArray, IntArray]:
        """Number (N,) of each node's chain, and its position there."""
        size = np.diff(self.offsets)
        chain = np.arange(self.rank.size) - np.repeat(self.offsets[:-1], size)
        return chain, np.repeat(np.arange(size.size), size)

    def grown_by(self, clock: GrowthClock) -> Chains:
        """Return the chains with their first spans after planting grown by another clock."""
        nodes = self.nodes
        began = nodes.day - nodes.span_d
        since, settle = clock.settling(nodes.area, began)
        at = np.flatnonzero((since < MOST_SETTLING * settle) & (nodes.link == Link.GREW))
        spans = nodes.area[at], began[at], nodes.day[at], nodes.pause_d[self.previous[at]]
        growth_d, by_settling = nodes.growth_d.copy(), nodes.by_settling.copy()
        growth_d[at] = clock.growth_between(*spans)[0]
        by_settling[at] = clock.slowed_by_settling(*spans)
        return replace(self, nodes=replace(nodes, growth_d=growth_d, by_settling=by_settling))


def pack_chains(
    nodes: Nodes, tank: IntArray, nodes_a_block: int = NODES_A_BLOCK
) -> tuple[Chains, ...]:
    """Pack nodes, sorted by area and along each log; ``tank`` (A,) is the tank of each area.

    Every area needs at least one node. Areas of a tank stay in one block.

    Parameters
    ----------
    nodes : Nodes
        Nodes sorted by area and along each log.
    tank : int array (A,)
        Tank of each area.
    nodes_a_block : int
        Nodes that fit a block.

    Returns
    -------
    tuple of Chains
        One a block.
    """
    length = np.bincount(nodes.area, minlength=tank.size)
    in_tank = np.bincount(tank, weights=length)
    block = ((np.cumsum(in_tank) - in_tank) // nodes_a_block).astype(np.int64)[tank[nodes.area]]
    order = np.argsort(block, kind="stable")
    bounds = np.searchsorted(block[order], distinct(block), side="left")
    begins = (nodes.link == Link.FRESH) | (nodes.link == Link.AIMED)
    ends = np.append(nodes.area[1:] != nodes.area[:-1], True)
    begins |= np.append(True, ends[:-1])
    packed = []
    for mine in np.split(order, bounds[1:]):
        chain = np.cumsum(begins[mine]) - 1
        packed.append(_pack(nodes, mine, chain, _along(chain), ends[mine])[0])
    return tuple(packed)


def repacked(several: Sequence[Chains], at: Sequence[IntArray]) -> tuple[Chains, IntArray]:
    """Pack some nodes of several blocks, whole chains of theirs, as one block.

    ``at`` are their places in each block. Returns with the block where each of them now is, in the
    order of the blocks (N,).

    Parameters
    ----------
    several : sequence of Chains
        The blocks.
    at : sequence of int array (n,)
        Places of the nodes in each.

    Returns
    -------
    tuple of Chains and int array (N,)
        The new block, and where each node now is.
    """
    each = list(zip(several, at, strict=True))
    nodes = Nodes(
        *(
            thin(np.concatenate([taken(getattr(one.nodes, name), mine) for one, mine in each]))
            for name in Nodes.__slots__
        )
    )
    chain, position, last, known = [], [], [], 0
    for one, mine in each:
        numbers, positions = one.place
        ends = np.zeros(one.rank.size, dtype=bool)
        ends[one.last] = True
        chain.append(numbers[mine] + known)
        position.append(positions[mine])
        last.append(ends[mine])
        known += int(one.offsets[1])
    number = numbered(np.concatenate(chain))[1]
    ends = np.concatenate(last)
    return _pack(nodes, np.arange(ends.size), number, np.concatenate(position), ends)


def _pack(
    nodes: Nodes, mine: IntArray, chain: IntArray, position: IntArray, ends: BoolArray
) -> tuple[Chains, IntArray]:
    """Pack the nodes with places ``mine`` by the number of their chain and their position there.

    ``ends`` are the last nodes of the areas, all (N,). Returns with the block where each node now
    is.
    """
    length, begins = np.bincount(chain), position == 0
    # Chains are ranked by length, longest first: the nodes at a position are then the first ranks.
    # Of equal length fresh ones come first, but of length 1 the aimed ones, so that the aimed
    # starts of the longer chains and of the shortest stand together.
    fresh = np.zeros(length.size, dtype=bool)
    fresh[chain[begins]] = nodes.link[mine[begins]] == Link.FRESH
    number = _ranks(np.lexsort((fresh ^ (length > 1), -length)))[chain]
    # Nodes are stored position by position, in the order of ranks; ``place`` is where each goes.
    order = np.lexsort((number, position))
    place = _ranks(order)
    # The node before has the same rank one position earlier: so far back as nodes stand there.
    size = np.bincount(position)
    before = np.repeat(np.concatenate([[0], size[:-1]]), size)
    # The areas of the block are ranked too, those with most nodes first (see ``_padded``).
    areas, run = numbered(nodes.area[mine])
    longest = np.argsort(-np.bincount(run), kind="stable")
    owner, last = _ranks(longest)[run], np.empty(areas.size, dtype=np.int64)
    last[owner[ends]] = place[ends]
    later = ~begins
    chains = Chains(
        nodes=nodes.take(mine[order]),
        offsets=np.concatenate([[0], np.cumsum(size)]).astype(np.int64),
        previous=np.arange(order.size) - before,
        area=areas[longest],
        rank=owner[order],
        last=last,
        by_area=(
            _padded(place[begins], owner[begins]),
            _padded(place[later] - size[0], owner[later]),
        ),
    )
    return chains, place


def _places(mask: BoolArray) -> slice | IntArray:
    """Where a mask (N,) holds: a slice, which needs no gathering, where that is one run."""
    at = np.flatnonzero(mask)
    run = at.size > 0 and int(at[-1] - at[0]) + 1 == at.size
    return slice(int(at[0]), int(at[-1]) + 1) if run else at


def _ranks(order: IntArray) -> IntArray:
    """Place (n,) that each item has in an order (n,)."""
    ranks = np.empty_like(order)
    ranks[order] = np.arange(order.size)
    return ranks


def _along(run: IntArray) -> IntArray:
    """Position (N,) of each item along its run, runs being numbered in order."""
    length = np.bincount(run)
    return np.arange(run.size) - (np.cumsum(length) - length)[run]


def _padded(place: IntArray, owner: IntArray) -> tuple[IntArray, ...]:
    """Places of the areas' nodes; positions at which half of the areas go on share an array."""
    order = np.argsort(owner, kind="stable")
    place, owner = place[order], owner[order]
    along = _along(owner)
    reach = np.zeros(int(along.max(initial=-1)) + 1, dtype=np.int64)
    np.maximum.at(reach, along, owner + 1)
    width = np.maximum.accumulate(reach[::-1])[::-1]
    groups = []
    first = 0
    while first < width.size:
        end = int(np.searchsorted(-width, -(width[first] // 2), side="right"))
        mine = (along >= first) & (along < end)
        group = np.full((width[first], end - first), place.size)
        group[owner[mine], along[mine] - first] = place[mine]
        groups.append(group)
        first = end
    return tuple(groups)
