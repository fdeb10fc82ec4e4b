"""growthcast brief, quote and overview: pages, and what the commands that write them share."""

from __future__ import annotations

import json
from collections.abc import Callable, Sequence
from dataclasses import replace
from datetime import date
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from growthcast.book.words import check_known, printable
from growthcast.cli.options import BookFolder, OnDate, chosen_tanks, day_option, open_fit, option
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


def write_page(
    book: Book,
    file: Path,
    build: Callable[[Locale], Page],
    data: Path | None = None,
    figures: dict[str, Any] | None = None,
    rows: Sequence[dict[str, Any]] = (),
) -> None:
    """Build a page in the practice's language and write it, whole or not at all.

    Where ``data`` names a file, the figures behind the page go there: all as JSON, rows as CSV.
    """
    from growthcast.book.writing.replace import write_whole
    from growthcast.brief.html import page_html
    from growthcast.brief.letterhead import logo_of
    from growthcast.figures.save import check_target
    from growthcast.say.locale import open_locale

    for target in (file, data):
        if target is not None:
            check_target(book, target)
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
    if data is not None:
        write_whole(data, _as_file(data, figures or {}, rows))
        say(f"Wrote {data}")


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
    if every is not None and tank is None:
        raise UsageError("--every is asked of one tank: name it with --tank ID")
    _write_client_page(book, (tank, client), (out, data), on, visits=visits, every=every)


QuoteDate = Annotated[
    date | None,
    day_option(
        "--on",
        "Day of the quote, as YYYY-MM-DD. Default: today, so that areas planted today are in it.",
    ),
]


def quote_command(
    book: BookFolder = None,
    tank: OneTank = None,
    client: ClientName = None,
    out: OutFile = None,
    data: DataFile = None,
    on: QuoteDate = None,
) -> None:
    """Write a quote for tanks without a log: a first estimate, and when it will be settled.

    Example: growthcast quote my-book --client "Client A" --out quote.pdf

    Exit status: 0 done, 2 bad arguments or a book with problems, 3 the tool itself failed.
    """
    _write_client_page(book, (tank, client), (out, data), on or date.today(), quote=True)


def _write_client_page(
    book: str | None,
    whose: tuple[str | None, str | None],
    files: tuple[Path | None, Path | None],
    on: date | None,
    *,
    visits: Path | None = None,
    every: int | None = None,
    quote: bool = False,
) -> None:
    """Write the page of one tank or of a client (``whose``), and the figures behind it."""
    import numpy as np

    from growthcast.brief.client import build_brief
    from growthcast.brief.contract import gather_facts
    from growthcast.brief.visits import read_visits
    from growthcast.service.pages.contract import contract_of, figures_of
    from growthcast.service.pages.client import has_log

    (tank, client), (out, data) = whose, files
    file = check_page(out)
    _check_data(data)
    if (tank is None) == (client is None):
        raise UsageError("name one tank with --tank ID, or one client with --client NAME")
    opened, _, fit = open_fit(book, on)
    tanks = chosen_tanks(opened, tank)
    if client is not None:
        clients = opened.tanks.text("client")
        known = [name for name in dict.fromkeys(clients.tolist()) if name]
        check_known(client, known, "tanks.csv has no client", "the clients are")
        tanks = np.flatnonzero(clients == client)
    plan = None if visits is None else read_visits(visits, opened.tanks.text("tank_id").tolist())
    if quote and all(has_log(opened, name) for name in opened.tanks.text("tank_id")[tanks]):
        raise UsageError(
            f"{tank or client} has a log of visits already, and a quote is made before there is "
            "one; growthcast brief writes the page that knows the log"
        )
    facts = gather_facts(opened, fit, tanks, plan, every)
    whole = contract_of(opened, fit, facts) if len(facts) > 1 else None
    build = partial(build_brief, opened, fit, facts, client=client, contract=whole, visits=plan)
    figures = figures_of(facts, whole)
    rows, all_tanks = figures["rhythms"], figures["contract"]
    if all_tanks is not None:
        total = {"name": "all tanks, journeys shared", "visits_per_year": all_tanks["visits"]}
        total |= {f"{name}_per_year": all_tanks[name]["p50"] for name in ("hours", "cost")}
        rows = [*rows, total]
    write_page(opened, file, build, data, figures, rows)
    if not opened.practice.terms:
        say(
            "The page leaves term, notice and a fixed price to be agreed: say them in your words "
            "as [practice] terms in practice.toml."
        )


def _check_data(data: Path | None) -> None:
    if data is not None and data.suffix.lower() not in {".json", ".csv"}:
        raise UsageError(f'"{printable(data.name)}" ends in neither .json nor .csv')


def _as_file(file: Path, figures: dict[str, Any], rows: Sequence[dict[str, Any]]) -> bytes:
    """Return the figures behind a page as JSON, or their rows as CSV."""
    from growthcast.say.rounds import csv_of

    if file.suffix.lower() == ".json":
        return json.dumps(figures, indent=1, ensure_ascii=False, allow_nan=False).encode()
    columns = [name for name, cell in rows[0].items() if not isinstance(cell, dict | list)]
    return csv_of(columns, rows).encode()


def overview_command(
    book: BookFolder = None, out: OutFile = None, data: DataFile = None, on: OnDate = None
) -> None:
    """Write the practice's own page: every tank by urgency, its risk, hours and growth.

    Example: growthcast overview my-book --out practice.html

    Exit status: 0 done, 2 bad arguments or a book with problems, 3 the tool itself failed.
    """
    file = check_page(out)
    _check_data(data)
    opened, _, fit = open_fit(book, on)
    from growthcast.brief.overview import build_overview
    from growthcast.service.pages.overview import overview_figures, tank_standings

    standings = tank_standings(opened, fit)
    build, rows = partial(build_overview, opened, fit, standings), overview_figures(standings)
    write_page(opened, file, build, data, {"tanks": rows}, rows)
