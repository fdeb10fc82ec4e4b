"""A first book typed shortly: tanks and areas as lines, and what is left open proposed.

::

    tank = name [ "," client ] [ length "x" width "x" ] depth        lobby, Client A 120x45x48
    area = plant [ place ] { ground | heights | day }                rotala macrandra back 9-22

A plant goes by any of its names, or by the beginnings of its words where that leaves one. Places
are words or their first letters. Ground is ``400cm2``, heights are floor and budget (``9-22``, in
cm, or in % cover of floating plants), the day of planting is ``2026-01-15``; left out, it was
before our time.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from typing import Any

from growthcast.book.book import Table
from growthcast.book.cells.numbers import parse_date, typed_number
from growthcast.book.findings import Fault, refusal
from growthcast.book.names import plant_meant
from growthcast.book.supposed import Cell
from growthcast.book.tables import column_of
from growthcast.book.words import PROPOSED, plain, slug
from growthcast.errors import UsageError

PLACES = column_of("areas", "place").choices
_PLACE_OF = {place[0]: place for place in PLACES} | {place: place for place in PLACES}
PLACE_OF_FORM = {"carpet": "front", "creeping": "front", "rosette": "middle", "stem": "back"}
PLACE_OF_FORM |= {"epiphyte": "wood", "moss": "wood", "floating": "surface"}
"""Where plants of a form usually stand."""
HEIGHT_SHARES = {"front": (0.04, 0.11), "middle": (0.18, 0.38), "back": (0.20, 0.48)}
HEIGHT_SHARES |= {"wood": (0.08, 0.25)}
"""Floor and budget as shares of the water's depth, by place (common practice, no source)."""
GROUND_SHARES = {"front": 0.25, "middle": 0.25, "back": 0.30, "wood": 0.10, "surface": 1.0}
"""Share of a tank's ground that the areas of a place have together (common practice, no source)."""
COVER = (10.0, 60.0)
"""Floor and budget of a floating plant in % cover (common practice, no source)."""
OF_CEILING, OF_BUDGET = 0.8, 0.6
"""A budget lies below this share of what the plant reaches, a floor below that of its budget."""

_NUMBER = r"[0-9]+(?:[.,][0-9]+)?"
_TANK = rf"([^,]+?)\s*(?:,\s*(.*?))?\s+(?:({_NUMBER})\s*[x×]\s*({_NUMBER})\s*[x×]\s*)?({_NUMBER})"
_GROUND = rf"(?i)({_NUMBER})cm[2²]"
_HEIGHTS = rf"(?i)({_NUMBER})[-–]({_NUMBER})(?:cm|%)?"
_OPEN = ("area_cm2", "floor_cm", "budget_cm")

Row = dict[str, Cell]


def tank_typed(line: str, taken: Sequence[str] = ()) -> Row:
    """Return the row of tanks.csv that a line means; ``UsageError`` with what to write."""
    match = re.fullmatch(_TANK, line.strip())
    if match is None or not (tank_id := slug(match[1])):
        raise UsageError(refusal("no-tank-typed", line=line))
    if tank_id in taken:
        raise UsageError(f"a tank {tank_id} is there already; give this one another name")
    length, width, depth = (one and typed_number(one) for one in match.groups()[2:])
    row: Row = {"tank_id": tank_id, "client": match[2] or None}
    row |= {"name": match[1] if tank_id != match[1].casefold() else None}
    return row | {"length_cm": length, "width_cm": width, "water_depth_cm": depth}


def area_typed(line: str, tank_id: str, species: Table) -> Row:
    """Return what a line says of an area; ``UsageError`` with what to write."""
    row: Row = {"tank_id": tank_id}
    plant: list[str] = []
    for word in line.split():
        day = parse_date(word)
        if match := re.fullmatch(_GROUND, word):
            row["area_cm2"] = typed_number(match[1])
        elif not isinstance(day, Fault):
            row["planted_on"] = day
        elif match := re.fullmatch(_HEIGHTS, word):
            row["floor_cm"], row["budget_cm"] = map(typed_number, match.groups())
        else:
            plant.append(word)
    if len(plant) > 1 and plant[-1].casefold() in _PLACE_OF:
        row["place"] = _PLACE_OF[plant.pop().casefold()]
    row["species_id"] = plant_meant(species, " ".join(plant))
    return row


