"""A visit as a form and on a phone: its cards, its fields in the grammar of log, and its page."""

from __future__ import annotations

import base64
import hashlib
import json
import re
from collections.abc import Mapping, Sequence
from importlib.resources import files
from typing import Any

from markupsafe import Markup

from growthcast.book.book import Book
from growthcast.book.read import read_book
from growthcast.book.writing.append import Change
from growthcast.book.writing.visit.entry import log_rows, visit_rows
from growthcast.book.writing.visit.lines import Line, State, log_line, numbered
from growthcast.book.writing.visit.places import Place
from growthcast.brief.html import templates
from growthcast.desk.memory import Desk, Known
from growthcast.errors import UsageError
from growthcast.say.locale import Locale, open_locale
from growthcast.say.log import questions, rows_in_words
from growthcast.say.overview import due_why
from growthcast.say.words import STEP_CM, STEP_COVER, hand_cut, named, sign
from growthcast.service.doubts.judge import Understood
from growthcast.service.pages.overview import TankStanding
from growthcast.service.visit.cuts import AreaCut, CutSheet
from growthcast.service.visit.photo import is_curved, photo_task

SCRIPTS = ("seal.js", "taps.js", "photo.js", "phone.js")


def rendered(template: str, locale: Locale, /, **given: Any) -> str:
    """Return a template with what it shows, in the words of a language."""

    def said(key: str, **values: Any) -> str:
        return locale.say(f"desk_{key}", **values)

    ours = templates("growthcast.desk").get_template(template)
    return str(ours.render(t=said, lang=locale.language, **given))


def static(name: str) -> bytes:
    """Return one of our own files."""
    return (files("growthcast.desk") / "static" / name).read_bytes()


SAID_BY_NAME = (
    *("photo_tank", "photo_lens", "photo_tiny"),
    *(f"state_{state}" for state in ("here", "book", "other", "refused")),
)
"""Words of the page whose keys its script puts together."""
STATIC = ("desk.css", *SCRIPTS)
"""Files that are served as they are, and nothing else: no name from a request becomes a path."""


def phone_page(tag: str, day: dict[str, Any] | None = None) -> bytes:
    """Return the page in the language of a place; with a day's visits it is one file by itself."""
    comma = "," in open_locale(tag).number(0.5, 1)
    more = {"names": SCRIPTS, "noop": lambda value: value, "alone": day is not None}
    return _page("phone.html", tag, SCRIPTS, {"comma": comma, "day": day}, more)


def tapping_page(tag: str, name: str, picture: str, given: dict[str, Any]) -> bytes:
    """Return the page for tapping on one photo, a file by itself; the picture is a data URL."""
    more = {"name": name, "picture": Markup(picture)}
    return _page("measure.html", tag, ("photo.js", "measure.js"), given, more)


def _page(
    template: str, tag: str, names: Sequence[str], given: dict[str, Any], more: dict[str, Any]
) -> bytes:
    """Return a page with the words that its scripts say, and its scripts and style by hash."""
    locale = open_locale(tag)
    style = static("desk.css").decode()
    scripts = [static(name).decode() for name in names]
    said = sorted({*re.findall(r'"(\w+)"', "".join(scripts)), *SAID_BY_NAME})
    words = {key: text for key in said if (text := locale.text.get(f"desk_{key}")) is not None}
    hashes = " ".join(
        f"'sha256-{base64.b64encode(hashlib.sha256(one.encode()).digest()).decode()}'"
        for one in (*scripts, style)
    )
    given = {"given": _data({"words": words, **given}), "hashes": hashes, **more}
    marked = {"scripts": [*map(Markup, scripts)], "style": Markup(style)}
    return rendered(template, locale, **given, **marked).encode()


def _data(value: object) -> Markup:
    """Return data as JSON that cannot end the element it stands in."""
    text = json.dumps(value, ensure_ascii=True, allow_nan=False)
    return Markup(text.replace("<", "\\u003c").replace("&", "\\u0026"))


ERROR_SHARE = 0.05
ODD = 2.2
"""How far beyond its 80 % range a height is marked: 3 of 1000 readings lie farther out."""
LOOKS = ("short", "right", "over")
RISKY = re.compile(r"note:\s*(?=[=+\-@])", re.IGNORECASE)
LONGEST_TEXT = 300
WHOLE = (
    *(("grams", "bucket=", "g"), ("minutes", "", "min")),
    *(("visit_min", "visit=", "min"), ("water", "water=", "%")),
)
"""Fields of the whole tank, and what stands around them in the line of a visit."""


