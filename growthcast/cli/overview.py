"""growthcast overview: the whole practice on one page."""

from __future__ import annotations

from functools import partial

from growthcast.cli.options import BookFolder, OnDate, open_fit
from growthcast.cli.pages import OutFile, check_page, write_page


def overview_command(book: BookFolder = None, out: OutFile = None, on: OnDate = None) -> None:
    """Write the practice's own page: every tank by urgency, its risk, hours and growth.

    Example: growthcast overview my-book --out practice.html

    Exit status: 0 done, 2 bad arguments or a book with problems, 3 the tool itself failed.
    """
    file = check_page(out)
    opened, _, fit = open_fit(book, on)
    from growthcast.brief.overview import build_overview

    write_page(opened, file, partial(build_overview, opened, fit))
