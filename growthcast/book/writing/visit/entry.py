"""A visit in one short line: its grammar, read into rows of the log.

::

    visit  = item { " " item }
    item   = [ name "=" ] part { "+" part }     without a name: the whole tank
    name   = an area's id or its label           (the same name again adds to its row)
           | "all", "tank"                       a look: of every area; else the whole tank
           | "rest"                              a look: of the areas not named; a weight: what
                                                 the areas without amounts of their own gave
           | "bucket"                            a weight: everything that came out of the tank
    part   = before "/" after      24/12         stood at 24 cm, cut to 12 cm
           | before [ "/" ]        24            measured, not cut
           | "/" after             /12           cut to 12 cm, height before not measured
           | "-" length            -3            3 cm taken off
           | weight                180g, 0.2kg   drained trimmings
           | time                  35min, 1h10   minutes of trimming
           | [ "look:" ] look      look:right    short, right or over: by eye, before any cut
           | "note:" text          note:algae    the rest of the item

An area whose id is one of these words keeps it; in capitals, as in REST=, the word is meant then.
Heights are in cm, or in % cover for floating plants; ``cm``, ``mm`` and ``%`` may be written.
A decimal comma is read as a point. Three digits after a single mark (1,234 or 1.234) are refused,
since they may be thousands.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field

from growthcast.book.book import WholeTank
from growthcast.book.words import did_you_mean, nearest, plain, shown
from growthcast.book.writing.visit.names import WORDS, Place, place_named
from growthcast.errors import UsageError

LOOKS = ("short", "right", "over")

GRAMMAR = (
    "What to write: stems=24/12 stood at 24 cm, cut to 12; stems=24 measured, not cut; "
    "stems=/12 cut to 12; crypt=-3cm length taken off; stems=180g drained weight; "
    "moss=right by eye (short, right, over); stems=15min minutes for it; "
    "stems=note:text; several with + as in stems=24/12+over+90g. "
    "Without a name, the whole tank's: 180g 35min; bucket=900g is everything that came out of it, "
    "rest=900g what the areas without amounts of their own gave. all=right looks at every area, "
    "rest=right at the areas not named. "
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
_MEASURED = ("before_cm", "after_cm", "removed_cm", "removed_g")
_EXAMPLES = {"all": ("right",), "tank": ("right",), "rest": ("right", "900g"), "bucket": ("900g",)}
_TITLES = {
    "before_cm": "height before the cut",
    "after_cm": "height after the cut",
    "removed_cm": "length taken off",
    "removed_g": "weight",
    "grams_of": "weight",
    "look": "look",
    "minutes": "time",
    "note": "note",
}

Amount = float | str


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
    items: Sequence[str], places: Sequence[Place], elsewhere: Mapping[str, str]
) -> tuple[VisitRow, ...]:
    """Return the rows a line of a visit means, in the order in which they were named.

    ``places`` are the tank's areas; ``elsewhere`` maps the other areas' ids to their tanks.
    ``UsageError`` with the item and what to write for anything not understood.
    """
    rows: dict[str | None, dict[str, Amount]] = {}
    known = {place.area_id: place for place in places}
    spread: list[tuple[str, str, str]] = []
    for item in items:
        name, word, value = _split(item, known)
        place = None if name is None else place_named(name, item, known, elsewhere)
        if not value:
            raise UsageError(f"{shown(item)} says nothing. {GRAMMAR}")
        amounts: dict[str, Amount] = {}
        for part in _parts(value):
            _add(amounts, _part(part, place, word, item), item)
        if place is None and "look" in amounts:
            spread.append((word, str(amounts.pop("look")), item))
        if amounts:
            row = rows.setdefault(None if place is None else place.area_id, {})
            _add(row, amounts, item)
    named = {*rows}
    for word, look, item in spread:
        for place in _looked_at(word, item, places, named):
            row = rows.setdefault(place.area_id, {})
            if row.get("look") not in {None, look}:
                raise UsageError(
                    f"{shown(item)}: {place.area_id} looks {row['look']} by another part of the "
                    "line; write rest= for the areas not named"
                )
            row["look"] = look
    return tuple(
        VisitRow(None if name is None else known[name], amounts) for name, amounts in rows.items()
    )


def _add(row: dict[str, Amount], amounts: Mapping[str, Amount], item: str) -> None:
    for column, amount in amounts.items():
        if column in row:
            raise UsageError(f"{shown(item)}: the {_TITLES[column]} is given twice")
        row[column] = amount


def _looked_at(
    word: str, item: str, places: Sequence[Place], named: set[str | None]
) -> list[Place]:
    """Return the areas that ``all=`` or ``rest=`` gives a look."""
    living = [place for place in places if place.alive]
    if word == "rest":
        living = [place for place in living if place.area_id not in named and not place.logged]
    elif written := [place.area_id for place in living if place.logged]:
        raise UsageError(
            f"{shown(item)}: the log has rows of {', '.join(written)} on this day already; write "
            "rest= for the others"
        )
    if not living:
        raise UsageError(f"{shown(item)}: no area of the tank is left for this look")
    return living


def looks_like_item(text: str) -> bool:
    """Whether an argument is a part of a visit rather than the folder of a book."""
    alone = any(p.fullmatch(text) for p in (_AMOUNT, _HOURS)) or _look(text) in LOOKS
    return "=" in text or alone or _is_note(text)


def _look(part: str) -> str:
    return part.casefold().removeprefix("look:").strip()


def _is_note(text: str) -> bool:
    return text.casefold().startswith("note:")


def _split(item: str, known: Mapping[str, Place]) -> tuple[str | None, str, str]:
    """Return an area's name, or else ``None`` and the word in its place; and the value."""
    cuts = [place for place, char in enumerate(item) if char == "="]
    if not cuts or _is_note(item):
        return None, "", item
    cut = next((c for c in cuts if item[:c].strip() in known), cuts[0])
    name, value = item[:cut].strip(), item[cut + 1 :].strip()
    word = name.casefold() if name not in known and name.casefold() in WORDS else ""
    if not value:
        examples = _EXAMPLES.get(word, ("24/12", "right"))
        said = " or ".join(f"{name}={example}" for example in examples)
        raise UsageError(f"{shown(item)} has nothing after the =; write as {said}, or leave it out")
    return None if word else name, word, value


