"""Learning the spreads from a practice's own log.

The marginal likelihood of the readings (every rate, ceiling, effect and stage integrated out, as
linearised at the current fit) is climbed in the logarithms of the spreads, with a weak normal prior
around the defaults that keeps three tanks from yielding a spread of zero. Slopes are exact for the
linearised problem, its means held. Steps are Fisher scoring: the curvature expected of each noise,
that of neighbours left out; near the top the last step tells how it errs (BFGS). The fit settles
with the spreads. The curvature at the end is the spreads' own uncertainty. Readings far off count
less, and how much less changes with the spreads: smoothly, or the climb would jump where a reading
crosses a bound.

References
----------
Lindstrom, M. J. & Bates, D. M. (1990). Nonlinear mixed effects models for repeated measures data.
Biometrics 46, 673-687, doi 10.2307/2532087 (from memory): alternating a linearised marginal
likelihood with the fit. Longford, N. T. (1987). A fast scoring algorithm for maximum likelihood
estimation in unbalanced mixed models with nested random effects. Biometrika 74, 817-827 (from
memory).
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from growthcast.arrays import BoolArray, FloatArray
from growthcast.fit.beside import beside_told
from growthcast.fit.design import Design, with_spreads
from growthcast.fit.model.noise import KNOT_COUNT
from growthcast.fit.model.spreads import LEARNT, Spreads
from growthcast.fit.rows.chains import Link
from growthcast.fit.solver.likelihood import (
    effect_squares,
    error_parts,
    log_likelihood,
    noise_slopes,
)
from growthcast.fit.solver.problem import Point, Problem, with_heights_that_count
from growthcast.fit.solver.solve import ROUGHLY, Solution, solve
from growthcast.fit.solver.view import View, departure_of
from growthcast.fit.suspects import settled_without_suspects
from growthcast.nouns import dataclass

PRIOR_SD = 0.5
"""Standard deviation of a log spread around its default: a factor of 1.6 either way."""
LEAST_CURVATURE = 1.0 / PRIOR_SD**2
"""The prior's own: a log that says anything makes the likelihood no flatter."""
LONGEST_MOVE = 0.5
FURTHEST = 1.5
"""Three standard deviations of the prior: one absurd reading must not make wild weeks of all."""
LEAST_GAIN = 0.02
"""Learning ends when another step would raise the log likelihood by less than this."""
NEAR = 2.0
"""A step that promised less, or went too far, tells how the expected curvature errs."""
MOST_ROUNDS = 12
WIDER_BEFORE_LEARNING = 1.5
"""Before the spreads are learnt a reading is only set aside if it is this much further off."""
STEPS_BETWEEN = 1
"""Fitting steps between rounds."""
SHAPES = (-0.5, 0.0, 0.5, 1.0, 2.0)
"""Richards exponents tried for a form, its ceilings learnt."""
STRONG_EVIDENCE = 6.0
"""Log likelihood by which another bend must be the likelier: some 400 times."""
RISE, READINGS_OF_A_RISE, MOST_RISE = 3.0, 4, 0.5
"""A rise that tells of a bend goes to so many times its first height, over so many readings; so
large a share of a form's areas must have one."""
FAR_OFF = 2.5, 3.5
"""A reading teaches the spreads less from so many standard deviations on, and nothing further off
than the second: a few wild ones would widen all ranges. A normal scatter is learnt 2 % too
narrow for it."""


def learn_spreads(
    design: Design, start: Point | None = None, fitted: bool = True
) -> tuple[Design, Solution]:
    """Learn the spreads of a book and return it fitted with them.

    Parameters
    ----------
    design : Design
        A book as arrays, with the spreads to start from and lean on.
    start : Point, optional
        Where the first fit begins.
    fitted : bool
        Whether it is fitted with them: else it comes with the first fit.

    Returns
    -------
    tuple of Design and Solution
        The design with the learnt spreads, their standard deviations in ``spreads.sd``, what is
        learnt of the lags after cuts, and its fit. A log without spans teaches nothing: it comes
        back as it was.
    """
    solution = solve(design.problem, start, tolerance=ROUGHLY)
    if not design.spans.any():
        return design, solution
    view = settled_without_suspects(solution, wider=WIDER_BEFORE_LEARNING).view
    design = replace(design, problem=view.problem)
    names, default = _taught(design), design.spreads
    nothing = np.zeros(len(names))
    slope, information = _slopes(design, view, names, nothing)
    climb = _Climb(nothing, slope, _inverse(information))
    for _ in range(MOST_ROUNDS):
        if climb.gain < LEAST_GAIN:
            break
        logs = climb.next_logs()
        default = _with_lags(default, design, view)
        design = with_spreads(design, _spreads(default, names, logs))
        view = solve(design.problem, view.point, STEPS_BETWEEN, ROUGHLY).view
        climb = climb.moved_to(logs, *_slopes(design, view, names, logs))
    sd = dict(zip(names, np.sqrt(np.diag(climb.inverse)).tolist(), strict=True))
    design = with_spreads(design, replace(_with_lags(design.spreads, design, view), sd=sd))
    if fitted:
        solution = solve(design.problem, view.point, STEPS_BETWEEN, ROUGHLY)
        solution = settled_without_suspects(solution)
        design = replace(design, problem=solution.problem)
    return design, solution


