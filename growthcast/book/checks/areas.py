"""Checks of areas and species: heights against each other, the water and the ceiling."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from growthcast.arrays import BoolArray
from growthcast.book.checks.together import Tables, at_cell, height, where
from growthcast.book.shipped import reference_conditions
from growthcast.book.words import plain, shown
from growthcast.errors import Finding

_FEWER = "lower the height budget, or leave it if it is only never to be reached"


def check_floor_below_budget(tables: Tables) -> Iterator[Finding]:
    """The floor lies below the height budget."""
    areas = tables.areas
    floor, budget = areas.number("floor_cm"), areas.number("budget_cm")
    cover = tables.cover_areas
    for index in where(floor >= budget):
        limit = height(budget[index], cover[index])
        found = f"{height(floor[index], cover[index])}, not below the height budget of {limit}"
        fix = "lower floor_cm or raise budget_cm"
        yield at_cell(areas, index, "floor_cm", "floor-at-budget", found, fix)


def check_floor_below_ceiling(tables: Tables) -> Iterator[Finding]:
    """The floor lies below what the species reaches."""
    areas, ceiling = tables.areas, tables.ceiling_of_areas_cm
    floor, cover = areas.number("floor_cm"), tables.cover_areas
    for index in where(floor >= ceiling):
        limit = height(ceiling[index], cover[index])
        found = f"{height(floor[index], cover[index])}, not below the ceiling of {limit}"
        fix = "lower floor_cm, choose a taller species, or correct its ceiling in species.csv"
        yield at_cell(areas, index, "floor_cm", "floor-at-ceiling", found, fix)


def check_budget_in_reach(tables: Tables) -> Iterator[Finding]:
    """A budget above the water or above the ceiling is never passed."""
    areas, water, ceiling = tables.areas, tables.water_of_areas_cm, tables.ceiling_of_areas_cm
    budget, cover = areas.number("budget_cm"), tables.cover_areas
    above_water = (budget > water) & ~cover & (tables.species_of_areas >= 0)
    for index in where(above_water):
        found = f"{plain(budget[index])} cm, above the water of {plain(water[index])} cm"
        yield at_cell(areas, index, "budget_cm", "budget-above-water", found, _FEWER)
    said = (above_water & (ceiling == water)) | cover | (areas.number("floor_cm") >= ceiling)
    for index in where((budget > ceiling) & ~said):
        found = f"{plain(budget[index])} cm, above the ceiling of {plain(ceiling[index])} cm"
        yield at_cell(areas, index, "budget_cm", "budget-above-ceiling", found, _FEWER)


def check_cover_range(tables: Tables) -> Iterator[Finding]:
    """Heights of a species measured as cover are per cent, from 0 to 100."""
    areas, trims = tables.areas, tables.trims
    cover = tables.cover_areas
    pairs = [
        (areas, cover, ("floor_cm", "budget_cm", "cut_cm", "planted_height_cm")),
        (trims, tables.cover_trims, ("before_cm", "after_cm", "removed_cm")),
    ]
    for table, is_cover, columns in pairs:
        for column in columns:
            cells = table.number(column)
            for index in where(is_cover & (cells > 100)):
                found = f"{plain(cells[index])} %, above full cover"
                fix = "write per cent of the surface: this species is measured as cover"
                expected = "percent cover from 0 to 100"
                yield at_cell(table, index, column, "cover-range", found, fix, expected)


def check_cut_height(tables: Tables) -> Iterator[Finding]:
    """The usual cut height lies between the floor and the height budget."""
    areas, cover = tables.areas, tables.cover_areas
    cut, floor, budget = (areas.number(name) for name in ("cut_cm", "floor_cm", "budget_cm"))
    for odd, limit, words in (
        (cut < floor, floor, "below the floor"),
        (cut > budget, budget, "above the height budget"),
    ):
        for index in where(odd & (floor < budget)):
            found = height(cut[index], cover[index])
            found += f", {words} of {height(limit[index], cover[index])}"
            fix = "correct one of the two; after such a cut the area does not look right"
            expected = f"from {plain(floor[index])} to {height(budget[index], cover[index])}"
            yield at_cell(areas, index, "cut_cm", "cut-outside-range", found, fix, expected)


def check_planted_height(tables: Tables) -> Iterator[Finding]:
    """What is planted stands under water."""
    areas, water = tables.areas, tables.water_of_areas_cm
    planted = areas.number("planted_height_cm")
    for index in where((planted > water) & ~tables.cover_areas & (tables.species_of_areas >= 0)):
        found = f"{plain(planted[index])} cm, above the water of {plain(water[index])} cm"
        fix = "measure from the area's own base up, and check the tank's water_depth_cm"
        expected = f"at most {plain(water[index])} cm"
        yield at_cell(
            areas, index, "planted_height_cm", "planted-above-water", found, fix, expected
        )


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
            apart = removed[other] < planted[index] or removed[index] < planted[other]
            if not apart:
                found = f"{shown(label)}, which row {areas.rows[other]} of this tank has too"
                fix = "give each its own label, or leave it if people tell them apart"
                expected = "labels, each once in a tank"
                yield at_cell(areas, index, "label", "double-label", found, fix, expected)
                break
        others.append(index)


def check_life(tables: Tables) -> Iterator[Finding]:
    """An area is not removed before it is planted."""
    areas = tables.areas
    planted, removed = areas.date("planted_on"), areas.date("removed_on")
    for index in where(removed < planted):
        found = f"{removed[index]}, before it was planted on {planted[index]}"
        fix = "correct one of the two dates"
        yield at_cell(areas, index, "removed_on", "removed-before-planted", found, fix)


def check_ground(tables: Tables) -> Iterator[Finding]:
    """An area is no larger than its tank's ground."""
    areas, tanks = tables.areas, tables.tanks
    ground = np.append(tanks.number("length_cm") * tanks.number("width_cm"), np.nan)
    ground = ground[tables.tank_of_areas]
    size = areas.number("area_cm2")
    for index in where(size > ground):
        found = (
            f"{plain(size[index])} cm², larger than the tank's {plain(ground[index])} cm² of ground"
        )
        fix = "check that it is square centimetres, and the tank's length and width"
        yield at_cell(areas, index, "area_cm2", "area-above-tank", found, fix)


