"""Learning the spreads from a practice's own log.

The marginal likelihood of the readings (every rate, ceiling, effect and stage integrated out, as
linearised at the current fit) is climbed in the logarithms of the spreads, with a weak normal prior
around the defaults that keeps three tanks from yielding a spread of zero. Slopes are exact for the
linearised problem, its means held; curvature comes from how they change around the start and then
along the way (BFGS), while the fit settles with the spreads. The curvature at the end is the
spreads' own uncertainty. Readings far off count less, and how much less changes with the spreads:
smoothly, or the climb would jump where a reading crosses a bound.

References
----------
Lindstrom, M. J. & Bates, D. M. (1990). Nonlinear mixed effects models for repeated measures data.
Biometrics 46, 673-687, doi 10.2307/2532087 (from memory): alternating a linearised marginal
likelihood with the fit.
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
from growthcast.fit.solver.likelihood import error_parts, log_likelihood, variance_slopes
from growthcast.fit.solver.problem import Point, with_heights_that_count
from growthcast.fit.solver.solve import ROUGHLY, Solution, solve
from growthcast.fit.solver.view import repooled, view_of
from growthcast.fit.suspects import set_suspects_aside
from growthcast.nouns import dataclass

PRIOR_SD = 0.5
"""Standard deviation of a log spread around its default: a factor of 1.6 either way."""
LEAST_CURVATURE = 1.0 / PRIOR_SD**2
"""The prior's own: a log that says anything makes the likelihood no flatter."""
POOLED = ("species", "tank", "area")
"""Spreads that what the chains say does not depend on."""
STEP = 0.02
"""Change of a log spread by which curvature is measured."""
LONGEST_MOVE = 0.5
LEAST_GAIN = 0.02
"""Learning ends when another step would raise the log likelihood by less than this."""
MOST_ROUNDS = 12
WIDER_BEFORE_LEARNING = 1.5
"""Before the spreads are learnt a reading is only set aside if it is this much further off."""
STEPS_BETWEEN = 2
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
    design: Design, start: Point | None = None, *, doubt: bool = True
) -> tuple[Design, Solution]:
    """Learn the spreads of a book and return it fitted with them.

    Parameters
    ----------
    design : Design
        A book as arrays, with the spreads to start from and lean on.
    start : Point, optional
        Where the first fit begins.
    doubt : bool
        Whether to work out the spreads' own standard deviations, a twentieth of the work.

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
    design, solution = set_suspects_aside(design, solution, wider=WIDER_BEFORE_LEARNING)
    names, default = _taught(design), design.spreads
    nothing = np.zeros(len(names))
    slope = _slopes(design, solution, names, nothing)
    climb = _Climb(nothing, slope, _covariance(design, solution, default, names, nothing, slope))
    for _ in range(MOST_ROUNDS):
        if climb.gain < LEAST_GAIN:
            break
        logs = climb.next_logs()
        default = _with_lags(default, design, solution)
        design = with_spreads(design, _spreads(default, names, logs))
        solution = solve(design.problem, solution.point, STEPS_BETWEEN, ROUGHLY)
        climb = climb.moved_to(logs, _slopes(design, solution, names, logs))
    sd: dict[str, float] = {}
    if doubt:
        covariance = _covariance(design, solution, default, names, climb.logs, climb.slope)
        sd = dict(zip(names, np.sqrt(np.diag(covariance)).tolist(), strict=True))
    design = with_spreads(design, replace(_with_lags(design.spreads, design, solution), sd=sd))
    solution = solve(design.problem, solution.point, STEPS_BETWEEN, ROUGHLY)
    return set_suspects_aside(design, solution)


def _with_lags(spreads: Spreads, design: Design, solution: Solution) -> Spreads:
    """Return spreads with what the log says of lags and settling where a fit stands."""
    known = design.spreads
    lags, settling = beside_told(solution.view, design.form, known.lags, known.settling)
    return replace(spreads, lags=lags, settling=settling)


def learn_bends(
    design: Design, solution: Solution, default: Spreads, *, doubt: bool = True
) -> tuple[Design, Solution]:
    """Let unbroken rises teach the bend of a form's curve, and its ceilings, on strong evidence.

    Parameters
    ----------
    design : Design
        A book as arrays, with the spreads that were learnt.
    solution : Solution
        Its fit.
    default : Spreads
        The spreads that learning leans on.
    doubt : bool
        As ``learn_spreads`` has it.

    Returns
    -------
    tuple of Design and Solution
        As they were, unless most areas of a form were read along a rise to several times their
        height without a cut, and their readings make another bend much the likelier. Logs of
        trimmed areas say next to nothing of a bend, and are not asked.
    """
    rising, forms = _rising(solution) & ~design.is_cover, design.priors.form[design.species]
    for form in sorted(set(forms[rising].tolist())):
        mine = forms == form
        if rising[mine].mean() < MOST_RISE:
            continue
        likeliest = log_likelihood(solution.view) + STRONG_EVIDENCE
        earlier = design.problem.rises
        rises, was = mine if earlier is None else mine | earlier, design
        for shape in SHAPES:
            bent = np.where(was.priors.form == form, shape, was.priors.shape)
            problem = replace(solution.problem, shape=bent[was.species], rises=rises)
            there = replace(was, priors=replace(was.priors, shape=bent), problem=problem)
            there = with_spreads(there, default)
            there = replace(there, problem=with_heights_that_count(there.problem))
            there, tried = learn_spreads(there, doubt=doubt)
            if (likely := log_likelihood(tried.view)) > likeliest:
                design, solution, likeliest = there, tried, likely
    return design, solution


def _rising(solution: Solution) -> BoolArray:
    """Whether an area (A,) was read along a rise to ``RISE`` times its height without a cut."""
    rising = np.zeros(solution.problem.area_count, dtype=bool)
    for block in solution.problem.blocks:
        chains, nodes = block.chains, block.chains.nodes
        read = chains.read & np.isnan(nodes.aim_sd_cm) & (block.trust == 1.0)
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
    def gain(self) -> float:
        """Log likelihood that the next step promises."""
        return 0.5 * float(self.slope @ self.inverse @ self.slope)

    def next_logs(self) -> FloatArray:
        """Log spreads a quasi-Newton step further."""
        move = self.inverse @ self.slope
        stepped: FloatArray = self.logs + move * min(1.0, LONGEST_MOVE / np.abs(move).max())
        return stepped

    def moved_to(self, logs: FloatArray, slope: FloatArray) -> _Climb:
        """Learn the curvature from how the slope has changed (BFGS)."""
        step, flatter = logs - self.logs, self.slope - slope
        along = float(step @ flatter)
        if along <= LEAST_CURVATURE * float(step @ step):
            return _Climb(logs, slope, self.inverse)
        turned = np.eye(step.size) - np.outer(step, flatter) / along
        inverse = turned @ self.inverse @ turned.T + np.outer(step, step) / along
        return _Climb(logs, slope, inverse)


def _taught(design: Design) -> list[str]:
    """Spreads of which the log says anything at all."""
    weighed = any(
        (block.chains.nodes.link == Link.WEIGHED).any() for block in design.problem.blocks
    )
    return [name for name in LEARNT if name != "weight" or weighed]


def _spreads(start: Spreads, names: list[str], logs: FloatArray) -> Spreads:
    factors = dict(zip(names, np.exp(logs).tolist(), strict=True))
    return replace(start, **{name: getattr(start, name) * by for name, by in factors.items()})


def _slopes(design: Design, solution: Solution, names: list[str], logs: FloatArray) -> FloatArray:
    """Slope (n,) of the log posterior in the log spreads."""
    problem, spreads = solution.problem, design.spreads
    slopes = variance_slopes(solution.view)
    pooling = problem.pooling
    of_tank = pooling.tank_precision * slopes.tank - 1.0
    found = dict.fromkeys(LEARNT, 0.0) | {
        "species": float((pooling.species_precision * slopes.species - 1.0).sum()),
        "tank": float((spreads.tank**2 * pooling.tank_precision * of_tank).sum()),
        "area": float((pooling.area_precision * slopes.area - 1.0).sum()),
        "drift": float((slopes.knots - KNOT_COUNT).sum()),
    }
    point = solution.point
    for number, block in enumerate(problem.blocks):
        at, forward = solution.view.block(number)
        ruled = ~design.is_cover[block.chains.nodes.area]  # cover is judged by eye
        off = np.abs(forward.innovation_cm) * np.sqrt(forward.innovation_precision)
        # What an amount cut off says far off, it says of the span before it.
        cut, before = block.chains.cut, block.chains.previous[block.chains.cut]
        off[before] = np.maximum(off[before], off[cut])
        sound = np.interp(off, FAR_OFF, (1.0, 0.0))
        for name, (link, reading) in error_parts(problem, block, at, point.border).items():
            by = 2.0 * (slopes.link[number] * link + slopes.reading[number] * reading)
            told = sound * ruled if name.startswith("height") else sound
            found[name] += float(told @ by)
    return np.array([found[name] for name in names]) - logs / PRIOR_SD**2


def _covariance(
    design: Design,
    solution: Solution,
    start: Spreads,
    names: list[str],
    logs: FloatArray,
    slope: FloatArray,
) -> FloatArray:
    """Inverse curvature (n, n) at some log spreads, from how the slopes change around them."""
    change = np.empty((len(names), len(names)))
    design = replace(design, problem=solution.problem)
    for number in range(len(names)):
        near = logs + STEP * np.eye(len(names))[number]
        there = with_spreads(design, _spreads(start, names, near))
        if names[number] in POOLED:
            view = repooled(solution.view, there.problem)
        else:
            view = view_of(there.problem, solution.point)
        moved = replace(solution, view=view)
        change[number] = (slope - _slopes(there, moved, names, near)) / STEP
    curvature, axes = np.linalg.eigh(0.5 * (change + change.T))
    covariance: FloatArray = (axes / np.maximum(curvature, LEAST_CURVATURE)) @ axes.T
    return covariance
