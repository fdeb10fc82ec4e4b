"""growthcast away: how the tanks come through a time without visits."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta
from typing import TYPE_CHECKING, Annotated, Any

from growthcast.cli.options import (
    AsJson,
    BookFolder,
    OnDate,
    TankId,
    chosen_tanks,
    day_option,
    open_fit,
)
from growthcast.cli.output import print_answer, say
from growthcast.errors import UsageError
from growthcast.plain import plain

if TYPE_CHECKING:
    from growthcast.book.checks.rounds import ClosedTime
    from growthcast.service.visit.away import AwayTank

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
    from growthcast.say.away import away_words
    from growthcast.service.visit.away import weeks_away

    if start is None or end is None:
        raise UsageError("name the time away with --from DATE and --to DATE, both without visits")
    if end < start:
        raise UsageError(f"--to {end} lies before --from {start}; swap them")
    if (end - start).days > 365:
        raise UsageError(f"{start} to {end} is more than a year without a visit; plan it in parts")
    opened, day, fit = open_fit(book, on)
    before = _last_visit(start, last_visit, day)
    closed = closed_times(opened)
    visits: dict[tuple[date, date], list[int]] = {}
    for place in chosen_tanks(opened, tank).tolist():
        name = str(opened.tanks.text("tank_id")[place])
        ends = _open_ends(name, closed.get(name, ()), (day, before, end + timedelta(days=1)))
        visits.setdefault(ends, []).append(place)
    found = {
        one.tank_id: _with_open_stand_in(one, closed.get(one.tank_id, ()))
        for (cut_on, back_on), places in visits.items()
        for one in weeks_away(opened, fit, cut_on, back_on, np.array(places))
    }
    tanks = [found[name] for name in opened.tanks.text("tank_id").tolist() if name in found]
    answer: dict[str, Any] = {"on": day, "from": start, "to": end, "last_visit": before}
    answer["tanks"] = [plain(one) | {"sentence": sentence} for one, sentence in tanks]
    print_answer(as_json, answer, away_words(tanks, start, end), fit)


def _open_ends(
    name: str, times: tuple[ClosedTime, ...], asked: tuple[date, date, date]
) -> tuple[date, date]:
    """Days of a tank's last visit before and first after, moved off those on which it is closed.

    ``asked`` are the day stood on and the two days asked for.
    """
    from growthcast.book.checks.rounds import open_before, open_from

    day, before, after = asked
    ends = open_before(times, before, day) or day, open_from(times, after)
    if ends != (before, after):
        say(f"{name} is closed (closed.csv): its visits are counted on {ends[0]} and {ends[1]}.")
    return ends


def _with_open_stand_in(one: AwayTank, times: tuple[ClosedTime, ...]) -> tuple[AwayTank, str]:
    """Return the tank with a stand-in on a day on which it can be visited, and its conclusion."""
    from growthcast.book.checks.rounds import closed_on, open_before, open_from
    from growthcast.say.away import away_sentence

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
