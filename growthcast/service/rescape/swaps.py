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
from growthcast.service.advice import Option
from growthcast.service.effort.hours import Saving, Year
from growthcast.service.holding import NotHolding, not_holding
from growthcast.service.interval import lasts_from
from growthcast.service.rescape.plants import (
    is_regulated,
    lacks_soft_water,
    pool_of,
    usually_planted_cm,
)
from growthcast.service.rescape.variants import Days, Outlook, Stand, VariantAnswer, stand_with

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
        return len(self.not_holding) == self.now.chance_within.size


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
    areas = np.flatnonzero(design.stays & (design.tank == tank))
    free = [area for area in areas.tolist() if str(design.area_id[area]) not in set(keep)]

    def pool(place: int) -> list[str]:
        if not plants:
            return unasked_for(book, fit, place, form, stock)
        return [name for name in pool_of(fit, place, form, stock=stock) if name in plants]

    changes = [(place, name) for place in free for name in pool(place)]
    comers = likely_comers(book, fit, tank, changes)
    stand, base = comers.stand, comers.stand.now
    [today], [now] = stand.answers([base]), stand.answers([base], [reach_d])
    lost = not_holding(book, fit, tank, areas)
    none_holds = len(lost) == areas.size
    already = now.recommended_interval_d is not None and not none_holds
    idle = already or none_holds
    holds = comers.holds(reach_d)
    found, tried, size = ([], 0, 0) if idle else _search(comers, holds)
    reach = [one for one in found if one[0] >= stand.confidence]
    likeliest = sorted(found, key=lambda one: -one[0])[:1]
    advised = [
        _advice(stand, pairs, answer.options[0], stand.saved(today, answer))
        for pairs, answer in _cheapest(stand, reach or likeliest, reach_d)
    ]
    kept = base[~np.isin(stand.living.area[base], free)].tolist()
    alone = [(stand.area_id(at), float(holds[at].mean())) for at in kept]
    return SwapSearch(
        reach_d=reach_d,
        confidence=stand.confidence,
        recommended_now_d=today.recommended_interval_d,
        now=now,
        holds_already=already,
        proposals=tuple(advised) if reach else (),
        nearest=None if reach or not advised else advised[0],
        pinned_short=tuple((name, chance) for name, chance in alone if chance < stand.confidence),
        plants_tried=len({int(s) for s in stand.species[comers.new]}),
        combinations_tried=tried,
        most_swaps=size,
        not_holding=lost,
    )


_Pairs = tuple[tuple[int, int], ...]
"""Swaps as pairs of places: the area that goes and the candidate that comes."""
_Tried = tuple[float, _Pairs]
"""The chance that a tank holds with some swaps, and the swaps."""


@dataclass(frozen=True, slots=True)
class Comers:
    """Plants that would likely do in some areas of a tank, instead of those that stand there.

    ``new`` (n,) are their places in the stand, ``owners`` (n,) those of the areas they would take.
    """

    stand: Stand
    new: IntArray
    owners: IntArray

    def of(self, owner: int) -> IntArray:
        """Return the places of those that would take an area."""
        mine: IntArray = self.new[self.owners == owner]
        return mine

    def holds(self, interval_d: int) -> BoolArray:
        """Tell for each draw whether areas of the stand last an interval [d], (A, D)."""
        living = self.stand.living
        return lasts_from(living, living.least_cut_cm, interval_d)

    def chances(self, holds: BoolArray, owners: Sequence[int]) -> FloatArray:
        """Return the chances that the tank holds with one comer each in some areas, (n1, n2, ...).

        ``holds`` is that of every area.
        """
        rest = np.setdiff1d(self.stand.now, owners)
        together = np.logical_and.reduce(holds[rest], axis=0, keepdims=True).astype(np.float32)
        *first, last = (holds[self.of(owner)] for owner in owners)
        for some in first:
            together = (together[:, None] * some[None]).reshape(-1, holds.shape[1])
        counted = together @ last.T.astype(np.float32)
        sizes = [self.of(owner).size for owner in owners]
        share: FloatArray = counted.reshape(sizes).astype(np.float64) / holds.shape[1]
        return share


def likely_comers(
    book: Book, fit: GrowthFit, tank: int, changes: Sequence[tuple[int, str]]
) -> Comers:
    """Return the plants that would likely do in areas of a tank.

    Parameters
    ----------
    book : Book
        The book that was fitted.
    fit : GrowthFit
        Its fit.
    tank : int
        Place of the tank in the book.
    changes : sequence of (int, str)
        Places in the book of areas that may change, and the species that might come.

    Returns
    -------
    Comers
        Those that likely hold under the light, warmth and CO2 of the tank, come up to the look and
        fill the place.
    """
    stand = stand_with(book, fit, tank, [replanted(book, fit, *change) for change in changes])
    new, where = np.flatnonzero(stand.living.area >= stand.known), stand.place_of
    owners = np.array([where[place] for place, _ in changes], np.int64)
    good = Outlook(stand, new, usually_planted_cm(stand.living.floor_cm[new])).likely
    return Comers(stand, new[good], owners[good])


