"""What the watch found, as a person and a program read it."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import Any

__all__ = [
    "AreaGrowth",
    "DropSeen",
    "Finding",
    "IndexPoint",
    "SpeciesGrowth",
    "TankWatch",
    "WatchReport",
]


@dataclass(frozen=True, slots=True)
class IndexPoint:
    """Growth over one span of visits against what is usual, as shares (1 = usual).

    ``low`` and ``high`` hold the truth 8 times of 10; between ``usual_low`` and ``usual_high`` a
    visit falls 95 times of 100 while nothing has changed.
    """

    on: date
    growth: float
    low: float
    high: float
    usual_low: float
    usual_high: float

    @property
    def standing(self) -> str:
        """Where it lies to what is usual; outside is no alarm yet, which asks for more readings."""
        if self.growth < self.usual_low:
            return "slower"
        return "quicker" if self.growth > self.usual_high else "as usual"

    def as_dict(self) -> dict[str, Any]:
        """Return the point as the JSON has it."""
        return {
            "on": self.on.isoformat(),
            "growth_share": _range(self.low, self.growth, self.high),
            "usual_share": {"p025": round(self.usual_low, 4), "p975": round(self.usual_high, 4)},
            "standing": self.standing,
        }


@dataclass(frozen=True, slots=True)
class Finding:
    """One change of growth.

    ``kind`` is tank, area or species; ids that do not apply are empty. ``since`` and
    ``growth_share`` are in the middle with 8 of 10 ranges; ``also`` names what explains the
    readings nearly as well; ``suspects`` are to be checked in this order.
    """

    kind: str
    tank_ids: tuple[str, ...]
    area_id: str
    species_id: str
    name: str
    since: tuple[date, date, date]
    noticed_on: date
    growth_share: tuple[float, float, float]
    sentence: str
    also: tuple[str, ...]
    suspects: tuple[str, ...]

    @property
    def slower(self) -> bool:
        """Whether it grows slower than usual."""
        return self.growth_share[1] < 1.0

    def as_dict(self) -> dict[str, Any]:
        """Return the finding as the JSON has it."""
        early, middle, late = (day.isoformat() for day in self.since)
        return {
            "kind": self.kind,
            "tank_ids": list(self.tank_ids),
            "area_id": self.area_id or None,
            "species_id": self.species_id or None,
            "since": {"p10": early, "p50": middle, "p90": late},
            "noticed_on": self.noticed_on.isoformat(),
            "growth_share": _range(*self.growth_share),
            "sentence": self.sentence,
            "also_possible": list(self.also),
            "check": list(self.suspects),
        }


@dataclass(frozen=True, slots=True)
class DropSeen:
    """How soon a lasting drop of the whole tank to ``growth_share`` of its growth is noticed.

    ``chances`` are those of an alarm by the first, second, ... visit after it began, as far as the
    time watched can tell; ``visits`` is the first by which they are 9 of 10, None where it lies
    beyond; ``visit_days`` are the days from visit to visit.
    """

    growth_share: float
    chances: tuple[float, ...]
    visits: int | None
    visit_days: float

    def days(self, visits: int) -> int:
        """Days that so many visits take."""
        return round(visits * self.visit_days)

    @property
    def within_three_visits(self) -> float | None:
        """Chance of an alarm within three visits, None where the time watched is too short."""
        return self.chances[2] if len(self.chances) > 2 else None

    def as_dict(self) -> dict[str, Any]:
        """Return it as the JSON has it."""
        chances = [round(chance, 4) for chance in self.chances]
        return {
            "growth_share": self.growth_share,
            "visits_for_9_of_10": self.visits,
            "days_for_9_of_10": None if self.visits is None else self.days(self.visits),
            "chance_within_3_visits": chances[2] if len(chances) > 2 else None,
            "chance_by_visit": chances,
        }


@dataclass(frozen=True, slots=True)
class AreaGrowth:
    """Growth of an area lately against its usual growth; ``name`` is its label, or its id."""

    area_id: str
    name: str
    recent: IndexPoint

    def as_dict(self) -> dict[str, Any]:
        """Return the area as the JSON has it."""
        return {"area_id": self.area_id, **self.recent.as_dict()}


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
    course: tuple[IndexPoint, ...]
    findings: tuple[Finding, ...]
    sentence: str
    areas: tuple[AreaGrowth, ...] = ()
    drop_seen: DropSeen | None = None
    changed_on: tuple[date, ...] = ()

    def as_dict(self) -> dict[str, Any]:
        """Return the tank as the JSON has it."""
        return {
            "tank_id": self.tank_id,
            "status": self.status,
            "visits": self.visits,
            "visits_needed": self.visits_needed,
            "recent": None if self.recent is None else self.recent.as_dict(),
            "sentence": self.sentence,
            "drop_seen": None if self.drop_seen is None else self.drop_seen.as_dict(),
            "conditions_changed_on": [day.isoformat() for day in self.changed_on],
            "findings": [finding.as_dict() for finding in self.findings],
            "areas": [area.as_dict() for area in self.areas],
            "visits_against_usual": [point.as_dict() for point in self.course],
        }


@dataclass(frozen=True, slots=True)
class SpeciesGrowth:
    """Growth of a species lately in the tanks watched, against its usual growth there."""

    species_id: str
    tanks: int
    recent: IndexPoint

    def as_dict(self) -> dict[str, Any]:
        """Return the species as the JSON has it."""
        return {"species_id": self.species_id, "tanks": self.tanks, **self.recent.as_dict()}


@dataclass(frozen=True, slots=True)
class WatchReport:
    """The practice as watched on a day; ``usual_until`` ends the time that sets what is usual."""

    on: date
    usual_until: date | None
    false_alarms_a_year: float
    tanks: tuple[TankWatch, ...]
    species: tuple[SpeciesGrowth, ...]
    across: tuple[Finding, ...]

    @property
    def findings(self) -> tuple[Finding, ...]:
        """Everything that changed, species across tanks first."""
        return (*self.across, *(f for tank in self.tanks for f in tank.findings))

    @property
    def needs_attention(self) -> bool:
        """Whether anything changed."""
        return bool(self.findings)

    def as_dict(self) -> dict[str, Any]:
        """Return the report as ``growthcast watch --json`` prints it."""
        return {
            "on": self.on.isoformat(),
            "usual_until": None if self.usual_until is None else self.usual_until.isoformat(),
            "false_alarms_per_tank_and_year": self.false_alarms_a_year,
            "needs_attention": self.needs_attention,
            "tanks": [tank.as_dict() for tank in self.tanks],
            "species": [species.as_dict() for species in self.species],
            "across_tanks": [finding.as_dict() for finding in self.across],
        }


def _range(low: float, middle: float, high: float) -> dict[str, float]:
    return {"p10": round(low, 4), "p50": round(middle, 4), "p90": round(high, 4)}
