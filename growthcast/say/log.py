"""A visit in words: as it was understood, what is odd about it, what it changes."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date
from typing import Any

import numpy as np

from growthcast.book.book import WholeTank
from growthcast.book.words import plain as number_text
from growthcast.book.writing.visit.entry import VisitRow
from growthcast.book.writing.visit.places import WORDS, Place
from growthcast.log.visits import tells_of_cut
from growthcast.plain import Said
from growthcast.say import words as tell
from growthcast.say.reasons import reason
from growthcast.say.texts import TERMINAL, Texts
from growthcast.service.doubts.judge import Understood
from growthcast.service.doubts.typed import Doubt
from growthcast.service.visit.logged import AfterVisit

Rows = Sequence[VisitRow]
Places = Sequence[Place]
Asked = Mapping[str | None, Sequence[str]] | None
Grams = tuple[WholeTank, str]
"""Whose grams a weight of the whole tank is taken for, and why."""
ALL: Grams = ("all", "")


def visit_in_words(
    tank: str, day: date, rows: Rows, places: Places, grams: Grams = ALL, doubts: Asked = None
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
        if row.place is None:
            parts = _whole_tank(row, rows, places, grams, texts)
        else:
            parts = _area(row, row.place, texts)
        if (minutes := _number(row, "minutes")) is not None:
            parts.append(texts.say("visit_minutes", minutes=minutes))
        if note := tell.named(str(row.amounts.get("note", ""))):
            parts.append(texts.say("visit_note", note=note))
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
    """Return the parts of what an area's row says; an uncut one is only read."""
    names = ("before_cm", "after_cm", "removed_cm", "removed_g")
    before, after, removed, grams = amounts = [_number(row, name) for name in names]
    only_read = before is not None and after is None and removed is None
    untouched = amounts != [None] * 4 and not tells_of_cut(*np.array(amounts, dtype=float))
    if untouched:
        before, after, removed, grams = after if before is None else before, None, None, None
    other = None
    if removed is not None and (before is None) != (after is None):
        other = before - removed if before is not None else (after or 0.0) + removed
    taken, unread = removed is not None, before is after is None
    parts = {
        "visit_covered" if place.is_cover else "visit_stood": before is not None,
        "visit_cut_to": after is not None,
        "visit_unread": after is not None and before is removed is None,
        "visit_thinned" if place.is_cover else "visit_taken": taken,
        "visit_so_stood" if before is None else "visit_so_cut": other is not None,
        "visit_so_usual": taken and unread and place.cut_cm is not None,
        "visit_left_unread": taken and unread and place.cut_cm is None,
        "visit_replanted": "replanted" in row.amounts,
        f"visit_{row.amounts.get('look')}": "look" in row.amounts,
        "visit_uncut": untouched,
        "visit_grams": grams is not None,
    }
    told: dict[str, Any] = {"before": before, "after": after, "removed": removed, "grams": grams}
    told |= {"other": other, "usual": place.cut_cm, "unit": place.unit, "only_read": only_read}
    told |= {"sd": _number(row, "before_sd_cm")}
    told |= {"photo": row.amounts.get("measured_by") == "photo"}
    return [texts.say(key, **told) for key, holds in parts.items() if holds]


def _whole_tank(
    row: VisitRow, rows: Sequence[VisitRow], places: Sequence[Place], grams: Grams, texts: Texts
) -> list[str]:
    """Return what the row of the whole tank says, part by part."""
    measured = {place.area_id for place in places if place.measured}
    measured |= {one.place.area_id for one in rows if one.place and one.measured}
    living = [place for place in places if place.alive]
    own = ", ".join(_name(place) for place in living if place.area_id in measured)
    others = ", ".join(_name(place) for place in living if place.area_id not in measured)
    reading, why = (row.whose_grams, "") if row.whose_grams else grams
    names = ("removed_g", "visit_min", "water_share")
    weight, at_tank, water = (_number(row, name) for name in names)
    shared = "visit_all" if reading == "all" else "visit_rest"
    parts = {
        shared if own else "visit_shared": weight is not None,
        "visit_at_tank": at_tank is not None,
        "visit_water": water is not None,
    }
    told: dict[str, Any] = {"grams": weight, "own": own, "others": others, "at_tank": at_tank}
    told |= {"digits": len(number_text(100 * (water or 0.0)).partition(".")[2]), "water": water}
    told["why"] = why if texts.language == "en" else ""
    return [texts.say(key, **told) for key, holds in parts.items() if holds]


def understood_words(known: Understood) -> list[str]:
    """Return a visit as it was understood, with what is doubted of it."""
    asked = questions(known.doubts)
    return visit_in_words(known.tank_id, known.day, known.rows, known.places, known.grams, asked)


