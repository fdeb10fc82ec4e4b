"""growthcast watch: what has begun to grow otherwise than usual."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from growthcast.cli.options import AsJson, BookFolder, OnDate, TankId, chosen_tanks, open_book

if TYPE_CHECKING:
    from datetime import date

    from growthcast.service.watch.report import (
        DropSeen,
        Finding,
        IndexPoint,
        TankWatch,
        WatchReport,
    )

PlotFile = Annotated[
    Path | None,
    typer.Option(
        "--plot",
        metavar="FILE",
        help="Draw growth against usual, visit by visit, into FILE.svg or FILE.png.",
        show_default=False,
    ),
]


def watch_command(
    book: BookFolder = None,
    on: OnDate = None,
    tank: TankId = None,
    plot: PlotFile = None,
    as_json: AsJson = False,
) -> None:
    """Say which tanks, areas or species have begun to grow otherwise than usual, and what to check.

    Example: growthcast watch my-book --plot growth.svg

    Exit status: 0 all as usual, 1 something needs attention, 2 bad arguments or a book with
    problems, 3 the tool itself failed.
    """
    from growthcast.cli.output import print_json
    from growthcast.service.watch.watch import watch_growth

    opened, day = open_book(book, on)
    tanks = chosen_tanks(opened, tank)
    if plot is not None:
        from growthcast.figures.save import check_picture

        check_picture(opened, plot)
    report = watch_growth(opened, day, tanks)
    if plot is not None:
        from growthcast.cli.output import say
        from growthcast.figures.save import save_picture
        from growthcast.figures.watch import growth_index_figure

        if any(watched.course for watched in report.tanks):
            save_picture(opened, plot, *growth_index_figure(report))
            say(f"Wrote {plot}")
        else:
            say("Nothing was drawn: no tank has visits enough to judge.")
    if as_json:
        print_json(report)
    else:
        _tell(report, by_area=tank is not None)
    if report.needs_attention:
        raise typer.Exit(1)


def _tell(report: WatchReport, *, by_area: bool) -> None:
    """Print the verdicts for people: tables, then each finding with what to check."""
    from growthcast.cli.output import print_line, print_table

    print_table(
        f"Growth against usual on {report.on}",
        ["tank", "growth lately>", "usual range>", "visits>", "verdict"],
        [_row(tank) for tank in report.tanks],
    )
    if any(tank.drop_seen for tank in report.tanks):
        print_table(
            "How soon a lasting drop of the whole tank to 60 % is noticed",
            ["tank", "within three visits>", "9 of 10 within"],
            [
                [tank.tank_id, *_noticed(tank.drop_seen)]
                for tank in report.tanks
                if tank.recent is not None
            ],
        )
    parts = ["growth lately>", "usual range>", "verdict"]
    for tank in report.tanks if by_area else ():
        if tank.areas:
            struck = {finding.area_id for finding in tank.findings}
            print_table(
                f"By area of {tank.tank_id}, over the last 28 days",
                ["area", *parts],
                [[one.name, *_part(one.recent, one.area_id in struck)] for one in tank.areas],
            )
    if report.species and not by_area:
        struck = {finding.species_id for finding in report.across}
        print_table(
            "By species, over the last 28 days",
            ["species", "tanks>", *parts],
            [
                [one.species_id, str(one.tanks), *_part(one.recent, one.species_id in struck)]
                for one in report.species
            ],
        )
    for finding in report.findings:
        _tell_finding(finding)
    if changed := [tank for tank in report.tanks if tank.changed_on]:
        which = "; ".join(f"{tank.tank_id} on {_days(tank.changed_on)}" for tank in changed)
        print_line(
            f"conditions.csv has changes in the time watched: {which}. How far they alter "
            "what is usual rests on the species table, not on the tank's log: a change that does "
            "less or more than the table says can hide a fault or look like one."
        )
    if report.usual_until is not None:
        _tell_how_to_read(report)


def _tell_how_to_read(report: WatchReport) -> None:
    """Say what the numbers are, how soon a drop is seen, and what an alarm is worth."""
    from growthcast.cli.output import print_line

    yearly = report.false_alarms_a_year
    print_line(
        f"100 % is what an area grew by the log up to {report.usual_until}, at the conditions "
        "written down since; ranges hold 8 times of 10. While nothing changes a value lies outside "
        "its usual range 7 times of 100, so slower or quicker alone is no alarm yet. Expect about "
        f"{yearly:.1f} false alarms per tank and year, one in {1.0 / yearly:.0f} years. Both as in "
        "simulated practices."
    )
    if any(tank.drop_seen for tank in report.tanks):
        print_line(
            "How soon a drop is noticed is worked out from each tank's own visits, as if it had "
            "begun right after one of them. Plants that grow little from visit to visit, and areas "
            "without a reading, tell little. What helps: the height before and after the cut, of "
            "every area, at every visit."
        )
    if not report.needs_attention:
        print_line(
            "Nothing needs attention. That does not say nothing changed: a change is seen from "
            "several readings, a small one late or not at all."
        )


def _tell_finding(finding: Finding) -> None:
    from growthcast.cli.output import print_line

    where = ", ".join(finding.tank_ids)
    print_line(f"{where}: {finding.sentence}; noticed at the visit of {finding.noticed_on}.")
    if finding.also:
        print_line(
            f"  The readings fit nearly as well if it is {' or '.join(finding.also)} instead."
        )
    print_line("  To check, in this order (common practice; the log cannot tell which it is):")
    for number, suspect in enumerate(finding.suspects, start=1):
        print_line(f"  {number}. {suspect}")


def _row(tank: TankWatch) -> list[str]:
    if tank.recent is None:
        return [tank.tank_id, "", "", str(tank.visits), tank.sentence]
    growth, usual, verdict = _part(tank.recent, bool(tank.findings))
    return [tank.tank_id, growth, usual, str(tank.visits), verdict]


def _part(point: IndexPoint, struck: bool) -> list[str]:
    """Return growth lately, usual range and verdict of a tank, an area or a species."""
    return [
        f"{100 * point.growth:.0f} % ({100 * point.low:.0f} to {100 * point.high:.0f})",
        f"{100 * point.usual_low:.0f} to {100 * point.usual_high:.0f} %",
        "see below" if struck else point.standing,
    ]


def _noticed(drop: DropSeen | None) -> list[str]:
    """Return the chance within three visits, and after how many visits it is nine of ten."""
    if drop is None or drop.chance_within_3_visits is None:
        return ["", "too few visits to say"]
    soon = f"{100 * drop.chance_within_3_visits:.0f} of 100"
    if drop.visits is None:
        return [soon, f"later than {_visits(drop, len(drop.chances))}"]
    return [soon, _visits(drop, drop.visits)]


def _visits(drop: DropSeen, count: int) -> str:
    return f"{count} visit{'s' * (count > 1)} (about {drop.days(count)} days)"


def _days(days: tuple[date, ...]) -> str:
    return ", ".join(day.isoformat() for day in days)
