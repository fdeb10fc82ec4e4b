"""growthcast rounds: a visit calendar for the whole practice."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from growthcast.cli.options import AsJson, BookFolder, OnDate, day_option, open_fit
from growthcast.errors import UsageError

if TYPE_CHECKING:
    from growthcast.book.book import Book
    from growthcast.service.rounds.result import LateVisit, PlannedVisit, RoundsPlan

DUE_BY = (
    "Due by its rhythm: the recommended interval after the last visit (the shortest listed where "
    "none holds). By its chance: before that, the chance of all inside, given that the last visit "
    "left all inside, falls below the wanted one. By its limit: longest_interval_d."
)
MOST_SAID = 12
"""Late visits told one by one, those that lose most."""

FromDate = Annotated[
    date | None,
    day_option(
        "--from",
        "First day of the plan, as YYYY-MM-DD. Default: the day after the last logged one.",
    ),
]
Weeks = Annotated[int, typer.Option("--weeks", metavar="N", help="Weeks to plan, 1 to 26.")]
CsvFile = Annotated[
    Path | None,
    typer.Option("--csv", metavar="FILE", help="Write the visits as a table.", show_default=False),
]
IcsFile = Annotated[
    Path | None,
    typer.Option(
        "--ics",
        metavar="FILE",
        help="Write the visits for a calendar; importing a later plan moves them.",
        show_default=False,
    ),
]


def rounds_command(
    book: BookFolder = None,
    start: FromDate = None,
    weeks: Weeks = 4,
    on: OnDate = None,
    csv: CsvFile = None,
    ics: IcsFile = None,
    as_json: AsJson = False,
) -> None:
    """Plan the visits of all tanks within the hours there are, and say what comes late.

    Example: growthcast rounds my-book --from 2026-11-30 --weeks 4 --ics rounds.ics

    Exit status: 0 done, 2 bad arguments or a book with problems, 3 the tool itself failed.
    """
    from growthcast.cli.output import print_json
    from growthcast.service.recommend import recommend
    from growthcast.service.rounds.plan import LONGEST_WEEKS, plan_rounds

    if not 1 <= weeks <= LONGEST_WEEKS:
        raise UsageError(f"--weeks {weeks} lies outside 1 to {LONGEST_WEEKS}")
    opened, day, fit = open_fit(book, on)
    first = _first_day(start, day)
    for file, suffix in ((csv, ".csv"), (ics, ".ics")):
        _check_file(opened, file, suffix)
    plan = plan_rounds(opened, fit, recommend(opened, fit), first, weeks)
    _write_files(plan, csv, ics)
    if as_json:
        print_json(plan, fit)
        return
    _tell(plan)


def _first_day(asked: date | None, day: date) -> date:
    """Return the first day of the plan; one before the day stood on is refused with the nearest."""
    if asked is None:
        return day + timedelta(days=1)
    if asked < day:
        raise UsageError(
            f"--from {asked} lies before {day}, the day the plan stands on, so its visits may be "
            f"in the log already; plan from {day + timedelta(days=1)} on, or stand on an "
            f"earlier day with --on {asked}"
        )
    return asked


def _check_file(book: Book, file: Path | None, suffix: str) -> None:
    """Refuse a file that cannot or must not be written, before the work is done."""
    if file is None:
        return
    from growthcast.cli.output import printable
    from growthcast.figures.save import check_target

    if file.suffix.lower() != suffix:
        raise UsageError(
            f'"{printable(file.name)}" does not end in {suffix}; name it {file.stem}{suffix}'
        )
    check_target(book, file)


def _write_files(plan: RoundsPlan, csv: Path | None, ics: Path | None) -> None:
    from growthcast.book.writing.whole import write_whole
    from growthcast.cli.output import say
    from growthcast.service.rounds.calendar import rounds_ics
    from growthcast.service.rounds.table import rounds_csv

    if csv is not None:
        write_whole(csv, rounds_csv(plan).encode())
        say(f"Wrote {csv}")
    if ics is not None:
        write_whole(ics, rounds_ics(plan, datetime.now(UTC)))
        say(f"Wrote {ics}")


def _tell(plan: RoundsPlan) -> None:
    """Print the calendar week by week, then what comes late and how good the plan is."""
    from growthcast.cli.output import print_line, print_table

    minutes = dict(zip(plan.dates, plan.minutes_per_day, strict=True))
    for week in sorted({_monday(visit.on) for visit in plan.visits}):
        here = [visit for visit in plan.visits if _monday(visit.on) == week]
        used = sum(minutes[day] for day in minutes if _monday(day) == week) / 60.0
        there = sum(_monday(day) == week for day in minutes) * plan.hours_per_day
        print_table(
            f"Week of {week}: {used:.1f} of {there:.1f} h",
            ["day", "tank", "client", "site", "at the tank>", "travel>", "due by", "over by then>"],
            [_row(visit) for visit in here],
        )
    if not plan.visits:
        print_line(f"No tank needs a visit between {plan.start} and {plan.end}.")
    else:
        print_line(DUE_BY)
    for sentence in (*_losses(plan), *plan.notes):
        print_line(sentence)


def _monday(day: date) -> date:
    return day - timedelta(days=day.weekday())


def _row(visit: PlannedVisit) -> list[str]:
    late = f", {_days(visit.days_late)} late" if visit.days_late else ""
    return [
        f"{visit.on:%a} {visit.on}",
        visit.tank_id,
        visit.client,
        visit.site,
        f"{visit.minutes:.0f} min",
        f"{visit.travel_min:.0f} min" if visit.travel_min else "",
        f"{visit.due_on} ({visit.due_by}{late})",
        f"{100 * visit.chance_over:.0f} %",
    ]


def _losses(plan: RoundsPlan) -> list[str]:
    """Say in words what comes late, why, what that loses, and how near to the best the plan is."""
    if not plan.late:
        return [f"No visit is later than the day it is due by ({len(plan.visits)} visits)."]
    told = [_lost(one) for one in plan.late[:MOST_SAID]]
    if len(plan.late) > MOST_SAID:
        told.append(f"{len(plan.late) - MOST_SAID} more are late and lose less; --json lists all.")
    told.append(
        f"In all, late visits lose {plan.area_days_over:.1f} expected area-days over the height "
        "(one area over for one day)."
    )
    if plan.gap_share > 0.001:
        told.append(
            f"Weighed with earliness, the plan loses {plan.weighed_loss:.2f}; no plan within these "
            f"hours loses less than {plan.weighed_loss_bound:.2f}."
        )
    else:
        told.append("No plan within these hours and days loses less.")
    return told


def _lost(one: LateVisit) -> str:
    why = (
        "for want of hours on the days it may be visited"
        if one.for_want_of_hours
        else "no working day of its own before that"
    )
    if one.on is None:
        when = f"due on {one.due_on} by its {one.due_by} and has no visit in the plan ({why})"
        until = "by then"
    else:
        late = _days(one.days_late)
        when = f"visited on {one.on}, {late} after it is due by its {one.due_by} ({why})"
        until = "on that day"
    limit = "; that is past the tank's own limit" if one.past_own_limit else ""
    if one.area is None:
        return f"{one.tank_id} is {when}; nothing grows there{limit}."
    return (
        f"{one.tank_id} is {when}: the chance that some area is over {until} is "
        f"{100 * one.chance_over:.0f} % ({100 * one.chance_over_when_due:.0f} % when due), most "
        f"likely {one.area}; {one.area_days_over:.1f} area-days over are expected{limit}."
    )


def _days(count: int) -> str:
    return "1 day" if count == 1 else f"{count} days"
