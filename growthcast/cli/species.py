"""``growthcast species``: the plants the table knows, and what it knows of one."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from growthcast.book.words import did_you_mean, folded, names_that_hold, shown
from growthcast.cli.options import Text
from growthcast.cli.output import print_answer, say
from growthcast.errors import UsageError

if TYPE_CHECKING:
    from growthcast.book.book import Book, Table

LIGHTS = ("low", "medium", "high")
NEEDS = ("no", "helps", "yes")
SORTS = ("slow", "fast", "name")
NAMES = ("species_id", "scientific_name", "common_name")


def species_command(
    species_id: Text,
    form: Text,
    light: Text,
    needs_co2: Text,
    sort: str,
    book: Text,
    all_of_them: bool,
    details: bool,
    json: bool,
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
    wanted = {"form": form, "light": light, "needs_co2": needs_co2}
    chosen = [p for p in known if all(word in (None, p[name]) for name, word in wanted.items())]
    holding = ""
    if species_id is not None:
        found = _find(known, species_id)
        if len(found) == 1:
            words = species_words(found[0])
            print_answer(json, {"species": found}, words, details=details)
            return
        chosen = [plant for plant in found if plant in chosen]
        holding = f' with "{species_id}" in a name'
    key = "species_id" if sort == "name" else "rate_per_day"
    chosen.sort(key=lambda plant: plant[key], reverse=sort == "fast")
    order = {"slow": "slowest first", "fast": "fastest first", "name": "by name"}[sort]
    words = list_words(chosen, f"{holding}, {order}", all_of_them=all_of_them or details)
    print_answer(json, {"species": chosen}, words)


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
    book = None if folder is None else _book_of(folder)
    table = shipped if book is None else book.species
    estimated, sources = estimated_columns(shipped), read_sources()
    before = {plant["species_id"]: plant for plant in _rows(shipped)}
    filled = table.extra.get("filled") or [""] * len(table)
    priors = species_priors(table, book.practice.locale if book else "")
    said = zip(fastest_cm_per_week(priors).tolist(), priors.caution.tolist(), strict=True)
    plants = []
    for plant, from_form, (speed, caution) in zip(_rows(table), filled, said, strict=True):
        name = plant["species_id"]
        guessed = {*from_form.split(";")}
        old = before.get(name, {})
        own = [key for key in plant if plant[key] != old.get(key) and key not in guessed]
        guessed |= estimated.get(name, frozenset()) - {*own}
        plants.append(
            {
                **plant,
                "caution": caution or None,
                "light": light_word(plant["light_k_umol"]),
                "fastest_cm_per_week": round(speed, 3),
                "low_stand_doubles_d": round(float(np.log(2.0)) / plant["rate_per_day"], 1),
                "estimated": [key for key in plant if key in guessed],
                "from_book": own,
                "source_text": sources.get(plant["source"]),
            }
        )
    return plants


def _book_of(folder: str) -> Book:
    """Return a book, after saying what was noted while it was read."""
    from growthcast.book.findings import summary_for_commands
    from growthcast.book.read import read_book

    book = read_book(folder)
    if beside := summary_for_commands(book.findings):
        say(beside)
    return book


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


def _find(known: list[dict[str, Any]], text: str) -> list[dict[str, Any]]:
    """Return the species with that id or name, else all with the text in one of their names."""
    asked = text.strip()
    names = {
        str(plant["species_id"]): [
            *(plant[name] or "" for name in NAMES),
            *(plant["also_known_as"] or "").split(";"),
        ]
        for plant in known
    }
    exact = [name for name, spellings in names.items() if folded(asked) in map(folded, spellings)]
    alike = exact if asked and len(exact) == 1 else names_that_hold(asked, names)
    if not alike:
        otherwise = '"growthcast species --all" lists all of them'
        hint = did_you_mean(asked.replace(" ", "-"), names, otherwise)
        raise UsageError(f"there is no species {shown(text)}; {hint}")
    return [plant for plant in known if plant["species_id"] in alike]
