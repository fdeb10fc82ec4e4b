"""A fit as it would go on: other conditions from today, other plants, the same log.

What the log says is not asked again: a supposed future cannot change it. Conditions act on the
growth clock from the day of the fit onwards; supposed plants are areas without a log, fitted beside
the others with the spreads that were learnt, and the areas they take the place of no longer count
as living.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import date
from zlib import crc32

import numpy as np

from growthcast.arrays import FloatArray
from growthcast.book.book import Book, area_label
from growthcast.book.supposed import (
    Changes,
    PlannedArea,
    with_conditions,
    with_planted_areas,
    with_references,
)
from growthcast.errors import UsageError
from growthcast.fit.borrowing import with_borrowed
from growthcast.fit.design import build_design, clock_under
from growthcast.fit.model.clock import GrowthClock, TankConditions
from growthcast.fit.model.shade import MOST_COVER
from growthcast.fit.result import GrowthFit
from growthcast.fit.rows.chains import repacked
from growthcast.fit.solver.machine import one_blas_thread
from growthcast.fit.solver.problem import (
    CEILING,
    HABIT,
    KNOTS,
    RATE,
    Block,
    Point,
    Problem,
    with_heights_that_count,
)
from growthcast.fit.solver.view import view_of
from growthcast.growth.logistic import stage
from growthcast.growth.responses import co2_slope
from growthcast.nouns import dataclass
from growthcast.species import read_reference

OWN_LUCK = 1 << 32
"""Places in a book lie below this; keys of supposed areas above."""


@dataclass(frozen=True, slots=True)
class Supposed:
    """A book and its fit under supposed changes of one tank.

    Attributes
    ----------
    book, fit
        As they would be; the log and what it taught are as they are.
    tank : int
        Place of the tank in the book.
    changes : Changes
        What is supposed.
    now : mapping of str to float or None
        The condition that holds today for each supposed one, as the book has it; None where
        nobody gave it.
    assumed : mapping of str to float
        Reference values taken for the past of conditions that nobody ever gave.
    growth_factor : array (A,)
        Growth of each area under the supposed conditions, as a multiple of today's.
    plants : mapping of str to str
        Id of the supposed area for each area whose plant is changed.
    """

    book: Book
    fit: GrowthFit
    tank: int
    changes: Changes
    now: Mapping[str, float | None]
    assumed: Mapping[str, float]
    growth_factor: FloatArray
    plants: Mapping[str, str]


def conditions_now(fit: GrowthFit, tank: int) -> dict[str, float]:
    """Return a tank's conditions on the day of the fit, NaN where never given.

    Parameters
    ----------
    fit : GrowthFit
        A fitted book.
    tank : int
        Place of the tank in the book.

    Returns
    -------
    dict of str to float
        By the names of conditions, each in its own unit.
    """
    now = fit.design.conditions.on(fit.design.on_day).values
    return {name: float(values[tank]) for name, values in now.items()}


def conditions_since(fit: GrowthFit, tank: int) -> float:
    """Return the day from which a tank's present conditions hold [day number].

    Parameters
    ----------
    fit : GrowthFit
        A fitted book.
    tank : int
        Place of the tank in the book.

    Returns
    -------
    float
        The day [day number].
    """
    return float(fit.design.conditions.on(fit.design.on_day).from_day[tank])


def cover_now(fit: GrowthFit) -> FloatArray:
    """Return the share of tanks' surfaces under floating plants from the day of the fit on.

    Parameters
    ----------
    fit : GrowthFit
        A fitted book.

    Returns
    -------
    array (K,)
        Share [0-1].
    """
    shade = fit.design.shade
    return np.zeros(fit.design.tank_id.size) if shade is None else shade.on(fit.design.on_day)


def light_under(book: Book, fit: GrowthFit, tank: int, cover_cm2: float) -> float:
    """Return the light below other floating plants than there are, as a multiple of what it is.

    Parameters
    ----------
    book : Book
        The book that was fitted.
    fit : GrowthFit
        Its fit.
    tank : int
        Place of the tank in the book.
    cover_cm2 : float
        What they cover midway between their floors and budgets [cm2].

    Returns
    -------
    float
        Multiple [-]. Cover goes with what stands midway between floors and budgets: floating plants
        that are seen at half of it today are taken to stand at half of it then. 1 where the size of
        the tank is not known.
    """
    design, now = fit.design, float(cover_now(fit)[tank])
    surface = float(np.prod([book.tanks.number(n)[tank] for n in ("length_cm", "width_cm")]))
    here = design.stays & design.is_cover & (design.tank == tank)
    usual = float((design.area_cm2 * design.traits.middle_cm / 100.0)[here].sum())
    then = now * cover_cm2 / usual if usual > 0.0 else cover_cm2 / surface
    return (1.0 - min(then, MOST_COVER)) / (1.0 - now) if surface > 0.0 else 1.0


def growth_under(book: Book, fit: GrowthFit, tank: int, cover_cm2: float) -> FloatArray:
    """Return the growth of areas once other plants float above them, as a multiple of today's.

    Parameters
    ----------
    book : Book
        The book that was fitted.
    fit : GrowthFit
        Its fit.
    tank : int
        Place of the tank in the book.
    cover_cm2 : float
        What they cover midway between their floors and budgets [cm2].

    Returns
    -------
    array (A,)
        Multiples [-], 1 for what floats itself and in other tanks.
    """
    laid = lit(book, fit, tank, light_under(book, fit, tank, cover_cm2))
    on_day, clock = fit.design.on_day, running_on(fit, tank, laid)[0]
    return clock.speed(on_day) / fit.design.clock.speed(on_day)


def lit(book: Book, fit: GrowthFit, tank: int, times: float) -> Book:
    """Return a book whose areas of a tank get other light.

    Parameters
    ----------
    book : Book
        The book that was fitted.
    fit : GrowthFit
        Its fit.
    tank : int
        Place of the tank in the book.
    times : float
        The light below what floats, as a multiple of today's [-].

    Returns
    -------
    Book
        With other shares of light of what does not float itself.
    """
    below = (fit.design.tank == tank) & ~fit.design.is_cover
    share = book.areas.number("light_share")
    changed = np.where(below, times * np.nan_to_num(share, nan=1.0), share)
    columns = {**book.areas.columns, "light_share": changed}
    return replace(book, areas=replace(book.areas, columns=columns))


def suppose(book: Book, fit: GrowthFit, tank: int, changes: Changes) -> Supposed:
    """Return a book and its fit under supposed changes from the day of the fit on.

    Parameters
    ----------
    book : Book
        The book that was fitted.
    fit : GrowthFit
        Its fit.
    tank : int
        Place of the tank in the book.
    changes : Changes
        Conditions and plants supposed of it.

    Returns
    -------
    Supposed
        Rates, ceilings and effects learnt from the log are those of ``fit``.

    Raises
    ------
    UsageError
        A supposed plant is measured otherwise than the area (cover against height), or the area is
        not planted on that day.
    """
    planted, wider = book, fit
    names: dict[str, str] = {}
    if changes.plants:
        rows = []
        for area_id, species_id in changes.plants.items():
            place = int(np.flatnonzero(fit.design.area_id == area_id)[0])
            label = f"supposed {species_id}: {area_label(book.areas, place)}"
            rows.append({**replanted(book, fit, place, species_id), "label": label})
            names[area_id] = str(rows[-1]["area_id"])
        planted, wider = fit_beside(book, fit, rows)
        alive = wider.design.alive & ~np.isin(wider.design.area_id, list(changes.plants))
        wider = wider.but_for(design=replace(wider.design, alive=alive))
    held = conditions_now(fit, tank)
    if fit.design.conditions.on(fit.design.on_day).none_added[tank]:
        held["co2_mg_l"] = 0.0
    known = {name: None if np.isnan(held[name]) else held[name] for name in changes.conditions}
    usual = read_reference().conditions
    never = {name: usual[name] for name, value in known.items() if value is None}
    laid, clock, then = planted, wider.design.clock, wider.design.conditions
    if changes.conditions:
        tank_id, on = str(book.tanks.text("tank_id")[tank]), day_of(fit)
        base = with_references(planted, tank_id, on, never)
        laid = with_conditions(base, tank_id, on, changes.conditions)
        clock, then = running_on(wider, tank, laid, base if never else None)
        clock = _doubted(clock, wider, tank, then)
    before = wider.design.clock.speed(fit.design.on_day)
    _ = wider.border_mean, wider.beside, wider._last_nodes  # once for all that is supposed
    under = wider.but_for(design=replace(wider.design, clock=clock, conditions=then))
    return Supposed(
        book=laid,
        fit=under,
        tank=tank,
        changes=changes,
        now=known,
        assumed=never,
        growth_factor=clock.speed(fit.design.on_day) / before,
        plants=names,
    )


def fit_beside(book: Book, fit: GrowthFit, areas: Sequence[PlannedArea]) -> tuple[Book, GrowthFit]:
    """Fit areas without a log beside those of a book.

    Parameters
    ----------
    book : Book
        The book that was fitted.
    fit : GrowthFit
        Its fit.
    areas : sequence of mappings
        Cells of the areas, planted on the day of the fit; all of them are fitted at once. What
        stands before the last ``=`` of an id is the area of the tank that each one would be.

    Returns
    -------
    tuple of Book and GrowthFit
        The book with the areas at its end, and its fit. An area without a log teaches nothing: the
        others keep their rates, suspect rows and spreads as they were, and it stands where they
        and the species table put it.
        The draw key of an area is that of its place and plant: whatever it is fitted beside, and
        whichever command asks, the same plant in the same area draws the same.
    """
    laid = with_planted_areas(book, areas, day_of(fit))
    wide = build_design(laid, day_of(fit), fit.design.spreads, fit.design.area_id.size)
    problem = wide.problem
    if fit.borrowed.model != "none":
        problem = with_borrowed(problem, fit.borrowed)
    # Bends are those that the fit has learnt of the forms.
    learnt = dict(zip(fit.design.priors.form, fit.design.priors.shape, strict=True))
    forms = zip(wide.priors.form, wide.priors.shape, strict=True)
    bends = np.array([learnt.get(form, shape) for form, shape in forms])
    priors = replace(wide.priors, shape=bends)
    wide = replace(wide, priors=priors)
    rises = fit.solution.problem.rises
    if rises is not None:
        rises = np.concatenate([rises, np.zeros(wide.area_id.size - rises.size, dtype=bool)])
    problem = replace(problem, shape=priors.shape[wide.species], rises=rises)
    known, point = fit.design.area_id.size, fit.solution.point
    problem = _as_weighed(problem, fit.solution.problem)
    packed = [block.chains for block in problem.blocks]
    new_nodes = [np.flatnonzero(one.nodes.area >= known) for one in packed]
    added = Block.of(repacked(packed, new_nodes)[0], fit.design.on_day)
    nodes, new = added.chains.nodes, slice(known, None)
    border = np.zeros((point.border.shape[0], wide.area_id.size))
    border[:, :known] = point.border
    pooling = problem.pooling
    pooled = replace(fit.solution.view.pooled, pooling=pooling)
    border[RATE, new], border[CEILING, new] = pooled.centre[new], pooling.log_ceiling[new]
    border[HABIT, new], border[KNOTS:, new] = pooling.log_habit[new], pooled.knots[:, new]
    ceiling = np.exp(border[CEILING, nodes.area])
    planted = np.where(added.chains.read, nodes.reading_cm, nodes.guess_cm)
    start = np.clip(planted, 1e-4 * ceiling, 0.99 * ceiling)
    begun = stage(start, ceiling, problem.shape[nodes.area])
    problem = with_heights_that_count(
        replace(problem, blocks=(*fit.solution.problem.blocks, added))
    )
    began = Point((*point.stages, begun), border)
    with one_blas_thread():
        view = view_of(problem, began)
    settled = np.concatenate([fit.solution.converged, np.ones(len(areas), dtype=bool)])
    solution = replace(fit.solution, view=view, converged=settled)
    keys = np.array([_draw_key(area) for area in areas], np.int64)
    draw_key = np.concatenate([wide.draw_key[:known], keys])
    numbers = fit.design.row_numbers
    design = replace(wide, problem=problem, draw_key=draw_key, row_numbers=numbers)
    return laid, replace(fit, design=design, solution=solution)


def _as_weighed(problem: Problem, fitted: Problem) -> Problem:
    """Return a problem of more areas that has heard of weights what a fitted one has."""
    known = fitted.weights
    weights = replace(
        known, **{n: getattr(problem.weights, n) for n in ("gram_per_cm", "removed_day")}
    )
    weighed = np.zeros_like(problem.pooling.weighed)
    weighed[:, : fitted.area_count] = fitted.pooling.weighed
    pooling = replace(problem.pooling, weighed=weighed)
    return replace(problem, weights=weights, pooling=pooling)


def _draw_key(area: PlannedArea) -> int:
    """Return a key of draws that only a plant and its place make, above those of a book's own."""
    place = str(area["area_id"]).rsplit("=", 1)[0]
    return OWN_LUCK + crc32(f"{area['tank_id']}/{place}/{area['species_id']}".encode())


