"""Rhythms on a client's page: what they cost, and the rows of the strip.

A month costs whole units of money, a year twelve of them. On the page of several tanks every price
is that of all of them.
"""

from __future__ import annotations

from growthcast.say.locale import Locale
from growthcast.say.words import hand_cut
from growthcast.service.advice import OptionAdvice
from growthcast.service.pages.client import TankFacts
from growthcast.service.pages.contract import month_price, with_vat

ALL = 0.9995
"""Share of days that reads as all."""

MONTHS_A_YEAR = 12.0


def worth(locale: Locale, cost: float, hours: float) -> str:
    """Return an amount of money, or the hours where an hour has no price."""
    if locale.currency:
        return locale.money(cost)
    return locale.say("hours", n=locale.number(hours))


def year_price(cost: float) -> float:
    """Return the price of a year as twelve months of whole units."""
    return MONTHS_A_YEAR * month_price(cost)


def a_month(locale: Locale, cost: float, hours: float) -> str:
    """Return a month's part of a year's cost, or of its hours where an hour has no price."""
    if locale.currency:
        return locale.money(month_price(cost))
    return locale.say("hours", n=locale.number(hours / MONTHS_A_YEAR, 1))


def month_of(locale: Locale, tank: TankFacts, row: OptionAdvice) -> str:
    """Return what a rhythm costs a month, with the client's other tanks where there are some."""
    amount = a_month(locale, *tank.takes(row))
    return locale.say("a_month_all" if tank.together else "a_month", amount=amount)


def gross_month(locale: Locale, cost: float, vat_percent: float) -> str:
    """Return what a year's cost is a month, and with value added tax."""
    net = month_price(cost)
    _, paid = with_vat(net, vat_percent)
    return locale.say("cost_gross", month=locale.money(net), gross=locale.money(paid))


def dearer(tank: TankFacts, one: OptionAdvice, other: OptionAdvice) -> tuple[float, float]:
    """Price and hours a year that one rhythm takes more than another."""
    (cost, hours), (less, fewer) = tank.takes(one), tank.takes(other)
    return year_price(cost) - year_price(less), hours - fewer


def apart(locale: Locale, tank: TankFacts, one: OptionAdvice, other: OptionAdvice) -> str:
    """Return how far two rhythms lie apart a year, in money."""
    amounts = map(abs, dearer(tank, one, other))
    return locale.say("saved_money", amount=worth(locale, *amounts))


def days_of_100(locale: Locale, share: float) -> str:
    """Return a share of days as whole days of a hundred; less than all never reads as all."""
    if round(100.0 * share) == 100 and share < ALL:
        return locale.say("days_nearly_all")
    return locale.number(100.0 * share)


def some_bare(tank: TankFacts) -> bool:
    """Tell whether some rhythm leaves an area bare on a day of a hundred."""
    return any(_days_out(row)[1] for row in tank.rows)


def _days_out(row: OptionAdvice) -> tuple[int, int]:
    """Return of a hundred days those too tall and those bare; with those as agreed they are all."""
    out = 100 - round(100.0 * row.share_of_days_presentable)
    bare = min(round(100.0 * row.share_of_days_bare), out)
    return out - bare, bare


def row_words(
    locale: Locale, tank: TankFacts, row: OptionAdvice, vat_percent: float
) -> tuple[str, ...]:
    """Return what one rhythm gives and costs, as a row of the strip."""
    cost, hours = tank.takes(row)
    year = worth(locale, year_price(cost), hours)
    price = locale.say("cost_both", year=year, month=a_month(locale, cost, hours))
    if locale.currency and vat_percent:
        price = gross_month(locale, cost, vat_percent)
    price = locale.say("cost_all", price=price) if tank.together else price
    tall, bare = _days_out(row)
    area, unit = row.areas[tank.limiting], tank.areas[tank.limiting].unit
    found = locale.range(area.found.p10, area.found.p50, area.found.p90, unit)
    cut, first = hand_cut(area.cut_cm, unit, area.least_cut_cm), tank.first_on[row.interval_d]
    every = locale.count("every", row.interval_d)
    return (
        locale.say("as_now", every=every) if abs(row.interval_d - tank.now_d) <= 1.0 else every,
        days_of_100(locale, row.share_of_days_presentable),
        locale.say("cut_found", cut=locale.exact(cut, unit), found=found),
        locale.say("row_visits", row=row, late=round(row.visits_over_per_year)),
        locale.say("against_none") if first is None else locale.short_date(first),
        price,
        _against(locale, tank, row),
        *([locale.say("days_out", tall=tall, bare=bare)] if some_bare(tank) else []),
    )


def _against(locale: Locale, tank: TankFacts, row: OptionAdvice) -> str:
    """Return what a rhythm costs and gives a year against the proposed one."""
    option = tank.option
    if option is None or row is option:
        return locale.say("against_none")
    cost, hours = dearer(tank, row, option)
    by, size = round(cost if locale.currency else hours), worth(locale, abs(cost), abs(hours))
    now = round(100.0 * option.share_of_days_presentable)
    more = round(100.0 * row.share_of_days_presentable) - now
    told = {"dearer": by > 0, "days": abs(more), "better": more > 0}
    return locale.say("against", by=by, amount=size, **told)
