"""Fields of a form for rows of the book: what each asks, what was typed, what was found in it."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterable, Sequence
from typing import Any

from growthcast.book.book import plant_named
from growthcast.book.tables import TABLES
from growthcast.desk.pages.asked import Asked
from growthcast.errors import Finding
from growthcast.say.texts import read_texts
from growthcast.say.words import named

_COMMA = re.compile(r"\s*\d+,\d{1,2}\s*")
NAMED = {"areas": ("label", "species_id"), "tanks": ("client", "site")}
LISTS = {"species_id": "plants", "tank_id": "tanks"}
"""What may be picked from while a cell is typed."""
_UNITS = {"cm2": "cm²", "umol": "µmol", "c": "°C", "share": "0–1", "mg/l": "mg/L"}


def column_words(asked: Asked, name: str) -> str:
    """Return what a column holds, with its unit; its own name where there is no word for it."""
    key = f"desk_col_{name}"
    column = next((c for table in TABLES.values() for c in table if c.name == name), None)
    unit = "" if column is None else _UNITS.get(column.unit, column.unit)
    words = asked.locale.say(key) if key in asked.locale.text else name
    return f"{words} ({unit})" if unit and key in asked.locale.text else words


def finding_words(asked: Asked, one: Finding, where: str = "") -> tuple[str, str]:
    """Return what a finding means in the page's language, and how ``check`` says it.

    The first is blank in English. What is found and how to mend it is put together of some 300
    texts with cells in them, which are English everywhere.
    """
    language = asked.locale.language
    means = "" if language == "en" else read_texts(f"findings.{language}")[one.slug]
    said = f"{one.found} [{one.slug}]"
    said += "" if one.level == "remark" else f"; expected: {one.expected}; {one.fix}"
    return (f"{where}{means}", said) if means else ("", f"{where}{said}")


def fields(
    asked: Asked, table: str, names: Sequence[str], row: int = 2, found: Iterable[Finding] = ()
) -> list[dict[str, Any]]:
    """Return the fields of a row of a table; ``row`` is the one that findings tell it by."""
    columns = {column.name: column for column in TABLES[table]}
    here = [one for one in found if one.file == f"{table}.csv" and one.row == row]
    return [
        {
            "name": f"{table}.{name}.{row}",
            "label": column_words(asked, name),
            "value": asked.get(f"{table}.{name}.{row}"),
            "choices": columns[name].choices,
            "mode": "decimal" if columns[name].kind == "number" else "text",
            "type": "date" if columns[name].kind == "date" else "text",
            "list": LISTS.get(name, "") if name != f"{table[:-1]}_id" else "",
            "required": columns[name].required,
            "found": [finding_words(asked, one) for one in here if one.heading == name],
        }
        for name in names
    ]


def called(asked: Asked, table: str) -> dict[str, str]:
    """Return what people call each area with its plant, or each tank with whose it is, by id."""
    if asked.known is None or table not in NAMED:
        return {}
    plant, rows = dict(plants(asked)), getattr(asked.known.book, table)
    ids, *cells = (rows.text(name) for name in (f"{table[:-1]}_id", *NAMED[table]))
    return {
        str(one): f"{', '.join(named(plant.get(cell, cell)) for cell in said if cell)} ({one})"
        for one, *said in zip(ids, *cells, strict=True)
    }


def plants(asked: Asked) -> list[tuple[str, str]]:
    """Return the plants of the species table by id, each with its names."""
    species = asked.species
    names = ("species_id", "scientific_name", "common_name", "also_known_as")
    columns = (species.text(name) for name in names)
    return [
        (i, ", ".join(filter(None, map(named, all_)))) for i, *all_ in zip(*columns, strict=True)
    ]


def cell(asked: Asked, table: str, name: str, row: int) -> str:
    """Return what was typed into a field, as the book holds it."""
    text = asked.get(f"{table}.{name}.{row}")
    if name == "species_id":
        return plant_named(asked.species, text) or text
    return text.replace(",", ".") if _COMMA.fullmatch(text) else text


def as_table(table: str, rows: Sequence[dict[str, str]]) -> bytes:
    """Return rows as the text of a table."""
    stream = io.StringIO()
    writer = csv.DictWriter(stream, [column.name for column in TABLES[table]], restval="")
    writer.writeheader()
    writer.writerows(rows)
    return stream.getvalue().encode()
