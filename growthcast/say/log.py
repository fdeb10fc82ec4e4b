"""A logged visit in words: what is odd about what was typed, and what the visit changes."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date
from typing import Any

from growthcast.book.words import plain as number
from growthcast.plain import plain
from growthcast.say.reasons import reason
from growthcast.say.words import (
    OVERDUE,
    RANGES,
    RANGES_HOLD,
    More,
    Table,
    Words,
    and_list,
    as_chance,
    cut_text,
    day_words,
    days_in_words,
    range_words,
    week_day_words,
)
from growthcast.service.doubts.typed import Doubt
from growthcast.service.visit.logged import AfterVisit, AreaAfterVisit, PerhapsCut

LARGE_G = 999.5
"""Heavier weights are said to ten grams."""
WEIGHED = {
    "what was cut": "what was cut",
    "all that stands": "everything that stands there",
    "rest": "everything that stands on the areas without amounts of their own",
}


def doubts_for_programs(doubts: Sequence[Doubt]) -> list[dict[str, Any]]:
    """Return doubts as ``--json`` prints them, with their sentences."""
    return [
        plain(doubt) | {"sentence": doubt_sentence(doubt), "cause": cause_words(doubt) or None}
        for doubt in doubts
    ]


def questions(doubts: Sequence[Doubt]) -> dict[str | None, list[str]]:
    """Return doubts as questions by area, ``None`` for the whole tank."""
    asked: dict[str | None, list[str]] = {}
    for doubt in doubts:
        asked.setdefault(doubt.area_id, []).append(doubt_words(doubt))
    return asked


def doubt_words(doubt: Doubt) -> str:
    """Return a doubt with its cause as a question."""
    sentence, cause = doubt_sentence(doubt), cause_words(doubt)
    return f"{sentence}: {cause}" if cause else sentence


def doubt_sentence(doubt: Doubt) -> str:
    """Say what was typed and what was expected."""
    if doubt.unit == "g":
        return _weight(doubt)
    if isinstance(doubt.found, str):
        floor, budget = doubt.bounds
        return (
            f"looked {doubt.found}; expected {_stands(doubt)}, with a floor of {floor:g} and a "
            f"height budget of {budget:g} {doubt.unit}"
        )
    found = f"{number(doubt.found)} {doubt.unit}"
    if doubt.column == "after_cm" and doubt.against != "height":
        found = f"cut to {found}"
    if doubt.column == "removed_cm":
        found = f"{found} taken off"
    if doubt.against == "cuts":
        lowest = f"{number(doubt.lowest)} {doubt.unit}"
        return f"{found}; never below {lowest} in {doubt.cuts} cuts so far"
    if doubt.against == "table":
        ever = "lower than ever, and " if doubt.cuts else ""
        lowest = f"{number(doubt.lowest)} {doubt.unit}"
        return f"{found}; {ever}below {lowest}, the species table's lowest cut"
    expected = "expected to stand at" if doubt.against == "stand" else "expected"
    return f"{found}; {expected} {_stands(doubt)}"


def _stands(doubt: Doubt) -> str:
    """Say how high an area is expected to stand."""
    if doubt.guessed:
        bounds = f"{doubt.bounds[0]:g} to {doubt.bounds[1]:g} {doubt.unit}"
        return f"{bounds}, its floor and height budget, since nothing is logged of it"
    low, _, high = doubt.stands
    return f"{low:.1f} to {high:.1f} {doubt.unit} (8 times in 10)"


def _weight(doubt: Doubt) -> str:
    found = f"{number(float(doubt.found))} g"
    if doubt.against == "uncut":
        return f"{found}, while every area was left uncut"
    low, middle, high = (_grams(grams) for grams in doubt.expected)
    return (
        f"{found}; {WEIGHED[doubt.against]} is expected to weigh {middle} g ({low} to {high} g, "
        "8 times in 10)"
    )


def _grams(grams: float) -> str:
    """Return a weight to three digits."""
    return f"{grams:.3g}" if grams < LARGE_G else f"{round(grams, -1):.0f}"


def cause_words(doubt: Doubt) -> str:
    """Ask for what may lie behind a doubt, "" where nothing suggests itself."""
    cause = doubt.cause
    if cause is None:
        return ""
    fits = "" if cause.fits is None else f"{number(cause.fits)} {doubt.unit} fits"
    found = doubt.found if isinstance(doubt.found, str) else number(doubt.found)
    return {
        "turned round": "the heights before and after the wrong way round?",
        "swapped": f"swapped with {cause.label}?",
        "decimal": f"a slipped decimal? {fits}",
        "millimetres": f"millimetres, or a slipped decimal? {fits}",
        "kilograms": f"kilograms? {fits}",
        "height after": f"the height after the cut? Write {doubt.area_id}=/{found} then",
        "other area": f"a reading of {cause.label}?",
        "unlogged cut": "a cut that is not in the log?",
        "water": "weighed with its water?",
        "whole tank": f"everything that came out of the tank? Write bucket={found}g then",
    }[cause.kind]


def outlook_for_programs(news: AfterVisit) -> dict[str, Any]:
    """Return what a visit changes as ``--json`` prints it, the reason of the interval with it."""
    answer: dict[str, Any] = plain(news)
    return answer | {"reason": reason(news.advice)}


def outlook_words(
    news: AfterVisit, tank_id: str, day: date, found: Mapping[str, float | str | None]
) -> Words:
    """Yield by when to come again, then a tank's areas after a visit.

    ``found`` are the heights measured, by area.
    """
    if not news.areas:
        return
    yield _due(news, day)
    columns = ["area", "expected>", "found>", "now>", "height>", "passes it, uncut", "cut to>"]
    rows = []
    for area in news.areas:
        height = found.get(area.area_id)
        rows.append(
            [
                area.label,
                range_words(area.expected_cm, area.unit),
                "" if height is None else f"{height:g} {area.unit}",
                range_words(area.height_cm_now, area.unit),
                f"{area.budget_cm:g} {area.unit}",
                _passes(area.passes_budget_on, day),
                "leave uncut"
                if area.cut_cm is None
                else cut_text(area.cut_cm, area.unit, area.least_cut_cm),
            ][: 7 if news.interval_d else 6]
        )
    yield Table(
        f"{tank_id} on {day_words(day, day)}",
        columns[: 7 if news.interval_d else 6],
        rows,
        [f"now {RANGES}", f"expected {RANGES}", "height", "expected", "found", RANGES],
    )
    for area in news.areas:
        if area.perhaps_cut is not None:
            yield _perhaps_cut(area, area.perhaps_cut, day)
    if news.unsure:
        yield (
            f"Too little is known of {and_list(news.unsure)} to say when the height budget is "
            "passed: measure the height before and after the next cut."
        )
    if news.interval_d is not None:
        yield f"Cut to: at visits every {news.interval_d} days, the rhythm. {RANGES_HOLD}"
    yield More()
    yield f"{tank_id}: {reason(news.advice)}."


def _perhaps_cut(area: AreaAfterVisit, cut: PerhapsCut, day: date) -> str:
    """Say why an area that looked over its budget stands lower than was expected."""
    when = (
        "at this visit"
        if cut.on == day
        else f"on {day_words(cut.on, day)}, where the log has its look alone"
    )
    return (
        f"{area.label} looked over its height budget and yet stands lower than was expected: it "
        f"may have been cut {when} (chance {as_chance(cut.chance)}). A height settles it: "
        f"{area.area_id}=/HEIGHT as left by the cut, or {area.area_id}=HEIGHT without one."
    )


def _due(news: AfterVisit, day: date) -> str:
    """Say by when to come again, and by what."""
    if news.due_on is None:
        return "No next visit is planned: nothing that is likely to hold grows here."
    why = {
        "rhythm": "that is its rhythm of visits",
        "limit": "that is its longest interval between visits",
        "chance": f"some area may stand over its height budget after that, {news.due_for} first",
    }[news.due_by]
    after_d = (news.due_on - day).days
    sooner = ""
    if news.due_by == "chance" and news.interval_d is not None and after_d < news.interval_d:
        sooner = f", sooner than the rhythm of {news.interval_d} days"
    until = days_in_words(after_d)
    return (
        f"Next due by {week_day_words(news.due_on, day)}, {until} after this visit{sooner}: {why}."
    )


def _passes(days: tuple[date | None, date | None, date | None], day: date) -> str:
    early, middle, late = days
    if early is None:
        return "not within the horizon"
    if middle is not None and middle <= day:
        return f"{OVERDUE} stands over it already"
    usual, end = ("later" if on is None else day_words(on, day) for on in (middle, late))
    return f"{usual} ({day_words(early, day)}–{end})"
