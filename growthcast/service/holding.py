"""Whether a plant holds at all where it is put: light, warmth and CO2; what CO2 is assumed.

A response says how fast a plant grows; these chances say whether it lives. All spreads are
estimates without a source, kept wide.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import field
from typing import Literal

import numpy as np

from growthcast.arrays import BoolArray, FloatArray, IntArray
from growthcast.book.book import Book, area_label
from growthcast.finite import finite_answer
from growthcast.fit.model.clock import tank_conditions
from growthcast.fit.result import OWN_SPANS_FOR_LOG, GrowthFit
from growthcast.fit.supposed import conditions_since, cover_now
from growthcast.growth.normal import normal_cdf
from growthcast.growth.responses import FULL_HOURS_H, canopy_light
from growthcast.nouns import dataclass
from growthcast.plain import HIDDEN, in_json
from growthcast.species import SpeciesPriors, read_reference

LIKELY = 0.8
"""A chance of holding below this is a doubt worth a sentence."""
NOT_LIKELY = 0.5
"""Below this a plant is more likely lost than not, and no interval is of use to it."""
COMPENSATION_SPREAD = 0.3
"""Log spread of the light below which a plant respires more than it gains (an estimate)."""
COLD_MARGIN_C, HEAT_MARGIN_C, TEMPERATURE_SPREAD_C = 5.0, 4.0, 1.0
"""How far inside the limits of growth a plant still lasts, and the spread of that [deg C]: 7 deg C
below and 5 above the range of good keeping (estimates)."""
LIGHT_NEEDED_UMOL = ((40.0, 55.0, 90.0), (12.0, 25.0, 45.0))
"""``light_k_umol`` of plants of low, medium and high light, and the light at 8 h below which half
of them do not keep their form: lower leaves drop, carpets grow up (common practice, no source)."""
CO2_NEEDED_MG_L: Mapping[str, float] = {"yes": 8.0, "helps": 1.5}
CO2_NEEDED_SPREAD = 0.5
"""CO2 below which half of the plants do not last, by their ``needs_co2``, and the log spread of
that (common practice, no source: tap water in balance with the air holds about 1 mg/L, dosed tanks
aim at 20 to 30)."""


COVER_STEP = 0.05
"""Floating plants are cut back in steps of this share of the surface."""


Limit = Literal["light", "warmth", "co2"]
LIMITS: tuple[Limit, ...] = ("light", "warmth", "co2")


@dataclass(frozen=True, slots=True)
class Holding:
    """Chances (n,) [0-1] that plants hold: with this light, warmth and CO2, and with all three."""

    light: FloatArray
    warmth: FloatArray
    co2: FloatArray

    @property
    def chance(self) -> FloatArray:
        """Chance (n,) [0-1] that a plant holds at all."""
        together: FloatArray = self.light * self.warmth * self.co2
        return together

    def of(self, i: int) -> Holding:
        """Return the chances of the i-th plant alone."""
        return Holding(*(chance[i : i + 1] for chance in (self.light, self.warmth, self.co2)))

    def limits(self, i: int) -> tuple[Limit, ...]:
        """Return what speaks against the i-th plant's holding; empty where nothing does."""
        chances = zip(LIMITS, (self.light, self.warmth, self.co2), strict=True)
        return tuple(limit for limit, chance in chances if chance[i] < LIKELY)


def holding(
    conditions: Mapping[str, float | FloatArray],
    priors: SpeciesPriors,
    species: IntArray,
    light_share: FloatArray,
    canopy_cm: FloatArray,
) -> Holding:
    """Return the chances that plants hold under a tank's conditions.

    Parameters
    ----------
    conditions : mapping of str to float or array (n,)
        ``ppfd_umol``, ``photoperiod_h``, ``co2_mg_l`` and ``temperature_c`` by column name
        [umol/m2/s, h, mg/L, deg C]; NaN where nobody gave it, which takes the reference with its
        doubt.
    priors : SpeciesPriors
        The species.
    species : int array (n,)
        Which of them each plant is.
    light_share : array (n,)
        Share of the tank's light that reaches it [0-1].
    canopy_cm : array (n,)
        Height at which its light is taken [cm].

    Returns
    -------
    Holding
        Light is enough where a day's gain exceeds its respiration and the plant keeps its form: the
        light at which the first two are equal is ``Ik atanh(24 s / H)``, hours beyond
        12 not counted; that of the form goes by the species' own need, with a log-normal spread.
        Warmth is enough some degrees within the limits of the species' growth. CO2 goes by the
        species' ``needs_co2``.
    """
    reference = read_reference()
    names = ("photoperiod_h", "ppfd_umol", "temperature_c", "co2_mg_l")
    given = [np.asarray(conditions[name], np.float64) for name in names]
    usual = [reference.conditions[name] for name in names]
    hours, _, warm, co2 = (np.where(np.isnan(g), u, g) for g, u in zip(given, usual, strict=True))
    hours = np.maximum(np.minimum(hours, FULL_HOURS_H), 1e-9)
    light = canopy_light(given[1], light_share, canopy_cm)
    light = np.where(np.isnan(light), usual[1] * light_share, light)
    unknown = np.where(np.isfinite(given[1]), 0.0, reference.unknown_spread["light"])
    lit = 24.0 * priors.traits["respiration_share"][species] / hours
    half = priors.traits["light_k_umol"][species]
    form = np.interp(half, *LIGHT_NEEDED_UMOL) * usual[0]
    needed = np.maximum(half * np.arctanh(np.clip(lit, 0.0, 1.0 - 1e-12)), form / hours)
    never = lit >= 1.0
    ahead = np.log(np.maximum(light, 1e-12)) - np.log(np.maximum(needed, 1e-12))
    enough = normal_cdf(ahead / np.hypot(COMPENSATION_SPREAD, unknown))
    hottest = priors.traits["temp_max_c"][species] - HEAT_MARGIN_C
    coldest = priors.traits["temp_min_c"][species] + COLD_MARGIN_C
    below, above = (
        normal_cdf(room / TEMPERATURE_SPREAD_C) for room in (hottest - warm, warm - coldest)
    )
    doubt = np.where(np.isfinite(given[3]), 0.0, 2.0 * reference.unknown_spread["co2"])
    asked = np.array([CO2_NEEDED_MG_L.get(need, 1e-9) for need in priors.needs_co2[species]])
    ahead = np.log(np.maximum(co2, 1e-9)) - np.log(asked)
    carbon = normal_cdf(ahead / np.hypot(CO2_NEEDED_SPREAD, doubt))
    return Holding(
        light=np.where(never, 0.0, enough),
        warmth=below * above,
        co2=np.where(asked > 1e-9, carbon, 1.0),
    )