def _with_lags(spreads: Spreads, design: Design, view: View) -> Spreads:
    """Return spreads with what the log says of lags and settling where a fit stands."""
    known = design.spreads
    lags, settling = beside_told(view, design.form, known.lags, known.settling)
    return replace(spreads, lags=lags, settling=settling)


def learn_bends(design: Design, solution: Solution, default: Spreads) -> tuple[Design, Solution]:
    """Let unbroken rises teach the bend of a form's curve, and its ceilings, on strong evidence.

    Parameters
    ----------
    design : Design
        A book as arrays, with the spreads that were learnt.
    solution : Solution
        Its fit.
    default : Spreads
        The spreads that learning leans on.

    Returns
    -------
    tuple of Design and Solution
        As they were, unless most areas of a form were read along a rise to several times their
        height without a cut, and their readings make another bend much the likelier. Logs of
        trimmed areas say next to nothing of a bend, and are not asked.
    """
    forms = design.priors.form[design.species]
    for form in rising_forms(design, solution.problem):
        mine = forms == form
        likeliest = log_likelihood(solution.view) + STRONG_EVIDENCE
        earlier = design.problem.rises
        rises, was = mine if earlier is None else mine | earlier, design
        for shape in SHAPES:
            bent = np.where(was.priors.form == form, shape, was.priors.shape)
            problem = replace(solution.problem, shape=bent[was.species], rises=rises)
            there = replace(was, priors=replace(was.priors, shape=bent), problem=problem)
            there = with_spreads(there, default)
            there = replace(there, problem=with_heights_that_count(there.problem))
            there, tried = learn_spreads(there)
            if (likely := log_likelihood(tried.view)) > likeliest:
                design, solution, likeliest = there, tried, likely
    return design, solution


def rising_forms(design: Design, problem: Problem, judged: bool = True) -> list[str]:
    """Return the forms of which most areas were read along a rise, and may teach a bend.

    Parameters
    ----------
    design : Design
        A book as arrays.
    problem : Problem
        Its problem, as far as its readings have been judged.
    judged : bool
        Whether readings that were set aside are left out; with all of them no form is missed.

    Returns
    -------
    list of str
        Names of forms, in order.
    """
    rising, forms = _rising(problem, judged) & ~design.is_cover, design.priors.form[design.species]
    some = sorted(set(forms[rising].tolist()))
    return [form for form in some if rising[forms == form].mean() >= MOST_RISE]


def _rising(problem: Problem, judged: bool = True) -> BoolArray:
    """Whether an area (A,) was read along a rise to ``RISE`` times its height without a cut."""
    rising = np.zeros(problem.area_count, dtype=bool)
    for block in problem.blocks:
        chains, nodes = block.chains, block.chains.nodes
        read = chains.read & np.isnan(nodes.aim_sd_cm) & ((block.trust == 1.0) | (not judged))
        lowest, readings = np.where(read, nodes.reading_cm, np.inf), read.astype(np.int64)
        for here in chains.positions[1:]:
            at = np.arange(here.start, here.stop)
            at = at[read[at] & (nodes.link[at] == Link.GREW) & read[chains.previous[at]]]
            lowest[at] = np.minimum(lowest[at], lowest[chains.previous[at]])
            readings[at] += readings[chains.previous[at]]
        risen = (readings >= READINGS_OF_A_RISE) & (nodes.reading_cm >= RISE * lowest)
        rising[nodes.area[risen]] = True
    return rising


