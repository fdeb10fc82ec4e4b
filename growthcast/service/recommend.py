"""The recommended visit interval of every tank, with its reason."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from growthcast.arrays import FloatArray, IntArray
from growthcast.book.book import Book
from growthcast.finite import finite_answer
from growthcast.fit.result import Basis, GrowthFit
from growthcast.service.advice import AreaAdvice, OptionAdvice, TankAdvice
from growthcast.service.effort import (
    Timing,
    VisitEffort,
    learn_timing,
    visit_efforts,
    year_of_visits,
)
from growthcast.service.interval import IntervalOptions, interval_options, needed_budgets
from growthcast.service.living import LivingAreas, living_areas, living_part
from growthcast.service.longer.full import in_full, with_next_longer
from growthcast.service.reasons import ShortArea, Shortfall, cut_limit, limit_in_words, reason_for
from growthcast.service.rescape.notes import (
    none_holds_in_words,
    not_holding,
    some_do_not_hold_in_words,
)

__all__ = ["TankTerms", "area_label", "blocks_of_tanks", "recommend", "tank_terms", "unit_of"]


AREAS_AT_ONCE = 200
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


@finite_answer
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
    tanks = np.arange(len(book.tanks)) if tanks is None else tanks
    terms = tank_terms(book, fit)
    advice: dict[int, TankAdvice] = {}
    for tanks_at_once in blocks_of_tanks(fit, tanks):
        block = _worked_out(book, fit, living_areas(fit, tanks_at_once), terms)
        for run, tank in enumerate(block.living.tank.tolist()):
            plain = _if_plants_hold(book, fit, tank, _advise(block, run), block.places(run))
            advice[tank] = with_next_longer(plain, block.efforts, run, book.practice)
            if full and not plain.nothing_holds:
                advice[tank] = in_full(book, fit, block.living, run, advice[tank])
    return [advice.get(int(tank)) or _empty(book, int(tank), terms) for tank in tanks]


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
    sizes = np.bincount(design.tank[design.stays], minlength=design.tank_id.size)[tanks]
    block = (np.cumsum(sizes) - sizes) // AREAS_AT_ONCE
    for number in np.unique(block):
        if sizes[block == number].sum() > 0:
            yield tanks[block == number]


def _listed(book: Book, caps: FloatArray) -> list[int]:
    """Intervals to work out: the practice's, and caps shorter than all of them."""
    practice = book.practice.intervals_d
    short = {int(cap) for cap in caps if cap < min(practice)}
    return sorted(short | set(practice))


@dataclass(frozen=True, slots=True)
class _Choice:
    """Of the options worked out, by place: a tank's own, the chosen and the next that fails."""

    mine: list[int]
    chosen: int | None
    failing: int | None


@dataclass(frozen=True, slots=True)
class _Block:
    """What was worked out for a block of tanks.

    ``efforts`` are by interval; ``areas`` are what each option asks of every area, ``choices`` what
    is chosen for each tank, ``needed_budget_cm`` (A,) the budgets that would make its failing
    option feasible, if any.
    """

    book: Book
    fit: GrowthFit
    living: LivingAreas
    terms: TankTerms
    options: list[IntervalOptions]
    efforts: dict[int, VisitEffort]
    edges: list[int]
    areas: list[list[AreaAdvice]]
    choices: list[_Choice]
    needed_budget_cm: FloatArray

    def here(self, run: int) -> slice:
        """Return where a tank's areas are."""
        return slice(self.edges[run], self.edges[run + 1])

    def places(self, run: int) -> IntArray:
        """Return the places of a tank's areas in the book (n,)."""
        return self.living.area[self.here(run)]


def _worked_out(book: Book, fit: GrowthFit, living: LivingAreas, terms: TankTerms) -> _Block:
    """Work out every listed interval for a block of tanks."""
    wanted, fixed_min = terms.confidence[living.tank], terms.fixed_min[living.tank]
    listed = _listed(book, terms.cap_d[living.tank])
    options = [interval_options(living, d, wanted) for d in listed]
    efforts = visit_efforts(living, fit.design, terms.timing, options, fixed_min)
    places = living.area.tolist()
    basis = [terms.basis[place] for place in places]
    choices = _choices(options, terms.cap_d[living.tank], min(book.practice.intervals_d))
    fails_at_d = np.array([0 if c.failing is None else listed[c.failing] for c in choices])
    return _Block(
        book=book,
        fit=fit,
        living=living,
        terms=terms,
        options=options,
        efforts=dict(zip(listed, efforts, strict=True)),
        edges=[*living.first.tolist(), living.area.size],
        areas=[_areas(book, fit, places, basis, option) for option in options],
        choices=choices,
        needed_budget_cm=_needed_budgets(living, fails_at_d, wanted),
    )


def _choices(options: list[IntervalOptions], caps: FloatArray, shortest: int) -> list[_Choice]:
    """Choose the longest feasible interval of every tank (R,) within its cap."""
    days = [o.interval_d for o in options]
    feasible = np.array([o.feasible for o in options]).T.tolist()
    found = []
    for cap, holds in zip(caps.tolist(), feasible, strict=True):
        mine = [n for n, d in enumerate(days) if d >= shortest or d == cap]
        allowed = [n for n in mine if days[n] <= cap]
        chosen = max((n for n in allowed if holds[n]), default=None)
        longer = (n for n in allowed if chosen is None or n > chosen)
        found.append(_Choice(mine, chosen, min(longer, default=None)))
    return found


