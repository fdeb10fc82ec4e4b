"""Plants in words, as the species table has them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from math import log
from typing import Any

from growthcast import species
from growthcast.book.book import Practice
from growthcast.book.book import Table as SpeciesTable
from growthcast.book.tables import TABLES, UNIT_WORDS
from growthcast.say.words import Answer, Table, sentence, table, yes_or_no

FROM_BOOK = "from the book's own species.csv"
SAID_ELSEWHERE = {"species_id", "scientific_name", "common_name", "caution", "basis", "source"}
MOST_LISTED = 14
ESSENTIAL = (
    *("form", "ceiling_cm", "rate_per_day", "light_k_umol", "needs_co2", "temp_min_c"),
    *("temp_max_c", "lowest_cut_cm", "cut_practice", "settle_d", "pause_d"),
)
"""What most people ask of a plant."""


def species_for_programs(
    known: SpeciesTable, shipped: SpeciesTable, practice: Practice | None
) -> list[dict[str, Any]]:
    """Return every species as plain values, with what differs from the table that ships.

    Cautions are those of the practice's country, where there is one.
    """
    estimated, sources = species.estimated_columns(shipped), species.read_sources()
    before = {plant["species_id"]: plant for plant in _rows(shipped)}
    filled = known.extra.get("filled") or [""] * len(known)
    priors = species.species_priors(known, practice.locale if practice else "")
    speeds = species.fastest_cm_per_week(priors).tolist()
    said = zip(speeds, priors.caution.tolist(), strict=True)
    plants = []
    for plant, from_form, (speed, caution) in zip(_rows(known), filled, said, strict=True):
        name = plant["species_id"]
        guessed = {*from_form.split(";")}
        old = before.get(name, {})
        own = [key for key in plant if plant[key] != old.get(key) and key not in guessed]
        guessed |= estimated.get(name, frozenset()) - {*own}
        more = {
            "caution": caution or None,
            "light": species.light_word(plant["light_k_umol"]),
            "fastest_cm_per_week": round(speed, 3),
            "low_stand_doubles_d": round(log(2.0) / plant["rate_per_day"], 1),
            "estimated": [key for key in plant if key in guessed],
            "from_book": own,
            "source_text": sources.get(plant["source"]),
        }
        plants.append(plant | more)
    return plants


def _rows(known: SpeciesTable) -> list[dict[str, Any]]:
    """Return the rows of a table as plain values, true or false for its flag."""
    flags = known.flag("reaches_surface").tolist()
    rows = zip(known.as_rows(), flags, strict=True)
    return [row | {"reaches_surface": flag} for row, flag in rows]


def list_answer(plants: Sequence[Mapping[str, Any]], what: str, *, all_of_them: bool) -> Answer:
    """Return a table with a line for each plant; ``what`` says which they are, in which order."""
    if not plants:
        return Answer(beside=["No species fits all of these; ask for less."])
    listed = plants if all_of_them else plants[:MOST_LISTED]
    rows = [{"plant": one, "cover": _is_cover(one)} for one in listed]
    notes = ["A week: growth at best, under good light and CO2."]
    if rest := len(plants) - len(listed):
        notes.append(sentence("species_more", rest=rest))
    return Answer(f"{len(plants)} species{what}.", table("species_list", rows), notes)


def _is_cover(plant: Mapping[str, Any]) -> bool:
    return bool(plant["measure"] == "cover_pct")


def species_answer(plant: Mapping[str, Any]) -> Answer:
    """Say how fast a plant grows and what is most asked of it, then all the table says."""
    cover = _is_cover(plant)
    essential: list[tuple[str, ...]] = []
    others: list[tuple[str, ...]] = []
    for column in TABLES["species"]:
        value = plant[column.name]
        if column.name in SAID_ELSEWHERE or value is None:
            continue
        sure = "estimate" if column.name in plant["estimated"] else ""
        sure = FROM_BOOK if column.name in plant["from_book"] else sure
        value = 100 * value if column.unit == "share" else value
        told = f"{_cell(value)} {_unit(column.unit, cover)}".rstrip()
        part = essential if column.name in ESSENTIAL else others
        part.append((column.name, column.meaning, told, sure))
    heads, gives_way = ("column", "what it is", "value", "how sure"), ("column",)
    notes = [sentence(f"species_{plant['basis']}")]
    if plant["caution"]:
        notes.append(f"Caution: {plant['caution']}")
    source = [sentence("species_source", plant=plant)] if plant["source"] else []
    lead = sentence("species_pace", plant=plant, cover=cover)
    first, rest = (Table("", heads, rows, gives_way) for rows in (essential, others))
    return Answer(lead, first, notes, [rest, *source])


def _unit(unit: str, cover: bool) -> str:
    """Return a column's unit in words; plants measured by cover have their own."""
    if unit == "share":
        return "%"
    if unit == "g/l":
        return "grams per dm² at full cover" if cover else "grams per litre"
    if unit == "cm" and cover:
        return "% cover"
    return UNIT_WORDS[unit].removeprefix("a rate ") if unit else ""


def _cell(value: Any) -> str:
    if isinstance(value, bool):
        return yes_or_no(value)
    return f"{value:.4g}" if isinstance(value, float) else str(value)
