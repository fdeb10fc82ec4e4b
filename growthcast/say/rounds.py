"""The visit calendar and a month of work, in words and as CSV that a spreadsheet opens safely."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Iterator, Mapping, Sequence
from datetime import date, timedelta
from itertools import groupby
from typing import Any

from growthcast.book.checks.rounds import public_holidays, wrong_region
from growthcast.book.tables import WEEKDAYS
from growthcast.plain import Said, plain
from growthcast.say import words as tell
from growthcast.say.texts import TERMINAL, Texts
from growthcast.service.effort.hours import MonthOfWork
from growthcast.service.rounds.plan import LateVisit, RoundsPlan
from growthcast.service.rounds.windows import TankWindow

ROUNDING = 0.005
"""A chance beyond the wanted one by less reads like it."""


def rounds_answer(plan: RoundsPlan) -> tell.Answer:
    """Say the calendar with a line a week, then what comes late, and what is to be known."""
    if not plan.visits and not plan.late:
        first, last = (tell.week_day_words(day, plan.on) for day in (plan.start, plan.end))
        lead = f"No tank needs a visit from {first} to {last}."
    else:
        lead = lead_words(plan)
    wanted = {window.tank_id: window.confidence for window in plan.tanks}
    rows: list[dict[str, Any] | list[str]] = []
    for week, visits in groupby(plan.visits, key=lambda visit: monday_of(visit.on)):
        told = {"week": week, "hours": hours_of(plan, week), "on": plan.on}
        rows.append([tell.sentence("rounds_week", **told)])
        for visit in visits:
            tight = visit.chance_over > 1.0 - wanted[visit.tank_id] + ROUNDING
            rows.append({"visit": visit, "tight": tight})
    table = tell.table("rounds_visits", rows, on=plan.on) if rows else None
    lost, notes = [*_losses(plan)], [f"{note}." for note in rounds_notes(plan)]
    said = [*lost[:2], *notes, *lost[2:]]
    due = [tell.sentence("rounds_due")] if plan.visits else []
    return tell.Answer(lead, table, said[:3], said[3:] + due)


def lead_words(plan: RoundsPlan) -> str:
    """Say how many visits there are, how many come late, and how full the fullest week is."""
    weeks = max(round(((plan.end - plan.start).days + 1) / 7), 1)
    late = f"{tell.in_words(len(plan.late))} late" if plan.late else "none late"
    full = max((hours_of(plan, week) for week in set(map(monday_of, plan.dates))), default=None)
    blanks = {"visits": len(plan.visits), "weeks": weeks, "late": late, "full": full}
    return tell.sentence("rounds_lead", **blanks)


def hours_of(plan: RoundsPlan, week: date) -> tuple[float, float]:
    """Hours that the visits of a week take, and those there are."""
    minutes = zip(plan.dates, plan.minutes_per_day, strict=True)
    spent = [taken for day, taken in minutes if monday_of(day) == week]
    return sum(spent) / 60.0, len(spent) * plan.hours_per_day


def rounds_notes(plan: RoundsPlan, texts: Texts = TERMINAL) -> list[str]:
    """Say what a person should know of tanks and days of a plan."""
    tanks, day_min = plan.tanks, 60.0 * plan.hours_per_day
    said = []
    for window in (one for one in tanks if one.due_d < 0):
        due, over = plan.start + timedelta(days=window.due_d), 1.0 - float(window.now.all_within[0])
        blanks = {"due": due, "over": over, "on": plan.start}
        said.append(texts.say("rounds_overdue", window=window, **blanks))
    if unlogged := [w.tank_id for w in tanks if not w.visits_logged and not w.idle]:
        said.append(texts.say("rounds_unlogged", tanks=unlogged, on=plan.on))
    said += [note for w in tanks for note in _days_kept(w, plan.dates, texts)]
    for window in tanks:
        if (minutes := window.minutes + window.travel_min) > day_min:
            times = {"minutes": minutes, "day_min": day_min}
            said.append(texts.say("rounds_long", window=window, **times))
    for window in (one for one in tanks if one.idle):
        why = texts.say(f"rounds_idle_{window.idle.replace(' ', '_')}")
        said.append(texts.say("rounds_idle", window=window, why=why))
    said += [texts.say("rounds_none_holds", window=w) for w in tanks if not w.feasible]
    return [*said, *_holidays_met(plan, texts)]


SAID: Said = {RoundsPlan: lambda plan: {"notes": rounds_notes(plan)}}


def _days_kept(window: TankWindow, dates: tuple[date, ...], texts: Texts) -> Iterator[str]:
    """Say where a weekday cannot be kept, or is too rare, and when a tank is closed."""
    if window.weekday:
        place = WEEKDAYS.index(window.weekday)
        about = {"window": window, "weekday": texts.say(f"weekday_{window.weekday}")}
        if all(day.weekday() != place for day in dates):
            yield texts.say("rounds_weekday_off", **about)
        elif window.interval_d < 7:
            yield texts.say("rounds_weekday_rare", **about)
    first, last = dates[0], dates[-1]
    met = [time for time in window.closed if time.first <= last and time.last >= first]
    if any(time.first <= day <= time.last for time in met for day in dates):
        times = [texts.say("rounds_closed_time", time=time) for time in met]
        yield texts.say("rounds_closed", window=window, times=times)


def _holidays_met(plan: RoundsPlan, texts: Texts) -> Iterator[str]:
    """Name the public holidays that a plan takes for working days, where no region is given."""
    country = plan.practice.locale.rpartition("-")[2]
    if plan.practice.holidays or wrong_region(country):
        return
    met = public_holidays(country, plan.dates[0], plan.dates[-1], texts.language).items()
    if days := [f"{texts.day(day, plan.on)} ({name})" for day, name in met if day in plan.dates]:
        yield texts.say("rounds_holidays", days=days, n=len(days), country=country)


def monday_of(day: date) -> date:
    """Return the day on which a day's week begins."""
    return day - timedelta(days=day.weekday())


