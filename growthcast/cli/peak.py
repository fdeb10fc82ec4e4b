"""growthcast peak: bring a tank to its best on a day."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, timedelta
from typing import TYPE_CHECKING, Annotated

import typer

from growthcast.cli.cuts import recommended_interval
from growthcast.cli.options import AsJson, BookFolder, TankId, day_option, one_tank, open_fit
from growthcast.cli.output import print_answer, say
from growthcast.errors import UsageError
from growthcast.plain import plain

if TYPE_CHECKING:
    pass

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
    import numpy as np

    from growthcast.book.checks.rounds import closed_on, closed_times, open_before
    from growthcast.say.peak import peak_sentence, peak_words, why_not_best
    from growthcast.service.recommend import recommend
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
    [advice] = recommend(opened, fit, np.array([place]))
    interval_d = recommended_interval(opened, advice)
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
