"""Learning the spreads from a practice's own log.

The marginal likelihood of the readings (every rate, ceiling, effect and stage integrated out, as
linearised at the current fit) is climbed in the logarithms of the spreads, with a weak normal prior
around the defaults that keeps three tanks from yielding a spread of zero. One round is a Newton
step along each spread, from three evaluations; between rounds the fit is settled again. The
curvature that is left is the spreads' own uncertainty.

References
----------
Lindstrom, M. J. & Bates, D. M. (1990). Nonlinear mixed effects models for repeated measures data.
Biometrics 46, 673-687, doi 10.2307/2532087 (from memory): alternating a linearised marginal
likelihood with the fit.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from growthcast.fit.design import Design, with_spreads
from growthcast.fit.rows.chains import Link
from growthcast.fit.solver.likelihood import log_likelihood
from growthcast.fit.solver.problem import Point, Problem
from growthcast.fit.solver.solve import ROUGHLY, Solution, solve, view_of
from growthcast.fit.spreads import LEARNT, Spreads
from growthcast.fit.suspects import set_suspects_aside

__all__ = ["learn_spreads"]

FloatArray = NDArray[np.float64]

PRIOR_SD = 0.5
"""Standard deviation of a log spread around its default: a factor of 1.6 either way."""
STEP = 0.15
"""Change of a log spread by which its slope and curvature are measured."""
LONGEST_MOVE = 0.5
SETTLED = 0.02
"""Rounds end when no log spread moves further than this."""
MOST_ROUNDS = 6
WIDER_BEFORE_LEARNING = 1.5
"""Before the spreads are learnt a reading is only set aside if it is this much further off."""
STEPS_BETWEEN = 6
"""Fitting steps between rounds."""


def learn_spreads(design: Design) -> tuple[Design, Solution]:
    """Learn the spreads of a book and return it fitted with them.

    Parameters
    ----------
    design : Design
        A book as arrays, with the spreads to start from and lean on.

    Returns
    -------
    tuple of Design and Solution
        The design with the learnt spreads, their standard deviations in ``spreads.sd``, and its
        fit. A log without spans teaches nothing: it comes back as it was.
    """
    solution = solve(design.problem, tolerance=ROUGHLY)
    if not design.spans.any():
        return design, solution
    design, solution = set_suspects_aside(design, solution, wider=WIDER_BEFORE_LEARNING)
    names = _taught(design)
    start = design.spreads
    logs = dict.fromkeys(names, 0.0)  # log of each spread over its default
    curvature = dict.fromkeys(names, 1.0 / PRIOR_SD**2)
    for _ in range(MOST_ROUNDS):
        moves = {}
        level = _level(design, solution.point, start, logs)
        for name in names:
            up, down = (
                _level(design, solution.point, start, {**logs, name: logs[name] + way * STEP})
                for way in (1.0, -1.0)
            )
            slope = (up - down) / (2.0 * STEP)
            curvature[name] = max(-(up - 2.0 * level + down) / STEP**2, 1.0 / PRIOR_SD**2)
            moves[name] = float(np.clip(slope / curvature[name], -LONGEST_MOVE, LONGEST_MOVE))
        logs = {name: logs[name] + moves[name] for name in names}
        design = with_spreads(design, _spreads(start, logs))
        solution = solve(design.problem, solution.point, STEPS_BETWEEN, ROUGHLY)
        if max(abs(move) for move in moves.values()) < SETTLED:
            break
    sd = {name: float(1.0 / np.sqrt(curvature[name])) for name in names}
    design = with_spreads(design, replace(_spreads(start, logs), sd=sd))
    return set_suspects_aside(design, solution)


def _taught(design: Design) -> list[str]:
    """Spreads of which the log says anything at all."""
    weighed = any(
        (block.chains.nodes.link == Link.WEIGHED).any() for block in design.problem.blocks
    )
    return [name for name in LEARNT if name != "weight" or weighed]


def _spreads(start: Spreads, logs: dict[str, float]) -> Spreads:
    changed = {name: getattr(start, name) * float(np.exp(log)) for name, log in logs.items()}
    return replace(start, **changed)


def _level(design: Design, point: Point, start: Spreads, logs: dict[str, float]) -> float:
    """Log likelihood of the readings plus the log prior of the spreads."""
    problem: Problem = with_spreads(design, _spreads(start, logs)).problem
    prior = -0.5 * sum(log**2 for log in logs.values()) / PRIOR_SD**2
    return log_likelihood(problem, point, view_of(problem, point)) + prior
