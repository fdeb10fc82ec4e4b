"""What a look or a whole tank's weight says of a height, as one more Gaussian reading: a *site*.

Neither is a reading with an error of its own. What a look (short, right, over) says depends on what
was known of the height without it, and what a bucket says of one area depends on what the others
are expected to have given. Each is worked out against what is known without it (the *cavity*), as
the Gaussian that changes mean and variance alike: expectation propagation. Of an area that may have
been cut without a word, a bucket also tells how likely that is.

References
----------
Minka, T. P. (2001). Expectation propagation for approximate Bayesian inference. Proc. 17th Conf.
Uncertainty in Artificial Intelligence, 362-369 (from memory).
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from growthcast.arrays import BoolArray, FloatArray, IntArray
from growthcast.fit.rows.chains import Chains, Link, Nodes
from growthcast.log.visits import Look

CUT_CHANCE = {Look.NONE: 0.6, Look.SHORT: 0.05, Look.RIGHT: 0.4, Look.OVER: 0.85}
"""How likely an area was cut without a word, by how it stood (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class Sites:
    """Readings that stand for looks and weights at the nodes of a block, all (N,).

    ``precision`` [1/cm2] is 0 where there is none; ``precision_mean`` is precision times height
    [1/cm]. ``cut_chance`` is how likely a cut was made that nobody tells of.
    """

    precision_mean: FloatArray
    precision: FloatArray
    cut_chance: FloatArray

    @classmethod
    def to_begin_with(cls, chains: Chains) -> Sites:
        """Return the sites of nodes before anything was heard of them."""
        none = np.broadcast_to(0.0, chains.nodes.area.size)
        return cls(precision_mean=none, precision=none, cut_chance=cut_chance_before(chains))


@dataclass(frozen=True, slots=True)
class Weights:
    """Weights of whole tanks (W,), and what turns lengths into them.

    Attributes
    ----------
    grams
        What was weighed [g], (W,).
    everything
        Whether it is all that came out that day, or what areas without amounts gave, (W,).
    said
        Whether row or practice say which of the two it is, (W,).
    row
        Index of the log row, (W,).
    gram_per_cm
        What one centimetre off an area weighs at the table's density [g/cm], (A,).
    removed_day
        Day number on which an area was taken out, nan where it was not, (A,).
    """

    grams: FloatArray
    everything: BoolArray
    said: BoolArray
    row: IntArray
    gram_per_cm: FloatArray
    removed_day: FloatArray

    def as_rest(self) -> Weights:
        """Return the weights read as the rest's where nobody says that they are everything."""
        return replace(self, everything=self.everything & self.said)

    def of_areas(self, areas: IntArray) -> Weights:
        """Return the same weights for a problem of some of the areas."""
        return replace(
            self, gram_per_cm=self.gram_per_cm[areas], removed_day=self.removed_day[areas]
        )


@dataclass(frozen=True, slots=True)
class Members:
    """Areas of a block that may have given part of a weight, all (M,).

    ``found`` and ``left`` are the nodes before and after what may have been a cut.
    """

    bucket: IntArray
    area: IntArray
    found: IntArray
    left: IntArray


NOBODY = Members(*np.zeros((4, 0), dtype=np.int64))
"""No area: of weights that are not heard."""


def cut_chance_before(chains: Chains) -> FloatArray:
    """How likely an unsaid cut was made, (N,), before any weight is heard."""
    nodes = chains.nodes
    chance = np.zeros(nodes.area.size)
    unsaid = np.flatnonzero(nodes.link == Link.UNSAID)
    by_look = np.array([CUT_CHANCE[look] for look in Look])
    chance[unsaid] = by_look[nodes.look[chains.previous[unsaid]]]
    return chance


def members_of(nodes: Nodes) -> Members:
    """Find the nodes of a block, in any order, that weights of whole tanks speak of."""
    left = np.flatnonzero(nodes.bucket >= 0)
    # The node before a cut is the latest one of its area and day that is none.
    order = np.lexsort((nodes.bucket >= 0, nodes.day, nodes.area))
    rank = np.empty_like(order)
    rank[order] = np.arange(order.size)
    found = order[rank[left] - 1]
    return Members(bucket=nodes.bucket[left], area=nodes.area[left], found=found, left=left)
