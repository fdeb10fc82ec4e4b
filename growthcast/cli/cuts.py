"""growthcast cuts and peak: today's visit to a tank, and its best on a day."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, timedelta
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

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


PeakDate = Annotated[date | None, day_option("--on", "The day to shine.")]
FromDate = Annotated[
    date | None,
    day_option(
        "--from", "Day to stand on; later log rows are not used. Default: the last logged date."
    ),
]
Visits = Annotated[
    list[date] | None,
    day_option(
        "--visits",
        "A visit before the day; may be repeated. Default: visits at the interval recommended "
        "for the tank, counted from the day stood on.",
    ),
]
Target = Annotated[
    float,
    typer.Option("--target", metavar="SHARE", help="Share of the budget to stand at on the day."),
]
Within = Annotated[
    float,
    typer.Option("--within", metavar="SHARE", help="Share of the budget it may be off by."),
]


def peak_command(
    book: BookFolder = None,
    tank: TankId = None,
    on: PeakDate = None,
    start: FromDate = None,
    visits: Visits = None,
    target: Target = 0.85,
    within: Within = 0.15,
    as_json: AsJson = False,
) -> None:
    """Plan which area to cut at which visit so that every area stands at its best on a day.

    Example: growthcast peak my-book --tank lobby --on 2026-04-18

    Exit status: 0 done, 2 bad arguments or a book with problems, 3 the tool itself failed.
    """
    from growthcast.book.checks.rounds import closed_on, closed_times, open_before
    from growthcast.say.peak import peak_sentence, peak_words, why_not_best
    from growthcast.service.urgency import last_visit_on
    from growthcast.service.visit.peak import peak_plan

    if on is None:
        raise UsageError("name the day to shine with --on DATE, as in --on 2026-04-18")
    _check_shares(target, within)
    given = sorted({*(visits or ())})
    opened, today, fit = open_fit(book, start)
    place = one_tank(opened, tank)
    if on <= today:
        raise UsageError(
            f"--on {on} is not after {today}, the day the plan starts; the nearest day that can "
            f"be planned for is {today + timedelta(days=1)}, and --from DATE starts earlier"
        )
    if (on - today).days > 366:
        raise UsageError(f"--on {on} lies more than a year after {today}")
    for visit in given:
        if not today <= visit < on:
            raise UsageError(
                f"--visits {visit} does not lie between {today} and the day to shine, {on}"
            )
    closed = closed_times(opened).get(str(opened.tanks.text("tank_id")[place]), ())
    for visit in given:
        if (time := closed_on(closed, visit)) is not None:
            raise UsageError(f"--visits {visit}: {tank} is closed {time} (closed.csv)")
    interval_d = recommended_interval(opened, fit, place)
    last = last_visit_on(opened, fit, place) or today
    usual = given or _usual_visits(last, today, on, interval_d)
    open_then = {open_before(closed, visit, today) for visit in usual}
    dates = sorted(visit for visit in open_then if visit is not None)
    if dates == [today] and not given:
        say(f"No visit of the usual rhythm falls before {on}: today's, {today}, is counted on.")
    plan = peak_plan(opened, fit, place, on, dates, target, within)
    areas = [plain(area) | {"why": why_not_best(area)} for area in plan.areas]
    answer = plain(plan) | {"sentence": peak_sentence(plan), "areas": areas}
    print_answer(as_json, answer, peak_words(plan), fit)


def _check_shares(target: float, within: float) -> None:
    if not 0.5 <= target <= 1.0:
        raise UsageError(f"--target {target:g} is not a share from 0.5 to 1; write 0.85 for 85 %")
    if not 0.02 <= within <= 0.5:
        raise UsageError(f"--within {within:g} is not a share from 0.02 to 0.5; write 0.15")


def _usual_visits(last: date, today: date, day: date, interval_d: int) -> Sequence[date]:
    """Visits at the tank's interval since its last one; one that is overdue falls on today.

    Today, too, where none falls before the day.
    """
    first = max(last + timedelta(days=interval_d), today)
    count = max((day - first).days - 1, -1) // interval_d + 1
    return [first + timedelta(days=interval_d * n) for n in range(count)] or [today]
