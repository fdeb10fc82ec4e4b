"""What is advised for a tank, as nouns."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import ClassVar

from growthcast.fit.result import Basis
from growthcast.plain import FLAT, HIDDEN, NULL_IF_BLANK, in_json
from growthcast.service.effort import Range, Year
from growthcast.service.longer.certainty import Certainty
from growthcast.service.longer.looks import NextLonger
from growthcast.service.longer.mends import Mend
from growthcast.service.rescape.notes import NotHolding

__all__ = ["AreaAdvice", "OptionAdvice", "TankAdvice"]


@dataclass(frozen=True, slots=True)
class AreaAdvice:
    """What one interval asks of one area; heights in cm, or % cover for floating plants.

    ``cut_needed_cm`` is the cut that would hold the wanted chance whatever the look, ``None`` where
    not even the lowest safe cut does; ``days_below_floor`` how long the area looks bare after it.
    """

    area_id: str
    label: str = field(metadata=HIDDEN)
    unit: str = field(metadata=HIDDEN)
    cut_cm: float
    removed_share: float
    chance_within: float
    days_below_floor: float
    cm_over_budget_p90: float
    cut_needed_cm: float | None
    basis: Basis


@dataclass(frozen=True, slots=True)
class OptionAdvice:
    """One interval for one tank: looks, risk, time and money. Minutes include travel.

    ``minutes_per_visit`` is the mean visit of a year, and ``year`` with its ranges follows from
    it; ``minutes_range`` is the range of a single visit.
    ``chance_all_within`` holds for the cuts given, the highest that reach the wanted chance;
    ``chance_at_least_cut`` for cutting every area as low as still looks right.
    """

    interval_d: int
    feasible: bool
    chance_all_within: float
    chance_at_least_cut: float
    share_of_days_presentable: float
    minutes_per_visit: float
    minutes_range: Range = field(metadata=in_json("minutes_per_visit_range"))
    year: Year = field(metadata=FLAT)
    areas: tuple[AreaAdvice, ...]

    json_with: ClassVar = ("visits_per_year",)

    @property
    def visits_per_year(self) -> float:
        """Visits of a year."""
        return self.year.visits


@dataclass(frozen=True, slots=True)
class TankAdvice:
    """The recommendation for one tank; ``recommended_interval_d`` is None when none is feasible.

    ``minutes_rest_on`` says what the minutes were learnt from, ``timed_visits`` of how many;
    ``longer`` compares it with the next longer interval (None: there is none, or nothing to compare
    with). ``mends`` and ``certainty``
    are worked out when asked for in full. ``not_holding`` are the areas whose plants are not likely
    to hold under the conditions given; where that is all of them, no interval is recommended.
    ``longest_gap_d`` is the longest time between two visits in its log (None: there are no two).
    """

    tank_id: str
    client: str
    recommended_interval_d: int | None
    limited_by: str | None
    reason: str
    longest_interval_d: int
    confidence: float
    options: tuple[OptionAdvice, ...]
    longer: NextLonger | None = field(default=None, metadata=in_json("next_longer"))
    mends: tuple[Mend, ...] = ()
    certainty: Certainty | None = None
    minutes_rest_on: str = field(default="", metadata=NULL_IF_BLANK)
    timed_visits: int = field(default=0, metadata=HIDDEN)
    not_holding: tuple[NotHolding, ...] = ()
    longest_gap_d: int | None = None

    @property
    def nothing_holds(self) -> bool:
        """Whether none of its plants is likely to hold."""
        return bool(self.options) and len(self.not_holding) == len(self.options[0].areas)

    def option(self, interval_d: int) -> OptionAdvice:
        """Return the option of one listed interval."""
        return next(option for option in self.options if option.interval_d == interval_d)
