"""What the sheets of a visit share: ranges, days in words, cautions and the order of work."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

import numpy as np

from growthcast.arrays import FloatArray, IntArray
from growthcast.fit.result import GrowthFit
from growthcast.forecast.report import as_date
from growthcast.service.effort import Range

__all__ = [
    "CAUTIONS",
    "about_days",
    "and_list",
    "as_chance",
    "cautions_for",
    "days_in_words",
    "ranges",
    "sooner_or_later",
    "whole_parts",
    "work_order",
]


CAUTIONS = (
    "Switch the mains off before hands go into the water, and on again before you leave.",
    "Rinse tools between tanks and keep one sponge for each tank: algae, snails, diseases travel.",
    "Net out the trimmings and bin or compost them: never into waterways, ponds or drains.",
)
"""Cautions of every visit (common practice, no source)."""
ORDER_OF_FORMS = ("floating", "stem", "creeping", "rosette", "epiphyte", "carpet", "moss")
"""From the surface down, mosses last: their fragments settle wherever water still moves (common
practice, no source)."""
SURELY, HARDLY = 0.995, 0.005


def ranges(draws: FloatArray) -> list[Range]:
    """Ranges of the rows of draws (A, D)."""
    quantiles = np.quantile(draws, (0.1, 0.5, 0.9), axis=1).T
    return [Range(*row) for row in quantiles.tolist()]


def sooner_or_later(
    from_day: float, days: FloatArray
) -> tuple[date | None, date | None, date | None]:
    """Dates by which something has happened with chances of 10, 50 and 90 %; ``None`` if not.

    ``days`` (D,) are each draw's days after ``from_day`` [day number], ``inf`` where never.
    """
    found = np.quantile(days, (0.1, 0.5, 0.9), method="inverted_cdf")
    first, middle, late = (
        as_date(from_day + np.ceil(day)) if np.isfinite(day) else None for day in found
    )
    return first, middle, late


def as_chance(chance: float) -> str:
    """Return a chance in per cent, never claiming certainty."""
    if chance >= SURELY:
        return "over 99 %"
    return "under 1 %" if chance < HARDLY else f"{100 * chance:.0f} %"


def days_in_words(days: float) -> str:
    """Return a number of days as a person says it."""
    whole = round(days)
    return "less than a day" if whole < 1 else "1 day" if whole == 1 else f"{whole} days"


def whole_parts(parts: Sequence[float]) -> list[int]:
    """Round parts to whole numbers that add up to their rounded sum.

    Examples
    --------
    >>> whole_parts((20.4, 45.4, 46.4))
    [20, 46, 46]
    """
    whole: list[int] = np.diff(np.round(np.cumsum([0.0, *parts]))).astype(np.int64).tolist()
    return whole


def about_days(days: float) -> str:
    """Return a number of days that is not known for sure as a person says it."""
    said = days_in_words(days)
    return said if days < 0.5 else f"about {said}"


def and_list(names: Sequence[str]) -> str:
    """Join names as a sentence does."""
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"


def cautions_for(fit: GrowthFit, areas: IntArray) -> tuple[str, ...]:
    """Cautions of a visit: the usual ones, and those of the plants in ``areas``, each once."""
    priors, species = fit.design.priors, fit.design.species
    said: dict[str, list[str]] = {}
    for place in dict.fromkeys(species[areas].tolist()):
        if caution := str(priors.caution[place]):
            said.setdefault(caution, []).append(str(priors.scientific_name[place]))
    return CAUTIONS + tuple(f"{and_list(names)}: {caution}" for caution, names in said.items())


def work_order(fit: GrowthFit, areas: IntArray, height_cm: FloatArray) -> list[int]:
    """Places in ``areas`` (A,) in the order of work: by form, the tallest first."""
    form = fit.design.priors.form[fit.design.species[areas]]
    rank = [ORDER_OF_FORMS.index(name) for name in form.tolist()]
    order: list[int] = np.lexsort((-height_cm, np.array(rank))).tolist()
    return order
