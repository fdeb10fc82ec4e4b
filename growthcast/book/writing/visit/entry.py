"""A visit in one short line: its grammar, read into rows of the log.

::

    visit  = item { " " item }
    item   = [ name "=" ] part { "+" part }     no name, "all" or "tank": the whole tank
    name   = an area's id or its label           (the same name again adds to its row)
    part   = before "/" after      24/12         stood at 24 cm, cut to 12 cm
           | before [ "/" ]        24            measured, not cut
           | "/" after             /12           cut to 12 cm, height before not measured
           | "-" length            -3            3 cm taken off
           | weight                180g, 0.2kg   drained trimmings
           | time                  35min, 1h10   minutes of trimming
           | [ "look:" ] look      look:right    short, right or over: by eye, before any cut
           | "note:" text          note:algae    the rest of the item

Heights are in cm, or in % cover for floating plants; ``cm``, ``mm`` and ``%`` may be written.
A decimal comma is read as a point. Three digits after a single mark (1,234 or 1.234) are refused,
since they may be thousands.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field

from growthcast.book.words import did_you_mean, names_that_hold, plain, shown
from growthcast.errors import UsageError

__all__ = ["GRAMMAR", "WHOLE_TANK", "Place", "VisitRow", "looks_like_item", "parse_visit"]

WHOLE_TANK = ("all", "tank")
LOOKS = ("short", "right", "over")

GRAMMAR = (
    "What to write: stems=24/12 stood at 24 cm, cut to 12; stems=24 measured, not cut; "
    "stems=/12 cut to 12; crypt=-3cm length taken off; stems=180g drained weight; "
    "moss=look:right by eye (short, right, over); stems=15min minutes for it; "
    "stems=note:text; several with + as in stems=24/12+over+90g. "
    "Without a name, or with all=, the whole tank's: 180g 35min. "
    "Floating plants in % cover: salvinia=80/30."
)

_NUMBER = r"(?:[0-9]+(?:[.,][0-9]*)?|[.,][0-9]+)"
_UNIT = r"(?:[^\W\d_]+|%|\"|')"
_HEIGHTS = re.compile(rf"({_NUMBER})?\s*({_UNIT})?\s*/\s*({_NUMBER})?\s*({_UNIT})?")
_AMOUNT = re.compile(rf"([-−–])?\s*({_NUMBER})\s*({_UNIT})?")
_HOURS = re.compile(rf"({_NUMBER})\s*h(?:ours?)?\s*(?:([0-9]+)\s*(?:min|m)?)?", re.IGNORECASE)
_LENGTHS = {"": 1.0, "cm": 1.0, "mm": 0.1, "%": 1.0}
_WEIGHTS = {"g": 1.0, "gr": 1.0, "gram": 1.0, "grams": 1.0, "kg": 1000.0}
_TIMES = {"min": 1.0, "mins": 1.0, "minutes": 1.0, "minute": 1.0}
_TITLES = {
    "before_cm": "height before the cut",
    "after_cm": "height after the cut",
    "removed_cm": "length taken off",
    "removed_g": "weight",
    "look": "look",
    "minutes": "time",
    "note": "note",
}

Amount = float | str


@dataclass(frozen=True, slots=True)
class Place:
    """A planted area as a line of a visit may name it; its ground is in cover or in height."""

    area_id: str
    label: str
    is_cover: bool
    cut_cm: float | None = None


@dataclass(frozen=True, slots=True)
class VisitRow:
    """One row of the log: an area, or the whole tank (``None``), and its amounts by column."""

    place: Place | None
    amounts: Mapping[str, Amount] = field(default_factory=dict)


def parse_visit(
    items: Sequence[str], places: Sequence[Place], elsewhere: Mapping[str, str]
) -> tuple[VisitRow, ...]:
    """Return the rows a line of a visit means, in the order in which they were named.

    ``places`` are the tank's areas; ``elsewhere`` maps the other areas' ids to their tanks.
    ``UsageError`` with the item and what to write for anything not understood.
    """
    rows: dict[str | None, dict[str, Amount]] = {}
    known = {place.area_id: place for place in places}
    for item in items:
        name, value = _split(item, known)
        place = None if name is None else _place(name, item, known, elsewhere)
        amounts = rows.setdefault(None if place is None else place.area_id, {})
        for part in _parts(value):
            for column, amount in _part(part, place, item).items():
                if column in amounts:
                    raise UsageError(f"{shown(item)}: the {_TITLES[column]} is given twice")
                amounts[column] = amount
    return tuple(
        VisitRow(None if name is None else known[name], amounts) for name, amounts in rows.items()
    )


def looks_like_item(text: str) -> bool:
    """Whether an argument is a part of a visit rather than the folder of a book."""
    return "=" in text or any(p.fullmatch(text) for p in (_AMOUNT, _HOURS)) or _is_note(text)


def _is_note(text: str) -> bool:
    return text.casefold().startswith("note:")


def _split(item: str, known: Mapping[str, Place]) -> tuple[str | None, str]:
    """Return the name and the value of an item; no name stands for the whole tank."""
    cuts = [place for place, char in enumerate(item) if char == "="]
    if not cuts or _is_note(item):
        return None, item
    cut = next((c for c in cuts if item[:c].strip() in known), cuts[0])
    name, value = item[:cut].strip(), item[cut + 1 :].strip()
    if not value:
        raise UsageError(f"{shown(item)} has nothing after the =; {_help(name)}")
    if name not in known and name.casefold() in WHOLE_TANK:
        return None, value
    return name, value


def _help(name: str) -> str:
    return f"write as {name}=24/12 or {name}=look:right, or leave it out"


def _place(name: str, item: str, known: Mapping[str, Place], elsewhere: Mapping[str, str]) -> Place:
    """Return the area a person named: by id, or by label or case where that is one area only."""
    if name in known:
        return known[name]
    folded = name.casefold()
    alike = [p for p in known.values() if folded in {p.area_id.casefold(), p.label.casefold()}]
    if len(alike) == 1:
        return alike[0]
    if len(alike) > 1:
        raise UsageError(
            f"{shown(item)}: {len(alike)} areas are labelled {shown(name)}; write one of the ids "
            + ", ".join(p.area_id for p in alike)
        )
    if name in elsewhere:
        raise UsageError(
            f"{shown(item)}: area {shown(name)} is in tank {elsewhere[name]}; log that tank in a "
            "line of its own"
        )
    spellings = {p.area_id: (p.area_id, p.label) for p in known.values()}
    held = names_that_hold(name, spellings)
    ids = ", ".join(list(known)[:12]) or "none"
    otherwise = f"the tank's areas are {ids}"
    hint = (
        "did you mean " + " or ".join(shown(one) for one in held[:3]) + "?"
        if held
        else did_you_mean(name, [*known, *(p.label for p in known.values() if p.label)], otherwise)
    )
    raise UsageError(f"{shown(item)}: the tank has no area {shown(name)}; {hint}")


def _parts(value: str) -> Iterable[str]:
    """Yield the parts of a value; a note takes everything after it."""
    while value:
        if _is_note(value):
            yield value
            return
        part, _, value = value.partition("+")
        yield part.strip()


def _part(part: str, place: Place | None, item: str) -> dict[str, Amount]:
    word = part.casefold().removeprefix("look:").strip()
    if word in LOOKS:
        _needs_area(place, item, "a look")
        return {"look": word}
    if part.casefold().startswith("look:"):
        hint = did_you_mean(word, LOOKS, "write short, right or over")
        raise UsageError(f"{shown(item)}: look {shown(word)} is not one; {hint}")
    if _is_note(part):
        return {"note": part[len("note:") :].strip()}
    if match := _HEIGHTS.fullmatch(part):
        return _heights(match, place, item)
    if match := _HOURS.fullmatch(part):
        return {"minutes": 60 * _number(match[1], item) + float(match[2] or 0)}
    if match := _AMOUNT.fullmatch(part):
        return _amount(match, place, item)
    raise UsageError(f"{shown(item)}: {shown(part)} is not understood. {GRAMMAR}")


def _heights(match: re.Match[str], place: Place | None, item: str) -> dict[str, Amount]:
    _needs_area(place, item, "heights")
    before, unit_before, after, unit_after = match.groups()
    amounts: dict[str, Amount] = {}
    for column, number, unit in (
        ("before_cm", before, unit_before or unit_after),
        ("after_cm", after, unit_after or unit_before),
    ):
        if number is not None:
            amounts[column] = _length(number, unit or "", place, item)
    if not amounts or (before is None and unit_before) or (after is None and unit_after):
        raise UsageError(f"{shown(item)}: write the heights as 24/12, 24 or /12")
    return amounts


def _amount(match: re.Match[str], place: Place | None, item: str) -> dict[str, Amount]:
    minus, number, unit = match[1], match[2], (match[3] or "").casefold()
    if unit in _WEIGHTS:
        return {"removed_g": _round(_number(number, item) * _WEIGHTS[unit])}
    if unit in _TIMES and not minus:
        return {"minutes": _number(number, item)}
    if unit and unit not in _LENGTHS:
        raise UsageError(
            f"{shown(item)}: {shown(match[3])} is not a unit known here; heights are in cm (or mm, "
            "or % cover of floating plants), weights in g or kg, time in min or h"
        )
    if place is None:
        what = f"{number} {unit}".strip()
        raise UsageError(
            f"{shown(item)}: {shown(what)} says nothing of a whole tank; write 180g or 35min, or "
            "name the area, as in stems=24/12"
        )
    return {"removed_cm" if minus else "before_cm": _length(number, unit, place, item)}


def _length(number: str, unit: str, place: Place | None, item: str) -> float:
    folded = unit.casefold()
    if folded not in _LENGTHS:
        raise UsageError(
            f"{shown(item)}: {shown(unit)} is not a unit of height known here; write cm or mm"
        )
    cover = place is not None and place.is_cover
    if folded and cover != (folded == "%"):
        named = "" if place is None else place.area_id
        what = "per cent of the surface covered" if cover else "centimetres"
        raise UsageError(f"{shown(item)}: {named} is measured in {what}, not in {unit}")
    return _round(_number(number, item) * _LENGTHS[folded])


def _number(text: str, item: str) -> float:
    if re.fullmatch(r"[1-9][0-9]{0,2}[.,][0-9]{3}", text):
        whole = re.sub("[.,]", "", text)
        part = re.sub(",", ".", text)
        raise UsageError(
            f"{shown(item)}: {text} may be {whole} or {float(part):.2f}; write whichever is meant"
        )
    return float(text.replace(",", "."))


def _round(value: float) -> float:
    return float(plain(value))


def _needs_area(place: Place | None, item: str, what: str) -> None:
    if place is None:
        raise UsageError(
            f"{shown(item)}: {what} without an area; write the area's name before the ="
        )
