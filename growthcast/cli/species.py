"""``growthcast species``: the plants the table knows, and what it knows of one."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Annotated, Any

import typer

from growthcast.book.words import did_you_mean, folded, names_that_hold, shown
from growthcast.cli.options import AsJson, argument, option
from growthcast.cli.output import print_answer, say
from growthcast.errors import UsageError

if TYPE_CHECKING:
    from growthcast.book.book import Table

LIGHTS = ("low", "medium", "high")
NEEDS = ("no", "helps", "yes")
SORTS = ("slow", "fast", "name")
MOST_OFFERED = 8
NAMES = ("species_id", "scientific_name", "common_name")

SpeciesId = Annotated[
    str | None,
    argument("[SPECIES_ID]", "Show this one with all its values; without it, list them."),
]
Form = Annotated[
    str | None, option("--form", "FORM", "Only this growth form: carpet, rosette, stem, ...")
]
Light = Annotated[
    str | None, option("--light", "LIGHT", "Only this light demand: low, medium or high.")
]
NeedsCo2 = Annotated[
    str | None, option("--needs-co2", "NEED", "Only plants with this need: no, helps or yes.")
]
Sort = Annotated[
    str, typer.Option(metavar="ORDER", help="slow (slowest first), fast (fastest first) or name.")
]
OfBook = Annotated[str | None, option("--book", "BOOK", "Also the species of this book's own.")]


def species_command(
    species_id: SpeciesId = None,
    form: Form = None,
    light: Light = None,
    needs_co2: NeedsCo2 = None,
    sort: Sort = "slow",
    book: OfBook = None,
    json: AsJson = False,
) -> None:
    """List the species the forecasts start from, slow to fast, or show one with its sources.

    Example: growthcast species rotala-rotundifolia

    Exit status: 0 done, 2 an unknown species or bad arguments.
    """
    from growthcast.book.tables import FORMS
    from growthcast.say.species import list_words, species_words

    _check_word("--form", form, FORMS)
    _check_word("--light", light, LIGHTS)
    _check_word("--needs-co2", needs_co2, NEEDS)
    _check_word("--sort", sort, SORTS)
    known = _all_species(book)
    if species_id is not None:
        chosen = [_find(known, species_id)]
        print_answer(json, {"species": chosen}, species_words(chosen[0]))
        return
    wanted = {"form": form, "light": light, "needs_co2": needs_co2}
    chosen = [p for p in known if all(word in (None, p[name]) for name, word in wanted.items())]
    key = "species_id" if sort == "name" else "rate_per_day"
    chosen.sort(key=lambda plant: plant[key], reverse=sort == "fast")
    print_answer(json, {"species": chosen}, list_words(chosen))


def _check_word(flag: str, word: str | None, choices: tuple[str, ...]) -> None:
    """Refuse a word that an option does not know."""
    if word is not None and word not in choices:
        hint = did_you_mean(word, choices, "write one of " + ", ".join(choices))
        raise UsageError(f'{flag} "{word}" is not known; {hint}')


def _all_species(folder: str | None) -> list[dict[str, Any]]:
    """Return every species as a mapping of plain values, ready for JSON."""
    import numpy as np

    from growthcast.book.read import read_shipped_species
    from growthcast.species import (
        estimated_columns,
        fastest_cm_per_week,
        light_word,
        read_sources,
        species_priors,
    )

    shipped = read_shipped_species()
    table = shipped if folder is None else _species_of_book(folder)
    estimated, sources = estimated_columns(shipped), read_sources()
    before = {plant["species_id"]: plant for plant in _rows(shipped)}
    filled = table.extra.get("filled") or [""] * len(table)
    fastest = fastest_cm_per_week(species_priors(table)).tolist()
    plants = []
    for plant, from_form, speed in zip(_rows(table), filled, fastest, strict=True):
        name = plant["species_id"]
        guessed = {*from_form.split(";")}
        old = before.get(name, {})
        own = [key for key in plant if plant[key] != old.get(key) and key not in guessed]
        guessed |= estimated.get(name, frozenset()) - {*own}
        plants.append(
            {
                **plant,
                "light": light_word(plant["light_k_umol"]),
                "fastest_cm_per_week": round(speed, 3),
                "low_stand_doubles_d": round(float(np.log(2.0)) / plant["rate_per_day"], 1),
                "estimated": [key for key in plant if key in guessed],
                "from_book": own,
                "source_text": sources.get(plant["source"]),
            }
        )
    return plants


def _species_of_book(folder: str) -> Table:
    """Return the species of a book, after saying what was noted while it was read."""
    from growthcast.book.findings import summary_for_commands
    from growthcast.book.read import read_book

    book = read_book(folder)
    if beside := summary_for_commands(book.findings):
        say(beside)
    return book.species


def _rows(table: Table) -> list[dict[str, Any]]:
    """Return the rows of a table as plain values; a blank one is None."""
    from growthcast.book.tables import TABLES

    columns = {
        column.name: [
            None if value in ("", None) or value != value else value
            for value in (
                table.flag(column.name) if column.kind == "flag" else table.columns[column.name]
            ).tolist()
        ]
        for column in TABLES["species"]
    }
    return [dict(zip(columns, cells, strict=True)) for cells in zip(*columns.values(), strict=True)]


def _find(known: list[dict[str, Any]], species_id: str) -> Mapping[str, Any]:
    """Return one species, also when asked for by its botanical or common name."""
    asked = species_id.strip().casefold()
    names = {
        str(plant["species_id"]): [
            *(plant[name] or "" for name in NAMES),
            *(plant["also_known_as"] or "").split(";"),
        ]
        for plant in known
    }
    exact = [
        plant
        for plant, spellings in zip(known, names.values(), strict=True)
        if folded(asked) in map(folded, spellings)
    ]
    if asked and len(exact) == 1:
        return exact[0]
    alike = names_that_hold(asked, names)
    if alike and len(alike) <= MOST_OFFERED:
        hint = f"did you mean {' or '.join(alike)}?"
    elif alike:
        rest = len(alike) - MOST_OFFERED
        hint = f"did you mean {', '.join(alike[:MOST_OFFERED])} or {rest} more?"
    else:
        otherwise = '"growthcast species" lists all of them'
        hint = did_you_mean(asked.replace(" ", "-"), names, otherwise)
    raise UsageError(f"there is no species {shown(species_id)}; {hint}")
