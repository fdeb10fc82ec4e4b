"""The recommended visit interval of every tank, with what limits it."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from typing import Any

import numpy as np

from growthcast.arrays import BoolArray, FloatArray, IntArray, distinct
from growthcast.book.book import Book
from growthcast.finite import finite_answer
from growthcast.fit.model.posterior import Basis
from growthcast.fit.result import GrowthFit
from growthcast.nouns import dataclass
from growthcast.service.advice import (
    AreaAdvice,
    NextLonger,
    OptionAdvice,
    ShortArea,
    TankAdvice,
    cut_limit,
)
from growthcast.service.effort.hours import (
    Range,
    VisitEffort,
    fixed_minutes,
    saving,
    visit_efforts,
)
from growthcast.service.effort.learn import Timing, learn_timing
from growthcast.service.holding import NOT_LIKELY, holding_of, not_holding
from growthcast.service.interval import IntervalOptions, interval_options, needed_budgets
from growthcast.service.living import LivingAreas, blocks_of_tanks, living_areas, living_part
from growthcast.service.mends import in_full
from growthcast.steps import steps


@finite_answer
def recommend(
    book: Book,
    fit: GrowthFit,
    tanks: IntArray | None = None,
    *,
    full: bool = False,
    briefly: bool = False,
) -> list[TankAdvice]:
    """Recommend a visit interval for every tank.

    Parameters
    ----------
    book : Book
        The book that was fitted.
    fit : GrowthFit
        Its fit.
    tanks : int array (R,), optional
        Places of the tanks in the book; all of them when not given.
    full : bool
        Also work out what would allow the next longer interval and how sure the advice is; takes
        about as long again as a fit for every tank.
    briefly : bool
        Work out no more than the interval chosen (the shortest listed where none is) and which area
        limits it: ``options`` hold that interval alone, ``short``, ``longer`` and ``full`` are not.

    Returns
    -------
    list of TankAdvice
        In the order of the book. The recommendation is the longest listed interval, no longer than
        the tank's own cap, at which every area stays within its budget until the next visit with
        the wanted chance when cut no lower than its floor; none where no plant is likely to hold
        under the conditions given. A tank in which nothing grows gets its cap.
    """
    tanks = np.arange(len(book.tanks)) if tanks is None else tanks
    timing, basis, said = learn_timing(book, fit), fit.basis, _said(book, fit)
    advice: dict[int, TankAdvice] = {}
    for tanks_at_once in steps([*blocks_of_tanks(fit, tanks)]):
        for block in _worked_out(book, fit, tanks_at_once, timing, basis, briefly):
            living = block.living
            for run, tank in enumerate(living.tank.tolist()):
                one = _advise(block, run, said[tank])
                if full and not one.nothing_holds:
                    one = in_full(book, fit, living_part(living, living.run == run), one)
                advice[tank] = one
    for tank in set(tanks.tolist()) - set(advice):  # nothing grows: no plant limits it
        cap_d = said[tank]["longest_interval_d"]
        advice[tank] = TankAdvice(**said[tank], recommended_interval_d=cap_d, limited_by=None)
    return [advice[tank] for tank in tanks.tolist()]


def _said(book: Book, fit: GrowthFit) -> list[dict[str, Any]]:
    """What is said of each tank (K) and its plants, whatever the interval: fields of its advice."""
    tanks = book.tanks
    columns = {
        "tank_id": tanks.text("tank_id").astype(str),
        "client": tanks.text("client").astype(str),
        "longest_interval_d": book.of_tanks("longest_interval_d").astype(np.int64),
        "own_limit": np.isfinite(tanks.number("longest_interval_d")),
        "confidence": book.of_tanks("confidence"),
    }
    rows = zip(*(column.tolist() for column in columns.values()), strict=True)
    said = [dict(zip(columns, row, strict=True)) for row in rows]
    areas = np.flatnonzero(fit.design.stays)
    doubtful = fit.design.tank[areas][holding_of(book, fit, areas).chance < NOT_LIKELY]
    for tank in distinct(doubtful).tolist():
        mine = areas[fit.design.tank[areas] == tank]
        said[tank]["not_holding"] = not_holding(book, fit, tank, mine)
    return said


@dataclass(frozen=True, slots=True)
class _Choice:
    """What is chosen for a tank of the intervals that it may be given, ``listed_d``.

    Of the options worked out, by place: its own, the chosen one and the next that fails.
    """

    listed_d: tuple[int, ...]
    mine: list[int]
    chosen: int | None
    failing: int | None


@dataclass(frozen=True, slots=True)
class _Block:
    """What was worked out for a block of tanks (R,).

    Of each interval: what it asks and gives (``options``), its minutes (``efforts``), and what it
    asks of every area (``areas``). ``choices`` are what is chosen for each tank,
    ``needed_budget_cm`` (A,) the budgets that would make its failing option feasible, if any; None
    where that is told briefly.
    """

    book: Book
    fit: GrowthFit
    living: LivingAreas
    timing: Timing
    options: list[IntervalOptions]
    efforts: list[VisitEffort]
    areas: list[list[AreaAdvice]]
    choices: list[_Choice]
    needed_budget_cm: FloatArray | None

    def option(self, number: int, run: int) -> OptionAdvice:
        """Return what one interval asks of a tank and gives."""
        rate = self.book.practice.labour_rate_per_h
        areas = tuple(self.areas[number][self.living.of_tank(run)])
        return OptionAdvice.of(self.options[number], self.efforts[number], run, rate, areas=areas)


def _worked_out(
    book: Book,
    fit: GrowthFit,
    tanks: IntArray,
    timing: Timing,
    basis: list[Basis],
    briefly: bool,
) -> Iterator[_Block]:
    """Work out every listed interval, and caps shorter than all of them, for a block of tanks.

    Briefly, go up the list only to a tank's first interval that does not hold, and work out that
    and the one before it, for all tanks with the same together.
    """
    living, listed = living_areas(fit, tanks), book.practice.intervals_d
    caps = book.of_tanks("longest_interval_d")[living.tank]
    days = sorted({int(cap) for cap in caps if cap < min(listed)} | set(listed))
    asked = np.ones((len(days), caps.size), dtype=bool)
    feasible, options = np.zeros_like(asked), []
    for n, d in enumerate(days):
        if briefly:
            asked[n] = (feasible | ~asked)[:n].all(axis=0) & (d <= caps)
            asked[n] &= (d >= min(listed)) | (d == caps)
        mine = asked[n]
        going = living if mine.all() else living_part(living, mine[living.run])
        options.append(interval_options(going, d, book.of_tanks("confidence")[going.tank]))
        feasible[n, mine] = options[n].feasible
    choices = _choices(days, feasible, caps, min(listed))

    def block(some: list[IntervalOptions], chosen: list[_Choice], told: int) -> _Block:
        here = some[0].living
        fixed_min = (fixed_minutes(book) + book.of_tanks("travel_min"))[here.tank]
        return _Block(
            book=book,
            fit=fit,
            living=here,
            timing=timing,
            options=some,
            efforts=visit_efforts(fit.design, timing, some[:told], fixed_min),
            areas=[_areas(book, fit, basis, here, option) for option in some[:told]],
            choices=chosen,
            needed_budget_cm=None if briefly else _needed_budgets(here, some, chosen),
        )

    if not briefly:
        yield block(options, choices, len(options))
        return
    pairs = [(choice.chosen, choice.failing) for choice in choices]
    for pair in dict.fromkeys(pairs):
        mine = np.array([one == pair for one in pairs])
        some = [options[n].part(mine[asked[n]]) for n in pair if n is not None]
        chosen, failing = (None if n is None else 0 for n in pair)
        failing = None if failing is None else len(some) - 1
        same = [
            replace(choices[n], mine=[0], chosen=chosen, failing=failing)
            for n in np.flatnonzero(mine)
        ]
        yield block(some, same, 1)


def _choices(
    days: list[int], feasible: BoolArray, caps: FloatArray, shortest: int
) -> list[_Choice]:
    """Choose for every tank (R,) the longest interval within its cap before the first that fails.

    ``feasible`` (n, R) says of each of some days whether the wanted chance is held.
    """
    found = []
    for cap, holds in zip(caps.tolist(), feasible.T.tolist(), strict=True):
        mine = [n for n, d in enumerate(days) if d >= shortest or d == cap]
        allowed = [n for n in mine if days[n] <= cap]
        failing = next((n for n in allowed if not holds[n]), None)
        chosen = max((n for n in allowed if failing is None or n < failing), default=None)
        found.append(_Choice(tuple(days[n] for n in mine), mine, chosen, failing))
    return found


def _needed_budgets(
    living: LivingAreas, options: list[IntervalOptions], choices: list[_Choice]
) -> FloatArray:
    """Budgets (A,) that would make the interval feasible at which each tank fails."""
    budget = living.budget_cm.copy()
    for number in {c.failing for c in choices if c.failing is not None}:
        option, tanks = options[number], np.array([c.failing == number for c in choices])
        areas = tanks[living.run]
        part, short = living_part(living, areas), option.falls_short[areas]
        budget[areas] = needed_budgets(part, option.interval_d, option.confidence[tanks], short)
    return budget


def _areas(
    book: Book, fit: GrowthFit, basis: list[Basis], living: LivingAreas, option: IntervalOptions
) -> list[AreaAdvice]:
    """What an option asks of every area; from lists, as reading values off arrays is slow."""
    ids = book.areas.text("area_id")
    cut, removed = option.cut_cm.tolist(), option.removed_share.tolist()
    chance, below = option.chance_within.tolist(), option.days_below_floor.tolist()
    over = np.maximum(option.found_cm[:, 2] - living.budget_cm, 0.0).tolist()
    needed, found = option.cut_needed_cm.tolist(), option.found_cm.tolist()
    least = living.least_cut_cm.tolist()
    return [
        AreaAdvice(
            area_id=str(ids[place]),
            label=area_label(book, place),
            unit=unit_of(fit, place),
            cut_cm=cut[i],
            removed_share=removed[i],
            chance_within=chance[i],
            days_below_floor=below[i],
            cm_over_budget_p90=over[i],
            cut_needed_cm=None if needed[i] != needed[i] else needed[i],  # NaN: none
            basis=basis[place],
            found=Range(*found[i]),
            least_cut_cm=least[i],
        )
        for i, place in enumerate(living.area.tolist())
    ]


def _advise(block: _Block, run: int, said: dict[str, Any]) -> TankAdvice:
    """Choose the interval of one tank, with what limits it."""
    choice, tank = block.choices[run], int(block.living.tank[run])
    areas, options = block.living.area[block.living.of_tank(run)], block.options
    holds = len(said.get("not_holding", ())) < areas.size
    chosen, failing = choice.chosen if holds else None, choice.failing
    fails = [] if failing is None else _falling_short(block, failing, run)
    short: tuple[ShortArea, ...] = ()
    longer, told = None, {n: block.option(n, run) for n in choice.mine}
    if failing is not None and block.needed_budget_cm is not None:
        short = _short_areas(block, failing, run, fails)
        if chosen is not None:
            two = [
                block.efforts[n].hours_of_year(run, told[n].interval_d) for n in (chosen, failing)
            ]
            saved = saving(two[0], two[1], block.book.practice.labour_rate_per_h)
            longer = NextLonger.against(told[chosen], told[failing], saved)
    return TankAdvice(
        **said,
        recommended_interval_d=None if chosen is None else options[chosen].interval_d,
        limited_by=str(block.fit.design.area_id[areas[fails[0]]]) if fails and holds else None,
        options=tuple(told.values()),
        listed_d=choice.listed_d,
        fails_at_d=None if failing is None else options[failing].interval_d,
        short=short,
        longer=longer,
        minutes=block.timing.rests_on(areas),
        longest_gap_d=int(block.fit.design.gap_d[tank]) or None,
    )


def _falling_short(block: _Block, number: int, run: int) -> list[int]:
    """Places among a tank's areas of those that keep an interval from being feasible, worst first.

    At least one of them: where none falls short by itself, that which is the likeliest to be over.
    """
    option, here = block.options[number], block.living.of_tank(run)
    at_bottom = option.cut_cm[here] <= block.living.least_cut_cm[here]
    chance = np.where(at_bottom, option.chance_within[here], 1.0)
    short = option.falls_short[here]
    order: list[int] = np.argsort(np.where(short, chance, 1.0 + chance), kind="stable").tolist()
    return order[: max(int(short.sum()), 1)]


def _short_areas(block: _Block, number: int, run: int, places: list[int]) -> tuple[ShortArea, ...]:
    """What areas that keep an interval from being feasible are asked, and what would mend it."""
    living, first = block.living, block.living.of_tank(run).start
    assert block.needed_budget_cm is not None
    return tuple(
        ShortArea(
            area=block.areas[number][i],
            floor_cm=float(living.floor_cm[i]),
            least_cut_cm=float(living.least_cut_cm[i]),
            needed_budget_cm=float(block.needed_budget_cm[i]),
            limit=cut_limit(block.fit, int(living.area[i])),
        )
        for i in (first + place for place in places)
    )


def unit_of(fit: GrowthFit, place: int) -> str:
    """Return the unit of an area's heights.

    Parameters
    ----------
    fit : GrowthFit
        A fitted book.
    place : int
        Place of the area in the book.

    Returns
    -------
    str
        "cm", or "% cover" for a floating plant.
    """
    return "% cover" if fit.design.is_cover[place] else "cm"


def area_label(book: Book, place: int) -> str:
    """Return what people call an area.

    Parameters
    ----------
    book : Book
        A book.
    place : int
        Place of the area in it.

    Returns
    -------
    str
        Its label, or its id where it has none.
    """
    return str(book.areas.text("label")[place] or book.areas.text("area_id")[place])


def known_of(book: Book, fit: GrowthFit, area: int) -> dict[str, Any]:
    """Return what book and fit say of an area.

    Parameters
    ----------
    book : Book
        The book that was fitted.
    fit : GrowthFit
        Its fit.
    area : int
        Place of the area in the book.

    Returns
    -------
    dict
        The fields of a ``KnownArea``.
    """
    return {
        "area_id": str(fit.design.area_id[area]),
        "label": area_label(book, area),
        "unit": unit_of(fit, area),
        "basis": fit.basis[area],
        "limit": cut_limit(fit, area),
    }


def option_of(
    book: Book, fit: GrowthFit, tank: int, interval_d: int, cut_cm: FloatArray | None = None
) -> tuple[OptionAdvice, FloatArray]:
    """Work out one interval of one tank, listed or not.

    Parameters
    ----------
    book : Book
        The book that was fitted.
    fit : GrowthFit
        Its fit.
    tank : int
        Place of a tank in the book in which something grows.
    interval_d : int
        Days between visits [d].
    cut_cm : array (A,), optional
        Height to which each of its areas is cut [cm, or % cover], instead of the highest that hold.

    Returns
    -------
    option : OptionAdvice
        As ``recommend`` has it.
    hours : array (D,)
        Hours of its visits in a year in each draw [h], travel included. Draw ``d`` of one tank goes
        with draw ``d`` of another: the hand is the same, so their sum has the range of both
        together.
    """
    living = living_areas(fit, np.array([tank]))
    option = interval_options(living, interval_d, book.of_tanks("confidence")[living.tank], cut_cm)
    fixed_min = (fixed_minutes(book) + book.of_tanks("travel_min"))[living.tank]
    [effort] = visit_efforts(fit.design, learn_timing(book, fit), [option], fixed_min)
    areas = tuple(_areas(book, fit, fit.basis, living, option))
    told = OptionAdvice.of(option, effort, 0, book.practice.labour_rate_per_h, areas=areas)
    return told, effort.hours_of_year(0, interval_d)
