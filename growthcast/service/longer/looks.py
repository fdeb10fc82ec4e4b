"""What the next longer interval would cost in looks and save in time and money, in words."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from growthcast.plain import in_json, plain
from growthcast.service.effort import DAYS_PER_YEAR, Range, Saving

if TYPE_CHECKING:
    from growthcast.service.advice import OptionAdvice

__all__ = ["NextLonger", "next_longer"]


def _ranges(saved: Saving) -> dict[str, Range]:
    return {f"{name}_saved_range": made for name, made in plain(saved).items()}


def _bare(areas: tuple[tuple[str, float, float], ...]) -> list[dict[str, str | float]]:
    return [
        {"label": label, "cut_cm": round(cut, 2), "days_below_floor": round(days, 1)}
        for label, cut, days in areas
    ]


@dataclass(frozen=True, slots=True)
class NextLonger:
    """The next longer interval against the recommended one.

    ``presentable_days_lost`` is days a year on which some area stands outside floor and budget,
    more than now; ``bare_areas`` are the areas (label, cut [cm or % cover], days) that would have
    to be cut below their floors to hold the wanted chance, ``lost_areas`` those that not even the
    lowest safe cut saves. Savings are a year's, with their range over the draws of growth and
    minutes in ``saved``; negative where the longer interval costs more.
    """

    interval_d: int
    chance_all_within: float
    visits_over_per_year: float = field(metadata=in_json(digits=1))
    presentable_days_lost: float
    hours_saved: float
    cost_saved: float
    saved: Saving = field(metadata=in_json(into=_ranges, flat=True))
    bare_areas: tuple[tuple[str, float, float], ...] = field(metadata=in_json(into=_bare))
    lost_areas: tuple[str, ...]
    sentence: str


def next_longer(
    now: OptionAdvice, longer: OptionAdvice, saved: Saving, currency: str
) -> NextLonger:
    """Compare the recommended interval with the next longer one, cut as low as still looks right.

    ``saved`` is what it saves in a year, with a range.

    Examples
    --------
    A visit in ten finds some area over its height where the chance of none is 90 %: with a visit
    every 14 days that is 2.6 visits a year.
    """
    bare = tuple(
        (area.label, area.cut_needed_cm, area.days_below_floor)
        for area in longer.areas
        if area.cut_needed_cm is not None and area.days_below_floor > 0.0
    )
    lost = tuple(area.label for area in longer.areas if area.cut_needed_cm is None)
    over = (1.0 - longer.chance_all_within) * longer.year.visits
    over_now = (1.0 - now.chance_all_within) * now.year.visits
    days = DAYS_PER_YEAR * (now.share_of_days_presentable - longer.share_of_days_presentable)
    hours = now.year.hours - longer.year.hours
    cost = now.year.cost - longer.year.cost
    saves = f"saves {_with_range(hours, 'h', saved.hours)} and "
    saves += f"{_with_range(cost, currency, saved.cost)} a year"
    if hours < 0.0:
        saves = f"takes {_with_range(-hours, 'h', saved.hours.times(-1.0))} and "
        saves += f"{_with_range(-cost, currency, saved.cost.times(-1.0))} a year more"
    looks = (
        f"some area would be found over its height at {over:.0f} of {longer.year.visits:.0f} visits"
        f" a year (now {over_now:.0f} of {now.year.visits:.0f}), and "
        f"{max(days, 0.0):.0f} more days a year would not be presentable"
    )
    said = f"every {longer.interval_d} days instead of {now.interval_d} {saves}; {looks}"
    if bare and not lost:
        cuts = "; ".join(
            f"{label} to {cut:.1f}, bare for about {max(days_bare, 1):.0f} "
            f"day{'' if max(days_bare, 1) < 1.5 else 's'} after each visit"
            for label, cut, days_bare in bare
        )
        said += f". Cutting below the floor would hold it: {cuts}"
    elif lost:
        said += f". Not even the lowest safe cut would hold {' or '.join(lost)}"
    return NextLonger(
        interval_d=longer.interval_d,
        chance_all_within=longer.chance_all_within,
        visits_over_per_year=over,
        presentable_days_lost=days,
        hours_saved=hours,
        cost_saved=cost,
        saved=saved,
        bare_areas=bare,
        lost_areas=lost,
        sentence=said,
    )


def _with_range(value: float, unit: str, bounds: Range) -> str:
    low, high = sorted((bounds.p10, bounds.p90))
    return f"{value:.0f} {unit} ({low:.0f} to {high:.0f})"
