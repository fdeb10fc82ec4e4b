"""Cautions in words: what speaks against a plant or a supposed condition."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from growthcast.arrays import IntArray
from growthcast.book.book import Book
from growthcast.fit.result import OWN_SPANS_FOR_LOG, GrowthFit
from growthcast.fit.supposed import Supposed, conditions_now, conditions_since
from growthcast.plain import HIDDEN, in_json
from growthcast.service.rescape.holding import Holding, holding

__all__ = [
    "LIKELY",
    "NOT_LIKELY",
    "NotHolding",
    "holding_of",
    "holding_words",
    "is_regulated",
    "none_holds_in_words",
    "not_holding",
    "some_do_not_hold_in_words",
    "supposed_cautions",
]


LIKELY = 0.8
"""A chance of holding below this is a doubt worth a sentence."""
NOT_LIKELY = 0.5
"""Below this a plant is more likely lost than not, and no interval is of use to it."""
CO2_CAUTION_MG_L = 30.0


@dataclass(frozen=True, slots=True)
class NotHolding:
    """An area whose plant is not likely to hold: its chance [0-1], and why in words."""

    area_id: str
    label: str = field(metadata=HIDDEN)
    chance: float = field(metadata=in_json("chance_holds"))
    why: str


def holding_of(
    book: Book, fit: GrowthFit, conditions: Mapping[str, float], areas: IntArray
) -> Holding:
    """Return the chances that areas (n,) hold under a tank's conditions."""
    design = fit.design
    traits, water = design.traits, design.water_depth_cm[design.tank[areas]]
    middle = 0.5 * (traits.floor_cm[areas] + traits.budget_cm[areas])
    canopy = np.where(design.is_cover[areas], water, np.minimum(middle, water))
    share = book.areas.number("light_share")[areas]
    share = np.where(np.isnan(share), 1.0, share)
    return holding(conditions, design.priors, design.species[areas], share, canopy)


def holding_words(chances: Holding, i: int) -> list[str]:
    """Say what speaks against a plant's holding at all; empty where nothing does."""
    said = []
    if chances.light[i] < LIKELY:
        said.append("the light is near or below what it lives on")
    if chances.warmth[i] < LIKELY:
        said.append("the water is near or outside its limits of warmth")
    if chances.co2[i] < LIKELY:
        said.append("it needs more CO2 than the tank has")
    return said


def not_holding(book: Book, fit: GrowthFit, tank: int, areas: IntArray) -> tuple[NotHolding, ...]:
    """Return those of a tank's areas (n,) that are not likely to hold under its conditions.

    An area whose own log tells of growth since these conditions began is seen to hold, whatever
    the table says of its plant.
    """
    chances = holding_of(book, fit, conditions_now(fit, tank), areas)
    doubtful = chances.chance < NOT_LIKELY
    if not doubtful.any():
        return ()
    unseen = fit.spans_since(conditions_since(fit, tank))[areas] < OWN_SPANS_FOR_LOG
    names, labels = book.areas.text("area_id"), book.areas.text("label")
    return tuple(
        NotHolding(
            area_id=str(names[areas[i]]),
            label=str(labels[areas[i]] or names[areas[i]]),
            chance=float(chances.chance[i]),
            why=" and ".join(holding_words(chances, i)) or "light, warmth and CO2 together",
        )
        for i in np.flatnonzero(doubtful & unseen).tolist()
    )


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
        together.setdefault(one.why, []).append(f"{one.label} {100 * one.chance:.0f} %")
    return "; ".join(
        f"chance to hold: {', '.join(names)}, as {why}" for why, names in together.items()
    )


def is_regulated(caution: str) -> bool:
    """Tell whether a species' caution, or that of its relatives, is one of local rules."""
    return "check local rules" in caution


def supposed_cautions(supposed: Supposed) -> list[str]:
    """Return what a person should know before doing what is supposed, in sentences."""
    fit, design = supposed.fit, supposed.fit.design
    said = []
    if supposed.changes.conditions.get("co2_mg_l", 0.0) > CO2_CAUTION_MG_L:
        said.append(
            "CO2 above 30 mg/L: fish may gasp and die; watch the livestock, and follow the rules "
            "and the vet of your place."
        )
    areas = np.flatnonzero(design.alive & (design.tank == supposed.tank))
    chances = holding_of(supposed.book, fit, conditions_now(fit, supposed.tank), areas)
    new = set(supposed.plants.values())
    ceiling = np.exp(design.problem.pooling.log_ceiling)
    for i, area in enumerate(areas.tolist()):
        species, name = int(design.species[area]), str(design.area_id[area])
        plant = design.priors.species_id[species]
        said.extend(
            f"{name}: {words}; the chance that {plant} holds there is "
            f"{100 * chances.chance[i]:.0f} %."
            for words in holding_words(chances, i)
        )
        if name not in new:
            continue
        if ceiling[area] <= design.traits.floor_cm[area]:
            said.append(
                f"{name}: it grows to about {ceiling[area]:.3g} cm, no higher than the floor of "
                f"{design.traits.floor_cm[area]:.3g} cm, so it never comes up to the look."
            )
        if caution := str(design.priors.caution[species]):
            said.append(f"{name}: {caution}")
    return said