@dataclass(frozen=True, slots=True)
class NotHolding:
    """An area whose plant is not likely to hold: its chance [0-1], and what is in doubt.

    Without ``limits`` none of them alone is in doubt, but all together. ``under_cover`` is the most
    that floating plants may cover of the surface [0-1] for it to be likely to hold, None where
    cutting them back does not bring it there.
    """

    area_id: str
    label: str = field(metadata=HIDDEN)
    chance: float = field(metadata=in_json("chance_holds"))
    limits: tuple[Limit, ...]
    under_cover: float | None = field(default=None, metadata=in_json("likely_under_cover_share"))


@finite_answer
def holding_of(book: Book, fit: GrowthFit, areas: IntArray, cover: float | None = None) -> Holding:
    """Return the chances that areas hold under the conditions of their tanks.

    Parameters
    ----------
    book : Book
        The book that was fitted.
    fit : GrowthFit
        Its fit.
    areas : int array (n,)
        Places of the areas; light is taken midway between floor and budget.
    cover : float, optional
        Share of the surface under floating plants [0-1]; as it is when not given.

    Returns
    -------
    Holding
        Under the conditions of the day of the fit.
    """
    design, tank = fit.design, fit.design.tank[areas]
    now = design.conditions.on(design.on_day).values
    conditions = {name: of_tank[tank] for name, of_tank in now.items()}
    traits, water = design.traits, design.water_depth_cm[tank]
    middle = 0.5 * (traits.floor_cm[areas] + traits.budget_cm[areas])
    canopy = np.where(design.is_cover[areas], water, np.minimum(middle, water))
    share = book.areas.number("light_share")[areas]
    share = np.where(np.isnan(share), 1.0, share)
    below = 1.0 - (cover_now(fit)[tank] if cover is None else cover)
    share = np.where(design.is_cover[areas], share, share * below)
    return holding(conditions, design.priors, design.species[areas], share, canopy)


def seen_to_hold(fit: GrowthFit, tank: int, areas: IntArray) -> BoolArray:
    """Tell which of a tank's areas have a log of growth since its present conditions began.

    Parameters
    ----------
    fit : GrowthFit
        A fitted book.
    tank : int
        Place of the tank in the book.
    areas : int array (n,)
        Places of its areas.

    Returns
    -------
    bool array (n,)
        They hold, whatever the table says of their plants.
    """
    seen: BoolArray = fit.spans_since(conditions_since(fit, tank))[areas] >= OWN_SPANS_FOR_LOG
    return seen


def not_holding(book: Book, fit: GrowthFit, tank: int, areas: IntArray) -> tuple[NotHolding, ...]:
    """Return those of a tank's areas that are not likely to hold under its conditions.

    Parameters
    ----------
    book : Book
        The book that was fitted.
    fit : GrowthFit
        Its fit.
    tank : int
        Place of the tank in the book.
    areas : int array (n,)
        Places of its living areas.

    Returns
    -------
    tuple of NotHolding
        An area whose own log tells of growth since these conditions began is seen to hold, whatever
        the table says of its plant.
    """
    chances = holding_of(book, fit, areas)
    doubtful = chances.chance < NOT_LIKELY
    if not doubtful.any():
        return ()
    unseen = ~seen_to_hold(fit, tank, areas)
    covers = np.arange(0.0, cover_now(fit)[tank] - 0.5 * COVER_STEP, COVER_STEP).tolist()
    likely = [holding_of(book, fit, areas, cover).chance >= LIKELY for cover in covers]
    return tuple(
        NotHolding(
            area_id=str(book.areas.text("area_id")[areas[i]]),
            label=area_label(book.areas, areas[i]),
            chance=float(chances.chance[i]),
            limits=chances.limits(i),
            under_cover=max(
                (c for c, holds in zip(covers, likely, strict=True) if holds[i]), default=None
            ),
        )
        for i in np.flatnonzero(doubtful & unseen).tolist()
    )


@finite_answer
def co2_assumed(book: Book) -> tuple[list[str], list[str]]:
    """Return the planted tanks whose CO2 is assumed.

    Parameters
    ----------
    book : Book
        A book without problems.

    Returns
    -------
    none_added, unknown : list of str
        Ids of the tanks to which no CO2 is added, and of those whose CO2 nobody ever gave.
    """
    tanks = book.tanks.text("tank_id")
    tank_of_row = book.conditions.places("tank_id", tanks)
    conditions = tank_conditions(book.conditions, tank_of_row, tanks.size)
    home = book.areas.places("tank_id", tanks)
    planted = np.bincount(home[home >= 0], minlength=tanks.size) > 0
    none = planted & conditions.none_added.any(axis=1)
    blank = planted & np.isnan(conditions.values["co2_mg_l"]).all(axis=1)
    return tanks[none].tolist(), tanks[blank].tolist()
