"""Plants compared for one area of a tank, by what the practice's log says of tank and species."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import field
from typing import ClassVar, Literal

import numpy as np

from growthcast.arrays import FloatArray, IntArray
from growthcast.book.book import Book
from growthcast.finite import finite_answer
from growthcast.fit.result import OWN_SPANS_FOR_LOG, GrowthFit
from growthcast.fit.supposed import replanted
from growthcast.forecast.heights import growth_a_week
from growthcast.frames import Framed
from growthcast.nouns import dataclass
from growthcast.plain import BY_QUANTILE, HIDDEN, NULL_IF_BLANK, by_quantile, in_json
from growthcast.service.effort.hours import Range, Saving
from growthcast.service.holding import LIKELY, NOT_LIKELY, Holding, seen_to_hold
from growthcast.service.rescape.variants import (
    LONGEST_D,
    Days,
    Outlook,
    Stand,
    VariantAnswer,
    stand_with,
)
from growthcast.species import read_reference

Basis = Literal["own log", "own practice", "table"]

PLANTED_SHARE_OF_FLOOR = 0.5
"""Height at planting, as a share of the floor, where areas.csv gives none (common practice, no
source)."""
A_LONG_WAIT_D = 90
"""Days from planting to the look from which a plant is ranked after quicker ones of its rank
(common practice, no source)."""
Z_80 = 1.2815515655446004
SOFT_DKH = 4.0
"""Carbonate hardness up to which water is soft [dKH] (common practice, no source)."""
SIDEWAYS = ("carpet", "creeping")
"""Forms that spread over the ground; other plants do where their cut practice names runners."""


def _looked_at(days: FloatArray) -> dict[str, float | None]:
    """Days by quantile, None where they are as many as are looked at."""
    return by_quantile(None if value >= LONGEST_D else value for value in days)


@dataclass(frozen=True, slots=True, repr=False)
class PlantAdvice(Framed):
    """One plant for an area; ranges are (3,): the 10, 50 and 90 % quantiles.

    ``own_interval_d`` is what the area alone allows in whole days, ``own_listed_d`` the longest
    listed interval within it; ``tank`` the answer for the whole tank with this plant in the area,
    ``limited_by`` the label of the area that ends it, ``tank_limited_by`` its id.
    ``seen_to_hold`` tells that it stands there now and its log tells of growth there.
    ``rate_per_day`` holds under the tank's conditions, ``rate_sd`` is its log standard deviation;
    ``chance_fills`` is the chance that it grows up to the middle of floor and budget at all,
    ``spreads_sideways`` tells that it also grows in width, which is not forecast,
    ``lacks_soft_water`` that it asks for soft water and the book knows of none in the tank.
    ``spans`` counts the spans of this species in the practice's log. Litres and minutes a year at
    the area are at the tank's interval, litres None for a floating plant. ``saves`` is what the
    whole tank takes less in a year than with the plant that is there now, None for that one.
    """

    species_id: str
    common_name: str
    form: str
    is_cover: bool = field(metadata=HIDDEN)
    is_there_now: bool
    seen_to_hold: bool = field(metadata=HIDDEN)
    basis: Basis
    holding: Holding = field(metadata=HIDDEN)
    chance_reaches_look: float
    chance_fills: float = field(metadata=in_json("chance_fills_place"))
    spreads_sideways: bool
    lacks_soft_water: bool
    caution: str = field(metadata=NULL_IF_BLANK)
    lowest_cut_cm: float = field(metadata=HIDDEN)
    floor_cm: float = field(metadata=HIDDEN)
    budget_cm: float = field(metadata=HIDDEN)
    rate_per_day: FloatArray = field(metadata=BY_QUANTILE)
    rate_sd: float = field(metadata=in_json("log_rate_sd", digits=4))
    spans: int = field(metadata=in_json("spans_in_practice"))
    own_interval_d: int
    own_listed_d: int | None = field(metadata=in_json("own_listed_interval_d"))
    days_between: FloatArray = field(metadata=in_json("days_floor_to_budget", into=_looked_at))
    cm_per_week: FloatArray = field(metadata=BY_QUANTILE)
    look_d: Days = field(metadata=in_json("days_to_look", into=by_quantile))
    tank: VariantAnswer
    limits_tank: bool = field(metadata=HIDDEN)
    limited_by: str | None = field(metadata=HIDDEN)
    tank_limited_by: str | None
    litres_per_year: Range | None = field(metadata=HIDDEN)
    minutes_per_year: Range = field(metadata=HIDDEN)
    saves: Saving | None = field(metadata=in_json("saves_per_year"))

    json_with: ClassVar = ("chance_holds", "tank_interval_d", "regulated_in_places")

    @property
    def chance_holds(self) -> float:
        """Chance that it lives there at all [0-1]."""
        return float(self.holding.chance[0])

    @property
    def chance_fills_look(self) -> float:
        """Chance that it comes up to the look and fills the place [0-1]."""
        return min(self.chance_reaches_look, self.chance_fills)

    @property
    def tank_interval_d(self) -> int | None:
        """Longest listed interval of the whole tank with it [d], None where none holds."""
        return self.tank.recommended_interval_d

    @property
    def regulated_in_places(self) -> bool:
        """Whether its caution is one of local rules."""
        return is_regulated(self.caution)

    @property
    def is_too_tall(self) -> bool:
        """Whether it does not survive being cut below the budget."""
        return self.lowest_cut_cm >= self.budget_cm

    @property
    def is_lost(self) -> bool:
        """Whether it is not likely to hold there, so that no interval is of use to it."""
        return self.chance_holds < NOT_LIKELY and not self.seen_to_hold

    @property
    def fits(self) -> bool:
        """Whether it more likely than not holds there and fills the place."""
        return self.chance_fills_look >= NOT_LIKELY and not (self.is_too_tall or self.is_lost)

    @property
    def waits_long(self) -> bool:
        """Whether it would be planted and come up to the look late or never."""
        middle = self.look_d[1]
        return not self.is_there_now and (middle is None or middle > A_LONG_WAIT_D)

    @property
    def rank(self) -> tuple[int, int, int, float, int, str]:
        """Sort key, the best first: likely to do there, the tank's interval, soon at the look, the
        tank's hours a year, the plant's own interval.
        """
        doubt = min(self.chance_holds, self.chance_fills_look) < LIKELY
        return (
            int(doubt or self.lacks_soft_water) if self.fits else 2,
            -(self.tank_interval_d or 0),
            int(self.waits_long),
            self.tank.chosen.year.hours,
            -self.own_interval_d,
            self.species_id,
        )


def is_regulated(caution: str) -> bool:
    """Tell whether a species' caution, or that of its relatives, is one of local rules.

    Parameters
    ----------
    caution : str
        As the species table has it, "" for none.

    Returns
    -------
    bool
        Whether it asks to check local rules.
    """
    return "check local rules" in caution


def lacks_soft_water(book: Book, tank: int, caution: str) -> bool:
    """Tell whether a plant asks for soft water that a tank is not known to have.

    Parameters
    ----------
    book : Book
        The book.
    tank : int
        Place of the tank in it.
    caution : str
        The plant's, as the species table has it.

    Returns
    -------
    bool
        Whether it asks for soft water and the latest carbonate hardness is above ``SOFT_DKH`` or
        not known.
    """
    if "soft acid water" not in caution.casefold():
        return False
    kh_dkh = book.latest_condition("kh_dkh", str(book.tanks.text("tank_id")[tank]))
    return not kh_dkh <= SOFT_DKH  # nor is NaN


def usually_planted_cm(floor_cm: FloatArray) -> FloatArray:
    """Return the heights at which areas are planted where areas.csv gives none.

    Parameters
    ----------
    floor_cm : array (n,)
        Their floors [cm, or % cover].

    Returns
    -------
    array (n,)
        ``PLANTED_SHARE_OF_FLOOR`` of them, at least 0.1 [cm, or % cover].
    """
    return np.maximum(PLANTED_SHARE_OF_FLOOR * floor_cm, 0.1)


def pool_of(
    fit: GrowthFit,
    place: int,
    form: str | None,
    where: str = "",
    stock: Collection[str] | None = None,
) -> list[str]:
    """Return the species that could be put in an area.

    Parameters
    ----------
    fit : GrowthFit
        The fit of the book.
    place : int
        Place of the area in the book.
    form : str or None
        The only form of interest.
    where : str, optional
        Where the area is in the tank, a place of ``reference.toml``; "" takes any height and form.
    stock : collection of str, optional
        The species that can be had.

    Returns
    -------
    list of str
        Species that are measured as the area is; the plant that stands there is not among them.
    """
    priors = fit.design.priors
    alike = priors.measure_is_cover == fit.design.is_cover[place]
    if form is not None:
        alike &= priors.form == form
    if where:
        of_place = read_reference().places[where]
        least_cm, most_cm = of_place["ceiling_cm"]
        heights = np.where(priors.measure_is_cover, least_cm, priors.ceiling_cm)
        alike &= np.isin(priors.form, of_place["forms"])
        alike &= (heights >= least_cm) & (heights <= most_cm)
    if stock is not None:
        alike &= np.isin(priors.species_id, list(stock))
    alike[fit.design.species[place]] = False
    return [str(name) for name in priors.species_id[alike]]


def usual_choice(book: Book, fit: GrowthFit, place: int) -> tuple[str | None, str]:
    """Return what a keeper would think of for an area, as ``pool_of`` takes it.

    Parameters
    ----------
    book : Book
        The book that was fitted.
    fit : GrowthFit
        Its fit.
    place : int
        Place of the area in the book.

    Returns
    -------
    form : str or None
        The form that stands there where areas.csv has no place for it.
    where : str
        The area's ``place`` in areas.csv.
    """
    where = str(book.areas.text("place")[place])
    return None if where else str(fit.design.priors.form[fit.design.species[place]]), where


@finite_answer
def compare_plants(
    book: Book, fit: GrowthFit, place: int, plants: Sequence[str]
) -> list[PlantAdvice]:
    """Compare plants for one area of a tank.

    Parameters
    ----------
    book : Book
        The book that was fitted.
    fit : GrowthFit
        Its fit.
    place : int
        Place of the area in the book; it must be planted on the day of the fit.
    plants : sequence of str
        Species to compare with the one that stands there, each once.

    Returns
    -------
    list of PlantAdvice
        The best first, the plant that stands there among them: plants that hold and fill the place,
        by the tank's interval, then by its hours of a year.

    Raises
    ------
    UsageError
        The area is not planted on that day, or a plant is measured otherwise than the area.
    """
    design, there = fit.design, fit.design.species_id[fit.design.species[place]]
    rows = [replanted(book, fit, place, name) for name in plants if name != there]
    stand = stand_with(book, fit, int(design.tank[place]), rows)
    now = stand.place_of[place]
    compared = np.append(now, np.flatnonzero(stand.living.area >= stand.known))
    others = np.setdiff1d(stand.now, now)
    variants = [np.append(others, c) for c in compared]
    answers = stand.answers(variants)
    usual_cm = usually_planted_cm(stand.living.floor_cm[compared])
    written_cm = book.areas.number("planted_height_cm")[place]
    planted_cm = np.where(np.isnan(written_cm), usual_cm, written_cm)
    outlook = Outlook(stand, compared, planted_cm)
    found = (
        _advice(stand, places, answers[i], answers[0], outlook, i)
        for i, places in enumerate(variants)
    )
    return sorted(found, key=lambda advice: advice.rank)


def _advice(
    stand: Stand,
    places: IntArray,
    answer: VariantAnswer,
    as_it_is: VariantAnswer,
    outlook: Outlook,
    i: int,
) -> PlantAdvice:
    """Put together what is known of the i-th plant compared, the last of a variant's places."""
    design, living, at = stand.fit.design, stand.living, int(places[-1])
    area = int(living.area[at])
    spans = int(design.spans[design.species == stand.species[at]].sum())
    own_log = design.spans[area] >= OWN_SPANS_FOR_LOG
    posterior = stand.fit.posterior(np.array([area]))
    [rate] = stand.fit.rate_range(np.array([area]), posterior)
    [weekly] = growth_a_week(stand.fit, np.array([area]))
    own, limit = int(outlook.allowed_d[i]), answer.limited_by
    limited = None if limit is None else int(places[limit])
    listed_d, year = [o.interval_d for o in answer.options], answer.chosen.year
    practice = str(stand.book.species.text("cut_practice")[stand.species[at]])
    caution = stand.trait("caution", at)
    litres = float(stand.area_cm2[at]) / 1000.0 * year.visits
    return PlantAdvice(
        species_id=str(design.species_id[stand.species[at]]),
        common_name=stand.trait("common_name", at),
        form=stand.trait("form", at),
        is_cover=bool(design.is_cover[area]),
        is_there_now=answer is as_it_is,
        seen_to_hold=bool(seen_to_hold(stand.fit, stand.tank, np.array([area]))[0]),
        basis="own log" if own_log else "own practice" if spans else "table",
        holding=outlook.holding.of(i),
        chance_reaches_look=float(outlook.reaches_look[i]),
        chance_fills=float(outlook.fills[i]),
        spreads_sideways=stand.trait("form", at) in SIDEWAYS or "runner" in practice,
        lacks_soft_water=lacks_soft_water(stand.book, stand.tank, caution),
        caution=caution,
        lowest_cut_cm=float(living.safe_cut_cm[at]),
        floor_cm=float(living.floor_cm[at]),
        budget_cm=float(living.budget_cm[at]),
        rate_per_day=rate,
        rate_sd=float(np.sqrt(posterior.rate_variance[0])),
        spans=spans,
        own_interval_d=own,
        own_listed_d=max((d for d in listed_d if d <= own), default=None),
        days_between=outlook.days[i],
        cm_per_week=weekly,
        look_d=outlook.look_d[i],
        tank=answer,
        limits_tank=limited == at,
        limited_by=None if limited is None else stand.label(limited),
        tank_limited_by=None if limited is None else stand.area_id(limited),
        litres_per_year=None if design.is_cover[area] else answer.removed_cm[-1].times(litres),
        minutes_per_year=answer.area_min[-1].times(year.visits),
        saves=None if answer is as_it_is else stand.saved(as_it_is, answer),
    )
