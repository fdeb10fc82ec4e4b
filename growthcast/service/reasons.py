"""The reason of a recommendation in words, with what would mend a shortfall."""

from __future__ import annotations

from dataclasses import dataclass

__all__ = ["Shortfall", "reason_for"]


@dataclass(frozen=True, slots=True)
class Shortfall:
    """Why an interval is not feasible: the area that fails first and what would make it hold.

    ``needed_floor_cm`` is the floor that would do (None: not even the lowest safe cut does),
    ``needed_budget_cm`` the budget that would; ``areas_short`` counts the areas that fall short.
    """

    interval_d: int
    area_id: str
    label: str
    unit: str
    chance_within: float
    chance_all_within: float
    floor_cm: float
    least_cut_cm: float
    budget_cm: float
    needed_floor_cm: float | None
    needed_budget_cm: float
    areas_short: int


def reason_for(
    interval_d: int | None,
    shortfall: Shortfall | None,
    *,
    confidence: float,
    cap_d: int,
    capped: bool,
) -> str:
    """Say why this interval is recommended, or why none is."""
    wanted = percent(confidence)
    if shortfall is None:
        if capped:
            return (
                f"the plants would hold longer; {cap_d} days is this tank's own limit "
                "(longest_interval_d)"
            )
        return (
            f"every area stays inside its height with at least {wanted} chance even at the "
            f"longest interval, {interval_d} days"
        )
    chance = percent(shortfall.chance_all_within)
    if chance == wanted:  # a near miss must not read like a hit
        chance = percent(shortfall.chance_all_within, digits=1)
    fails = (
        f"at {shortfall.interval_d} days the chance that every area stays inside its height is "
        f"{chance}, not {wanted}; {shortfall.label} is the first "
        f"to go over ({percent(shortfall.chance_within)} when cut to "
        f"{shortfall.least_cut_cm:.3g} {shortfall.unit})"
    )
    mend = _mend(shortfall)
    if interval_d is None:
        return f"no listed interval is short enough: {fails}. {mend}"
    return f"{fails}. {mend}"


def percent(share: float, digits: int = 0) -> str:
    """Return a share as percent."""
    return f"{100 * share:.{digits}f} %"


def _mend(shortfall: Shortfall) -> str:
    unit = shortfall.unit
    ways = [f"a height budget of {shortfall.needed_budget_cm:.1f} {unit}"]
    lower = shortfall.needed_floor_cm
    if lower is not None and lower < shortfall.floor_cm:
        ways.append(f"a floor of {lower:.1f} {unit}")
    text = f"{shortfall.label} would hold {shortfall.interval_d} days with {' or '.join(ways)}"
    more = shortfall.areas_short - 1
    if more > 0:
        areas = "one more area falls" if more == 1 else f"{more} more areas fall"
        text += f"; {areas} short as well"
    return text + "."
