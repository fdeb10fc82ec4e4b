"""All that a client's page says of one tank, as numbers."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np

from growthcast.arrays import FloatArray
from growthcast.book.book import Book
from growthcast.finite import finite_answer
from growthcast.fit.result import GrowthFit
from growthcast.forecast.heights import growth_a_week
from growthcast.forecast.report import AreaForecast, as_date, forecast_growth
from growthcast.service.advice import OptionAdvice, TankAdvice
from growthcast.service.living import LivingAreas, living_areas
from growthcast.service.recommend import area_label, recommend
from growthcast.service.sawtooth import Sawtooth, sawtooth

WEEKS_SHOWN = 8
MOST_OPTIONS = 6
"""Intervals a page compares at most."""


@dataclass(frozen=True, slots=True)
class AreaFacts:
    """One area: what grows there, how fast, and its outlook.

    ``speed`` (3,) is its growth a week, as ``growth_a_week`` tells it.
    """

    label: str
    plant: str
    common_name: str
    unit: str
    caution: str
    speed: FloatArray
    forecast: AreaForecast


@dataclass(frozen=True, slots=True)
class TankFacts:
    """One tank: its advice, the options a page compares, its areas and the weeks ahead.

    ``option`` is the recommended one, or the shortest where none is; ``longer`` the next longer
    one that looks clearly worse, ``next_longer`` the next longer whatever it looks like.
    """

    tank_id: str
    site: str
    on: date
    advice: TankAdvice
    options: tuple[OptionAdvice, ...]
    option: OptionAdvice | None
    longer: OptionAdvice | None
    next_longer: OptionAdvice | None
    areas: tuple[AreaFacts, ...]
    limiting: AreaFacts | None
    saws: tuple[Sawtooth, ...]

    @property
    def recommended(self) -> bool:
        """Whether an interval is recommended at all."""
        return self.advice.recommended_interval_d is not None


CLEARLY_WORSE = 0.05
"""A rhythm whose share of days presentable is this much lower looks different to an eye."""


@finite_answer
def gather_tank(book: Book, fit: GrowthFit, tank: int) -> TankFacts:
    """Gather what a page says of one tank.

    Parameters
    ----------
    book : Book
        The book.
    fit : GrowthFit
        Its fit.
    tank : int
        Place of the tank in the book.

    Returns
    -------
    TankFacts
        Without options, areas and weeks ahead where nothing is planted or no plant there holds.
    """
    place = np.array([tank])
    [advice] = recommend(book, fit, place, full=True)
    options = () if advice.nothing_holds else _in_view(advice)
    at = tuple(as_date(fit.design.on_day) + timedelta(days=7 * k) for k in (0, 1))
    forecasts = forecast_growth(fit, at, book.practice.horizon_d, place)
    days = advice.recommended_interval_d
    option = None
    if options:
        option = next((o for o in options if o.interval_d == days), options[0])
    living = living_areas(fit, place)
    areas = _areas(book, fit, living, option, forecasts) if option is not None else ()
    limiting = _limiting(advice, option) if option is not None else None
    longer = [o for o in options if option is not None and o.interval_d > option.interval_d]
    least = option.share_of_days_presentable - CLEARLY_WORSE if option is not None else 0.0
    worse = [o for o in longer if o.share_of_days_presentable < least]
    return TankFacts(
        tank_id=advice.tank_id,
        site=str(book.tanks.text("site")[tank]),
        on=as_date(fit.design.on_day),
        advice=advice,
        options=options,
        option=option,
        longer=worse[0] if worse else longer[-1] if longer else None,
        next_longer=longer[0] if longer else None,
        areas=areas,
        limiting=None if limiting is None else areas[limiting],
        saws=()
        if limiting is None
        else tuple(
            sawtooth(living, limiting, o.interval_d, o.areas[limiting].cut_cm, WEEKS_SHOWN)
            for o in options
        ),
    )


def _in_view(advice: TankAdvice) -> tuple[OptionAdvice, ...]:
    """Options a page compares: all of a few, else those around the recommended one."""
    options = sorted(advice.options, key=lambda o: o.interval_d)
    if len(options) <= MOST_OPTIONS:
        return tuple(options)
    days = advice.recommended_interval_d
    place = next((i for i, o in enumerate(options) if o.interval_d == days), 0)
    first = min(max(place - 1, 0), len(options) - MOST_OPTIONS)
    return tuple(options[first : first + MOST_OPTIONS])


def _limiting(advice: TankAdvice, option: OptionAdvice) -> int:
    """Place of the area that limits the tank: at the longest option it holds least often."""
    ids = [area.area_id for area in option.areas]
    if advice.limited_by in ids:
        return ids.index(advice.limited_by)
    longest = max(advice.options, key=lambda o: o.interval_d)
    return min(range(len(ids)), key=lambda i: (longest.areas[i].chance_within, i))


def _areas(
    book: Book,
    fit: GrowthFit,
    living: LivingAreas,
    option: OptionAdvice,
    forecasts: list[AreaForecast],
) -> tuple[AreaFacts, ...]:
    speed = growth_a_week(fit, living.area)
    by_id = {forecast.area_id: forecast for forecast in forecasts}
    species = {name: i for i, name in enumerate(book.species.text("species_id").tolist())}
    facts = []
    for i, (place, area) in enumerate(zip(living.area.tolist(), option.areas, strict=True)):
        forecast = by_id[area.area_id]
        row = species[forecast.species_id]
        facts.append(
            AreaFacts(
                label=area_label(book, place),
                plant=str(book.species.text("scientific_name")[row]) or forecast.species_id,
                common_name=str(book.species.text("common_name")[row]),
                unit=area.unit,
                caution=str(book.species.text("caution")[row]),
                speed=speed[i],
                forecast=forecast,
            )
        )
    return tuple(facts)
