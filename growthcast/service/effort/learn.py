"""Minutes of trimming learnt from the timed rows of a log: a robust Bayesian regression.

A row of one area with minutes timed that area. A whole-tank row's minutes are the trimming of all
areas, timed by themselves that day or not, or of the rest, which are not: both are how people log,
and the log itself tells which (``learn_timing``), unless the practice says it.

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

from dataclasses import replace
from itertools import product

import numpy as np

from growthcast.arrays import BoolArray, FloatArray, IntArray, as_of, day_numbers, distinct, pair_of
from growthcast.book.book import Book, WholeTank
from growthcast.finite import finite_answer
from growthcast.fit.design import Design
from growthcast.fit.model.spreads import FORMS
from growthcast.fit.result import GrowthFit
from growthcast.growth.logistic import height_at_stage, shape_factor, stage
from growthcast.growth.quick import Singles
from growthcast.log.visits import Visits, areas_of_tanks, read_log
from growthcast.nouns import dataclass
from growthcast.service.draws import stratified_normals
from growthcast.species import read_forms

KINDS = 2 * len(FORMS)
"""Growth forms measured by height, then growth forms measured by cover."""
WEIGHED_DOUBT, EXPECTED_DOUBT = 0.25, 0.4
"""Doubt of an amount told by weight, by the model (shares)."""
LEAST_DOUBT_CM, USUAL_GAP_D = 0.1, 14.0
SILENT_CHANCE = 0.5
"""Chance that an area of which nothing is said was trimmed."""


@dataclass(frozen=True, slots=True)
class TimedTrims:
    """Timed rows (N,) and the areas that may have been trimmed in them, (L,) links.

    Attributes
    ----------
    minutes : array (N,)
        Minutes logged [min].
    fixed_min, own_min : array (N,)
        The tank's fixed minutes, where the row does not tell the time at the tank in all, and those
        of its areas timed by themselves that day, for a whole-tank row; 0 for an area's own [min].
    visits : int
        Visits, by tank and day, that these rows time.
    row : int array (L,)
        Place among the N of the row a link belongs to.
    kind : int array (L,)
        Growth form and measure of the area, among ``KINDS``.
    amount, amount_sd : array (L,)
        What was taken off and its doubt [l of stand, or dm2 of full cover].
    chance : array (L,)
        Chance that the area was trimmed [0-1].
    """

    minutes: FloatArray
    fixed_min: FloatArray
    own_min: FloatArray
    visits: int
    row: IntArray
    kind: IntArray
    amount: FloatArray
    amount_sd: FloatArray
    chance: FloatArray


def kind_of(design: Design) -> IntArray:
    """Tell the kinds of areas by growth form and measure.

    Parameters
    ----------
    design : Design
        A book as arrays.

    Returns
    -------
    int array (A,)
        A place among ``KINDS`` for each area of the book.
    """
    return design.form + len(FORMS) * design.is_cover


def bulk_per_cm(design: Design) -> FloatArray:
    """Return how much a centimetre of height is.

    Parameters
    ----------
    design : Design
        A book as arrays.

    Returns
    -------
    array (A,)
        Litres of stand in a centimetre [l/cm], or dm2 in a point of cover [dm2], of each area.
    """
    return design.area_cm2 / np.where(design.is_cover, 10_000.0, 1000.0)


def timed_trims(book: Book, fit: GrowthFit) -> TimedTrims:
    """Collect the timed rows of the log up to the day of the fit.

    Parameters
    ----------
    book : Book
        The book that was fitted.
    fit : GrowthFit
        Its fit.

    Returns
    -------
    TimedTrims
        Rows that trimmed nothing are left out. A whole-tank row links to the areas without minutes
        of their own that day.
    """
    design, trims = fit.design, book.trims
    area = trims.places("area_id", design.area_id)
    tank = trims.places("tank_id", design.tank_id)
    day = day_numbers(trims.date("date"))
    visits, minutes = read_log(book).visits, trims.number("minutes")
    timed = (np.nan_to_num(minutes) > 0.0) & (day <= design.on_day)
    own, whole = np.flatnonzero(timed & (area >= 0)), np.flatnonzero(timed & (area < 0))
    row, shared = _whole_tank_links(design, tank[whole], day[whole])
    when = day[whole][row]
    kept = ~_matched(pair_of(area[own], day[own]), pair_of(shared, when))[0]
    rows = np.concatenate([own, whole])
    row = np.concatenate([np.arange(own.size), own.size + row[kept]])
    where = np.concatenate([area[own], shared[kept]])
    when = np.concatenate([day[own], when[kept]])
    cm, cm_sd, chance = _removed(fit, visits, where, when)
    chance[: own.size][np.isnan(chance[: own.size])] = 1.0  # timed, though nothing else is said
    chance = np.where(np.isnan(chance), SILENT_CHANCE, chance)
    bulk = bulk_per_cm(design)[where]
    told = np.bincount(row, weights=chance, minlength=rows.size) > 0.0
    links = (chance > 0.0) & told[row]
    pairs = pair_of(tank[rows], day[rows])
    visit, at = np.unique(pairs, return_inverse=True)
    own_min = np.bincount(at[: own.size], minutes[own], visit.size).astype(np.float64)[at]
    of_whole = np.arange(rows.size) >= own.size
    may_hold = of_whole & ~trims.given("visit_min")[rows]
    return TimedTrims(
        minutes=minutes[rows][told],
        fixed_min=(may_hold * book.of_tanks("fixed_min")[tank[rows]])[told],
        own_min=(of_whole * own_min)[told],
        visits=int(distinct(pairs[told]).size),
        row=(np.cumsum(told) - 1)[row[links]],
        kind=kind_of(design)[where[links]],
        amount=(bulk * cm)[links],
        amount_sd=(bulk * cm_sd)[links],
        chance=chance[links],
    )


def _whole_tank_links(design: Design, tank: IntArray, day: FloatArray) -> tuple[IntArray, IntArray]:
    """Row (L,) and area (L,) of every area that stands on the day (N,) of a tank's row (N,).

    What is planted on that day, or supposed to be, has nothing to trim yet.
    """
    row, area = areas_of_tanks(design.tank, tank)
    traits, when = design.traits, day[row]
    there = (traits.planted_day[area] < when) & ~(traits.removed_day[area] < when)
    return row[there], area[there]


def _removed(
    fit: GrowthFit, visits: Visits, area: IntArray, day: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """What came off areas (L,) on days (L,) [cm], its doubt, and the chance that anything did.

    The chance is NaN where the log says nothing of the area on that day.
    """
    errors = fit.design.problem.errors
    expected = _expected_off(fit, visits, area, day)
    found, at = _matched(pair_of(visits.area, visits.day), pair_of(area, day))
    if not visits.area.size:
        return expected, EXPECTED_DOUBT * expected, np.full(area.size, np.nan)
    before, after = visits.before_cm[at], visits.after_cm[at]
    error = np.hypot(errors.height_error_cm[area], errors.height_error_share[area] * before)
    weighed = visits.removed_g[at] / fit.design.traits.gram_per_cm[area]
    weighed = weighed / np.exp(fit.mode.log_density[area])
    cm, sd = expected, EXPECTED_DOUBT * expected
    guess = np.maximum(sd, LEAST_DOUBT_CM) ** -2.0
    for told, told_sd in (
        (weighed, WEIGHED_DOUBT * weighed),
        (visits.removed_cm[at], errors.height_error_cm[area]),
        (before - after, np.sqrt(2.0) * error),
    ):
        known = found & np.isfinite(told)
        sure = np.maximum(told_sd, 1e-3) ** -2.0
        # An amount misread is not regressed on: what is likely, given reading and model, is.
        both = (told * sure + expected * guess) / (sure + guess)
        cm, sd = np.where(known, both, cm), np.where(known, (sure + guess) ** -0.5, sd)
    chance, unsaid = np.where(visits.cut[at], 1.0, 0.0), fit.unsaid_cuts
    open_, of = _matched(pair_of(unsaid.area, unsaid.day), pair_of(area, day))
    if unsaid.area.size:
        open_ &= found
        cm, sd = np.where(open_, unsaid.length_cm[of], cm), np.where(open_, unsaid.sd_cm[of], sd)
        chance = np.where(open_, unsaid.chance[of], chance)
    return np.maximum(cm, 0.0), sd, np.where(found, chance, np.nan)


def _matched(pairs: IntArray, wanted: IntArray) -> tuple[BoolArray, IntArray]:
    """Whether each wanted pair (L,) is among some pairs, and its place there."""
    order = np.argsort(pairs, kind="stable")
    at = np.searchsorted(pairs[order], wanted)
    return np.append(pairs[order], -1)[at] == wanted, np.append(order, 0)[at]


def _expected_off(fit: GrowthFit, visits: Visits, area: IntArray, day: FloatArray) -> FloatArray:
    """Height (L,) that the model expects to have come off since the area's last cut [cm]."""
    design, mode = fit.design, fit.mode
    cut, cut_day = visits.area[visits.cut], visits.day[visits.cut]
    last = as_of(cut, cut_day, cut_day, area, day - 1.0)
    usual = np.maximum(design.traits.planted_day[area], day - USUAL_GAP_D)
    since = np.where(np.isnan(last), usual, last)
    ceiling, shape = np.exp(mode.log_ceiling[area]), design.problem.shape[area]
    start = np.minimum(np.exp(mode.log_usual_cut[area]), 0.95 * ceiling)
    days, _ = design.clock.growth_between(area, since, day, np.zeros(area.size))
    gained = shape_factor(shape) * np.exp(mode.log_rate[area]) * days
    grown = height_at_stage(stage(start, ceiling, shape) + gained, ceiling, shape)
    return np.maximum(grown - start, 0.0)


