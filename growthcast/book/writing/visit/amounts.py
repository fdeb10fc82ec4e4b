"""One part of a visit's line, between its signs, as amounts of a row of the log."""

from __future__ import annotations

import re

from growthcast.book.cells.numbers import typed_number
from growthcast.book.words import did_you_mean, nearest, plain, shown
from growthcast.errors import UsageError
from growthcast.nouns import dataclass

WORDS = {
    "all": "every area of the tank",
    "tank": "every area of the tank",
    "rest": "the areas not named",
    "bucket": "everything that came out of the tank",
    "visit": "the time at the tank in all",
    "water": "the share of the water that was changed",
}
"""Words that stand in an area's place, and what they mean."""

LOOKS = ("short", "right", "over")
_BY_LETTER = {look[0]: look for look in LOOKS}

GRAMMAR = (
    "What to write: stems=24/12 stood at 24 cm, cut to 12; stems=24 measured, not cut; "
    "stems=/12 cut to 12; crypt=-3cm length taken off; stems=180g drained weight; "
    "moss=right by eye (short, right, over, or s, r, o); stems=15min minutes for it; "
    "stems=24/12+replanted where the cut tops were planted in place of the old stems; "
    "stems=note:text; several with + as in stems=24/12+over+90g. "
    "Without a name, the whole tank's: 180g 35min; bucket=900g is everything that came out of it, "
    "rest=900g what the areas without amounts of their own gave. all=right looks at every area, "
    "rest=right at the areas not named. visit=70min is the time at the tank in all, water=50% "
    "the share of its water changed. Floating plants in % cover: salvinia=80/30. "
    "The beginning of an area's id will do where no other area's begins so."
)

_NUMBER = r"(?:[0-9]+(?:[.,][0-9]*)?|[.,][0-9]+)"
_UNIT = r"(?:[^\W\d_]+|%|\"|')"
_HEIGHTS = re.compile(rf"({_NUMBER})?\s*({_UNIT})?\s*/\s*({_NUMBER})?\s*({_UNIT})?")
_AMOUNT = re.compile(rf"([-−–])?\s*({_NUMBER})\s*({_UNIT})?")
_HOURS = re.compile(rf"({_NUMBER})\s*h(?:ours?)?\s*(?:([0-9]+)\s*(?:min|m)?)?", re.IGNORECASE)
_PHOTO = rf"(?i)photo:\s*({_NUMBER})\s*(?:cm)?(?:\s*[~±]\s*({_NUMBER})\s*(?:cm)?)?"
_LENGTHS = {"": 1.0, "cm": 1.0, "mm": 0.1, "%": 1.0}
_WEIGHTS = {"g": 1.0, "gr": 1.0, "gram": 1.0, "grams": 1.0, "kg": 1000.0}
_TIMES = {"min": 1.0, "mins": 1.0, "minutes": 1.0, "minute": 1.0}

Amount = float | str


@dataclass(frozen=True, slots=True)
class Place:
    """A planted area as a line of a visit may name it; its ground is in cover or in height.

    On the day of the visit it may no longer be ``alive``, have a row in the log already
    (``logged``), or amounts in it (``measured``).
    """

    area_id: str
    label: str
    is_cover: bool
    cut_cm: float | None = None
    alive: bool = True
    logged: bool = False
    measured: bool = False

    @property
    def unit(self) -> str:
        """The unit of its heights."""
        return "%" if self.is_cover else "cm"


def looks_like_item(text: str) -> bool:
    """Whether an argument is a part of a visit rather than the folder of a book."""
    alone = any(p.fullmatch(text) for p in (_AMOUNT, _HOURS)) or _look(text) in LOOKS
    return "=" in text or alone or is_note(text)


def is_note(text: str) -> bool:
    """Whether the rest of an item is a note."""
    return text.casefold().startswith("note:")


def _look(part: str) -> str:
    return part.casefold().removeprefix("look:").strip()


