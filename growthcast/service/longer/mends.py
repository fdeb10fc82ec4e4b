"""What would make the next interval feasible: each way worked out anew, none guessed."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import date, timedelta
from typing import Any

import numpy as np

from growthcast.arrays import BoolArray
from growthcast.book.book import Book
from growthcast.book.suppose import Cell, with_rows
from growthcast.fit.design import build_design
from growthcast.fit.growth import fit_growth
from growthcast.fit.result import GrowthFit
from growthcast.forecast.report import as_date
from growthcast.service.interval import IntervalOptions, interval_options, needed_budgets
from growthcast.service.living import LivingAreas, living_areas, living_part

__all__ = ["Mend", "mends_for"]


STEP_CM = 0.1
DIMMED_SHARES = (0.9, 0.8, 0.7, 0.6, 0.5)
"""Shares of its light a lamp is dimmed to; below half, plants bred for more would not hold."""
CANDIDATES, SHOWN = 8, 3
ESTABLISHED_D = 365
"""A supposed plant is taken to have been planted this long ago, so that it has settled in."""
CO2_THAT_HELPS_MG_L = 15.0
"""Less is too little for plants that need CO2 (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class Mend:
    """One change and what it does to an interval.

    ``kind`` is "budget", "floor", "lowest cut", "plant" or "light"; ``change`` says it in words.
    ``area_ids`` are the areas changed (all of the tank's for light) and ``values`` the new bounds
    [cm, or % cover], the new species' ids, or the new PPFD [umol]. ``chance_at_least_cut`` is the
    chance of the interval with that change, every area cut as low as still looks right, and
    ``holds`` whether it suffices.
    """

    kind: str
    change: str
    area_ids: tuple[str, ...]
    values: tuple[float | str, ...]
    interval_d: int
    chance_at_least_cut: float
    holds: bool


@dataclass(frozen=True, slots=True)
class _Case:
    """A tank's areas and an interval that they do not hold, with the names of the areas."""

    book: Book
    fit: GrowthFit
    living: LivingAreas
    option: IntervalOptions
    confidence: float
    labels: tuple[str, ...]
    units: tuple[str, ...]

    def chance(self, living: LivingAreas) -> float:
        """Chance of the interval under changed areas cut to their least, worked out anew."""
        wanted = np.array([self.confidence])
        changed = interval_options(living, self.option.interval_d, wanted)
        return float(changed.chance_at_least_cut[0])

    def mend(
        self, kind: str, change: str, places: BoolArray, values: list[Any], chance: float
    ) -> Mend:
        """Return a change, its chance at hand."""
        ids = self.fit.design.area_id[self.living.area[places]].tolist()
        return Mend(
            kind=kind,
            change=change,
            area_ids=tuple(ids),
            values=tuple(values),
            interval_d=self.option.interval_d,
            chance_at_least_cut=chance,
            holds=chance >= self.confidence,
        )


def mends_for(
    book: Book,
    fit: GrowthFit,
    living: LivingAreas,
    interval_d: int,
    confidence: float,
    limited_by: str,
    labels: tuple[str, ...],
    units: tuple[str, ...],
) -> tuple[Mend, ...]:
    """List what would make an interval feasible for one tank.

    Parameters
    ----------
    book : Book
        The book that was fitted.
    fit : GrowthFit
        Its fit.
    living : LivingAreas
        The tank's areas.
    interval_d : int
        An interval the tank does not hold [d].
    confidence : float
        Wanted chance [0-1].
    limited_by : str
        Id of the area that goes over first; the one for which other plants are tried.
    labels, units : tuple of str
        What people call the areas, and the unit of their heights.

    Returns
    -------
    tuple of Mend
        Budgets up, floors down (where the plants survive it), cuts down to the floor where the
        species table's lowest cut lies above it, slower plants of the same growth form
        in the limiting area, and less light (where the tank's light is known), each with the chance
        worked out anew.

    Notes
    -----
    Budgets and floors are rounded to the millimetre, to the safe side. A plant is judged by fitting
    the book once more with it planted beside, long settled and without a log of its own. Light is
    judged by each area's response to it, the rates being kept. What changed budgets do to the light
    at an area's own height is left out.
    """
    option = interval_options(living, interval_d, np.array([confidence]))
    case = _Case(book, fit, living, option, confidence, labels, units)
    short = np.isnan(option.cut_needed_cm) | (option.cut_needed_cm < living.least_cut_cm)
    if option.feasible[0] or not short.any():
        return ()
    limit = np.flatnonzero(fit.design.area_id[living.area] == limited_by)
    found = [*_budgets(case, short), *_floors(case, short), *_lower_cuts(case, short)]
    found += _plants(case, int(limit[0])) if limit.size else []
    return (*found, *_less_light(case))


def _budgets(case: _Case, short: BoolArray) -> Iterator[Mend]:
    """Budgets up until the interval holds."""
    living = case.living
    needed = needed_budgets(living, case.option.interval_d, np.array([case.confidence]))
    budget = np.where(short, np.ceil(needed / STEP_CM - 1e-6) * STEP_CM, living.budget_cm)
    chance = case.chance(replace(living, budget_cm=budget))
    for _ in range(10):
        if chance >= case.confidence:
            break
        budget = budget + STEP_CM * short
        chance = case.chance(replace(living, budget_cm=budget))
    up = budget - living.budget_cm
    words = "; ".join(
        f"{case.labels[i]} up by {up[i]:.1f} to {budget[i]:.1f} {case.units[i]}"
        for i in np.flatnonzero(short).tolist()
    )
    values = [round(float(value), 1) for value in budget[short]]
    yield case.mend("budget", f"a higher budget: {words}", short, values, chance)


def _floors(case: _Case, short: BoolArray) -> Iterator[Mend]:
    """Floors down until the interval holds, where every short area survives it."""
    living, needed = case.living, case.option.cut_needed_cm
    if np.isnan(needed[short]).any():
        return
    floor = np.where(short, np.floor(needed / STEP_CM + 1e-6) * STEP_CM, living.floor_cm)
    floor = np.maximum(floor, np.minimum(living.safe_cut_cm, living.floor_cm))
    chance = case.chance(replace(living, floor_cm=floor))
    words = "; ".join(
        f"{case.labels[i]} down by {living.floor_cm[i] - floor[i]:.1f} to {floor[i]:.1f} "
        f"{case.units[i]}"
        for i in np.flatnonzero(short).tolist()
    )
    values = [round(float(value), 1) for value in floor[short]]
    yield case.mend("floor", f"a lower floor: {words}", short, values, chance)


def _lower_cuts(case: _Case, short: BoolArray) -> Iterator[Mend]:
    """Cuts down to the floor where the lowest cut that is known to be stood lies above it."""
    living = case.living
    above = short & (living.safe_cut_cm > living.floor_cm)
    if not above.any():
        return
    safe = np.where(above, living.floor_cm, living.safe_cut_cm)
    words = "; ".join(
        f"{case.labels[i]} to {safe[i]:.1f} instead of {living.safe_cut_cm[i]:.1f} {case.units[i]}"
        for i in np.flatnonzero(above).tolist()
    )
    values = [round(float(value), 1) for value in safe[above]]
    chance = case.chance(replace(living, safe_cut_cm=safe))
    change = f"a lower cut, if the plants stand it: {words}"
    yield case.mend("lowest cut", change, above, values, chance)


def _less_light(case: _Case) -> Iterator[Mend]:
    """The brightest dimming of the lamp with which the interval holds, or the strongest tried."""
    fit, living = case.fit, case.living
    conditions, tank = fit.design.conditions, int(living.tank[0])
    column = int((conditions.from_day[tank] <= living.on_day).sum()) - 1
    ppfd = float(conditions.values["ppfd_umol"][tank, column])
    if not np.isfinite(ppfd) or ppfd <= 0.0:
        return
    on = as_date(living.on_day)
    before = fit.design.clock.speed(living.on_day)[living.area]
    everywhere = np.ones(living.area.size, dtype=np.bool_)
    for share in DIMMED_SHARES:
        dimmed = round(share * ppfd)
        row: dict[str, Cell] = {
            "tank_id": str(fit.design.tank_id[tank]),
            "from_date": on,
            "ppfd_umol": dimmed,
        }
        supposed = replace(case.book, conditions=with_rows(case.book.conditions, [row]))
        clock = build_design(supposed, on, fit.design.spreads).clock
        slower = np.log(clock.speed(living.on_day)[living.area] / before)
        draws = replace(living.draws, log_rate=living.draws.log_rate + slower[:, None])
        chance = case.chance(replace(living, draws=draws))
        if chance >= case.confidence or share == DIMMED_SHARES[-1]:
            words = (
                f"less light: {dimmed} instead of {ppfd:.0f} umol at the substrate "
                f"({100 * (1 - share):.0f} % less)"
            )
            yield case.mend("light", words, everywhere, [float(dimmed)], chance)
            return


def _plants(case: _Case, limit: int) -> Iterator[Mend]:
    """Slower plants of the same form in the limiting area: those that hold, the fastest first."""
    listed = _slower_species(case, limit)
    if not listed:
        return
    fit, living = case.fit, case.living
    on, place = as_date(living.on_day), int(living.area[limit])
    names = fit.design.priors
    rows = [_supposed_area(case, place, int(s), on) for s in listed]
    supposed = replace(case.book, areas=with_rows(case.book.areas, rows))
    other = fit_growth(supposed, on, fit.design.spreads)
    among = living_areas(other, living.tank)
    old = fit.design.area_id.size
    spot = np.zeros(living.area.size, dtype=np.bool_)
    spot[limit] = True
    shown = 0
    nearest: Mend | None = None
    for n, species in enumerate(listed):
        keep = (among.area < old) & (among.area != place) | (among.area == old + n)
        chance = case.chance(living_part(among, keep))
        words = (
            f"a slower plant: {names.scientific_name[species]} ({names.common_name[species]}) "
            f"as {case.labels[limit]}"
        )
        mend = case.mend("plant", words, spot, [str(names.species_id[species])], chance)
        if mend.holds:
            shown += 1
            yield mend
        if nearest is None or mend.chance_at_least_cut > nearest.chance_at_least_cut:
            nearest = mend
        if shown == SHOWN:
            return
    if not shown and nearest is not None:
        yield nearest


def _supposed_area(case: _Case, place: int, species: int, on: date) -> dict[str, Cell]:
    """The limiting area with another plant, long established and without a log."""
    areas, design = case.book.areas, case.fit.design
    share = float(areas.number("light_share")[place])
    species_id = str(design.priors.species_id[species])
    return {
        "area_id": f"{design.area_id[place]} as {species_id}",
        "tank_id": str(design.tank_id[design.tank[place]]),
        "species_id": species_id,
        "area_cm2": float(design.area_cm2[place]),
        "floor_cm": float(design.traits.floor_cm[place]),
        "budget_cm": float(design.traits.budget_cm[place]),
        "light_share": None if np.isnan(share) else share,
        "planted_on": on - timedelta(days=ESTABLISHED_D),
    }


def _slower_species(case: _Case, limit: int) -> list[int]:
    """Species of the same form that grow slower and fit the area, the fastest first.

    Left out: plants with a caution, plants that need CO2 where the tank has little, plants whose
    ceiling lies below the floor or whose lowest safe cut lies above it.
    """
    design, living = case.fit.design, case.living
    priors, tank = design.priors, int(living.tank[0])
    now = int(design.species[living.area[limit]])
    conditions = design.conditions
    column = int((conditions.from_day[tank] <= living.on_day).sum()) - 1
    co2 = float(conditions.values["co2_mg_l"][tank, column])
    floor = float(living.floor_cm[limit])
    water = float(design.water_depth_cm[tank])
    ceiling = np.where(priors.reaches_surface, water, priors.ceiling_cm)
    fits = (priors.form == priors.form[now]) & (priors.rate_per_day < priors.rate_per_day[now])
    fits &= (priors.caution == "") & (ceiling > 1.3 * floor) & (priors.lowest_cut_cm <= floor)
    fits &= priors.measure_is_cover == priors.measure_is_cover[now]
    if not co2 >= CO2_THAT_HELPS_MG_L:  # also where nobody has measured it
        fits &= priors.needs_co2 != "yes"
    found = np.flatnonzero(fits)
    order = found[np.argsort(-priors.rate_per_day[found], kind="stable")]
    spread = np.unique(np.linspace(0, order.size - 1, CANDIDATES).astype(np.int64))
    chosen: list[int] = order[spread].tolist() if order.size else []
    return chosen