def day_of(fit: GrowthFit) -> date:
    """Return the date of the day a fit was made for.

    Parameters
    ----------
    fit : GrowthFit
        A fitted book.

    Returns
    -------
    date
        The day.
    """
    return np.datetime64(int(fit.design.on_day), "D").item()


def replanted(book: Book, fit: GrowthFit, place: int, species_id: str) -> PlannedArea:
    """Return the cells of an area that is planted anew with another species.

    Parameters
    ----------
    book : Book
        The book that was fitted.
    fit : GrowthFit
        Its fit.
    place : int
        Place of the area in the book.
    species_id : str
        The species.

    Returns
    -------
    mapping of str to cell
        The area's own size, bounds and light.

    Raises
    ------
    UsageError
        The area is not planted on the day of the fit, or the species is measured otherwise.
    """
    areas, design = book.areas, fit.design
    area_id = str(design.area_id[place])
    if not design.stays[place]:
        raise UsageError(f"area {area_id} is not planted on {day_of(fit)}, so nothing is replaced")
    species = int(np.flatnonzero(design.species_id == species_id)[0])
    if bool(design.priors.measure_is_cover[species]) != bool(design.is_cover[place]):
        kinds = ("height", "percent cover")
        here, there = kinds[int(design.is_cover[place])], kinds[int(not design.is_cover[place])]
        raise UsageError(
            f"area {area_id} is measured by its {here} and {species_id} by its {there}: its floor "
            "and budget would mean nothing for it"
        )
    return {
        "area_id": f"{area_id}={species_id}",
        "tank_id": str(areas.text("tank_id")[place]),
        "species_id": species_id,
        **{name: _number(areas.number(name)[place]) for name in ("area_cm2", "light_share")},
        "floor_cm": float(design.traits.floor_cm[place]),
        "budget_cm": float(design.traits.budget_cm[place]),
    }


