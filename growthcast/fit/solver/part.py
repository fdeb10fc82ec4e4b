"""Some tanks of a problem as a problem of their own.

Tanks tell of each other only through their species, of which a large book knows much. Where most
areas have settled, the others are fitted alone, their species held where the whole has them, and
put back.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import Any, TypeVar, cast

import numpy as np
from numpy.typing import NDArray

from growthcast.arrays import BoolArray, IntArray, distinct
from growthcast.fit.model.noise import SpanDrift
from growthcast.fit.rows.chains import NODES_A_BLOCK, repacked
from growthcast.fit.solver.kalman import Filtered
from growthcast.fit.solver.problem import (
    Block,
    CannotFit,
    Point,
    Pooling,
    Problem,
    Sites,
    members_of,
)
from growthcast.fit.solver.view import View, repooled
from growthcast.nouns import dataclass

Values = TypeVar("Values", bound=NDArray[Any])
Noun = TypeVar("Noun")

FEW_TANKS, MANY_AREAS = 0.5, 400
"""Share of the tanks below which some are fitted alone, in a problem of more than so many areas: in
smaller ones a step costs the same for few nodes."""
OF_AREAS = (
    *("species", "log_ceiling", "ceiling_precision", "log_habit", "habit_precision", "weighed"),
    *("ceiling_learnt", "near_ceiling", "highest_cm", "highest_sd_cm"),
    *("height_error_cm", "height_error_share"),
    *("gram_per_cm", "removed_day", "shape", "first_habit", "lag_d"),
    "rises",
)
"""Fields of a problem and of its nouns whose last axis are its areas."""
LEARNT_OF_AREAS = ("weighed", "ceiling_learnt", "near_ceiling", "highest_cm", "highest_sd_cm")
"""Fields of a pooling that a fit changes as it hears weights and sets readings aside."""
OF_NODES = ("trust", "cut_away", "expected_cm", "expected_sd_cm")
"""Fields of a block that are one value a node."""
HELD = 1e12
"""Precision of what is taken as known."""


def tanks_of(view: View, areas: BoolArray) -> BoolArray:
    """Tanks (K,) of some areas (A,).

    Parameters
    ----------
    view : View
        The problem linearised at a point.
    areas : bool array (A,)
        Which areas.

    Returns
    -------
    bool array (K,)
        Which tanks hold any of them.
    """
    pooling = view.problem.pooling
    count = np.bincount(pooling.tank[areas], minlength=pooling.tank_precision.size)
    return count > 0


def pays_alone(view: View, tanks: BoolArray) -> bool:
    """Whether tanks (K,) are so few of a large problem that it pays to fit them alone.

    Parameters
    ----------
    view : View
        The problem linearised at a point.
    tanks : bool array (K,)
        Which tanks.

    Returns
    -------
    bool
        Whether it pays.
    """
    return view.problem.area_count > MANY_AREAS and float(tanks.mean()) < FEW_TANKS


@dataclass(frozen=True, slots=True)
class Taken:
    """What a block of a part takes of one of the whole's: nodes (n,), there and in the part."""

    number: int
    there: IntArray
    here: IntArray


@dataclass(frozen=True, slots=True)
class Part:
    """A part of a problem and where it stands.

    ``areas`` (a,) are the places of its areas in the whole; ``taken`` holds for each of its blocks
    what it takes of the whole's.
    """

    problem: Problem
    point: Point
    areas: IntArray
    taken: tuple[tuple[Taken, ...], ...]

    def put_back(self, whole: View, part: View) -> View:
        """Return a view of the whole with the part, as it was fitted, in its place."""
        areas = Taken(0, self.areas, np.arange(self.areas.size))
        blocks, stages = list(whole.problem.blocks), list(whole.point.stages)
        fitted = zip(part.problem.blocks, part.point.stages, self.taken, strict=True)
        for block, moved, its in fitted:
            for one in its:
                stages[one.number] = _put(stages[one.number], one, moved)
                blocks[one.number] = _block_alike(blocks[one.number], one, block)
        pooling = _put_all(whole.problem.pooling, LEARNT_OF_AREAS, areas, part.problem.pooling)
        problem = replace(whole.problem, blocks=tuple(blocks), pooling=pooling)
        point = Point(tuple(stages), _put(whole.point.border, areas, part.point.border))
        # What the chains of the other tanks say is what it was.
        filtered = whole.let_go()
        for theirs, its in zip(part.filtered, self.taken, strict=True):
            for one in its:  # where they stand: they are most of a large book's view
                for name in Filtered.__slots__:
                    values = getattr(theirs, name)[..., one.here]
                    getattr(filtered[one.number], name)[..., one.there] = values
        information = whole.information.copy()
        information[self.areas] = part.information
        heard = _put_all(whole, ("score", "surprise"), areas, part)
        heard = replace(heard, point=point, kept=(), filtered=filtered, information=information)
        return repooled(heard, problem)


def fitted_alone(view: View, tanks: BoolArray, fit: Callable[[Problem, Point], View]) -> View:
    """Fit some tanks (K,) of a problem alone and put them back.

    Parameters
    ----------
    view : View
        The problem linearised at a point.
    tanks : bool array (K,)
        Which tanks.
    fit : callable
        Fits their problem from where it stands; no name holds a view from which another follows.

    Returns
    -------
    View
        Of the whole.

    Raises
    ------
    CannotFit
        As ``fit`` does, areas named by their places in the whole.
    """
    part = part_of(view, tanks)
    try:
        alone = fit(part.problem, part.point)
    except CannotFit as fault:
        raise CannotFit(part.areas[fault.areas]) from fault
    return part.put_back(view, alone)  # what fails here is named as in the whole already


