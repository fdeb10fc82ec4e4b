"""Timed rows of the log: the minutes, and what was trimmed in them.

A row of one area with minutes timed that area. A whole-tank row's minutes are the trimming of the
areas that have no row of their own that day, or of all areas that have no minutes of their own:
both are how people log, and the log itself tells which (``learn.py``), unless the practice says
that they are those of all areas, timed by themselves or not, or of the areas not timed.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from growthcast.arrays import BoolArray, FloatArray, IntArray, among, distinct
from growthcast.book.book import Book
from growthcast.book.tables import FORMS
from growthcast.fit.design import Design
from growthcast.fit.result import GrowthFit
from growthcast.growth.logistic import height_at_stage, shape_factor, stage
from growthcast.log.visits import Visits, day_numbers, pair_of, read_log
from growthcast.nouns import dataclass

KINDS = 2 * len(FORMS)
"""Growth forms measured by height, then growth forms measured by cover."""
WEIGHED_DOUBT, EXPECTED_DOUBT = 0.25, 0.4
"""Doubt of an amount told by weight, by the model (shares)."""
LEAST_DOUBT_CM = 0.1
SILENT_CHANCE = 0.5
"""Chance that an area of which nothing is said was trimmed."""
USUAL_GAP_D = 14.0


@dataclass(frozen=True, slots=True)
class TimedTrims:
    """Timed rows (N,) and the areas that may have been trimmed in them, (L,) links.

    Attributes
    ----------
    minutes : array (N,)
        Minutes logged [min].
    fixed_min : array (N,)
        The tank's fixed minutes for a whole-tank row, 0 for an area's own [min].
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
    has_row : bool array (L,)
        Whether the area has a row of its own beside the whole tank's that timed it.
    """

    minutes: FloatArray
    fixed_min: FloatArray
    visits: int
    row: IntArray
    kind: IntArray
    amount: FloatArray
    amount_sd: FloatArray
    chance: FloatArray
    has_row: BoolArray

    def of_the_rest(self) -> TimedTrims:
        """Return the rows with whole-tank minutes as those of areas without a row of their own.

        Where every area has a row, the minutes stay those of all of them.
        """
        rest = np.bincount(self.row, weights=~self.has_row, minlength=self.minutes.size) > 0.0
        kept = ~(self.has_row & rest[self.row])
        links = ("row", "kind", "amount", "amount_sd", "chance", "has_row")
        return replace(self, **{name: getattr(self, name)[kept] for name in links})


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
    place = {form: number for number, form in enumerate(FORMS)}
    of_species = np.array([place[str(form)] for form in design.priors.form], np.int64)
    return of_species[design.species] + len(FORMS) * design.is_cover


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
        Rows that trimmed nothing are left out.
    """
    design, trims = fit.design, book.trims
    area = trims.places("area_id", design.area_id)
    tank = trims.places("tank_id", design.tank_id)
    day = day_numbers(trims.date("date"))
    visits = read_log(book).visits
    minutes = trims.number("minutes")
    timed = (np.nan_to_num(minutes) > 0.0) & (day <= design.on_day)
    own, whole = np.flatnonzero(timed & (area >= 0)), np.flatnonzero(timed & (area < 0))
    own_pair = pair_of(area[own], day[own])
    row, shared = _whole_tank_links(design, tank[whole], day[whole])
    when = day[whole][row]
    kept = ~among(pair_of(shared, when), own_pair)
    kept |= book.practice.whole_tank_minutes == "all"
    rows = np.concatenate([own, whole])
    row = np.concatenate([np.arange(own.size), own.size + row[kept]])
    where = np.concatenate([area[own], shared[kept]])
    when = np.concatenate([day[own], when[kept]])
    cm, cm_sd, chance = _removed(fit, visits, where, when)
    rows_of_own = pair_of(visits.area, visits.day)[~visits.silent]
    has_row = among(pair_of(where, when), rows_of_own) & (row >= own.size)
    chance[: own.size][np.isnan(chance[: own.size])] = 1.0  # timed, though nothing else is said
    chance = np.where(np.isnan(chance), SILENT_CHANCE, chance)
    bulk = bulk_per_cm(design)[where]
    told = np.bincount(row, weights=chance, minlength=rows.size) > 0.0
    links = (chance > 0.0) & told[row]
    fixed = book.of_tanks("fixed_min")[tank[rows]]
    return TimedTrims(
        minutes=minutes[rows][told],
        fixed_min=np.where(np.arange(rows.size) < own.size, 0.0, fixed)[told],
        visits=int(distinct(pair_of(tank[rows], day[rows])[told]).size),
        row=(np.cumsum(told) - 1)[row[links]],
        kind=kind_of(design)[where[links]],
        amount=(bulk * cm)[links],
        amount_sd=(bulk * cm_sd)[links],
        chance=chance[links],
        has_row=has_row[links],
    )


def _whole_tank_links(design: Design, tank: IntArray, day: FloatArray) -> tuple[IntArray, IntArray]:
    """Row (L,) and area (L,) of every area that is planted on the day (N,) of a tank's row (N,)."""
    order = np.argsort(design.tank, kind="stable")
    count = np.bincount(design.tank, minlength=design.tank_id.size)
    first = np.cumsum(count) - count
    row = np.repeat(np.arange(tank.size), count[tank])
    start = np.cumsum(count[tank]) - count[tank]
    area = order[first[tank][row] + np.arange(row.size) - start[row]]
    traits, when = design.traits, day[row]
    there = (traits.planted_day[area] <= when) & ~(traits.removed_day[area] < when)
    return row[there], area[there]


def _removed(
    fit: GrowthFit, visits: Visits, area: IntArray, day: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """What came off areas (L,) on days (L,) [cm], its doubt, and the chance that anything did.

    The chance is NaN where the log says nothing of the area on that day.
    """
    errors = fit.design.problem.errors
    expected = _expected(fit, visits, area, day)
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
    chance = np.where(visits.cut[at], 1.0, 0.0)
    unsaid = fit.unsaid_cuts
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


def _expected(fit: GrowthFit, visits: Visits, area: IntArray, day: FloatArray) -> FloatArray:
    """Height (L,) that the model expects to have come off since the area's last cut [cm]."""
    design, mode = fit.design, fit.mode
    cut = visits.cut
    pair = pair_of(visits.area[cut], visits.day[cut])
    since = np.maximum(design.traits.planted_day[area], day - USUAL_GAP_D)
    last = np.searchsorted(pair, pair_of(area, day)) - 1
    earlier = (last >= 0) & (visits.area[cut][last] == area) if pair.size else last >= 0
    since[earlier] = visits.day[cut][last[earlier]]
    ceiling, shape = np.exp(mode.log_ceiling[area]), design.problem.shape[area]
    start = np.minimum(np.exp(mode.log_usual_cut[area]), 0.95 * ceiling)
    days, _ = design.clock.growth_between(area, since, day, np.zeros(area.size))
    gained = shape_factor(shape) * np.exp(mode.log_rate[area]) * days
    grown = height_at_stage(stage(start, ceiling, shape) + gained, ceiling, shape)
    return np.maximum(grown - start, 0.0)
