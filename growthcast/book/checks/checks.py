"""Where something is wrong or odd in a book: the rules of ``rules.toml``, and what is no rule."""

from __future__ import annotations

import tomllib
from collections.abc import Callable, Iterator
from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np

from growthcast.arrays import IntArray, among, day_numbers, pair_of
from growthcast.book.book import BOUNDS, Table, WholeTank
from growthcast.book.checks import facts
from growthcast.book.findings import filled, finding
from growthcast.book.names import plant_named
from growthcast.book.tables import TABLES
from growthcast.book.words import did_you_mean
from growthcast.errors import Finding

_MOST_GUESSES = 20  # looking for near misses among thousands of ids takes its time
_MOST_NAMED = 3


@cache
def _rules() -> tuple[tuple[str, str, Any, dict[str, str]], ...]:
    """Return each rule at each of its cells: its kind, the cell, what is evaluated, its words."""
    listed = tomllib.loads(Path(__file__).with_name("rules.toml").read_text(encoding="utf-8"))
    found = []
    for slug, rule in ((slug, rule) for slug, rules in listed.items() for rule in rules):
        cells, when = rule.pop("at"), compile(f"({rule.pop('when')})", slug, "eval")
        found += [(slug, cell, when, rule) for cell in cells]
    return tuple(found)


def check_rules(tables: facts.Tables) -> Iterator[Finding]:
    """No row is as a rule says; of bounds agreed anew, only cells that the row gives are asked."""
    bounds = tables.tables["bounds"]
    for slug, cell, when, words in _rules():
        name, _, column = cell.partition(".")
        if not len(tables.tables.get(name, ())):
            continue
        rows: Any = tables.rows(name)
        rows.known |= {"cell": rows[column], "column": column}
        mask = np.broadcast_to(eval(when, facts.FOR_FACTS, rows), len(rows.table))
        if name == "bounds" and column in BOUNDS and slug != "floor-at-budget":
            mask = mask & np.isin(rows.table.rows, bounds.rows[bounds.given(column)])
        for index in facts.where(mask):
            said = {part: filled(text, facts.Words(rows, index)) for part, text in words.items()}
            yield rows.at_cell(index, column, slug, **said)


def _said(table: Table, index: int) -> list[tuple[str, object]]:
    """Return the numbers and words of a row that are not blank, by column; a note is none."""
    declared = TABLES[table.name.removesuffix(".csv")]
    names = [column.name for column in declared if column.kind in ("number", "choice")]
    cells = ((name, table.columns[name][index]) for name in names)
    return [(name, cell) for name, cell in cells if cell != "" and cell == cell]


def check_double_rows(tables: facts.Tables) -> Iterator[Finding]:
    """One row for one area, one tank's trimmings or conditions, or an area's bounds on one day."""
    for name, column, thing in (
        ("trims", "area_id", "this area or whole tank and day"),
        ("conditions", "from_date", "this tank and date"),
        ("bounds", "from_date", "this area and date"),
    ):
        table = tables.tables[name]
        for index, first in facts.doubles(table):
            slug, said = "two-rows", {"thing": thing, "first_row": int(table.rows[first])}
            here, there = _said(table, index), _said(table, first)
            if here == there:
                slug = "same-rows"
            elif not here or not there:
                bare, other = (first, index) if here else (index, first)
                said["found"] = (
                    f"a second row beside row {said['first_row']}, one of the two without amounts"
                )
                said["fix"] = f"put the note of row {table.rows[bare]} into row {table.rows[other]}"
            yield facts.at_cell(table, index, column, slug, **said)


_HOMES = {"tank_id": "tanks", "area_id": "areas", "species_id": "species"}
_NAMED = [
    (table, column.name)
    for table, columns in TABLES.items()
    for column in columns
    if column.kind == "id" and _HOMES[column.name] != table
]


def check_unknown_ids(tables: facts.Tables) -> Iterator[Finding]:
    """Every id named stands in its home table."""
    for name, column in _NAMED:
        table, home = tables.tables[name], tables.tables[_HOMES[column]]
        known = [name for name in home.text(column).tolist() if name]
        missing = (table.places(column, home.text(column)) < 0) & table.given(column)
        fixes: dict[str, str] = {}
        otherwise = f"add it to {home.name}, or write one of its ids"
        for index in facts.where(missing) if known else ():  # else the home table has the finding
            name = str(table.text(column)[index])
            if name not in fixes:
                guess = len(fixes) < _MOST_GUESSES
                plant = plant_named(home, name) if column == "species_id" and guess else None
                fixes[name] = f"write {plant}" if plant else otherwise
                if guess and not plant:
                    fixes[name] = did_you_mean(name, known, otherwise)
            said = {"name": name, "home": home.name, "fix": fixes[name]}
            yield facts.at_cell(table, index, column, "unknown-id", **said)


def check_labels(tables: facts.Tables) -> Iterator[Finding]:
    """Areas that live in a tank at one time have labels of their own."""
    areas = tables.rows("areas")
    planted, removed = areas["planted_on"], areas["removed_on"]
    seen: dict[tuple[int, str], list[int]] = {}
    for index, label in enumerate(areas["label"].tolist()):
        place = (int(areas["tank"][index]), " ".join(label.casefold().split()))
        if not place[1] or place[0] < 0:
            continue
        others = seen.setdefault(place, [])
        for other in others:
            if not (removed[other] <= planted[index] or removed[index] <= planted[other]):
                first_row = areas.table.rows[other]
                yield areas.at_cell(index, "label", "double-label", first_row=first_row)
                break
        others.append(index)


def check_columns_of_areas(tables: facts.Tables) -> Iterator[Finding]:
    """A log that tells how areas stood has a column that names them."""
    trims = tables.rows("trims")
    if trims["lacks_areas"]:
        fix = "add the column area_id, or correct the name of the one that holds the areas"
        yield finding("missing-column", trims.table.name, 1, None, "area_id", fix=fix)


