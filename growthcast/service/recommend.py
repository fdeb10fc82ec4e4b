"""The recommended visit interval of every tank, with its reason."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from growthcast.book.book import Book
from growthcast.fit.result import Basis, GrowthFit
from growthcast.service.advice import AreaAdvice, OptionAdvice, TankAdvice
from growthcast.service.effort import (
    Timing,
    VisitEffort,
    learn_timing,
    visit_effort,
    year_of_visits,
)
from growthcast.service.interval import IntervalOptions, interval_options
from growthcast.service.living import LivingAreas, living_areas
from growthcast.service.longer.full import in_full, with_next_longer
from growthcast.service.reasons import ShortArea, Shortfall, reason_for
from growthcast.service.rescape.notes import (
    none_holds_in_words,
    not_holding,
    some_do_not_hold_in_words,
)

__all__ = [
    "TankTerms",
    "area_label",
    "blocks_of_tanks",
    "recommend",
    "tank_terms",
    "unit_of",
]

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

AREAS_AT_ONCE = 500
"""Areas whose draws are held in memory together."""


@dataclass(frozen=True, slots=True)
class TankTerms:
    """Per tank (K,): the wanted chance, the cap, and the minutes of a visit before any trimming.

    ``basis`` tells for every area of the book what its forecast rests on, ``timing`` how long
    trimming takes.
    """

    confidence: FloatArray
    cap_d: FloatArray
    fixed_min: FloatArray
    basis: list[Basis]
    timing: Timing


def recommend(
    book: Book, fit: GrowthFit, tanks: IntArray | None = None, *, full: bool = False
) -> list[TankAdvice]:
    """Recommend a visit interval for every tank.

    Parameters
    ----------
    book : Book
        The book that was fitted.
    fit : GrowthFit
        Its fit.
    tanks : int array, optional
        Places of the tanks in the book; all of them when not given.
    full : bool
        Also work out what would allow the next longer interval and how sure the advice is; takes
        about as long again as a fit for every tank.

    Returns
    -------
    list of TankAdvice
        In the order of the book. The recommendation is the longest listed interval, no longer than
        the tank's own cap, at which every area stays within its budget until the next visit with
        the wanted chance when cut no lower than its floor; none where no plant is likely to hold
        under the conditions given.
    """
    if tanks is None:
        tanks = np.arange(len(book.tanks))
    terms = tank_terms(book, fit)
    advice: dict[int, TankAdvice] = {}
    for block in blocks_of_tanks(fit, tanks):
        living = living_areas(fit, block)
        caps = terms.cap_d[living.tank]
        listed = _listed(book, caps)
        options = [interval_options(living, d, terms.confidence[living.tank]) for d in listed]
        fixed_min = terms.fixed_min[living.tank]
        efforts = {
            o.interval_d: visit_effort(living, fit.design, terms.timing, o, fixed_min)
            for o in options
        }
        for run, tank in enumerate(living.tank.tolist()):
            plain = _advise(book, fit, living, options, efforts, run, tank, terms)
            plain = _if_plants_hold(book, fit, tank, plain, living.area[living.run == run])
            advice[tank] = with_next_longer(plain, book.practice.currency)
            if full and not plain.nothing_holds:
                advice[tank] = in_full(book, fit, living, run, advice[tank])
    return [advice.get(int(tank)) or _empty(book, fit, int(tank), terms) for tank in tanks]


def tank_terms(book: Book, fit: GrowthFit) -> TankTerms:
    """Return what is said of every tank's visits, by itself or else by the practice."""
    return TankTerms(
        confidence=book.of_tanks("confidence"),
        cap_d=book.of_tanks("longest_interval_d"),
        fixed_min=book.of_tanks("fixed_min") + book.of_tanks("travel_min"),
        basis=fit.basis,
        timing=learn_timing(book, fit),
    )


def blocks_of_tanks(fit: GrowthFit, tanks: IntArray) -> Iterator[IntArray]:
    """Split tanks so that a block's draws fit in memory."""
    design = fit.design
    sizes = np.bincount(design.tank[design.alive], minlength=design.tank_id.size)[tanks]
    block = (np.cumsum(sizes) - sizes) // AREAS_AT_ONCE
    for number in np.unique(block):
        chosen = tanks[block == number]
        if sizes[block == number].sum() > 0:
            yield chosen


def _listed(book: Book, caps: FloatArray) -> list[int]:
    """Intervals to work out: the practice's, and caps shorter than all of them."""
    practice = book.practice.intervals_d
    short = {int(cap) for cap in caps if cap < min(practice)}
    return sorted(short | set(practice))


def _advise(
    book: Book,
    fit: GrowthFit,
    living: LivingAreas,
    options: list[IntervalOptions],
    efforts: dict[int, VisitEffort],
    run: int,
    tank: int,
    terms: TankTerms,
) -> TankAdvice:
    """Choose the interval of one tank and say why."""
    cap = int(terms.cap_d[tank])
    shortest = min(book.practice.intervals_d)
    mine = [o for o in options if o.interval_d >= shortest or o.interval_d == cap]
    allowed = [o for o in mine if o.interval_d <= cap]
    feasible = [o for o in allowed if o.feasible[run]]
    chosen = max(feasible, key=lambda o: o.interval_d, default=None)
    longer = [o for o in allowed if chosen is None or o.interval_d > chosen.interval_d]
    failing = min(longer, key=lambda o: o.interval_d, default=None)
    shortfall = _shortfall(book, fit, living, failing, run) if failing else None
    confidence = float(terms.confidence[tank])
    return TankAdvice(
        tank_id=str(book.tanks.text("tank_id")[tank]),
        client=str(book.tanks.text("client")[tank]),
        recommended_interval_d=None if chosen is None else chosen.interval_d,
        limited_by=None if shortfall is None else shortfall.areas[0].area_id,
        reason=reason_for(
            None if chosen is None else chosen.interval_d,
            shortfall,
            confidence=confidence,
            cap_d=cap,
            capped=any(o.interval_d > cap for o in mine),
            basis=[terms.basis[a] for a in living.area[living.run == run]],
        ),
        longest_interval_d=cap,
        confidence=confidence,
        options=tuple(
            _option(book, fit, living, o, efforts[o.interval_d], run, terms) for o in mine
        ),
        minutes_rest_on=terms.timing.rests_on(living.area[living.run == run]),
        timed_visits=terms.timing.visits,
    )


