"""Layouts of a tank side by side: what each allows, what it takes, and what limits it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import field, replace
from typing import Any

import numpy as np

from growthcast.arrays import or_none, rows_of
from growthcast.book.book import Book
from growthcast.book.supposed import Layout, PlannedArea
from growthcast.finite import finite_answer
from growthcast.fit.result import GrowthFit
from growthcast.frames import Framed
from growthcast.nouns import dataclass
from growthcast.plain import FLAT, HIDDEN, NULL_IF_BLANK, in_json
from growthcast.service.effort.hours import Saving
from growthcast.service.holding import NOT_LIKELY, Limit, NotHolding, holding_of, light_under
from growthcast.service.living import LivingAreas
from growthcast.service.rescape.variants import Stand, VariantAnswer, stand_with

AS_IT_IS = "as it is"
_COPIED = ("area_cm2", "floor_cm", "budget_cm", "light_share", "planted_height_cm")


@dataclass(frozen=True, slots=True)
class LayoutArea:
    """One area of a layout; ``keeps_its_log`` where the same plant stands there now."""

    area_id: str
    label: str = field(metadata=HIDDEN)
    species_id: str
    keeps_its_log: bool
    area_cm2: float
    chance_within: float
    doubts: tuple[Limit, ...]
    chance_holds: float
    caution: str = field(metadata=NULL_IF_BLANK)


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
            if area.chance_holds < NOT_LIKELY
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
        light; any other is new. Rows that are alike in several layouts share their luck.
    """
    rows, ids, places, light = _distinct_rows(book, fit, tank, layouts)
    stand = stand_with(book, fit, tank, rows, ids)
    known, where = stand.known, stand.place_of
    kept = _kept(book, fit, tank, rows, ids)
    if kept:
        stand = replace(stand, living=_with_logs(stand, kept))
    variants = [np.array([where[known + row] for row in mine]) for mine in places]
    names = [layout.name for layout in layouts]
    now = stand.now
    if now.size:
        variants, names, light = [now, *variants], [AS_IT_IS, *names], [1.0, *light]
    answers = stand.answers(variants)
    as_it_is = answers[0] if now.size else None
    chances = holding_of(stand.book, stand.fit, stand.living.area)
    named = [*fit.design.area_id.tolist(), *ids]

    def area_at(place: int, chance_within: float) -> LayoutArea:
        area = int(stand.living.area[place])
        return LayoutArea(
            area_id=named[area],
            label=str(stand.book.areas.text("label")[area]),
            species_id=str(stand.fit.design.species_id[stand.species[place]]),
            keeps_its_log=area < known or area - known in kept,
            area_cm2=float(stand.area_cm2[place]),
            chance_within=chance_within,
            doubts=chances.limits(place),
            chance_holds=float(chances.chance[place]),
            caution=stand.trait("caution", place),
        )

    ground = float(np.prod([book.tanks.number(n)[tank] for n in ("length_cm", "width_cm")]))
    rooted = np.where(stand.fit.design.is_cover[stand.living.area], 0.0, stand.area_cm2)
    planted = [float(rooted[answer.places].sum()) for answer in answers]
    return [
        LayoutAdvice(
            name=name,
            answer=answer,
            limited_by=answer.limited_by,
            areas=tuple(map(area_at, answer.places.tolist(), answer.chosen.chance_within.tolist())),
            ground_share=cm2 / ground if ground > 0 else None,
            light_below=below,
            saves=None if as_it_is is None or answer is as_it_is else stand.saved(as_it_is, answer),
        )
        for name, answer, cm2, below in zip(names, answers, planted, light, strict=True)
    ]


def _distinct_rows(
    book: Book, fit: GrowthFit, tank: int, layouts: Sequence[Layout]
) -> tuple[list[PlannedArea], list[str], list[list[int]], list[float]]:
    """Return the distinct areas of all layouts, their own ids, and which each layout holds.

    Last comes the light below what floats in each, as a multiple of today's.
    """
    priors, names = fit.design.priors, ("area_id", "species_id", "label")
    floating = priors.species_id[priors.measure_is_cover].tolist()
    seen: dict[tuple[Any, ...], int] = {}
    places, light = [], []
    for table in (layout.areas for layout in layouts):
        numbers = {name: table.number(name) for name in _COPIED}
        floats = np.isin(table.text("species_id").tolist(), floating)
        middle = 0.5 * (numbers["floor_cm"] + numbers["budget_cm"]) / 100.0
        covered = float((numbers["area_cm2"] * middle)[floats].sum())
        light.append(light_under(book, fit, tank, covered))
        share = numbers["light_share"]
        dimmed = light[-1] * np.nan_to_num(share, nan=1.0)
        numbers["light_share"] = np.where(floats | (light[-1] == 1.0), share, dimmed)
        columns: dict[str, Any] = {name: table.text(name).astype(str) for name in names}
        columns |= {name: or_none(of) for name, of in numbers.items()}
        mine = (tuple(row.values()) for row in rows_of(columns))
        places.append([seen.setdefault(row, len(seen)) for row in mine])
    tank_id = str(book.tanks.text("tank_id")[tank])
    rows: list[PlannedArea] = []
    for number, row in enumerate(seen, 1):
        named = f"{row[0]}={row[1]} {number}"
        cells = dict(zip((*names, *_COPIED), row, strict=True))
        rows.append({**cells, "area_id": named, "tank_id": tank_id})
    return rows, [row[0] for row in seen], places, light


def _kept(
    book: Book, fit: GrowthFit, tank: int, rows: Sequence[PlannedArea], ids: Sequence[str]
) -> dict[int, int]:
    """Return the living area of the tank that each row keeps: the same id and plant."""
    design = fit.design
    living = np.flatnonzero(design.alive & (design.tank == tank)).tolist()
    there = {(str(design.area_id[a]), str(book.areas.text("species_id")[a])): a for a in living}
    named = [(name, str(row["species_id"])) for name, row in zip(ids, rows, strict=True)]
    return {i: there[name] for i, name in enumerate(named) if name in there}


def _with_logs(stand: Stand, kept: dict[int, int]) -> LivingAreas:
    """Let the areas that are kept grow as their log says, under their new light."""
    living, where = stand.living, stand.place_of
    new = np.array([where[stand.known + row] for row in kept])
    old = np.array([where[area] for area in kept.values()])
    speed = np.log(stand.fit.design.clock.speed(stand.fit.design.on_day)[living.area])
    draws = living.draws
    log_rate, ceiling = draws.log_rate.copy(), draws.ceiling_cm.copy()
    week, hand = draws.week.copy(), draws.hand.copy()
    log_rate[new] = log_rate[old] + (speed[new] - speed[old])[:, None]
    ceiling[new], week[new], hand[new] = ceiling[old], week[old], hand[old]
    moved = replace(draws, log_rate=log_rate, ceiling_cm=ceiling, week=week, hand=hand)
    return replace(living, draws=moved)