def complete_areas(
    areas: Sequence[Row], tanks: Sequence[Mapping[str, Cell]], species: Table
) -> list[Row]:
    """Return areas with an id, a label and a place, and ground and heights proposed where open.

    What is proposed is named in the note of its row, after ``PROPOSED``, until somebody takes that
    out. ``UsageError`` where a tank has no length and width to propose ground from.
    """
    home = {str(tank["tank_id"]): tank for tank in tanks}
    facts = {str(row["species_id"]): row for row in species.as_rows()}
    rows: list[Row] = []
    for area in areas:
        form = str(facts.get(str(area.get("species_id")), {}).get("form"))
        rows.append({**area, "place": area.get("place") or PLACE_OF_FORM.get(form)})
    ids = {str(row["area_id"]) for row in rows if row.get("area_id")}
    for row in rows:
        if plant := facts.get(str(row.get("species_id"))):
            beside = [one for one in rows if one["tank_id"] == row["tank_id"]]
            _name(row, beside, plant, ids)
            count = sum(one["place"] == row["place"] for one in beside)
            _propose(row, home.get(str(row["tank_id"]), {}), plant, count)
    return rows


def _name(row: Row, beside: Sequence[Row], plant: Mapping[str, Any], ids: set[str]) -> None:
    """Give an area an id nobody else has, and a label of its own in its tank."""
    words = str(row["species_id"]).split("-")
    if not row.get("area_id"):
        stem = f"{row['tank_id']}-{words[0]}"
        several = [stem, f"{row['tank_id']}-{'-'.join(words)}"]
        several += [f"{stem}-{number}" for number in range(2, len(ids) + 3)]
        row["area_id"] = next(one for one in several if one not in ids)
        ids.add(str(row["area_id"]))
    if not row.get("label"):
        common = plant["common_name"] or " ".join(words)
        label = f"{common}, {row['place']}" if row["place"] else common
        same = {str(one.get("label")) for one in beside}
        several = [label, *(f"{label} {number}" for number in range(2, len(beside) + 2))]
        row["label"] = next(one for one in several if one not in same)


def _propose(row: Row, tank: Mapping[str, Cell], plant: Mapping[str, Any], count: int) -> None:
    """Fill in ground, floor and budget that are open, and say so in the note."""
    opened = [name for name in _OPEN if row.get(name) is None]
    place, depth = str(row["place"]), tank.get("water_depth_cm")
    if not opened or not isinstance(depth, float | int):
        return
    proposed: Row = {}
    if "area_cm2" in opened:
        length, width = tank.get("length_cm"), tank.get("width_cm")
        if not (isinstance(length, float | int) and isinstance(width, float | int)):
            said = {"plant": row["species_id"], "tank": row["tank_id"]}
            raise UsageError(refusal("no-ground", **said))
        share = GROUND_SHARES.get(place, 0.1)
        proposed["area_cm2"] = float(round(share * length * width / count))
    floor, budget = _heights(place, float(depth), plant)
    if isinstance(given := row.get("budget_cm"), float | int):
        floor = min(floor, _round(OF_BUDGET * given))
    if isinstance(low := row.get("floor_cm"), float | int):
        budget = max(budget, _round(low / OF_BUDGET))
    proposed |= {"floor_cm": floor, "budget_cm": budget}
    row |= {name: proposed[name] for name in opened}
    note = f"{PROPOSED} {', '.join(opened)}"
    row["note"] = f"{row['note']}; {note}" if row.get("note") else note


def _heights(place: str, depth_cm: float, plant: Mapping[str, Any]) -> tuple[float, float]:
    """Return a floor and a budget for a plant in its place [cm, or % cover]."""
    if plant["measure"] == "cover_pct":
        return COVER
    low, high = HEIGHT_SHARES.get(place, HEIGHT_SHARES["middle"])
    rises = plant["reaches_surface"] == "true"
    ceiling = depth_cm if rises else min(depth_cm, float(plant["ceiling_cm"]))
    lowest = float(plant["lowest_cut_cm"])
    budget = min(high * depth_cm, OF_CEILING * ceiling)
    budget = max(budget, min(lowest / OF_BUDGET, OF_CEILING * ceiling))
    floor = min(max(low * depth_cm, lowest), OF_BUDGET * budget)
    return _round(floor), _round(budget)


def _round(height_cm: float) -> float:
    """Return a height as people agree on it: in half centimetres, a small one in millimetres."""
    return float(plain(round(height_cm, 1) if height_cm < 3 else round(2 * height_cm) / 2))