def card_of(area: AreaCut, locale: Locale) -> dict[str, Any]:
    """Return what the card of an area shows: what it may stand at, and what to cut it to.

    Heights are rounded to the steps in which they are typed, cuts as on the sheet of ``cuts``;
    ``range`` holds 8 times in 10, beyond ``odd`` a height is marked.
    """
    step = STEP_CM if area.unit == "cm" else STEP_COVER
    low, middle, high = area.height_now_cm.p10, area.height_now_cm.p50, area.height_now_cm.p90
    error = step + 2 * ERROR_SHARE * middle
    beyond = (low, -error), (high, error)
    leave, unit = area.action == "leave", sign(area.unit)
    ends = (decimal(locale, round(end, 1)) for end in (low, high))
    return {
        "id": area.area_id,
        "label": named(area.label, area.area_id),
        "plant": named(area.scientific_name, area.species_id),
        "unit": unit,
        "range": f"{'–'.join(ends)} {unit}",
        "step": step,
        "expected": max(step, round(middle / step) * step),
        "odd": [round(middle + ODD * (end - middle) + by, 1) for end, by in beyond],
        "cut": None if leave else hand_cut(area.cut_cm, area.unit, area.least_cut_cm),
        "logged": area.logged_today,
    }


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
    names = {area.area_id: named(area.label, area.area_id) for area in sheet.areas}
    expected = {a.area_id: (names[a.area_id], a.height_now_cm.p50) for a in sheet.areas}
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
    tag, practice, day = book.practice.locale, book.practice.name, sheets[0].on.isoformat()
    mark = hashlib.sha256(f"{practice} {day}".encode()).hexdigest()[:12]
    visits = [visit_of(book, sheet, open_locale(tag)) for sheet in sheets]
    return phone_page(tag, {"practice": practice, "until": day, "mark": mark, "visits": visits})


def items_of(fields: Mapping[str, str], cards: list[dict[str, Any]], doses: str) -> list[str]:
    """Return the fields of a visit as ``log`` reads it; ``b0`` is the height before at card 0.

    What was dosed goes before the remark.
    """

    def typed(name: str, unit: str = "") -> str:
        return fields.get(name, "").strip()[:LONGEST_TEXT].removesuffix(unit).strip()

    items = []
    for n, card in enumerate(cards):
        parts = area_parts(card, *(typed(f"{name}{n}") for name in "bald"))
        if note := typed(f"n{n}"):
            parts.append(formula_free(f"note:{note}"))
        if parts:
            items.append(f"{card['id']}={'+'.join(parts)}")
    whole = ((before, typed(name, unit), unit) for name, before, unit in WHOLE)
    items += ["".join(parts) for parts in whole if parts[1]]
    dosed = [f"{doses}: {text}"] if (text := typed("doses")) else []
    if note := "; ".join([*dosed, *filter(None, [typed("note")])]):
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


def rows_shown(locale: Locale, visit: Understood) -> list[tuple[Place | None, str, list[str]]]:
    """Return the rows of a visit as they were understood, each with what is doubted of it."""
    asked = questions(visit.doubts, locale)
    said = rows_in_words(visit.rows, visit.places, visit.grams, locale)
    return [
        (row.place, words, asked.get(row.place.area_id if row.place else None, []))
        for row, words in zip(visit.rows, said, strict=True)
    ]


def decimal(locale: Locale, value: float | None) -> str:
    """Return a number as it is typed at the reader's place, "" for none."""
    if value is None:
        return ""
    return locale.number(value, 0 if value == round(value) else 1)


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
    with desk.writing:
        state, added = log_line(desk.folder, line, cells, today=desk.today())
    desk.look()  # so that it is fitted anew
    return state, columns_words(open_locale(book.practice.locale), added)


def columns_words(locale: Locale, added: Change | None) -> str:
    """Say which columns the log gets with what is added to it, "" for none."""
    if added is None or not added.columns:
        return ""
    return locale.say("desk_gets_columns", columns=", ".join(added.columns))
