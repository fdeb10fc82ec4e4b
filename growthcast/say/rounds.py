"""The visit calendar in words, and as a CSV that a spreadsheet opens safely."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Iterator, Mapping, Sequence
from datetime import date, timedelta
from typing import Any

from growthcast.book.checks.rounds import public_holidays, wrong_region
from growthcast.book.tables import WEEKDAYS
from growthcast.plain import plain
from growthcast.say.words import (
    OVERDUE,
    TIGHT,
    Table,
    Words,
    and_list,
    count_of,
    day_words,
    in_words,
    percent,
    some_sentences,
    week_day_words,
)
from growthcast.service.rounds.plan import LateVisit, PlannedVisit, RoundsPlan
from growthcast.service.rounds.windows import TankWindow

DUE_BY = (
    "Due by its rhythm: the recommended interval after the last visit (the shortest listed where "
    "none holds). By its chance: before that, the chance of all inside, given that the last visit "
    "left all inside, falls below the wanted one. By its limit: longest_interval_d."
)
ROUNDING = 0.005
"""A chance beyond the wanted one by less reads like it."""
COLUMNS = ("day", "tank", "client", "site", "at tank>", "travel>", "due by", "over by then>")


def rounds_words(plan: RoundsPlan) -> Words:
    """Yield the calendar with a line a week, then what comes late, and what is to be known."""
    if not plan.visits and not plan.late:
        first, last = (week_day_words(day, plan.on) for day in (plan.start, plan.end))
        yield f"No tank needs a visit from {first} to {last}."
    else:
        yield lead_words(plan)
    rows = []
    for week in sorted({_monday(visit.on) for visit in plan.visits}):
        used, there = _hours(plan, week)
        rows.append([f"Week of {day_words(week, plan.on)}: {used:.1f} of {there:g} h"])
        rows += [_row(plan, visit) for visit in plan.visits if _monday(visit.on) == week]
    if rows:
        yield Table("", COLUMNS, rows, ["site", "travel", "client"])
    lost, notes = [*_losses(plan)], [f"{note}." for note in rounds_notes(plan)]
    yield from some_sentences([*lost[:2], *notes, *lost[2:]])
    if plan.visits:
        yield DUE_BY


def lead_words(plan: RoundsPlan) -> str:
    """Say how many visits there are, how many come late, and how full the fullest week is."""
    weeks = max(round(((plan.end - plan.start).days + 1) / 7), 1)
    late = f"{in_words(len(plan.late))} late" if plan.late else "none late"
    said = f"{count_of(len(plan.visits), 'visit')} in {count_of(weeks, 'week')}, {late}"
    full = [_hours(plan, week) for week in {_monday(day) for day in plan.dates}]
    if full:
        used, there = max(full)
        said += f"; busiest week {used:.1f} of {there:g} h"
    return f"{said}."


def _hours(plan: RoundsPlan, week: date) -> tuple[float, float]:
    """Hours that the visits of a week take, and those there are."""
    minutes = zip(plan.dates, plan.minutes_per_day, strict=True)
    spent = [taken for day, taken in minutes if _monday(day) == week]
    return sum(spent) / 60.0, len(spent) * plan.hours_per_day


def rounds_json(plan: RoundsPlan) -> dict[str, Any]:
    """Return the plan with its notes, as ``--json`` prints it."""
    return {**plain(plan), "notes": rounds_notes(plan)}


def rounds_notes(plan: RoundsPlan) -> list[str]:
    """Say what a person should know of tanks and days of a plan."""
    tanks = plan.tanks
    unlogged = [w.tank_id for w in tanks if not w.visits_logged and not w.idle]
    return [
        *(_overdue(w, plan.start) for w in tanks if w.due_d < 0),
        *(
            [f"no visit to {and_list(unlogged)} is logged: the rhythm is counted from {plan.on}"]
            if unlogged
            else []
        ),
        *(note for w in tanks for note in _days_kept(w, plan.dates)),
        *(note for w in tanks for note in _longer_than_a_day(w, 60.0 * plan.hours_per_day)),
        *(_idle(w) for w in tanks if w.idle),
        *(
            f"no listed interval keeps {w.tank_id} inside with the wanted chance: it is planned "
            f"every {w.interval_d} days, the shortest (growthcast interval says what would mend it)"
            for w in tanks
            if not w.feasible
        ),
        *_holidays_met(plan),
    ]


def _idle(window: TankWindow) -> str:
    """Say why the plants of a tank set no rhythm, and whether it is planned all the same."""
    why = {
        "cleared": "its last visit cleared it",
        "empty": "nothing is planted in it",
        "none holds": "none of its plants is likely to hold (growthcast interval says why)",
    }[window.idle]
    if window.longest_d is None:
        return f"{window.tank_id} is not planned: {why}"
    return f"{window.tank_id} is planned by its own limit of {window.longest_d} days alone: {why}"


def _overdue(window: TankWindow, start: date) -> str:
    """Say that a tank is overdue when a plan begins, and by what."""
    due_on = day_words(start + timedelta(days=window.due_d), start)
    over = percent(1.0 - float(window.now.all_within[0]))
    why = {
        "rhythm": f"its rhythm of {window.interval_d} days ended on {due_on}",
        "limit": f"its own limit (longest_interval_d) ended on {due_on}",
        "chance": f"the chance that some area is over on {day_words(start, start)} is {over}",
    }[window.due_by]
    return f"{window.tank_id} is overdue when the plan begins: {why}"


def _days_kept(window: TankWindow, dates: tuple[date, ...]) -> Iterator[str]:
    """Say where a weekday cannot be kept, or is too rare, and when a tank is closed."""
    if window.weekday:
        place = WEEKDAYS.index(window.weekday)
        name = f"{date.min + timedelta(days=place):%A}"  # the first day of all was a Monday
        if all(day.weekday() != place for day in dates):
            yield (
                f"{window.tank_id} is to be visited on a {name}, and none in this plan is a "
                "working day: it is planned on any working day instead"
            )
        elif window.interval_d < 7:
            yield (
                f"{window.tank_id} is due every {window.interval_d} days, and a visit every "
                f"{name} is one in 7 days at best: let it be visited on another day as well"
            )
    first, last = dates[0], dates[-1]
    met = [time for time in window.closed if time.first <= last and time.last >= first]
    if any(time.first <= day <= time.last for time in met for day in dates):
        yield f"{window.tank_id} is closed {and_list([str(time) for time in met])} (closed.csv)"


def _longer_than_a_day(window: TankWindow, day_min: float) -> Iterator[str]:
    if window.minutes + window.travel_min > day_min:
        yield (
            f"a visit to {window.tank_id} takes {window.minutes + window.travel_min:.0f} min with "
            f"travel, and a working day has {day_min:.0f} min: it is planned alone on its day; "
            "raise hours_per_day under [rounds] or share the work out over two days"
        )


def _holidays_met(plan: RoundsPlan) -> Iterator[str]:
    """Name the public holidays that a plan takes for working days, where no region is given."""
    country = plan.practice.locale.rpartition("-")[2]
    if plan.practice.holidays or wrong_region(country):
        return
    met = public_holidays(country, plan.dates[0], plan.dates[-1])
    if named := [
        f"{day_words(day, plan.on)} ({name})" for day, name in met.items() if day in plan.dates
    ]:
        verb = "is a public holiday" if len(named) == 1 else "are public holidays"
        yield (
            f"{and_list(named)} {verb} in {country}, the country of the locale, and planned like "
            f'any working day: write holidays = "{country}", or the code of a part of it, under '
            "[rounds] in practice.toml to keep such days free"
        )


def _monday(day: date) -> date:
    return day - timedelta(days=day.weekday())


def _row(plan: RoundsPlan, visit: PlannedVisit) -> list[str]:
    wanted = {window.tank_id: window.confidence for window in plan.tanks}
    tight = visit.chance_over > 1.0 - wanted[visit.tank_id] + ROUNDING
    due = f"{day_words(visit.due_on, plan.on)}, {visit.due_by}"
    if visit.days_late:
        due = (
            f"{OVERDUE} {day_words(visit.due_on, plan.on)}, {count_of(visit.days_late, 'day')} late"
        )
    return [
        week_day_words(visit.on, plan.on),
        visit.tank_id,
        visit.client,
        visit.site,
        f"{visit.minutes:.0f} min",
        f"{visit.travel_min:.0f} min" if visit.travel_min else "",
        due,
        f"{TIGHT} {percent(visit.chance_over)}" if tight else percent(visit.chance_over),
    ]


def _losses(plan: RoundsPlan) -> Iterator[str]:
    """Say what comes late, why, and what that loses, the worst first."""
    if plan.late:
        first, *others = (_lost(one) for one in plan.late)
        yield first
        yield (
            f"In all, late visits lose {plan.area_days_over:.1f} expected area-days over the "
            "height (one area over for one day)."
        )
        yield from others


def _lost(one: LateVisit) -> str:
    why = (
        "for want of hours on the days it may be visited"
        if one.for_want_of_hours
        else "no working day of its own before that"
    )
    due = day_words(one.due_on, one.due_on)
    if one.on is None:
        when = f"due on {due} by its {one.due_by} and has no visit in the plan ({why})"
        until = "by then"
    else:
        late = count_of(one.days_late, "day")
        then = day_words(one.on, one.on)
        when = f"visited on {then}, {late} after it is due by its {one.due_by} ({why})"
        until = "on that day"
    limit = "; that is past the tank's own limit" if one.past_own_limit else ""
    if one.area is None:
        return f"{one.tank_id} is {when}; nothing grows there{limit}."
    return (
        f"{one.tank_id} is {when}: the chance that some area is over {until} is "
        f"{percent(one.chance_over)} ({percent(one.chance_over_when_due)} when due), most "
        f"likely {one.area}; {one.area_days_over:.1f} area-days over are expected{limit}."
    )


CSV_COLUMNS = (
    *("date", "tank_id", "client", "site", "visit", "minutes", "travel_min", "due_on"),
    *("days_late", "chance_over", "due_by"),
)
RISKY = ("=", "+", "-", "@", "\t", "\r", "\n")
"""What a cell begins with that a spreadsheet takes for a formula."""


def rounds_csv(plan: RoundsPlan) -> str:
    """Return the visits as CSV."""
    return csv_of(CSV_COLUMNS, [plain(visit) for visit in plan.visits])


def csv_of(columns: Sequence[str], rows: Iterable[Mapping[str, Any]]) -> str:
    """Return rows as CSV; text that looks like a formula begins with an apostrophe."""
    stream = io.StringIO()
    writer = csv.DictWriter(stream, columns, extrasaction="ignore", lineterminator="\r\n")
    writer.writeheader()
    for row in rows:
        writer.writerow({name: _guarded(row.get(name)) for name in columns})
    return stream.getvalue()


def _guarded(cell: Any) -> Any:
    risky = isinstance(cell, str) and cell.lstrip("'").startswith(RISKY)
    return f"'{cell}" if risky else cell
