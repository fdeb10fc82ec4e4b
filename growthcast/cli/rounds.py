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
    from growthcast.service.rounds.plan import RoundsPlan

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
    from growthcast.cli.output import print_answer
    from growthcast.say.rounds import rounds_json, rounds_words
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
    print_answer(as_json, rounds_json(plan), rounds_words(plan), fit)


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
    from growthcast.say.rounds import rounds_csv, rounds_ics

    if csv is not None:
        write_whole(csv, rounds_csv(plan).encode())
        say(f"Wrote {csv}")
    if ics is not None:
        write_whole(ics, rounds_ics(plan, datetime.now(UTC)))
        say(f"Wrote {ics}")
