"""Plants that are not likely to hold under a tank's conditions, in words."""

from __future__ import annotations

from collections.abc import Sequence

from growthcast.say.words import percent
from growthcast.service.rescape.holding import NotHolding


def none_holds_in_words(lost: Sequence[NotHolding]) -> str:
    """Say why no interval is named for a tank whose plants all are not likely to hold."""
    return (
        f"no interval is named, since none of its plants is likely to hold ({_in_words(lost)}). "
        "Mend the conditions, or correct conditions.csv where it is wrong"
    )


def some_do_not_hold_in_words(lost: Sequence[NotHolding]) -> str:
    """Say which plants an interval is of no use to."""
    return f"Not likely to hold under the conditions given: {_in_words(lost)}"


def _in_words(lost: Sequence[NotHolding]) -> str:
    """Name areas with their chances, those that share a reason together."""
    together: dict[str, list[str]] = {}
    for one in lost:
        together.setdefault(one.why, []).append(f"{one.label} {percent(one.chance)}")
    return "; ".join(
        f"chance to hold: {', '.join(names)}, as {why}" for why, names in together.items()
    )
