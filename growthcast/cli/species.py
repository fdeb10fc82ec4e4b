"""``growthcast species``: the plants the table knows, and what it knows of one."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Annotated, Any

import typer

from growthcast.cli.options import AsJson
from growthcast.errors import UsageError

if TYPE_CHECKING:
    from growthcast.book.book import Table

LIGHTS = ("low", "medium", "high")
NEEDS = ("no", "helps", "yes")
SORTS = ("slow", "fast", "name")
MOST_OFFERED = 8

_BASIS_WORDS = {
    "published": "published: the rate is printed in a scientific paper",
    "growers": "growers: the rate fits a cutting interval or doubling time told by growers",
    "estimate": "estimate: the rate was put to the plant from memory; no figure for it was read",
}
_FROM_BOOK = "from the book's own species.csv"


def species_command(
    species_id: Annotated[
        str | None,
        typer.Argument(
            metavar="[SPECIES_ID]",
            help="Show this one with all its values; without it, list them.",
            show_default=False,
        ),
    ] = None,
    form: Annotated[
        str | None,
        typer.Option(help="Only this growth form: carpet, rosette, stem, ...", show_default=False),
    ] = None,
    light: Annotated[
        str | None,
        typer.Option(help="Only this light demand: low, medium or high.", show_default=False),
    ] = None,
    needs_co2: Annotated[
        str | None,
        typer.Option(help="Only plants with this need: no, helps or yes.", show_default=False),
    ] = None,
    sort: Annotated[
        str, typer.Option(help="slow (slowest first), fast (fastest first) or name.")
    ] = "slow",
    book: Annotated[
        str | None,
        typer.Option(
            metavar="BOOK", help="Also the species of this book's own.", show_default=False
        ),
    ] = None,
    json: AsJson = False,
) -> None:
    """List the species the forecasts start from, slow to fast, or show one with its sources.

    Example: growthcast species rotala-rotundifolia

    Exit status: 0 done, 2 an unknown species or bad arguments.
    """
    from growthcast.book.tables import FORMS
    from growthcast.cli.output import print_json

    _check_word("--form", form, FORMS)
    _check_word("--light", light, LIGHTS)
    _check_word("--needs-co2", needs_co2, NEEDS)
    _check_word("--sort", sort, SORTS)
    known = _all_species(book)
    if species_id is not None:
        chosen = [_find(known, species_id)]
    else:
        chosen = _chosen(known, {"form": form, "light": light, "needs_co2": needs_co2}, sort)
    if json:
        print_json({"species": chosen})
    elif species_id is not None:
        _show_one(chosen[0])
    else:
        _show_list(chosen)


def _chosen(
    known: list[dict[str, Any]], wanted: Mapping[str, str | None], sort: str
) -> list[dict[str, Any]]:
    """Return the species that fit every word asked for, in the order asked for."""
    fit = [
        plant
        for plant in known
        if all(word is None or plant[name] == word for name, word in wanted.items())
    ]
    if sort == "name":
        return sorted(fit, key=lambda plant: str(plant["species_id"]))
    return sorted(fit, key=lambda plant: float(plant["rate_per_day"]), reverse=sort == "fast")


def _check_word(option: str, word: str | None, choices: tuple[str, ...]) -> None:
    """Refuse a word that an option does not know."""
    if word is not None and word not in choices:
        from growthcast.book.words import did_you_mean

        otherwise = "write one of " + ", ".join(choices)
        raise UsageError(
            f'{option} "{word}" is not known; {did_you_mean(word, choices, otherwise)}'
        )


def _all_species(folder: str | None) -> list[dict[str, Any]]:
    """Return every species as a mapping of plain values, ready for JSON."""
    import numpy as np

    from growthcast.book.read import read_shipped_species
    from growthcast.book.tables import TABLES
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
    changed = _changed_cells(shipped, table)
    fastest = fastest_cm_per_week(species_priors(table))
    columns = {
        column.name: table.flag(column.name)
        if column.kind == "flag"
        else table.columns[column.name]
        for column in TABLES["species"]
    }
    plants = []
    for row in range(len(table)):
        plant = {name: _plain(values[row]) for name, values in columns.items()}
        own = changed.get(plant["species_id"], ())
        guesses = estimated.get(plant["species_id"], frozenset()) - set(own)
        guesses |= _filled(table, row)
        plants.append(
            {
                **plant,
                "light": light_word(plant["light_k_umol"]),
                "fastest_cm_per_week": round(float(fastest[row]), 3),
                "low_stand_doubles_d": round(float(np.log(2.0)) / plant["rate_per_day"], 1),
                "estimated": [name for name in columns if name in guesses],
                "from_book": list(own),
                "source_text": sources.get(plant["source"]),
            }
        )
    return plants


def _species_of_book(folder: str) -> Table:
    """Return the species of a book, after saying what was noted while it was read."""
    from growthcast.book.read import read_book
    from growthcast.book.report import summary_for_commands
    from growthcast.cli.output import say

    book = read_book(folder)
    if beside := summary_for_commands(book.findings):
        say(beside)
    return book.species


def _filled(table: Table, row: int) -> frozenset[str]:
    """Return the values which a new species of the book has from its growth form."""
    filled = table.extra.get("filled")
    return frozenset(filled[row].split(";")) - {""} if filled else frozenset()


def _changed_cells(shipped: Table, table: Table) -> Mapping[str, tuple[str, ...]]:
    """Return, for each species the book has a row for, the columns that come from that row."""
    if table is shipped:
        return {}
    names = list(shipped.columns)
    places = {name: row for row, name in enumerate(shipped.text("species_id").tolist())}
    changed = {}
    for row, name in enumerate(table.text("species_id").tolist()):
        if name not in places:
            filled = _filled(table, row)
            given = (column for column in names if _plain(table.columns[column][row]) is not None)
            changed[name] = tuple(column for column in given if column not in filled)
            continue
        before = {column: _plain(shipped.columns[column][places[name]]) for column in names}
        after = {column: _plain(table.columns[column][row]) for column in names}
        changed[name] = tuple(column for column in names if before[column] != after[column])
    return changed


def _plain(value: Any) -> Any:
    """Return a cell as JSON knows it; a blank one as None."""
    if isinstance(value, str):
        return value or None
    number = value.item()
    if isinstance(number, float):
        return None if number != number else number
    return number


def _find(known: list[dict[str, Any]], species_id: str) -> dict[str, Any]:
    """Return one species, also when asked for by its botanical or common name."""
    asked = species_id.strip().casefold()
    for plant in known:
        names = (plant["species_id"], plant["scientific_name"], plant["common_name"])
        if asked in {name.casefold() for name in names if name}:
            return plant
    from growthcast.book.words import did_you_mean, names_that_hold, shown

    ids = [str(plant["species_id"]) for plant in known]
    names = ("species_id", "scientific_name", "common_name")
    alike = names_that_hold(
        asked, {str(p["species_id"]): [p[n] or "" for n in names] for p in known}
    )
    if alike and len(alike) <= MOST_OFFERED:
        hint = f"did you mean {' or '.join(alike)}?"
    elif alike:
        hint = (
            f"did you mean {', '.join(alike[:MOST_OFFERED])} or {len(alike) - MOST_OFFERED} more?"
        )
    else:
        otherwise = '"growthcast species" lists all of them'
        hint = did_you_mean(asked.replace(" ", "-"), ids, otherwise)
    raise UsageError(f"there is no species {shown(species_id)}; {hint}")


def _show_list(plants: list[dict[str, Any]]) -> None:
    """Print one line for each plant."""
    from growthcast.cli.output import print_table, say

    rows = []
    for plant in plants:
        cover = plant["measure"] == "cover_pct"
        ceiling = "surface" if plant["reaches_surface"] else f"{plant['ceiling_cm']:g} cm"
        rows.append(
            (
                plant["species_id"],
                plant["common_name"] or "",
                plant["form"],
                f"{plant['fastest_cm_per_week']:.1f} {'%' if cover else 'cm'}",
                f"{plant['low_stand_doubles_d']:.0f} d",
                "full cover" if cover else ceiling,
                plant["light"],
                plant["needs_co2"],
                plant["basis"],
            )
        )
    if not rows:
        say("No species fits all of these; ask for less.")
        return
    headings = ("species", "name", "form", "a week at best>", "low stand doubles in>")
    print_table(
        f"{len(rows)} species, under good light and CO2",
        (*headings, "ceiling>", "light", "CO2 needed", "rate from"),
        rows,
    )


def _show_one(plant: Mapping[str, Any]) -> None:
    """Print everything the table says of one plant."""
    from growthcast.book.tables import TABLES
    from growthcast.cli.output import print_table, printable

    cover = plant["measure"] == "cover_pct"
    guessed, own = set(plant["estimated"]), set(plant["from_book"])
    skip = {"species_id", "scientific_name", "common_name", "caution", "basis", "source"}
    rows = []
    for column in TABLES["species"]:
        value = plant[column.name]
        if column.name in skip or value is None:
            continue
        unit = _unit(column.unit, cover)
        if column.unit == "share":
            value *= 100
        note = _FROM_BOOK if column.name in own else "estimate" if column.name in guessed else ""
        rows.append((column.name, column.meaning, _shown(value), unit, note))
    title = plant["scientific_name"] or plant["species_id"]
    if plant["common_name"]:
        title += f" ({plant['common_name']})"
    print_table(title, ("column", "what it is", "value>", "unit", "how sure"), rows)
    at_best = f"{plant['fastest_cm_per_week']:.1f} {'points of cover' if cover else 'cm'} a week"
    where = " in water of 45 cm" if plant["reaches_surface"] else ""
    typer.echo(f"At best it grows {at_best}{where}, at half of its ceiling.")
    typer.echo(f"Basis: {_BASIS_WORDS[plant['basis']]}.")
    if plant["caution"]:
        typer.echo(printable(f"Caution: {plant['caution']}"))
    if plant["source_text"]:
        typer.echo(f"Source, {plant['source']}: {plant['source_text']}")
    elif plant["source"]:
        typer.echo(printable(f"Source: {plant['source']}"))


def _unit(unit: str, cover: bool) -> str:
    """Return a column's unit in words; plants measured by cover have their own."""
    from growthcast.book.tables import UNIT_WORDS

    if unit == "share":
        return "%"
    if unit == "g/l":
        return "grams per dm² at full cover" if cover else "grams per litre"
    if unit == "cm" and cover:
        return "% cover"
    return UNIT_WORDS[unit].removeprefix("a rate ") if unit else ""


def _shown(value: Any) -> str:
    """Return a value as people write it."""
    if isinstance(value, bool):
        return "yes" if value else "no"
    return f"{value:.4g}" if isinstance(value, float) else str(value)