def amounts_of_part(part: str, place: Place | None, word: str) -> dict[str, Amount]:
    """Return what a part says of an area, or of the whole tank under a word of ``WORDS`` or none.

    ``UsageError`` with what to write where it is not understood.
    """
    if word in {"visit", "water"} and not is_note(part):
        return _of_visit(part, word)
    look = _look(part)
    look = _BY_LETTER.get(look, look)
    if look in LOOKS:
        if place is None and word not in {"all", "tank", "rest"}:
            raise UsageError(
                f"a look without an area; write all={look} for every area, or the area's name "
                "before the ="
            )
        return {"look": look}
    if part.casefold().startswith("look:"):
        hint = did_you_mean(look, LOOKS, "write short, right or over")
        raise UsageError(f"look {shown(look)} is not one; {hint}")
    if part.casefold() == "replanted":
        if place is None:
            raise UsageError("tops are replanted in an area; write stems=24/12+replanted")
        return {"replanted": "true"}
    if is_note(part):
        if not (note := part[len("note:") :].strip()):
            raise UsageError("there is nothing after note:")
        return {"note": note}
    if part.casefold().startswith("photo:"):
        return _by_photo(part, place)
    if match := _HEIGHTS.fullmatch(part):
        return _heights(match, place)
    amounts: dict[str, Amount]
    if (minutes := _minutes(part)) is not None:
        amounts = {"minutes": minutes}
    elif match := _AMOUNT.fullmatch(part):
        amounts = _amount(match, place, word)
    else:
        meant = nearest(part, LOOKS)
        hint = GRAMMAR if meant is None else f"did you mean {shown(meant)}?"
        raise UsageError(f"{shown(part)} is not understood. {hint}")
    if word in {"rest", "bucket"}:
        if "minutes" in amounts:
            raise UsageError(
                f"{word}= takes a weight, as in {word}=900g; write the minutes of the whole tank "
                "without a name, as in 35min"
            )
        amounts["grams_of"] = "rest" if word == "rest" else "all"
    return amounts


def _minutes(part: str) -> float | None:
    """Return a time as minutes; ``None`` where it is none."""
    if match := _HOURS.fullmatch(part):
        return 60 * typed_number(match[1]) + float(match[2] or 0)
    match = _AMOUNT.fullmatch(part)
    timed = match and not match[1] and (match[3] or "").casefold() in _TIMES
    return typed_number(match[2]) if match and timed else None


def _of_visit(part: str, word: str) -> dict[str, Amount]:
    """Return the time at the tank in all, or the share of its water that was changed."""
    if word == "visit":
        if (minutes := _minutes(part)) is None:
            raise UsageError(f"{shown(part)} is no time; write visit=70min or visit=1h10")
        return {"visit_min": minutes}
    match = _AMOUNT.fullmatch(part)
    if not match or match[1] or match[3] != "%":
        raise UsageError(f"{shown(part)} is no share of the water; write it in per cent: water=50%")
    if (percent := typed_number(match[2])) > 100:
        raise UsageError(f"{shown(part)} is more than all of the water; write water=50%")
    return {"water_share": float(plain(percent / 100))}


def _by_photo(part: str, place: Place | None) -> dict[str, Amount]:
    match = re.fullmatch(_PHOTO, part)
    if match is None or place is None or place.is_cover:
        raise UsageError(
            f"{shown(part)} is not understood; a height read off a photo is written with its "
            "area, as stems=photo:17.2~1.3 (17.2 cm, give or take 1.3), and a cut beside it as "
            "stems=photo:17.2~1.3+/9"
        )
    amounts: dict[str, Amount] = {"before_cm": typed_number(match[1]), "measured_by": "photo"}
    return amounts | ({"before_sd_cm": typed_number(match[2])} if match[2] else {})


def _heights(match: re.Match[str], place: Place | None) -> dict[str, Amount]:
    if place is None:
        raise UsageError(
            f"heights without an area; write its name before the =, as in stems={match[0]}"
        )
    before, unit_before, after, unit_after = match.groups()
    amounts: dict[str, Amount] = {}
    if before is not None:
        amounts["before_cm"] = _length(before, unit_before or unit_after or "", place)
    if after is not None:
        amounts["after_cm"] = _length(after, unit_after or unit_before or "", place)
    if not amounts or (before is None and unit_before) or (after is None and unit_after):
        raise UsageError("write the heights as 24/12, 24 or /12")
    return amounts


def _amount(match: re.Match[str], place: Place | None, word: str) -> dict[str, Amount]:
    minus, number, unit = match[1], match[2], (match[3] or "").casefold()
    if unit in _WEIGHTS:
        return {"removed_g": float(plain(typed_number(number) * _WEIGHTS[unit]))}
    if unit and unit not in _LENGTHS:
        raise UsageError(
            f"{shown(match[3])} is not a unit known here; heights are in cm (or mm, or % cover of "
            "floating plants), weights in g or kg, time in min or h"
        )
    if place is None:
        what = shown(f"{number} {unit}".strip())
        if word in {"rest", "bucket"}:
            raise UsageError(f"{what} is no weight; did you mean {shown(f'{word}={number}g')}?")
        raise UsageError(
            f"{what} says nothing of a whole tank; write 180g or 35min, or name the area, as in "
            "stems=24/12"
        )
    return {"removed_cm" if minus else "before_cm": _length(number, unit, place)}


def _length(number: str, unit: str, place: Place) -> float:
    folded = unit.casefold()
    if folded not in _LENGTHS:
        raise UsageError(f"{shown(unit)} is not a unit of height known here; write cm or mm")
    if folded and place.is_cover != (folded == "%"):
        what = "per cent of the surface covered" if place.is_cover else "centimetres"
        raise UsageError(f"{place.area_id} is measured in {what}, not in {unit}")
    return float(plain(typed_number(number) * _LENGTHS[folded]))
