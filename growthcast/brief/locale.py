"""Numbers, dates, money and sentences as a reader's language and country write them.

A language is one file in ``languages/``: its number and date forms, and the page's text. A language
with forms but no text borrows the English text.
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date
from functools import lru_cache
from importlib.resources import files
from typing import Any

__all__ = ["Locale", "open_locale"]

FALLBACK = "en"
ALMOST_SURE = 0.995


@dataclass(frozen=True, slots=True)
class Locale:
    """How one place writes: ``forms`` of numbers and dates, ``text`` of the page.

    ``language`` is that of the forms, ``text_language`` that of the text.
    """

    tag: str
    language: str
    text_language: str
    forms: Mapping[str, Any]
    text: Mapping[str, str]

    def in_english(self) -> Locale:
        """Return the same forms with English text."""
        return replace(self, text_language=FALLBACK, text=_language(FALLBACK)["text"])

    def number(self, value: float, digits: int = 0) -> str:
        """Return a number with this place's decimal and thousands marks."""
        plain = f"{value:,.{digits}f}"
        if float(plain.replace(",", "")) == 0.0:
            plain = plain.lstrip("-")
        marks = {",": self.forms["thousands"], ".": self.forms["decimal"], "-": "\N{MINUS SIGN}"}
        return "".join(marks.get(char, char) for char in plain)

    def share(self, share: float, digits: int = 0) -> str:
        """Return a share [0-1] as percent."""
        return str(self.forms["percent"]).format(self.number(100.0 * share, digits))

    def chance(self, chance: float) -> str:
        """Return a chance [0-1] as percent; neither certain nor impossible when it is not."""
        if chance > ALMOST_SURE:
            return self.say("chance_over", share=self.share(0.99))
        if chance < 1.0 - ALMOST_SURE:
            return self.say("chance_under", share=self.share(0.01))
        return self.share(chance)

    def money(self, value: float, currency: str) -> str:
        """Return an amount of money in whole units, with a sign where the currency has one."""
        sign = self.forms["currencies"].get(currency, currency)
        form = self.forms["money"] if len(sign) == 1 else self.forms["money_code"]
        said: str = form.format(amount=self.number(abs(value)), sign=sign)
        return f"\N{MINUS SIGN}{said}" if round(value) < 0 else said

    def long_date(self, day: date) -> str:
        """Return a date in words, with its year."""
        return self._date("date", self.forms["months"], day)

    def short_date(self, day: date) -> str:
        """Return a date in short words, without its year."""
        return self._date("short_date", self.forms["months_short"], day)

    def month(self, number: int) -> str:
        """Return the short name of a month, 1 to 12."""
        return str(self.forms["months_short"][number - 1])

    def _date(self, form: str, months: list[str], day: date) -> str:
        number = self.forms.get("first_day", "{}").format(day.day) if day.day == 1 else day.day
        return str(self.forms[form]).format(day=number, month=months[day.month - 1], year=day.year)

    def height(self, value: float, unit: str) -> str:
        """Return a height in centimetres, or a cover in percent, in the digits it is worth."""
        if unit != "cm":
            return self.share(value / 100.0)
        return f"{self.number(value, 1 if value < 9.95 else 0)}\N{NO-BREAK SPACE}cm"

    def bare_height(self, value: float, unit: str) -> str:
        """Return a height as ``height`` does, without its unit where that stands beside it."""
        said = self.height(value, unit)
        return said.removesuffix("\N{NO-BREAK SPACE}cm")

    def exact(self, value: float, unit: str) -> str:
        """Return a height that was agreed, not forecast, in the digits it was given with."""
        digits = next((d for d in (0, 1) if abs(value - round(value, d)) < 1e-9), 2)
        if unit != "cm":
            return self.share(value / 100.0, digits)
        return f"{self.number(value, digits)}\N{NO-BREAK SPACE}cm"

    def say(self, key: str, **values: str) -> str:
        """Return a text of the page with its blanks filled."""
        return self.text[key].format(**values)

    def count(self, key: str, number: int, **values: str) -> str:
        """Return the text for one or for many of something; the number is ``{n}``."""
        form = f"{key}_one" if number == 1 else f"{key}_many"
        return self.say(form, n=self.number(number), **values)

    def listed(self, parts: list[str]) -> str:
        """Return parts as a list in words."""
        if len(parts) < 2:
            return "".join(parts)
        return f"{', '.join(parts[:-1])} {self.text['and']} {parts[-1]}"


@lru_cache(maxsize=8)
def _language(name: str) -> dict[str, Any]:
    table = files("growthcast.brief") / "languages" / f"{name}.toml"
    return tomllib.loads(table.read_text(encoding="utf-8"))


@lru_cache(maxsize=16)
def open_locale(tag: str) -> Locale:
    """Return the forms and text of a tag as "de-CH"; English text where there is none."""
    language, _, region = tag.partition("-")
    own = _language(language)
    forms = own["forms"] | own.get("regions", {}).get(region, {})
    text_language = language if "text" in own else FALLBACK
    return Locale(tag, language, text_language, forms, _language(text_language)["text"])
