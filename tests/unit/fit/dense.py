"""The joint normal equations of a small problem as one dense matrix: a reference for the arrows."""

from __future__ import annotations

import numpy as np

from growthcast.fit.solver.problem import BORDER, CEILING, DENSITY, HABIT, KNOTS, RATE


def inputs_of(at):
    """How stages go with the border, (B, N): the knots as the log rate, weighed by the drift."""
    return np.concatenate([at.own_inputs, at.own_inputs[RATE] * at.drift])


def layout(pooling):
    """Where each unknown stands: species, tank effects, knots (K, M), own (3, A), area effects."""
    sizes = [
        pooling.species_precision.shape,
        pooling.tank_precision.shape,
        (pooling.tank_precision.size, BORDER - KNOTS),
        (3, pooling.tank.size),
        pooling.tank.shape,
    ]
    ends = np.cumsum([0, *(int(np.prod(size)) for size in sizes)])
    places = [
        np.arange(begin, end).reshape(size)
        for begin, end, size in zip(ends, ends[1:], sizes, strict=False)
    ]
    return places, int(ends[-1])


def borders_of(pooling):
    """Matrices (A, B, U): every border from the unknowns."""
    (species, tanks, knots, own, areas), size = layout(pooling)
    into = np.zeros((pooling.tank.size, BORDER, size))
    for a, (tank, plant) in enumerate(zip(pooling.tank, pooling.species, strict=True)):
        for parameter in (CEILING, HABIT, DENSITY):
            into[a, parameter, own[parameter, a]] = 1.0
        into[a, RATE, [species[plant], tanks[tank], areas[a]]] = 1.0
        into[a, np.arange(KNOTS, BORDER), knots[tank]] = 1.0
    return into


def joint(view, raised=0.0):
    """Mean (U,), covariance (U, U) of the unknowns, and the borders' matrices (A, B, U).

    ``raised`` is added to what all log rates are centred on. Where a ceiling is not learnt the
    chain says nothing of it, and the rate moves with it as ``rate_by_ceiling`` has it.
    """
    pooling, point = view.problem.pooling, view.point.border
    (species, tanks, knots, own, areas), size = layout(pooling)
    into, precision, right = borders_of(pooling), np.zeros((size, size)), np.zeros(size)
    precision[species, species] = pooling.species_precision
    precision[tanks, tanks] = pooling.tank_precision
    for mine in knots:
        precision[np.ix_(mine, mine)] = pooling.knot_precision
    precision[areas, areas] = pooling.area_precision
    priors = pooling.own_priors()
    for parameter, (centre, of_prior) in zip((CEILING, HABIT, DENSITY), priors, strict=True):
        precision[own[parameter], own[parameter]] += of_prior
        right[own[parameter]] += of_prior * centre
    for a, learnt in enumerate(pooling.ceiling_learnt):
        information, score = view.information[a].copy(), view.score[:, a].copy()
        if not learnt:
            information[CEILING] = information[:, CEILING] = score[CEILING] = 0.0
        off = np.zeros(BORDER)
        off[RATE] = pooling.offset[a] + raised
        precision += into[a].T @ information @ into[a]
        right += into[a].T @ (score + information @ (point[:, a] - off))
        if not learnt:
            into[a, RATE] += view.pooled.rate_by_ceiling[a] * into[a, CEILING]
    covariance = np.linalg.inv(precision)
    return covariance @ right, covariance, into
