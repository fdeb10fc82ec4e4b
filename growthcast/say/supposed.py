"""What an answer supposes, in words and for programs."""

from __future__ import annotations

from typing import Any

import numpy as np

from growthcast.book.tables import CONDITION_WORDS
from growthcast.fit.supposed import Supposed
from growthcast.say.water import none_added_words
from growthcast.say.words import Beside, Words
from growthcast.service.rescape.holding import holding_of, holding_words
from growthcast.species import read_reference

CO2_CAUTION_MG_L = 30.0

DOUBT = (
    "The ranges leave out how far this tank's plants answer such a change otherwise than the table "
    "says."
)


def supposed_words(supposed: Supposed) -> Words:
    """Yield what the answer supposes, and cautions beside it."""
    yield f"SUPPOSED, not as the book has it: {'; '.join(_sentences(supposed))}."
    for name, value in supposed.assumed.items():
        words, unit = CONDITION_WORDS[name]
        yield (
            f"{words[:1].upper()}{words[1:]} was never given for this tank: until now it is taken "
            f"to have been {value:g} {unit}, the reference of the species table."
        )
    if supposed.changes.conditions:
        yield DOUBT
    yield from map(Beside, supposed_cautions(supposed))


def _sentences(supposed: Supposed) -> list[str]:
    said = []
    for name, value in supposed.changes.conditions.items():
        words, unit = CONDITION_WORDS[name]
        now = supposed.now[name]
        instead = "a value nobody gave" if now is None else f"{now:.4g} {unit}"
        if name == "co2_mg_l" and value == 0.0:
            said.append(f"no CO2 added ({none_added_words()}) instead of {instead}")
        else:
            said.append(f"{words} {value:g} {unit} instead of {instead}")
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
    return {
        "tank_id": str(design.tank_id[supposed.tank]),
        "conditions": conditions,
        "assumed_until_now": supposed.assumed,
        "plants": [
            {"area_id": area, "species_id": plant, "supposed_area_id": supposed.plants[area]}
            for area, plant in changes.plants.items()
        ],
        "growth_factor": {
            str(name): round(float(factor), 4)
            for name, factor in zip(design.area_id[here], supposed.growth_factor[here], strict=True)
        },
        "cautions": supposed_cautions(supposed),
        "left_out": DOUBT if changes.conditions else None,
    }


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
    chances = holding_of(supposed.book, fit, supposed.tank, areas)
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
