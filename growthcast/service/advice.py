"""What is advised for a tank, as nouns."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import field, replace
from typing import Any, Literal, Self

from growthcast.errors import UsageError
from growthcast.fit.model.posterior import Basis
from growthcast.fit.result import GrowthFit
from growthcast.frames import Framed
from growthcast.nouns import dataclass
from growthcast.plain import FLAT, HIDDEN, in_json, plain
from growthcast.service.effort.hours import (
    DAYS_PER_YEAR,
    Range,
    Saving,
    VisitEffort,
    Year,
    year_of_visits,
)
from growthcast.service.effort.learn import MinutesBasis
from growthcast.service.holding import NotHolding
from growthcast.service.interval import IntervalOptions


@dataclass(frozen=True, slots=True)
class CutLimit:
    """The lowest cut an area is known to stand, where that lies above its floor.

    ``table_cm`` is that of the species table, ``limit_cm`` that of table and log together [cm, or
    % cover].
    """

    species_id: str
    table_cm: float
    limit_cm: float


def cut_limit(fit: GrowthFit, area: int) -> CutLimit | None:
    """Return the lowest cut that keeps an area above its floor.

    Parameters
    ----------
    fit : GrowthFit
        A fitted book.
    area : int
        Place of the area in the book.

    Returns
    -------
    CutLimit or None
        ``None`` where the area may be cut down to its floor.
    """
    design, limit = fit.design, float(fit.lowest_cut_cm[area])
    if limit <= design.traits.floor_cm[area]:
        return None
    return CutLimit(
        species_id=str(design.species_id[design.species[area]]),
        table_cm=float(design.traits.lowest_cut_cm[area]),
        limit_cm=limit,
    )


@dataclass(frozen=True, slots=True)
class KnownArea:
    """What book and fit say of an area; ``limit`` is the lowest cut that keeps it above its floor.

    Heights of it are in ``unit``: cm, or % cover for floating plants.
    """

    area_id: str
    label: str
    unit: str
    basis: Basis
    limit: CutLimit | None = field(metadata=HIDDEN)


@dataclass(frozen=True, slots=True)
class AreaAdvice(KnownArea):
    """What one interval asks of one area.

    ``cut_needed_cm`` is the cut that would hold the wanted chance whatever the look, ``None`` where
    not even the lowest safe cut does; ``days_below_floor`` how long the area looks bare after it.
    ``found`` is how high the next visit finds it, ``least_cut_cm`` the lowest cut that looks right
    and is survived. Of an area that falls short ``needed_budget_cm`` is the budget that would do,
    the tank's other short areas being mended too.
    """

    cut_cm: float
    removed_share: float
    chance_within: float
    days_below_floor: float
    cm_over_budget_p90: float
    cut_needed_cm: float | None
    found: Range = field(metadata=HIDDEN)
    least_cut_cm: float = field(metadata=HIDDEN)
    floor_cm: float = field(metadata=HIDDEN)
    needed_budget_cm: float | None = field(default=None, metadata=HIDDEN)


@dataclass(frozen=True, slots=True)
class Option:
    """One interval for one tank: looks, risk, time and money. Minutes include travel.

    ``minutes_per_visit`` is the mean visit of a year, and ``year`` with its ranges follows from
    it; ``minutes_range`` is the range of a single visit.
    ``chance_all_within`` holds for the cuts given, the highest that reach the wanted chance;
    ``chance_at_least_cut`` for cutting every area as low as still looks right. What is left of the
    days that are presentable or bare are those on which some area is too tall.
    """

    interval_d: int
    feasible: bool
    chance_all_within: float
    chance_at_least_cut: float
    share_of_days_presentable: float
    share_of_days_bare: float
    minutes_per_visit: float
    minutes_range: Range = field(metadata=in_json("minutes_per_visit_range"))
    year: Year = field(metadata=FLAT)

    @classmethod
    def of(
        cls, option: IntervalOptions, effort: VisitEffort, run: int, rate: float, **more: Any
    ) -> Self:
        """Return what was worked out for one tank of a block, at a price of an hour [currency]."""
        mean_visit = effort.year_min[run]
        return cls(
            interval_d=option.interval_d,
            feasible=bool(option.feasible[run]),
            chance_all_within=float(option.chance_all_within[run]),
            chance_at_least_cut=float(option.chance_at_least_cut[run]),
            share_of_days_presentable=float(option.share_of_days_presentable[run]),
            share_of_days_bare=float(option.share_of_days_bare[run]),
            minutes_per_visit=mean_visit.p50,
            minutes_range=effort.visit_min[run],
            year=year_of_visits(option.interval_d, mean_visit, rate),
            **more,
        )

    @property
    def mean_visit(self) -> Range:
        """Minutes of the mean visit of a year, with the range of a single one [min]."""
        return replace(self.minutes_range, p50=self.minutes_per_visit)

    @property
    def visits_over_per_year(self) -> float:
        """Visits of a year that find some area over its height."""
        return (1.0 - self.chance_all_within) * self.year.visits


@dataclass(frozen=True, slots=True)
class OptionAdvice(Option):
    """One interval for one tank, and what it asks of each of its areas."""

    areas: tuple[AreaAdvice, ...]


def _ranges(saved: Saving) -> dict[str, Range]:
    return {f"{name}_saved_range": made for name, made in plain(saved).items()}


def _bare(areas: tuple[AreaAdvice, ...]) -> list[dict[str, str | float | None]]:
    return [
        {
            "label": area.label,
            "cut_cm": area.cut_needed_cm and round(area.cut_needed_cm, 2),
            "days_below_floor": round(area.days_below_floor, 1),
        }
        for area in areas
    ]


@dataclass(frozen=True, slots=True)
class NextLonger:
    """The next longer interval against the recommended one.

    ``presentable_days_lost`` is days a year on which some area is bare or above its budget, more
    than now; ``bare_areas`` are the areas that would have to be cut below their floors to hold
    the wanted chance, ``lost_areas`` the names of those that not even the lowest safe cut saves.
    Savings are a year's, with their range over the draws of growth and minutes in ``saved``;
    negative where the longer interval costs more.
    """

    interval_d: int
    chance_all_within: float
    visits_over_per_year: float = field(metadata=in_json(digits=1))
    presentable_days_lost: float
    hours_saved: float
    cost_saved: float
    saved: Saving = field(metadata=in_json(into=_ranges, flat=True))
    bare_areas: tuple[AreaAdvice, ...] = field(metadata=in_json(into=_bare))
    lost_areas: tuple[str, ...]

    @classmethod
    def against(cls, now: OptionAdvice, longer: OptionAdvice, saved: Saving) -> Self:
        """Compare a chosen interval with a longer one that ``saved`` so much.

        A visit in ten finds some area over its height where the chance of none is 90 %: with a
        visit every 14 days that is 2.6 visits a year.
        """
        lost_days = now.share_of_days_presentable - longer.share_of_days_presentable
        needed = [(area, area.cut_needed_cm) for area in longer.areas]
        return cls(
            interval_d=longer.interval_d,
            chance_all_within=longer.chance_all_within,
            visits_over_per_year=longer.visits_over_per_year,
            presentable_days_lost=DAYS_PER_YEAR * lost_days,
            hours_saved=now.year.hours - longer.year.hours,
            cost_saved=now.year.cost - longer.year.cost,
            saved=saved,
            bare_areas=tuple(a for a, cm in needed if cm is not None and cm < a.least_cut_cm),
            lost_areas=tuple(area.label for area, cm in needed if cm is None),
        )


MendKind = Literal["budget", "floor", "lowest cut", "plant", "light"]


@dataclass(frozen=True, slots=True)
class Mend:
    """One change and what it does to an interval.

    ``area_ids`` are the areas changed (all of the tank's for light). ``values`` are the new bounds
    [cm, or % cover], the new species' id, or the new PPFD [umol], ``before`` what they are now.
    ``plant`` is the new species' scientific name. ``chance_at_least_cut`` is the chance
    of the interval with that change, every area cut as low as still looks right, and ``holds``
    whether it suffices.
    """

    kind: MendKind
    area_ids: tuple[str, ...]
    values: tuple[float | str, ...]
    interval_d: int
    chance_at_least_cut: float
    holds: bool
    before: tuple[float, ...] = field(metadata=HIDDEN)
    plant: str = field(default="", metadata=HIDDEN)


SetBy = Literal["nothing grows", "none holds", "the plants", "its own limit", "the longest listed"]
"""A longer interval fails for the plants, is not allowed by the tank's own limit, or not listed."""


def _by_days(best: Mapping[int, float] | None) -> dict[str, float] | None:
    if best is None:
        return None
    return {str(days or "none"): chance for days, chance in best.items()}


@dataclass(frozen=True, slots=True)
class Certainty:
    """How sure a tank's recommendation is.

    Attributes
    ----------
    chance_best : float
        Chance that the recommended interval is the one that would be recommended if this tank's
        growth were known exactly.
    best : mapping of int to float
        That chance for every listed interval; 0 stands for "none of them".
    best_from_floor : mapping of int to float or None
        ``best`` if every area stood a cut to its floor; None where every one is known to.
    """

    chance_best: float
    best: Mapping[int, float] = field(metadata=in_json("best_interval_d", into=_by_days, digits=4))
    best_from_floor: Mapping[int, float] | None = field(
        default=None, metadata=in_json("best_interval_d_from_floor", into=_by_days, digits=4)
    )


@dataclass(frozen=True, slots=True, repr=False)
class TankAdvice(Framed):
    """The recommendation for one tank; ``recommended_interval_d`` is None when none is feasible.

    Attributes
    ----------
    options : tuple of OptionAdvice
        What each interval gives and takes; told briefly, that which is worked to alone.
    listed_d : tuple of int
        The intervals that were compared [d].
    limited_by : str or None
        The area that goes over first at the interval that fails.
    longest_interval_d : int
        The longest interval it may get [d]; ``own_limit`` tells whether that is its own.
    fails_at_d : int or None
        The shortest longer interval within that limit, which is not feasible [d].
    short : tuple of AreaAdvice
        The areas that fall short there, the worst first.
    longer : NextLonger or None
        The next longer interval against the recommended one, if there are both.
    mends, certainty
        What would make the interval feasible that fails, and how sure the advice is; worked out
        when asked for in full.
    minutes : MinutesBasis or None
        What the minutes rest on; None where nothing grows.
    not_holding : tuple of NotHolding
        The areas whose plants are not likely to hold under the conditions given; where that is all
        of them, no interval is recommended.
    longest_gap_d : int or None
        The longest time between two visits in its log [d]; None where there are no two.
    """

    tank_id: str
    client: str
    recommended_interval_d: int | None
    limited_by: str | None
    longest_interval_d: int
    own_limit: bool = field(metadata=HIDDEN)
    confidence: float
    options: tuple[OptionAdvice, ...] = ()
    listed_d: tuple[int, ...] = field(default=(), metadata=HIDDEN)
    fails_at_d: int | None = field(default=None, metadata=HIDDEN)
    short: tuple[AreaAdvice, ...] = field(default=(), metadata=HIDDEN)
    longer: NextLonger | None = field(default=None, metadata=in_json("next_longer"))
    mends: tuple[Mend, ...] = ()
    certainty: Certainty | None = None
    minutes: MinutesBasis | None = field(default=None, metadata=HIDDEN)
    not_holding: tuple[NotHolding, ...] = ()
    longest_gap_d: int | None = None

    @property
    def nothing_holds(self) -> bool:
        """Whether none of its plants is likely to hold."""
        return bool(self.options) and len(self.not_holding) == len(self.options[0].areas)

    @property
    def set_by(self) -> SetBy:
        """What sets its interval, as every sentence that gives a reason tells it."""
        if not self.options or self.nothing_holds:
            return "none holds" if self.options else "nothing grows"
        if self.fails_at_d is not None:
            return "the plants"
        beyond = any(days > self.longest_interval_d for days in self.listed_d)
        return "its own limit" if beyond else "the longest listed"

    @property
    def next_in_d(self) -> int:
        """Days until the next visit where no other is planned; the shortest listed if none holds.

        A limit of the tank's own that is shorter is listed with the others.
        """
        return self.recommended_interval_d or min(self.listed_d)

    @property
    def chosen(self) -> OptionAdvice | None:
        """The option worked to: of the recommended interval, else of the shortest there is."""
        days = self.recommended_interval_d
        if days is None or not self.options:
            return next(iter(self.options), None)
        return self.option(days)

    def option(self, interval_d: int) -> OptionAdvice:
        """Return the option of one listed interval; UsageError where it is not listed."""
        listed = {option.interval_d: option for option in self.options}
        if interval_d not in listed:
            raise UsageError(f"{interval_d} days are not among those asked: {[*listed]}")
        return listed[interval_d]
