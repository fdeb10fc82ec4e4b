"""A visit as a form: what its cards show, its fields in the grammar of ``log``, and in words."""

from __future__ import annotations

import hashlib
import re
from collections.abc import Mapping, Sequence
from typing import Any

from growthcast.book.book import Book
from growthcast.book.findings import format_findings
from growthcast.book.read import read_book
from growthcast.book.writing.append import Addition
from growthcast.book.writing.visit.lines import Line, State, log_line, numbered
from growthcast.book.writing.visit.places import log_rows, visit_rows
from growthcast.desk.memory import Desk, Known
from growthcast.desk.phone_page import phone_page
from growthcast.errors import BookProblems, UsageError
from growthcast.nouns import dataclass
from growthcast.say.locale import Locale, open_locale
from growthcast.say.log import doubt_words
from growthcast.say.overview import due_why
from growthcast.say.words import count_of, named
from growthcast.service.doubts.typed import Doubt
from growthcast.service.doubts.understood import Understood
from growthcast.service.pages.overview import TankStanding
from growthcast.service.visit.cuts import AreaCut, CutSheet
from growthcast.service.visit.photo import is_curved, photo_task

STEP_CM, STEP_COVER, ERROR_SHARE = 0.5, 5.0, 0.05
ODD = 2.2
"""How far beyond its 80 % range a height is marked: 3 of 1000 readings lie farther out."""
LOOKS = ("short", "right", "over")
RISKY = re.compile(r"note:\s*(?=[=+\-@])", re.IGNORECASE)
LONGEST_TEXT = 300


def card_of(area: AreaCut, locale: Locale) -> dict[str, Any]:
    """Return what the card of an area shows: what it may stand at, and what to cut it to.

    Heights are rounded to the steps in which they are typed; ``range`` holds 8 times in
    10, beyond ``odd`` a height is marked.
    """
    step = STEP_CM if area.unit == "cm" else STEP_COVER
    low, middle, high = area.height_now_cm.p10, area.height_now_cm.p50, area.height_now_cm.p90
    error = step + 2 * ERROR_SHARE * middle
    leave, unit = area.action == "leave", "cm" if area.unit == "cm" else "%"
    ends = (decimal(locale, round(end, 1)) for end in (low, high))
    return {
        "id": area.area_id,
        "label": named(area.label, area.area_id),
        "plant": named(area.scientific_name, area.species_id),
        "unit": unit,
        "range": f"{'–'.join(ends)} {unit}",
        "step": step,
        "expected": _stepped(middle, step),
        "odd": [
            round(middle - ODD * (middle - low) - error, 1),
            round(middle + ODD * (high - middle) + error, 1),
        ],
        "cut": None if leave else _stepped(area.cut_cm, step),
        "logged": area.logged_today,
    }


def _stepped(value: float, step: float) -> float:
    return max(step, round(value / step) * step)


def visit_of(
    book: Book, sheet: CutSheet, locale: Locale, due: str = "", *, soon: bool = True
) -> dict[str, Any]:
    """Return all that a visit to a tank needs at the tank, as plain data."""
    return {
        "tank": sheet.tank_id,
        "name": named(sheet.tank_id),
        "client": ", ".join(named(part) for part in (sheet.client, sheet.site) if part),
        "due": due,
        "soon": soon,
        "on": sheet.on.isoformat(),
        "minutes": sheet.whole_minutes[2],
        "photo": _photo_of(book, sheet, locale),
        "areas": [card_of(area, locale) for area in sheet.areas],
    }


def _photo_of(book: Book, sheet: CutSheet, locale: Locale) -> dict[str, Any] | None:
    """Return what reading heights off a photo needs, or why it cannot be done.

    A tank whose inner sizes nobody wrote down is passed over without a word.
    """
    expected = {
        area.area_id: (named(area.label, area.area_id), area.height_now_cm.p50)
        for area in sheet.areas
    }
    try:
        return photo_task(book, sheet.tank_id, expected)
    except UsageError:
        curved = is_curved(book, sheet.tank_id)
        return {"why": locale.say("desk_photo_curved")} if curved else None


def known_visit(known: Known, standing: TankStanding, locale: Locale) -> dict[str, Any]:
    """Return what a visit today needs, with when it is due and why."""
    due, soon = due_why(locale, standing, known.on), standing.due_on
    sheet, is_soon = known.sheet(standing), soon is not None and soon <= known.on
    return visit_of(known.book, sheet, locale, due, soon=is_soon)


def day_file(book: Book, sheets: Sequence[CutSheet]) -> bytes:
    """Return visits as the page of phones in one file, with the day's data inside."""
    locale, practice = open_locale(book.practice.locale), book.practice.name
    day = sheets[0].on.isoformat()
    return phone_page(
        book.practice.locale,
        {
            "practice": practice,
            "until": day,
            "mark": hashlib.sha256(f"{practice} {day}".encode()).hexdigest()[:12],
            "visits": [visit_of(book, sheet, locale) for sheet in sheets],
        },
    )


