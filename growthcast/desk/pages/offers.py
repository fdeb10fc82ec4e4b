"""Pages of what is offered: the page for a client, a quote for a tank that is typed, a rescape."""

from __future__ import annotations

import threading
from datetime import timedelta
from importlib.util import find_spec
from typing import Any

import babel
import numpy as np
from starlette.responses import Response

from growthcast.book.book import Book
from growthcast.book.read import inspect_book
from growthcast.book.supposed import Layout, with_cells
from growthcast.book.tables import FORMS
from growthcast.brief.client import build_brief
from growthcast.brief.contract import gather_facts
from growthcast.brief.html import page_html
from growthcast.brief.page import Page
from growthcast.brief.pdf import page_pdf
from growthcast.desk.guard import OF_A_SHEET
from growthcast.desk.memory import Known
from growthcast.desk.pages.asked import (
    Asked,
    as_table,
    cell,
    download,
    fields,
    finding_words,
    link,
    plants,
)
from growthcast.errors import BookProblems, Finding
from growthcast.fit.growth import fit_growth
from growthcast.fit.result import GrowthFit
from growthcast.say.locale import open_locale
from growthcast.say.plants import plant_reason, saves_in_words
from growthcast.say.strip import days_of_100
from growthcast.say.words import named
from growthcast.service.rescape.layouts import LayoutAdvice, compare_layouts
from growthcast.service.rescape.plants import (
    PlantAdvice,
    compare_plants,
    pool_of,
    usual_choice,
)

LANGUAGES = ("en-GB", "de-DE")
DRAWING = threading.Lock()
"""Pictures are drawn one at a time."""
ROWS, MOST_ROWS = 5, 15
QUOTED, GROWN_D = "quote", 365
"""The id of a tank that is typed, and how long its plants have stood there."""
TANK = ("name", "client", "length_cm", "width_cm", "water_depth_cm", "travel_min")
LIGHT = ("ppfd_umol", "photoperiod_h", "co2_mg_l", "temperature_c")
AREA = ("species_id", "area_cm2", "floor_cm", "budget_cm")


def languages(asked: Asked) -> list[tuple[str, str]]:
    """Return the languages of pages, the practice's own first, each by its own name."""
    tags = dict.fromkeys((asked.known.book.practice.locale, *LANGUAGES))
    names = [(tag, babel.Locale.parse(tag, sep="-")) for tag in tags]
    return [(tag, (place.get_display_name() or tag)) for tag, place in names]


def _asked_for(asked: Asked) -> dict[str, Any]:
    """Return what a page is asked in: days between visits (0: as recommended), and language."""
    tags = [tag for tag, _ in languages(asked)]
    tag = asked.get("lang") if asked.get("lang") in tags else tags[0]
    return {"every": asked.choice("every", [*range(1, 366)], 0), "lang": tag}


def client(asked: Asked) -> Response:
    """Show the page for a tank's client, with its rhythm and language as choices."""
    standing, chosen = asked.standing(asked.get("tank")), _asked_for(asked)
    advice = standing.advice
    days = sorted({one.interval_d for one in advice.options} | {chosen["every"]} - {0})
    return asked.page(
        "client.html",
        tank={"id": advice.tank_id, "name": named(advice.tank_id)},
        client=named(advice.client),
        days=days,
        best=advice.recommended_interval_d or 0,
        languages=languages(asked),
        chosen=chosen,
        can_pdf=find_spec("typst") is not None,
    )


def sheet(asked: Asked) -> Response:
    """Send the page itself: to be read, or saved as HTML or PDF."""
    standing, chosen = asked.standing(asked.get("tank")), _asked_for(asked)
    page = asked.known.soon(brief_of, standing.place, chosen["every"], chosen["lang"])
    return _sent(asked, page, standing.advice.tank_id)


def brief_of(known: Known, tank: int, every: int, tag: str) -> Page:
    """Return the page of one tank as ``growthcast brief`` builds it."""
    return _brief(known.book, known.fit, tank, every, tag)


def _brief(book: Book, fit: GrowthFit, tank: int, every: int, tag: str) -> Page:
    with DRAWING:
        facts = gather_facts(book, fit, np.array([tank]), None, every or None)
        return build_brief(book, fit, facts, open_locale(tag))


def _sent(asked: Asked, page: Page, name: str) -> Response:
    safe = "".join(c if c.isascii() and (c.isalnum() or c in "-_") else "-" for c in name)
    if asked.get("as") == "pdf":
        return download(page_pdf(page), "application/pdf", f"{safe}.pdf")
    if asked.get("as") == "html":
        return download(page_html(page), "text/html", f"{safe}.html")
    headers = {"content-security-policy": OF_A_SHEET, "x-frame-options": "SAMEORIGIN"}
    return Response(page_html(page), media_type="text/html", headers=headers)


