"""Numbers, dates, money, lists and texts as the reader of a page writes them.

Babel knows how every place of CLDR writes numbers and dates. Pages of a language without a file in
``languages/`` are in English throughout, numbers and dates as well.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from copy import copy
from datetime import date
from functools import lru_cache
from typing import Any, ClassVar

import babel
from babel.dates import format_date, format_skeleton
from babel.lists import format_list
from babel.numbers import NumberPattern

from growthcast.book.book import Practice
from growthcast.nouns import dataclass
from growthcast.say.filled import LANGUAGES
from growthcast.say.texts import Texts
from growthcast.say.words import YEAR_SETTLED_D

ENGLISH = "en-GB"
"""Whose forms pages have whose language has no file."""


@dataclass(frozen=True, slots=True)
class Locale(Texts):
    """A reader's place, and the texts of its language."""

    place: babel.Locale
    currency: str = ""
    """Of a practice's prices; "" where an hour has no price."""

    gap: ClassVar[str] = "\N{NO-BREAK SPACE}"

    def number(self, value: float, digits: int = 0) -> str:
        """Return a number with this place's decimal and thousands marks."""
        return self._written(self.place.decimal_formats[None], round(value, digits), digits)

    def share(self, share: float, digits: int = 0) -> str:
        """Return a share [0-1] as percent."""
        percent = round(100.0 * share, digits)  # rounded as a number of per cent is
        return self._written(self.place.percent_formats[None], percent / 100.0, digits)

    def money(self, value: float) -> str:
        """Return an amount of money in whole units."""
        form = self.place.currency_formats["standard"]
        how: dict[str, Any] = {"currency": self.currency, "currency_digits": False}
        written = self._written(form, round(value), 0, **how)
        # CLDR's rule of currency spacing, which Babel leaves out
        return re.sub(r"(?<=[^\W\d_])(?=\d)", "\N{NO-BREAK SPACE}", written)

    def _written(self, form: NumberPattern, value: float, digits: int, **currency: Any) -> str:
        """Return a value in a form of this place with ``digits`` decimals."""
        form = copy(form)
        form.frac_prec = (digits, digits)
        written: str = form.apply(value + 0.0, self.place, **currency)  # -0.0 + 0.0 is 0.0
        return written

    def long_date(self, day: date) -> str:
        """Return a date in words, with its year."""
        return format_date(day, "long", self.place)

    def full_date(self, day: date) -> str:
        """Return a date in words, with its weekday and year."""
        return format_date(day, "full", self.place)

    def week_date(self, day: date) -> str:
        """Return a date in words, with its weekday, without its year."""
        weekday = format_date(day, "EEEE", self.place)
        return f"{weekday}, {format_skeleton('MMMMd', day, locale=self.place)}"

    def short_date(self, day: date) -> str:
        """Return a date in short words, without its year."""
        return format_skeleton("MMMd", day, locale=self.place)

    def day(self, day: date, on: date) -> str:
        """Return a date; the year only where ``on`` does not settle it."""
        near = abs((day - on).days) < YEAR_SETTLED_D
        return self.short_date(day) if near else self.long_date(day)

    def duration(self, minutes: float) -> str:
        """Return minutes as a person tells them: hours and minutes."""
        hours, rest = divmod(round(minutes), 60)
        if not hours:
            return self.say("minutes", n=self.number(rest))
        return self.say("duration", hours=self.number(hours), minutes=f"{rest:02d}")

    def height(self, value: float, unit: str) -> str:
        """Return a height in centimetres, or a cover in percent, in the digits it is worth."""
        if unit != "cm":
            return self.share(value / 100.0)
        return f"{self.number(value, 1 if value < 9.95 else 0)}\N{NO-BREAK SPACE}cm"

    def range(self, low: float, middle: float, high: float, unit: str) -> str:
        """Return a forecast height with its range."""
        ends = {"middle": self.height(middle, unit), "high": self.height(high, unit)}
        low_end = self.height(low, unit).removesuffix("\N{NO-BREAK SPACE}cm")
        return self.say("range", low=low_end, **ends)

    def listed(self, parts: Sequence[str]) -> str:
        """Return parts as a list in the words of the page's language."""
        return format_list([*parts], locale=self.place)


@lru_cache(maxsize=16)
def open_locale(tag: str, currency: str = "") -> Locale:
    """Return how a place such as "de-CH" writes; as English does where its language has no file."""
    place = babel.Locale.parse(tag, sep="-")
    if not (LANGUAGES / f"{place.language}.toml").is_file():
        place = babel.Locale.parse(ENGLISH, sep="-")
    return Locale(place.language, place, currency)


def locale_of(practice: Practice, tag: str = "") -> Locale:
    """Return how a practice's pages write, or pages of its prices in another place."""
    priced = practice.labour_rate_per_h > 0.0
    return open_locale(tag or practice.locale, practice.currency if priced else "")
