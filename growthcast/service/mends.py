"""What would make the next interval feasible: each way worked out anew, none guessed."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import timedelta
from typing import Any

import numpy as np

from growthcast.arrays import BoolArray, FloatArray
from growthcast.book.book import Book
from growthcast.book.supposed import Cell, with_rows
from growthcast.fit.design import build_design
from growthcast.fit.growth import fit_growth
from growthcast.fit.result import GrowthFit
from growthcast.fit.supposed import conditions_now
from growthcast.forecast.report import as_date
from growthcast.service.advice import Mend, OptionAdvice
from growthcast.service.interval import interval_options, needed_budgets
from growthcast.service.living import LivingAreas, living_areas, living_part

STEP_CM = 0.1
BUDGET_STEPS = 10
"""Steps by which a budget is raised at most beyond the one worked out."""
DIMMED_SHARES = (0.9, 0.8, 0.7, 0.6, 0.5)
"""Shares of its light a lamp is dimmed to; below half, plants bred for more would not hold."""
CANDIDATES, SHOWN = 8, 3
ESTABLISHED_D = 365
"""A supposed plant is taken to have been planted this long ago, so that it has settled in."""
CO2_THAT_HELPS_MG_L = 15.0
"""Less is too little for plants that need CO2 (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class _Case:
    """A tank's areas and an interval that they do not hold."""

    book: Book
    fit: GrowthFit
    living: LivingAreas
    option: OptionAdvice
    confidence: float

    def chance(self, living: LivingAreas) -> float:
        """Chance of the interval under changed areas cut to their least, worked out anew."""
        wanted = np.array([self.confidence])
        changed = interval_options(living, self.option.interval_d, wanted)
        return float(changed.chance_at_least_cut[0])

    def mend(
        self,
        places: BoolArray,
        *,
        chance: float,
        values: FloatArray | list[str],
        before: FloatArray,
        **named: Any,
    ) -> Mend:
        """Return a change of some areas, its chance at hand."""
        return Mend(
            area_ids=tuple(self.fit.design.area_id[self.living.area[places]].tolist()),
            values=tuple(values if isinstance(values, list) else values.tolist()),
            interval_d=self.option.interval_d,
            chance_at_least_cut=chance,
            holds=chance >= self.confidence,
            before=tuple(before.tolist()),
            **named,
        )

    def mend_bound(self, kind: str, name: str, bound: FloatArray, changed: BoolArray) -> Mend:
        """Return a change of one bound (A,) of the areas of a mask (A,)."""
        bounds: dict[str, Any] = {name: bound}
        return self.mend(
            changed,
            kind=kind,
            chance=self.chance(replace(self.living, **bounds)),
            values=bound[changed].round(1),
            before=getattr(self.living, name)[changed],
        )


def mends_for(
    book: Book,
    fit: GrowthFit,
    living: LivingAreas,
    option: OptionAdvice,
    confidence: float,
    limited_by: str,
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
    option : OptionAdvice
        An interval the tank does not hold, and what it asks of these areas.
    confidence : float
        Wanted chance [0-1].
    limited_by : str
        Id of the area that goes over first; the one for which other plants are tried.

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
    needed = np.array([area.cut_needed_cm for area in option.areas], dtype=np.float64)  # NaN: none
    short = np.isnan(needed) | (needed < living.least_cut_cm)
    if option.feasible or not short.any():
        return ()
    case = _Case(book, fit, living, option, confidence)
    limit = np.flatnonzero(fit.design.area_id[living.area] == limited_by)
    found = [_higher_budgets(case, short), *_lower_bounds(case, short, needed)]
    found += _plants(case, int(limit[0])) if limit.size else []
    return (*found, *_less_light(case))


def _higher_budgets(case: _Case, short: BoolArray) -> Mend:
    """Budgets up until the interval holds."""
    living = case.living
    needed = needed_budgets(living, case.option.interval_d, np.array([case.confidence]))
    budget = np.where(short, np.ceil(needed / STEP_CM - 1e-6) * STEP_CM, living.budget_cm)
    mend = case.mend_bound("budget", "budget_cm", budget, short)
    for _ in range(BUDGET_STEPS):
        if mend.holds:
            break
        budget = budget + STEP_CM * short
        mend = case.mend_bound("budget", "budget_cm", budget, short)
    return mend


def _lower_bounds(case: _Case, short: BoolArray, needed: FloatArray) -> Iterator[Mend]:
    """Floors down until the interval holds, where every short area survives it.

    Then cuts down to the floor where the lowest cut that is known to be stood lies above it.
    """
    floor, safe = case.living.floor_cm, case.living.safe_cut_cm
    if not np.isnan(needed[short]).any():
        lower = np.where(short, np.floor(needed / STEP_CM + 1e-6) * STEP_CM, floor)
        lower = np.maximum(lower, np.minimum(safe, floor))
        yield case.mend_bound("floor", "floor_cm", lower, short)
    above = short & (safe > floor)
    if above.any():
        yield case.mend_bound("lowest cut", "safe_cut_cm", np.where(above, floor, safe), above)


def _less_light(case: _Case) -> Iterator[Mend]:
    """The brightest dimming of the lamp with which the interval holds, or the strongest tried."""
    fit, living = case.fit, case.living
    tank, on = int(living.tank[0]), as_date(living.on_day)
    ppfd = conditions_now(fit, tank)["ppfd_umol"]
    if not np.isfinite(ppfd) or ppfd <= 0.0:
        return
    before = fit.design.clock.speed(living.on_day)[living.area]
    for share in DIMMED_SHARES:
        row: dict[str, Cell] = {
            "tank_id": str(fit.design.tank_id[tank]),
            "from_date": on,
            "ppfd_umol": round(share * ppfd),
        }
        supposed = replace(case.book, conditions=with_rows(case.book.conditions, [row]))
        clock = build_design(supposed, on, fit.design.spreads).clock
        slower = np.log(clock.speed(living.on_day)[living.area] / before)
        draws = replace(living.draws, log_rate=living.draws.log_rate + slower[:, None])
        mend = case.mend(
            np.ones(living.area.size, dtype=np.bool_),
            kind="light",
            chance=case.chance(replace(living, draws=draws)),
            values=np.array([round(share * ppfd)], dtype=np.float64),
            before=np.array([ppfd]),
        )
        if mend.holds or share == DIMMED_SHARES[-1]:
            yield mend
            return


def _plants(case: _Case, limit: int) -> list[Mend]:
    """Slower plants of the same form in the limiting area: those that hold, the fastest first.

    The nearest to it where none holds.
    """
    listed = _slower_species(case, limit)
    if not listed:
        return []
    fit, living = case.fit, case.living
    on, place = as_date(living.on_day), int(living.area[limit])
    rows = [_supposed_area(case, place, species) for species in listed]
    supposed = replace(case.book, areas=with_rows(case.book.areas, rows))
    among = living_areas(fit_growth(supposed, on, fit.design.spreads), living.tank)
    old, names = fit.design.area_id.size, fit.design.priors
    spot = np.arange(living.area.size) == limit
    tried: list[Mend] = []
    for n, species in enumerate(listed):
        keep = (among.area < old) & (among.area != place) | (among.area == old + n)
        tried.append(
            case.mend(
                spot,
                kind="plant",
                chance=case.chance(living_part(among, keep)),
                values=[str(names.species_id[species])],
                before=np.zeros(0),
                plant=(str(names.scientific_name[species]), str(names.common_name[species])),
            )
        )
        if sum(mend.holds for mend in tried) == SHOWN:
            break
    holding = [mend for mend in tried if mend.holds]
    return holding or [max(tried, key=lambda mend: mend.chance_at_least_cut)]


def _supposed_area(case: _Case, place: int, species: int) -> dict[str, Cell]:
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
        "planted_on": as_date(design.on_day) - timedelta(days=ESTABLISHED_D),
    }


def _slower_species(case: _Case, limit: int) -> list[int]:
    """Species of the same form that grow slower and fit the area, the fastest first.

    Left out: plants with a caution, plants that need CO2 where the tank has little, plants whose
    ceiling lies below the floor or whose lowest safe cut lies above it.
    """
    design, living = case.fit.design, case.living
    priors, tank = design.priors, int(living.tank[0])
    now = int(design.species[living.area[limit]])
    co2 = conditions_now(case.fit, tank)["co2_mg_l"]
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
