"""Layouts of a tank side by side: what each allows, what it takes, and what limits it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import field, replace
from typing import Any

import numpy as np

from growthcast.arrays import BoolArray, FloatArray, IntArray, or_none, rows_of
from growthcast.book.book import Book, Table
from growthcast.book.supposed import Layout, PlannedArea
from growthcast.finite import finite_answer
from growthcast.fit.result import GrowthFit
from growthcast.fit.supposed import fit_beside, light_under, lit, running_on
from growthcast.frames import Framed
from growthcast.nouns import dataclass
from growthcast.plain import FLAT, HIDDEN, NULL_IF_BLANK, in_json
from growthcast.service.effort.hours import Saving, saving
from growthcast.service.effort.learn import Timing, learn_timing
from growthcast.service.holding import NOT_LIKELY, Limit, NotHolding, holding_of, seen_to_hold
from growthcast.service.living import living_areas
from growthcast.service.rescape.variants import VariantAnswer, answers_of

AS_IT_IS = "as it is"


NAMES = ("area_id", "species_id", "label")
AGREED = ("area_cm2", "light_share", "floor_cm", "budget_cm")
"""What is agreed of an area, by the columns of areas.csv."""


@dataclass(frozen=True, slots=True)
class Laid:
    """A book and its fit as a tank would be planted by a layout.

    Attributes
    ----------
    book, fit
        As they would be; the log and what it taught are as they are.
    areas : int array (n,)
        Places in them of the layout's areas, in its order.
    kept, as_lit : bool array (n,)
        Which of them stand there now, with the same plant, and keep what their log says; and which
        of these grow under the light of now.
    light_below : float
        Light below what floats, as a multiple of today's.
    """

    book: Book
    fit: GrowthFit
    areas: IntArray
    kept: BoolArray
    as_lit: BoolArray
    light_below: float


def lay_out(
    book: Book, fit: GrowthFit, tank: int, layouts: Sequence[Table]
) -> tuple[Book, GrowthFit, list[Laid]]:
    """Return a book and its fit as a tank would be planted by each of some layouts.

    Parameters
    ----------
    book : Book
        The book that was fitted.
    fit : GrowthFit
        Its fit.
    tank : int
        Place of the tank in the book.
    layouts : sequence of Table
        All areas of the tank in each, with the columns of ``areas.csv``.

    Returns
    -------
    Book, GrowthFit
        With all new areas beside those there are.
    list of Laid
        For each layout, in their order.
    """
    design, planned, new = fit.design, list[tuple[IntArray, float]](), list[PlannedArea]()
    here, known = design.stays & (design.tank == tank), design.area_id.size
    for table in layouts:
        species = table.places("species_id", design.species_id)
        areas = table.places("area_id", design.area_id)
        comes = ~((areas >= 0) & here[areas] & (design.species[areas] == species))
        columns: dict[str, Any] = {n: table.text(n)[comes] for n in NAMES}
        columns |= {n: or_none(table.number(n)[comes]) for n in (*AGREED, "planted_height_cm")}
        areas[comes] = known + len(new) + np.arange(comes.sum())
        new += [
            {**row, "area_id": f"{row['area_id']}={n}", "tank_id": design.tank_id[tank]}
            for n, row in enumerate(rows_of(columns), len(new))
        ]
        floats = design.priors.measure_is_cover[species]
        middle = 0.5 * (table.number("floor_cm") + table.number("budget_cm")) / 100.0
        covered = float((table.number("area_cm2") * middle)[floats].sum())
        planned.append((areas, light_under(book, fit, tank, covered)))
    book, fit = fit_beside(book, fit, new) if new else (book, fit)
    _ = fit.border_mean, fit.beside  # once for all layouts
    laid = []
    for table, (areas, times) in zip(layouts, planned, strict=True):
        then = _moved(book, fit, tank, areas, {n: table.number(n) for n in AGREED}, times)
        now, lit = (one.design.clock.speed(design.on_day)[areas] for one in (fit, then[1]))
        kept = areas < known
        laid.append(Laid(*then, areas, kept, kept & np.isclose(now, lit), times))
    return book, fit, laid


def _moved(
    book: Book,
    fit: GrowthFit,
    tank: int,
    areas: IntArray,
    agreed: Mapping[str, FloatArray],
    times: float,
) -> tuple[Book, GrowthFit]:
    """Return a book and its fit as a tank of some areas alone runs on, as is agreed of them.

    The light below what floats in it is so many ``times`` that of today.
    """
    design = fit.design

    def put(values: FloatArray, name: str) -> FloatArray:
        changed = values.copy()
        changed[areas] = agreed[name]
        return changed

    cells = {name: put(book.areas.number(name), name) for name in AGREED}
    laid = replace(book, areas=replace(book.areas, columns={**book.areas.columns, **cells}))
    laid = lit(laid, fit, tank, times)
    alive = design.alive & (design.tank != tank)
    alive[areas] = True
    floor, budget = (put(getattr(design.traits, name), name) for name in ("floor_cm", "budget_cm"))
    traits = replace(design.traits, floor_cm=floor, budget_cm=budget)
    then = replace(design, alive=alive, traits=traits, area_cm2=cells["area_cm2"])
    clock, _ = running_on(fit.but_for(design=then), tank, laid)
    return laid, fit.but_for(design=replace(then, clock=clock))


@dataclass(frozen=True, slots=True)
class LayoutArea:
    """One area of a layout; ``keeps_its_log`` where the same plant stands there now.

    ``seen_to_hold`` where that log tells of growth in the light that it would have.
    """

    area_id: str
    species_id: str
    keeps_its_log: bool
    area_cm2: float
    chance_within: float
    doubts: tuple[Limit, ...]
    chance_holds: float
    caution: str = field(metadata=NULL_IF_BLANK)
    seen_to_hold: bool = field(metadata=HIDDEN)


@dataclass(frozen=True, slots=True, repr=False)
class LayoutAdvice(Framed):
    """What one layout allows; ``limited_by`` is the area that fails first, by its place.

    ``answer`` holds every listed interval, ``areas`` the layout's areas in its order, with their
    chance of staying inside at the interval of the answer. ``light_below`` is the light below what
    floats, as a multiple of today's. ``saves`` is what it takes less in a
    year than the tank as it is, None for that one and where nothing grows in the tank.
    """

    name: str
    answer: VariantAnswer = field(metadata=FLAT)
    limited_by: int | None
    areas: tuple[LayoutArea, ...]
    ground_share: float | None
    light_below: float = field(metadata=in_json("light_below_floating_of_now", digits=4))
    saves: Saving | None = field(metadata=in_json("saves_per_year"))

    @property
    def lost(self) -> tuple[NotHolding, ...]:
        """Its areas whose plants are not likely to hold, so that no interval is of use to them."""
        return tuple(
            NotHolding(area.area_id, area.area_id, area.chance_holds, area.doubts)
            for area in self.areas
            if area.chance_holds < NOT_LIKELY and not area.seen_to_hold
        )

    @property
    def nothing_holds(self) -> bool:
        """Whether none of its plants is likely to hold."""
        return len(self.lost) == len(self.areas)

    @property
    def interval_d(self) -> int | None:
        """Its interval [d]; None where no listed one holds, or no plant is likely to."""
        return None if self.nothing_holds else self.answer.recommended_interval_d


@finite_answer
def compare_layouts(
    book: Book, fit: GrowthFit, tank: int, layouts: Sequence[Layout]
) -> list[LayoutAdvice]:
    """Compare layouts of a tank with each other and with the tank as it is.

    Parameters
    ----------
    book : Book
        The book that was fitted.
    fit : GrowthFit
        Its fit.
    tank : int
        Place of the tank in the book.
    layouts : sequence of Layout
        How the tank might be planted; each lists all of its areas.

    Returns
    -------
    list of LayoutAdvice
        The tank as it is first (where anything grows in it), then the layouts in their order. An
        area that keeps its id and plant keeps what its log says, under its new floor, budget and
        light; any other is new. Plants that are alike in several layouts share their luck.
    """
    wide_book, wide_fit, laid = lay_out(book, fit, tank, [layout.areas for layout in layouts])
    timing, design = learn_timing(wide_book, wide_fit), fit.design
    named = [(layout.name, layout.areas.text("area_id").tolist()) for layout in layouts]
    living = np.flatnonzero(design.stays & (design.tank == tank))
    if living.size:
        every = np.ones(living.size, np.bool_)
        laid = [Laid(book, fit, living, every, every, 1.0), *laid]
        named = [(AS_IT_IS, design.area_id[living].tolist()), *named]
    advice: list[LayoutAdvice] = []
    for one, (name, area_ids) in zip(laid, named, strict=True):
        now = advice[0].answer if advice and living.size else None
        advice.append(_advice(one, tank, name, area_ids, timing, now))
    return advice


def _advice(
    one: Laid,
    tank: int,
    name: str,
    area_ids: list[str],
    timing: Timing,
    as_it_is: VariantAnswer | None,
) -> LayoutAdvice:
    """Put together what is known of a layout, against the tank as it is where there is that."""
    book, fit, design = one.book, one.fit, one.fit.design
    living = living_areas(fit, np.array([tank]))
    every = [np.searchsorted(living.area, one.areas)]
    [answer] = answers_of(book, fit, timing, living, every)
    chances, species = holding_of(book, fit, one.areas), design.species[one.areas]
    columns = {
        "area_id": area_ids,
        "species_id": design.species_id[species],
        "keeps_its_log": one.kept,
        "area_cm2": design.area_cm2[one.areas],
        "chance_within": answer.chance_within,
        "doubts": [chances.limits(i) for i in range(one.areas.size)],
        "chance_holds": chances.chance,
        "caution": design.priors.caution[species],
        "seen_to_hold": one.as_lit & seen_to_hold(fit, tank, one.areas),
    }
    ground = float(np.prod([book.tanks.number(n)[tank] for n in ("length_cm", "width_cm")]))
    planted = float(design.area_cm2[one.areas][~design.is_cover[one.areas]].sum())
    rate = book.practice.labour_rate_per_h
    return LayoutAdvice(
        name=name,
        answer=answer,
        limited_by=answer.limited_by,
        areas=tuple(LayoutArea(**row) for row in rows_of(columns)),
        ground_share=planted / ground if ground > 0 else None,
        light_below=one.light_below,
        saves=None if as_it_is is None else saving(as_it_is.hours_drawn, answer.hours_drawn, rate),
    )
