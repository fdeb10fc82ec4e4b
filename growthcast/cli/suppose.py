"""The option ``--suppose`` of the commands that answer what if, and how it is said."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Any

import typer

from growthcast.errors import UsageError

if TYPE_CHECKING:
    from growthcast.book.book import Book
    from growthcast.fit.result import GrowthFit
    from growthcast.fit.supposed import Supposed

__all__ = ["Suppose", "hypothetical", "say_what_is_supposed", "supposed_of"]

Suppose = Annotated[
    list[str] | None,
    typer.Option(
        "--suppose",
        metavar="NAME=VALUE",
        help="Answer as if this held from the day on, with --tank; may be repeated. NAME is a "
        "condition (ppfd_umol, photoperiod_h, co2_mg_l, no3_mg_l, po4_mg_l, k_mg_l, temperature_c) "
        "with its amount, as in ppfd_umol=60, or an area_id with the plant to stand there, as in "
        "stems=hygrophila-corymbosa. The book is not changed.",
        show_default=False,
    ),
]

DOUBT = (
    "The ranges leave out how far this tank's plants answer such a change otherwise than the table "
    "says."
)


def supposed_of(
    book: Book, fit: GrowthFit, tank: str | None, texts: list[str] | None
) -> Supposed | None:
    """Return the book and fit under the changes asked for, None where there are none."""
    if not texts:
        return None
    from growthcast.book.supposed.changes import parse_changes
    from growthcast.cli.options import chosen_tanks
    from growthcast.fit.supposed import suppose

    if tank is None:
        raise UsageError("--suppose changes one tank; name it with --tank ID")
    place = int(chosen_tanks(book, tank)[0])
    return suppose(book, fit, place, parse_changes(texts, book, place))


def say_what_is_supposed(supposed: Supposed) -> None:
    """Print what the answer supposes as lines of the answer, and cautions on stderr."""
    from growthcast.cli.output import print_line, say
    from growthcast.service.rescape.notes import supposed_cautions

    print_line(f"SUPPOSED, not as the book has it: {'; '.join(_sentences(supposed))}.")
    for name, value in supposed.assumed.items():
        words, unit = _condition(name)
        print_line(
            f"{words[:1].upper()}{words[1:]} was never given for this tank: until now it is taken "
            f"to have been {value:g} {unit}, the reference of the species table."
        )
    if supposed.changes.conditions:
        print_line(DOUBT)
    for caution in supposed_cautions(supposed):
        say(caution)


def _condition(name: str) -> tuple[str, str]:
    from growthcast.book.supposed.changes import CONDITION_WORDS

    return CONDITION_WORDS[name]


def _none_added(name: str, value: float) -> dict[str, Any]:
    """Return the CO2 that stands for none added, where that is what is supposed."""
    from growthcast.species import read_reference

    if name != "co2_mg_l" or value > 0.0:
        return {}
    return {"supposed": read_reference().none_added_co2_mg_l, "none_added": True}


def _sentences(supposed: Supposed) -> list[str]:
    from growthcast.say.water import none_added_words

    said = []
    for name, value in supposed.changes.conditions.items():
        words, unit = _condition(name)
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
    from growthcast.service.rescape.notes import supposed_cautions

    design = supposed.fit.design
    here = (design.tank == supposed.tank) & design.alive
    return {
        "tank_id": str(design.tank_id[supposed.tank]),
        "conditions": {
            name: {"supposed": value, "now": supposed.now[name]} | _none_added(name, value)
            for name, value in supposed.changes.conditions.items()
        },
        "assumed_until_now": dict(supposed.assumed),
        "plants": [
            {"area_id": area, "species_id": plant, "supposed_area_id": supposed.plants[area]}
            for area, plant in supposed.changes.plants.items()
        ],
        "growth_factor": {
            str(name): round(float(factor), 4)
            for name, factor in zip(design.area_id[here], supposed.growth_factor[here], strict=True)
        },
        "cautions": supposed_cautions(supposed),
        "left_out": DOUBT if supposed.changes.conditions else None,
    }
