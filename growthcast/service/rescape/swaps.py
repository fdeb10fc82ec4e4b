"""The fewest swaps of plants with which a tank reaches a wanted interval."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import field
from itertools import combinations, groupby

import numpy as np

from growthcast.arrays import BoolArray, FloatArray, IntArray
from growthcast.book.book import Book
from growthcast.finite import finite_answer
from growthcast.fit.result import GrowthFit
from growthcast.fit.supposed import replanted
from growthcast.frames import Framed
from growthcast.nouns import dataclass
from growthcast.plain import FLAT, HIDDEN, NULL_IF_BLANK, by_quantile, in_json
from growthcast.service.effort.hours import Saving, Year
from growthcast.service.holding import LIKELY, NotHolding, not_holding
from growthcast.service.interval import lasts_from
from growthcast.service.rescape.plants import (
    is_regulated,
    lacks_soft_water,
    pool_of,
    usually_planted_cm,
)
from growthcast.service.rescape.variants import Days, Stand, VariantAnswer, stand_with

MOST_PROPOSALS = 5
MOST_SWAPS = 3
MOST_SETS = 10
"""Sets of areas to replant that are costed, those on the least ground first."""
MOST_COSTED = 60
"""Combinations of plants in the same areas that are costed, the likeliest first."""


@dataclass(frozen=True, slots=True)
class Swap:
    """One plant for another in one area; ``look_d`` (3,): days from planting to the look [d]."""

    area_id: str
    label: str = field(metadata=HIDDEN)
    from_species_id: str
    to_species_id: str
    area_cm2: float
    look_d: Days = field(metadata=in_json("days_to_look", into=by_quantile))
    caution: str = field(metadata=NULL_IF_BLANK)


@dataclass(frozen=True, slots=True)
class SwapAdvice:
    """Swaps that reach the interval together, and what the tank is with them.

    ``saves`` is what it takes less in a year than the tank as it is at today's interval.
    """

    swaps: tuple[Swap, ...]
    replanted_cm2: float
    chance_all_within: float
    year: Year = field(metadata=FLAT)
    saves: Saving = field(metadata=in_json("saves_per_year"))


def _short(pinned: tuple[tuple[str, float], ...]) -> list[dict[str, str | float]]:
    return [{"area_id": area_id, "chance_within": chance} for area_id, chance in pinned]


@dataclass(frozen=True, slots=True, repr=False)
class SwapSearch(Framed):
    """What was searched for a wanted interval, and what was found.

    ``now`` is the tank as it is at that interval and ``recommended_now_d`` its interval today;
    ``proposals`` are the cheapest first, empty where the tank holds already or nothing reaches it.
    ``nearest`` is the likeliest combination tried where nothing does. ``pinned_short`` are kept
    areas that alone do not hold, with their chance. ``not_holding`` are areas whose plants, as the
    tank is, are not likely to live under its conditions.
    """

    reach_d: int
    confidence: float
    recommended_now_d: int | None = field(metadata=in_json("recommended_interval_d_now"))
    now: VariantAnswer
    holds_already: bool
    proposals: tuple[SwapAdvice, ...]
    nearest: SwapAdvice | None
    pinned_short: tuple[tuple[str, float], ...] = field(
        metadata=in_json("kept_areas_short", into=_short, digits=4)
    )
    plants_tried: int = field(metadata=HIDDEN)
    combinations_tried: int = field(metadata=HIDDEN)
    most_swaps: int = field(metadata=HIDDEN)
    not_holding: tuple[NotHolding, ...]

    @property
    def nothing_holds(self) -> bool:
        """Whether none of the tank's plants, as it is, is likely to hold."""
        return len(self.not_holding) == self.now.places.size


