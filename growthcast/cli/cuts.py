"""growthcast cuts and peak: the visits of a day, and a tank's best on a day."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, timedelta
from functools import partial

from growthcast.book.book import Book
from growthcast.book.checks.rounds import closed_on, closed_times, open_before
from growthcast.brief.visits import PlannedVisit, read_visits
from growthcast.cli.options import Day, Days, File, Text, chosen_tanks, open_fit, recalled
from growthcast.cli.output import Form, refuse_if, refused, say, write_file
from growthcast.cli.pages import write_page
from growthcast.fit.result import GrowthFit
from growthcast.say.reasons import reason
from growthcast.say.words import sentence
from growthcast.service.advice import TankAdvice
from growthcast.service.recommend import recommend
from growthcast.service.urgency import due_on_day, last_visit_on, tanks_due

Span = tuple[date, date]
ONE_DAY, LONGEST = timedelta(days=1), timedelta(days=366)


def cuts_command(
    book: Text, tank: Text, on: Day, next_on: Day, visits: File, out: File, phone: File, form: Form
) -> None:
    """Print the sheets for a day's visits: what to cut in which order, so that it lasts.

    Example: growthcast cuts my-book --day 2026-03-02 --out cards.pdf

    Exit status: 0 done, 2 bad arguments or a book with problems, 3 the tool itself failed.
    """
    from growthcast.say.cuts import SAID, no_visit_words, sheets_answer
    from growthcast.service.effort.learn import learn_timing
    from growthcast.service.visit.cuts import cut_sheet

    opened, day, fit = open_fit(book, on)
    ids = opened.tanks.text("tank_id").tolist()
    plan = [] if visits is None else read_visits(visits, ids)
    asked = chosen_tanks(opened, tank)
    work, order = partial(recommend, opened, fit, asked, briefly=True), asked.tolist()
    advice = recalled(opened, day, work, "advice", asked, False, True)
    none = None
    if tank is None and visits is not None:
        order = [ids.index(visit.tank_id) for visit in plan if visit.on == day]
        none = f"No visit on {day} is in the plan."
    elif tank is None:
        dues = tanks_due(opened, fit, advice, asked)
        order, none = due_on_day(opened, dues, day), no_visit_words(ids, dues, day)
    first = int(asked[0])
    nexts = [_next_visit(advice[k - first], day, next_on, plan) for k in order]
    timing = learn_timing(opened, fit) if order else None
    sheets = [cut_sheet(opened, fit, *one, timing) for one in zip(order, nexts, strict=True)]
    if not sheets and none is not None:
        say(none)
    elif out is not None:
        from growthcast.brief.card import build_cards

        write_page(opened, out, partial(build_cards, opened, sheets))
    if sheets and phone is not None:
        from growthcast.desk.visit import day_file

        beside = "; growthcast log --from reads what is typed into it."
        write_file(phone, day_file(opened, sheets), beside)
    answer = {"on": day, "sheets": sheets} if tank is None else sheets[0]
    form.print(answer, sheets_answer(sheets), fit, SAID)


def _next_visit(
    advice: TankAdvice, day: date, asked: date | None, plan: list[PlannedVisit]
) -> date:
    """Return the day of a tank's next visit: as asked for, as planned, or as recommended."""
    planned = [visit.on for visit in plan if visit.tank_id == advice.tank_id and visit.on > day]
    if asked is None and planned:
        return planned[0]
    if asked is None:
        return day + timedelta(days=recommended_interval(advice))
    if asked <= day:
        usual = day + timedelta(days=recommended_interval(advice))
        raise refused("next_early", asked=asked, day=day, nearest=day + ONE_DAY, usual=usual)
    refuse_if("a_year_ahead", asked > day + LONGEST, option=f"--next {asked}", day=day)
    return asked


def recommended_interval(advice: TankAdvice) -> int:
    """Days until the next visit that is recommended; where none is, the shortest listed is said."""
    if advice.recommended_interval_d is None:
        why = reason(advice) if advice.nothing_holds else ""
        say(sentence("next_taken", tank=advice.tank_id, why=why, days=advice.next_in_d))
    return advice.next_in_d


def peak_command(
    book: Text,
    tank: Text,
    shine: date,
    on: Day,
    visits: Days,
    target: float,
    within: float,
    form: Form,
) -> None:
    """Plan which area to cut at which visit so that every area stands at its best on a day.

    Example: growthcast peak my-book --tank lobby --shine 2026-04-18

    Exit status: 0 done, 2 bad arguments or a book with problems, 3 the tool itself failed.
    """
    from growthcast.say.ahead import SAID, peaks_answer
    from growthcast.service.visit.peak import peak_plan

    given = sorted({*(visits or ())})
    opened, today, fit = open_fit(book, on)
    asked = chosen_tanks(opened, tank)
    refuse_if("shine_early", shine <= today, shine=shine, today=today, nearest=today + ONE_DAY)
    refuse_if("a_year_ahead", shine > today + LONGEST, option=f"--shine {shine}", day=today)
    for visit in given:
        beside = {"visit": visit, "today": today, "shine": shine}
        refuse_if("visit_beside_shine", not today <= visit < shine, **beside)
    plans, advised = [], recommend(opened, fit, asked, briefly=True)
    for place, advice in zip(asked.tolist(), advised, strict=True):
        dates = _visits_before(opened, fit, advice, place, (today, shine), given)
        plans.append(peak_plan(opened, fit, place, shine, dates, target, within))
    answer = {"tanks": plans} if tank is None else plans[0]
    form.print(answer, peaks_answer(plans, today), fit, SAID)


def _visits_before(
    book: Book, fit: GrowthFit, advice: TankAdvice, place: int, span: Span, given: list[date]
) -> list[date]:
    """Return the visits before the day to shine, the last of ``span``: as given, or the usual."""
    today, shine = span
    closed = closed_times(book).get(advice.tank_id, ())
    for visit in given:
        time = closed_on(closed, visit)
        refuse_if("visit_closed", time, visit=visit, tank=advice.tank_id, time=time)
    interval_d = recommended_interval(advice)
    last = last_visit_on(book, fit, place) or today
    usual = given or _usual_visits(last, today, shine, interval_d)
    open_then = {open_before(closed, visit, today) for visit in usual}
    dates = sorted(visit for visit in open_then if visit is not None)
    if dates == [today] and not given:
        say(f"No visit of the usual rhythm falls before {shine}: today's, {today}, is counted on.")
    return dates


def _usual_visits(last: date, today: date, day: date, interval_d: int) -> Sequence[date]:
    """Visits at the tank's interval since its last one; one that is overdue falls on today.

    Today, too, where none falls before the day.
    """
    first = max(last + timedelta(days=interval_d), today)
    count = max((day - first).days - 1, -1) // interval_d + 1
    return [first + timedelta(days=interval_d * n) for n in range(count)] or [today]
