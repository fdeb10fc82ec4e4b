"""What the watch found, as a person and a program read it."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date
from typing import ClassVar

from growthcast.plain import BY_QUANTILE, FLAT, HIDDEN, NULL_IF_BLANK, by_quantile, in_json


@dataclass(frozen=True, slots=True)
class IndexPoint:
    """Growth over one span of visits against what is usual, as shares (1 = usual).

    ``low`` and ``high`` hold the truth 8 times of 10; between ``usual_low`` and ``usual_high`` a
    visit falls 95 times of 100 while nothing has changed.
    """

    on: date
    growth: float = field(metadata=HIDDEN)
    low: float = field(metadata=HIDDEN)
    high: float = field(metadata=HIDDEN)
    usual_low: float = field(metadata=HIDDEN)
    usual_high: float = field(metadata=HIDDEN)

    json_with: ClassVar = ("growth_share", "usual_share", "standing")

    @property
    def growth_share(self) -> dict[str, float]:
        """Growth with its range, by quantile."""
        return by_quantile((self.low, self.growth, self.high))

    @property
    def usual_share(self) -> dict[str, float]:
        """What is usual, by quantile."""
        return {"p025": self.usual_low, "p975": self.usual_high}

    @property
    def standing(self) -> str:
        """Where it lies to what is usual; outside is no alarm yet, which asks for more readings."""
        if self.growth < self.usual_low:
            return "slower"
        return "quicker" if self.growth > self.usual_high else "as usual"


@dataclass(frozen=True, slots=True)
class NotedChange:
    """A row of conditions.csv that changes a tank's conditions: its day and note, "" for none."""

    on: date
    note: str


@dataclass(frozen=True, slots=True)
class Finding:
    """One change of growth.

    ``kind`` is tank, area or species; ids that do not apply are empty, ``name`` is that of the area
    or the species. ``since`` and ``growth_share`` are in the middle with 8 of 10 ranges; ``also``
    are the areas that explain the readings nearly as well, "" for the whole tank. ``alone`` tells
    whether the tank has one area only, ``has_co2`` whether it is supplied with CO2; ``noted`` is a
    change of its conditions written down about then.
    """

    kind: str
    tank_ids: tuple[str, ...]
    area_id: str = field(metadata=NULL_IF_BLANK)
    species_id: str = field(metadata=NULL_IF_BLANK)
    name: str = field(metadata=HIDDEN)
    since: tuple[date, date, date] = field(metadata=BY_QUANTILE)
    noticed_on: date
    growth_share: tuple[float, float, float] = field(metadata=BY_QUANTILE)
    also: tuple[str, ...] = field(default=(), metadata=HIDDEN)
    alone: bool = field(default=False, metadata=HIDDEN)
    has_co2: bool = field(default=False, metadata=HIDDEN)
    noted: NotedChange | None = field(default=None, metadata=HIDDEN)

    @property
    def slower(self) -> bool:
        """Whether it grows slower than usual."""
        return self.growth_share[1] < 1.0


@dataclass(frozen=True, slots=True)
class DropSeen:
    """How soon a lasting drop of the whole tank to ``growth_share`` of its growth is noticed.

    ``chances`` are those of an alarm by the first, second, ... visit after it began, as far as the
    time watched can tell; ``visits`` is the first by which they are 9 of 10, None where it lies
    beyond; ``visit_days`` are the days from visit to visit.
    """

    growth_share: float
    chances: tuple[float, ...] = field(metadata=in_json("chance_by_visit"))
    visits: int | None = field(metadata=in_json("visits_for_9_of_10"))
    visit_days: float = field(metadata=HIDDEN)

    json_with: ClassVar = ("days_for_9_of_10", "chance_within_3_visits")

    @property
    def days_for_9_of_10(self) -> int | None:
        """Days by which 9 of 10 such drops are noticed."""
        return None if self.visits is None else self.days(self.visits)

    def days(self, visits: int) -> int:
        """Days that so many visits take."""
        return round(visits * self.visit_days)

    @property
    def chance_within_3_visits(self) -> float | None:
        """Chance of an alarm within three visits, None where the time watched is too short."""
        return self.chances[2] if len(self.chances) > 2 else None


@dataclass(frozen=True, slots=True)
class AreaGrowth:
    """Growth of an area lately against its usual growth; ``name`` is its label, or its id."""

    area_id: str
    name: str = field(metadata=HIDDEN)
    recent: IndexPoint = field(metadata=FLAT)


@dataclass(frozen=True, slots=True)
class TankWatch:
    """One tank: whether it can be judged, its growth lately, visit by visit, and what changed.

    ``drop_seen`` says how soon its watch can see, ``changed_on`` on which days of the time watched
    conditions.csv has a change, since when what is usual rests on the species table.
    """

    tank_id: str
    status: str
    visits: int
    visits_needed: int
    recent: IndexPoint | None
    course: tuple[IndexPoint, ...] = field(metadata=in_json("visits_against_usual"))
    findings: tuple[Finding, ...]
    areas: tuple[AreaGrowth, ...] = ()
    drop_seen: DropSeen | None = None
    changed_on: tuple[date, ...] = field(default=(), metadata=in_json("conditions_changed_on"))


@dataclass(frozen=True, slots=True)
class SpeciesGrowth:
    """Growth of a species lately in the tanks watched, against its usual growth there."""

    species_id: str
    tanks: int
    recent: IndexPoint = field(metadata=FLAT)


def _tanks_and_why(failed: dict[str, str]) -> list[dict[str, str]]:
    return [{"tank_id": tank, "why": why} for tank, why in failed.items()]


@dataclass(frozen=True, slots=True)
class WatchReport:
    """The practice as watched on a day; ``usual_until`` ends the time that sets what is usual.

    ``not_fitted`` are the ids of tanks whose log cannot be fitted, and why: their readings are not
    judged.
    """

    on: date
    usual_until: date | None
    false_alarms_a_year: float = field(metadata=in_json("false_alarms_per_tank_and_year"))
    tanks: tuple[TankWatch, ...]
    species: tuple[SpeciesGrowth, ...]
    across: tuple[Finding, ...] = field(metadata=in_json("across_tanks"))
    not_fitted: dict[str, str] = field(default_factory=dict, metadata=in_json(into=_tanks_and_why))

    json_with: ClassVar = ("needs_attention",)

    @property
    def findings(self) -> tuple[Finding, ...]:
        """Everything that changed, species across tanks first."""
        return (*self.across, *(f for tank in self.tanks for f in tank.findings))

    @property
    def needs_attention(self) -> bool:
        """Whether anything changed."""
        return bool(self.findings)
