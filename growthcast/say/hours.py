"""A month of work in words and as a table for the invoice."""

from __future__ import annotations

from growthcast.say.rounds import csv_of
from growthcast.say.words import Table, Words, count_of, named, with_range
from growthcast.service.effort.hours import FixedMinutes, MonthOfWork, TankHours

COLUMNS = ("month", "client", "tank_id", "visits", "timed", "visit_min", "trimming_min", "grams")


def hours_csv(work: MonthOfWork) -> str:
    """Return a month as CSV, a row a tank; a blank cell is not known."""
    rows = [
        {name: getattr(tank, name, None) for name in COLUMNS} | {"month": work.month}
        for tank in work.tanks
    ]
    return csv_of(COLUMNS, rows)


def hours_words(work: MonthOfWork) -> Words:
    """Yield the visits of a month by client and tank."""
    if not work.tanks:
        yield f"No visit in {work.month}."
        return
    heads = ("client", "tank", "visits>", "at the tank>", "of that timed>", "trimming>", "grams>")
    yield Table(f"Visits in {work.month}", heads, [_row(tank) for tank in work.tanks])
    untimed = sum(tank.visits - tank.timed for tank in work.tanks)
    if untimed:
        yield (
            f"{count_of(untimed, 'visit')} without the time at the tank: log it as visit=70min. "
            "Nothing is made up for them."
        )
    for one in work.fixed:
        yield fixed_words(one)


def fixed_words(one: FixedMinutes) -> str:
    """Say what a tank's visits take beside trimming, and whether the book says so."""
    source = "tanks.csv" if one.own else "the practice"
    learnt = (
        f"{one.tank_id}: beside trimming a visit takes {with_range(one.learnt_min, 'min')} by "
        f"{count_of(one.visits, 'timed visit')}; {source} says {one.book_min:.0f} min"
    )
    if not one.differs:
        return f"{learnt}, which fits."
    return f"{learnt}. Write fixed_min={one.learnt_min.p50:.0f} into tanks.csv if that is usual."


def _row(tank: TankHours) -> list[str]:
    numbers = [(tank.visit_min, " min"), (tank.trimming_min, " min"), (tank.grams, " g")]
    visit, trimming, grams = ("" if n is None else f"{n:.0f}{unit}" for n, unit in numbers)
    client = named(tank.client, "(no client)")
    return [client, tank.tank_id, str(tank.visits), visit, str(tank.timed), trimming, grams]