@finite_answer
def swaps_to_reach(
    book: Book,
    fit: GrowthFit,
    tank: int,
    reach_d: int,
    keep: Sequence[str],
    *,
    plants: Sequence[str] = (),
    form: str | None = None,
    stock: Collection[str] | None = None,
) -> SwapSearch:
    """Search the fewest swaps with which every area stays inside for a wanted interval.

    Parameters
    ----------
    book : Book
        The book that was fitted.
    fit : GrowthFit
        Its fit.
    tank : int
        Place of the tank in the book.
    reach_d : int
        Wanted interval [d].
    keep : sequence of str
        Areas that stay as they are.
    plants : sequence of str, optional
        Plants to choose from; those of the form that stands in an area when not given, without
        those whose caution is one of local rules.
    form : str, optional
        Another form to choose from.
    stock : collection of str, optional
        The species that can be had.

    Returns
    -------
    SwapSearch
        All single swaps are tried; all pairs where no single swap does; all threes where no pair
        does. Of those with the fewest swaps the cheapest in a year comes first; costed are the
        sixty likeliest choices of plants for each of the ten sets of areas with the least ground.
        Only plants that likely hold there and fill the place are tried.
    """
    design = fit.design
    areas = np.flatnonzero(design.alive & (design.tank == tank))
    free = [area for area in areas.tolist() if str(design.area_id[area]) not in set(keep)]
    choice = plants, form, stock
    changes = [(place, name) for place in free for name in _pool(book, fit, place, *choice)]
    stand = stand_with(book, fit, tank, [replanted(book, fit, *change) for change in changes])
    base, new = stand.now, np.flatnonzero(stand.living.area >= stand.known)
    owners = np.array([stand.place_of[place] for place, _ in changes], np.int64)
    view = stand.outlooks(new, usually_planted_cm(stand.living.floor_cm[owners]))
    chances = view.reaches_look, view.fills, stand.holding(new).chance
    good = np.minimum.reduce(chances) >= LIKELY
    looks = dict(zip(new.tolist(), view.look_d, strict=True))
    new, owners = new[good], owners[good]
    holds = lasts_from(stand.living, stand.living.least_cut_cm, reach_d)
    [today], [now] = stand.answers([base]), stand.answers([base], [reach_d])
    lost = not_holding(book, fit, tank, areas)
    none_holds = len(lost) == areas.size
    already = now.recommended_interval_d is not None and not none_holds
    idle = already or none_holds
    found, tried, size = ([], 0, 0) if idle else _search(stand, holds, new, owners)
    reach = [one for one in found if one[0] >= stand.confidence]

    def advised(pairs: _Pairs) -> SwapAdvice:
        return _advice(stand, pairs, reach_d, looks, today)

    proposals = tuple(map(advised, _cheapest(stand, reach, reach_d)))
    likeliest = max(found, key=lambda one: one[0]) if found and not proposals else None
    nearest = None if likeliest is None else advised(likeliest[1])
    kept = base[~np.isin(stand.living.area[base], free)].tolist()
    alone = [(stand.area_id(at), float(holds[at].mean())) for at in kept]
    return SwapSearch(
        reach_d=reach_d,
        confidence=stand.confidence,
        recommended_now_d=today.recommended_interval_d,
        now=now,
        holds_already=already,
        proposals=proposals,
        nearest=nearest,
        pinned_short=tuple((name, chance) for name, chance in alone if chance < stand.confidence),
        plants_tried=len({int(s) for s in stand.species[new]}),
        combinations_tried=tried,
        most_swaps=size,
        not_holding=lost,
    )


_Pairs = tuple[tuple[int, int], ...]
"""Swaps as pairs of places: the area that goes and the candidate that comes."""
_Tried = tuple[float, _Pairs]
"""The chance that a tank holds with some swaps, and the swaps."""


def _pool(
    book: Book,
    fit: GrowthFit,
    place: int,
    plants: Sequence[str],
    form: str | None,
    stock: Collection[str] | None,
) -> list[str]:
    priors, tank = fit.design.priors, int(fit.design.tank[place])
    own = None if plants else str(priors.form[fit.design.species[place]])
    pool = pool_of(fit, place, form or own, stock=stock)
    if plants:
        return [name for name in pool if name in set(plants)]
    words = dict(zip(priors.species_id.tolist(), priors.caution.tolist(), strict=True))
    barred = (is_regulated(words[n]) or lacks_soft_water(book, tank, words[n]) for n in pool)
    return [name for name, no in zip(pool, barred, strict=True) if not no]


