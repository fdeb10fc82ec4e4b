"""A visit in one short line: its grammar, read into rows of the log.

::

    visit  = item { " " item }
    item   = [ name "=" ] part { "+" part }     without a name: the whole tank
    name   = an area's id or its label           (the same name again adds to its row)
           | the beginning of one area's id      without what the tank's ids have in common
           | "all", "tank"                       a look: of every area; else the whole tank
           | "rest"                              a look: of the areas not named; a weight: what
                                                 the areas without amounts of their own gave
           | "bucket"                            a weight: everything that came out of the tank
           | "visit"                             a time: at the tank in all
           | "water"                             a share in %: of the water, changed
    part   = before "/" after      24/12         stood at 24 cm, cut to 12 cm
           | before [ "/" ]        24            measured, not cut
           | "/" after             /12           cut to 12 cm, height before not measured
           | "-" length            -3            3 cm taken off
           | "photo:" before ["~" error]         photo:17.2~1.3 stood at 17.2 ± 1.3 cm, by a photo
           | weight                180g, 0.2kg   drained trimmings
           | time                  35min, 1h10   minutes of trimming
           | [ "look:" ] look      look:right    short, right, over (s, r, o): by eye, uncut
           | "replanted"           replanted     the cut tops, in place of the old stems
           | "note:" text          note:algae    the rest of the item

An area whose id is one of these words keeps it; in capitals, as in REST=, the word is meant then.
Heights are in cm, or in % cover for floating plants; ``cm``, ``mm`` and ``%`` may be written.
A decimal comma is read as a point. Three digits after a single mark (1,234 or 1.234) are refused,
since they may be thousands.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import field
from datetime import date
from typing import Any

from growthcast.book.book import Book, WholeTank
from growthcast.book.cells.numbers import typed_number
from growthcast.book.findings import filled, refusal
from growthcast.book.supposed import Cell
from growthcast.book.words import did_you_mean, plain, shown
from growthcast.book.writing.visit import places
from growthcast.book.writing.visit.places import Place
from growthcast.errors import UsageError
from growthcast.nouns import dataclass

_EXAMPLES, _TITLES = places.TOLD["examples"], places.TOLD["titles"]
LOOKS = ("short", "right", "over")
LOOK_WORDS = {look: look for look in LOOKS} | {look[0]: look for look in LOOKS}
"""Looks, and the letters that stand for them."""

_NUMBER = r"(?:[0-9]+(?:[.,][0-9]*)?|[.,][0-9]+)"
_UNIT = r"(?:[^\W\d_]+|%|\"|')"
_HOURS = rf"{_NUMBER}\s*h(?:ours?)?\s*(?:[0-9]+\s*(?:min|m)?)?"
_ALONE = rf"(?i)[-−–]?\s*{_NUMBER}\s*{_UNIT}?|{_HOURS}"
_LENGTHS = {"": 1.0, "cm": 1.0, "mm": 0.1, "%": 1.0}
_WHOSE = {"rest": "rest", "bucket": "all"}
"""Whose grams a weight is under these words."""

Amount = float | str


_MEASURED = ("before_cm", "after_cm", "removed_cm", "removed_g")


@dataclass(frozen=True, slots=True)
class VisitRow:
    """One row of the log: an area, or the whole tank (``None``), and its amounts by column."""

    place: Place | None
    amounts: Mapping[str, Amount] = field(default_factory=dict)

    @property
    def measured(self) -> bool:
        """Whether it tells a height or what came off; a look alone does not."""
        return not self.amounts.keys().isdisjoint(_MEASURED)

    @property
    def whose_grams(self) -> WholeTank | None:
        """Whose grams a weight of the whole tank is said to be."""
        said = self.amounts.get("grams_of")
        return "all" if said == "all" else "rest" if said == "rest" else None


def parse_visit(
    items: Sequence[str], areas: Sequence[Place], homes: Mapping[str, str]
) -> tuple[VisitRow, ...]:
    """Return the rows a line of a visit means, in the order in which they were named.

    ``areas`` are the tank's; ``homes`` maps the ids of all areas to their tanks.
    ``UsageError`` with the item and what to write for anything not understood.
    """
    rows: dict[str | None, dict[str, Amount]] = {}
    known = {place.area_id: place for place in areas}
    spread: list[tuple[str, str, str]] = []
    for item in items:
        name, word, value = _split(item, known)
        if not value:
            raise UsageError(f"{shown(item)} says nothing. {places.GRAMMAR}")
        with _naming(item):
            place = None if name is None else places.place_named(name, known, homes)
            amounts: dict[str, Amount] = {}
            for part in _parts(value):
                _add(amounts, amounts_of_part(part, place, word))
            if place is None and "look" in amounts:
                spread.append((word, str(amounts.pop("look")), item))
            if amounts:
                _add(rows.setdefault(None if place is None else place.area_id, {}), amounts)
    named = {*rows}
    for word, look, item in spread:
        with _naming(item):
            for place in _looked_at(word, areas, named):
                row = rows.setdefault(place.area_id, {})
                if row.get("look", look) != look:
                    said = {"area": place.area_id, "look": row["look"]}
                    raise UsageError(refusal("looks-otherwise", **said))
                row["look"] = look
    return tuple(
        VisitRow(None if name is None else known[name], amounts) for name, amounts in rows.items()
    )


@contextmanager
def _naming(item: str) -> Iterator[None]:
    """Name the item before what is said of it."""
    try:
        yield
    except UsageError as error:
        raise UsageError(f"{shown(item)}: {error}") from None


def _add(row: dict[str, Amount], amounts: Mapping[str, Amount]) -> None:
    for column, amount in amounts.items():
        if column in row:
            raise UsageError(f"the {_TITLES[column]} is given twice")
        row[column] = amount


def _looked_at(word: str, areas: Sequence[Place], named: set[str | None]) -> list[Place]:
    """Return the areas that ``all=`` or ``rest=`` gives a look."""
    living = [place for place in areas if place.alive]
    if word == "rest":
        living = [place for place in living if place.area_id not in named and not place.logged]
    elif written := [place.area_id for place in living if place.logged]:
        raise UsageError(refusal("looked-at-already", areas=", ".join(written)))
    if not living:
        raise UsageError("no area of the tank is left for this look")
    return living


def _split(item: str, known: Mapping[str, Place]) -> tuple[str | None, str, str]:
    """Return an area's name, or else ``None`` and the word in its place; and the value."""
    cuts = [place for place, char in enumerate(item) if char == "="]
    if not cuts or places.is_note(item):
        return None, "", item
    cut = next((c for c in cuts if item[:c].strip() in known), cuts[0])
    name, value = item[:cut].strip(), item[cut + 1 :].strip()
    word = name.casefold() if name not in known and name.casefold() in places.WORDS else ""
    if not value:
        examples = _EXAMPLES.get(word, ("24/12", "right"))
        said = " or ".join(f"{name}={example}" for example in examples)
        raise UsageError(f"{shown(item)} has nothing after the =; write as {said}, or leave it out")
    return None if word else name, word, value


