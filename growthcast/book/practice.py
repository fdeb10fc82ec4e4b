"""``practice.toml``: its keys read strictly, a function a kind of value; odd ones are named."""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Iterator, Mapping
from dataclasses import replace
from datetime import date, datetime
from typing import Any

from growthcast.book.book import Practice
from growthcast.book.cells.numbers import check_range, parse_date
from growthcast.book.cells.text import decode
from growthcast.book.checks.rounds import wrong_region
from growthcast.book.findings import Fault, fault_of, finding, refusal
from growthcast.book.not_toml import parse_toml
from growthcast.book.tables import KEYS, KINDS, WEEKDAYS, Column, Kind
from growthcast.book.words import did_you_mean, is_one_slip, shown
from growthcast.errors import Finding

PICTURES: tuple[str, ...] = (".svg", ".png", ".jpg", ".jpeg")


def read_key(key: Column, value: Any) -> tuple[Any, list[Fault]]:
    """Return the value of a key, a list as a tuple in order, or what is wrong with it."""
    if _example(key):
        return _list(key, value)
    read = _number(key, value) if key.kind == "number" else _text(key, value)
    return (None, [read]) if isinstance(read, Fault) else (read, [])


def _example(key: Column) -> str:
    """Return an example of a list, "" for a kind that is none."""
    return KINDS.get(key.kind, {}).get("example", "")


def _text(key: Column, value: Any) -> str | Fault:
    if not isinstance(value, str):
        return Fault("wrong-kind", f"{shown(value)} without quotes", "put it in quotes")
    if key.kind == "choice" and value not in key.choices:
        both = " or ".join(f'"{choice}"' for choice in key.choices)
        fix = did_you_mean(value, key.choices, f"write {both}, or leave the line out")
        return Fault("not-a-choice", f"{shown(value)}, which is none of them", fix)
    wrong = _WRONG_TEXTS.get(key.kind)
    return (wrong(value) if wrong else None) or value


def _list(key: Column, value: Any) -> tuple[Any, list[Fault]]:
    if not isinstance(value, list) or (not value and key.kind not in {"dates", "texts"}):
        typed = re.findall("[0-9]+", shown(value)) if key.kind == "intervals" else []
        found = "an empty list" if isinstance(value, list) else f"{shown(value)}, not a list"
        fix = f"write [{', '.join(typed)}]" if typed else f"write a list such as {_example(key)}"
        return None, [Fault("wrong-kind", found, fix)]
    entries: list[Any] = []
    faults: list[Fault] = []
    for item in value:
        entry = _ENTRIES[key.kind](key, item)
        if isinstance(entry, Fault):
            faults.append(Fault(entry.slug, f"{entry.why}, in the list", entry.fix))
        elif entry in entries and key.kind != "texts":
            slug = "double-interval" if key.kind == "intervals" else "double-day"
            faults.append(Fault(slug, f"{shown(item)} twice in the list", "remove one"))
        else:
            entries.append(entry)
    if key.kind == "texts":
        return tuple(entries), faults
    order = WEEKDAYS.index if key.kind == "weekdays" else None
    return tuple(sorted(entries, key=order)), faults


def _weekday(_: Column, item: Any) -> str | Fault:
    if item in WEEKDAYS:
        return str(item)
    short = str(item).strip().casefold()[:3]
    fix = did_you_mean(str(item), WEEKDAYS, 'write as "mon"')
    fix = f'write "{short}"' if short in WEEKDAYS else fix
    return Fault("not-a-choice", shown(item), fix)


def _day(_: Column, item: Any) -> date | Fault:
    if isinstance(item, datetime):
        return Fault("date-with-time", f"{shown(item)}, with a time", f"write {item.date()}")
    if isinstance(item, date):
        return item
    day = parse_date(str(item))
    if isinstance(day, Fault):
        return replace(day, why=f"{shown(item)}, {day.why}")
    return date.fromisoformat(day)


def _number(key: Column, value: Any) -> float | Fault:
    if isinstance(value, bool) or not isinstance(value, int | float):
        return _not_a_number(value)
    if isinstance(value, float) and not math.isfinite(value):
        return Fault("not-finite", f"{shown(value)}, which is not finite", "write a number")
    if key.unit == "h" and value == 0:
        return Fault("out-of-range", f"{shown(value)}, which leaves no time", refusal("no-hours"))
    if fault := check_range(value, key):
        return Fault(fault.slug, f"{shown(value)}, {fault.why}", fault.fix)
    return int(value) if key.whole else float(value)


def _not_a_number(value: Any) -> Fault:
    """Return what stands in a number's place, and what to write."""
    if not isinstance(value, str):
        found = f"{shown(value)}, which is not a number"
        return Fault("wrong-kind", found, "write a plain number")
    return fault_of("quoted", value)


