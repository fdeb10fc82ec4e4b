"""A visit in words, as it was understood from what was typed."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date

from growthcast.book.book import WholeTank
from growthcast.book.words import plain
from growthcast.book.writing.visit.amounts import WORDS, Amount, Place
from growthcast.book.writing.visit.entry import VisitRow
from growthcast.book.writing.visit.places import measured_areas

_AMOUNTS = ("before_cm", "after_cm", "removed_cm", "removed_g")
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
    grams: float, reading: WholeTank, why: str, own: Sequence[str], others: Sequence[str]
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
    """Say what was read of an area and cut there, and what follows from one of them."""
    told, unit = row.amounts, place.unit
    before, after, removed, grams = (_number(row, name) for name in _AMOUNTS)
    only_read = before is not None and after is None and removed is None
    untouched = not grams and (removed == 0 or only_read or (before == after is not None))
    untouched = untouched or (grams == 0 and before is after is removed is None)
    if untouched and before is None:
        before = after
    sd = f" ± {_plain(told['before_sd_cm'])}" if "before_sd_cm" in told else ""
    by = " by a photo" if told.get("measured_by") == "photo" else ""
    stood = f"{'covered' if place.is_cover else 'stood at'} {_plain(before)}{sd} {unit}{by}"
    length, look = f"{_plain(removed)} {unit}", _LOOKS.get(str(told.get("look")))
    if untouched:
        return _joined(row, (before is not None, stood), (look, look), (True, "not cut"))
    taken = f"thinned by {length}" if place.is_cover else f"{length} taken off"
    follows, lost = "", removed or 0.0
    if removed is not None and before is None and after is not None:
        follows = f"so it stood at {plain(after + lost)} {unit}"
    elif removed is not None and before is not None and after is None:
        follows = f"so cut to {plain(before - lost)} {unit}"
    elif removed is not None and before is None:
        usual = f"so cut to its usual {_plain(place.cut_cm)} {unit}"
        follows = "height left not measured" if place.cut_cm is None else usual
    return _joined(
        row,
        (before is not None, stood),
        (after is not None, f"cut to {_plain(after)} {unit}"),
        (after is not None and before is removed is None, "height before not measured"),
        (removed is not None, taken),
        (follows, follows),
        ("replanted" in told, "its tops planted anew, so that it settles again"),
        (look, look),
        (grams is not None, f"{_plain(grams)} g of trimmings"),
        (grams is not None and only_read, "height left not measured"),
    )


def _number(row: VisitRow, name: str) -> float | None:
    amount = row.amounts.get(name)
    return amount if isinstance(amount, float | int) else None


def _plain(amount: Amount | None) -> str:
    return plain(amount) if isinstance(amount, float | int) else ""


def _whole_tank(
    row: VisitRow, rows: Sequence[VisitRow], places: Sequence[Place], grams: tuple[WholeTank, str]
) -> str:
    weight, weighed = _number(row, "removed_g"), ""
    if weight is not None:
        measured = measured_areas(rows, places)
        own = [_name(place) for place in places if place.alive and place.area_id in measured]
        others = [_name(place) for place in places if place.alive and place.area_id not in measured]
        reading, why = row.whose_grams or grams[0], "" if row.whose_grams else grams[1]
        weighed = whole_tank_words(weight, reading, why, own, others)
    visit, water = _number(row, "visit_min"), _number(row, "water_share")
    return _joined(
        row,
        (weighed, weighed),
        (visit is not None, f"{_plain(visit)} min at the tank in all"),
        (water is not None, f"{plain(100 * (water or 0.0))} % of the water changed"),
    )


def _joined(row: VisitRow, *parts: tuple[object, str | None]) -> str:
    """Return the parts that hold, then the time and the note."""
    minutes, note = _number(row, "minutes"), row.amounts.get("note")
    whole = (*parts, (minutes is not None, f"{_plain(minutes)} min of trimming"))
    return "; ".join(said for holds, said in (*whole, (note, f"note: {note}")) if holds and said)
