"""Readings that do not belong: slipped decimals, mistaken areas, cuts that nobody logged.

Each reading is weighed against what was foreseen without it. It may be as good as any other, or be
a gross error (ten times as wide), or, where it is low, stand after a cut that is not in the log; a
cut may also have been made elsewhere than usual, which is no error. Where one of these is the
likelier, the reading loses its weight, or the span before it is broken. The worst of each area is
judged first, since one bad reading makes its neighbours look bad.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from growthcast.arrays import BoolArray, FloatArray, IntArray
from growthcast.fit.design import Design
from growthcast.fit.model.noise import look_log_chance
from growthcast.fit.rows.chains import Link, Nodes
from growthcast.fit.solver.part import fitted_alone, pays_alone, tanks_of
from growthcast.fit.solver.problem import HABIT, Block, Point, Problem, with_heights_that_count
from growthcast.fit.solver.solve import ROUGHLY, Solution, go_on, solve
from growthcast.fit.solver.view import View
from growthcast.growth.normal import log_density, normal_quantile
from growthcast.log.visits import Look
from growthcast.nouns import dataclass

GROSS_SHARE, UNLOGGED_SHARE, UNUSUAL_SHARE, MISTAKEN_SHARE = 0.02, 0.02, 0.05, 0.04
"""How often a reading is a gross error, a span holds an unlogged cut, a cut is made elsewhere, an
amount cut off is not what came off since the cut before."""
GROSS_WIDTH = 10.0
"""A gross error is this many times as wide as a usual one."""
LOWEST_UNLOGGED_SHARE = 0.7
"""An unlogged cut leaves at least this share of the usual height."""
TRUST_OF_A_SUSPECT = 1e-4
"""Share of its weight that a gross error keeps."""
UNUSUAL_SPREAD = 0.6
"""Log spread of cuts made elsewhere than usual, around the usual height."""
MOST_ROUNDS = 4
STEPS_BETWEEN = 8

NODES = normal_quantile(((np.arange(16) + 0.5) / 16.0).astype(np.float64))
SHARES_BELOW = (np.arange(8) + 0.5) / 8.0
"""Heights at which a look is weighed: equal shares of what was foreseen, and of all below it."""
LEAST_CHANCE = 1e-12

SOUND, GROSS, UNLOGGED, UNUSUAL, MISTAKEN = range(5)
"""Of a reading: as good as any, a gross error, after a cut nobody logged, after a cut made
elsewhere than usual. Of an amount cut off: not what came off since the cut before."""


@dataclass(frozen=True, slots=True)
class Suspect:
    """A log row that was set aside: its number in the file, what it says and what was foreseen.

    Of ``removed_cm``, ``reading_cm`` and ``look`` the first that is not None is what was judged;
    ``unlogged_cut`` tells whether a cut that is not in the log explains it better than an error.
    """

    file: str
    row: int
    area_id: str
    unit: str
    removed_cm: float | None
    reading_cm: float | None
    look: str
    foreseen_cm: float
    foreseen_sd_cm: float
    unlogged_cut: bool


def settled_without_suspects(solution: Solution, wider: float = 1.0) -> Solution:
    """Judge every reading and fit again without the weight of those that do not belong.

    Parameters
    ----------
    solution : Solution
        A fit.
    wider : float
        Factor on standard deviations of what was foreseen, above 1 for spreads not learnt yet [-].

    Returns
    -------
    Solution
        The fit of the problem as judged.
    """
    last = [solution.view]  # no name holds one while another follows from it: views are large
    del solution
    last = [_without_suspects(last.pop(), wider)]
    return go_on(last.pop())


def _without_suspects(view: View, wider: float) -> View:
    for _ in range(MOST_ROUNDS):
        blocks, changed = [], np.zeros(view.problem.area_count, dtype=bool)
        for number, block in enumerate(view.problem.blocks):
            new = _judged(block, _foreseen(view, number), wider)
            nodes = block.chains.nodes
            differs = (new.trust != block.trust) | (new.chains.nodes.link != nodes.link)
            changed[nodes.area[differs]] = True
            blocks.append(new)
        judged = with_heights_that_count(replace(view.problem, blocks=tuple(blocks)))
        view = replace(view, problem=judged)
        if not changed.any():
            return view
        tanks = tanks_of(view, changed)
        if pays_alone(view, tanks):  # the others stay where they are: they have been judged

            def judged_alone(problem: Problem, point: Point) -> View:
                return _without_suspects(solve(problem, point, STEPS_BETWEEN, ROUGHLY).view, wider)

            return fitted_alone(view, tanks, judged_alone)
        view = solve(view.problem, view.point, STEPS_BETWEEN, ROUGHLY).view
    return view


@dataclass(frozen=True, slots=True)
class _Foreseen:
    """Heights foreseen in a block, (N,), with the variances of both them and a reading.

    ``usual`` are the log heights that the areas are usually cut to; ``off`` is what each node's
    reading or guess says beyond what was foreseen, ``off_variance`` that of both.
    """

    height: FloatArray
    variance: FloatArray
    error: FloatArray
    usual: FloatArray
    off: FloatArray
    off_variance: FloatArray


def _foreseen(view: View, number: int) -> _Foreseen:
    """What was foreseen at the nodes of a block, without their own readings."""
    forward = view.forward(number)
    at, chains = forward.at, forward.chains
    root = view.pooled.covariance_root(chains.area)
    unsure = forward.variance_along(root, forward.innovation[1:])
    precision = forward.innovation_precision
    return _Foreseen(
        height=at.expected_cm,
        variance=at.observation**2 * forward.predicted_variance + unsure,
        error=view.problem.errors.reading_variance(
            at.expected_cm, chains.nodes.area, chains.nodes.reading_sd_cm
        ),
        usual=view.point.border[HABIT, chains.nodes.area],
        off=forward.innovation_cm,
        off_variance=1.0 / np.where(precision > 0.0, precision, 1.0) + unsure,
    )


def _judged(block: Block, foreseen: _Foreseen, wider: float) -> Block:
    """Act on the likeliest verdicts on the nodes of a block, and keep what was foreseen there."""
    new = _set_aside(block, *_verdicts(block, foreseen, wider))
    # Once a span is broken, what was foreseen cannot be told.
    nodes = block.chains.nodes
    told = (new.trust < 1.0) & ~_dropped(nodes) | (new.cut_away & ~block.cut_away)
    if not told.any():
        return new
    amount = nodes.link >= Link.CUT
    expected = np.where(amount, nodes.removed_cm - foreseen.off, foreseen.height)
    variance = np.where(amount, foreseen.off_variance, foreseen.variance)
    return replace(
        new,
        expected_cm=np.where(told, np.maximum(expected, 0.0), new.expected_cm),
        expected_sd_cm=np.where(told, np.sqrt(variance), new.expected_sd_cm),
    )


def _verdicts(block: Block, foreseen: _Foreseen, wider: float) -> tuple[IntArray, FloatArray]:
    """Likeliest verdict (N,) on each node, and by how much (log) it beats a sound reading."""
    nodes, read = block.chains.nodes, block.chains.read
    height, error = foreseen.height, foreseen.error
    variance = foreseen.variance * wider**2
    reading = nodes.reading_cm
    off = np.where(read, reading - height, 0.0)
    sound = np.log(1.0 - GROSS_SHARE - UNLOGGED_SHARE) + log_density(off, variance + error)
    gross = np.log(GROSS_SHARE) + log_density(off, variance + GROSS_WIDTH**2 * error)
    grew, aimed = nodes.link == Link.GREW, nodes.link == Link.AIMED
    # After a cut that nobody logged it stands between where it is cut to and what was foreseen.
    bottom = np.minimum(LOWEST_UNLOGGED_SHARE * np.exp(foreseen.usual), 0.5 * height)
    low = grew & (reading < height) & (reading > bottom)
    room = np.where(low, height - bottom, 1.0)
    unlogged = np.where(low, np.log(UNLOGGED_SHARE / room), -np.inf)
    apart = np.log(np.maximum(reading, 1e-9)) - foreseen.usual
    elsewhere = np.log(UNUSUAL_SHARE / np.maximum(reading, 1e-9))
    elsewhere = elsewhere + log_density(apart, np.full_like(apart, UNUSUAL_SPREAD**2))
    unusual = np.where(aimed, elsewhere, -np.inf)
    seen = np.flatnonzero((nodes.look > 0) & ~read)
    if seen.size:
        sound[seen], unlogged[seen] = _chances_of_looks(block, foreseen, seen, variance, bottom)
    # Of a fresh start nothing was foreseen, so nothing can be said against it.
    judged = (read & (grew | aimed)) | (grew & (nodes.look > 0))
    amount = np.flatnonzero((nodes.link >= Link.CUT) & ~read)
    mistaken = np.full(sound.size, -np.inf)
    off, spread = foreseen.off[amount], foreseen.off_variance[amount] * wider**2
    sound[amount] = np.log(1.0 - MISTAKEN_SHARE) + log_density(off, spread)
    stood = np.maximum(height[block.chains.previous[amount]], np.sqrt(spread))
    mistaken[amount] = np.log(MISTAKEN_SHARE / stood)
    judged[amount] = True
    chances = np.stack([sound, gross, unlogged, unusual, mistaken])
    chances[[GROSS, UNLOGGED, UNUSUAL], amount[:, None]] = -np.inf
    beats = np.where(judged, chances.max(axis=0) - sound, 0.0)
    verdict, beaten = np.full(sound.size, SOUND), np.flatnonzero(beats)
    verdict[beaten] = np.argmax(chances[:, beaten], axis=0)
    return verdict, beats


def _chances_of_looks(
    block: Block, foreseen: _Foreseen, seen: IntArray, variance: FloatArray, bottom: FloatArray
) -> list[FloatArray]:
    """How likely looks without a height are, as logs: as foreseen, after a cut nobody logged."""
    height, spread, bottom = foreseen.height[seen], np.sqrt(variance[seen]), bottom[seen]
    nodes = block.chains.nodes
    look, *bounds = nodes.look[seen], nodes.floor_cm[seen], nodes.budget_cm[seen]
    ahead = np.maximum(height[:, None] + spread[:, None] * NODES, 0.01 * height[:, None])
    below = bottom[:, None] + (height - bottom)[:, None] * SHARES_BELOW
    chances = (np.exp(look_log_chance(look, heights, *bounds)) for heights in (ahead, below))
    shares = zip((1.0, UNLOGGED_SHARE), chances, strict=True)
    return [np.log(share * chance.mean(axis=1) + LEAST_CHANCE) for share, chance in shares]


def _set_aside(block: Block, verdict: IntArray, beats: FloatArray) -> Block:
    """Act on the worst verdict of each area, and take back what no longer stands."""
    nodes = block.chains.nodes
    kept = (block.trust < 1.0) & ((verdict == GROSS) | _dropped(nodes))
    fresh = np.where((block.trust == 1.0) & (verdict != SOUND), beats, 0.0)
    worst = np.zeros(int(nodes.area.max(initial=0)) + 1)
    np.maximum.at(worst, nodes.area, fresh)
    new = (fresh > 0.0) & (fresh == worst[nodes.area])
    aside = kept | (new & ((verdict == GROSS) | (verdict == MISTAKEN)))
    trust = np.where(aside, TRUST_OF_A_SUSPECT, 1.0)
    broken = new & ((verdict == UNLOGGED) | (verdict == UNUSUAL))
    if not broken.any() and (trust == block.trust).all():
        return block
    link = np.where(broken, int(Link.FRESH), nodes.link)
    link[new & (verdict == MISTAKEN)] = Link.AIMED
    cut_away = block.cut_away | (new & (verdict == UNLOGGED))
    chains = replace(block.chains, nodes=replace(nodes, link=link))
    return replace(block, chains=chains, trust=trust, cut_away=cut_away)


def _dropped(nodes: Nodes) -> BoolArray:
    """Whether a node (N,) is a cut whose logged amount is not used."""
    dropped: BoolArray = (nodes.link == Link.AIMED) & np.isfinite(nodes.removed_cm)
    return dropped


def suspects_of(design: Design, problem: Problem) -> list[Suspect]:
    """Return the rows that were set aside.

    Parameters
    ----------
    design : Design
        A book as arrays.
    problem : Problem
        What was fitted of it.

    Returns
    -------
    list of Suspect
        In the order of the log.
    """
    found = []
    for block in problem.blocks:
        nodes, dropped = block.chains.nodes, _dropped(block.chains.nodes)
        found += [
            Suspect(
                file="trims.csv",
                row=int(design.row_numbers[nodes.row[i]]),
                area_id=str(design.area_id[nodes.area[i]]),
                unit="% cover" if design.is_cover[nodes.area[i]] else "cm",
                removed_cm=float(nodes.removed_cm[i]) if dropped[i] else None,
                reading_cm=float(nodes.reading_cm[i]) if np.isfinite(nodes.reading_cm[i]) else None,
                look=Look(int(nodes.look[i])).name.lower(),
                foreseen_cm=float(block.expected_cm[i]),
                foreseen_sd_cm=float(block.expected_sd_cm[i]),
                unlogged_cut=bool(block.cut_away[i]),
            )
            for i in np.flatnonzero((block.trust < 1.0) | block.cut_away).tolist()
        ]
    return sorted(found, key=lambda suspect: suspect.row)
