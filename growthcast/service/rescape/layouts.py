"""Layouts of a tank side by side: what each allows, what it takes, and what limits it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from growthcast.book.book import Book
from growthcast.book.supposed.layouts import Layout
from growthcast.book.supposed.rows import PlannedArea
from growthcast.finite import finite_answer
from growthcast.fit.result import GrowthFit
from growthcast.fit.supposed import conditions_now, fit_beside
from growthcast.plain import FLAT, HIDDEN, NULL_IF_BLANK, in_json
from growthcast.service.effort import Saving
from growthcast.service.living import LivingAreas
from growthcast.service.rescape.notes import (
    LIKELY,
    NOT_LIKELY,
    NotHolding,
    holding_of,
    holding_words,
)
from growthcast.service.rescape.variants import (
    VariantAnswer,
    saved_against,
    stand_of,
    variant_answers,
)

__all__ = ["LayoutAdvice", "LayoutArea", "compare_layouts"]


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
    doubts: tuple[str, ...]
    chance_holds: float
    caution: str = field(metadata=NULL_IF_BLANK)


@dataclass(frozen=True, slots=True)
class LayoutAdvice:
    """What one layout allows; ``limited_by`` is the area that fails first, by its place.

    ``answer`` holds every listed interval, ``areas`` the layout's areas in its order, with their
    chance of staying inside at the interval of the answer. ``saves`` is what it takes less in a
    year than the tank as it is, None for that one and where nothing grows in the tank.
    """

    name: str
    answer: VariantAnswer = field(metadata=FLAT)
    limited_by: int | None
    areas: tuple[LayoutArea, ...]
    ground_share: float | None
    saves: Saving | None = field(metadata=in_json("saves_per_year"))

    @property
    def lost(self) -> tuple[NotHolding, ...]:
        """Its areas whose plants are not likely to hold, so that no interval is of use to them."""
        return tuple(
            NotHolding(area.area_id, area.area_id, area.chance_holds, " and ".join(area.doubts))
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
    known = fit.design.area_id.size
    rows, ids, places = _distinct_rows(book, tank, layouts)
    laid, wide = fit_beside(book, fit, rows, ids)
    stand = stand_of(laid, wide, tank)
    where = {int(a): i for i, a in enumerate(stand.living.area)}
    now = np.flatnonzero(stand.living.area < known)
    kept = _kept(book, fit, tank, rows, ids)
    stand = replace(stand, living=_with_logs(wide, stand.living, kept, where, known))
    variants = [np.array([where[known + row] for row in mine]) for mine in places]
    names = [layout.name for layout in layouts]
    if now.size:
        variants, names = [now, *variants], [AS_IT_IS, *names]
    answers = variant_answers(stand, variants)
    chances = holding_of(laid, wide, conditions_now(wide, tank), stand.living.area)
    design, named = wide.design, [*fit.design.area_id.tolist(), *ids]
    ground = float(np.prod([book.tanks.number(n)[tank] for n in ("length_cm", "width_cm")]))
    found = []
    for name, answer in zip(names, answers, strict=True):
        areas = tuple(
            LayoutArea(
                area_id=named[int(stand.living.area[p])],
                label=str(laid.areas.text("label")[stand.living.area[p]]),
                species_id=str(design.species_id[stand.species[p]]),
                keeps_its_log=int(stand.living.area[p]) < known
                or int(stand.living.area[p]) - known in kept,
                area_cm2=float(stand.area_cm2[p]),
                chance_within=float(answer.chosen.chance_within[i]),
                doubts=tuple(holding_words(chances, int(p))) if chances.chance[p] < LIKELY else (),
                chance_holds=float(chances.chance[p]),
                caution=str(design.priors.caution[stand.species[p]]),
            )
            for i, p in enumerate(answer.places.tolist())
        )
        limited = answer.limited_by
        found.append(
            LayoutAdvice(
                name=name,
                answer=answer,
                limited_by=None if limited is None else answer.places.tolist().index(limited),
                areas=areas,
                ground_share=None
                if np.isnan(ground) or ground <= 0.0
                else float(stand.area_cm2[answer.places].sum()) / ground,
                saves=saved_against(stand, answers[0], answer)
                if now.size and answer is not answers[0]
                else None,
            )
        )
    return found


def _distinct_rows(
    book: Book, tank: int, layouts: Sequence[Layout]
) -> tuple[list[PlannedArea], list[str], list[list[int]]]:
    """Return the distinct areas of all layouts, their own ids, and which each layout holds."""
    tank_id = str(book.tanks.text("tank_id")[tank])
    seen: dict[tuple[str | float | None, ...], int] = {}
    rows: list[PlannedArea] = []
    ids: list[str] = []
    places = []
    for layout in layouts:
        mine, table = [], layout.areas
        for i in range(len(table)):
            numbers = {name: float(table.number(name)[i]) for name in _COPIED}
            cells = {name: None if np.isnan(v) else v for name, v in numbers.items()}
            texts = {name: str(table.text(name)[i]) for name in ("species_id", "label")}
            key = (str(table.text("area_id")[i]), *texts.values(), *cells.values())
            if key not in seen:
                seen[key] = len(rows)
                ids.append(str(key[0]))
                name = f"{key[0]}={texts['species_id']} {len(rows) + 1}"
                rows.append({"area_id": name, "tank_id": tank_id, **texts, **cells})
            mine.append(seen[key])
        places.append(mine)
    return rows, ids, places


def _kept(
    book: Book, fit: GrowthFit, tank: int, rows: Sequence[PlannedArea], ids: Sequence[str]
) -> dict[int, int]:
    """Return the living area of the tank that each row keeps: the same id and plant."""
    design = fit.design
    living = np.flatnonzero(design.alive & (design.tank == tank)).tolist()
    there = {(str(design.area_id[a]), str(book.areas.text("species_id")[a])): a for a in living}
    named = [(name, str(row["species_id"])) for name, row in zip(ids, rows, strict=True)]
    return {i: there[name] for i, name in enumerate(named) if name in there}


def _with_logs(
    fit: GrowthFit,
    living: LivingAreas,
    kept: dict[int, int],
    where: dict[int, int],
    known: int,
) -> LivingAreas:
    """Let the areas that are kept grow as their log says, under their new light."""
    if not kept:
        return living
    new = np.array([where[known + row] for row in kept])
    old = np.array([where[area] for area in kept.values()])
    speed = np.log(fit.design.clock.speed(fit.design.on_day)[living.area])
    draws = living.draws
    log_rate, ceiling = draws.log_rate.copy(), draws.ceiling_cm.copy()
    week, hand = draws.week.copy(), draws.hand.copy()
    log_rate[new] = log_rate[old] + (speed[new] - speed[old])[:, None]
    ceiling[new], week[new], hand[new] = ceiling[old], week[old], hand[old]
    moved = replace(draws, log_rate=log_rate, ceiling_cm=ceiling, week=week, hand=hand)
    return replace(living, draws=moved)
