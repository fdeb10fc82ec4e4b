"""The page for a client as it will be sent, and a quote for a tank that is typed in a form."""

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
from growthcast.brief.client import build_brief
from growthcast.brief.contract import gather_facts
from growthcast.brief.html import page_html
from growthcast.brief.page import Page
from growthcast.brief.pdf import page_pdf
from growthcast.desk.guard import OF_A_SHEET
from growthcast.desk.memory import Known
from growthcast.desk.pages.asked import Asked, download
from growthcast.desk.pages.forms import as_table, cell, fields, finding_words, plants
from growthcast.errors import BookProblems, Finding
from growthcast.fit.growth import fit_growth
from growthcast.fit.result import GrowthFit
from growthcast.say.locale import open_locale
from growthcast.say.words import named

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
