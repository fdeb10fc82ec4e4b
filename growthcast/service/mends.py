"""What would make the next interval feasible, each way worked out anew, and how sure advice is.

A recommendation weighs two kinds of not knowing: how fast this tank grows on average, and what each
fortnight does on its own. Held against each draw of the first kind alone, the rule gives the
interval one would recommend if one knew.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import Any

import numpy as np

from growthcast.arrays import BoolArray, FloatArray
from growthcast.book.book import Book
from growthcast.book.supposed import Changes
from growthcast.fit.model.noise import span_drift
from growthcast.fit.result import GrowthFit
from growthcast.fit.supposed import conditions_now, growth_under, suppose
from growthcast.growth.logistic import shape_factor, stage
from growthcast.growth.normal import normal_cdf, normal_quantile
from growthcast.growth.quick import BELOW_CEILING, column
from growthcast.nouns import dataclass
from growthcast.service.advice import AreaAdvice, Certainty, Mend, MendKind, TankAdvice
from growthcast.service.interval import interval_options
from growthcast.service.living import HAND_SPREAD, LivingAreas, living_areas
from growthcast.service.rescape.swaps import likely_comers, unasked_for

STEP_CM = 0.1
DIMMED_SHARES = (0.9, 0.8, 0.7, 0.6, 0.5)
"""Shares of its light a lamp is dimmed to; below half, plants bred for more would not hold."""
SHOWN = 3
"""Plants that are named where more would hold."""


@dataclass(frozen=True, slots=True)
class _Case:
    """A tank's areas and an interval that they do not hold."""

    book: Book
    fit: GrowthFit
    living: LivingAreas
    interval_d: int
    confidence: float

    @property
    def tank(self) -> int:
        """Place of the tank in the book."""
        return int(self.living.tank[0])

    def chance(self, changed: LivingAreas) -> float:
        """Return the chance of the interval once areas are changed, at their least cuts."""
        again = interval_options(changed, self.interval_d, np.array([self.confidence]))
        return float(again.chance_at_least_cut[0])

    def mend(
        self,
        kind: MendKind,
        places: BoolArray,
        chance: float,
        values: Sequence[float | str],
        before: Sequence[float] = (),
        plant: str = "",
    ) -> Mend:
        """Return a change of some areas and the chance with it."""
        return Mend(
            kind=kind,
            area_ids=tuple(self.fit.design.area_id[self.living.area[places]].tolist()),
            values=tuple(values),
            interval_d=self.interval_d,
            chance_at_least_cut=chance,
            holds=chance >= self.confidence,
            before=tuple(before),
            plant=plant,
        )

    def mend_bound(self, kind: MendKind, name: str, bound: FloatArray, places: BoolArray) -> Mend:
        """Return a change of one bound (A,) of the areas of a mask (A,)."""
        bounds: dict[str, Any] = {name: bound}
        lit = lit_below(self.book, self.fit, self.living, replace(self.living, **bounds))
        before = getattr(self.living, name)[places].tolist()
        moved = bound[places].round(1).tolist()
        return self.mend(kind, places, self.chance(lit), moved, before)


def mends_for(
    book: Book, fit: GrowthFit, living: LivingAreas, advice: TankAdvice
) -> tuple[Mend, ...]:
    """List what would make an interval feasible for one tank.

    Parameters
    ----------
    book : Book
        The book that was fitted.
    fit : GrowthFit
        Its fit.
    living : LivingAreas
        The tank's areas.
    advice : TankAdvice
        What ``recommend`` says of the tank: the interval that fails, and the areas that fall short
        there. Other plants are tried for the first of them.

    Returns
    -------
    tuple of Mend
        Budgets up, floors down (where the plants survive it), cuts down to the floor where the
        species table's lowest cut lies above it, slower plants of the same growth form in the
        limiting area that would likely do there, and less light (where the tank's light is known),
        each with the chance worked out anew.

    Notes
    -----
    Budgets and floors are rounded to the millimetre, to the safe side. Plants and light are judged
    as ``--suppose`` and ``rescape`` judge them: settled, without a log of its own; by each area's
    response to the light. Other bounds of floating plants change the light below them; what changed
    budgets do to the light at an area's own height is left out.
    """
    if advice.fails_at_d is None or advice.limited_by is None:
        return ()
    case = _Case(book, fit, living, advice.fails_at_d, advice.confidence)
    by_id = {short.area_id: short for short in advice.short}
    mine = [by_id.get(name) for name in fit.design.area_id[living.area].tolist()]
    limit = int(np.flatnonzero(fit.design.area_id[living.area] == advice.limited_by)[0])
    return (*_bounds(case, mine), *_plants(case, limit), *_less_light(case))


