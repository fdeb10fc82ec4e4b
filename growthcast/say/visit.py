"""A visit as it was understood, in words, for terminal and desk alike."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date
from typing import Any

from growthcast.book.book import WholeTank
from growthcast.book.words import plain
from growthcast.book.writing.visit.amounts import WORDS, Place
from growthcast.book.writing.visit.entry import VisitRow
from growthcast.say.log import doubts_for_programs, questions
from growthcast.say.texts import TERMINAL, Texts
from growthcast.say.words import count_of, named
from growthcast.service.doubts.understood import Understood

Grams = tuple[WholeTank, str]
"""Whose grams a weight of the whole tank is taken for, and why."""


def visit_in_words(
    tank: str,
    day: date,
    rows: Sequence[VisitRow],
    places: Sequence[Place],
    grams: Grams = ("all", ""),
    doubts: Mapping[str | None, Sequence[str]] | None = None,
) -> list[str]:
    """Return the visit as lines of a terminal.

    ``places`` are the tank's areas; ``doubts`` are sentences about areas, or about the whole tank
    (``None``).
    """
    lines = [f"Tank {tank}, {day:%A} {day.isoformat()}:"]
    for row, said in zip(rows, rows_in_words(rows, places, grams), strict=True):
        lines.append(f"  {'whole tank' if row.place is None else _title(row.place)}: {said}")
        key = None if row.place is None else row.place.area_id
        lines += [f"    ? {sentence}" for sentence in (doubts or {}).get(key, ())]
    return lines


def rows_in_words(
    rows: Sequence[VisitRow], places: Sequence[Place], grams: Grams, texts: Texts = TERMINAL
) -> list[str]:
    """Return what each row of a visit says."""
    said = []
    for row in rows:
        parts = (
            _whole_tank(row, rows, places, grams, texts)
            if row.place is None
            else _area(row, row.place, texts)
        )
        if (minutes := _number(row, "minutes")) is not None:
            parts.append(texts.say("visit_minutes", n=texts.typed(minutes)))
        if "note" in row.amounts:
            parts.append(texts.say("visit_note", note=named(str(row.amounts["note"]))))
        said.append("; ".join(parts))
    return said


def _title(place: Place) -> str:
    word = place.area_id.casefold()
    if word not in WORDS:
        return _name(place)
    other = word.upper() if place.area_id != word.upper() else word
    return f"{_name(place)}, the area of that id; {other}= is {WORDS[word]}"


def _name(place: Place) -> str:
    return f"{place.label} ({place.area_id})" if place.label else place.area_id


def _number(row: VisitRow, name: str) -> float | None:
    amount = row.amounts.get(name)
    return amount if isinstance(amount, float | int) else None


def _area(row: VisitRow, place: Place, texts: Texts) -> list[str]:
    names = ("before_cm", "after_cm", "removed_cm", "removed_g", "before_sd_cm")
    before, after, removed, grams, sd = (_number(row, name) for name in names)
    only_read = before is not None and after is None and removed is None
    untouched = not grams and (removed == 0 or only_read or (before == after is not None))
    untouched = untouched or (grams == 0 and before is after is removed is None)
    if untouched and before is None:
        before = after
    parts = []
    if before is not None:
        read = texts.typed(before) + ("" if sd is None else f" ± {texts.typed(sd)}")
        stood = "visit_covered" if place.is_cover else "visit_stood"
        parts.append(texts.say(stood, height=f"{read} {place.unit}"))
        if row.amounts.get("measured_by") == "photo":
            parts[-1] += texts.say("visit_by_photo")
    look = [texts.say(f"visit_{row.amounts['look']}")] if "look" in row.amounts else []
    if untouched:
        return [*parts, *look, texts.say("visit_uncut")]
    parts += _cut(before, after, removed, place, texts)
    parts += [texts.say("visit_replanted")] if "replanted" in row.amounts else []
    parts += look
    if grams is not None:
        parts.append(texts.say("visit_grams", grams=texts.typed(grams)))
        parts += [texts.say("visit_left_unread")] if only_read else []
    return parts


def _cut(
    before: float | None, after: float | None, removed: float | None, place: Place, texts: Texts
) -> list[str]:
    """Say what a cut left and took off, and what follows from one of them."""

    def say(key: str, cm: float) -> str:
        return texts.say(key, height=f"{texts.typed(cm)} {place.unit}")

    parts = [] if after is None else [say("visit_cut_to", after)]
    if removed is None:
        unread = after is not None and before is None
        return [*parts, texts.say("visit_unread")] if unread else parts
    parts.append(say("visit_thinned" if place.is_cover else "visit_taken", removed))
    if before is None and after is not None:
        parts.append(say("visit_so_stood", after + removed))
    elif before is not None and after is None:
        parts.append(say("visit_so_cut", before - removed))
    elif before is None and place.cut_cm is not None:
        parts.append(say("visit_so_usual", place.cut_cm))
    elif before is None:
        parts.append(texts.say("visit_left_unread"))
    return parts


def _whole_tank(
    row: VisitRow, rows: Sequence[VisitRow], places: Sequence[Place], grams: Grams, texts: Texts
) -> list[str]:
    parts = []
    if (weight := _number(row, "removed_g")) is not None:
        measured = {place.area_id for place in places if place.measured}
        measured |= {one.place.area_id for one in rows if one.place and one.measured}
        living = [place for place in places if place.alive]
        own = ", ".join(_name(place) for place in living if place.area_id in measured)
        others = ", ".join(_name(place) for place in living if place.area_id not in measured)
        reading, why = (row.whose_grams, "") if row.whose_grams else grams
        key = "shared" if not own else "all" if reading == "all" else "rest"
        key += "_none" if key != "all" and not others else ""
        said = texts.say(f"visit_{key}", grams=texts.typed(weight), own=own, others=others)
        parts.append(f"{said} ({why})" if why and own and texts.language == "en" else said)
    if (visit := _number(row, "visit_min")) is not None:
        parts.append(texts.say("visit_at_tank", n=texts.typed(visit)))
    if (water := _number(row, "water_share")) is not None:
        digits = len(plain(100 * water).partition(".")[2])
        parts.append(texts.say("visit_water", share=texts.share(water, digits)))
    return parts


def understood_words(known: Understood) -> list[str]:
    """Return a visit as it was understood, with what is doubted of it."""
    asked = questions(known.doubts)
    return visit_in_words(known.tank_id, known.day, known.rows, known.places, known.grams, asked)


def doubtful_words(visits: Sequence[Understood]) -> str:
    """Say how many doubts visits have."""
    doubts = sum(len(known.doubts) for known in visits)
    return f"{count_of(doubts, 'doubt')} {'is' if doubts == 1 else 'are'} marked"


def visit_for_programs(known: Understood, written: bool) -> dict[str, Any]:
    """Return a visit as ``--json`` prints it."""
    whole = {"tank_id": known.tank_id, "on": known.day, "written": written, "rows": known.cells}
    doubts = doubts_for_programs(known.doubts)
    return whole | {"understood": understood_words(known), "doubts": doubts}