PACE_SPREAD, PART_SPREAD = 0.4, 0.4
"""Doubt of the defaults [log]: of the pace of a practice, of each part on its own (estimates)."""
SCATTER, SCATTER_WORTH = 0.25, 6.0
"""Scatter of a visit's minutes to begin with [log], and how many rows that is worth."""
CLOCK_ERROR_MIN = 0.5
TAIL = 4.0
"""Degrees of freedom of the Student t."""
STEPS, LONGEST_STEP, SETTLED = 40, 0.5, 1e-10
ROWS_TO_TELL = 5
"""Whole-tank rows below which no fixed part is looked for in them."""
CLEARLY = 3.0
"""Log evidence by which a reading of whole-tank minutes must win over the usual one."""
LEAST_MIN = 1e-4
"""Stands for parts a form does not have, as litres of a floating plant."""
KEY = 1 << 40


@dataclass(frozen=True, slots=True)
class Reading:
    """Whose trimming the minutes of a whole-tank row are.

    Of "all" areas, or of the "rest", which are not timed by themselves that day. ``fixed`` tells
    whether the fixed part of a visit is in them, ``stated`` whether the practice says whose.
    """

    whose: WholeTank
    fixed: bool = False
    stated: bool = False


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

    @property
    def whose(self) -> WholeTank:
        """Whose minutes rows of whole tanks hold; the same where nothing is timed by itself."""
        return self.reading.whose if self.reading else "all"

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