def _losses(plan: RoundsPlan) -> Iterator[str]:
    """Say what comes late, why, and what that loses, the worst first."""
    if plan.late:
        first, *others = map(_lost, plan.late)
        yield first
        yield tell.sentence("rounds_lost_all", days=plan.area_days_over)
        yield from others


def _lost(one: LateVisit) -> str:
    """Say what one late visit loses."""
    over = tell.sentence("rounds_lost_over", one=one) if one.area else ""
    return tell.sentence("rounds_lost", one=one, on=one.due_on, over=over)


CSV_COLUMNS: tuple[str, ...] = ("date", "tank_id", "client", "site", "visit", "minutes")
CSV_COLUMNS += ("travel_min", "due_on", "days_late", "chance_over", "due_by")
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


HOURS_COLUMNS: tuple[str, ...] = ("month", "client", "tank_id", "visits", "timed")
HOURS_COLUMNS += ("visit_min", "trimming_min", "grams")


def hours_csv(work: MonthOfWork) -> str:
    """Return a month as CSV, a row a tank; a blank cell is not known."""
    rows = [
        {name: getattr(tank, name, None) for name in HOURS_COLUMNS} | {"month": work.month}
        for tank in work.tanks
    ]
    return csv_of(HOURS_COLUMNS, rows)


def hours_answer(work: MonthOfWork) -> tell.Answer:
    """Say the visits of a month by client and tank."""
    if not work.tanks:
        return tell.Answer(f"No visit in {work.month}.")
    rows = [{"tank": tank, "client": tell.named(tank.client, "(no client)")} for tank in work.tanks]
    notes = [tell.sentence("hours_fixed", one=one) for one in work.fixed]
    if untimed := sum(tank.visits - tank.timed for tank in work.tanks):
        notes.insert(0, tell.sentence("hours_untimed", visits=untimed))
    return tell.Answer(table=tell.table("hours_tanks", rows, month=work.month), notes=notes)
