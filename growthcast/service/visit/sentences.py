"""The words of a visit's sheet: its conclusion and what to watch."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import date
from typing import TYPE_CHECKING

import numpy as np

from growthcast.arrays import IntArray
from growthcast.book.book import Book
from growthcast.fit.result import GrowthFit
from growthcast.service.reasons import limit_in_words
from growthcast.service.visit.words import about_days, and_list, as_chance, days_in_words

if TYPE_CHECKING:
    from growthcast.service.visit.cuts import AreaCut, Rhythm

__all__ = ["sheet_sentence", "watch_list"]

HARD_CUT_SHARE = 0.5
"""More than this off at once makes a plant pause (an estimate of the trade)."""
WIDE_SHARE = 0.35
"""A height is worth measuring first when its range is wider than this share of it."""


def sheet_sentence(
    areas: Sequence[AreaCut],
    next_on: date,
    interval_d: int,
    confidence: float,
    chance: float,
    rhythm: Rhythm | None,
    feasible: bool,
    holds_until: date | None,
) -> str:
    """Say whether the cuts last until the next visit, what a rhythm gives, and what would last."""
    if rhythm is None:
        return "Nothing is planted in this tank today, so there is nothing to cut."
    until = f"{next_on} ({days_in_words(interval_d)})"
    if feasible:
        return (
            f"Cut as below, every area stays inside its height until {until} "
            f"with a chance of {as_chance(chance)} (wanted: {100 * confidence:.0f} %)."
            f"{_rhythm_sentence(chance, rhythm, interval_d)}"
        )
    worst = min(areas, key=lambda area: area.chance_within)
    shown = as_chance(chance)
    if shown == as_chance(confidence):  # a near miss must not read like a hit
        shown = f"{100 * chance:.1f} %"
    said = (
        f"Even cut as low as still looks right, the chance that every area stays inside its height "
        f"until {until} is {shown}, not {100 * confidence:.0f} %; {worst.label} is the "
        f"first to go over.{_rhythm_sentence(chance, rhythm, interval_d)}"
    )
    if holds_until is None:
        return (
            said + " Not even tomorrow would hold: this tank needs a higher budget or lower floor."
        )
    return said + f" A next visit by {holds_until} would hold."


def _rhythm_sentence(chance: float, rhythm: Rhythm, interval_d: int) -> str:
    """Say what regular visits would give where that is not the same, and why."""
    regular, lower = as_chance(rhythm.chance_all_within), rhythm.height_share < 1.0
    if regular == as_chance(chance):
        return ""
    said = f" At a steady rhythm of {days_in_words(interval_d)} it would be {regular}"
    off = round(100 * abs(rhythm.height_share - 1.0))
    if chance > rhythm.chance_all_within:
        follows = "have more room" if lower else "are cut harder and rest longer"
    else:
        follows = "are cut less and grow on sooner" if lower else ""
    if off and follows:
        said += (
            f": today the areas stand on average {off} % {'lower' if lower else 'higher'} than a "
            f"regular visit finds them, so they {follows}"
        )
    return f"{said}."


def watch_list(
    book: Book,
    fit: GrowthFit,
    places: IntArray,
    areas: Sequence[AreaCut],
    on: date,
    *,
    feasible: bool,
) -> tuple[str, ...]:
    """Say what to look at in today's visit, the pressing first."""
    said = [*_stands(areas)]
    if not feasible:
        said += [sentence for area in areas for sentence in _falls_short(area)]
        short = [area.area_id for area in areas if area.needed_cut_cm is None]
        ids = fit.design.area_id[places].tolist()
        limits = [
            limit_in_words(fit, a) for a, i in zip(places.tolist(), ids, strict=True) if i in short
        ]
        said += [f"{limit}." for limit in dict.fromkeys(limits) if limit]
    said += _hard_cuts(areas)
    said += _measure(areas)
    names = dict(zip((area.area_id for area in areas), (area.label for area in areas), strict=True))
    unsettled = [
        names[str(fit.design.area_id[a])] for a in places.tolist() if not fit.solution.converged[a]
    ]
    if unsettled:
        said.append(f"The fit did not settle for {and_list(unsettled)}: trust the ruler, not this.")
    today = book.trims.date("date").astype("datetime64[D]") == np.datetime64(on, "D")
    logged = set(book.trims.text("area_id")[today].tolist()) & set(names)
    if logged:
        listed = and_list([names[name] for name in sorted(logged)])
        said.append(f"The log already has rows of today for {listed}; heights are after them.")
    return tuple(said)


def _stands(areas: Sequence[AreaCut]) -> Iterator[str]:
    """Say which areas stand outside their bounds today."""

    def listed(some: Sequence[AreaCut], bound: str) -> str:
        return and_list(
            [
                f"{area.label} ({area.height_now_cm.in_words(area.unit)} against "
                f"{getattr(area, bound):g})"
                for area in some
            ]
        )

    if over := [area for area in areas if area.chance_over_now >= 0.5]:
        yield f"Probably over its height already: {listed(over, 'budget_cm')}."
    if maybe := [area for area in areas if 0.1 <= area.chance_over_now < 0.5]:
        named = [f"{area.label} (chance {as_chance(area.chance_over_now)})" for area in maybe]
        yield f"Perhaps over its height already: {and_list(named)}."
    if low := [area for area in areas if area.height_now_cm.p90 < area.floor_cm]:
        yield f"Still below its floor, so leave it: {listed(low, 'floor_cm')}."


def _falls_short(area: AreaCut) -> Iterator[str]:
    """Say which cut would last although it looks bare."""
    if area.needed_cut_cm is None:
        yield (
            f"{area.label} does not last until the next visit even from its lowest safe cut, "
            f"{area.lowest_safe_cut_cm:g} {area.unit}."
        )
    elif area.needed_cut_cm < area.least_cut_cm - 0.05:
        yield (
            f"{area.label} would last from {area.needed_cut_cm:.1f} {area.unit}, below its floor "
            f"of {area.floor_cm:g} {area.unit}; it would look bare for "
            f"{about_days(area.days_below_floor)}."
        )


def _hard_cuts(areas: Sequence[AreaCut]) -> Iterator[str]:
    hard = [
        f"{area.label} ({100 * area.removed_share:.0f} %)"
        for area in areas
        if area.action == "cut" and round(100 * area.removed_share) > 100 * HARD_CUT_SHARE
    ]
    if hard:
        yield (
            f"More than half comes off {and_list(hard)}: growth may pause for some days, and "
            "shaded lower leaves may show."
        )


def _measure(areas: Sequence[AreaCut]) -> Iterator[str]:
    """Name the areas whose height is worth a ruler."""
    new = [area.label for area in areas if area.basis != "log"]
    if new:
        yield f"Measure {and_list(new)} before and after: little of their own is logged yet."
    wide = [
        area.label
        for area in areas
        if area.basis == "log"
        and area.height_now_cm.p90 - area.height_now_cm.p10 > WIDE_SHARE * area.height_now_cm.p50
    ]
    if wide:
        yield f"Measure {and_list(wide)} first: the height today is not known well."