def _doubted(clock: GrowthClock, fit: GrowthFit, tank: int, then: TankConditions) -> GrowthClock:
    """Return the clock with the doubt about the CO2 of a tank to which none is added any more."""
    design, reference = fit.design, read_reference()
    was, will = (one.on(design.on_day).none_added[tank] for one in (design.conditions, then))
    if was or not will:
        return clock
    slope = co2_slope(
        reference.none_added_co2_mg_l, design.priors.traits["co2_k_mg_l"][design.species]
    )
    doubt = np.where(design.tank == tank, reference.none_added_co2_spread * slope, 0.0)
    return replace(clock, doubted_from=design.on_day, doubt=doubt)


def _number(value: float) -> float | None:
    return None if np.isnan(value) else float(value)


def running_on(
    fit: GrowthFit, tank: int, laid: Book, assumed: Book | None = None
) -> tuple[GrowthClock, TankConditions]:
    """Return the clock of a fit whose tank runs on as a book says, from the day of the fit.

    Parameters
    ----------
    fit : GrowthFit
        A fit.
    tank : int
        Place of the tank in the book.
    laid : Book
        The book that was fitted with other conditions or shares of light.
    assumed : Book, optional
        The same with what was assumed of conditions nobody gave. The response is then a multiple of
        the response there, so that supposing exactly what was assumed changes nothing.

    Returns
    -------
    GrowthClock and TankConditions
        The clock of its areas (A,), and the conditions of its tanks (K,).
    """
    design, clock, on_day = fit.design, fit.design.clock, fit.design.on_day
    conditions, ahead = clock_under(design, laid)
    response = np.concatenate([ahead.speed(on_day)[:, None], ahead.response], axis=1)
    if assumed is not None:
        as_assumed = clock_under(design, assumed)[1].speed(on_day)
        response = response * (clock.speed(on_day) / as_assumed)[:, None]
    today = np.full((design.area_id.size, 1), on_day)
    later = np.where(ahead.from_day > on_day, ahead.from_day, np.inf)
    begins = np.concatenate([today, later], axis=1)
    mine = (design.tank == tank)[:, None]
    lived = np.where(mine & (clock.from_day > on_day), np.inf, clock.from_day)
    from_day = np.concatenate([lived, np.where(mine, begins, np.inf)], axis=1)
    both = np.concatenate([clock.response, response], axis=1)
    order = np.argsort(from_day, axis=1, kind="stable")
    changed = replace(
        clock,
        from_day=np.take_along_axis(from_day, order, axis=1),
        response=np.take_along_axis(both, order, axis=1),
    )
    return changed, conditions
