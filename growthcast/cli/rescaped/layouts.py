"""Layouts of a tank side by side, as tables and JSON."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

from growthcast.book.book import Book
from growthcast.book.report import format_findings, summary_for_commands
from growthcast.book.supposed.layouts import read_layout
from growthcast.cli.output import print_json, print_line, print_table, say
from growthcast.cli.rescaped.answers import HELD, saves_in_words
from growthcast.errors import BookProblems, Finding, UsageError
from growthcast.fit.result import GrowthFit
from growthcast.fit.supposed import day_of
from growthcast.plain import plain
from growthcast.say.words import with_range
from growthcast.service.rescape.layouts import LayoutAdvice, compare_layouts
from growthcast.service.rescape.notes import (
    NOT_LIKELY,
    none_holds_in_words,
    some_do_not_hold_in_words,
)

__all__ = ["answer_layouts"]


def answer_layouts(
    book: Book,
    fit: GrowthFit,
    tank: int,
    files: list[Path],
    plot: Path | None,
    *,
    as_json: bool,
) -> None:
    """Print what each layout of a tank allows beside the tank as it is."""
    tank_id = str(fit.design.tank_id[tank])
    layouts, problems = [], []
    for file in files:
        try:
            layouts.append(read_layout(file, book, tank_id, day_of(fit)))
        except BookProblems as found:
            problems += list(found.findings)
    if problems:
        say(format_findings(problems))
        raise UsageError("a layout has problems, so nothing was compared")
    names = [layout.name for layout in layouts]
    if len(set(names)) < len(names):
        raise UsageError("two layouts have the same file name; rename one to tell them apart")
    notes: list[Finding] = [item for layout in layouts for item in layout.findings]
    if beside := summary_for_commands(notes):
        say(beside.replace(": see growthcast check", ""))
    advice = compare_layouts(book, fit, tank, layouts)
    for one in advice:
        if one.ground_share is not None and one.ground_share > 1.0:
            say(
                f"{one.name}: its areas together are {100 * one.ground_share:.0f} % of the tank's "
                "ground; check area_cm2."
            )
    if plot is not None:
        from growthcast.figures.rescaped.layouts import save_layouts_figure

        save_layouts_figure(book, tank_id, advice, plot)
        say(f"Wrote {plot}")
    if as_json:
        print_json(
            {
                "tank_id": tank_id,
                "currency": book.practice.currency,
                "layouts": [_as_dict(one) for one in advice],
            },
            fit,
        )
        return
    _tables(book, tank_id, advice)


def _tables(book: Book, tank_id: str, advice: list[LayoutAdvice]) -> None:
    currency = book.practice.currency
    print_table(
        f"Layouts of {tank_id}, each at the longest interval it holds",
        ["layout", "areas>", "visit every", "all inside>", "presentable>", "limited by"],
        [_looks_row(one) for one in advice],
    )
    if named := [one for one in advice if not one.nothing_holds]:
        _take_tables(tank_id, currency, named)
    for one in advice:
        saves = ""
        if one.saves is not None and not one.nothing_holds:
            saves = f"; against the tank as it is it {saves_in_words(one.saves, currency)}"
        print_line(f"{one.name}: {_reason(one)}{saves}.")
    for one in advice:
        for area in one.areas:
            if area.doubts and area.chance_holds >= NOT_LIKELY:  # else it is in the answer
                say(f"{one.name}, {area.area_id}: {' and '.join(area.doubts)}.")
            if area.caution and not area.keeps_its_log:
                say(f"{one.name}, {area.area_id}: {area.caution}")


def _take_tables(tank_id: str, currency: str, named: list[LayoutAdvice]) -> None:
    print_table(
        "What they take at that interval (time includes travel)",
        ["layout", "a visit>", "a year>", f"{currency} a year>"],
        [_effort_row(one) for one in named],
    )
    print_table(
        f"{tank_id}: each listed interval",
        ["layout", "every>", "at the floor>", "a year>", f"{currency} a year>"],
        [row for one in named for row in _option_rows(one)],
    )
    for one in named:
        if one.interval_d is None:
            shortest = one.answer.chosen.interval_d
            print_line(
                f"{one.name}: none of the listed intervals holds; {shortest} days are shown."
            )
    print_line(
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
        f"{100 * chosen.chance_all_within:.0f} %",
        f"{100 * chosen.share_of_days_presentable:.0f} %",
        "nothing" if one.limited_by is None else one.areas[one.limited_by].area_id,
    ]


def _effort_row(one: LayoutAdvice) -> list[str]:
    chosen = one.answer.chosen
    visit = replace(chosen.minutes_range, p50=chosen.minutes_per_visit)
    year = chosen.year
    return [
        one.name,
        with_range(visit, "min"),
        with_range(year.hours_range, "h"),
        with_range(year.cost_range),
    ]


def _option_rows(one: LayoutAdvice) -> list[list[str]]:
    return [
        [
            "" if n else one.name,
            f"{o.interval_d} days",
            f"{100 * o.chance_at_least_cut:.0f} %",
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


def _as_dict(one: LayoutAdvice) -> dict[str, Any]:
    limited = None if one.limited_by is None else one.areas[one.limited_by].area_id
    return {
        **plain(one),
        "recommended_interval_d": one.interval_d,
        "limited_by": limited,
        "reason": _reason(one),
    }
