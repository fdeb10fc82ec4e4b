"""A visit in words, as understood: what a person reads before anything is written."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date

from growthcast.book.book import WholeTank
from growthcast.book.words import plain
from growthcast.book.writing.visit.entry import VisitRow
from growthcast.book.writing.visit.names import WORDS, Place

_LOOKS = {
    "short": "looked short (below its floor)",
    "right": "looked right (between floor and height budget)",
    "over": "looked over its height budget",
}


def visit_in_words(
    tank: str,
    day: date,
    rows: Sequence[VisitRow],
    places: Sequence[Place],
    grams: tuple[WholeTank, str] = ("all", ""),
    doubts: Mapping[str | None, Sequence[str]] | None = None,
) -> list[str]:
    """Return the visit as lines.

    ``places`` are the tank's areas, ``grams`` whose grams a weight of the whole tank is taken for
    and why; ``doubts`` are sentences about areas, or about the whole tank (``None``).
    """
    lines = [f"Tank {tank}, {day:%A} {day.isoformat()}:"]
    for row in rows:
        place = row.place
        what = _whole_tank(row, rows, places, grams) if place is None else _area(row, place)
        lines.append(f"  {'whole tank' if place is None else _title(place)}: {what}")
        key = None if place is None else place.area_id
        lines += [f"    ? {sentence}" for sentence in (doubts or {}).get(key, ())]
    return lines


def whole_tank_words(
    grams: float,
    reading: WholeTank,
    why: str,
    own: Sequence[str],
    others: Sequence[str],
) -> str:
    """Say whose grams a weight of a whole tank is.

    ``own`` names the living areas with amounts of their own on the day, ``others`` those without.
    """
    weight = f"{plain(grams)} g of trimmings"
    because = f" ({why})" if why and own else ""
    if not own:
        shared = f"shared by {', '.join(others)}" if others else "and no area to share it"
        return f"{weight}, {shared}"
    if reading == "all":
        return (
            f"{weight}, everything that came out of the tank, the amounts of {', '.join(own)} "
            f"included{because}"
        )
    if others:
        rest = ", ".join(others)
        return f"{weight}, of the areas without amounts of their own: {rest}{because}"
    return f"{weight}, of areas without amounts of their own, and there is none{because}"


def _title(place: Place) -> str:
    word = place.area_id.casefold()
    if word not in WORDS:
        return _name(place)
    other = word.upper() if place.area_id != word.upper() else word
    return f"{_name(place)}, the area of that id; {other}= is {WORDS[word]}"


def _name(place: Place) -> str:
    return f"{place.label} ({place.area_id})" if place.label else place.area_id


def _area(row: VisitRow, place: Place) -> str:
    amounts, unit = row.amounts, place.unit
    before, after = _number(row, "before_cm"), _number(row, "after_cm")
    removed, grams = _number(row, "removed_cm"), _number(row, "removed_g")
    only_read = before is not None and after is None and removed is None
    untouched = not grams and (removed == 0 or only_read or (before == after is not None))
    untouched = untouched or (grams == 0 and before is after is removed is None)
    if untouched and before is None:
        before = after
    parts = []
    if before is not None:
        parts.append(f"{'covered' if place.is_cover else 'stood at'} {plain(before)} {unit}")
    if untouched:
        parts += [_LOOKS[str(amounts["look"])]] if "look" in amounts else []
        return _ended([*parts, "not cut"], row)
    parts += _cut(before, after, removed, place)
    if "look" in amounts:
        parts.append(_LOOKS[str(amounts["look"])])
    if grams is not None:
        parts.append(f"{plain(grams)} g of trimmings")
        parts += ["height left not measured"] if only_read else []
    return _ended(parts, row)


def _cut(
    before: float | None, after: float | None, removed: float | None, place: Place
) -> list[str]:
    """Say what a cut left and took off, and what follows from one of them."""
    unit, parts = place.unit, []
    if after is not None:
        parts.append(f"cut to {plain(after)} {unit}")
        parts += ["height before not measured"] if before is None and removed is None else []
    if removed is None:
        return parts
    length = f"{plain(removed)} {unit}"
    parts.append(f"thinned by {length}" if place.is_cover else f"{length} taken off")
    if before is None and after is not None:
        parts.append(f"so it stood at {plain(after + removed)} {unit}")
    elif before is not None and after is None:
        parts.append(f"so cut to {plain(before - removed)} {unit}")
    elif before is None and place.cut_cm is not None:
        parts.append(f"so cut to its usual {plain(place.cut_cm)} {unit}")
    elif before is None:
        parts.append("height left not measured")
    return parts


def _number(row: VisitRow, name: str) -> float | None:
    amount = row.amounts.get(name)
    return amount if isinstance(amount, float | int) else None


def _whole_tank(
    row: VisitRow,
    rows: Sequence[VisitRow],
    places: Sequence[Place],
    grams: tuple[WholeTank, str],
) -> str:
    weight, parts = _number(row, "removed_g"), []
    if weight is not None:
        measured = measured_areas(rows, places)
        own = [_name(place) for place in places if place.alive and place.area_id in measured]
        others = [_name(place) for place in places if place.alive and place.area_id not in measured]
        reading, why = row.whose_grams or grams[0], "" if row.whose_grams else grams[1]
        parts.append(whole_tank_words(weight, reading, why, own, others))
    return _ended(parts, row)


def measured_areas(rows: Sequence[VisitRow], places: Sequence[Place]) -> set[str]:
    """Return the areas with amounts of their own on the day, in the log or in the line."""
    logged = {place.area_id for place in places if place.measured}
    return logged | {row.place.area_id for row in rows if row.place is not None and row.measured}


def _ended(parts: list[str], row: VisitRow) -> str:
    minutes = _number(row, "minutes")
    if minutes is not None:
        parts.append(f"{plain(minutes)} min of trimming")
    if "note" in row.amounts:
        parts.append(f"note: {row.amounts['note']}")
    return "; ".join(parts)
