"""Doubts about what was typed, in words: what was found, what was expected, what may lie behind."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from growthcast.book.words import plain as number
from growthcast.plain import plain
from growthcast.service.doubts.typed import Doubt

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
    return f"{low:.1f} to {high:.1f} {doubt.unit} (8 times of 10)"


def _weight(doubt: Doubt) -> str:
    found = f"{number(float(doubt.found))} g"
    if doubt.against == "uncut":
        return f"{found}, while every area was left uncut"
    low, middle, high = (_grams(grams) for grams in doubt.expected)
    return (
        f"{found}; {WEIGHED[doubt.against]} is expected to weigh {middle} g ({low} to {high} g, "
        "8 times of 10)"
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
