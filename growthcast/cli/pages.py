"""growthcast brief and overview: pages, and what the commands that write them share."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from growthcast.book.words import check_known, printable
from growthcast.cli.options import BookFolder, OnDate, chosen_tanks, open_fit, option
from growthcast.cli.output import say
from growthcast.errors import UsageError

if TYPE_CHECKING:
    from growthcast.book.book import Book
    from growthcast.brief.page import Page
    from growthcast.say.locale import Locale


OutFile = Annotated[Path | None, option("--out", "FILE", "File to write: FILE.html or FILE.pdf.")]


def check_page(file: Path | None) -> Path:
    """Return the file to write; refuse one of another form, and PDF where it cannot be made."""
    if file is None:
        raise UsageError("name the file to write: --out FILE.html or --out FILE.pdf")
    suffix = file.suffix.lower()
    if suffix not in {".html", ".htm", ".pdf"}:
        raise UsageError(
            f'a page is written as .html or .pdf, and "{printable(file.name)}" ends in neither'
        )
    from growthcast.brief.pdf import can_make_pdf

    if suffix == ".pdf" and not can_make_pdf():
        raise UsageError(
            "PDF pages need the typst module, which is not installed here. Write "
            f'"{printable(file.stem)}.html" instead, open it in a browser and print it to a PDF '
            "(paper A4, background graphics on)"
        )
    return file


def write_page(book: Book, file: Path, build: Callable[[Locale], Page]) -> None:
    """Build a page in the practice's language and write it, whole or not at all."""
    from growthcast.book.writing.replace import write_whole
    from growthcast.brief.html import page_html
    from growthcast.brief.letterhead import logo_of
    from growthcast.figures.save import check_target
    from growthcast.say.locale import open_locale

    check_target(book, file)
    practice = book.practice
    locale = open_locale(practice.locale)
    if practice.locale.partition("-")[0].lower() != locale.language:
        say(f"Pages have no text in {practice.locale} yet: this one is in English throughout.")
    _, without = logo_of(practice, book.folder)
    if without:
        say(without)
    page = build(locale)
    content = _pdf(page) if file.suffix.lower() == ".pdf" else page_html(page)
    check_target(book, file)
    write_whole(file, content)
    say(f"Wrote {file}")


def _pdf(page: Page) -> bytes:
    """Return a page as PDF, without a logo that typst cannot decode although it looks sound."""
    from typst import TypstError

    from growthcast.brief.pdf import page_pdf

    try:
        return page_pdf(page)
    except TypstError as error:
        if page.letterhead.logo is None:
            raise
        bare = page_pdf(replace(page, letterhead=replace(page.letterhead, logo=None)))
        say(f"The page is without the logo of practice.toml: PDF cannot show it ({error}).")
        return bare


OneTank = Annotated[str | None, option("--tank", "ID", "The page of this tank.")]
ClientName = Annotated[
    str | None,
    option("--client", "NAME", "The page of all tanks of this client, named as in tanks.csv."),
]
Every = Annotated[
    int | None,
    typer.Option(
        "--every",
        metavar="DAYS",
        min=1,
        max=365,
        help="Argue for a visit to the tank every so many days, not for the recommended rhythm.",
        show_default=False,
    ),
]
VisitsFile = Annotated[
    Path | None,
    option("--visits", "FILE.csv", "Planned visits, as growthcast rounds --csv writes them."),
]


DataFile = Annotated[
    Path | None,
    option("--data", "FILE", "Write the figures behind the page as well: FILE.json or FILE.csv."),
]


def brief_command(
    book: BookFolder = None,
    tank: OneTank = None,
    client: ClientName = None,
    out: OutFile = None,
    visits: VisitsFile = None,
    every: Every = None,
    data: DataFile = None,
    on: OnDate = None,
) -> None:
    """Write a page for a client: how often to visit, what it costs, and what it buys.

    Example: growthcast brief my-book --tank lobby --out lobby.html

    Exit status: 0 done, 2 bad arguments or a book with problems, 3 the tool itself failed.
    """
    import numpy as np

    from growthcast.book.writing.replace import write_whole
    from growthcast.brief.client import build_brief
    from growthcast.brief.contract import gather_facts
    from growthcast.brief.visits import read_visits
    from growthcast.figures.save import check_target
    from growthcast.service.pages.contract import contract_of, figures_of

    file = check_page(out)
    if data is not None and data.suffix.lower() not in {".json", ".csv"}:
        raise UsageError(f'"{printable(data.name)}" ends in neither .json nor .csv')
    if (tank is None) == (client is None):
        raise UsageError("name one tank with --tank ID, or one client with --client NAME")
    if every is not None and tank is None:
        raise UsageError("--every is asked of one tank: name it with --tank ID")
    opened, _, fit = open_fit(book, on)
    tanks = chosen_tanks(opened, tank)
    if client is not None:
        clients = opened.tanks.text("client")
        known = [name for name in dict.fromkeys(clients.tolist()) if name]
        check_known(client, known, "tanks.csv has no client", "the clients are")
        tanks = np.flatnonzero(clients == client)
    plan = None if visits is None else read_visits(visits, opened.tanks.text("tank_id").tolist())
    facts = gather_facts(opened, fit, tanks, plan, every)
    whole = contract_of(opened, fit, facts) if len(facts) > 1 else None
    build = partial(build_brief, opened, fit, facts, client=client, contract=whole, visits=plan)
    if data is not None:
        check_target(opened, data)
    write_page(opened, file, build)
    if data is not None:
        write_whole(data, _figures(data, figures_of(facts, whole)))
        say(f"Wrote {data}")


def _figures(file: Path, figures: dict[str, Any]) -> bytes:
    """Return the figures behind a page as JSON, or as CSV with a row a rhythm and one of all."""
    from growthcast.say.rounds import csv_of

    if file.suffix.lower() == ".json":
        return json.dumps(figures, indent=1, ensure_ascii=False, allow_nan=False).encode()
    rows, whole = figures["rhythms"], figures["contract"]
    columns = [name for name, cell in rows[0].items() if not isinstance(cell, dict | list)]
    if whole is not None:
        total = {"name": "all tanks, journeys shared", "visits_per_year": whole["visits"]}
        total |= {f"{name}_per_year": whole[name]["p50"] for name in ("hours", "cost")}
        rows = [*rows, total]
    return csv_of(columns, rows).encode()


def overview_command(book: BookFolder = None, out: OutFile = None, on: OnDate = None) -> None:
    """Write the practice's own page: every tank by urgency, its risk, hours and growth.

    Example: growthcast overview my-book --out practice.html

    Exit status: 0 done, 2 bad arguments or a book with problems, 3 the tool itself failed.
    """
    file = check_page(out)
    opened, _, fit = open_fit(book, on)
    from growthcast.brief.overview import build_overview

    write_page(opened, file, partial(build_overview, opened, fit))
