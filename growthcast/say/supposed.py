"""What an answer rests on: book, day and fit, what is assumed or supposed, what does not hold."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from datetime import date
from math import exp
from typing import Any

import numpy as np

from growthcast.book.book import Book
from growthcast.book.tables import CONDITION_WORDS
from growthcast.book.words import some_of
from growthcast.fit.growth import last_logged
from growthcast.fit.result import GrowthFit
from growthcast.fit.supposed import Supposed
from growthcast.growth.normal import normal_quantile
from growthcast.plain import Said
from growthcast.say.texts import TERMINAL, Texts
from growthcast.say.words import Answer, capital, named, sentence
from growthcast.service.holding import Limit, NotHolding, co2_assumed, holding_of
from growthcast.species import read_reference

MOST_NAMED = 5


def none_added_words() -> str:
    """Say which CO2 stands for none added, and how far it may be off in 8 tanks of 10.

    Examples
    --------
    >>> none_added_words()
    'taken as 3 mg/L, 2 to 5 in 8 tanks of 10 by common practice'
    """
    reference = read_reference()
    middle = reference.none_added_co2_mg_l
    off = exp(normal_quantile(np.array(0.9)) * reference.none_added_co2_spread)
    return sentence("co2_none", middle=middle, low=middle / off, high=middle * off)


def co2_words(book: Book, *, unknown: bool = True) -> list[str]:
    """Say for which planted tanks CO2 is assumed, and what.

    ``unknown`` also names the tanks whose CO2 nobody ever gave.
    """
    none, blank = co2_assumed(book)
    said = []
    if none:
        said.append(f"No CO2 is added in {_named(none)}: {none_added_words()}.")
    if unknown and blank:
        co2 = read_reference().conditions["co2_mg_l"]
        said.append(sentence("co2_unknown", tanks=_named(blank), co2=co2))
    return said


def _named(tanks: Sequence[str]) -> str:
    rest = len(tanks) - MOST_NAMED
    return ", ".join(tanks[:MOST_NAMED]) + (f" and {rest} more" if rest > 0 else "")


def limits_words(limits: Sequence[Limit], texts: Texts = TERMINAL) -> str:
    """Say what speaks against a plant's holding at all."""
    said = [texts.say(f"lost_by_{limit}") for limit in limits or ("all",)]
    return texts.joined(said, "and")


SAID: Said = {NotHolding: lambda one: {"why": limits_words(one.limits)}}


def none_holds_in_words(lost: Sequence[NotHolding], texts: Texts = TERMINAL) -> str:
    """Say why no interval is named for a tank whose plants all are not likely to hold."""
    return texts.say("lost_all", plants=_in_words(lost, texts))


def some_do_not_hold_in_words(lost: Sequence[NotHolding], texts: Texts = TERMINAL) -> str:
    """Say which plants an interval is of no use to."""
    return texts.say("lost_some", plants=_in_words(lost, texts))


def _in_words(lost: Sequence[NotHolding], texts: Texts) -> str:
    """Name areas with their chances, those that share a reason together."""
    together: dict[str, list[str]] = {}
    for one in lost:
        said = f"{named(one.label)} {texts.share(one.chance)}"
        if one.under_cover is not None:
            said += texts.say("lost_cut_back", one=one)
        together.setdefault(limits_words(one.limits, texts), []).append(said)
    every = ((", ".join(names), why) for why, names in together.items())
    return "; ".join(texts.say("lost_chance", areas=areas, why=why) for areas, why in every)


CO2_CAUTION_MG_L = 30.0


def supposed_answer(supposed: Supposed) -> Answer:
    """Say what the answer supposes, and cautions beside it."""
    notes = []
    for name, value in supposed.assumed.items():
        words, unit = CONDITION_WORDS[name]
        notes.append(sentence("supposed_until", words=capital(words), value=value, unit=unit))
    if supposed.changes.conditions:
        notes.append(sentence("supposed_doubt"))
    return Answer(supposing_words(supposed), notes=notes, beside=supposed_cautions(supposed))


def supposing_words(supposed: Supposed) -> str:
    """Say what is supposed."""
    return f"SUPPOSED, not as the book has it: {'; '.join(_sentences(supposed))}."


