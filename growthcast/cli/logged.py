"""What ``log`` says after it has written: what was expected, what stands, when to come again."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from typing import TYPE_CHECKING

from growthcast.cli.output import print_line, print_table

if TYPE_CHECKING:
    from growthcast.service.logged import AfterVisit

__all__ = ["print_outlook"]


def print_outlook(news: AfterVisit, tank_id: str, day: date, found: Mapping[str, float]) -> None:
    """Print a tank's areas after a visit; ``found`` are the heights measured, by area."""
    if not news.areas:
        return
    print_table(
        f"{tank_id} on {day} (ranges hold 8 times of 10)",
        ["area", "expected today>", "found>", "stands now>"],
        [
            [
                area.label,
                _range(area.expected, area.unit),
                f"{found[area.area_id]:g} {area.unit}" if area.area_id in found else "",
                _range(area.stands, area.unit),
            ]
            for area in news.areas
        ],
    )
    every = "" if news.interval_d is None else f"; cut for a visit every {news.interval_d} days"
    print_table(
        f"{tank_id} from here on{every}",
        ["area", "height budget>", "passes it, if nothing more is cut", "cut to>"],
        [
            [
                area.label,
                f"{area.budget:g} {area.unit}",
                _passes(area.passes_on, day),
                _cut(area.cut_to, area.unit, known=news.interval_d is not None),
            ]
            for area in news.areas
        ],
    )
    print_line(_due(news, day))
    if news.unsure:
        print_line(
            f"Too little is known of {', '.join(news.unsure)} to name a day: measure the height "
            "before and after the next cut."
        )
    print_line(f"{tank_id}: {news.reason}")


def _cut(height: float | None, unit: str, *, known: bool) -> str:
    if height is None:
        return "leave uncut" if known else ""
    return f"{height:.1f} {unit}"


def _due(news: AfterVisit, day: date) -> str:
    if news.due_for is None:
        return f"Next due by {news.due_on}: the longest interval between visits here."
    if news.due_on <= day:
        return f"Due now: {news.due_for} stands over its height budget."
    days = (news.due_on - day).days
    when = "the day after" if days == 1 else f"{days} days after"
    return (
        f"Next due by {news.due_on}, {when} this visit: until then {news.due_for} stays inside its "
        "height budget 9 times of 10."
    )


def _range(quantiles: tuple[float, float, float], unit: str) -> str:
    low, middle, high = quantiles
    return f"{middle:.1f} {unit} ({low:.1f} to {high:.1f})"


def _passes(days: tuple[date | None, date | None, date | None], day: date) -> str:
    early, middle, late = days
    if early is None:
        return "not within the horizon"
    if middle is not None and middle <= day:
        return "stands over it already"
    usual = "later" if middle is None else middle.isoformat()
    return f"{usual} ({early} to {'later' if late is None else late})"
