"""``practice.toml``: its keys declared once, read strictly, odd ones kept and named."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Any, get_args

from growthcast.book.book import Practice, WholeTank
from growthcast.book.cells.numbers import as_share
from growthcast.book.cells.text import decode
from growthcast.book.checks.names import odd_key_names
from growthcast.book.checks.rounds import LISTS, wrong_region
from growthcast.book.not_toml import parse_toml
from growthcast.book.slugs import finding
from growthcast.book.tables import UNIT_WORDS
from growthcast.book.words import did_you_mean, plain, shown
from growthcast.errors import Finding

__all__ = ["KEYS", "WRITE_ONE", "Key", "read_practice"]

FILE = "practice.toml"
WRITE_ONE = (
    "write a practice.toml of three lines: [practice] and below it "
    'name = "Your practice" and labour_rate_per_h = 58.0, with your own price of an hour'
)

NO_HOURS = (
    "write the hours that all people together work on a working day, as 7.5; "
    "a day without work belongs under days_off"
)


@dataclass(frozen=True, slots=True)
class Key:
    """One key of ``practice.toml``: its section, kind, unit, limits and meaning."""

    section: str
    name: str
    kind: str
    """text, choice, currency, locale, region, picture, number, whole, intervals, one of LISTS."""
    meaning: str
    unit: str = ""
    low: float = 0.0
    high: float = 0.0
    choices: tuple[str, ...] = ()

    @property
    def expected(self) -> str:
        """What the key should hold, in words."""
        limits = f"from {plain(self.low)} to {plain(self.high)}"
        if self.kind == "text":
            return "text in quotes"
        if self.kind == "currency":
            return 'the three letters of a currency of ISO 4217, as "EUR"'
        if self.kind == "locale":
            return 'the codes of a language and a country, as "en-GB"'
        if self.kind == "choice":
            return f"one of {', '.join(self.choices)}"
        if self.kind == "region":
            return 'the ISO 3166 code of a country or a part of it in quotes, as "DE" or "DE-BY"'
        if self.kind == "picture":
            return 'a file inside the book\'s folder that ends in .svg, .png or .jpg, as "logo.svg"'
        if self.kind == "intervals":
            return f"a list of whole days {limits}"
        if self.kind in LISTS:
            return LISTS[self.kind].expected
        words = UNIT_WORDS[self.unit]
        return f"{'whole ' + words if self.kind == 'whole' else words} {limits}"


PICTURES: tuple[str, ...] = (".svg", ".png", ".jpg", ".jpeg")

READINGS: tuple[str, ...] = get_args(WholeTank)
_WHOSE = "whose {} rows of whole tanks hold: all areas', or those without their own"

KEYS: tuple[Key, ...] = (
    Key("practice", "name", "text", "the practice's name"),
    Key("practice", "contact", "text", "line under the name on pages for clients"),
    Key("practice", "logo", "picture", "picture beside the name on pages for clients"),
    Key("practice", "locale", "locale", "language, number, date and money forms of pages"),
    Key("practice", "currency", "currency", "ISO 4217 code"),
    Key("practice", "labour_rate_per_h", "number", "price of an hour", "", 0, 1_000_000),
    Key("visit", "fixed_min", "number", "minutes before any trimming", "min", 0, 1440),
    Key("visit", "travel_min", "number", "minutes of travel", "min", 0, 1440),
    Key("targets", "confidence", "number", "wanted chance", "share", 0.5, 0.99),
    Key("targets", "intervals_d", "intervals", "intervals to compare", "d", 1, 365),
    Key("targets", "horizon_d", "whole", "how far forecasts reach", "d", 1, 730),
    Key("fit", "height_error_cm", "number", "error of a measured height", "cm", 0.01, 100),
    Key("fit", "height_error_share", "number", "part of it that grows", "share", 0, 1),
    Key("fit", "widening", "number", "factor on the width of forecasts", "", 0.25, 4),
    Key("log", "whole_tank_grams", "choice", _WHOSE.format("grams"), choices=READINGS),
    Key("log", "whole_tank_minutes", "choice", _WHOSE.format("minutes"), choices=READINGS),
    Key("rounds", "working_days", "weekdays", "weekdays on which tanks are visited"),
    Key("rounds", "hours_per_day", "number", "hours of visits and travel", "h", 0.25, 1000),
    Key("rounds", "days_off", "dates", "days on which nobody works"),
    Key("rounds", "holidays", "region", "whose public holidays nobody works on"),
)


def read_practice(data: bytes) -> tuple[Practice | None, list[Finding]]:
    """Return what ``practice.toml`` says and what was found in it."""
    text, findings = decode(data, FILE)
    if text is None:
        return None, findings
    text = text.replace("\r\n", "\n").replace("\r", "\n")
    content, broken = parse_toml(text, FILE)
    findings += broken
    if broken and not content:
        return None, findings
    lines = _lines_of_keys(text)
    findings += odd_key_names(content, lines, [(key.section, key.name) for key in KEYS])
    values: dict[str, Any] = {}
    for key in KEYS:
        section = content.get(key.section, {})
        if isinstance(section, dict) and key.name in section:
            line = lines.get((key.section, key.name))
            value, found = _value(key, section[key.name], line)
            findings += found
            if value is not None:
                values[key.name] = value
    problems = any(item.level == "problem" for item in findings)
    if "labour_rate_per_h" not in values and not problems:
        fix = "write labour_rate_per_h under [practice] to see costs; until then it is 0"
        fix = fix if text.strip() else WRITE_ONE
        name = "labour_rate_per_h"
        findings.append(
            finding("no-labour-rate", FILE, None, name, name, "no labour rate", "a rate", fix)
        )
    return None if problems else Practice(**values), findings


def _lines_of_keys(text: str) -> dict[tuple[str, str], int]:
    """Return the line of every section and of every key written in the usual way."""
    lines: dict[tuple[str, str], int] = {}
    section = ""
    for number, line in enumerate(text.split("\n"), start=1):
        if head := re.match(r"""\s*\[+\s*["']?([^\]"']*?)["']?\s*\]""", line):
            section = head[1]
            lines.setdefault((section, ""), number)
        elif key := re.match(r"""\s*["']?([^="']*?)["']?\s*=""", line):
            name = key[1].strip()
            if not section and "." in name:
                part, name = (side.strip() for side in name.split(".", 1))
                lines.setdefault((part, name), number)
            lines.setdefault((section, name), number)
    return lines


def _is_locale(tag: str) -> bool:
    from babel.localedata import exists  # likewise, where a locale is named

    form = re.fullmatch("[a-z]{2,3}(-[A-Z][a-z]{3})?-[A-Z]{2}", tag)
    return form is not None and exists(tag.replace("-", "_"))


def _locale_meant(value: str) -> str:
    """Suggest a near miss, or the country where most people speak the language."""
    from babel.core import get_global
    from babel.localedata import locale_identifiers

    tag = value.strip().replace("_", "-")
    language = tag.split("-")[0].lower()
    alike = [known.replace("_", "-") for known in locale_identifiers()]
    likely = get_global("likely_subtags").get(language, "en_Latn_GB").split("_")
    otherwise = f'write as "{likely[0]}-{likely[-1]}"'
    return did_you_mean(tag, [one for one in alike if _is_locale(one)], otherwise)


def _value(key: Key, value: Any, line: int | None) -> tuple[Any, list[Finding]]:
    def found(slug: str, what: str, fix: str) -> tuple[None, list[Finding]]:
        item = finding(slug, FILE, line, key.name, key.name, what, key.expected, fix)
        return None, [item]

    if key.kind in {"text", "choice", "currency", "locale", "region", "picture"}:
        if not isinstance(value, str):
            return found("wrong-kind", f"{shown(value)} without quotes", "put it in quotes")
        if key.kind == "locale" and not _is_locale(value):
            fix = _locale_meant(value)
            return found("not-a-choice", f"{shown(value)}, whose forms are not known", fix)
        if key.kind == "choice" and value not in key.choices:
            both = " or ".join(f'"{choice}"' for choice in key.choices)
            fix = did_you_mean(value, key.choices, f"write {both}, or leave the line out")
            return found("not-a-choice", f"{shown(value)}, which is none of them", fix)
        if key.kind == "region" and (region := wrong_region(value)):
            return found("not-a-choice", *region)
        if key.kind == "picture" and (wrong := _not_a_picture(value)):
            fix = 'copy the picture into the book\'s folder and write its name, as "logo.svg"'
            return found("not-a-picture", f"{shown(value)}, {wrong}", fix)
        if key.kind == "currency" and not _is_currency(value):
            upper = value.strip().upper()
            fix = f'write "{upper}"' if _is_currency(upper) else 'write as "EUR"'
            return found("not-a-choice", f"{shown(value)}, which is no currency of ISO 4217", fix)
        return value, []
    if key.kind == "intervals":
        return _intervals(key, value, found)
    if key.kind in LISTS:
        return LISTS[key.kind].read(value, found)
    if isinstance(value, bool) or not isinstance(value, int | float):
        what, fix = _not_a_number(value)
        return found("wrong-kind", what, fix)
    if not key.low <= value <= key.high:  # also where it is nan
        if key.unit == "h" and value == 0:
            return found("out-of-range", f"{shown(value)}, which leaves no time", NO_HOURS)
        if key.unit == "share" and 2 <= value <= 100:
            fix = f"write {as_share(value)}"
            return found("percent-for-share", f"{shown(value)}, which looks like per cent", fix)
        if value != value or value in (float("inf"), -float("inf")):
            return found("not-finite", f"{shown(value)}, which is not finite", "write a number")
        return found("out-of-range", f"{shown(value)}, which is outside the limits", "change it")
    if key.kind == "whole":
        if value != int(value):
            fix = f"write {round(value)}"
            return found("not-whole", f"{shown(value)}, which is not a whole number", fix)
        return int(value), []
    return float(value), []


def _is_currency(code: str) -> bool:
    from babel.numbers import is_currency  # a thirtieth of a second, where a currency is named

    return code.isupper() and is_currency(code)


def _not_a_picture(name: str) -> str | None:
    """Say why a file's name cannot be that of a picture inside the book's folder."""
    parts = name.replace("\\", "/").split("/")
    if not name.strip() or not name.lower().endswith(PICTURES):
        return "which does not end in .svg, .png or .jpg"
    if not parts[0] or ".." in parts or ":" in name or not name.isprintable():
        return "which lies outside the book's folder"
    return None


def _not_a_number(value: Any) -> tuple[str, str]:
    """Return what stands in a number's place, and what to write."""
    if isinstance(value, str):
        number = re.fullmatch(r"\s*([+-]?[0-9]+(?:[.,][0-9]+)?)\s*%?\s*", value)
        if number:
            per_cent = float(number[1].replace(",", ".")) if "%" in value else None
            write = number[1].replace(",", ".") if per_cent is None else as_share(per_cent)
            return f"{shown(value)} in quotes", f"write {write} without quotes"
        return f"{shown(value)}, a text in quotes", "write a plain number without quotes"
    return f"{shown(value)}, which is not a number", "write a plain number"


def _intervals(key: Key, value: Any, found: Any) -> tuple[Any, list[Finding]]:
    if not isinstance(value, list) or not value:
        typed = [] if isinstance(value, bool) else re.findall("[0-9]+", shown(value))
        fix = f"write [{', '.join(typed)}]" if typed else "write a list such as [7, 10, 14, 21, 28]"
        return found("wrong-kind", f"{shown(value)}, which is not a list of days", fix)  # type: ignore[no-any-return]
    findings: list[Finding] = []
    days: list[int] = []
    for day in value:
        if isinstance(day, bool) or not isinstance(day, int | float):
            what, fix = _not_a_number(day)
            findings += found("wrong-kind", f"{what} in the list", fix)[1]
        elif not key.low <= day <= key.high:
            findings += found("out-of-range", f"{shown(day)} in the list", "change or remove it")[1]
        elif day != int(day):
            fix = f"write {round(day)}"
            findings += found("not-whole", f"{shown(day)} in the list", fix)[1]
        elif int(day) in days:
            findings += found("double-interval", f"{int(day)} twice in the list", "remove one")[1]
        else:
            days.append(int(day))
    return (None if findings else tuple(sorted(days))), findings
