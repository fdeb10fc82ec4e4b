"""Checks of areas and species: heights against each other, the water and the ceiling."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from growthcast.arrays import BoolArray
from growthcast.book.book import BOUNDS
from growthcast.book.checks.together import HEIGHTS, Tables, at_cell, at_cells, where
from growthcast.book.shipped import reference_conditions
from growthcast.book.words import PROPOSED, some_of
from growthcast.errors import Finding


def check_floor(tables: Tables) -> Iterator[Finding]:
    """The floor lies below the height budget and below what the species reaches."""
    areas, ceiling, unit = tables.areas, tables.ceiling_of_areas_cm, tables.unit_areas
    floor, budget = areas.number("floor_cm"), areas.number("budget_cm")
    yield from at_cells(areas, floor >= budget, "floor_cm", "floor-at-budget", unit=unit)
    said = {"ceiling": ceiling, "unit": unit}
    yield from at_cells(areas, floor >= ceiling, "floor_cm", "floor-at-ceiling", **said)


def check_under_water(tables: Tables) -> Iterator[Finding]:
    """What is planted stands under water; a budget above it or the ceiling is never passed."""
    areas, water, ceiling = tables.areas, tables.water_of_areas_cm, tables.ceiling_of_areas_cm
    budget, cover = areas.number("budget_cm"), tables.cover_areas
    in_height = ~cover & (tables.species_of_areas >= 0)
    above_water = (budget > water) & in_height
    yield from at_cells(areas, above_water, "budget_cm", "budget-above-water", water=water)
    said = (above_water & (ceiling == water)) | cover | (areas.number("floor_cm") >= ceiling)
    above = (budget > ceiling) & ~said
    yield from at_cells(areas, above, "budget_cm", "budget-above-ceiling", ceiling=ceiling)
    column = "planted_height_cm"
    planted = (areas.number(column) > water) & in_height
    yield from at_cells(areas, planted, column, "planted-above-water", water=water)


def check_cover_range(tables: Tables) -> Iterator[Finding]:
    """Heights of a species measured as cover are per cent, from 0 to 100."""
    for table, is_cover in ((tables.areas, tables.cover_areas), (tables.trims, tables.cover_trims)):
        for column in ("floor_cm", "budget_cm", "cut_cm", "planted_height_cm", *HEIGHTS):
            if column in table.columns:
                beyond = is_cover & (table.number(column) > 100)
                yield from at_cells(table, beyond, column, "cover-range")


def check_cut_height(tables: Tables) -> Iterator[Finding]:
    """The usual cut height lies between the floor and the height budget."""
    areas, unit = tables.areas, tables.unit_areas
    cut, floor, budget = (areas.number(name) for name in ("cut_cm", "floor_cm", "budget_cm"))
    for odd, limit, beyond in (
        (cut < floor, floor, "below the floor"),
        (cut > budget, budget, "above the height budget"),
    ):
        said = {"limit": limit, "beyond": beyond, "unit": unit}
        yield from at_cells(areas, odd & (floor < budget), "cut_cm", "cut-outside-range", **said)


def check_labels(tables: Tables) -> Iterator[Finding]:
    """Areas that live in a tank at one time have labels of their own."""
    areas = tables.areas
    planted, removed = areas.date("planted_on"), areas.date("removed_on")
    seen: dict[tuple[int, str], list[int]] = {}
    tank = tables.tank_of_areas.tolist()
    for index, label in enumerate(areas.text("label").tolist()):
        name = " ".join(label.casefold().split())
        if not name or tank[index] < 0:
            continue
        others = seen.setdefault((tank[index], name), [])
        for other in others:
            apart = removed[other] <= planted[index] or removed[index] <= planted[other]
            if not apart:
                yield at_cell(areas, index, "label", "double-label", first_row=areas.rows[other])
                break
        others.append(index)


def check_life_and_ground(tables: Tables) -> Iterator[Finding]:
    """An area is not removed before it is planted, and no larger than its tank's ground."""
    areas, tanks = tables.areas, tables.tanks
    ended = areas.date("removed_on") < areas.date("planted_on")
    yield from at_cells(areas, ended, "removed_on", "removed-before-planted")
    undated = areas.given("planted_height_cm") & ~areas.given("planted_on")
    yield from at_cells(areas, undated, "planted_height_cm", "planted-undated")
    ground = np.append(tanks.number("length_cm") * tanks.number("width_cm"), np.nan)
    ground = ground[tables.tank_of_areas]
    larger = areas.number("area_cm2") > ground
    yield from at_cells(areas, larger, "area_cm2", "area-above-tank", ground=ground)


