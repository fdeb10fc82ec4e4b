"""growthcast away: how the tanks come through a time without visits."""

from __future__ import annotations

from datetime import date, timedelta
from typing import TYPE_CHECKING, Annotated

from growthcast.cli.options import (
    AsJson,
    BookFolder,
    OnDate,
    TankId,
    chosen_tanks,
    day_option,
    open_fit,
)
from growthcast.errors import UsageError

if TYPE_CHECKING:
    from growthcast.book.checks.rounds import ClosedTime
    from growthcast.service.visit.away import AwayArea, AwayTank

FromDate = Annotated[date | None, day_option("--from", "First day without visits.")]
ToDate = Annotated[date | None, day_option("--to", "Last day without visits.")]
LastVisit = Annotated[
    date | None,
    day_option(
        "--last-visit", "Last visit before. Default: the day before the first day without visits."
    ),
]


def away_command(
    book: BookFolder = None,
    start: FromDate = None,
    end: ToDate = None,
    last_visit: LastVisit = None,
    tank: TankId = None,
    on: OnDate = None,
    as_json: AsJson = False,
) -> None:
    """Tell which tanks last through a time without visits, and which cuts beforehand bridge it.

    Example: growthcast away my-book --from 2026-07-06 --to 2026-07-26

    Exit status: 0 done, 2 bad arguments or a book with problems, 3 the tool itself failed.
    """
    import numpy as np

    from growthcast.book.checks.rounds import closed_times
    from growthcast.cli.output import print_json
    from growthcast.plain import plain
    from growthcast.service.visit.away import weeks_away

    if start is None or end is None:
        raise UsageError("name the time away with --from DATE and --to DATE, both without visits")
    first, last = start, end
    if last < first:
        raise UsageError(f"--to {last} lies before --from {first}; swap them")
    if (last - first).days > 365:
        raise UsageError(f"{first} to {last} is more than a year without a visit; plan it in parts")
    opened, day, fit = open_fit(book, on)
    before = _last_visit(first, last_visit, day)
    closed = closed_times(opened)
    visits: dict[tuple[date, date], list[int]] = {}
    for place in chosen_tanks(opened, tank).tolist():
        name = str(opened.tanks.text("tank_id")[place])
        ends = _open_ends(name, closed.get(name, ()), (day, before, last + timedelta(days=1)))
        visits.setdefault(ends, []).append(place)
    found = {
        one.tank_id: _with_open_stand_in(one, closed.get(one.tank_id, ()))
        for (cut_on, back_on), places in visits.items()
        for one in weeks_away(opened, fit, cut_on, back_on, np.array(places))
    }
    tanks = [found[name] for name in opened.tanks.text("tank_id").tolist() if name in found]
    if as_json:
        dates = {"on": day, "from": first, "to": last, "last_visit": before}
        said = [plain(one) | {"sentence": sentence} for one, sentence in tanks]
        print_json({**dates, "tanks": said}, fit)
        return
    _print(tanks, first, last)


def _open_ends(
    name: str, times: tuple[ClosedTime, ...], asked: tuple[date, date, date]
) -> tuple[date, date]:
    """Days of a tank's last visit before and first after, moved off those on which it is closed.

    ``asked`` are the day stood on and the two days asked for.
    """
    from growthcast.book.checks.rounds import open_before, open_from
    from growthcast.cli.output import say

    day, before, after = asked
    ends = open_before(times, before, day) or day, open_from(times, after)
    if ends != (before, after):
        say(f"{name} is closed (closed.csv): its visits are counted on {ends[0]} and {ends[1]}.")
    return ends


def _with_open_stand_in(one: AwayTank, times: tuple[ClosedTime, ...]) -> tuple[AwayTank, str]:
    """Return the tank with a stand-in on a day on which it can be visited, and its conclusion."""
    from dataclasses import replace

    from growthcast.book.checks.rounds import closed_on, open_before, open_from
    from growthcast.say.visit import away_sentence

    if one.stand_in_by is None or (time := closed_on(times, one.stand_in_by)) is None:
        return one, away_sentence(one)
    day = open_before(times, one.stand_in_by, one.last_visit + timedelta(days=1))
    then = f"that must be by {day}"
    if day is None:
        then = f"nobody can come in time (it is open again on {open_from(times, time.last)})"
    sentence = f"{away_sentence(one)}; it is closed {time}, so {then}"
    return replace(one, stand_in_by=day), sentence


def _last_visit(first: date, before: date | None, day: date) -> date:
    """Day of the last visit: as asked, else the day before; no earlier than the day stood on."""
    from growthcast.cli.output import say

    if first < day:
        raise UsageError(
            f"--from {first} lies before {day}, the day this stands on; the nearest that can be "
            f"answered is --from {day}"
        )
    if before is None:
        if first == day:
            say(f"The time away begins today, so cuts are counted on today, {day}.")
        return max(first - timedelta(days=1), day)
    if not day <= before <= first:
        raise UsageError(
            f"--last-visit {before} does not lie between {day}, the day this stands on, and {first}"
        )
    return before


def _print(tanks: list[tuple[AwayTank, str]], first: date, last: date) -> None:
    from growthcast.cli.output import print_line, print_table
    from growthcast.say.visit import bare_cuts
    from growthcast.say.words import as_chance

    print_table(
        f"Without visits from {first} to {last}",
        ["tank", "client", "verdict", "as always>", "cut for it>", "stand-in by"],
        [
            [
                one.tank_id,
                one.client,
                one.state,
                as_chance(one.chance_as_usual),
                as_chance(one.chance_bridged),
                "" if one.stand_in_by is None else str(one.stand_in_by),
            ]
            for one, _ in tanks
        ],
    )
    for one, sentence in tanks:
        print_line(f"{one.tank_id}: {sentence}.")
        if one.areas and one.state != "lasts":
            print_table(
                f"{one.tank_id}: what passes its height if cut as always, and the cut that bridges",
                [
                    "area",
                    "as always>",
                    "over by",
                    "at worst over>",
                    "cut for it>",
                    "then inside>",
                ],
                [_row(area) for area in one.areas],
            )
            print_line("At worst over: in one case of ten, on the day of the next visit.")
            if one.state == "stand-in" and (bare := bare_cuts(one)):
                print_line(bare)
    print_line(
        f"Chances are those of the visit of {tanks[0][0].last_visit}, from how areas will stand on "
        "that day; those of a steady rhythm are printed by growthcast interval."
    )


def _row(area: AwayArea) -> list[str]:
    from growthcast.say.words import as_chance

    unit = area.unit
    first, middle, _ = area.passes_on
    day = f"{middle}" if middle else f"{first} (1 in 10)" if first else "stays inside"
    return [
        area.label,
        f"{area.usual_cut_cm:.1f} {unit}",
        day,
        f"{area.over_cm.p90:.1f} {unit}" if first else "",
        f"{area.bridging_cut_cm:.1f} {unit}",
        as_chance(area.chance_within),
    ]
