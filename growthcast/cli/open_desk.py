"""growthcast open: the practice in a browser, and visits offered to phones."""

from __future__ import annotations

from growthcast.book.shipped import find_own_book
from growthcast.cli.options import Count, Text
from growthcast.cli.output import say


def open_command(book: Text, share: bool, at: str, port: Count, no_browser: bool) -> None:
    """Open the book's desk in a browser: what is due, each tank, and visits typed or tapped.

    Example: growthcast open my-book --share

    Exit status: 0 closed, 2 the book or its port cannot be used, 3 the tool itself failed.
    """
    folder = find_own_book(book)
    from growthcast.desk.memory import Desk
    from growthcast.desk.serve import open_desk

    share_at = at if share or at else None
    open_desk(Desk(folder), say, share_at=share_at, browser=not no_browser, port=port)