def _if_plants_hold(
    book: Book, fit: GrowthFit, tank: int, advice: TankAdvice, areas: IntArray
) -> TankAdvice:
    """Return the advice with the plants that are not likely to hold; no interval if none is."""
    lost = not_holding(book, fit, tank, areas)
    if not lost:
        return advice
    advice = replace(advice, not_holding=lost)
    if advice.nothing_holds:
        reason = none_holds_in_words(lost)
        return replace(advice, recommended_interval_d=None, limited_by=None, reason=reason)
    return replace(advice, reason=f"{advice.reason}. {some_do_not_hold_in_words(lost)}")


def _shortfall(
    book: Book, fit: GrowthFit, living: LivingAreas, option: IntervalOptions, run: int
) -> Shortfall:
    """What keeps an interval from being feasible, and what would mend it."""
    here = np.flatnonzero(living.run == run)
    at_bottom = living.least_cut_cm[here] >= option.cut_cm[here] * (1.0 - 1e-9)
    chance = np.where(at_bottom, option.chance_within[here], 1.0)
    needed = option.cut_needed_cm[here]
    short = np.isnan(needed) | (needed < living.least_cut_cm[here])
    order = here[np.argsort(np.where(short, chance, 1.0 + chance), kind="stable")]
    return Shortfall(
        interval_d=option.interval_d,
        chance_all_within=float(option.chance_all_within[run]),
        areas=tuple(
            ShortArea(
                area_id=str(book.areas.text("area_id")[living.area[i]]),
                label=area_label(book, int(living.area[i])),
                unit=unit_of(fit, int(living.area[i])),
                chance_within=float(option.chance_within[i]),
                floor_cm=float(living.floor_cm[i]),
                least_cut_cm=float(living.least_cut_cm[i]),
                needed_floor_cm=_known(option.cut_needed_cm[i]),
                needed_budget_cm=float(option.needed_budget_cm[i]),
            )
            for i in order[: max(int(short.sum()), 1)].tolist()
        ),
    )


def unit_of(fit: GrowthFit, place: int) -> str:
    """Return the unit of an area's heights: cm, or % cover for a floating plant."""
    return "% cover" if fit.design.is_cover[place] else "cm"


def area_label(book: Book, place: int) -> str:
    """Return what people call an area: its label, or its id where it has none."""
    return str(book.areas.text("label")[place] or book.areas.text("area_id")[place])


def _known(value: float) -> float | None:
    return None if np.isnan(value) else float(value)


def _option(
    book: Book,
    fit: GrowthFit,
    living: LivingAreas,
    option: IntervalOptions,
    effort: VisitEffort,
    run: int,
    terms: TankTerms,
) -> OptionAdvice:
    here = np.flatnonzero(living.run == run)
    place = living.area[here]
    design = fit.design
    mean_visit, rate = effort.of_mean_visit(run), book.practice.labour_rate_per_h
    areas = tuple(
        AreaAdvice(
            area_id=str(design.area_id[a]),
            label=area_label(book, int(a)),
            unit=unit_of(fit, int(a)),
            cut_cm=float(option.cut_cm[i]),
            removed_share=float(option.removed_share[i]),
            chance_within=float(option.chance_within[i]),
            days_below_floor=float(option.days_below_floor[i]),
            cm_over_budget_p90=float(option.cm_over_budget_p90[i]),
            cut_needed_cm=_known(option.cut_needed_cm[i]),
            basis=terms.basis[a],
        )
        for i, a in zip(here.tolist(), place.tolist(), strict=True)
    )
    return OptionAdvice(
        interval_d=option.interval_d,
        feasible=bool(option.feasible[run]),
        chance_all_within=float(option.chance_all_within[run]),
        chance_at_least_cut=float(option.chance_at_least_cut[run]),
        share_of_days_presentable=float(option.share_of_days_presentable[run]),
        minutes_per_visit=mean_visit.p50,
        minutes_range=effort.of_visit(run),
        year=year_of_visits(option.interval_d, mean_visit.p50, rate, mean_visit),
        areas=areas,
    )


def _empty(book: Book, fit: GrowthFit, tank: int, terms: TankTerms) -> TankAdvice:
    """Advice for a tank in which nothing grows: its cap, since no plant limits it."""
    cap = int(terms.cap_d[tank])
    own = bool(np.isfinite(book.tanks.number("longest_interval_d")[tank]))
    limit = "the tank's own limit" if own else "the longest listed interval"
    when = np.datetime64(int(fit.design.on_day), "D")
    return TankAdvice(
        tank_id=str(book.tanks.text("tank_id")[tank]),
        client=str(book.tanks.text("client")[tank]),
        recommended_interval_d=cap,
        limited_by=None,
        reason=f"no area of this tank is planted on {when}, so {limit} of {cap} days stands",
        longest_interval_d=cap,
        confidence=float(terms.confidence[tank]),
        options=(),
    )
