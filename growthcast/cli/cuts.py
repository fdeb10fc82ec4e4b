"""growthcast cuts: the sheets for a day's visits."""

from __future__ import annotations

from datetime import date, timedelta
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

from growthcast.cli.options import AsJson, BookFolder, chosen_tanks, day_option, open_fit, option
from growthcast.cli.output import print_answer, say
from growthcast.cli.pages import VisitsFile, check_page, write_page
from growthcast.errors import UsageError

if TYPE_CHECKING:
    from growthcast.book.book import Book
    from growthcast.brief.visits import PlannedVisit
    from growthcast.service.advice import TankAdvice

LONGEST_D = 366

ThisTank = Annotated[
    str | None,
    option("--tank", "ID", "Only this tank. Default: all that are due or planned on the day."),
]
ThisDay = Annotated[
    date | None,
    day_option(
        "--on",
        "Day of the visits, as YYYY-MM-DD; later log rows are not used. "
        "Default: the last logged date.",
        "--day",
    ),
]
NextDate = Annotated[
    date | None,
    day_option(
        "--next",
        "Day of the next visit. Default: the next one of --visits, else after the interval "
        "recommended for the tank.",
    ),
]
SheetFile = Annotated[
    Path | None,
    option("--out", "FILE", "Write cards to print, a page a tank: FILE.html or FILE.pdf."),
]


def cuts_command(
    book: BookFolder = None,
    tank: ThisTank = None,
    on: ThisDay = None,
    next_on: NextDate = None,
    visits: VisitsFile = None,
    out: SheetFile = None,
    as_json: AsJson = False,
) -> None:
    """Print the sheets for a day's visits: what to cut in which order, so that it lasts.

    Example: growthcast cuts my-book --day 2026-03-02 --out cards.pdf

    Exit status: 0 done, 2 bad arguments or a book with problems, 3 the tool itself failed.
    """
    from growthcast.brief.visits import read_visits
    from growthcast.say.cuts import no_visit_words, sheet_json, sheet_words
    from growthcast.service.recommend import recommend
    from growthcast.service.urgency import due_on_day, tanks_due
    from growthcast.service.visit.cuts import cut_sheet

    if out is not None:
        check_page(out)
    opened, day, fit = open_fit(book, on)
    ids = opened.tanks.text("tank_id").tolist()
    plan = [] if visits is None else read_visits(visits, ids)
    asked = chosen_tanks(opened, tank)
    advice, order = recommend(opened, fit, asked), asked.tolist()
    none = None
    if tank is None and visits is not None:
        order = [ids.index(visit.tank_id) for visit in plan if visit.on == day]
        none = f"No visit on {day} is in the plan."
    elif tank is None:
        dues = tanks_due(opened, fit, advice, asked)
        order, none = due_on_day(opened, dues, day), no_visit_words(ids, dues, day)
    first = int(asked[0])
    sheets = [
        cut_sheet(opened, fit, k, _next_visit(opened, advice[k - first], day, next_on, plan))
        for k in order
    ]
    if not sheets and none is not None:
        say(none)
    elif out is not None:
        from growthcast.brief.card import build_cards

        write_page(opened, out, partial(build_cards, opened, sheets))
    every = [sheet_json(sheet) for sheet in sheets]
    answer = {"on": day.isoformat(), "sheets": every} if tank is None else every[0]
    print_answer(as_json, answer, (part for sheet in sheets for part in sheet_words(sheet)), fit)


def _next_visit(
    book: Book, advice: TankAdvice, day: date, asked: date | None, plan: list[PlannedVisit]
) -> date:
    """Return the day of a tank's next visit: as asked for, as planned, or as recommended."""
    planned = [visit.on for visit in plan if visit.tank_id == advice.tank_id and visit.on > day]
    if asked is None and planned:
        return planned[0]
    if asked is None:
        return day + timedelta(days=recommended_interval(book, advice))
    if asked <= day:
        usual = day + timedelta(days=recommended_interval(book, advice))
        raise UsageError(
            f"--next {asked} is not after {day}, the day of this visit; the nearest next "
            f"visit is {day + timedelta(days=1)}, and this tank's interval would make it {usual}"
        )
    if (asked - day).days > LONGEST_D:
        raise UsageError(f"--next {asked} lies more than a year after {day}")
    return asked


def recommended_interval(book: Book, advice: TankAdvice) -> int:
    """Days until the next visit that is recommended, the shortest listed where none is feasible."""
    from growthcast.say.reasons import reason

    if advice.recommended_interval_d is not None:
        return advice.recommended_interval_d
    shortest = min(advice.longest_interval_d, *book.practice.intervals_d)
    why = f"No listed interval is feasible for {advice.tank_id}"
    if advice.nothing_holds:
        why = f"{advice.tank_id}: {reason(advice)}"
    say(f"{why}; the next visit is taken to be in {shortest} days, the shortest listed.")
    return shortest
