"""growthcast watch: what has begun to grow otherwise than usual."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from growthcast.cli.options import AsJson, BookFolder, OnDate, TankId, chosen_tanks, open_book

if TYPE_CHECKING:
    from growthcast.service.watch.report import Finding, IndexPoint, TankWatch, WatchReport

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
        from growthcast.figures.save import check_target, figure_form

        figure_form(plot)
        check_target(opened, plot)
    report = watch_growth(opened, day, tanks)
    if plot is not None:
        from growthcast.cli.output import say
        from growthcast.figures.watch.growth_index import save_growth_index_figure

        if any(watched.course for watched in report.tanks):
            save_growth_index_figure(opened, report, plot)
            say(f"Wrote {plot}")
        else:
            say("Nothing was drawn: no tank has visits enough to judge.")
    if as_json:
        print_json(report.as_dict())
    else:
        _tell(report)
    if report.needs_attention:
        raise typer.Exit(1)


def _tell(report: WatchReport) -> None:
    """Print the verdicts for people: a table, then each finding with what to check."""
    from growthcast.cli.output import print_line, print_table

    print_table(
        f"Growth against usual on {report.on}",
        ["tank", "growth lately>", "while nothing changes>", "visits>", "verdict"],
        [_row(tank) for tank in report.tanks],
    )
    if report.species:
        print_table(
            "By species, over the last 28 days",
            ["species", "tanks>", "growth lately>", "while nothing changes>"],
            [
                [one.species_id, str(one.tanks), _share(one.recent), _usual(one.recent)]
                for one in report.species
            ],
        )
    for finding in report.findings:
        _tell_finding(finding)
    if report.usual_until is not None:
        yearly = report.false_alarms_a_year
        print_line(
            "100 % is what an area grew by the log up to "
            f"{report.usual_until}, at the conditions written down since; ranges hold 8 times of "
            "10. While nothing changes a single visit falls into the range beside it 95 times of "
            f"100. Expect about {yearly:.1f} false alarms per tank and year, one in "
            f"{1.0 / yearly:.0f} years, as in simulated practices."
        )
    if not report.needs_attention and report.usual_until is not None:
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
    verdict = "look: see below" if tank.findings else tank.status
    shown = (_share(tank.recent), _usual(tank.recent))
    return [tank.tank_id, *shown, str(tank.visits), verdict]


def _share(point: IndexPoint) -> str:
    return f"{100 * point.growth:.0f} % ({100 * point.low:.0f} to {100 * point.high:.0f})"


def _usual(point: IndexPoint) -> str:
    return f"{100 * point.usual_low:.0f} to {100 * point.usual_high:.0f} %"
