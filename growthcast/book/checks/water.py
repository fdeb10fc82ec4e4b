"""Checks of the conditions: possible ones, and those worth a second look."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from growthcast.arrays import FloatArray, IntArray
from growthcast.book.book import Table
from growthcast.book.checks.together import Tables, at_cell, at_cells, day_numbers, where
from growthcast.book.words import plain
from growthcast.errors import Finding

_CAUTION_MG_L = 30.0
_IMPOSSIBLE_MG_L = 300.0
_APART = 3.0
_LIGHT_FAR_ABOVE = 1.5
_LITTLE_CO2_MG_L, _LITTLE_NO3_MG_L, _LITTLE_PO4_MG_L = 10.0, 5.0, 0.1
_NONE_ADDED_MG_L = 3.0
_USUAL_HOURS = 8.0
_MOST_NAMED = 3


def _kept(table: Table, name: str) -> FloatArray:
    """Return a column (N,) in which a blank cell keeps its tank's earlier value."""
    values = table.number(name).copy()
    last: dict[int, float] = {}
    tank = table.coded["tank_id"].codes
    for index in np.argsort(table.date("from_date"), kind="stable").tolist():
        if np.isnan(values[index]):
            values[index] = last.get(int(tank[index]), np.nan)
        last[int(tank[index])] = float(values[index])
    return values


def check_co2(tables: Tables) -> Iterator[Finding]:
    """CO2, typed or implied by pH and carbonate hardness, is possible and bearable for livestock.

    The trade's rule ``3 KH 10^(7 - pH)`` is common practice without a source: good enough for a
    bound, while what is computed for the fit comes from the carbonate equilibrium.
    """
    table = tables.conditions
    for index in where(table.number("co2_mg_l") > _CAUTION_MG_L):
        co2 = f"{plain(table.number('co2_mg_l')[index])} mg/L"
        said = {"co2": co2, "what": "it", "expected": "30 mg/L at most"}
        yield at_cell(table, index, "co2_mg_l", "co2-caution", **said)
    ph, kh = _kept(table, "ph"), _kept(table, "kh_dkh")
    implied = 3.0 * kh * 10.0 ** (7.0 - ph)
    typed = table.given("ph") | table.given("kh_dkh")
    used = typed & np.isnan(_kept(table, "co2_mg_l"))
    for index in where(used & (implied > _CAUTION_MG_L)):
        column = "ph" if table.given("ph")[index] else "kh_dkh"
        about = f"pH {plain(ph[index])} with KH {plain(kh[index])}: about {implied[index]:.0f} mg/L"
        said = {"co2": f"{about} CO2 by 3 × KH × 10^(7 − pH)"}
        if implied[index] > _IMPOSSIBLE_MG_L:
            yield at_cell(table, index, column, "co2-impossible", **said)
            continue
        said["what"] = "both; with pH buffers, wood or peat type co2_mg_l instead"
        said["expected"] = "CO2 of 30 mg/L at most"
        yield at_cell(table, index, column, "co2-caution", **said)


def check_co2_contradiction(tables: Tables) -> Iterator[Finding]:
    """The CO2 typed is near what pH and carbonate hardness of its row imply, by the same rule."""
    table = tables.conditions
    co2, ph, kh = (table.number(name) for name in ("co2_mg_l", "ph", "kh_dkh"))
    implied = 3.0 * kh * 10.0 ** (7.0 - ph)
    low, high = np.maximum(co2, 1.0), np.maximum(implied, 1.0)  # below 1 mg/L all is alike
    low = np.where(co2 == 0, _NONE_ADDED_MG_L, low)
    apart = (kh > 0) & ((low > _APART * high) | (high > _APART * low))
    yield from at_cells(table, apart, "co2_mg_l", "co2-contradiction", implied=implied)


def check_zero_and_cold(tables: Tables) -> Iterator[Finding]:
    """Water has some carbonate hardness and warmth, a tank has light, and it reaches every area."""
    table, areas = tables.conditions, tables.areas
    yield from at_cells(table, table.number("kh_dkh") == 0, "kh_dkh", "kh-zero")
    for column in ("ppfd_umol", "photoperiod_h"):
        yield from at_cells(table, table.number(column) == 0, column, "no-light")
    said = {
        "found": "0, an area that no light reaches",
        "fix": "write the share of the tank's light that reaches it, or leave it blank for all "
        "of it",
    }
    dark = areas.number("light_share") == 0
    yield from at_cells(areas, dark, "light_share", "no-light", **said)
    cold = table.number("temperature_c") < 10
    yield from at_cells(table, cold, "temperature_c", "cold-water")