def _bounds(case: _Case, mine: list[AreaAdvice | None]) -> Iterator[Mend]:
    """Budgets up until the interval holds; floors down, where every short area survives it.

    Then cuts down to the floor where the lowest cut that is known to be stood lies above it.
    """
    living = case.living
    floor, safe, higher = living.floor_cm, living.safe_cut_cm, living.budget_cm.copy()
    short = np.array([one is not None for one in mine])
    needed = np.array([one.needed_budget_cm for one in mine if one is not None], np.float64)
    higher[short] = np.ceil(needed / STEP_CM - 1e-6) * STEP_CM
    yield case.mend_bound("budget", "budget_cm", higher, short)
    cuts = [one.cut_needed_cm for one in mine if one is not None]
    if None not in cuts:
        lower = floor.copy()
        lower[short] = np.floor(np.array(cuts, np.float64) / STEP_CM + 1e-6) * STEP_CM
        lower = np.maximum(lower, np.minimum(safe, floor))
        yield case.mend_bound("floor", "floor_cm", lower, short)
    above = short & (safe > floor)
    if above.any():
        yield case.mend_bound("lowest cut", "safe_cut_cm", np.where(above, floor, safe), above)


def lit_below(book: Book, fit: GrowthFit, living: LivingAreas, changed: LivingAreas) -> LivingAreas:
    """Let areas grow under the light that floating plants within other bounds let through.

    Parameters
    ----------
    book : Book
        The book that was fitted.
    fit : GrowthFit
        Its fit.
    living : LivingAreas
        A tank's areas.
    changed : LivingAreas
        The same with other floors and budgets [cm, or % cover].

    Returns
    -------
    LivingAreas
        The changed areas. Cover goes with its middle; where nothing floats they grow as they were.
    """
    floats = fit.design.is_cover[changed.area]
    if not floats.any():
        return changed
    middle = 0.5 * (changed.floor_cm + changed.budget_cm)[floats] / 100.0
    covered = float((middle * fit.design.area_cm2[changed.area[floats]]).sum())
    faster = growth_under(book, fit, int(living.tank[0]), covered)[changed.area]
    rates = changed.draws.log_rate + column(np.log(faster))
    return replace(changed, draws=replace(changed.draws, log_rate=rates))


def _less_light(case: _Case) -> list[Mend]:
    """The brightest dimming of the lamp with which the interval holds, or the strongest tried."""
    fit, tank = case.fit, case.tank
    ppfd = conditions_now(fit, tank)["ppfd_umol"]
    if not ppfd > 0.0:
        return []
    for share in DIMMED_SHARES:
        dimmed = float(round(share * ppfd))
        under = suppose(case.book, fit, tank, Changes({"ppfd_umol": dimmed}, {})).fit
        lit = living_areas(under, case.living.tank)
        every = np.ones(lit.area.size, np.bool_)
        mend = case.mend("light", every, case.chance(lit), [dimmed], [ppfd])
        if mend.holds:
            break
    return [mend]


def _plants(case: _Case, limit: int) -> list[Mend]:
    """Slower plants of the same form in the limiting area: those that hold, the fastest first.

    The likeliest where none holds. All are plants that ``rescape --reach`` would take there; one
    with a caution comes after those without, since a mend has no room for it.
    """
    area = int(case.living.area[limit])
    names = unasked_for(case.book, case.fit, area)
    comers = likely_comers(case.book, case.fit, case.tank, [(area, name) for name in names])
    stand, spot = comers.stand, np.arange(case.living.area.size) == limit
    rate = stand.living.draws.log_rate.mean(axis=1)
    chances = comers.chances(comers.holds(case.interval_d), [limit])
    tried: list[Mend] = []
    warned = [stand.trait("caution", place) != "" for place in comers.new.tolist()]
    for at in np.lexsort((-rate[comers.new], warned)).tolist():
        place = int(comers.new[at])
        if rate[place] < rate[limit]:
            name, plant = stand.trait("species_id", place), stand.trait("scientific_name", place)
            tried.append(case.mend("plant", spot, float(chances[at]), [name], plant=plant))
    holding = [mend for mend in tried if mend.holds][:SHOWN]
    likeliest = sorted(tried, key=lambda mend: -mend.chance_at_least_cut)[:1]
    return holding or likeliest


