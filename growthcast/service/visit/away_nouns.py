"""What is said of a time without visits: the tanks and their areas."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import Any

from growthcast.fit.result import Basis
from growthcast.service.effort import Range

__all__ = ["AwayArea", "AwayTank"]

Passing = tuple[date | None, date | None, date | None]


@dataclass(frozen=True, slots=True)
class AwayArea:
    """One area over the time away; heights in cm, or % cover for floating plants.

    ``usual_cut_cm`` is what the last visit would leave as always; ``passes_on`` are the dates by
    which the area then is over its budget with chances of 10, 50 and 90 % (None: not before the
    next visit), ``chance_over`` that chance on the day of the next visit and ``over_cm`` by how
    much it then stands over. ``bridging_cut_cm`` is the highest cut that bridges the time, no lower
    than looks right, as on the sheet for that visit, and ``chance_within`` the chance that it does.
    ``needed_cut_cm`` is the cut that would bridge it whatever the look (None: not even the lowest
    safe one), after which the area looks bare for ``days_below_floor`` [d].
    """

    area_id: str
    label: str
    unit: str
    basis: Basis
    budget_cm: float
    floor_cm: float
    usual_cut_cm: float
    passes_on: Passing
    chance_over: float
    over_cm: Range
    bridging_cut_cm: float
    chance_within: float
    needed_cut_cm: float | None
    days_below_floor: float

    def as_dict(self) -> dict[str, Any]:
        """Return the area as the plain mapping that ``growthcast away --json`` prints."""
        passes = [None if day is None else day.isoformat() for day in self.passes_on]
        needed = self.needed_cut_cm
        return {
            "area_id": self.area_id,
            "label": self.label,
            "unit": self.unit,
            "basis": self.basis,
            "budget_cm": self.budget_cm,
            "floor_cm": self.floor_cm,
            "usual_cut_cm": round(self.usual_cut_cm, 2),
            "passes_on": dict(zip(("p10", "p50", "p90"), passes, strict=True)),
            "chance_over": round(self.chance_over, 4),
            "over_cm": self.over_cm.as_dict(),
            "bridging_cut_cm": round(self.bridging_cut_cm, 2),
            "chance_within": round(self.chance_within, 4),
            "needed_cut_cm": None if needed is None else round(needed, 2),
            "days_below_floor": round(self.days_below_floor, 1),
        }


@dataclass(frozen=True, slots=True)
class AwayTank:
    """One tank over the time away.

    ``chance_as_usual`` is the chance that every area stays inside its budget when the last visit
    cuts as always, ``chance_bridged`` with the bridging cuts. ``state`` is "lasts" (the usual cuts
    do), "cut lower" (the bridging cuts do) or "stand-in" (none that looks right does);
    ``stand_in_by`` is then the latest day on which somebody must come (None: before the time away
    begins).
    """

    tank_id: str
    client: str
    last_visit: date
    next_visit: date
    confidence: float
    chance_as_usual: float
    chance_bridged: float
    state: str
    stand_in_by: date | None
    sentence: str
    areas: tuple[AwayArea, ...]

    def as_dict(self) -> dict[str, Any]:
        """Return the tank as the plain mapping that ``growthcast away --json`` prints."""
        by = self.stand_in_by
        return {
            "tank_id": self.tank_id,
            "client": self.client,
            "last_visit": self.last_visit.isoformat(),
            "next_visit": self.next_visit.isoformat(),
            "confidence": self.confidence,
            "chance_as_usual": round(self.chance_as_usual, 4),
            "chance_bridged": round(self.chance_bridged, 4),
            "state": self.state,
            "stand_in_by": None if by is None else by.isoformat(),
            "sentence": self.sentence,
            "areas": [area.as_dict() for area in self.areas],
        }
