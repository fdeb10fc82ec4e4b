"""Plants compared for one area of a tank, by what the practice's log says of tank and species."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Literal

import numpy as np

from growthcast.arrays import FloatArray
from growthcast.book.book import Book
from growthcast.book.supposed.rows import PlannedArea
from growthcast.errors import UsageError
from growthcast.finite import finite_answer
from growthcast.fit.result import OWN_SPANS_FOR_LOG, GrowthFit
from growthcast.fit.supposed import conditions_now, fit_beside
from growthcast.forecast.heights import growth_a_week, rate_range
from growthcast.plain import BY_QUANTILE, FLAT, HIDDEN, by_quantile, in_json
from growthcast.service.effort import Range, Saving
from growthcast.service.rescape.holding import Holding
from growthcast.service.rescape.notes import holding_of, is_regulated
from growthcast.service.rescape.outlook import LONGEST_D, Days, Outlook, days_or_never, outlooks
from growthcast.service.rescape.reasons import Plant, ranked, reason_of
from growthcast.service.rescape.variants import (
    Stand,
    VariantAnswer,
    combined,
    saved_against,
    stand_of,
    variant_answers,
)

__all__ = ["Z_80", "PlantAdvice", "candidate_row", "compare_plants", "pool_of"]

Basis = Literal["own log", "own practice", "table"]

PLANTED_SHARE_OF_FLOOR = 0.5
"""Height at planting, as a share of the floor, where areas.csv gives none (common practice, no
source)."""
Z_80 = 1.2815515655446004


def _looked_at(days: FloatArray) -> dict[str, float | None]:
    """Days by quantile, None where they are as many as are looked at."""
    return by_quantile(None if value >= LONGEST_D else value for value in days)


@dataclass(frozen=True, slots=True)
class PlantAdvice:
    """One plant for an area; ranges are (3,): the 10, 50 and 90 % quantiles.

    ``own_interval_d`` is what the area alone allows in whole days, ``own_listed_d`` the longest
    listed interval within it; ``tank`` the answer for the whole tank with this plant in the area.
    ``rate_per_day`` holds under the tank's conditions, ``rate_sd`` is its log standard deviation;
    ``spans`` counts the spans of this species in the practice's log. Litres and minutes a year at
    the area are at the tank's interval, litres None for a floating plant. ``saves`` is what the
    whole tank takes less in a year than with the plant that is there now, None for that one.
    """

    plant: Plant = field(metadata=FLAT)
    rate_per_day: FloatArray = field(metadata=BY_QUANTILE)
    rate_sd: float = field(metadata=in_json("log_rate_sd", digits=4))
    spans: int = field(metadata=in_json("spans_in_practice"))
    own_interval_d: int = field(metadata=HIDDEN)
    own_listed_d: int | None = field(metadata=in_json("own_listed_interval_d"))
    days_between: FloatArray = field(metadata=in_json("days_floor_to_budget", into=_looked_at))
    cm_per_week: FloatArray = field(metadata=BY_QUANTILE)
    look_d: Days = field(metadata=in_json("days_to_look", into=by_quantile))
    tank: VariantAnswer
    tank_limited_by: str | None
    litres_per_year: Range | None = field(metadata=HIDDEN)
    minutes_per_year: Range = field(metadata=HIDDEN)
    saves: Saving | None = field(metadata=in_json("saves_per_year"))
    holding: tuple[float, float, float] = field(metadata=HIDDEN)
    reason: str


def pool_of(fit: GrowthFit, place: int, form: str | None) -> list[str]:
    """Return the species that could be put in an area: measured alike, of a form if one is named.

    The plant that stands there now is not among them.
    """
    priors = fit.design.priors
    alike = priors.measure_is_cover == fit.design.is_cover[place]
    if form is not None:
        alike &= priors.form == form
    alike[fit.design.species[place]] = False
    return [str(name) for name in priors.species_id[alike]]


@finite_answer
def compare_plants(
    book: Book,
    fit: GrowthFit,
    place: int,
    plants: Sequence[str],
    planted_cm: float | None = None,
) -> list[PlantAdvice]:
    """Compare plants for one area of a tank.

    Parameters
    ----------
    book : Book
        The book that was fitted.
    fit : GrowthFit
        Its fit.
    place : int
        Place of the area in the book; it must be planted on the day of the fit.
    plants : sequence of str
        Species to compare with the one that stands there, each once.
    planted_cm : float, optional
        Height at planting [cm]; the area's own, else half of its floor.

    Returns
    -------
    list of PlantAdvice
        The best first, the plant that stands there among them: plants that hold and come up to the
        look, by the tank's interval, then by the area's own.

    Raises
    ------
    UsageError
        The area is not planted on that day, or a plant is measured otherwise than the area.
    """
    design = fit.design
    if not design.alive[place]:
        day = np.datetime64(int(design.on_day), "D")
        raise UsageError(f"area {design.area_id[place]} is not planted on {day}")
    pool = pool_of(fit, place, None)  # all of them: a plant's luck does not depend on the others
    for name in (name for name in plants if name not in pool):
        candidate_row(book, fit, place, name)  # says what is wrong with it
    rows = [candidate_row(book, fit, place, name) for name in pool]
    laid, wide = fit_beside(book, fit, rows)
    stand = stand_of(laid, wide, int(design.tank[place]))
    areas = stand.living.area
    now = int(np.flatnonzero(areas == place)[0])
    asked = design.area_id.size + np.flatnonzero(np.isin(pool, list(plants)))
    candidates = np.flatnonzero(np.isin(areas, asked))
    others = np.flatnonzero((areas < design.area_id.size) & (areas != place))
    compared = np.concatenate([[now], candidates])
    answers = variant_answers(stand, [np.append(others, c) for c in compared])
    start = np.full(compared.size, _planted_cm(book, place, planted_cm))
    settle = wide.design.priors.settle_d[stand.species[compared]]
    alone = combined(stand.living, [compared])
    outlook = outlooks(alone, stand.confidence, start, settle)
    chances = holding_of(laid, wide, conditions_now(wide, int(design.tank[place])), areas[compared])
    found = [
        _advice(book, stand, answers[i], answers[0], outlook, chances, i, int(compared[i]), now)
        for i in range(compared.size)
    ]
    return sorted(found, key=lambda advice: ranked(advice.plant))


def candidate_row(book: Book, fit: GrowthFit, place: int, species_id: str) -> PlannedArea:
    """Return the cells of an area that would be planted with another species."""
    areas, design = book.areas, fit.design
    species = int(np.flatnonzero(design.species_id == species_id)[0])
    if bool(design.priors.measure_is_cover[species]) != bool(design.is_cover[place]):
        raise UsageError(
            f"{species_id} and area {design.area_id[place]} are not measured alike: one by height, "
            "one by percent cover"
        )
    cells = {
        name: float(areas.number(name)[place])
        for name in ("area_cm2", "floor_cm", "budget_cm", "light_share")
    }
    return {
        "area_id": f"{design.area_id[place]}={species_id}",
        "tank_id": str(areas.text("tank_id")[place]),
        "species_id": species_id,
        **{name: None if np.isnan(value) else value for name, value in cells.items()},
    }


def _planted_cm(book: Book, place: int, planted_cm: float | None) -> float:
    """Height at planting [cm]: as asked, else as the book has it, else half of the floor."""
    if planted_cm is not None:
        return planted_cm
    stated = float(book.areas.number("planted_height_cm")[place])
    floor = float(book.areas.number("floor_cm")[place])
    return max(PLANTED_SHARE_OF_FLOOR * floor, 0.1) if np.isnan(stated) else stated


def _advice(
    book: Book,
    stand: Stand,
    answer: VariantAnswer,
    as_it_is: VariantAnswer,
    outlook: Outlook,
    chances: Holding,
    i: int,
    at: int,
    now: int,
) -> PlantAdvice:
    design, species = stand.fit.design, int(stand.species[at])
    area = int(stand.living.area[at])
    spans = int(design.spans[design.species == species].sum())
    posterior = stand.fit.posterior(np.array([area]))
    sd = float(np.sqrt(posterior.rate_variance[0]))
    [rate] = rate_range(stand.fit, np.array([area]), posterior)
    [weekly] = growth_a_week(stand.fit, np.array([area]))
    own = int(outlook.allowed_d[i])
    limited = answer.limited_by
    chosen, here = answer.chosen, int(np.flatnonzero(answer.places == at)[0])
    minutes = Range(*chosen.area_min[here].tolist()).times(chosen.year.visits)
    litres = Range(*chosen.removed_cm[here].tolist()).times(
        float(stand.area_cm2[at]) / 1000.0 * chosen.year.visits
    )
    plant = _plant(stand, answer, outlook, chances, i, at, now, minutes.p50)
    return PlantAdvice(
        plant=plant,
        rate_per_day=rate,
        rate_sd=sd,
        spans=spans,
        own_interval_d=own,
        own_listed_d=max((d for d in stand.listed_d if d <= own), default=None),
        days_between=outlook.days[i],
        cm_per_week=weekly,
        look_d=days_or_never(outlook.look_d[i]),
        tank=answer,
        tank_limited_by=None
        if limited is None
        else str(design.area_id[stand.living.area[limited]]),
        litres_per_year=None if design.is_cover[area] else litres,
        minutes_per_year=minutes,
        saves=None if at == now else saved_against(stand, as_it_is, answer),
        holding=(float(chances.light[i]), float(chances.warmth[i]), float(chances.co2[i])),
        reason=reason_of(
            plant,
            chances,
            i,
            limits_tank=limited == at,
            limited_by=None if limited is None else _label(book, stand, limited),
            listed_d=stand.listed_d,
        ),
    )


def _plant(
    stand: Stand,
    answer: VariantAnswer,
    outlook: Outlook,
    chances: Holding,
    i: int,
    at: int,
    now: int,
    minutes_per_year: float,
) -> Plant:
    """Return what the ranking looks at of the candidate at a place of the stand."""
    design, species = stand.fit.design, int(stand.species[at])
    area = int(stand.living.area[at])
    spans = int(design.spans[design.species == species].sum())
    basis: Basis = (
        "own log"
        if design.spans[area] >= OWN_SPANS_FOR_LOG
        else "own practice"
        if spans
        else "table"
    )
    caution = str(design.priors.caution[species])
    return Plant(
        species_id=str(design.species_id[species]),
        common_name=str(design.priors.common_name[species]),
        form=str(design.priors.form[species]),
        unit="% cover" if design.is_cover[area] else "cm",
        is_there_now=at == now,
        basis=basis,
        holds_chance=float(chances.chance[i]),
        reaches_look_chance=float(outlook.reaches_look[i]),
        look_d=days_or_never(outlook.look_d[i])[1],
        own_interval_d=int(outlook.allowed_d[i]),
        tank_interval_d=answer.recommended_interval_d,
        minutes_per_year=minutes_per_year,
        caution=caution,
        is_regulated=is_regulated(caution),
        lowest_cut_cm=float(stand.living.safe_cut_cm[at]),
        floor_cm=float(stand.living.floor_cm[at]),
        budget_cm=float(stand.living.budget_cm[at]),
    )


def _label(book: Book, stand: Stand, place: int) -> str:
    area = int(stand.living.area[place])
    if area >= len(book.areas):
        return str(stand.fit.design.area_id[area])
    return str(book.areas.text("label")[area] or book.areas.text("area_id")[area])
