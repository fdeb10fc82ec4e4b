"""From a book to the clock of its areas: conditions, shade, plantings."""

from __future__ import annotations

import numpy as np

from growthcast.arrays import BoolArray, FloatArray, IntArray
from growthcast.book.book import Book
from growthcast.fit.model.clock import GrowthClock, TankConditions, tank_conditions
from growthcast.fit.model.shade import LONG_AGO, MOST_COVER, Shade
from growthcast.fit.rows.nodes import AreaTraits
from growthcast.growth.responses import TRAITS, canopy_light, combined_response
from growthcast.log.visits import Visits, replanted_days
from growthcast.species import SpeciesPriors, read_reference

A_YEAR_D = 365.0
LEAST_RESPONSE = 0.05
"""No condition stops the clock altogether, so that a log can contradict a meter."""


def clock_of_book(
    book: Book,
    shade: Shade | None,
    traits: AreaTraits,
    species: IntArray,
    priors: SpeciesPriors,
    settle_d: FloatArray,
    on_day: float,
) -> tuple[TankConditions, GrowthClock]:
    """Lay a book's conditions out by tank, and its growth clock by area.

    The light of an area is taken at one height, midway between floor and budget, so that the rate
    stays free of the height.

    Parameters
    ----------
    book : Book
        A checked book.
    shade : Shade or None
        What floats in its tanks.
    traits : AreaTraits
        What it says of its areas (A,).
    species : int array (A,)
        Species of each area.
    priors : SpeciesPriors
        The species (S,).
    settle_d : array (A,)
        Days over which growth ramps from nothing to full after planting [d].
    on_day : float
        The day of the fit [day number].

    Returns
    -------
    TankConditions and GrowthClock
        The conditions of its tanks (K,); the clock of its areas (A,).
    """
    reference, floats = read_reference(), priors.measure_is_cover[species]
    conditions = tank_conditions(
        book.conditions,
        book.conditions.places("tank_id", book.tanks.text("tank_id")),
        len(book.tanks),
        on_day,
    )
    share = book.areas.number("light_share")[:, None]
    lit = np.where(np.isnan(share), 1.0, share)
    from_day, at = conditions.from_day, conditions.values
    if shade is not None:
        days = np.sort(np.concatenate([from_day, shade.from_day], axis=1), axis=1)
        at = {name: value[_columns(from_day, days)] for name, value in at.items()}
        open_share = 1.0 - shade.share[_columns(shade.from_day, days)]
        lit = np.where(floats[:, None], lit, lit * open_share[traits.tank])
        from_day = days
    at = {name: value[traits.tank] for name, value in at.items()}
    water_cm = book.tanks.number("water_depth_cm")[traits.tank]
    canopy_cm = np.where(floats, water_cm, np.minimum(traits.middle_cm, water_cm))
    light = canopy_light(at["ppfd_umol"], lit, canopy_cm[:, None])
    # An area's own shade counts even where the tank's light has not been measured.
    usual = reference.conditions
    at["ppfd_umol"] = np.where(np.isnan(light), usual["ppfd_umol"] * lit, light)
    plant = {name: priors.traits[name][species][:, None] for name in TRAITS}
    response = combined_response(at, plant, usual, priors.least_nutrient[species][:, None])
    came = [reference.start_factor.get(start, 1.0) for start in book.areas.text("start")]
    clock = GrowthClock(
        from_day=from_day[traits.tank],
        response=np.maximum(response, LEAST_RESPONSE),
        planted_day=traits.planted_day,
        settle_d=settle_d,
        start_factor=np.array(came),
        replanted_day=replanted_days(book, on_day),
    )
    return conditions, clock


def floating_shade(
    visits: Visits,
    traits: AreaTraits,
    floats: BoolArray,
    surface_share: FloatArray,
    tanks: int,
    on_day: float,
) -> Shade | None:
    """Return the shade of every tank; None where nothing floats in any.

    Parameters
    ----------
    visits : Visits
        What was done to the areas.
    traits : AreaTraits
        What the book says of them (A,); where nobody read a cover it is midway between the bounds.
    floats : bool array (A,)
        Whether its plants float.
    surface_share : array (A,)
        Share of the tank's surface that the area takes, NaN where the tank's size is not known [-].
    tanks : int
        How many tanks there are, those without areas too.
    on_day : float
        The day of the fit [day number].

    Returns
    -------
    Shade or None
        Of the tanks (K,).
    """
    shading = np.flatnonzero(floats & (surface_share > 0.0))
    if not shading.size:
        return None
    steps: list[list[tuple[float, float]]] = [[] for _ in range(tanks)]
    for area in shading.tolist():
        mine = np.flatnonzero((visits.area == area) & (visits.day <= on_day))
        begun, cover = _cover(
            visits.keep(mine),
            float(traits.planted_day[area]),
            float(traits.middle_cm[area]),
            on_day,
        )
        share = surface_share[area] * np.append(cover, 0.0) / 100.0
        removed = traits.removed_day[area]
        ends = np.inf if np.isnan(removed) else removed
        days = np.append(np.minimum(begun, ends), ends)
        steps[int(traits.tank[area])] += zip(
            days.tolist(), np.diff(share, prepend=0.0).tolist(), strict=True
        )
    width = 1 + max(len(changes) for changes in steps)
    from_day, change = np.full((tanks, width), np.inf), np.zeros((tanks, width))
    from_day[:, 0] = LONG_AGO
    for k, changes in enumerate(steps):
        for column, (day, by) in enumerate(sorted(changes), start=1):
            from_day[k, column], change[k, column] = day, by
    return Shade(from_day, np.clip(np.cumsum(change, axis=1), 0.0, MOST_COVER))


def _cover(
    visits: Visits, planted: float, usual: float, on_day: float
) -> tuple[FloatArray, FloatArray]:
    """Days from the planting of an area on, and its mean cover from each to the next [percent].

    The last of them is that ahead.
    """
    found, left = visits.found_cm, visits.left_cm
    told = np.isfinite(found) | np.isfinite(left)
    begun = np.append(planted, np.maximum(visits.day[told], planted))
    ends = np.stack([np.append(np.nan, left[told])[:-1], found[told]])
    known = np.isfinite(ends)
    total = np.where(known, ends, 0.0).sum(axis=0)
    cover = np.where(known.any(axis=0), total / np.maximum(known.sum(axis=0), 1), usual)
    lately = known.any(axis=0) & (begun[1:] > on_day - A_YEAR_D)
    ahead = float(cover[lately].mean()) if lately.any() else usual
    return begun, np.append(cover, ahead)


def _columns(from_day: FloatArray, days: FloatArray) -> tuple[IntArray, IntArray]:
    """Where in (K, C) what holds on days (K, D) stands, as an index."""
    column = (from_day[:, None, :] <= days[:, :, None]).sum(axis=2) - 1
    return np.arange(len(days))[:, None], column
