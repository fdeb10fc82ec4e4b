"""A logged visit in words: what is odd about what was typed, and what the visit changes."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date
from typing import Any

from growthcast.book.words import plain as number
from growthcast.plain import plain
from growthcast.say.reasons import reason
from growthcast.say.texts import TERMINAL, Texts
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
    named,
    range_words,
    week_day_words,
)
from growthcast.service.doubts.typed import Doubt
from growthcast.service.visit.logged import AfterVisit, AreaAfterVisit, PerhapsCut

LARGE_G = 999.5
"""Heavier weights are said to ten grams."""


def doubts_for_programs(doubts: Sequence[Doubt]) -> list[dict[str, Any]]:
    """Return doubts as ``--json`` prints them, with their sentences."""
    return [
        plain(doubt) | {"sentence": doubt_sentence(doubt), "cause": cause_words(doubt) or None}
        for doubt in doubts
    ]


def questions(doubts: Sequence[Doubt], texts: Texts = TERMINAL) -> dict[str | None, list[str]]:
    """Return doubts as questions by area, ``None`` for the whole tank."""
    asked: dict[str | None, list[str]] = {}
    for doubt in doubts:
        asked.setdefault(doubt.area_id, []).append(doubt_words(doubt, texts))
    return asked


def doubt_words(doubt: Doubt, texts: Texts = TERMINAL) -> str:
    """Return a doubt with its cause as a question."""
    return ": ".join(filter(None, [doubt_sentence(doubt, texts), cause_words(doubt, texts)]))


def doubt_sentence(doubt: Doubt, texts: Texts = TERMINAL) -> str:
    """Say what was typed and what was expected."""
    unit = doubt.unit
    if isinstance(doubt.found, str):
        floor, budget = (texts.typed(bound) for bound in doubt.bounds)
        look, stands = texts.say(f"look_{doubt.found}"), _stands(doubt, texts)
        blanks = {"look": look, "stands": stands, "floor": floor, "budget": budget, "unit": unit}
        return texts.say("doubt_look", **blanks)
    found = f"{texts.typed(doubt.found)} {unit}"
    if unit == "g" and doubt.against == "uncut":
        return texts.say("doubt_uncut", found=found)
    if unit == "g":
        grams = (round(g, -1) if g >= LARGE_G else float(f"{g:.3g}") for g in doubt.expected)
        low, middle, high = (texts.typed(gram) for gram in grams)
        what = texts.say(f"doubt_weighs_{doubt.against.replace(' ', '_')}")
        return texts.say("doubt_weighs", found=found, what=what, middle=middle, low=low, high=high)
    if doubt.column == "after_cm" and doubt.against != "height":
        found = texts.say("doubt_cut_to", found=found)
    if doubt.column == "removed_cm":
        found = texts.say("doubt_taken", found=found)
    if doubt.against in ("cuts", "table"):
        key = "doubt_never" if doubt.against == "cuts" else "doubt_table"
        key += "_ever" if doubt.against == "table" and doubt.cuts else ""
        lowest, cuts = f"{texts.typed(doubt.lowest)} {unit}", texts.number(doubt.cuts)
        return texts.say(key, found=found, lowest=lowest, n=cuts)
    key = "doubt_to_stand" if doubt.against == "stand" else "doubt_expected"
    return texts.say(key, found=found, stands=_stands(doubt, texts))


def _stands(doubt: Doubt, texts: Texts) -> str:
    """Say how high an area is expected to stand."""
    if doubt.guessed:
        low, high = (texts.typed(bound) for bound in doubt.bounds)
        return texts.say("doubt_bounds", low=low, high=high, unit=doubt.unit)
    low, _, high = (texts.number(end, 1) for end in doubt.stands)
    return texts.say("doubt_stands", low=low, high=high, unit=doubt.unit)


def cause_words(doubt: Doubt, texts: Texts = TERMINAL) -> str:
    """Ask for what may lie behind a doubt, "" where nothing suggests itself."""
    cause, found = doubt.cause, doubt.found
    if cause is None:
        return ""
    fits = "" if cause.fits is None else f"{texts.typed(cause.fits)} {doubt.unit}"
    return texts.say(
        f"cause_{cause.kind.replace(' ', '_')}",
        label=named(cause.label),
        area=doubt.area_id or "",
        found=found if isinstance(found, str) else number(found),
        fits=texts.say("cause_fits", fits=fits) if fits else "",
    ).rstrip()


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