def _growing(tables: facts.Tables) -> list[IntArray]:
    """Return for each row of conditions the areas that grow in its tank while it holds."""
    rows, areas = tables.rows("conditions"), tables.rows("areas")
    tank, home = rows.places("tank_id", "tanks"), areas["tank"]
    begins = day_numbers(rows["from_date"])
    order = np.lexsort((begins, tank))
    ends = np.full(begins.size, np.inf)
    same = tank[order][1:] == tank[order][:-1]
    ends[order[:-1][same]] = begins[order[1:][same]]
    by_tank = np.argsort(home, kind="stable")
    edges = np.searchsorted(home[by_tank], np.arange(len(tables.tables["tanks"]) + 1))
    planted, removed = (day_numbers(areas[name]) for name in ("planted_on", "removed_on"))
    living = []
    for index, place in enumerate(tank.tolist()):
        mine = by_tank[edges[place] : edges[place + 1]] if place >= 0 else by_tank[:0]
        gone = (removed[mine] < begins[index]) | (planted[mine] >= ends[index])
        living.append(mine[(areas["plant"][mine] >= 0) & ~gone])
    return living


def check_plants_in_water(tables: facts.Tables) -> Iterator[Finding]:
    """The plants of a tank stand its temperature; strong light goes with CO2 and nutrients.

    Far above need is half as much again as the light at which the neediest plant's growth bends
    over, at 8 hours a day; the limits are common practice without a source.
    """
    rows, areas, species = (tables.rows(name) for name in ("conditions", "areas", "species"))
    warm, light, co2 = rows["temperature_c"], facts.kept(rows, "ppfd_umol"), rows["kept_co2"]
    hours = facts.kept(rows, "photoperiod_h")
    hours = np.where(np.isnan(hours), 8.0, hours)
    co2 = np.where(np.isnan(co2), rows["implied"], co2)
    poor = (facts.kept(rows, "no3_mg_l") < 5.0) | (facts.kept(rows, "po4_mg_l") < 0.1)
    poor &= co2 < 10.0
    growing = _growing(tables) if (poor | (warm >= 10)).any() else []
    for index, here in ((at, mine) for at, mine in enumerate(growing) if mine.size):
        plant = areas["plant"][here]
        low, high = species["temp_min_c"][plant], species["temp_max_c"][plant]
        out = np.flatnonzero((warm[index] > high) | (warm[index] < low))
        if warm[index] >= 10 and out.size:
            names = list(dict.fromkeys(areas["species_id"][here[out]].tolist()))
            more = len(names) - _MOST_NAMED
            named = ", ".join(names[:_MOST_NAMED]) + (f" and {more} more" if more > 0 else "")
            said = {"plants": named, "low": low[out[0]], "high": high[out[0]]}
            yield rows.at_cell(index, "temperature_c", "temperature-of-plants", **said)
        need = float(species["light_k_umol"][plant].max())
        if poor[index] and light[index] * hours[index] / 8.0 > 1.5 * need:
            carbon = f"{co2[index]:.3g} mg/L CO2" if co2[index] else "no CO2 added"
            said = {"light": light[index], "hours": hours[index], "carbon": carbon, "need": need}
            yield rows.at_cell(index, "ppfd_umol", "light-without-food", **said)


def remark_on_grams(trims: Table, reading: WholeTank | None, why: str) -> Iterator[Finding]:
    """Say how weights of whole tanks are read where it makes a difference.

    That is on days on which areas have amounts of their own, unless the row says whose grams it
    holds. ``reading`` is ``None`` where that has not been settled.
    """
    weighed = facts.of_whole_tank(trims) & trims.given("removed_g")
    visit = pair_of(trims.codes("tank_id"), day_numbers(trims.date("date")))
    beside = among(visit, visit[~facts.of_whole_tank(trims) & facts.has_amounts(trims)])
    if not (rows := facts.where(weighed & beside & ~trims.given("grams_of"))):
        return
    whose = {
        "all": "as everything that came out of the tank",
        "rest": "as what the areas without amounts of their own gave",
        None: "as the log tells",
    }[reading]
    count = f"{len(rows)} weight{'s' if len(rows) > 1 else ''}"
    said = {"count": count, "whose": whose, "why": why}
    yield facts.at_cell(trims, rows[0], "removed_g", "whole-tank-grams", **said)


CHECKS: tuple[Callable[[facts.Tables], Iterator[Finding]], ...] = (
    check_rules,
    check_unknown_ids,
    check_labels,
    check_columns_of_areas,
    check_double_rows,
    check_plants_in_water,
)
LAYOUT_CHECKS = (check_rules, check_unknown_ids, check_labels)
"""Checks that a layout has to pass."""


def in_percent_cover(findings: list[Finding], tables: facts.Tables) -> list[Finding]:
    """Return the findings, with percent cover instead of centimetres where cover is measured."""
    measured = (tables.rows(name) for name in ("areas", "bounds", "trims"))
    cover = {rows.table.name: {*rows.table.rows[rows["is_cover"]].tolist()} for rows in measured}
    return [_of_cover(item) if item.row in cover.get(item.file, ()) else item for item in findings]


def _of_cover(item: Finding) -> Finding:
    table = item.file.removesuffix(".csv")
    columns = [c for c in TABLES[table] if c.name == item.heading and c.unit == "cm"]
    if not columns:
        return item
    expected = replace(columns[0], high=100.0).expected.replace("centimetres", "percent cover")
    said, fix = item.expected, item.fix.replace("centimetres", "percent cover")
    return replace(item, expected=expected if "centimetres" in said else said, fix=fix)
