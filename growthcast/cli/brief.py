"""growthcast brief: a page for a client that says how often to visit, and why."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from growthcast.cli.options import BookFolder, OnDate, chosen_tanks, open_fit
from growthcast.errors import UsageError

if TYPE_CHECKING:
    from growthcast.arrays import IntArray
    from growthcast.book.book import Book
    from growthcast.brief.visits import PlannedVisit

OneTank = Annotated[
    str | None,
    typer.Option("--tank", metavar="ID", help="The page of this tank.", show_default=False),
]
ClientName = Annotated[
    str | None,
    typer.Option(
        "--client",
        metavar="NAME",
        help="The page of all tanks of this client, named as in tanks.csv.",
        show_default=False,
    ),
]
OutFile = Annotated[
    Path | None,
    typer.Option(
        "--out", metavar="FILE", help="File to write: FILE.html or FILE.pdf.", show_default=False
    ),
]
VisitsFile = Annotated[
    Path | None,
    typer.Option(
        "--visits",
        metavar="FILE.csv",
        help="Planned visits to list, as growthcast rounds --csv writes them.",
        show_default=False,
    ),
]


def brief_command(
    book: BookFolder = None,
    tank: OneTank = None,
    client: ClientName = None,
    out: OutFile = None,
    visits: VisitsFile = None,
    on: OnDate = None,
) -> None:
    """Write a page for a client: how often to visit, what it costs, and what it buys.

    Example: growthcast brief my-book --tank lobby --out lobby.html

    Exit status: 0 done, 2 bad arguments or a book with problems, 3 the tool itself failed.
    """
    from growthcast.cli.output import say
    from growthcast.cli.pages import page_form, page_locale, write_page

    if out is None:
        raise UsageError("name the file to write: --out FILE.html or --out FILE.pdf")
    if (tank is None) == (client is None):
        raise UsageError("name one tank with --tank ID, or one client with --client NAME")
    form = page_form(out)
    opened, _, fit = open_fit(book, on)
    tanks = chosen_tanks(opened, tank) if client is None else _tanks_of(opened, client)
    plan = _plan(opened, visits)
    locale = page_locale(opened, out)

    from growthcast.brief.client.build import build_brief

    page = build_brief(opened, fit, tanks, locale, client=client, visits=plan)
    write_page(opened, page, out, form)
    say(f"Wrote {out}")


def _tanks_of(book: Book, client: str) -> IntArray:
    """Places of a client's tanks."""
    import numpy as np

    names = book.tanks.text("client")
    found = np.flatnonzero((names == client) & (names != ""))
    if not found.size:
        from growthcast.book.words import did_you_mean, shown

        known = [name for name in dict.fromkeys(names.tolist()) if name]
        listed = ", ".join(known[:8]) + (" and others" if len(known) > 8 else "")
        otherwise = f"the clients are {listed}" if known else "no tank names a client"
        hint = did_you_mean(client, known, otherwise)
        raise UsageError(f"tanks.csv has no client {shown(client)}; {hint}")
    return found


def _plan(book: Book, file: Path | None) -> list[PlannedVisit] | None:
    if file is None:
        return None
    from growthcast.brief.visits import read_visits

    return read_visits(file, book.tanks.text("tank_id").tolist())