def quote(asked: Asked) -> Response:
    """Show a form for a tank that is not in the book, and its page once the form is complete."""
    rows = asked.choice("rows", [*range(ROWS, MOST_ROWS + 1)], ROWS)
    found: tuple[Finding, ...] = ()
    ready = False
    if asked.get("done"):
        book, _, found = asked.known.soon(supposed, *_typed(asked))
        ready = book is not None
    first = [*fields(asked, "tanks", TANK, found=found), *fields(asked, "conditions", LIGHT)]
    areas = [fields(asked, "areas", AREA, row, found) for row in range(2, rows + 2)]
    beside = {one["name"] for row in (first, *areas) for one in row}
    typed = {name: text for name, text in asked.given.items() if name in beside and text}
    rest = [one for one in found if one.level == "problem"]
    rest = [one for one in rest if f"{one.file[:-4]}.{one.heading}.{one.row}" not in beside]
    return asked.page(
        "quote.html",
        tank=first,
        areas=areas,
        rows=rows,
        more=min(rows + ROWS, MOST_ROWS),
        plants=plants(asked),
        problems=[finding_words(asked, one, f"{one.file}: ") for one in rest],
        ready=ready,
        typed=typed | {"done": "1"},
        languages=languages(asked),
        can_pdf=find_spec("typst") is not None,
    )


def quote_sheet(asked: Asked) -> Response:
    """Send the page of a tank that was typed."""
    chosen, typed = _asked_for(asked), _typed(asked)
    book, _, found = asked.known.soon(supposed, *typed)
    if book is None:
        raise BookProblems(found)
    page = asked.known.soon(quoted, *typed, chosen["every"], chosen["lang"])
    return _sent(asked, page, "quote")


def _typed(asked: Asked) -> tuple[bytes, bytes, bytes]:
    """Return the tank, its areas and its conditions as the tables of a book."""
    since = (asked.known.on - timedelta(days=GROWN_D)).isoformat()
    tank = {name: cell(asked, "tanks", name, 2) for name in TANK} | {"tank_id": QUOTED}
    areas: list[dict[str, str]] = []
    for row in range(2, MOST_ROWS + 2):
        typed = {name: cell(asked, "areas", name, row) for name in AREA}
        if any(typed.values()):
            mine = {"area_id": f"{row - 1}", "tank_id": QUOTED, "planted_on": since}
            areas.append(typed | mine | {"label": typed["species_id"]})
    light = {name: cell(asked, "conditions", name, 2) for name in LIGHT}
    given = [light | {"tank_id": QUOTED, "from_date": since}] if any(light.values()) else []
    return as_table("tanks", [tank]), as_table("areas", areas), as_table("conditions", given)


def supposed(
    known: Known, tanks: bytes, areas: bytes, conditions: bytes
) -> tuple[Book | None, GrowthFit | None, tuple[Finding, ...]]:
    """Return the practice with that one tank and no log, its fit, and what is wrong with it."""
    tables = {"tanks": tanks, "areas": areas, "conditions": conditions}
    tables |= {name: as_table(name, []) for name in ("trims", "closed")}
    instead = {f"{name}.csv": data for name, data in tables.items()}
    book, found = inspect_book(known.book.folder, today=known.on, instead=instead)
    return book, None if book is None else fit_growth(book, known.on), found


def quoted(
    known: Known, tanks: bytes, areas: bytes, conditions: bytes, every: int, tag: str
) -> Page:
    """Return the page of that tank."""
    book, fit, found = supposed(known, tanks, areas, conditions)
    if book is None or fit is None:
        raise BookProblems(found)
    return _brief(book, fit, 0, every, tag)


MOST_PLANTS = 10
PICKED = "plant."
"""What the fields of a layout begin with, before the id of an area."""
Picks = tuple[tuple[str, str], ...]


def rescape(asked: Asked) -> Response:
    """Show what could grow in an area of a tank, and what the tank takes once it is planted so."""
    standing, book = asked.standing(asked.get("tank")), asked.known.book
    design = asked.known.fit.design
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
            plants.append((one, link("/rescape", **put), asked.in_english(plant_reason(one))))
    found = asked.known.soon(laid_out, standing.place, tuple(picks.items())) if picks else []
    practice, layouts = book.practice, []
    for layout in found:
        gains = None if layout.nothing_holds else layout.saves
        saves = [] if gains is None else [saves_in_words(gains, practice.currency)]
        layouts.append((layout, asked.in_english(*saves)))
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
        layouts=layouts,
        names=names,
        days_of_100=days_of_100,
        currency=practice.currency if practice.labour_rate_per_h > 0.0 else "",
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
