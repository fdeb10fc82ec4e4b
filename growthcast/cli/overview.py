"""growthcast overview: the whole practice on one page."""

from __future__ import annotations

from growthcast.cli.brief import OutFile
from growthcast.cli.options import BookFolder, OnDate, open_fit
from growthcast.errors import UsageError


def overview_command(book: BookFolder = None, out: OutFile = None, on: OnDate = None) -> None:
    """Write the practice's own page: every tank by urgency, its risk, hours and growth.

    Example: growthcast overview my-book --out practice.html

    Exit status: 0 done, 2 bad arguments or a book with problems, 3 the tool itself failed.
    """
    from growthcast.cli.output import say
    from growthcast.cli.pages import page_form, page_locale, write_page

    if out is None:
        raise UsageError("name the file to write: --out FILE.html or --out FILE.pdf")
    form = page_form(out)
    opened, _, fit = open_fit(book, on)
    locale = page_locale(opened, out)

    from growthcast.brief.overview import build_overview

    page = build_overview(opened, fit, locale)
    write_page(opened, page, out, form)
    say(f"Wrote {out}")
