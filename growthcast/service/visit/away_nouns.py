"""What is said of a time without visits: the tanks and their areas."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date

from growthcast.fit.result import Basis
from growthcast.plain import BY_QUANTILE
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
    passes_on: Passing = field(metadata=BY_QUANTILE)
    chance_over: float
    over_cm: Range
    bridging_cut_cm: float
    chance_within: float
    needed_cut_cm: float | None
    days_below_floor: float


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
