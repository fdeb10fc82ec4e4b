"""A small fit problem with links and readings of every kind, made without a book."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from growthcast.fit.model.noise import ErrorModel, knot_precision
from growthcast.fit.rows.chains import Link, Nodes, pack_chains
from growthcast.fit.solver.problem import Block, Pooling, Problem, Weights
from growthcast.log.visits import Look

FRESH, AIMED, GREW = int(Link.FRESH), int(Link.AIMED), int(Link.GREW)
CUT, WEIGHED = int(Link.CUT), int(Link.WEIGHED)
TANK = np.array([0, 0, 0, 1, 1, 2, 2])
SPECIES = np.array([0, 1, 2, 0, 1, 2, 2])
ON_DAY = 50.0
KNOWN = 1e8
"""Precision of what is taken as known."""
RATE_PER_DAY, CEILING_CM, BEGAN_CM, DAYS, ERROR_CM = 0.08, 20.0, 5.0, 20.0, 1.5
READ_CM = np.linspace(9.0, 14.0, 7)
FIELDS = ("area", "day", "link", "growth_d", "reading_cm", "removed_cm", "look")


def small_nodes(rng):
    """Return the nodes of seven areas; the last one has a guess only."""
    rows = []

    def node(area, day, link, grown=0.0, read=np.nan, off=np.nan, look=0):
        rows.append((area, day, link, grown, read, off, look))

    for area in range(6):
        node(area, 0.0, FRESH, read=8.0 + rng.normal(0, 0.4))
        node(area, 0.0, AIMED, read=4.0 + rng.normal(0, 0.4))
        for visit in range(1, 4 + area % 3):
            day = 10.0 * visit
            if area == 4 and visit == 2:  # measured, not cut
                node(area, day, GREW, 10.0, read=9.0)
            elif area == 3 and visit == 2:  # judged by eye, then cut without a reading
                node(area, day, GREW, 10.0, look=Look.RIGHT)
                node(area, day, AIMED)
            elif area == 1 and visit % 2:  # only the length cut off is known
                node(area, day, GREW, 10.0)
                node(area, day, CUT, off=4.0 + rng.normal(0, 0.5))
            elif area == 5 and visit % 2:  # only the weight of it
                node(area, day, GREW, 10.0)
                node(area, day, WEIGHED, off=4.0 + rng.normal(0, 0.5))
            else:
                node(area, day, GREW, 9.0, read=8.0 + rng.normal(0, 1.0))
                node(area, day, AIMED, read=4.0 + rng.normal(0, 0.4))
    node(6, 30.0, FRESH)
    field = dict(zip(FIELDS, (np.array(column) for column in zip(*rows, strict=True)), strict=True))
    link, blank = field["link"].astype(np.int64), np.full(len(rows), np.nan)
    alone = field["area"] == 6
    found = (link == GREW) & np.isnan(field["reading_cm"])
    return Nodes(
        area=field["area"].astype(np.int64),
        day=field["day"],
        link=link,
        growth_d=field["growth_d"],
        span_d=np.where(link == GREW, 10.0, 0.0),
        pause_doubt=np.where((link == GREW) & (field["area"] % 3 == 2), 0.3, 0.0),
        lag_per_d=np.where(link == GREW, 0.05, 0.0),
        by_settling=np.zeros(link.size),
        reading_cm=field["reading_cm"],
        reading_sd_cm=blank,
        aim_sd_cm=np.where(link == FRESH, np.nan, 0.6),
        guess_cm=np.where(alone, 6.0, np.where(found, 7.0, blank)),
        guess_sd_cm=np.where(alone, 2.0, np.where(found, 2.8, blank)),
        removed_cm=field["removed_cm"],
        floor_cm=np.full(len(rows), 3.0),
        budget_cm=np.full(len(rows), 11.0),
        look=field["look"].astype(np.int64),
        pause_d=np.zeros(len(rows)),
        lag_share=np.zeros(len(rows)),
        bucket=np.full(len(rows), -1),
        row=np.arange(len(rows)),
    )


def no_weights(areas):
    """Return what a log without any whole tank's weight tells of them."""
    none, nothing = np.zeros(0), np.zeros(0, dtype=bool)
    rows = np.zeros(0, dtype=np.int64)
    return Weights(
        grams=none,
        everything=nothing,
        said=nothing,
        row=rows,
        gram_per_cm=np.ones(areas),
        removed_day=np.full(areas, np.nan),
    )