@finite_answer
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
    A whole-tank row's minutes are the trimming of all areas, without the fixed part of a visit.
    Where the log explains it clearly better, they are that of the rest; from ``ROWS_TO_TELL`` rows
    on, the tank's ``fixed_min`` may be in those beside which the time at the tank in all does not
    stand. ``[log] whole_tank_minutes`` says whose they are.
    """
    trims, said = timed_trims(book, fit), book.practice.whole_tank_minutes
    within = (False, True) if (trims.fixed_min > 0.0).sum() >= ROWS_TO_TELL else (False,)
    differ = bool(trims.own_min.any())
    whose: tuple[WholeTank, ...] = (said,) if said else ("all", "rest") if differ else ("all",)
    readings = [Reading(of, fixed, bool(said)) for fixed, of in product(within, whose)]
    fits = [regress(trims, kind_of(fit.design), reading) for reading in readings]
    likeliest = int(np.argmax([told - CLEARLY * (n > 0) for n, (_, told) in enumerate(fits)]))
    open_ = differ or said or readings[likeliest].fixed
    return fits[likeliest][0] if open_ else replace(fits[likeliest][0], reading=None)


def regress(trims: TimedTrims, kind: IntArray, reading: Reading) -> tuple[Timing, float]:
    """Fit the minutes of one reading of the log.

    Parameters
    ----------
    trims : TimedTrims
        The timed rows, and the areas that they may have timed.
    kind : int array (A,)
        Kind of each area of the book.
    reading : Reading
        Whose the minutes of whole-tank rows are, and whether the fixed part of a visit is in them.

    Returns
    -------
    timing : Timing
        The minutes learnt.
    evidence : float
        Log evidence of the reading, by Laplace's approximation, without what all have in common.
    """
    start, precision = _defaults()
    log_min, scatter2 = start.copy(), SCATTER**2
    base, minutes = trims.fixed_min * reading.fixed, trims.minutes
    if reading.whose == "all":
        minutes = minutes - trims.own_min
    for _ in range(STEPS):
        slope, trimming, doubt = _expected(trims, log_min)
        off = minutes - base - trimming
        whole2 = (base + trimming) ** 2
        variance = scatter2 * whole2 + doubt + CLOCK_ERROR_MIN**2
        surprise = off**2 / variance
        weight = (TAIL + 1.0) / (TAIL + surprise)
        curvature = (slope.T * (weight / variance)) @ slope + precision
        score = slope.T @ (weight / variance * off) - precision @ (log_min - start)
        off_start = log_min - start
        step = np.linalg.solve(curvature, score)
        log_min = log_min + step / max(1.0, np.abs(step).max() / LONGEST_STEP)
        own = np.maximum(weight * off**2 - doubt - CLOCK_ERROR_MIN**2, 0.0) / whole2
        scatter2 = (SCATTER_WORTH * SCATTER**2 + own.sum()) / (SCATTER_WORTH + own.size)
        if np.abs(step).max() < SETTLED:
            break
    # Laplace's approximation to the log evidence.
    rows = -0.5 * (TAIL + 1.0) * np.log1p(surprise / TAIL) - 0.5 * np.log(variance)
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
    covariance = PACE_SPREAD**2 + PART_SPREAD**2 * np.eye(usual.size)
    return usual, np.linalg.inv(covariance).astype(np.float64)


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
