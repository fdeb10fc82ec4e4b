"""What an answer supposes, in words and for programs."""

from __future__ import annotations

from typing import Any

from growthcast.book.supposed.changes import CONDITION_WORDS
from growthcast.fit.supposed import Supposed
from growthcast.say.water import none_added_words
from growthcast.say.words import Beside, Words
from growthcast.service.rescape.notes import supposed_cautions
from growthcast.species import read_reference

__all__ = ["hypothetical", "supposed_words"]

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