def problem_of(nodes, pooling, errors, shape, first_habit, nodes_a_block=16_000):
    """Return a problem of these nodes, packed."""
    chains = pack_chains(nodes, pooling.tank, nodes_a_block)
    blocks = tuple(Block.of(block, ON_DAY) for block in chains)
    areas = pooling.tank.size
    lag_d = 0.5 + pooling.species
    return Problem(blocks, pooling, errors, no_weights(areas), shape, first_habit, lag_d)


def small_problem(seed=3, order=None, nodes_a_block=16_000):
    """Return the problem, with areas relabelled by ``order`` and in blocks of some size."""
    nodes = small_nodes(np.random.default_rng(seed))
    order = np.arange(7) if order is None else np.asarray(order)
    place = np.argsort(order)
    nodes = nodes.take(np.lexsort((np.arange(nodes.area.size), place[nodes.area])))
    nodes = Nodes(place[nodes.area], *(getattr(nodes, name) for name in Nodes.__slots__[1:]))
    pooling = Pooling(
        tank=TANK[order],
        species=SPECIES[order],
        offset=np.log(np.array([0.08, 0.06, 0.1, 0.08, 0.06, 0.1, 0.1]))[order],
        log_ceiling=np.log(np.full(7, 20.0)),
        ceiling_precision=np.full(7, 1.0 / 0.2**2),
        density_precision=1.0 / 0.5**2,
        weighed=np.zeros((2, 7)),
        log_habit=np.log(np.full(7, 4.0)),
        habit_precision=np.full(7, 1.0 / 0.3**2),
        area_precision=1.0 / 0.2**2,
        tank_precision=1.0 / np.array([0.3, 0.4, 0.3]) ** 2,
        species_precision=1.0 / np.array([0.3, 0.5, 0.4]) ** 2,
        knot_precision=knot_precision() / 0.15**2,
        ceiling_learnt=np.ones(7, dtype=bool),
        near_ceiling=np.zeros(7, dtype=bool),
        highest_cm=np.zeros((2, 7)),
        highest_sd_cm=np.zeros((2, 7)),
        bend_doubt=1.0,
    )
    errors = ErrorModel(
        height_error_cm=np.full(7, 0.5),
        height_error_share=np.full(7, 0.05),
        span=0.2,
        drift=0.15,
        weight=0.2,
    )
    shape = np.array([1, 1, 1, 1.0, 0.5, 1, 1.4])[order]
    return problem_of(nodes, pooling, errors, shape, np.log(np.full(7, 4.0)), nodes_a_block)


def one_reading_problem(spread, read_cm=READ_CM, began_sd_cm=1e-3):
    """Return seven areas planted at a known height and read once; only their rates are unsure."""
    grew = np.tile([False, True], 7)
    nodes = replace(
        small_nodes(np.random.default_rng(3)).take(np.full(14, -1)),
        area=np.repeat(np.arange(7), 2),
        day=np.where(grew, DAYS, 0.0),
        link=np.where(grew, Link.GREW, Link.FRESH).astype(np.int64),
        growth_d=np.where(grew, DAYS, 0.0),
        span_d=np.where(grew, DAYS, 0.0),
        reading_cm=np.where(grew, np.repeat(read_cm, 2), np.nan),
        guess_cm=np.where(grew, np.nan, BEGAN_CM),
        guess_sd_cm=np.where(grew, np.nan, began_sd_cm),
    )
    whole, nothing = small_problem(), np.zeros(7)
    pooling = replace(
        whole.pooling,
        offset=np.full(7, np.log(RATE_PER_DAY)),
        area_precision=spread**-2.0,
        ceiling_precision=np.full(7, KNOWN),
        tank_precision=np.full(3, KNOWN),
        species_precision=np.full(3, KNOWN),
        knot_precision=KNOWN * knot_precision(),
    )
    errors = replace(
        whole.errors,
        height_error_cm=nothing + ERROR_CM,
        height_error_share=nothing,
        span=1e-3,
        drift=1e-3,
    )
    return problem_of(nodes, pooling, errors, np.ones(7), whole.first_habit)
