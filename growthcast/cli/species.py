"""``growthcast species``: the plants the table knows, and what it knows of one."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from growthcast.book.words import did_you_mean, folded, names_that_hold, shown
from growthcast.cli.options import Text
from growthcast.cli.output import print_answer, say
from growthcast.errors import UsageError

if TYPE_CHECKING:
    from growthcast.book.book import Book

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
    from growthcast.book.read import read_shipped_species
    from growthcast.book.tables import FORMS
    from growthcast.say.species import list_words, species_for_programs, species_words

    _check_word("--form", form, FORMS)
    _check_word("--light", light, LIGHTS)
    _check_word("--needs-co2", needs_co2, NEEDS)
    _check_word("--sort", sort, SORTS)
    shipped = read_shipped_species()
    own = None if book is None else _book_of(book)
    known = species_for_programs(
        own.species if own else shipped, shipped, own.practice if own else None
    )
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


def _book_of(folder: str) -> Book:
    """Return a book, after saying what was noted while it was read."""
    from growthcast.book.findings import summary_for_commands
    from growthcast.book.read import read_book

    book = read_book(folder)
    if beside := summary_for_commands(book.findings):
        say(beside)
    return book


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
