"""A time without visits: which areas pass their height, which cuts bridge it, who needs a stand-in.

The last visit before is when cuts can still be made; the first after it is the day after the last
day away.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date, timedelta

import numpy as np

from growthcast.arrays import FloatArray, IntArray
from growthcast.book.book import Book
from growthcast.finite import finite_answer
from growthcast.fit.design import day_number
from growthcast.fit.result import GrowthFit
from growthcast.service.advice import TankAdvice
from growthcast.service.living import LivingAreas, share_of_draws
from growthcast.service.reasons import limit_in_words
from growthcast.service.recommend import area_label, blocks_of_tanks, recommend, tank_terms, unit_of
from growthcast.service.visit.away_nouns import AwayArea, AwayTank
from growthcast.service.visit.standing import (
    Lasting,
    Standing,
    cut_to_last,
    days_that_hold,
    only_areas,
    standing_areas,
)
from growthcast.service.visit.words import (
    and_list,
    as_chance,
    days_in_words,
    ranges,
    sooner_or_later,
)

__all__ = ["weeks_away"]


@dataclass(frozen=True, slots=True)
class _Span:
    """The time to bridge, in days after the fit, and the dates of its ends."""

    after_d: int
    span_d: int
    last_visit: date
    next_visit: date


@dataclass(frozen=True, slots=True)
class _Bridge:
    """A block on the day of the last visit, cut as always and cut to last, and by the next one."""

    arrived: Standing
    usual_cm: FloatArray
    usual: Standing
    usual_end: Standing
    lasting: Lasting


@finite_answer
def weeks_away(
    book: Book,
    fit: GrowthFit,
    last_visit: date,
    next_visit: date,
    tanks: IntArray | None = None,
    advice: list[TankAdvice] | None = None,
) -> list[AwayTank]:
    """Tell how every tank comes through a time without visits.

    Parameters
    ----------
    book : Book
        The book that was fitted.
    fit : GrowthFit
        Its fit.
    last_visit, next_visit : date
        The visits before and after; the first not before the day of the fit, the second after it.
    tanks : int array, optional
        Places of the tanks in the book; all of them when not given.
    advice : list of TankAdvice, optional
        What ``recommend`` says of these tanks, if it is at hand.

    Returns
    -------
    list of AwayTank
        In the order of the book. As always means: until the last visit areas grow, and that visit
        cuts to the height of the tank's recommended interval. The cuts that bridge the time, and
        their chance, are those of ``cut_to_last``, as on the sheet for that visit.

    Raises
    ------
    ValueError
        If the visits lie before the day of the fit or in the wrong order.
    """
    if tanks is None:
        tanks = np.arange(len(book.tanks))
    after_d = int(day_number(last_visit) - fit.design.on_day)
    span = _Span(after_d, (next_visit - last_visit).days, last_visit, next_visit)
    if after_d < 0 or span.span_d < 1:
        raise ValueError("the last visit lies on or after the day of the fit, the next after it")
    if advice is None:
        advice = recommend(book, fit, tanks)
    usual = {one.tank_id: _usual_cuts(one) for one in advice}
    confidence = tank_terms(book, fit).confidence
    found: dict[int, AwayTank] = {}
    for block in blocks_of_tanks(fit, tanks):
        arrived = standing_areas(fit, block).later(span.after_d)
        living = arrived.living
        ids = fit.design.area_id[living.area].tolist()
        homes = fit.design.tank_id[living.tank[living.run]].tolist()
        cut = np.array([usual[t].get(a, np.nan) for t, a in zip(homes, ids, strict=True)])
        cut = np.where(np.isnan(cut), living.least_cut_cm, cut)
        usual_cut = arrived.cut(cut)
        lasting = cut_to_last(arrived, span.span_d, confidence[living.tank])
        bridge = _Bridge(arrived, cut, usual_cut, usual_cut.later(span.span_d), lasting)
        areas = _areas(book, fit, living, span, bridge)
        for run, tank in enumerate(living.tank.tolist()):
            mine = tuple(areas[i] for i in np.flatnonzero(living.run == run).tolist())
            wanted = float(confidence[tank])
            one = _tank(book, span, bridge, run, tank, wanted, mine)
            places = living.area[living.run == run].tolist()
            said = [
                limit_in_words(fit, place)
                for place, area in zip(places, mine, strict=True)
                if area.needed_cut_cm is None
            ]
            limits = "".join(f". {limit}" for limit in dict.fromkeys(said) if limit)
            found[tank] = replace(one, sentence=one.sentence + limits)
    return [found.get(int(tank)) or _bare(book, span, int(tank), confidence) for tank in tanks]


def _usual_cuts(advice: TankAdvice) -> dict[str, float]:
    """Cuts of the recommended interval by area, of the shortest where none is feasible."""
    if not advice.options:
        return {}
    days = advice.recommended_interval_d or advice.options[0].interval_d
    return {area.area_id: area.cut_cm for area in advice.option(days).areas}


def _areas(
    book: Book, fit: GrowthFit, living: LivingAreas, span: _Span, bridge: _Bridge
) -> list[AwayArea]:
    """What becomes of every area of a block."""
    design, basis, lasting = fit.design, fit.basis, bridge.lasting
    passing = bridge.usual.days_until(span.span_d, living.budget_cm)
    over_cm = ranges(np.maximum(bridge.usual_end.height_cm - living.budget_cm[:, None], 0.0))
    within = share_of_draws(lasting.ended.within())
    over = 1.0 - share_of_draws(bridge.usual_end.within())
    needed = lasting.needed_cm.tolist()
    last_day = design.on_day + span.after_d
    return [
        AwayArea(
            area_id=str(design.area_id[a]),
            label=area_label(book, a),
            unit=unit_of(fit, a),
            basis=basis[a],
            budget_cm=float(living.budget_cm[i]),
            floor_cm=float(living.floor_cm[i]),
            usual_cut_cm=float(bridge.usual_cm[i]),
            passes_on=sooner_or_later(last_day, passing[i]),
            chance_over=float(over[i]),
            over_cm=over_cm[i],
            bridging_cut_cm=float(lasting.cut_cm[i]),
            chance_within=float(within[i]),
            needed_cut_cm=None if np.isnan(needed[i]) else needed[i],
            days_below_floor=float(lasting.days_below_floor[i]),
        )
        for i, a in enumerate(living.area.tolist())
    ]


def _tank(
    book: Book,
    span: _Span,
    bridge: _Bridge,
    run: int,
    tank: int,
    confidence: float,
    areas: tuple[AwayArea, ...],
) -> AwayTank:
    """Conclude for one tank: it lasts, lasts when cut lower, or needs somebody."""
    usual, bridged = float(bridge.usual_end.chance[run]), float(bridge.lasting.chance[run])
    state = "lasts" if usual >= confidence else "cut lower" if bridged >= confidence else "stand-in"
    by = None
    if state == "stand-in":
        alone = only_areas(bridge.arrived, bridge.arrived.living.run == run)
        least = alone.cut(alone.living.least_cut_cm)
        days = days_that_hold(least, span.span_d - 1, confidence)
        by = span.last_visit + timedelta(days=days) if days else None
    return AwayTank(
        tank_id=str(book.tanks.text("tank_id")[tank]),
        client=str(book.tanks.text("client")[tank]),
        last_visit=span.last_visit,
        next_visit=span.next_visit,
        confidence=confidence,
        chance_as_usual=usual,
        chance_bridged=bridged,
        state=state,
        stand_in_by=by,
        sentence=_sentence(state, by, usual, bridged, span, areas, confidence),
        areas=areas,
    )


def _sentence(
    state: str,
    by: date | None,
    usual: float,
    bridged: float,
    span: _Span,
    areas: tuple[AwayArea, ...],
    confidence: float,
) -> str:
    until = f"until {span.next_visit} ({days_in_words(span.span_d)})"
    if state == "lasts":
        return (
            f"lasts {until} when cut as always: every area stays inside with a chance of "
            f"{as_chance(usual)}"
        )
    lower = [
        f"{area.label} to {area.bridging_cut_cm:.1f} {area.unit}"
        for area in areas
        if area.bridging_cut_cm < area.usual_cut_cm * 0.99
    ]
    if state == "cut lower":
        return (
            f"lasts {until} when {and_list(lower or [area.label for area in areas])} "
            f"{'is' if len(lower) == 1 else 'are'} cut lower on {span.last_visit} "
            f"(chance {as_chance(bridged)}; as always {as_chance(usual)})"
        )
    worst = min(areas, key=lambda area: area.chance_within)
    said = (
        f"does not last {until}: cut as low as still looks right on {span.last_visit}, the chance "
        f"that every area stays inside is {as_chance(bridged)}, not {100 * confidence:.0f} %; "
        f"{worst.label} goes over first"
    )
    if by is None:
        return f"{said}. Not even one day holds: this tank needs a higher budget or a lower floor"
    return f"{said}. A stand-in must come by {by}"


def _bare(book: Book, span: _Span, tank: int, confidence: FloatArray) -> AwayTank:
    """A tank in which nothing grows."""
    return AwayTank(
        tank_id=str(book.tanks.text("tank_id")[tank]),
        client=str(book.tanks.text("client")[tank]),
        last_visit=span.last_visit,
        next_visit=span.next_visit,
        confidence=float(confidence[tank]),
        chance_as_usual=1.0,
        chance_bridged=1.0,
        state="lasts",
        stand_in_by=None,
        sentence="nothing is planted in this tank",
        areas=(),
    )
