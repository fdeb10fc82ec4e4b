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
from growthcast.desk.memory import Known
from growthcast.desk.pages import asked as forms
from growthcast.desk.pages.asked import Asked, as_table, cell, download, fields
from growthcast.errors import BookProblems, Finding
from growthcast.fit.growth import fit_growth
from growthcast.say.locale import locale_of
from growthcast.service.rescape.layouts import LayoutAdvice, compare_layouts
from growthcast.service.rescape.plants import PlantAdvice, compare_plants, pool_of, usual_choice

OFFERED = ("en-GB", "de-DE")
"""Locales in which pages are offered beside the practice's own, one a language."""
DRAWING = threading.Lock()
"""Pictures are drawn one at a time."""
OF_A_SHEET = (
    "default-src 'none'; style-src 'unsafe-inline'; img-src data:; base-uri 'none'; "
    "form-action 'none'; frame-ancestors 'self'"
)
"""A client's page has its style inside, no script, and is shown in a frame of our own page."""
ROWS, MOST_ROWS = 5, 15
QUOTED, GROWN_D = "quote", 365
"""The id of a tank that is typed, and how long its plants have stood there."""
TYPED = ("tanks", "areas", "conditions")
TANK = ("name", "client", "length_cm", "width_cm", "water_depth_cm", "travel_min")
LIGHT = ("ppfd_umol", "photoperiod_h", "co2_mg_l", "temperature_c")
AREA = ("species_id", "area_cm2", "floor_cm", "budget_cm")


def _asked_for(asked: Asked) -> tuple[int, str]:
    """Return what a page is asked in: days between visits (0: as recommended), and language."""
    tags = (asked.known.book.practice.locale, *OFFERED)
    tag = asked.get("lang") if asked.get("lang") in tags else tags[0]
    return asked.choice("every", range(1, 366), 0), tag


def _ways(asked: Asked) -> dict[str, Any]:
    """Return the languages, each by its own name, and forms in which pages are sent."""
    tags = dict.fromkeys((asked.known.book.practice.locale, *OFFERED))
    names = {tag: babel.Locale.parse(tag, sep="-").get_display_name() or tag for tag in tags}
    return {"languages": names, "can_pdf": find_spec("typst") is not None}


def client(asked: Asked) -> Response:
    """Show the page for a tank's client, with its rhythm and language as choices."""
    advice, (every, tag) = asked.standing(asked.get("tank")).advice, _asked_for(asked)
    days = sorted({one.interval_d for one in advice.options} | {every} - {0})
    return asked.page("client.html", advice=advice, days=days, every=every, tag=tag, **_ways(asked))


def sheet(asked: Asked) -> Response:
    """Send the page itself: to be read, or saved as HTML or PDF."""
    standing = asked.standing(asked.get("tank"))
    page = asked.known.soon(brief_of, standing.place, *_asked_for(asked))
    return _sent(asked, page, standing.advice.tank_id)


def brief_of(known: Known, tank: int, every: int, tag: str, *typed: bytes) -> Page:
    """Return the page of a tank, or of the one that is typed, as ``growthcast brief`` builds it."""
    book, fit = known.book, known.fit
    if typed:
        supposed_book, found = supposed(known, *typed)
        if supposed_book is None:
            raise BookProblems(found)
        book, fit = supposed_book, fit_growth(supposed_book, known.on)
    with DRAWING:
        facts = gather_facts(book, fit, np.array([tank]), None, every or None)
        return build_brief(book, fit, facts, locale_of(book.practice, tag))


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
    rows = asked.choice("rows", range(ROWS, MOST_ROWS + 1), ROWS)
    found: tuple[Finding, ...] = ()
    book = None
    if asked.get("done"):
        book, found = asked.known.soon(supposed, *_typed(asked))
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
        problems=[forms.finding_words(asked, one, f"{one.file}: ") for one in rest],
        ready=book is not None,
        typed=typed | {"done": "1"},
        **_ways(asked),
    )


def quote_sheet(asked: Asked) -> Response:
    """Send the page of a tank that was typed."""
    page = asked.known.soon(brief_of, 0, *_asked_for(asked), *_typed(asked))
    return _sent(asked, page, QUOTED)


def _typed(asked: Asked) -> tuple[bytes, ...]:
    """Return the tank, its areas and its conditions as the tables of a book, as in ``TYPED``."""
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
    return tuple(map(as_table, TYPED, ([tank], areas, given)))


def supposed(known: Known, *typed: bytes) -> tuple[Book | None, tuple[Finding, ...]]:
    """Return the practice with that one tank and no log, and what was found in it."""
    tables = dict.fromkeys(("trims", "closed"), b"") | dict(zip(TYPED, typed, strict=True))
    instead = {f"{name}.csv": data or as_table(name, []) for name, data in tables.items()}
    return inspect_book(known.book.folder, today=known.on, instead=instead)


MOST_PLANTS = 10
PICKED = "plant."
"""What the fields of a layout begin with, before the id of an area."""


def rescape(asked: Asked) -> Response:
    """Show what could grow in an area of a tank, and what the tank takes once it is planted so."""
    standing, known, design = asked.standing(asked.get("tank")), asked.known, asked.known.fit.design
    living = np.flatnonzero(design.stays & (design.tank == standing.place)).tolist()
    now = {str(design.area_id[n]): str(design.species_id[design.species[n]]) for n in living}
    names, areas = known.plants(), known.book.areas
    picks = {one: asked.get(PICKED + one) for one in now}
    picks = {one: plant for one, plant in picks.items() if plant in names and plant != now[one]}
    area, form = asked.get("area"), asked.get("form")
    form = form if form in FORMS else ""
    place = living[[*now].index(area)] if area in now else -1
    tank_id = standing.advice.tank_id
    return asked.page(
        "rescape.html",
        tank=tank_id,
        now=now,
        picks=picks,
        here={"tank": tank_id, **{PICKED + one: plant for one, plant in picks.items()}},
        picked=PICKED,
        labels=dict(zip(areas.text("area_id"), areas.text("label"), strict=True)),
        area=area if area in now else "",
        plants=known.soon(compared, place, form) if area in now else [],
        forms=FORMS,
        form=form,
        layouts=known.soon(laid_out, standing.place, tuple(picks.items())) if picks else [],
        names=names,
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


def laid_out(known: Known, tank: int, picks: tuple[tuple[str, str], ...]) -> list[LayoutAdvice]:
    """Return a tank as it is, and with other plants in some of its areas."""
    design = known.fit.design
    ids = design.area_id[design.stays & (design.tank == tank)].tolist()
    areas = known.book.areas.keep(np.isin(known.book.areas.text("area_id"), ids))
    areas = with_cells(areas, np.ones(len(areas), bool), {"planted_on": known.on})
    for area, plant in picks:
        areas = with_cells(areas, areas.text("area_id") == area, {"species_id": plant})
    return compare_layouts(known.book, known.fit, tank, [Layout("", areas, ())])
