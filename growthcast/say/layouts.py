"""Layouts of a tank side by side, in words."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from growthcast.plain import plain
from growthcast.say.interval import effort_cells
from growthcast.say.rescape import HELD, saves_in_words
from growthcast.say.supposed import limits_words, none_holds_in_words, some_do_not_hold_in_words
from growthcast.say.words import Beside, Table, Words, percent, with_range
from growthcast.service.holding import NOT_LIKELY
from growthcast.service.rescape.layouts import LayoutAdvice


def layouts_words(tank_id: str, currency: str, advice: Sequence[LayoutAdvice]) -> Words:
    """Yield what each layout of a tank allows beside the tank as it is."""
    for one in advice:
        if one.ground_share is not None and one.ground_share > 1.0:
            yield Beside(
                f"{one.name}: its areas together are {percent(one.ground_share)} of the tank's "
                "ground; check area_cm2."
            )
    yield Table(
        f"Layouts of {tank_id}, each at the longest interval it holds",
        ["layout", "areas>", "visit every", "all inside>", "presentable>", "limited by"],
        [_looks_row(one) for one in advice],
    )
    if named := [one for one in advice if not one.nothing_holds]:
        yield from _takes(tank_id, currency, named)
    for one in advice:
        saves = ""
        if one.saves is not None and not one.nothing_holds:
            saves = f"; against the tank as it is it {saves_in_words(one.saves, currency)}"
        yield f"{one.name}: {_reason(one)}{saves}."
    for one in advice:
        for area in one.areas:
            if area.doubts and area.chance_holds >= NOT_LIKELY:  # else it is in the answer
                yield Beside(f"{one.name}, {area.area_id}: {limits_words(area.doubts)}.")
            if area.caution and not area.keeps_its_log:
                yield Beside(f"{one.name}, {area.area_id}: {area.caution}")


def _takes(tank_id: str, currency: str, named: Sequence[LayoutAdvice]) -> Words:
    yield Table(
        "What they take at that interval (time includes travel)",
        ["layout", "a visit>", "a year>", f"{currency} a year>"],
        [[one.name, *effort_cells(one.answer.chosen)] for one in named],
    )
    yield Table(
        f"{tank_id}: each listed interval",
        ["layout", "every>", "at the floor>", "a year>", f"{currency} a year>"],
        [row for one in named for row in _option_rows(one)],
    )
    for one in named:
        if one.interval_d is None:
            shortest = one.answer.chosen.interval_d
            yield (f"{one.name}: none of the listed intervals holds; {shortest} days are shown.")
    yield (
        "Presentable: days with every area between floor and height. At the floor: all inside if "
        f"cut as low as still looks right. {HELD}"
    )


def _looks_row(one: LayoutAdvice) -> list[str]:
    chosen, days = one.answer.chosen, one.interval_d
    every = "none" if days is None else f"{days} days"
    if one.nothing_holds:
        return [one.name, f"{len(one.areas)}", "none", "", "", "not likely to hold"]
    return [
        one.name,
        f"{len(one.areas)}",
        every,
        percent(chosen.chance_all_within),
        percent(chosen.share_of_days_presentable),
        "nothing" if one.limited_by is None else one.areas[one.limited_by].area_id,
    ]


def _option_rows(one: LayoutAdvice) -> list[list[str]]:
    return [
        [
            "" if n else one.name,
            f"{o.interval_d} days",
            percent(o.chance_at_least_cut),
            with_range(o.year.hours_range, "h"),
            with_range(o.year.cost_range),
        ]
        for n, o in enumerate(one.answer.options)
    ]


def _reason(one: LayoutAdvice) -> str:
    answer, days = one.answer, one.interval_d
    if one.nothing_holds:
        return none_holds_in_words(one.lost)
    new = [area.area_id for area in one.areas if not area.keeps_its_log]
    rests = f"; new, so without a log of their own: {', '.join(new)}" if new else ""
    if one.lost:
        rests += f". {some_do_not_hold_in_words(one.lost)}"
    if one.limited_by is None:
        return f"every area stays inside even at {answer.options[-1].interval_d} days{rests}"
    area = one.areas[one.limited_by]
    failing = next(o for o in answer.options if days is None or o.interval_d > days)
    held = "no listed interval is short enough" if days is None else f"{days} days hold"
    within = failing.chance_within[one.limited_by]
    return (
        f"{held}; at {failing.interval_d} days {area.area_id} ({area.species_id}) is the first to "
        f"go over: {100 * within:.0f} % when cut to its floor, "
        f"{100 * failing.chance_all_within:.0f} % for all areas{rests}"
    )


def layout_in_json(one: LayoutAdvice) -> dict[str, Any]:
    """Return a layout's answer for programs, with its reason."""
    limited = None if one.limited_by is None else one.areas[one.limited_by].area_id
    made = plain(one)
    for row, area in zip(made["areas"], one.areas, strict=True):
        row["doubts"] = [limits_words([limit]) for limit in area.doubts]
    return {
        **made,
        "recommended_interval_d": one.interval_d,
        "limited_by": limited,
        "reason": _reason(one),
    }
