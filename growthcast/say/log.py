"""What a logged visit changes, in words: what was expected, what stands, when to come again."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from typing import Any

from growthcast.plain import plain
from growthcast.say.reasons import reason
from growthcast.say.words import Table, Words, and_list, days_in_words, range_words
from growthcast.service.logged import AfterVisit


def outlook_for_programs(news: AfterVisit) -> dict[str, Any]:
    """Return what a visit changes as ``--json`` prints it, the reason of the interval with it."""
    answer: dict[str, Any] = plain(news)
    return answer | {"reason": reason(news.advice)}


def outlook_words(
    news: AfterVisit, tank_id: str, day: date, found: Mapping[str, float | str | None]
) -> Words:
    """Yield a tank's areas after a visit; ``found`` are the heights measured, by area."""
    if not news.areas:
        return
    columns = 3 if news.interval_d is None else 4  # cuts are those of an interval
    expected, passing = [], []
    for area in news.areas:
        height = found.get(area.area_id)
        expected.append(
            [
                area.label,
                range_words(area.expected_cm, area.unit),
                "" if height is None else f"{height:g} {area.unit}",
                range_words(area.height_cm_now, area.unit),
            ]
        )
        cut = "leave uncut" if area.cut_cm is None else f"{area.cut_cm:.1f} {area.unit}"
        passes = _passes(area.passes_budget_on, day)
        passing.append([area.label, f"{area.budget_cm:g} {area.unit}", passes, cut][:columns])
    yield Table(
        f"{tank_id} on {day} (ranges hold 8 times of 10)",
        ["area", "expected today>", "found>", "stands now>"],
        expected,
    )
    every = "" if news.interval_d is None else f"; cut for a visit every {news.interval_d} days"
    yield Table(
        f"{tank_id} from here on{every}",
        ["area", "height budget>", "passes it, if nothing more is cut", "cut to>"][:columns],
        passing,
    )
    yield _due(news, day)
    if news.unsure:
        yield (
            f"Too little is known of {and_list(news.unsure)} to say when the height budget is "
            "passed: measure the height before and after the next cut."
        )
    yield f"{tank_id}: {reason(news.advice)}"


def _due(news: AfterVisit, day: date) -> str:
    """Say by when to come again, and by what."""
    if news.due_on is None:
        return "No next visit is planned: nothing that is likely to hold grows here."
    why = {
        "rhythm": "that is its rhythm of visits",
        "limit": "that is its longest interval between visits",
        "chance": f"some area may stand over its height budget after that, {news.due_for} first",
    }[news.due_by]
    until = days_in_words((news.due_on - day).days)
    return f"Next due by {news.due_on}, {until} after this visit: {why}."


def _passes(days: tuple[date | None, date | None, date | None], day: date) -> str:
    early, middle, late = days
    if early is None:
        return "not within the horizon"
    if middle is not None and middle <= day:
        return "stands over it already"
    usual = "later" if middle is None else middle.isoformat()
    return f"{usual} ({early} to {'later' if late is None else late})"
