"""Minutes of trimming learnt from timed rows: a robust Bayesian regression, all parts positive.

``minutes = sum over the areas trimmed of (set-up + work x amount)``, with a set-up and a work per
litre of stand (or dm2 of cover) for every growth form. Logs of both are normal around the defaults
of the form, which are common practice, no source; a pace that all share lets an hour's stems teach
what moss takes. Rows scatter in proportion, with the tails of a Student t.

References
----------
Lange, K. L., Little, R. J. A. & Taylor, J. M. G. (1989). Robust statistical modeling using the t
distribution. Journal of the American Statistical Association 84, 881-896 (from memory).
"""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Literal

import numpy as np

from growthcast.arrays import BoolArray, FloatArray, IntArray, distinct
from growthcast.book.book import Book
from growthcast.book.tables import FORMS
from growthcast.fit.result import GrowthFit
from growthcast.growth.quick import Singles
from growthcast.nouns import dataclass
from growthcast.service.draws import stratified_normals
from growthcast.service.effort.logged import KINDS, TimedTrims, kind_of, timed_trims
from growthcast.species import read_forms

PACE_SPREAD, PART_SPREAD = 0.4, 0.4
"""Doubt of the defaults [log]: of the pace of a practice, of each part on its own (estimates)."""
SCATTER, SCATTER_WORTH = 0.25, 6.0
"""Scatter of a visit's minutes to begin with [log], and how many rows that is worth."""
CLOCK_ERROR_MIN = 0.5
TAIL = 4.0
"""Degrees of freedom of the Student t."""
STEPS, LONGEST_STEP, SETTLED = 40, 0.5, 1e-10
ROWS_TO_TELL = 5
"""Whole-tank rows below which they are read in the usual way."""
CLEARLY = 3.0
"""Log evidence by which a reading of whole-tank minutes must win over the usual one."""
LEAST_MIN = 1e-4
"""Stands for parts a form does not have, as litres of a floating plant."""
KEY = 1 << 40


@dataclass(frozen=True, slots=True)
class Reading:
    """Whose trimming the minutes of a whole-tank row are.

    Of areas without a row of their own that day ("unlogged"), of all that are not timed by
    themselves ("untimed"), or of "all". ``stated`` tells whether the practice says so, ``fixed``
    whether the fixed part of a visit is in them.
    """

    whose: Literal["unlogged", "untimed", "all"]
    stated: bool = False
    fixed: bool = False


@dataclass(frozen=True, slots=True)
class MinutesBasis:
    """What the minutes of some areas rest on.

    ``visits`` timed visits (0: common practice alone); ``untimed_forms`` are growth forms among the
    areas that were never timed; ``reading`` is how whole-tank minutes are read, None where there
    is nothing to choose.
    """

    visits: int
    untimed_forms: tuple[str, ...]
    reading: Reading | None


@dataclass(frozen=True, slots=True)
class Timing:
    """Minutes of trimming by kind of area, learnt from the log.

    Attributes
    ----------
    log_min : array (2 * KINDS,)
        Log minutes to set up at an area, then log minutes per litre or dm2, by kind.
    covariance : array (2 * KINDS, 2 * KINDS)
        Their covariance.
    scatter : float
        Scatter of one visit's trimming minutes [log].
    visits : int
        Timed visits that it rests on.
    seen : bool array (KINDS,)
        Kinds of area that some timed row trimmed.
    reading : Reading or None
        How whole-tank minutes are read; None where there is nothing to choose.
    kind : int array (A,)
        Kind of each area of the book.
    """

    log_min: FloatArray
    covariance: FloatArray
    scatter: float
    visits: int
    seen: BoolArray
    reading: Reading | None
    kind: IntArray

    def draws(self, areas: IntArray, draws: int) -> tuple[Singles, Singles]:
        """Minutes to set up and per litre or dm2 of areas (n,), in each draw, both (n, D)."""
        normals = stratified_normals(KEY + np.arange(2 * KINDS), draws)
        log_min = self.log_min[:, None] + np.linalg.cholesky(self.covariance) @ normals
        minutes, kind = np.exp(log_min).astype(np.float32), self.kind[areas]
        return minutes[kind], minutes[KINDS + kind]

    def rests_on(self, areas: IntArray) -> MinutesBasis:
        """Return what the minutes of areas (n,) rest on."""
        kinds = self.kind[areas]
        unseen = distinct(kinds[~self.seen[kinds]] % len(FORMS)).tolist() if self.visits else []
        return MinutesBasis(self.visits, tuple(FORMS[form] for form in unseen), self.reading)