def _sentences(supposed: Supposed) -> list[str]:
    said = []
    for name, value in supposed.changes.conditions.items():
        words, unit = CONDITION_WORDS[name]
        none = none_added_words() if name == "co2_mg_l" and value == 0.0 else ""
        blanks = {"words": words, "unit": unit, "now": supposed.now[name], "none": none}
        said.append(sentence("supposed_is", value=value, **blanks))
    book = supposed.book
    species = dict(zip(book.areas.text("area_id"), book.areas.text("species_id"), strict=True))
    for area_id, plant in supposed.changes.plants.items():
        said.append(f"{plant} planted in {area_id} instead of {species[area_id]}")
    return said


def hypothetical(supposed: Supposed) -> dict[str, Any]:
    """Return what the answer supposes, as ``--json`` prints it."""
    changes, design = supposed.changes, supposed.fit.design
    here = (design.tank == supposed.tank) & design.alive
    conditions: dict[str, dict[str, Any]] = {
        name: {"supposed": value, "now": supposed.now[name]}
        for name, value in changes.conditions.items()
    }
    if changes.conditions.get("co2_mg_l") == 0.0:  # taken as what stands for none added
        none_added = read_reference().none_added_co2_mg_l
        conditions["co2_mg_l"] |= {"supposed": none_added, "none_added": True}
    factors = zip(design.area_id[here], supposed.growth_factor[here], strict=True)
    plants = [
        {"area_id": area, "species_id": plant, "supposed_area_id": supposed.plants[area]}
        for area, plant in changes.plants.items()
    ]
    return {
        "tank_id": str(design.tank_id[supposed.tank]),
        "conditions": conditions,
        "assumed_until_now": supposed.assumed,
        "plants": plants,
        "growth_factor": {str(name): round(float(factor), 4) for name, factor in factors},
        "cautions": supposed_cautions(supposed),
        "left_out": sentence("supposed_doubt") if changes.conditions else None,
    }


def supposed_cautions(supposed: Supposed) -> list[str]:
    """Return what a person should know before doing what is supposed, in sentences."""
    fit, design = supposed.fit, supposed.fit.design
    said = []
    if supposed.changes.conditions.get("co2_mg_l", 0.0) > CO2_CAUTION_MG_L:
        said.append(sentence("supposed_co2"))
    areas = np.flatnonzero(design.alive & (design.tank == supposed.tank))
    chances = holding_of(supposed.book, fit, areas)
    new = set(supposed.plants.values())
    ceiling = np.exp(design.problem.pooling.log_ceiling)
    for i, area in enumerate(areas.tolist()):
        species, name = int(design.species[area]), str(design.area_id[area])
        plant = design.priors.species_id[species]
        for limit in chances.limits(i):
            blanks = {"area": name, "why": limits_words([limit]), "plant": plant}
            said.append(sentence("supposed_holds", **blanks, chance=chances.chance[i]))
        if name not in new:
            continue
        if ceiling[area] <= design.traits.floor_cm[area]:
            heights = {"ceiling": ceiling[area], "floor": design.traits.floor_cm[area]}
            said.append(sentence("supposed_low", area=name, **heights))
        if caution := str(design.priors.caution[species]):
            said.append(f"{name}: {caution}")
    return said


STALE_D = 42
"""Days without any log after which it is said (common practice, no source)."""


def left_out_words(book: Book, day: date) -> Iterator[str]:
    """Name the areas that are planted after the day."""
    planted = book.areas.date("planted_on").astype("datetime64[D]")
    if later := book.areas.text("area_id")[planted > day].tolist():
        last = planted[planted > day].max()
        yield sentence("left_out", day=day, areas=some_of(later, 5), last=last)


def not_fitted_words(not_fitted: Mapping[str, str]) -> Iterator[str]:
    """Name the tanks whose log could not be fitted."""
    for tank, why in not_fitted.items():
        yield sentence("not_fitted", tank=tank, why=why)


def beside_fit(book: Book, day: date, fit: GrowthFit) -> Iterator[str]:
    """Say what the fit assumes, which areas it did not settle for, and how old the log is."""
    yield from co2_words(book, unknown=False)
    yield from not_fitted_words(fit.not_fitted)
    if unsettled := fit.design.area_id[~fit.converged].tolist():
        yield sentence("not_settled", areas=some_of(unsettled, 10))
    last = last_logged(book)
    if last is not None and (day - last).days > STALE_D:
        yield sentence("log_ends", last=last, days=(day - last).days, day=day)
    if fit.widening != 1.0:
        yield sentence("widened", factor=fit.widening)