def _parts(value: str) -> Iterable[str]:
    """Yield the parts of a value; a note takes everything after it."""
    while value:
        if _is_note(value):
            yield value
            return
        part, _, value = value.partition("+")
        yield part.strip()


def _part(part: str, place: Place | None, word: str, item: str) -> dict[str, Amount]:
    look = _look(part)
    if look in LOOKS:
        if place is None and word not in {"all", "tank", "rest"}:
            raise UsageError(
                f"{shown(item)}: a look without an area; write all={look} for every area, or the "
                "area's name before the ="
            )
        return {"look": look}
    if part.casefold().startswith("look:"):
        hint = did_you_mean(look, LOOKS, "write short, right or over")
        raise UsageError(f"{shown(item)}: look {shown(look)} is not one; {hint}")
    if _is_note(part):
        if not (note := part[len("note:") :].strip()):
            raise UsageError(f"{shown(item)}: there is nothing after note:")
        return {"note": note}
    if match := _HEIGHTS.fullmatch(part):
        return _heights(match, place, item)
    if match := _HOURS.fullmatch(part):
        amounts: dict[str, Amount] = {
            "minutes": 60 * _number(match[1], item) + float(match[2] or 0)
        }
    elif match := _AMOUNT.fullmatch(part):
        amounts = _amount(match, place, word, item)
    else:
        meant = nearest(part, LOOKS)
        hint = GRAMMAR if meant is None else f"did you mean {shown(meant)}?"
        raise UsageError(f"{shown(item)}: {shown(part)} is not understood. {hint}")
    if word in {"rest", "bucket"}:
        if "minutes" in amounts:
            raise UsageError(
                f"{shown(item)}: {word}= takes a weight, as in {word}=900g; write the minutes of "
                "the whole tank without a name, as in 35min"
            )
        amounts["grams_of"] = "rest" if word == "rest" else "all"
    return amounts


def _heights(match: re.Match[str], place: Place | None, item: str) -> dict[str, Amount]:
    if place is None:
        raise UsageError(
            f"{shown(item)}: heights without an area; write its name before the =, as in "
            f"stems={match[0]}"
        )
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


def _amount(match: re.Match[str], place: Place | None, word: str, item: str) -> dict[str, Amount]:
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
        if word in {"rest", "bucket"}:
            raise UsageError(
                f"{shown(item)}: {shown(what)} is no weight; did you mean "
                f"{shown(f'{word}={number}g')}?"
            )
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
