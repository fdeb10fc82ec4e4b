"""The areas a visit may name, its rows as the log holds them, and in words as understood."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date

import numpy as np

from growthcast.book.book import Book, WholeTank
from growthcast.book.checks.rows import has_amounts
from growthcast.book.supposed import Cell
from growthcast.book.words import check_known, plain, shown, some_of
from growthcast.book.writing.visit.amounts import WORDS, Place, is_note
from growthcast.book.writing.visit.entry import VisitRow, beginning_with, parse_visit
from growthcast.errors import UsageError

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
        sd = _number(row, "before_sd_cm")
        stood = plain(before) if sd is None else f"{plain(before)} ± {plain(sd)}"
        by = " by a photo" if row.amounts.get("measured_by") == "photo" else ""
        parts.append(f"{'covered' if place.is_cover else 'stood at'} {stood} {unit}{by}")
    if untouched:
        parts += [_LOOKS[str(amounts["look"])]] if "look" in amounts else []
        return _ended([*parts, "not cut"], row)
    parts += _cut(before, after, removed, place)
    parts += ["its tops planted anew, so that it settles again"] if "replanted" in amounts else []
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
    row: VisitRow, rows: Sequence[VisitRow], places: Sequence[Place], grams: tuple[WholeTank, str]
) -> str:
    weight, parts = _number(row, "removed_g"), []
    if weight is not None:
        measured = measured_areas(rows, places)
        own = [_name(place) for place in places if place.alive and place.area_id in measured]
        others = [_name(place) for place in places if place.alive and place.area_id not in measured]
        reading, why = row.whose_grams or grams[0], "" if row.whose_grams else grams[1]
        parts.append(whole_tank_words(weight, reading, why, own, others))
    visit, water = _number(row, "visit_min"), _number(row, "water_share")
    parts += [] if visit is None else [f"{plain(visit)} min at the tank in all"]
    parts += [] if water is None else [f"{plain(100 * water)} % of the water changed"]
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


def places_of(book: Book, tank_id: str, day: date) -> tuple[Place, ...]:
    """Return every area a tank has or had as it is on a day, in the book's order."""
    covers = set(book.species.text("species_id")[book.species.text("measure") == "cover_pct"])
    areas, trims, on = book.areas, book.trims, np.datetime64(day, "D")
    here = areas.text("tank_id") == tank_id
    gone = areas.date("removed_on") < on  # not so where the date is blank
    alive = ~(areas.date("planted_on") > on) & ~gone
    today = trims.date("date") == on
    logged = set(trims.text("area_id")[today])
    measured = set(trims.text("area_id")[today & has_amounts(trims)])
    cells = [areas.text(name)[here] for name in ("area_id", "label", "species_id")]
    cells += [book.bounds_on(day).cut_cm[here], alive[here]]
    return tuple(
        Place(
            *(area_id, label, species in covers, None if cut != cut else float(cut), bool(lives)),
            logged=area_id in logged,
            measured=area_id in measured,
        )
        for area_id, label, species, cut, lives in zip(*cells, strict=True)
    )


def _areas_elsewhere(book: Book, tank_id: str) -> dict[str, str]:
    """Return the tank of every area that is in another one."""
    pairs = zip(book.areas.text("area_id"), book.areas.text("tank_id"), strict=True)
    return {area: tank for area, tank in pairs if tank != tank_id}


def tank_of_visit(book: Book, tank_id: str | None, items: Sequence[str]) -> str:
    """Return the tank a visit is to: the one named, the only one, or the one its areas are in.

    The beginning of an id will do where no other begins so; ``UsageError`` where several do.
    """
    tanks = book.tanks.text("tank_id").tolist()
    if tank_id is not None:
        begin = [tank_id] if tank_id in tanks else beginning_with(tank_id, tanks)
        if len(begin) > 1:
            raise UsageError(f"{len(begin)} tanks begin with {shown(tank_id)}: {some_of(begin)}")
        if not begin:
            check_known(tank_id, tanks, "tanks.csv has no tank", "the tanks are")
        return begin[0]
    if len(tanks) == 1:
        return str(tanks[0])
    named = {item.partition("=")[0].strip() for item in items if "=" in item and not is_note(item)}
    areas = book.areas.keep(~book.areas.given("removed_on"))
    pairs = list(zip(areas.text("area_id"), areas.text("tank_id"), strict=True))
    homes = []
    for name in named - WORDS.keys():
        exact = {tank for area, tank in pairs if area == name}
        alike = {tank for tank in tanks if beginning_with(name, [a for a, t in pairs if t == tank])}
        homes += [exact or alike] if exact or alike else []
    left = set.intersection(*homes) if homes else set()
    if len(left) == 1:
        return str(left.pop())
    several = f"in {some_of(sorted(left))} areas begin so; " if left else ""
    raise UsageError(f"{several}name the tank with --tank ID; the tanks are {some_of(tanks, 12)}")


def visit_rows(book: Book, tank_id: str, day: date, items: Sequence[str]) -> tuple[VisitRow, ...]:
    """Return the rows that a line of a visit to a tank means."""
    return parse_visit(items, places_of(book, tank_id, day), _areas_elsewhere(book, tank_id))


def log_rows(
    rows: Sequence[VisitRow], tank_id: str, day: date, by: str = ""
) -> list[Mapping[str, Cell]]:
    """Return a visit as rows of ``trims.csv``; ``by`` is who logged it."""
    who = {"by": by} if by else {}
    return [
        {
            "date": day,
            "tank_id": tank_id,
            "area_id": row.place.area_id if row.place else None,
            **row.amounts,
            **who,
        }
        for row in rows
    ]
