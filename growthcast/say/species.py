"""Plants in words, as the species table has them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from growthcast.book.columns import UNIT_WORDS
from growthcast.book.tables import TABLES
from growthcast.say.words import Beside, Table, Words

BASIS_WORDS = {
    "published": "published: the rate is printed in a scientific paper",
    "growers": "growers: the rate fits a cutting interval or doubling time told by growers",
    "estimate": "estimate: the rate was put to the plant from memory; no figure for it was read",
}
FROM_BOOK = "from the book's own species.csv"
SAID_ELSEWHERE = {"species_id", "scientific_name", "common_name", "caution", "basis", "source"}


def list_words(plants: Sequence[Mapping[str, Any]]) -> Words:
    """Yield a table with a line for each plant."""
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
        yield Beside("No species fits all of these; ask for less.")
        return
    headings = ("species", "name", "form", "a week at best>", "low stand doubles in>")
    yield Table(
        f"{len(rows)} species, under good light and CO2",
        (*headings, "ceiling>", "light", "CO2 needed", "rate from"),
        rows,
    )


def species_words(plant: Mapping[str, Any]) -> Words:
    """Yield everything the table says of one plant."""
    cover = plant["measure"] == "cover_pct"
    rows = []
    for column in TABLES["species"]:
        name, value = column.name, plant[column.name]
        if name in SAID_ELSEWHERE or value is None:
            continue
        sure = "estimate" if name in plant["estimated"] else ""
        sure = FROM_BOOK if name in plant["from_book"] else sure
        value = 100 * value if column.unit == "share" else value
        rows.append((name, column.meaning, _cell(value), _unit(column.unit, cover), sure))
    title = plant["scientific_name"] or plant["species_id"]
    if plant["common_name"]:
        title += f" ({plant['common_name']})"
    yield Table(title, ("column", "what it is", "value>", "unit", "how sure"), rows)
    at_best = f"{plant['fastest_cm_per_week']:.1f} {'points of cover' if cover else 'cm'} a week"
    where = " in water of 45 cm" if plant["reaches_surface"] else ""
    yield f"At best it grows {at_best}{where}, at half of its ceiling."
    yield f"Basis: {BASIS_WORDS[plant['basis']]}."
    if plant["caution"]:
        yield f"Caution: {plant['caution']}"
    if plant["source_text"]:
        yield f"Source, {plant['source']}: {plant['source_text']}"
    elif plant["source"]:
        yield f"Source: {plant['source']}"


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
        return "yes" if value else "no"
    return f"{value:.4g}" if isinstance(value, float) else str(value)