def understood_answer(known: Understood) -> tell.Answer:
    """Say a visit back as it was understood."""
    return tell.Answer(notes=understood_words(known))


def doubtful_words(visits: Sequence[Understood]) -> str:
    """Say how many doubts visits have."""
    count = sum(len(known.doubts) for known in visits)
    return f"{tell.count_of(count, 'doubt')} {'is' if count == 1 else 'are'} marked"


def visit_for_programs(known: Understood, written: bool) -> dict[str, Any]:
    """Return a visit as ``--json`` prints it."""
    whole = {"tank_id": known.tank_id, "on": known.day, "written": written, "rows": known.cells}
    return whole | {"understood": understood_words(known), "doubts": known.doubts}


LARGE_G = 999.5
"""Heavier weights are said to ten grams."""


def questions(doubts: Sequence[Doubt], texts: Texts = TERMINAL) -> dict[str | None, list[str]]:
    """Return doubts as questions by area, ``None`` for the whole tank."""
    said = [(doubt.area_id, doubt_words(doubt, texts)) for doubt in doubts]
    return {area: [words for whose, words in said if whose == area] for area, _ in said}


def doubt_words(doubt: Doubt, texts: Texts = TERMINAL) -> str:
    """Return a doubt with its cause as a question."""
    return ": ".join(filter(None, [doubt_sentence(doubt, texts), cause_words(doubt, texts)]))


def doubt_sentence(doubt: Doubt, texts: Texts = TERMINAL) -> str:
    """Say what was typed and what was expected."""
    known, against = doubt.known, doubt.against
    if isinstance(doubt.found, str):
        found = texts.say(f"look_{doubt.found}")
    else:
        ways = {"after_cm": "found" if against == "height" else "cut_to", "removed_cm": "taken"}
        way = ways.get(doubt.column, "found")
        found = texts.say(f"doubt_{way}", found=doubt.found, doubt=doubt)
    stands = ""
    if known is not None:
        stands = texts.say("doubt_stands", known=known, unit=doubt.unit, digits=1)
    grams = [round(g, -1) if g >= LARGE_G else float(f"{g:.3g}") for g in doubt.expected]
    key = f"doubt_{against.replace(' ', '_')}"
    return texts.say(key, doubt=doubt, found=found, stands=stands, grams=grams)


def cause_words(doubt: Doubt, texts: Texts = TERMINAL) -> str:
    """Ask for what may lie behind a doubt, "" where nothing suggests itself."""
    cause, found = doubt.cause, doubt.found
    if cause is None:
        return ""
    found = found if isinstance(found, str) else number_text(found)
    blanks = {"label": tell.named(cause.label), "area": doubt.area_id or "", "found": found}
    return texts.say(f"cause_{cause.kind.replace(' ', '_')}", cause=cause, doubt=doubt, **blanks)


def _of_doubt(doubt: Doubt) -> dict[str, Any]:
    return {"sentence": doubt_sentence(doubt), "cause": cause_words(doubt) or None}


SAID: Said = {Doubt: _of_doubt, AfterVisit: lambda news: {"reason": reason(news.advice)}}


def outlook_answer(
    news: AfterVisit, tank_id: str, day: date, found: Mapping[str, float | str | None]
) -> tell.Answer:
    """Say by when to come again, then a tank's areas after a visit.

    ``found`` are the heights measured, by area.
    """
    if not news.areas:
        return tell.Answer()
    if news.due_on is None:
        lead = tell.sentence("log_not_due")
    else:
        after_d, why = (news.due_on - day).days, tell.sentence(f"log_due_{news.due_by}", news=news)
        sooner = news.due_by == "chance" and after_d < (news.interval_d or 0)
        lead = tell.sentence("log_due", news=news, days=after_d, sooner=sooner, why=why, on=day)
    rows, notes = [], []
    for area in news.areas:
        told = {"area": area, "unit": area.unit, "least": area.least_cut_cm}
        rows.append(told | {"found": found.get(area.area_id)})
    without = [] if news.interval_d else ["cut to"]
    table = tell.table("log_areas", rows, without, tank=tank_id, on=day)
    for area in news.areas:
        if (cut := area.perhaps_cut) is not None:
            blanks = {"area": area, "cut": cut, "then": cut.on == day, "on": day}
            notes.append(tell.sentence("log_perhaps_cut", **blanks))
    if news.unsure:
        notes.append(tell.sentence("log_unsure", areas=news.unsure))
    if (days := news.interval_d) is not None:
        notes.append(f"Cut to: at visits every {days} days, the rhythm. {tell.RANGES_HOLD}")
    return tell.Answer(lead, table, notes, [f"{tank_id}: {reason(news.advice)}."])