def check_proposed(tables: Tables) -> Iterator[Finding]:
    """Ground and heights that were proposed have been agreed on; one finding names all others."""
    areas = tables.areas
    marked = np.array([PROPOSED in note for note in areas.text("note").tolist()], np.bool_)
    moved = np.isin(np.arange(len(areas)), tables.area_of_bounds)  # so they were agreed on since
    if open_ones := where(marked & ~moved & ~areas.given("removed_on")):
        said = {
            "count": len(open_ones),
            "areas": some_of(areas.text("area_id")[open_ones].tolist()),
        }
        yield at_cell(areas, open_ones[0], "note", "proposed", **said)


def check_lowest_cut(tables: Tables) -> Iterator[Finding]:
    """The practice's species stand a cut below their ceiling, the deepest water for some."""
    own, species, water = tables.own_species, tables.species, tables.tanks.number("water_depth_cm")
    reaches = species.flag("reaches_surface") & (water.size > 0)
    ceiling = np.where(reaches, water.max(initial=0.0), species.number("ceiling_cm"))
    lowest, cover = species.number("lowest_cut_cm"), species.text("measure") == "cover_pct"
    given = own.given("lowest_cut_cm")
    for index, at in _own_where(tables, lowest >= ceiling):
        said = {"lowest": lowest[at], "ceiling": ceiling[at], "unit": "%" if cover[at] else "cm"}
        said["limit"] = "water" if reaches[at] else "ceiling"
        column = "lowest_cut_cm" if given[index] else "ceiling_cm"
        yield at_cell(own, index, column, "lowest-cut-at-ceiling", **said)


def check_temperatures(tables: Tables) -> Iterator[Finding]:
    """The practice's species grow from a lowest through a best to a highest temperature."""
    own, names = tables.own_species, ("temp_min_c", "temp_opt_c", "temp_max_c")
    low, best, high = (tables.species.number(name) for name in names)
    for index, at in _own_where(tables, (low >= best) | (best >= high)):
        said = {"low": low[at], "best": best[at], "high": high[at]}
        yield at_cell(own, index, "temp_opt_c", "temperature-order", **said)


def check_reference_growth(tables: Tables) -> Iterator[Finding]:
    """The practice's species grow under the conditions for which their rate is given."""
    own, species, reference = tables.own_species, tables.species, reference_conditions()
    hours, warm = reference["photoperiod_h"], reference["temperature_c"]
    light = np.tanh(reference["ppfd_umol"] / species.number("light_k_umol"))
    gain_h = hours * light - 24.0 * species.number("respiration_share")
    low, high = species.number("temp_min_c"), species.number("temp_max_c")
    for index, at in _own_where(tables, gain_h <= 0.0):
        found = f"{gain_h[at]:.2g} h of net light a day at {reference['ppfd_umol']:g} µmol"
        said = {"found": found, "fix": "lower respiration_share or light_k_umol"}
        yield at_cell(own, index, "respiration_share", "no-reference-growth", **said)
    for index, at in _own_where(tables, (low < high) & ~((low < warm) & (warm < high))):
        found = f"growth from {low[at]:g} to {high[at]:g} °C, not at the reference {warm:g} °C"
        fix = f"give limits around {warm:g} °C, and the rate that holds there"
        yield at_cell(own, index, "temp_min_c", "no-reference-growth", found=found, fix=fix)


def _own_where(tables: Tables, mask: BoolArray) -> Iterator[tuple[int, int]]:
    """Yield rows of the practice's own species where a mask of all species holds, and theirs."""
    place = tables.own_species.places("species_id", tables.species.text("species_id"))
    for index in where((place >= 0) & mask[place]):
        yield index, int(place[index])


def check_moves(tables: Tables) -> Iterator[Finding]:
    """Bounds agreed anew lie within the area's life, and are such as the area might have had."""
    bounds, areas, area = tables.bounds, tables.areas, tables.area_of_bounds
    if not len(bounds) or not len(areas):
        return
    days, known = bounds.date("from_date"), area >= 0
    planted, removed = (areas.date(name)[area] for name in ("planted_on", "removed_on"))
    for outside, limit, when in (
        (days < planted, planted, "before the area was planted on"),
        (days > removed, removed, "after the area was removed on"),
    ):
        at = known & outside
        yield from at_cells(bounds, at, "from_date", "outside-life", limit=limit, when=when)
    given = {name: set(bounds.rows[bounds.given(name)].tolist()) for name in BOUNDS}
    for check in (check_floor, check_under_water, check_cover_range, check_cut_height):
        for item in check(tables.as_moved):
            if item.file == bounds.name and item.row in given.get(item.heading, ()):
                yield item
            elif item.file == bounds.name and item.slug == "floor-at-budget":
                yield item  # the floor of before, and a budget that came down to it


AREA_CHECKS = (
    check_floor,
    check_under_water,
    check_cover_range,
    check_cut_height,
    check_labels,
    check_life_and_ground,
    check_proposed,
    check_moves,
    check_lowest_cut,
    check_temperatures,
    check_reference_growth,
)