def unasked_for(
    book: Book,
    fit: GrowthFit,
    place: int,
    form: str | None = None,
    stock: Collection[str] | None = None,
) -> list[str]:
    """Return the species that are thought of for an area where nobody names any.

    Parameters
    ----------
    book : Book
        The book that was fitted.
    fit : GrowthFit
        Its fit.
    place : int
        Place of the area in the book.
    form : str, optional
        Their form; that of the plant that stands there when not given.
    stock : collection of str, optional
        The species that can be had.

    Returns
    -------
    list of str
        None whose caution is one of local rules, and none that asks for soft water of which the
        book knows nothing.
    """
    priors, tank = fit.design.priors, int(fit.design.tank[place])
    own = str(priors.form[fit.design.species[place]])
    words = dict(zip(priors.species_id.tolist(), priors.caution.tolist(), strict=True))
    pool = pool_of(fit, place, form or own, stock=stock)
    free = (n for n in pool if not is_regulated(words[n]))
    return [n for n in free if not lacks_soft_water(book, tank, words[n])]


def _search(comers: Comers, holds: BoolArray) -> tuple[list[_Tried], int, int]:
    """Try every single swap, then every pair, then every three, until some reach the interval.

    Returns for each set of areas those that reach it, or else the likeliest; how many were tried;
    and the last size.
    """
    confidence, swapped = comers.stand.confidence, sorted(set(comers.owners.tolist()))
    found: list[_Tried] = []
    tried = size = 0
    for size in range(1, min(MOST_SWAPS, len(swapped)) + 1):
        for areas in combinations(swapped, size):
            chance = comers.chances(holds, areas)
            tried += chance.size
            reach = np.flatnonzero(chance >= confidence)
            each = [comers.of(area).tolist() for area in areas]
            for at in reach.tolist() or [int(chance.argmax())]:
                places = np.unravel_index(at, chance.shape)
                plants = [names[i] for names, i in zip(each, places, strict=True)]
                found.append((float(chance.flat[at]), tuple(zip(areas, plants, strict=True))))
        if any(chance >= confidence for chance, _ in found):
            break
    return found, tried, size


def _cheapest(
    stand: Stand, reach: list[_Tried], reach_d: int
) -> list[tuple[_Pairs, VariantAnswer]]:
    """Return some of the combinations that reach the interval, the cheapest in a year first."""
    by_areas = groupby(reach, key=lambda one: tuple(area for area, _ in one[1]))
    grouped = {areas: list(tried) for areas, tried in by_areas}
    ground = {areas: float(stand.area_cm2[list(areas)].sum()) for areas in grouped}
    best: list[tuple[_Pairs, VariantAnswer]] = []
    for areas in sorted(grouped, key=lambda group: (ground[group], group))[:MOST_SETS]:
        likeliest = sorted(grouped[areas], key=lambda f: (-f[0], f[1]))[:MOST_COSTED]
        swaps = [pairs for _, pairs in likeliest]
        answers = stand.answers([_variant(stand, pairs) for pairs in swaps], [reach_d])
        costed = zip(swaps, answers, strict=True)
        best += sorted(costed, key=_minutes)[: 3 if not best else 1]
    return sorted(best, key=_minutes)[:MOST_PROPOSALS]


def _minutes(costed: tuple[_Pairs, VariantAnswer]) -> float:
    return costed[1].options[0].minutes_per_visit


def _variant(stand: Stand, pairs: _Pairs) -> IntArray:
    gone = [area for area, _ in pairs]
    return np.append(np.setdiff1d(stand.now, gone), [new for _, new in pairs])


def _advice(stand: Stand, pairs: _Pairs, option: Option, saves: Saving) -> SwapAdvice:
    species_id, comers = stand.fit.design.species_id, np.array([new for _, new in pairs])
    looks = Outlook(stand, comers, usually_planted_cm(stand.living.floor_cm[comers])).look_d
    swaps = tuple(
        Swap(
            area_id=stand.area_id(old),
            label=stand.label(old),
            from_species_id=str(species_id[stand.species[old]]),
            to_species_id=str(species_id[stand.species[new]]),
            area_cm2=float(stand.area_cm2[old]),
            look_d=look_d,
            caution=stand.trait("caution", new),
        )
        for (old, new), look_d in zip(pairs, looks, strict=True)
    )
    return SwapAdvice(
        swaps=swaps,
        replanted_cm2=sum(swap.area_cm2 for swap in swaps),
        chance_all_within=option.chance_all_within,
        year=option.year,
        saves=saves,
    )