def learn_timing(book: Book, fit: GrowthFit) -> Timing:
    """Learn the minutes of trimming from the timed rows of a book.

    Parameters
    ----------
    book : Book
        The book that was fitted.
    fit : GrowthFit
        Its fit; it tells what came off where only weights or nothing at all was logged.

    Returns
    -------
    Timing
        Without timed rows the defaults of the forms, with their doubt.

    Notes
    -----
    A whole-tank row's minutes are the trimming of the areas without a row of their own that day
    (where all have one, of all that have no minutes of their own), without the fixed part of a
    visit. From ``ROWS_TO_TELL`` rows on another reading, of all areas not timed by themselves or
    with the tank's ``fixed_min`` in the minutes, is taken where it explains the log clearly better.
    ``[log] whole_tank_minutes`` leaves only one reading of whose minutes they are.
    """
    everything, kind = timed_trims(book, fit), kind_of(fit.design)
    said = book.practice.whole_tank_minutes
    if said:
        readings = [(Reading("all" if said == "all" else "untimed", stated=True), everything)]
    else:
        readings = [(Reading("unlogged"), everything.of_the_rest())]
    if readings[0][1].row.size < everything.row.size:
        readings.append((Reading("untimed"), everything))
    if (everything.fixed_min > 0.0).sum() < ROWS_TO_TELL:
        return regress(readings[0][1], kind)[0]
    fits: list[tuple[float, Timing]] = []
    for fixed in (False, True):
        for reading, trims in readings:
            chosen = replace(reading, fixed=fixed) if fixed or said or len(readings) > 1 else None
            timing, evidence = regress(trims, kind, fixed=fixed, reading=chosen)
            fits.append((evidence - (CLEARLY if fits else 0.0), timing))
    return max(fits, key=lambda fit: fit[0])[1]


def regress(
    trims: TimedTrims, kind: IntArray, *, fixed: bool = False, reading: Reading | None = None
) -> tuple[Timing, float]:
    """Fit the minutes of one reading of the log.

    Parameters
    ----------
    trims : TimedTrims
        The timed rows, and the areas that they may have timed.
    kind : int array (A,)
        Kind of each area of the book.
    fixed : bool
        Whether the fixed part of a visit is in the minutes of whole-tank rows.
    reading : Reading, optional
        What to say of it.

    Returns
    -------
    timing : Timing
        The minutes learnt.
    evidence : float
        Log evidence of the reading, by Laplace's approximation.
    """
    start, precision = _defaults()
    log_min, scatter2 = start.copy(), SCATTER**2
    base = trims.fixed_min if fixed else np.zeros(trims.minutes.size)
    curvature, evidence = precision, 0.0
    for _ in range(STEPS if trims.minutes.size else 0):
        slope, trimming, doubt = _expected(trims, log_min)
        off = trims.minutes - base - trimming
        whole2 = (base + trimming) ** 2
        variance = scatter2 * whole2 + doubt + CLOCK_ERROR_MIN**2
        surprise = off**2 / variance
        weight = (TAIL + 1.0) / (TAIL + surprise)
        curvature = (slope.T * (weight / variance)) @ slope + precision
        score = slope.T @ (weight / variance * off) - precision @ (log_min - start)
        off_start = log_min - start
        step = np.linalg.solve(curvature, score)
        log_min = log_min + step * min(1.0, LONGEST_STEP / max(np.abs(step).max(), 1e-12))
        own = np.maximum(weight * off**2 - doubt - CLOCK_ERROR_MIN**2, 0.0) / whole2
        scatter2 = (SCATTER_WORTH * SCATTER**2 + own.sum()) / (SCATTER_WORTH + own.size)
        if np.abs(step).max() < SETTLED:
            break
    if trims.minutes.size:  # Laplace's approximation to the log evidence
        rows = -0.5 * (TAIL + 1.0) * np.log1p(surprise / TAIL) - 0.5 * np.log(variance)
        rows += math.lgamma(0.5 * (TAIL + 1.0)) - math.lgamma(0.5 * TAIL)
        rows -= 0.5 * np.log(TAIL * np.pi)
        room = 0.5 * (np.linalg.slogdet(precision)[1] - np.linalg.slogdet(curvature)[1])
        evidence = float(rows.sum() - 0.5 * off_start @ precision @ off_start + room)
    seen = np.bincount(trims.kind, weights=trims.chance, minlength=KINDS) > 0.0
    covariance = np.linalg.inv(curvature)
    return Timing(
        log_min=log_min,
        covariance=0.5 * (covariance + covariance.T),
        scatter=float(np.sqrt(scatter2)),
        visits=trims.visits,
        seen=seen,
        reading=reading,
        kind=kind,
    ), evidence


def _defaults() -> tuple[FloatArray, FloatArray]:
    """Defaults of the log minutes (2 KINDS,) and their precision: a shared pace, parts apart."""
    forms = [read_forms()[name] for name in FORMS]
    set_up = np.tile([form.set_up_min for form in forms], 2)
    work = np.array([form.min_per_l for form in forms] + [form.min_per_dm2 for form in forms])
    usual = np.log(np.maximum(np.concatenate([set_up, work]), LEAST_MIN))
    covariance = np.full((usual.size, usual.size), PACE_SPREAD**2)
    covariance += PART_SPREAD**2 * np.eye(usual.size)
    return usual, np.linalg.inv(covariance)


def _expected(trims: TimedTrims, log_min: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Derivative (N, 2 KINDS), minutes of trimming (N,) and their variance from amounts (N,)."""
    count, parts = trims.minutes.size, np.exp(log_min)
    set_up, work = parts[trims.kind], parts[KINDS + trims.kind]
    cell = trims.row * 2 * KINDS + trims.kind
    each = np.concatenate([trims.chance * set_up, trims.chance * work * trims.amount])
    flat = np.bincount(np.concatenate([cell, cell + KINDS]), each, count * 2 * KINDS)
    slope = flat.astype(np.float64).reshape(count, 2 * KINDS)
    whole = set_up + work * trims.amount
    doubt = trims.chance * (work * trims.amount_sd) ** 2
    doubt += trims.chance * (1.0 - trims.chance) * whole**2
    variance = np.bincount(trims.row, weights=doubt, minlength=count).astype(np.float64)
    return slope, np.asarray(slope.sum(axis=1)), variance
