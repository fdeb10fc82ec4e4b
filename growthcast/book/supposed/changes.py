"""Changes a person supposes, ``NAME=VALUE``: another lamp, other water, another plant."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from growthcast.book.book import Book
from growthcast.book.cells.numbers import Fault, check_range, parse_number
from growthcast.book.tables import TABLES, column_of
from growthcast.book.words import did_you_mean, plain, shown, some_of
from growthcast.errors import UsageError

_NOT_ANSWERED = {
    "fe_mg_l": "growth is not reckoned from iron; the conditions are",
    "ph": "give the CO2 it stands for, as co2_mg_l; the conditions are",
    "kh_dkh": "give the CO2 it stands for, as co2_mg_l; the conditions are",
}


_UNITS = {"umol": "µmol", "mg/l": "mg/L", "c": "°C"}
CONDITION_WORDS: Mapping[str, tuple[str, str]] = {
    column.name: (column.meaning.partition(";")[0], _UNITS.get(column.unit, column.unit))
    for column in TABLES["conditions"]
    if column.kind == "number" and column.name not in _NOT_ANSWERED
}
"""Conditions that growth answers to: in words, and their unit."""


@dataclass(frozen=True, slots=True)
class Changes:
    """What is supposed of one tank: conditions by column name, and plants by area id."""

    conditions: Mapping[str, float]
    plants: Mapping[str, str]

    def __bool__(self) -> bool:
        return bool(self.conditions or self.plants)


def parse_changes(texts: Sequence[str], book: Book, tank: int) -> Changes:
    """Read changes of the tank at a place in the book; ``UsageError`` says what is not clear."""
    conditions: dict[str, float] = {}
    plants: dict[str, str] = {}
    tank_id = str(book.tanks.text("tank_id")[tank])
    here = book.areas.text("area_id")[book.areas.text("tank_id") == tank_id].tolist()
    for text in texts:
        name, sign, value = (part.strip() for part in text.rpartition("="))
        if not sign or not name or not value:
            raise UsageError(
                f"--suppose {shown(text)} is not NAME=VALUE; write a condition as ppfd_umol=60, "
                "or an area and its new plant as my-area=hygrophila-corymbosa"
            )
        if name in conditions or name in plants:
            raise UsageError(f"--suppose names {shown(name)} twice; give it once")
        if name in CONDITION_WORDS:
            conditions[name] = _amount(name, value)
        elif name in here:
            plants[name] = known_species(book, value, f"--suppose {name}")
        else:
            raise UsageError(_unknown(name, here, tank_id))
    return Changes(conditions, plants)


def _amount(name: str, text: str) -> float:
    """Read the amount of a condition, within the limits of conditions.csv."""
    column = column_of("conditions", name)
    number = parse_number(text, decimal_comma=False)
    fault = number if isinstance(number, Fault) else check_range(number, column)
    if fault is not None or isinstance(number, Fault):
        why = fault.why if fault is not None else "which is no number"
        raise UsageError(
            f"--suppose {name}: found {shown(text)}, {why}; expected {column.expected}, "
            f"as in {name}={plain(_example(name))}"
        )
    return number


def _example(name: str) -> float:
    return {"ppfd_umol": 60.0, "photoperiod_h": 7.0, "temperature_c": 25.0}.get(name, 10.0)


def _unknown(name: str, areas: list[str], tank_id: str) -> str:
    conditions = ", ".join(CONDITION_WORDS)
    if name in _NOT_ANSWERED:
        return f"--suppose {name}: {_NOT_ANSWERED[name]} {conditions}"
    known = [*CONDITION_WORDS, *areas]
    rest = f"the conditions are {conditions}; the areas of {tank_id} are {some_of(areas) or 'none'}"
    return (
        f"--suppose {shown(name)}: tank {tank_id} has no such condition or area; "
        f"{did_you_mean(name, known, rest)}"
    )


def known_species(book: Book, species_id: str, option: str) -> str:
    """Return a species id that the book's table has; ``UsageError`` with near misses else."""
    listed = book.species.text("species_id").tolist()
    if species_id in listed:
        return species_id
    for name, column in (("common_name", "common"), ("scientific_name", "botanical")):
        named = np.char.lower(book.species.text(name).astype(str)) == species_id.lower()
        if named.sum() == 1:
            same = listed[int(np.flatnonzero(named)[0])]
            raise UsageError(
                f"{option}: {shown(species_id)} is a {column} name; write its species_id, {same}"
            )
    hint = did_you_mean(species_id, listed, "growthcast species lists all plants")
    raise UsageError(f"{option}: the species table has no plant {shown(species_id)}; {hint}")
