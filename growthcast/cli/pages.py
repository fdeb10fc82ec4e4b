"""growthcast brief, quote and overview: pages, and what the commands that write them share."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import replace
from datetime import date
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

from growthcast.cli import options
from growthcast.cli.options import Count, Day, File, Text
from growthcast.cli.output import refuse_if, say, write_file
from growthcast.nouns import dataclass

if TYPE_CHECKING:
    from growthcast.book.book import Book
    from growthcast.brief.page import Page
    from growthcast.say.locale import Locale
    from growthcast.service.pages.client import TankFacts
    from growthcast.service.pages.contract import Contract
    from growthcast.service.pages.overview import TankStanding


def write_page(
    book: Book, file: Path, build: Callable[[Locale], Page], day: date | None = None, *asked: object
) -> None:
    """Build a page in the practice's language and write it, whole or not at all.

    With the day that it stands on, and what was asked, a page that was built before is recalled.
    """
    from growthcast.book.writing.replace import check_place
    from growthcast.brief.letterhead import logo_of
    from growthcast.say.locale import locale_of

    practice, suffix = book.practice, file.suffix.lower()
    locale = locale_of(practice)
    if practice.locale.partition("-")[0].lower() != locale.language:
        say(f"Pages have no text in {practice.locale} yet: this one is in English throughout.")
    logo, without = logo_of(practice, book.folder)

    def made() -> tuple[bytes, str]:
        return _made(build(locale), suffix)

    asked = (*asked, suffix, logo)
    content, said = made() if day is None else options.recalled(book, day, made, *asked)
    say(*filter(None, [without, said]))
    check_place(book.folder, file)
    write_file(file, content)


def _made(page: Page, suffix: str) -> tuple[bytes, str]:
    """Return a page as a file, and what is to be said of it.

    A PDF goes without a logo that typst cannot decode although it looks sound.
    """
    if suffix != ".pdf":
        from growthcast.brief.html import page_html

        return page_html(page), ""
    from typst import TypstError

    from growthcast.brief.pdf import page_pdf

    try:
        return page_pdf(page), ""
    except TypstError as error:
        if page.logo is None:
            raise
        bare = page_pdf(replace(page, logo=None))
        return bare, f"The page is without the logo of practice.toml: PDF cannot show it ({error})."


@dataclass(frozen=True, slots=True)
class Asked:
    """What a page is asked for: the tank or the client, its files, and the visits it argues for."""

    book: Text
    tank: Text
    client: Text
    out: Path
    visits: File = None
    every: Count = None
    data: File = None
    on: Day = None


def brief_command(asked: Asked) -> None:
    """Write a page for a client: how often to visit, what it costs, and what it buys.

    Example: growthcast brief my-book --tank lobby --out lobby.html

    Exit status: 0 done, 2 bad arguments or a book with problems, 3 the tool itself failed.
    """
    _write_client_page(asked)


def quote_command(asked: Asked) -> None:
    """Write a quote for tanks without a log: a first estimate, and when it will be settled.

    Example: growthcast quote my-book --client "Client A" --out quote.pdf

    Exit status: 0 done, 2 bad arguments or a book with problems, 3 the tool itself failed.
    """
    _write_client_page(replace(asked, on=asked.on or date.today()), quote=True)


def _write_client_page(asked: Asked, *, quote: bool = False) -> None:
    """Write the page of one tank or of a client, and the figures behind it."""
    from growthcast.brief.photos import photos_of
    from growthcast.brief.visits import read_visits

    file, client, data = asked.out, asked.client, asked.data
    opened, day, fit = options.open_fit(asked.book, asked.on)
    tank_id = "" if client else options.one_tank(opened, asked.tank)
    tanks = opened.tanks_of(client) if client else options.chosen_tanks(opened, tank_id)
    names = opened.tanks.text("tank_id")[tanks].tolist()
    logged = set(names) <= set(opened.trims.text("tank_id").tolist())
    refuse_if("quote_late", quote and logged, whose=client or names[0])
    every_id = opened.tanks.text("tank_id").tolist()
    plan = None if asked.visits is None else read_visits(asked.visits, every_id)

    @cache
    def gathered() -> tuple[list[TankFacts], Contract | None]:
        from growthcast.brief.contract import gather_facts
        from growthcast.service.pages.contract import contract_of

        facts = gather_facts(opened, fit, tanks, plan, asked.every)
        return contract_of(opened, fit, facts) if len(facts) > 1 else (facts, None)

    def build(locale: Locale) -> Page:
        from growthcast.brief.client import build_brief

        facts, whole = gathered()
        return build_brief(opened, fit, facts, locale, client=client, contract=whole, visits=plan)

    photos, without = photos_of(opened, names)
    say(*without)
    write_page(opened, file, build, day, "brief", tanks, client, plan, asked.every, photos)
    if data is not None:
        from growthcast.service.pages.contract import figures_of

        found = figures_of(*gathered())
        rows = list(found["rhythms"])
        if whole := found["contract"]:
            total = {"name": "all tanks, journeys shared", "visits_per_year": whole["visits"]}
            rows.append(total | {f"{n}_per_year": whole[n]["p50"] for n in ("hours", "cost")})
        _write_data(data, found, rows)
    _say_what_is_not_told(opened)


def _say_what_is_not_told(book: Book) -> None:
    """Name the owner's words that a page for clients goes without."""
    if not book.practice.terms:
        say("Term and notice are left to be agreed: write [practice] terms in practice.toml.")
    if not book.practice.includes:
        say("What a visit includes is not told: write [visit] includes in practice.toml.")


def _write_data(data: Path, found: dict[str, Any], rows: list[dict[str, Any]]) -> None:
    """Write the figures behind a page: all of them as JSON, their rows as CSV."""
    from growthcast.say.rounds import csv_of

    if data.suffix.lower() == ".json":
        text = json.dumps(found, indent=1, ensure_ascii=False, allow_nan=False)
    else:
        first = rows[0] if rows else {"tank_id": ""}  # no plant sets a rhythm
        plain = [name for name, cell in first.items() if not isinstance(cell, dict | list)]
        text = csv_of(plain, rows)
    write_file(data, text.encode())


def overview_command(book: Text, out: Path, data: File, on: Day) -> None:
    """Write the practice's own page: every tank by urgency, its risk, hours and growth.

    Example: growthcast overview my-book --out practice.html

    Exit status: 0 done, 2 bad arguments or a book with problems, 3 the tool itself failed.
    """
    opened, day, fit = options.open_fit(book, on)

    @cache
    def standings() -> list[TankStanding]:
        from growthcast.service.pages.overview import tank_standings

        return tank_standings(opened, fit, briefly=True)

    def build(locale: Locale) -> Page:
        from growthcast.brief.overview import build_overview

        return build_overview(opened, fit, standings(), locale)

    write_page(opened, out, build, day, "overview")
    if data is not None:
        from growthcast.service.pages.overview import overview_figures

        rows = overview_figures(standings())
        _write_data(data, {"tanks": rows}, rows)