def _search(
    stand: Stand, holds: BoolArray, new: IntArray, owners: IntArray
) -> tuple[list[_Tried], int, int]:
    """Try every single swap, then every pair, then every three, until some reach the interval.

    Returns for each set of areas those that reach it, or else the likeliest; how many were tried;
    and the last size.
    """
    swapped = sorted(set(owners.tolist()))
    found: list[_Tried] = []
    tried = size = 0
    for size in range(1, min(MOST_SWAPS, len(swapped)) + 1):
        for areas in combinations(swapped, size):
            rest = np.asarray(holds[np.setdiff1d(stand.now, areas)].all(axis=0))
            comers = [new[owners == area] for area in areas]
            chance = _chances(holds, rest, comers)
            tried += chance.size
            reach = np.flatnonzero(chance >= stand.confidence)
            for at in reach.tolist() or [int(chance.argmax())]:
                places = np.unravel_index(at, chance.shape)
                plants = [int(c[i]) for c, i in zip(comers, places, strict=True)]
                found.append((float(chance.flat[at]), tuple(zip(areas, plants, strict=True))))
        if any(chance >= stand.confidence for chance, _ in found):
            break
    return found, tried, size


def _chances(holds: BoolArray, rest: BoolArray, comers: list[IntArray]) -> FloatArray:
    """Share of draws in which the rest and one comer of each list hold, (n1, n2, ...)."""
    draws = holds.shape[1]
    together = rest[None].astype(np.float32)
    for some in comers[:-1]:
        together = (together[:, None] * holds[some][None]).reshape(-1, draws)
    counted = together @ holds[comers[-1]].T.astype(np.float32)
    share: FloatArray = counted.reshape([c.size for c in comers]).astype(np.float64) / draws
    return share


def _cheapest(stand: Stand, reach: list[_Tried], reach_d: int) -> list[_Pairs]:
    """Return some of the combinations that reach the interval, the cheapest in a year first."""
    by_areas = groupby(reach, key=lambda one: tuple(area for area, _ in one[1]))
    grouped = {areas: list(tried) for areas, tried in by_areas}
    ground = {areas: float(stand.area_cm2[list(areas)].sum()) for areas in grouped}
    best: list[tuple[float, _Pairs]] = []
    for areas in sorted(grouped, key=lambda group: (ground[group], group))[:MOST_SETS]:
        likeliest = sorted(grouped[areas], key=lambda f: (-f[0], f[1]))[:MOST_COSTED]
        variants = [_variant(stand, pairs) for _, pairs in likeliest]
        answers = stand.answers(variants, [reach_d])
        costs = [answer.options[0].minutes_per_visit for answer in answers]
        order = np.argsort(costs, kind="stable").tolist()
        best += [(costs[i], likeliest[i][1]) for i in order[: 3 if not best else 1]]
    return [pairs for _, pairs in sorted(best, key=lambda one: one[0])[:MOST_PROPOSALS]]


def _variant(stand: Stand, pairs: _Pairs) -> IntArray:
    gone = [area for area, _ in pairs]
    return np.append(np.setdiff1d(stand.now, gone), [new for _, new in pairs])


def _advice(
    stand: Stand, pairs: _Pairs, reach_d: int, looks: dict[int, Days], today: VariantAnswer
) -> SwapAdvice:
    species_id = stand.fit.design.species_id
    [answer] = stand.answers([_variant(stand, pairs)], [reach_d])
    option = answer.options[0]
    swaps = tuple(
        Swap(
            area_id=stand.area_id(old),
            label=stand.label(old),
            from_species_id=str(species_id[stand.species[old]]),
            to_species_id=str(species_id[stand.species[new]]),
            area_cm2=float(stand.area_cm2[old]),
            look_d=looks[new],
            caution=stand.trait("caution", new),
        )
        for old, new in pairs
    )
    return SwapAdvice(
        swaps=swaps,
        replanted_cm2=sum(swap.area_cm2 for swap in swaps),
        chance_all_within=option.chance_all_within,
        year=option.year,
        saves=stand.saved(today, answer),
    )