def part_of(view: View, tanks: BoolArray) -> Part:
    """Return the part of a problem that holds some of its tanks (K,).

    Parameters
    ----------
    view : View
        The problem linearised at a point.
    tanks : bool array (K,)
        Which tanks.

    Returns
    -------
    Part
        Where the whole stands.
    """
    problem, point = view.problem, view.point
    kept = tanks[problem.pooling.tank]
    areas = np.flatnonzero(kept)
    blocks, taken = packed(problem.blocks, kept)
    part = replace(
        _of_areas(problem, areas),
        blocks=blocks,
        pooling=_pooling(view, tanks, areas),
        errors=_of_areas(problem.errors, areas),
        weights=_of_areas(problem.weights, areas),
    )
    began = Point(
        stages=tuple(_collected(point.stages, its) for its in taken), border=point.border[:, areas]
    )
    return Part(problem=part, point=began, areas=areas, taken=taken)


def packed(
    blocks: Sequence[Block], kept: BoolArray
) -> tuple[tuple[Block, ...], tuple[tuple[Taken, ...], ...]]:
    """Pack the nodes of some areas into few blocks.

    Parameters
    ----------
    blocks : sequence of Block
        The blocks they are in.
    kept : bool array (A,)
        Which areas; their places in the new blocks are those among them.

    Returns
    -------
    tuple of tuples
        The new blocks, and what each of them takes of the old ones.
    """
    at = [np.flatnonzero(kept[block.chains.nodes.area]) for block in blocks]
    size = np.array([mine.size for mine in at])
    bundle = (np.cumsum(size) - size) // NODES_A_BLOCK  # few nodes of many blocks go into one
    made = [
        _gathered(blocks, np.flatnonzero((bundle == one) & (size > 0)).tolist(), at, kept)
        for one in distinct(bundle[size > 0])
    ]
    return tuple(block for block, _ in made), tuple(taken for _, taken in made)


def _gathered(
    several: Sequence[Block], numbers: list[int], at: list[IntArray], kept: BoolArray
) -> tuple[Block, tuple[Taken, ...]]:
    """Nodes ``at`` of the blocks with these numbers as one block, areas numbered as kept."""
    there = [at[n] for n in numbers]
    chains, here = repacked([several[n].chains for n in numbers], there)
    ends = np.cumsum([mine.size for mine in there])[:-1]
    taken = tuple(map(Taken, numbers, there, np.split(here, ends)))
    areas = np.flatnonzero(kept)
    nodes = replace(chains.nodes, area=np.searchsorted(areas, chains.nodes.area))
    chains = replace(chains, nodes=nodes, area=np.searchsorted(areas, chains.area))
    block = Block(
        chains=chains,
        drift=SpanDrift(**_each(SpanDrift.__slots__, [one.drift for one in several], taken)),
        members=members_of(nodes),
        sites=Sites(**_each(Sites.__slots__, [one.sites for one in several], taken)),
        **_each(OF_NODES, several, taken),
    )
    return block, taken


def _each(names: Sequence[str], nouns: Sequence[Any], taken: tuple[Taken, ...]) -> dict[str, Any]:
    """Fields of a part's nodes, from those of the nouns of all of the whole's blocks."""
    return {name: _collected([getattr(noun, name) for noun in nouns], taken) for name in names}


def _collected(fields: Sequence[Values], taken: tuple[Taken, ...]) -> Values:
    """Values (..., n) of a part's nodes, from those of all of the whole's blocks."""
    values = np.concatenate([fields[its.number].take(its.there, axis=-1) for its in taken], axis=-1)
    collected = np.empty_like(values)
    collected[..., np.concatenate([its.here for its in taken])] = values
    return cast(Values, collected)


def _block_alike(whole: Block, taken: Taken, part: Block) -> Block:
    """Return a block with what a part of it says of sites and of which nodes are in doubt."""
    nodes = _put_all(whole.chains.nodes, ("link",), taken, part.chains.nodes)
    sites = _put_all(whole.sites, Sites.__slots__, taken, part.sites)
    whole = _put_all(whole, OF_NODES, taken, part)
    return replace(whole, chains=replace(whole.chains, nodes=nodes), sites=sites)


def _put(whole: Values, taken: Taken, part: Values) -> Values:
    """Return the whole's values with a part's among them: itself, thin as it is, if they agree."""
    old, new = whole[..., taken.there], part[..., taken.here]
    if ((old == new) | ((old != old) & (new != new))).all():
        return whole
    filled = whole.copy()
    filled[..., taken.there] = new
    return filled


def _put_all(whole: Noun, names: Sequence[str], taken: Taken, part: Noun) -> Noun:
    """Return a noun with those of its fields as a part has them."""
    filled = {name: _put(getattr(whole, name), taken, getattr(part, name)) for name in names}
    same = all(filled[name] is getattr(whole, name) for name in names)
    return whole if same else replace(whole, **filled)  # type: ignore[type-var]


def _of_areas(noun: Noun, areas: IntArray) -> Noun:
    """Return a noun with what it says of some areas."""
    told = {name: getattr(noun, name, None) for name in OF_AREAS}
    changed = {name: values[..., areas] for name, values in told.items() if values is not None}
    return replace(noun, **changed)  # type: ignore[type-var]


def _pooling(view: View, tanks: BoolArray, areas: IntArray) -> Pooling:
    """Priors of some areas, what the whole says of their species held."""
    pooling, effect = view.problem.pooling, view.pooled.species
    return replace(
        _of_areas(pooling, areas),
        tank=(np.cumsum(tanks) - 1)[pooling.tank[areas]],
        offset=(pooling.offset + effect[pooling.species])[areas],
        tank_precision=pooling.tank_precision[tanks],
        species_precision=np.full_like(effect, HELD),
    )