@dataclass(frozen=True, slots=True)
class Fields:
    """The fields of a visit as they came: text by name, ``b0`` the height before at card 0."""

    text: Mapping[str, str]

    def get(self, name: str) -> str:
        """Return a field's text without blanks around it, "" for none."""
        return self.text.get(name, "").strip()[:LONGEST_TEXT]

    def items(self, cards: list[dict[str, Any]], doses: str) -> list[str]:
        """Return the visit as ``log`` reads it; what was dosed goes before the remark."""
        items = []
        for n, card in enumerate(cards):
            before, after, look, done = (self.get(f"{name}{n}") for name in "bald")
            parts = area_parts(card, before, after, look, done)
            if note := self.get(f"n{n}"):
                parts.append(formula_free(f"note:{note}"))
            if parts:
                items.append(f"{card['id']}={'+'.join(parts)}")
        if weight := self.get("grams"):
            items.append(f"bucket={weight.removesuffix('g').strip()}g")
        if minutes := self.get("minutes"):
            items.append(f"{minutes.removesuffix('min').strip()}min")
        if at_tank := self.get("visit_min"):
            items.append(f"visit={at_tank.removesuffix('min').strip()}min")
        if water := self.get("water"):
            items.append(f"water={water.removesuffix('%').strip()}%")
        dosed = [f"{doses}: {text}"] if (text := self.get("doses")) else []
        if note := "; ".join([*dosed, *filter(None, [self.get("note")])]):
            items.append(formula_free(f"note:{note}"))
        return items


def area_parts(card: Mapping[str, Any], before: str, after: str, look: str, done: str) -> list[str]:
    """Return what was typed and tapped at one area, in the grammar of ``log``.

    "usual" is cut as the card says, and looked right where nothing else is said; "left" is left
    alone.
    """
    if done == "usual" and not look and not before:
        look = "right"
    if done == "usual" and not after:
        after = "" if card["cut"] is None else f"{card['cut']:g}"
        done = "left" if card["cut"] is None else done
    parts = [f"{before}/{after}" if after else before] if before or after else []
    parts += [look] if look in LOOKS else []
    if done == "left" and not after and (look or not before):
        parts.append("-0" + ("cm" if card["unit"] == "cm" else "%"))
    return parts


def formula_free(item: str) -> str:
    """Return an item on one line whose remark no spreadsheet takes for a formula."""
    line = " ".join(item.split()) if not item.isprintable() else item
    return RISKY.sub("note:'", line, count=1)


def rows_in_words(locale: Locale, visit: Understood) -> list[dict[str, Any]]:
    """Return the rows of a visit as they were understood, each with what is doubted of it."""
    asked: dict[str | None, list[str]] = {}
    for doubt in visit.doubts:
        asked.setdefault(doubt.area_id, []).append(_doubt(locale, doubt))
    rows = []
    for row in visit.rows:
        told, place = row.amounts, row.place
        unit = "cm" if place is None else place.unit
        parts = [
            locale.say(f"desk_said_{column}", cm=f"{decimal(locale, float(told[column]))} {unit}")
            for column in ("before_cm", "after_cm")
            if column in told
        ]
        if told.get("removed_cm") == 0.0:
            parts.append(locale.say("desk_left"))
        parts += [locale.say(f"desk_{told['look']}")] if "look" in told else []
        for column, mark in (("removed_g", "g"), ("minutes", "min")):
            if column in told:
                parts.append(f"{decimal(locale, float(told[column]))} {mark}")
        if "visit_min" in told:
            minutes = decimal(locale, float(told["visit_min"]))
            parts.append(f"{locale.say('desk_at_tank')} {minutes} min")
        if "water_share" in told:
            parts.append(f"{locale.say('desk_water')} {locale.share(float(told['water_share']))}")
        parts += [named(str(told["note"]))] if "note" in told else []
        key = None if place is None else place.area_id
        name = locale.say("desk_whole") if place is None else named(place.label, place.area_id)
        rows.append({"name": name, "said": ", ".join(parts), "doubts": asked.get(key, [])})
    return rows


def _doubt(locale: Locale, doubt: Doubt) -> str:
    """Return a doubt as ``log`` says it; in numbers where its sentences are not translated."""
    if locale.language == "en":
        return doubt_words(doubt)
    if doubt.against in ("cuts", "table"):
        return locale.say(
            "desk_never_below", lowest=f"{decimal(locale, doubt.lowest)} {doubt.unit}"
        )
    low, _, high = doubt.expected if doubt.unit == "g" else doubt.stands
    if doubt.guessed:
        low, high = doubt.bounds
    ends = "–".join(decimal(locale, round(end, 1)) for end in (low, high))
    return locale.say("desk_is_expected", range=f"{ends} {doubt.unit}")


def decimal(locale: Locale, value: float | None) -> str:
    """Return a number as it is typed at the reader's place, "" for none."""
    if value is None:
        return ""
    return locale.number(value, 0 if value == round(value) else 1)


def words_of(error: Exception) -> str:
    """Return an error with all that was found."""
    found = f"{format_findings(error.findings)}\n" if isinstance(error, BookProblems) else ""
    return f"{found}{error}"


def book_mark(desk: Desk) -> str:
    """Return what tells one book from another without naming its folder."""
    return hashlib.sha256(str(desk.folder.resolve()).encode()).hexdigest()


def write_visit(desk: Desk, line: Line) -> tuple[State, str]:
    """Write a visit through the book's lock, journal and checks, once for its number.

    Say as well which columns the log has got for it.
    """
    if (state := numbered(desk.folder, line)) != "new":
        return state, ""
    tank_id = str(line.tank_id)
    book = read_book(desk.folder, today=desk.today())
    rows = visit_rows(book, tank_id, line.day, line.items)
    cells = log_rows(rows, tank_id, line.day, line.by)
    summary = f"{tank_id} on {line.day}, {count_of(len(rows), 'row')}"
    with desk.writing:
        state, added = log_line(desk.folder, line, cells, summary, today=desk.today())
    desk.look()  # so that it is fitted anew
    return state, columns_words(open_locale(book.practice.locale), added)


def columns_words(locale: Locale, added: Addition | None) -> str:
    """Say which columns the log gets with what is added to it, "" for none."""
    if added is None or not added.columns:
        return ""
    return locale.say("desk_gets_columns", columns=", ".join(added.columns))
