"""growthcast cuts: the sheet for today's visit to a tank."""

from __future__ import annotations

from datetime import date, timedelta
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

from growthcast.cli.options import (
    AsJson,
    BookFolder,
    OnDate,
    TankId,
    day_option,
    one_tank,
    open_fit,
    option,
)
from growthcast.cli.output import print_answer, say
from growthcast.cli.pages import check_page, write_page
from growthcast.errors import UsageError
from growthcast.plain import plain

if TYPE_CHECKING:
    from growthcast.book.book import Book
    from growthcast.fit.result import GrowthFit

NextDate = Annotated[
    date | None,
    day_option(
        "--next", "Day of the next visit. Default: after the interval recommended for the tank."
    ),
]
SheetFile = Annotated[
    Path | None,
    option("--out", "FILE", "Write the sheet as a page to print: FILE.html or FILE.pdf."),
]


def cuts_command(
    book: BookFolder = None,
    tank: TankId = None,
    on: OnDate = None,
    next_on: NextDate = None,
    out: SheetFile = None,
    as_json: AsJson = False,
) -> None:
    """Print the sheet for a visit: what to cut in which order, so that it lasts to the next visit.

    Example: growthcast cuts my-book --tank lobby --on 2026-03-02 --next 2026-03-16

    Exit status: 0 done, 2 bad arguments or a book with problems, 3 the tool itself failed.
    """
    from growthcast.say.cuts import cautions, sheet_sentence, sheet_words, watch_list
    from growthcast.service.visit.cuts import cut_sheet

    if out is not None:
        check_page(out)
    opened, day, fit = open_fit(book, on)
    place = one_tank(opened, tank)
    if next_on is None or next_on <= day:
        usual = day + timedelta(days=recommended_interval(opened, fit, place))
        if next_on is not None:
            raise UsageError(
                f"--next {next_on} is not after {day}, the day of this visit; the nearest next "
                f"visit is {day + timedelta(days=1)}, and this tank's interval would make it "
                f"{usual}"
            )
        next_on = usual
    if (next_on - day).days > 366:
        raise UsageError(f"--next {next_on} lies more than a year after {day}")
    sheet = cut_sheet(opened, fit, place, next_on)
    if out is not None:
        from growthcast.brief.sheet import build_sheet

        write_page(opened, out, partial(build_sheet, opened, sheet), only="en")
    answer = plain(sheet) | {
        "sentence": sheet_sentence(sheet),
        "watch": watch_list(sheet),
        "cautions": cautions(sheet),
    }
    print_answer(as_json, answer, sheet_words(sheet), fit)


def recommended_interval(book: Book, fit: GrowthFit, tank: int) -> int:
    """Days until the next visit that is recommended, the shortest listed where none is feasible."""
    import numpy as np

    from growthcast.say.reasons import reason
    from growthcast.service.recommend import recommend

    [advice] = recommend(book, fit, np.array([tank]))
    if advice.recommended_interval_d is None:
        shortest = min(advice.longest_interval_d, *book.practice.intervals_d)
        why = f"No listed interval is feasible for {advice.tank_id}"
        if advice.nothing_holds:
            why = f"{advice.tank_id}: {reason(advice)}"
        say(f"{why}; the next visit is taken to be in {shortest} days, the shortest listed.")
        return shortest
    return advice.recommended_interval_d