def _parts(value: str) -> Iterator[str]:
    """Yield the parts of a value; a note takes everything after it."""
    while value:
        if places.is_note(value):
            yield value
            return
        part, _, value = value.partition("+")
        yield part.strip()


def looks_like_item(text: str) -> bool:
    """Whether an argument is a part of a visit rather than the folder of a book."""
    look = text.casefold().removeprefix("look:").strip()
    return "=" in text or look in LOOKS or places.is_note(text) or bool(re.fullmatch(_ALONE, text))


def amounts_of_part(part: str, place: Place | None, word: str) -> dict[str, Amount]:
    """Return what a part says of an area, or of the whole tank under a word of ``WORDS`` or none.

    ``UsageError`` with what to write where it is not understood.
    """
    rule, typed = _form(part, place, word)
    if refused := rule.get("refused"):
        hint = did_you_mean(typed.get("typed", part), LOOKS, rule.get("otherwise", places.GRAMMAR))
        meant = LOOK_WORDS.get(typed.get("look", "").casefold())
        bare = " ".join(typed[name].casefold() for name in ("number", "unit") if name in typed)
        said = {"part": part, "bare": bare, "word": word, "hint": hint, "meant": meant}
        raise UsageError(filled(refused, said | typed))
    amounts: dict[str, Amount] = {}
    units = [text for name, text in typed.items() if name.endswith("_unit")]
    for column in (name for name in typed if not name.endswith("_unit")):
        text = typed[column]
        if column in ("before_cm", "after_cm", "removed_cm") and place is not None:
            amounts[column] = _length(text, typed.get(f"{column}_unit", "".join(units)), place)
        elif column in ("look", "note"):
            amounts[column] = LOOK_WORDS[text.casefold()] if column == "look" else text
        else:
            amounts[column] = float(plain(rule.get("scale", 1.0) * typed_number(text)))
    amounts |= rule.get("gives", {})
    if "removed_g" in amounts and word in _WHOSE:
        amounts["grams_of"] = _WHOSE[word]
    if "hours" in amounts:
        column = "visit_min" if word == "visit" else "minutes"
        amounts[column] = 60.0 * float(amounts.pop("hours")) + float(amounts.get(column, 0.0))
    return amounts


def _form(part: str, place: Place | None, word: str) -> tuple[Mapping[str, Any], dict[str, str]]:
    """Return the form that a part has, and what is typed in its groups."""
    kinds = {None, "area" if place else "tank", "height" if place and not place.is_cover else None}
    for rule in places.TOLD["part"]:
        if word in rule.get("under", [word]) and rule.get("of") in kinds:
            form = rule.get("text", ".*").replace("NUMBER", _NUMBER).replace("UNIT", _UNIT)
            if fits := re.fullmatch(form, part, re.IGNORECASE | re.DOTALL):
                groups = fits.groupdict().items()
                return rule, {name: text for name, text in groups if text is not None}
    raise AssertionError("the last form takes any part")


def _length(number: str, unit: str, place: Place) -> float:
    folded = unit.casefold()
    if folded not in _LENGTHS:
        raise UsageError(f"{shown(unit)} is not a unit of height known here; write cm or mm")
    if folded and place.is_cover != (folded == "%"):
        what = "per cent of the surface covered" if place.is_cover else "centimetres"
        raise UsageError(f"{place.area_id} is measured in {what}, not in {unit}")
    return float(plain(typed_number(number) * _LENGTHS[folded]))


def visit_rows(book: Book, tank_id: str, day: date, items: Sequence[str]) -> tuple[VisitRow, ...]:
    """Return the rows that a line of a visit to a tank means."""
    homes = dict(zip(book.areas.text("area_id"), book.areas.text("tank_id"), strict=True))
    return parse_visit(items, places.places_of(book, tank_id, day), homes)


def log_rows(
    rows: Sequence[VisitRow], tank_id: str, day: date, by: str = ""
) -> list[Mapping[str, Cell]]:
    """Return a visit as rows of ``trims.csv``; ``by`` is who logged it."""
    said: dict[str, Cell] = {"date": day, "tank_id": tank_id}
    who = {"by": by} if by else {}
    areas = [row.place.area_id if row.place else None for row in rows]
    named = zip(areas, rows, strict=True)
    return [{**said, "area_id": area, **row.amounts, **who} for area, row in named]
