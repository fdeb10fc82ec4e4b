"""growthcast open: the practice in a browser, and visits offered to phones."""

from __future__ import annotations

from typing import Annotated

import typer

from growthcast.book.shipped import find_own_book
from growthcast.cli.options import OwnBook, option
from growthcast.cli.output import say

Shared = Annotated[
    bool, typer.Option("--share", help="Offer the visits to phones on this network, for 12 hours.")
]
At = Annotated[
    str,
    option("--at", "NAME", "Name or address at which phones reach this computer. Default: found."),
]
Port = Annotated[int | None, option("--port", "NUMBER", "Port to listen on. Default: the book's.")]
NoBrowser = Annotated[bool, typer.Option("--no-browser", help="Print the address only.")]


def open_command(
    book: OwnBook = None,
    share: Shared = False,
    at: At = "",
    port: Port = None,
    no_browser: NoBrowser = False,
) -> None:
    """Open the book's desk in a browser: what is due, each tank, and visits typed or tapped.

    Example: growthcast open my-book --share

    Exit status: 0 closed, 2 the book or its port cannot be used, 3 the tool itself failed.
    """
    folder = find_own_book(book)
    from growthcast.desk.memory import Desk
    from growthcast.desk.serve import open_desk

    share_at = at if share or at else None
    open_desk(Desk(folder), say, share_at=share_at, browser=not no_browser, port=port)