@dataclass(frozen=True, slots=True)
class _Climb:
    """Where the log spreads (n,) stand, the slope there, and the inverse curvature (n, n)."""

    logs: FloatArray
    slope: FloatArray
    inverse: FloatArray

    @property
    def move(self) -> FloatArray:
        """The next quasi-Newton step; none of those that stand as far as they may and want on."""
        free = (np.abs(self.logs) < FURTHEST) | (self.slope * self.logs < 0.0)
        return np.where(free, self.inverse @ np.where(free, self.slope, 0.0), 0.0)

    @property
    def gain(self) -> float:
        """Log likelihood that the next step promises."""
        return 0.5 * float(self.slope @ self.move)

    def next_logs(self) -> FloatArray:
        """Log spreads a step further."""
        stepped = self.logs + self.move * min(1.0, LONGEST_MOVE / np.abs(self.move).max())
        logs: FloatArray = np.clip(stepped, -FURTHEST, FURTHEST)
        return logs

    def moved_to(self, logs: FloatArray, slope: FloatArray, information: FloatArray) -> _Climb:
        """Stand at new log spreads, the curvature there corrected by the step to them (BFGS)."""
        step, flatter = logs - self.logs, self.slope - slope
        along, inverse = float(step @ flatter), _inverse(information)
        straight = self.gain < NEAR or float(slope @ step) < 0.0
        if straight and along > LEAST_CURVATURE * float(step @ step):
            turned = np.eye(step.size) - np.outer(step, flatter) / along
            inverse = turned @ inverse @ turned.T + np.outer(step, step) / along
        return _Climb(logs, slope, inverse)


def _inverse(matrix: FloatArray) -> FloatArray:
    return np.asarray(np.linalg.inv(matrix), dtype=np.float64)


def _taught(design: Design) -> list[str]:
    """Spreads of which the log says anything at all."""
    weighed = any(
        (block.chains.nodes.link == Link.WEIGHED).any() for block in design.problem.blocks
    )
    return [name for name in LEARNT if name != "weight" or weighed]


def _spreads(start: Spreads, names: list[str], logs: FloatArray) -> Spreads:
    factors = dict(zip(names, np.exp(logs).tolist(), strict=True))
    return replace(start, **{name: getattr(start, name) * by for name, by in factors.items()})


def _slopes(
    design: Design, view: View, names: list[str], logs: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Slope (n,) of the log posterior in the log spreads, and the curvature (n, n) expected."""
    problem, pooling, departure = view.problem, view.problem.pooling, departure_of(view)
    slope, information = np.zeros(len(names)), np.zeros((len(names), len(names)))
    squares = effect_squares(view, departure)
    kept = design.spreads.tank**2 * pooling.tank_precision  # what looks say of a tank widens it
    for name, share, precision in (
        ("species", 1.0, pooling.species_precision),
        ("tank", kept, pooling.tank_precision),
        ("area", 1.0, pooling.area_precision),
    ):
        (square, variance), at = squares[name], names.index(name)
        slope[at] = (share * (precision * square - 1.0)).sum()
        information[at, at] = 2.0 * ((share * (1.0 - precision * variance)) ** 2).sum()
    (square, variance), at = squares["drift"], names.index("drift")
    left = np.eye(KNOT_COUNT) - variance
    slope[at] = (square - KNOT_COUNT).sum()
    information[at, at] = 2.0 * np.einsum("kij,kji->k", left, left).sum()
    for number, block in enumerate(problem.blocks):
        forward = view.forward(number)
        ruled = ~design.is_cover[block.chains.nodes.area]  # cover is judged by eye
        off = np.abs(forward.innovation_cm) * np.sqrt(forward.innovation_precision)
        # What an amount cut off says far off, it says of the span before it.
        cut, before = block.chains.cut, block.chains.previous[block.chains.cut]
        off[before] = np.maximum(off[before], off[cut])
        sound = np.interp(off, FAR_OFF, (1.0, 0.0))
        parts = error_parts(problem, block, forward.at, view.point.border)
        told = [name for name in names if name in parts]
        at_names = [names.index(name) for name in told]
        weight = np.array([sound * ruled if name.startswith("height") else sound for name in told])
        for which, (of_noise, precision) in enumerate(noise_slopes(view, number, departure)):
            part = np.array([parts[name][which] for name in told])
            slope[at_names] += 2.0 * (weight * part) @ of_noise
            part = np.sqrt(weight) * part * precision
            information[np.ix_(at_names, at_names)] += 2.0 * part @ part.T
    prior = np.eye(len(names)) / PRIOR_SD**2
    return slope - prior @ logs, information + prior