def check_lowest_cut(tables: Tables) -> Iterator[Finding]:
    """The practice's species stand a cut below their ceiling, the deepest water for some."""
    own, species, water = tables.own_species, tables.species, tables.tanks.number("water_depth_cm")
    reaches = species.flag("reaches_surface") & (water.size > 0)
    ceiling = np.where(reaches, water.max(initial=0.0), species.number("ceiling_cm"))
    lowest, cover = species.number("lowest_cut_cm"), species.text("measure") == "cover_pct"
    for index, at in _own_where(tables, lowest >= ceiling):
        limit = "water" if reaches[at] else "ceiling"
        found = f"{height(lowest[at], cover[at])}, not below the {limit} of "
        found += height(ceiling[at], cover[at])
        fix = "lower it, or raise ceiling_cm if the plant grows that high"
        given = not np.isnan(own.number("lowest_cut_cm")[index])
        column = "lowest_cut_cm" if given else "ceiling_cm"
        yield at_cell(own, index, column, "lowest-cut-at-ceiling", found, fix)


def check_temperatures(tables: Tables) -> Iterator[Finding]:
    """The practice's species grow from a lowest through a best to a highest temperature."""
    species = tables.species
    low, best = species.number("temp_min_c"), species.number("temp_opt_c")
    high = species.number("temp_max_c")
    for index, at in _own_where(tables, (low >= best) | (best >= high)):
        found = f"{low[at]:g}, {best[at]:g} and {high[at]:g} °C for lowest, best and highest"
        fix = "put the three in order; a blank cell takes its value from the table that ships"
        yield at_cell(tables.own_species, index, "temp_opt_c", "temperature-order", found, fix)


def check_reference_growth(tables: Tables) -> Iterator[Finding]:
    """The practice's species grow under the conditions for which their rate is given."""
    own, species, reference = tables.own_species, tables.species, reference_conditions()
    hours, warm = reference["photoperiod_h"], reference["temperature_c"]
    light = np.tanh(reference["ppfd_umol"] / species.number("light_k_umol"))
    gain_h = hours * light - 24.0 * species.number("respiration_share")
    low, high = species.number("temp_min_c"), species.number("temp_max_c")
    for index, at in _own_where(tables, gain_h <= 0.0):
        found = f"{gain_h[at]:.2g} h of net light a day at {reference['ppfd_umol']:g} µmol"
        fix = "lower respiration_share or light_k_umol"
        yield at_cell(own, index, "respiration_share", "no-reference-growth", found, fix)
    for index, at in _own_where(tables, (low < high) & ~((low < warm) & (warm < high))):
        found = f"growth from {low[at]:g} to {high[at]:g} °C, not at the reference {warm:g} °C"
        fix = f"give limits around {warm:g} °C, and the rate that holds there"
        yield at_cell(own, index, "temp_min_c", "no-reference-growth", found, fix)


def _own_where(tables: Tables, mask: BoolArray) -> Iterator[tuple[int, int]]:
    """Yield rows of the practice's own species where a mask of all species holds, and theirs."""
    place = tables.own_species.places("species_id", tables.species.text("species_id"))
    for index in where((place >= 0) & mask[place]):
        yield index, int(place[index])


AREA_CHECKS = (
    check_floor_below_budget,
    check_floor_below_ceiling,
    check_budget_in_reach,
    check_cover_range,
    check_cut_height,
    check_planted_height,
    check_labels,
    check_life,
    check_ground,
    check_lowest_cut,
    check_temperatures,
    check_reference_growth,
)
