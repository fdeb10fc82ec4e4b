"""What rhythms cost, in words: a month in whole units of money, a year as twelve of them."""

from __future__ import annotations

from growthcast.say.locale import Locale
from growthcast.service.advice import OptionAdvice
from growthcast.service.pages.contract import month_price

MONTHS_A_YEAR = 12.0


def worth(locale: Locale, currency: str, cost: float, hours: float) -> str:
    """Return an amount of money, or the hours where an hour has no price (no ``currency``)."""
    if currency:
        return locale.money(cost, currency)
    return locale.say("hours", n=locale.number(hours))


def year_price(cost: float) -> float:
    """Return the price of a year as twelve months of whole units."""
    return MONTHS_A_YEAR * month_price(cost)


def a_year(locale: Locale, option: OptionAdvice, currency: str) -> str:
    """Return what a rhythm costs a year."""
    return worth(locale, currency, year_price(option.year.cost), option.year.hours)


def a_month(locale: Locale, currency: str, cost: float, hours: float) -> str:
    """Return a month's part of a year's cost, or of its hours where an hour has no price."""
    if currency:
        return locale.money(month_price(cost), currency)
    return locale.say("hours", n=locale.number(hours / MONTHS_A_YEAR, 1))


def dearer(one: OptionAdvice, other: OptionAdvice) -> tuple[float, float]:
    """Price and hours a year that one rhythm takes more than another."""
    cost = year_price(one.year.cost) - year_price(other.year.cost)
    return cost, one.year.hours - other.year.hours


def apart(locale: Locale, one: OptionAdvice, other: OptionAdvice, currency: str) -> str:
    """Return how far two rhythms lie apart a year, in money."""
    cost, hours = dearer(one, other)
    return locale.say("saved_money", amount=worth(locale, currency, abs(cost), abs(hours)))