PARTS = 6
"""Equally likely parts into which hands and drifts are each divided."""


def certainty_of(
    living: LivingAreas, intervals_d: tuple[int, ...], recommended_d: int | None, confidence: float
) -> Certainty:
    """Work out how sure the recommendation for a tank is.

    Parameters
    ----------
    living : LivingAreas
        The areas of the tank.
    intervals_d : tuple of int
        The intervals it may get [d], ascending.
    recommended_d : int or None
        The one recommended.
    confidence : float
        Wanted chance that every area stays inside [0-1].

    Returns
    -------
    Certainty
        Chances that each interval is the best.

    Notes
    -----
    For each posterior draw of rates, ceilings and the tank's drift the chance that all areas last
    an interval from their least cuts is worked out anew, over what is left open once these are
    known: each area's own span noise, the scatter of its cut, and the drift to come. The best
    interval of a draw is the longest whose chance is at least the wanted one.
    """

    def chances(areas: LivingAreas) -> dict[int, float]:
        best = np.zeros(areas.size, dtype=np.int64)
        for days in intervals_d:
            best = np.where(chance_if_known(areas, days) >= confidence, days, best)
        return {days: float((best == days).mean()) for days in (0, *intervals_d)}

    best = chances(living)
    to_floor = np.minimum(living.safe_cut_cm, living.floor_cm)
    limited = (to_floor < living.safe_cut_cm).any()
    return Certainty(
        chance_best=best[recommended_d or 0],
        best=best,
        best_from_floor=chances(replace(living, safe_cut_cm=to_floor)) if limited else None,
    )


def chance_if_known(living: LivingAreas, interval_d: int) -> FloatArray:
    """Work out the chance that a tank lasts an interval, growth being known.

    Parameters
    ----------
    living : LivingAreas
        The areas of one tank.
    interval_d : int
        Days between visits [d].

    Returns
    -------
    array (D,)
        For each draw of rates, ceilings and drift, taken as known, the chance that all areas last
        from their least cuts [0-1].
    """
    shape, ceiling_cm = living.shape[:, None], living.draws.ceiling_cm.astype(np.float64)
    began = np.array([living.on_day])
    ahead = span_drift(began, began + interval_d, living.on_day)
    drift = ahead.weight[:, 0] @ living.draws.knots[0].astype(np.float64)
    log_rate = living.draws.log_rate.astype(np.float64)
    usual = shape_factor(shape) * np.exp(log_rate + drift) * interval_d
    unrested, single = living.unrested(interval_d), usual.astype(np.float32)
    usual *= 1.0 - living.rest_d(unrested, living.budget_cm, single) / interval_d
    week = living.errors.span * np.sqrt(7.0 / max(interval_d, 1.0))
    goal = stage(living.budget_cm[:, None], ceiling_cm, shape)
    even = normal_quantile((np.arange(PARTS) + 0.5) / PARTS)
    even /= np.sqrt(np.mean(even**2))  # their variance is one
    hands = np.exp(HAND_SPREAD * even)[:, None, None]
    left = np.minimum(living.least_cut_cm[:, None] * hands, ceiling_cm * BELOW_CEILING)
    lasts = (goal - stage(left, ceiling_cm, shape)) / usual
    chance = np.zeros(usual.shape[1])
    off = living.errors.drift * np.sqrt(ahead.remainder[0])
    for drifted in even:
        room = lasts * np.exp(-off * drifted) - 1.0
        each = np.where(room <= -1.0, 0.0, normal_cdf(room / max(week, 1e-9))).mean(axis=0)
        chance += each.prod(axis=0) / PARTS
    return chance


def in_full(book: Book, fit: GrowthFit, living: LivingAreas, advice: TankAdvice) -> TankAdvice:
    """Return the advice with what would allow the next longer interval and how sure it is.

    Parameters
    ----------
    book : Book
        The book that was fitted.
    fit : GrowthFit
        Its fit.
    living : LivingAreas
        The areas of the tank.
    advice : TankAdvice
        What ``recommend`` says of it.

    Returns
    -------
    TankAdvice
        With ``mends`` (for the next longer interval, or the shortest where none is feasible) and
        ``certainty``.
    """
    listed = [option.interval_d for option in advice.options]
    allowed = tuple(days for days in listed if days <= advice.longest_interval_d)
    if not allowed:
        return advice
    chosen = advice.recommended_interval_d
    certainty = certainty_of(living, allowed, chosen, advice.confidence)
    return replace(advice, certainty=certainty, mends=mends_for(book, fit, living, advice))
