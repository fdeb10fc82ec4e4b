"""Checks of areas and species: heights against each other, the water and the ceiling."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from growthcast.book.checks.together import Tables, at_cell, where
from growthcast.book.shipped import reference_conditions
from growthcast.errors import Finding

__all__ = ["AREA_CHECKS"]

_FEWER = "lower the height budget, or leave it if it is only never to be reached"


def _water_cm(tables: Tables) -> NDArray[np.float64]:
    return np.append(tables.tanks.number("water_depth_cm"), np.nan)[tables.tank_of_areas]


def _ceiling_cm(tables: Tables) -> NDArray[np.float64]:
    """Return each area's ceiling (A,): the water where its species reaches the surface."""
    of_area = tables.species_of_areas
    ceiling = np.append(tables.species.number("ceiling_cm"), np.nan)[of_area]
    reaches = np.append(tables.species.flag("reaches_surface"), False)[of_area]
    ceiling = np.where(reaches, _water_cm(tables), ceiling)
    return np.where(tables.cover_areas, 100.0, ceiling)


def check_floor_below_budget(tables: Tables) -> Iterator[Finding]:
    """The floor lies below the height budget."""
    areas = tables.areas
    floor, budget = areas.number("floor_cm"), areas.number("budget_cm")
    for index in where(floor >= budget):
        found = f"{floor[index]:g}, not below the height budget of {budget[index]:g}"
        fix = "lower floor_cm or raise budget_cm"
        yield at_cell(areas, index, "floor_cm", "floor-at-budget", found, fix)


def check_floor_below_ceiling(tables: Tables) -> Iterator[Finding]:
    """The floor lies below what the species reaches."""
    areas, ceiling = tables.areas, _ceiling_cm(tables)
    floor = areas.number("floor_cm")
    for index in where(floor >= ceiling):
        found = f"{floor[index]:g}, not below the ceiling of {ceiling[index]:g}"
        fix = "lower floor_cm, choose a taller species, or correct its ceiling in species.csv"
        yield at_cell(areas, index, "floor_cm", "floor-at-ceiling", found, fix)


def check_budget_in_reach(tables: Tables) -> Iterator[Finding]:
    """A budget above the water or above the ceiling is never passed."""
    areas, water, ceiling = tables.areas, _water_cm(tables), _ceiling_cm(tables)
    budget, cover = areas.number("budget_cm"), tables.cover_areas
    above_water = (budget > water) & ~cover
    for index in where(above_water):
        found = f"{budget[index]:g}, above the water of {water[index]:g} cm"
        yield at_cell(areas, index, "budget_cm", "budget-above-water", found, _FEWER)
    said = (above_water & (ceiling == water)) | cover | (areas.number("floor_cm") >= ceiling)
    for index in where((budget > ceiling) & ~said):
        found = f"{budget[index]:g}, above the ceiling of {ceiling[index]:g} cm"
        yield at_cell(areas, index, "budget_cm", "budget-above-ceiling", found, _FEWER)


def check_cover_range(tables: Tables) -> Iterator[Finding]:
    """Heights of a species measured as cover are per cent, from 0 to 100."""
    areas, trims = tables.areas, tables.trims
    cover = tables.cover_areas
    of_trims = np.append(cover, False)[tables.area_of_trims]
    pairs = [
        (areas, cover, ("floor_cm", "budget_cm", "cut_cm", "planted_height_cm")),
        (trims, of_trims, ("before_cm", "after_cm", "removed_cm")),
    ]
    for table, is_cover, columns in pairs:
        for column in columns:
            cells = table.number(column)
            for index in where(is_cover & (cells > 100)):
                found = f"{cells[index]:g}, above full cover"
                fix = "write per cent of the surface: this species is measured as cover"
                expected = "percent cover from 0 to 100"
                yield at_cell(table, index, column, "cover-range", found, fix, expected)


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
        found = f"{size[index]:g}, larger than the tank's ground of {ground[index]:g}"
        fix = "check that it is square centimetres, and the tank's length and width"
        yield at_cell(areas, index, "area_cm2", "area-above-tank", found, fix)


def check_temperatures(tables: Tables) -> Iterator[Finding]:
    """The practice's species grow from a lowest through a best to a highest temperature."""
    own, species = tables.own_species, tables.species
    low, best = species.number("temp_min_c"), species.number("temp_opt_c")
    high = species.number("temp_max_c")
    places = {name: index for index, name in enumerate(species.text("species_id").tolist())}
    for index, name in enumerate(own.text("species_id").tolist()):
        at = places.get(name)
        if at is not None and (low[at] >= best[at] or best[at] >= high[at]):
            found = f"{low[at]:g}, {best[at]:g} and {high[at]:g} °C for lowest, best and highest"
            fix = "put the three in order; a blank cell takes the value of the table that ships"
            yield at_cell(own, index, "temp_opt_c", "temperature-order", found, fix)


def check_reference_growth(tables: Tables) -> Iterator[Finding]:
    """The practice's species grow under the conditions for which their rate is given."""
    own, species, reference = tables.own_species, tables.species, reference_conditions()
    hours, warm = reference["photoperiod_h"], reference["temperature_c"]
    light = np.tanh(reference["ppfd_umol"] / species.number("light_k_umol"))
    gain_h = hours * light - 24.0 * species.number("respiration_share")
    low, high = species.number("temp_min_c"), species.number("temp_max_c")
    places = {name: index for index, name in enumerate(species.text("species_id").tolist())}
    for index, name in enumerate(own.text("species_id").tolist()):
        at = places.get(name)
        if at is None:
            continue
        if gain_h[at] <= 0.0:
            found = f"{gain_h[at]:.2g} h of net light a day at {reference['ppfd_umol']:g} µmol"
            fix = "lower respiration_share or light_k_umol"
            yield at_cell(own, index, "respiration_share", "no-reference-growth", found, fix)
        if low[at] < high[at] and not low[at] < warm < high[at]:
            found = f"growth from {low[at]:g} to {high[at]:g} °C, not at the reference {warm:g} °C"
            fix = f"give limits around {warm:g} °C, and the rate that holds there"
            yield at_cell(own, index, "temp_min_c", "no-reference-growth", found, fix)


AREA_CHECKS = (
    check_floor_below_budget,
    check_floor_below_ceiling,
    check_budget_in_reach,
    check_cover_range,
    check_life,
    check_ground,
    check_temperatures,
    check_reference_growth,
)
