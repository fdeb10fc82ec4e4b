"""The page of a rescape: plants compared for an area, and a layout put together of them."""

from __future__ import annotations

from typing import Any

import numpy as np
from starlette.responses import Response

from growthcast.book.supposed import Layout, with_cells
from growthcast.book.tables import FORMS
from growthcast.desk.memory import Known
from growthcast.desk.pages.asked import Asked, link
from growthcast.say.plants import plant_reason, saves_in_words
from growthcast.say.strip import days_of_100
from growthcast.say.words import named
from growthcast.service.effort.hours import Range
from growthcast.service.rescape.layouts import LayoutAdvice, compare_layouts
from growthcast.service.rescape.plants import (
    PlantAdvice,
    compare_plants,
    pool_of,
    usual_choice,
)

MOST_PLANTS = 10
PICKED = "plant."
"""What the fields of a layout begin with, before the id of an area."""
Picks = tuple[tuple[str, str], ...]


def rescape(asked: Asked) -> Response:
    """Show what could grow in an area of a tank, and what the tank takes once it is planted so."""
    standing, book, design = (
        asked.standing(asked.get("tank")),
        asked.known.book,
        asked.known.fit.design,
    )
    tank_id = standing.advice.tank_id
    living = np.flatnonzero(design.alive & (design.tank == standing.place)).tolist()
    ids = [str(design.area_id[place]) for place in living]
    now = {ids[n]: str(design.species_id[design.species[place]]) for n, place in enumerate(living)}
    names = asked.known.plants()
    labels = dict(zip(book.areas.text("area_id"), book.areas.text("label"), strict=True))
    picks = {area: asked.get(PICKED + area) for area in ids if asked.get(PICKED + area) in names}
    picks = {area: plant for area, plant in picks.items() if plant != now[area]}
    area, form = asked.get("area"), asked.get("form")
    form = form if form in FORMS else ""
    here = {"tank": tank_id, **{PICKED + a: plant for a, plant in picks.items()}}
    plants = []
    if area in ids:
        place = living[ids.index(area)]
        for one in asked.known.soon(compared, place, form):
            put = here | {PICKED + area: one.species_id, "area": area, "form": form}
            plants.append(_plant(asked, one) | {"put": link("/rescape", **put)})
    layouts = asked.known.soon(laid_out, standing.place, tuple(picks.items())) if picks else []
    return asked.page(
        "rescape.html",
        tank={"id": tank_id, "name": named(tank_id)},
        areas=[
            {
                "id": one,
                "label": named(labels[one], one),
                "now": named(names[now[one]], now[one]),
                "picked": named(names[picks[one]], picks[one]) if one in picks else "",
                "look": link("/rescape", **here, area=one),
                "back": link("/rescape", **{k: v for k, v in here.items() if k != PICKED + one}),
            }
            for one in ids
        ],
        area=area if area in ids else "",
        label=named(labels.get(area, ""), area),
        plants=plants,
        forms=[(one, link("/rescape", **here, area=area, form=one)) for one in FORMS],
        form=form,
        layouts=[_layout(asked, one) for one in layouts],
    )


def compared(known: Known, place: int, form: str) -> list[PlantAdvice]:
    """Return how plants would do in an area, the best first."""
    choice = (form, "") if form else usual_choice(known.book, known.fit, place)
    wanted = pool_of(known.fit, place, *choice)
    if not wanted:
        return []
    advice = compare_plants(known.book, known.fit, place, wanted)
    fitting = [one for one in advice if one.fits or one.is_there_now]
    return [one for n, one in enumerate(fitting) if n < MOST_PLANTS or one.is_there_now]


def laid_out(known: Known, tank: int, picks: Picks) -> list[LayoutAdvice]:
    """Return a tank as it is, and with other plants in some of its areas."""
    design = known.fit.design
    ids = design.area_id[design.alive & (design.tank == tank)].tolist()
    areas = known.book.areas.keep(np.isin(known.book.areas.text("area_id"), ids))
    areas = with_cells(areas, np.ones(len(areas), bool), {"planted_on": known.on})
    for area, plant in picks:
        areas = with_cells(areas, areas.text("area_id") == area, {"species_id": plant})
    return compare_layouts(known.book, known.fit, tank, [Layout("", areas, ())])


def _days(asked: Asked, days: int | None) -> str:
    return asked.locale.say("desk_no_days") if days is None else asked.locale.count("day", days)


def _within(asked: Asked, of: Range, key: str = "") -> str:
    locale, ends = asked.locale, (of.p50, of.p10, of.p90)
    middle, low, high = (locale.money(one, key) if key else locale.number(one) for one in ends)
    return locale.say("range", middle=middle, low=low, high=high)


def _plant(asked: Asked, one: PlantAdvice) -> dict[str, Any]:
    locale, names, alone = asked.locale, asked.known.plants(), one.own_interval_d
    return {
        "name": named(names[one.species_id], one.species_id),
        "now": one.is_there_now,
        "tank": _days(asked, None if one.is_lost else one.tank_interval_d),
        "alone": locale.count("day", alone),
        "holds": locale.chance(one.chance_holds),
        "minutes": _within(asked, one.minutes_per_year),
        "why": asked.in_english(plant_reason(one)),
    }


def _layout(asked: Asked, one: LayoutAdvice) -> dict[str, Any]:
    locale, chosen, practice = asked.locale, one.answer.chosen, asked.known.book.practice
    saves = []
    if one.saves is not None and not one.nothing_holds:
        saves = asked.in_english(saves_in_words(one.saves, practice.currency))
    return {
        "name": locale.say("desk_layout" if not one.name else "desk_as_it_is"),
        "every": _days(asked, one.interval_d),
        "inside": locale.chance(chosen.chance_all_within),
        "presentable": days_of_100(locale, chosen.share_of_days_presentable),
        "hours": _within(asked, chosen.year.hours_range),
        "cost": _within(asked, chosen.year.cost_range, practice.currency)
        if practice.labour_rate_per_h > 0.0
        else "",
        "saves": saves,
    }