def _growing(tables: Tables) -> list[IntArray]:
    """Return for each row of conditions the areas that grow in its tank while it holds."""
    table, areas = tables.conditions, tables.areas
    count = len(tables.tanks)
    tank, home = table.places("tank_id", tables.tanks.text("tank_id")), tables.tank_of_areas
    begins = day_numbers(table.date("from_date"))
    order = np.lexsort((begins, tank))
    ends = np.full(len(table), np.iinfo(np.int64).max)
    same = tank[order][1:] == tank[order][:-1]
    ends[order[:-1][same]] = begins[order[1:][same]]
    by_tank = np.argsort(home, kind="stable")
    edges = np.searchsorted(home[by_tank], np.arange(count + 1))
    planted = day_numbers(areas.date("planted_on"))
    removed = day_numbers(areas.date("removed_on"))
    removed = np.where(removed == 0, np.iinfo(np.int64).max, removed)
    known = tables.species_of_areas >= 0
    living = []
    for index, place in enumerate(tank.tolist()):
        mine = by_tank[edges[place] : edges[place + 1]] if place >= 0 else by_tank[:0]
        holds = known[mine] & (removed[mine] >= begins[index]) & (planted[mine] < ends[index])
        living.append(mine[holds])
    return living


def _named(tables: Tables, places: IntArray) -> str:
    """Return the plants of some areas, the first few by name."""
    names = list(dict.fromkeys(tables.areas.text("species_id")[places].tolist()))
    rest = len(names) - _MOST_NAMED
    return ", ".join(names[:_MOST_NAMED]) + (f" and {rest} more" if rest > 0 else "")


def check_warmth_of_plants(tables: Tables) -> Iterator[Finding]:
    """The plants of a tank stand its temperature."""
    table, species = tables.conditions, tables.species
    low, high = species.number("temp_min_c"), species.number("temp_max_c")
    warm = table.number("temperature_c")
    growing = _growing(tables) if where(warm >= 10) else []
    for index in where(warm >= 10):
        of_area = tables.species_of_areas[growing[index]]
        out = growing[index][(warm[index] > high[of_area]) | (warm[index] < low[of_area])]
        if out.size:
            first = int(tables.species_of_areas[out[0]])
            said = {"plants": _named(tables, out), "low": low[first], "high": high[first]}
            yield at_cell(table, index, "temperature_c", "temperature-of-plants", **said)


def check_light_without_food(tables: Tables) -> Iterator[Finding]:
    """Strong light goes with CO2 and nutrients; without them algae take it.

    Far above need is half as much again as the light at which the neediest plant's growth bends
    over, at 8 hours a day; the limits are common practice without a source.
    """
    table = tables.conditions
    kept = {name: _kept(table, name) for name in ("ppfd_umol", "photoperiod_h", "no3_mg_l")}
    kept |= {name: _kept(table, name) for name in ("co2_mg_l", "ph", "kh_dkh", "po4_mg_l")}
    hours = np.where(np.isnan(kept["photoperiod_h"]), _USUAL_HOURS, kept["photoperiod_h"])
    light = kept["ppfd_umol"] * hours / _USUAL_HOURS
    implied = 3.0 * kept["kh_dkh"] * 10.0 ** (7.0 - kept["ph"])
    co2 = np.where(np.isnan(kept["co2_mg_l"]), implied, kept["co2_mg_l"])
    poor = (kept["no3_mg_l"] < _LITTLE_NO3_MG_L) | (kept["po4_mg_l"] < _LITTLE_PO4_MG_L)
    rows = where((co2 < _LITTLE_CO2_MG_L) & poor & np.isfinite(light))
    growing = _growing(tables) if rows else []
    needs = tables.species.number("light_k_umol")
    for index in rows:
        if not growing[index].size:
            continue
        need = float(needs[tables.species_of_areas[growing[index]]].max())
        if light[index] > _LIGHT_FAR_ABOVE * need:
            carbon = f"{co2[index]:.3g} mg/L CO2" if co2[index] else "no CO2 added"
            said = {"light": kept["ppfd_umol"][index], "hours": hours[index]}
            said |= {"carbon": carbon, "need": need}
            yield at_cell(table, index, "ppfd_umol", "light-without-food", **said)


WATER_CHECKS = (
    check_co2,
    check_co2_contradiction,
    check_zero_and_cold,
    check_warmth_of_plants,
    check_light_without_food,
)
