"""A visit in words, as understood: what a person reads before anything is written."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

from growthcast.book.words import plain
from growthcast.book.writing.visit.entry import Place, VisitRow

__all__ = ["visit_in_words"]

_LOOKS = {
    "short": "looked short (below its floor)",
    "right": "looked right (between floor and height budget)",
    "over": "looked over its height budget",
}


def visit_in_words(
    tank: str, day: date, rows: Sequence[VisitRow], living: Sequence[Place]
) -> list[str]:
    """Return the visit as lines; ``living`` are the tank's areas alive on the day."""
    named = {row.place.area_id for row in rows if row.place is not None}
    others = [_name(place) for place in living if place.area_id not in named]
    lines = [f"Tank {tank}, {day:%A} {day.isoformat()}:"]
    for row in rows:
        what = _whole_tank(row, others) if row.place is None else _area(row, row.place)
        title = "whole tank" if row.place is None else _name(row.place)
        lines.append(f"  {title}: {what}")
    return lines


def _name(place: Place) -> str:
    return f"{place.label} ({place.area_id})" if place.label else place.area_id


def _area(row: VisitRow, place: Place) -> str:
    amounts, unit = row.amounts, "%" if place.is_cover else "cm"
    before, after = amounts.get("before_cm"), amounts.get("after_cm")
    removed = amounts.get("removed_cm")
    verb = "covered" if place.is_cover else "stood at"
    parts = []
    if before is not None:
        parts.append(f"{verb} {_plain(before)} {unit}")
    if after is not None:
        parts.append(f"cut to {_plain(after)} {unit}")
    if before is None and after is not None:
        parts.append("height before not measured")
    if removed is not None:
        off = "thinned by" if place.is_cover else "taken off"
        length = f"{_plain(removed)} {unit}"
        parts.append(f"{off} {length}" if place.is_cover else f"{length} {off}")
        if before is None and after is None and place.cut_cm is not None:
            parts.append(f"so cut to its usual {plain(place.cut_cm)} {unit}")
    if "look" in amounts:
        parts.append(_LOOKS[str(amounts["look"])])
    if "removed_g" in amounts:
        parts.append(f"{_plain(amounts['removed_g'])} g of trimmings")
    elif before is not None and after is None and removed is None:
        parts.append("not cut")
    return _ended(parts, row)


def _whole_tank(row: VisitRow, others: Sequence[str]) -> str:
    parts = []
    if "removed_g" in row.amounts:
        weight = f"{_plain(row.amounts['removed_g'])} g of trimmings"
        whose = f"of the areas without amounts of their own today: {', '.join(others)}"
        parts.append(f"{weight}, {whose}" if others else f"{weight}, no area left to share it")
    return _ended(parts, row)


def _ended(parts: list[str], row: VisitRow) -> str:
    if "minutes" in row.amounts:
        parts.append(f"{_plain(row.amounts['minutes'])} min of trimming")
    if "note" in row.amounts:
        parts.append(f"note: {row.amounts['note']}")
    return "; ".join(parts)


def _plain(amount: float | str) -> str:
    return amount if isinstance(amount, str) else plain(amount)