def _needed_budgets(
    living: LivingAreas, fails_at_d: IntArray, confidence: FloatArray
) -> FloatArray:
    """Budgets (A,) that would make the interval feasible at which each tank fails, 0 for none."""
    budget = living.budget_cm.copy()
    for days in np.unique(fails_at_d[fails_at_d > 0]).tolist():
        tanks = fails_at_d == days
        areas = tanks[living.run]
        budget[areas] = needed_budgets(living_part(living, areas), days, confidence[tanks])
    return budget


def _areas(
    book: Book, fit: GrowthFit, places: list[int], basis: list[Basis], option: IntervalOptions
) -> list[AreaAdvice]:
    """What an option asks of every area; from lists, as reading values off arrays is slow."""
    needed = option.cut_needed_cm.tolist()
    columns = zip(  # in the order of the fields
        book.areas.text("area_id")[places].tolist(),
        [area_label(book, place) for place in places],
        [unit_of(fit, place) for place in places],
        option.cut_cm.tolist(),
        option.removed_share.tolist(),
        option.chance_within.tolist(),
        option.days_below_floor.tolist(),
        option.cm_over_budget_p90.tolist(),
        [None if cut_cm != cut_cm else cut_cm for cut_cm in needed],  # NaN: none
        basis,
        strict=True,
    )
    return [AreaAdvice(*row) for row in columns]


def _advise(block: _Block, run: int) -> TankAdvice:
    """Choose the interval of one tank and say why."""
    book, terms, tank = block.book, block.terms, int(block.living.tank[run])
    cap, choice = int(terms.cap_d[tank]), block.choices[run]
    chosen = None if choice.chosen is None else block.options[choice.chosen].interval_d
    shortfall = None if choice.failing is None else _shortfall(block, choice.failing, run)
    confidence = float(terms.confidence[tank])
    return TankAdvice(
        tank_id=str(book.tanks.text("tank_id")[tank]),
        client=str(book.tanks.text("client")[tank]),
        recommended_interval_d=chosen,
        limited_by=None if shortfall is None else shortfall.areas[0].area_id,
        reason=reason_for(
            chosen,
            shortfall,
            confidence=confidence,
            cap_d=cap,
            capped=any(block.options[n].interval_d > cap for n in choice.mine),
            basis=[area.basis for area in block.areas[0][block.here(run)]],
        ),
        longest_interval_d=cap,
        confidence=confidence,
        options=tuple(_option(block, n, run) for n in choice.mine),
        minutes_rest_on=terms.timing.rests_on(block.places(run)),
        timed_visits=terms.timing.visits,
        longest_gap_d=int(block.fit.design.gap_d[tank]) or None,
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


def _shortfall(block: _Block, number: int, run: int) -> Shortfall:
    """What keeps an interval from being feasible, and what would mend it."""
    living, option, here = block.living, block.options[number], block.here(run)
    least = living.least_cut_cm[here]
    at_bottom = least >= option.cut_cm[here] * (1.0 - 1e-9)
    chance = np.where(at_bottom, option.chance_within[here], 1.0)
    needed = option.cut_needed_cm[here]
    short = np.isnan(needed) | (needed < least)
    order = here.start + np.argsort(np.where(short, chance, 1.0 + chance), kind="stable")
    worst = order[: max(int(short.sum()), 1)].tolist()
    return Shortfall(
        interval_d=option.interval_d,
        chance_all_within=float(option.chance_all_within[run]),
        areas=tuple(
            ShortArea(
                area_id=area.area_id,
                label=area.label,
                unit=area.unit,
                chance_within=area.chance_within,
                floor_cm=float(living.floor_cm[i]),
                least_cut_cm=float(least[i - here.start]),
                needed_floor_cm=area.cut_needed_cm,
                needed_budget_cm=float(block.needed_budget_cm[i]),
                limit=limit_in_words(cut_limit(block.fit, int(living.area[i]))),
            )
            for i, area in ((i, block.areas[number][i]) for i in worst)
        ),
    )


def unit_of(fit: GrowthFit, place: int) -> str:
    """Return the unit of an area's heights: cm, or % cover for a floating plant."""
    return "% cover" if fit.design.is_cover[place] else "cm"


def area_label(book: Book, place: int) -> str:
    """Return what people call an area: its label, or its id where it has none."""
    return str(book.areas.text("label")[place] or book.areas.text("area_id")[place])


def _option(block: _Block, number: int, run: int) -> OptionAdvice:
    option, here = block.options[number], block.here(run)
    effort = block.efforts[option.interval_d]
    mean_visit, rate = effort.of_mean_visit(run), block.book.practice.labour_rate_per_h
    return OptionAdvice(
        interval_d=option.interval_d,
        feasible=bool(option.feasible[run]),
        chance_all_within=float(option.chance_all_within[run]),
        chance_at_least_cut=float(option.chance_at_least_cut[run]),
        share_of_days_presentable=float(option.share_of_days_presentable[run]),
        minutes_per_visit=mean_visit.p50,
        minutes_range=effort.of_visit(run),
        year=year_of_visits(option.interval_d, mean_visit.p50, rate, mean_visit),
        areas=tuple(block.areas[number][here]),
    )


def _empty(book: Book, tank: int, terms: TankTerms) -> TankAdvice:
    """Advice for a tank in which nothing grows: its cap, since no plant limits it."""
    cap = int(terms.cap_d[tank])
    own = bool(np.isfinite(book.tanks.number("longest_interval_d")[tank]))
    limit = "the tank's own limit" if own else "the longest listed interval"
    return TankAdvice(
        tank_id=str(book.tanks.text("tank_id")[tank]),
        client=str(book.tanks.text("client")[tank]),
        recommended_interval_d=cap,
        limited_by=None,
        reason=f"this tank has no planted area any more, so {limit} of {cap} days stands",
        longest_interval_d=cap,
        confidence=float(terms.confidence[tank]),
        options=(),
    )