def _wrong_locale(value: str) -> Fault | None:
    """Suggest a near miss, or the country where most people speak the language."""
    from babel.core import get_global  # where a locale is named
    from babel.localedata import exists, locale_identifiers

    def is_known(tag: str) -> bool:
        form = re.fullmatch("[a-z]{2,3}(-[A-Z][a-z]{3})?-[A-Z]{2}", tag)
        return form is not None and exists(tag.replace("-", "_"))

    if is_known(value):
        return None
    tag = value.strip().replace("_", "-")
    alike = (known.replace("_", "-") for known in locale_identifiers())
    likely = get_global("likely_subtags").get(tag.split("-")[0].lower(), "en_Latn_GB").split("_")
    otherwise = f'write as "{likely[0]}-{likely[-1]}"'
    fix = did_you_mean(tag, [one for one in alike if is_known(one)], otherwise)
    return Fault("not-a-choice", f"{shown(value)}, whose forms are not known", fix)


def _wrong_region(value: str) -> Fault | None:
    return Fault("not-a-choice", *wrong) if (wrong := wrong_region(value)) else None


def _wrong_currency(value: str) -> Fault | None:
    if _is_currency(value):
        return None
    upper = value.strip().upper()
    fix = f'write "{upper}"' if _is_currency(upper) else 'write as "EUR"'
    return Fault("not-a-choice", f"{shown(value)}, which is no currency of ISO 4217", fix)


def _wrong_picture(name: str) -> Fault | None:
    """Say why a file's name cannot be that of a picture inside the book's folder."""
    parts = re.split(r"[\\/]", name)
    is_inside = parts[0] and ".." not in parts and ":" not in name and name.isprintable()
    fits = is_inside and name.lower().endswith(PICTURES)
    return None if fits else fault_of("picture", name)


def _is_currency(code: str) -> bool:
    if code in ("EUR", "USD", "GBP", "CHF", "SEK", "NOK", "DKK", "PLN", "CZK", "JPY", "CAD"):
        return True
    from babel.numbers import is_currency  # a thirtieth of a second

    return code.isupper() and is_currency(code)


_ENTRIES: Mapping[Kind, Callable[[Column, Any], Any]] = {
    "intervals": _number,
    "weekdays": _weekday,
    "dates": _day,
    "texts": _text,
}
_WRONG_TEXTS: Mapping[Kind, Callable[[str], Fault | None]] = {
    "locale": _wrong_locale,
    "region": _wrong_region,
    "currency": _wrong_currency,
    "picture": _wrong_picture,
}


FILE = "practice.toml"


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
    findings += _odd_names(content, lines)
    values: dict[str, Any] = {}
    for section, key in ((section, key) for section, keys in KEYS.items() for key in keys):
        given = content.get(section)
        if not isinstance(given, dict) or key.name not in given:
            continue
        value, faults = read_key(key, given[key.name])
        line, name = lines.get((section, key.name)), key.name
        for fault in faults:
            said = {"found": fault.why, "expected": key.expected, "fix": fault.fix}
            findings.append(finding(fault.slug, FILE, line, name, name, **said))
        values |= {} if faults else {name: value}
    problems = any(item.level == "problem" for item in findings)
    if "labour_rate_per_h" not in values and not problems:
        name, said = "labour_rate_per_h", {} if text.strip() else {"fix": refusal("no-practice")}
        findings.append(finding("no-labour-rate", FILE, None, name, name, **said))
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


def _odd_names(
    content: Mapping[str, Any], lines: Mapping[tuple[str, str], int]
) -> Iterator[Finding]:
    """Yield what is odd about the sections and keys; ``lines`` are those of each of them."""
    inside = {name: value for name, value in content.items() if isinstance(value, dict)}
    homes = {key.name: home for home, keys in KEYS.items() for key in keys}
    absent = {key: home for key, home in homes.items() if key not in inside.get(home, {})}
    for name in content:
        line, known = lines.get(("", name)), {key.name for key in KEYS.get(name, ())}
        if name in inside and known:
            here = [key for key, home in absent.items() if home == name]
            others = {key: home for key, home in absent.items() if home != name}
            for key in (key for key in inside[name] if key not in known):
                where = key, f" under [{name}]", lines.get((name, key))
                yield _odd(*where, "key", here, others)
        elif name in inside:
            sections = [home for home in KEYS if home not in content]
            yield _odd(name, "", lines.get((name, "")), "section", sections, {})
        elif known:
            said = {"found": f"{shown(name)} as a key", "expected": "a section"}
            said |= {"fix": f"write it as a section: [{name}]"}
            yield finding("wrong-kind", FILE, line, name, name, **said)
        else:
            yield _odd(name, " outside any section", line, "key", [], homes)


def _odd(
    name: str, where: str, line: int | None, what: str, here: list[str], others: Mapping[str, str]
) -> Finding:
    """Return what is odd about a name: it is nearly one of ``here``, or belongs elsewhere."""
    place, said = (FILE, line, name, what), {"name": name, "what": what}
    if slip := next((known for known in here if is_one_slip(name, known)), None):
        return finding("near-key", *place, **said, meant=slip)
    if slip := next((known for known in others if is_one_slip(name, known)), None):
        fix = f"move it under [{others[slip]}]" + ("" if name == slip else f" and write {slip}")
        moved = {"found": f"{shown(name)}{where}", "expected": "a key of its section", "fix": fix}
        return finding("near-key", *place, **moved)
    fix = did_you_mean(name, here, f"nothing to do; the {what} is kept as it is")
    return finding(f"unknown-{what}", *place, **said, fix=fix)
