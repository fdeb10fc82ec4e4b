"""growthcast rounds, away and hours: the visits to come, a time without any, and those made."""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Any

from growthcast.book.checks.rounds import (
    ClosedTime,
    closed_on,
    closed_times,
    open_before,
    open_from,
)
from growthcast.cli.options import (
    Day,
    File,
    Text,
    chosen_tanks,
    fitted,
    folder_of,
    open_fit,
    read_aloud,
    recalled,
)
from growthcast.cli.output import Form, refuse_if, say, write_file
from growthcast.errors import UsageError
from growthcast.plain import plain
from growthcast.say.words import sentence

if TYPE_CHECKING:
    from growthcast.service.rounds.plan import RoundsPlan
    from growthcast.service.visit.away import AwayTank


def rounds_command(
    book: Text, start: Day, weeks: int, on: Day, csv: File, ics: File, form: Form
) -> None:
    """Plan the visits of all tanks within the hours there are, and say what comes late.

    Example: growthcast rounds my-book --from 2026-11-30 --weeks 4 --ics rounds.ics

    Exit status: 0 done, 2 bad arguments or a book with problems, 3 the tool itself failed.
    """
    from growthcast.say.rounds import SAID, rounds_answer
    from growthcast.service.recommend import recommend
    from growthcast.service.rounds.plan import plan_rounds

    opened, day, fit = open_fit(book, on)
    first = _first_day(start, day)

    def work() -> RoundsPlan:
        return plan_rounds(opened, fit, recommend(opened, fit, briefly=True), first, weeks)

    plan = recalled(opened, day, work, "rounds", first, weeks)
    _write_files(plan, csv, ics)
    form.print(plan, rounds_answer(plan), fit, SAID)


def _first_day(asked: date | None, day: date) -> date:
    """Return the first day of the plan; one before the day stood on is refused with the nearest."""
    usual = day + timedelta(days=1)
    refuse_if("rounds_early", asked and asked < day, asked=asked, day=day, usual=usual)
    return asked or usual


def _write_files(plan: RoundsPlan, csv: Path | None, ics: Path | None) -> None:
    from growthcast.say.card import rounds_ics
    from growthcast.say.locale import open_locale
    from growthcast.say.rounds import rounds_csv

    if csv is not None:
        write_file(csv, rounds_csv(plan).encode())
    if ics is not None:
        earlier = ics.read_bytes() if ics.is_file() else b""
        locale = open_locale(plan.practice.locale)
        written, cancelled = rounds_ics(plan, datetime.now(UTC), locale, earlier)
        write_file(ics, written, f"; visits it cancels: {cancelled}" if cancelled else "")


def away_command(
    book: Text, start: date, end: date, last_visit: Day, tank: Text, on: Day, form: Form
) -> None:
    """Tell which tanks last through a time without visits, and which cuts beforehand bridge it.

    Example: growthcast away my-book --from 2026-07-06 --to 2026-07-26

    Exit status: 0 done, 2 bad arguments or a book with problems, 3 the tool itself failed.
    """
    import numpy as np

    from growthcast.say.ahead import away_answer
    from growthcast.service.visit.away import weeks_away

    refuse_if("away_turned", end < start, start=start, end=end)
    refuse_if("away_long", (end - start).days > 365, start=start, end=end)
    opened, day, fit = open_fit(book, on)
    before = _last_visit(start, last_visit, day)
    closed = closed_times(opened)
    visits: dict[tuple[date, date], list[int]] = {}
    for place in chosen_tanks(opened, tank).tolist():
        name = str(opened.tanks.text("tank_id")[place])
        ends = _open_ends(name, closed.get(name, ()), (day, before, end + timedelta(days=1)))
        visits.setdefault(ends, []).append(place)
    found = {}
    for ends, places in visits.items():
        for one in weeks_away(opened, fit, *ends, np.array(places)):
            found[one.tank_id] = _with_open_stand_in(one, closed.get(one.tank_id, ()))
    tanks = [found[name] for name in opened.tanks.text("tank_id").tolist() if name in found]
    answer: dict[str, Any] = {"on": day, "from": start, "to": end, "last_visit": before}
    answer["tanks"] = [plain(one) | {"sentence": said} for one, said in tanks]
    form.print(answer, away_answer(tanks, day, start, end), fit, details=tank is not None)


def _open_ends(
    name: str, times: tuple[ClosedTime, ...], asked: tuple[date, date, date]
) -> tuple[date, date]:
    """Days of a tank's last visit before and first after, moved off those on which it is closed.

    ``asked`` are the day stood on and the two days asked for.
    """
    day, before, after = asked
    ends = open_before(times, before, day) or day, open_from(times, after)
    if ends != (before, after):
        say(f"{name} is closed (closed.csv): its visits are counted on {ends[0]} and {ends[1]}.")
    return ends


def _with_open_stand_in(one: AwayTank, times: tuple[ClosedTime, ...]) -> tuple[AwayTank, str]:
    """Return the tank with a stand-in on a day on which it can be visited, and its conclusion."""
    from growthcast.say.ahead import away_sentence

    said = away_sentence(one)
    if one.stand_in_by is None or (time := closed_on(times, one.stand_in_by)) is None:
        return one, said
    day = open_before(times, one.stand_in_by, one.last_visit + timedelta(days=1))
    told = {"said": said, "time": time, "day": day, "again": open_from(times, time.last)}
    return replace(one, stand_in_by=day), sentence("away_closed", on=one.last_visit, **told)


def _last_visit(first: date, before: date | None, day: date) -> date:
    """Day of the last visit: as asked, else the day before; no earlier than the day stood on."""
    refuse_if("away_early", first < day, first=first, day=day)
    if before is None:
        if first == day:
            say(f"The time away begins today, so cuts are counted on today, {day}.")
        return max(first - timedelta(days=1), day)
    beside = {"before": before, "day": day, "first": first}
    refuse_if("last_visit_beside", not day <= before <= first, **beside)
    return before


def hours_command(book: Text, month: Text, client: Text, csv: File, form: Form) -> None:
    """Sum up visits, minutes and grams of a month by client and tank, for the invoice.

    Example: growthcast hours my-book --month 2026-11 --client "Client A"

    Exit status: 0 done, 2 bad arguments or a book with problems, 3 the tool itself failed.
    """
    from growthcast.fit.growth import last_logged
    from growthcast.say.rounds import hours_answer, hours_csv
    from growthcast.service.effort.hours import month_of_work

    opened = read_aloud(folder_of(book))
    if client is not None:
        opened.tanks_of(client)  # is there
    last = last_logged(opened) or date.today()
    work = month_of_work(opened, fitted(opened, last), _first_of(month) if month else last, client)
    if csv is not None:
        write_file(csv, hours_csv(work).encode())
    form.print(work, hours_answer(work))


def _first_of(month: str) -> date:
    if re.fullmatch(r"[0-9]{4}-(0[1-9]|1[0-2])", month):
        return date.fromisoformat(f"{month}-01")
    raise UsageError(f'--month "{month}" is not a month; write it as YYYY-MM, as in 2026-11')
