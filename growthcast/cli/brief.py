"""growthcast brief: a page for a client that says how often to visit, and why."""

from __future__ import annotations

from functools import partial
from pathlib import Path
from typing import Annotated

import typer

from growthcast.book.words import check_known
from growthcast.cli.options import BookFolder, OnDate, chosen_tanks, open_fit, option
from growthcast.cli.pages import OutFile, check_page, write_page
from growthcast.errors import UsageError

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
        help="Argue for a visit every so many days instead of the recommended rhythm.",
        show_default=False,
    ),
]
VisitsFile = Annotated[
    Path | None,
    option(
        "--visits",
        "FILE.csv",
        "Planned visits to list, as growthcast rounds --csv writes them.",
    ),
]


def brief_command(
    book: BookFolder = None,
    tank: OneTank = None,
    client: ClientName = None,
    out: OutFile = None,
    visits: VisitsFile = None,
    every: Every = None,
    on: OnDate = None,
) -> None:
    """Write a page for a client: how often to visit, what it costs, and what it buys.

    Example: growthcast brief my-book --tank lobby --out lobby.html

    Exit status: 0 done, 2 bad arguments or a book with problems, 3 the tool itself failed.
    """
    import numpy as np

    from growthcast.brief.client import build_brief
    from growthcast.brief.visits import read_visits

    file = check_page(out)
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
    build = partial(build_brief, opened, fit, tanks, client=client, visits=plan, every_d=every)
    write_page(opened, file, build)
