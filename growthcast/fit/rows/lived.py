"""From a book to the clock of its areas: conditions, shade, plantings."""

from __future__ import annotations

import numpy as np

from growthcast.arrays import BoolArray, FloatArray, IntArray
from growthcast.book.book import Book
from growthcast.fit.model.clock import GrowthClock, TankConditions, growth_clock, tank_conditions
from growthcast.fit.model.shade import Shade, floating_shade
from growthcast.fit.rows.nodes import AreaTraits
from growthcast.log.visits import Visits, replanted_days
from growthcast.species import SpeciesPriors, read_reference


def clock_of_book(
    book: Book,
    traits: AreaTraits,
    species: IntArray,
    priors: SpeciesPriors,
    settle_d: FloatArray,
    on_day: float,
    shade: Shade | None,
) -> tuple[TankConditions, GrowthClock]:
    """Lay a book's conditions out by tank, and its growth clock by area.

    Parameters
    ----------
    book : Book
        A checked book.
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
    shade : Shade or None
        What floats in its tanks.

    Returns
    -------
    TankConditions and GrowthClock
        Of its tanks (K,) and areas (A,).
    """
    reference = read_reference()
    conditions = tank_conditions(
        book.conditions,
        book.conditions.places("tank_id", book.tanks.text("tank_id")),
        len(book.tanks),
        reference,
        on_day,
    )
    water_cm = book.tanks.number("water_depth_cm")[traits.tank]
    at_surface = priors.measure_is_cover[species]
    share, came = book.areas.number("light_share"), reference.start_factor
    clock = growth_clock(
        conditions,
        priors,
        reference,
        tank=traits.tank,
        species=species,
        light_share=np.where(np.isnan(share), 1.0, share),
        canopy_cm=np.where(at_surface, water_cm, np.minimum(traits.middle_cm, water_cm)),
        planted_day=traits.planted_day,
        settle_d=settle_d,
        start_factor=np.array([came.get(start, 1.0) for start in book.areas.text("start")]),
        replanted_day=replanted_days(book, on_day),
        shade=shade,
    )
    return conditions, clock


def shade_of_book(
    book: Book,
    visits: Visits,
    traits: AreaTraits,
    is_cover: BoolArray,
    on_day: float,
    known: int | None = None,
) -> Shade | None:
    """Return what floats in a book's tanks.

    Parameters
    ----------
    book : Book
        A checked book.
    visits : Visits
        What was done to its areas.
    traits : AreaTraits
        What it says of its areas (A,).
    is_cover : bool array (A,)
        Which of them float.
    on_day : float
        The day of the fit [day number].
    known : int, optional
        How many areas are not only supposed, all when not given: only these shade others.

    Returns
    -------
    Shade or None
        None where nothing floats in a tank of known length and width.
    """
    surface_cm2 = book.tanks.number("length_cm") * book.tanks.number("width_cm")
    return floating_shade(
        visits,
        surface_cm2.size,
        traits.tank,
        is_cover & (np.arange(is_cover.size) < (is_cover.size if known is None else known)),
        np.minimum(book.areas.number("area_cm2") / surface_cm2[traits.tank], 1.0),
        traits.middle_cm,
        (traits.planted_day, traits.removed_day),
        on_day,
    )
