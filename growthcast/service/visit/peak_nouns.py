"""What is said of a tank's way to a day: the plan, its areas and their cuts."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from growthcast.fit.result import Basis
from growthcast.service.effort import Range

__all__ = ["PeakArea", "PeakCut", "PeakPlan"]


@dataclass(frozen=True, slots=True)
class PeakCut:
    """One cut on the way: to what height [cm, or % cover] and about how much comes off.

    Only what stands above ``cut_cm`` is cut; ``chance_needed`` is the chance that anything does,
    ``chance_within`` that the area stays inside its budget until the next visit (a cut to hold it)
    or the day to shine (its last cut, to shape it).
    ``purpose`` is "shape" for the cut from which the area grows towards the day, "hold" for one
    that only keeps it inside its budget until the next visit.
    """

    on: date
    cut_cm: float
    removed_cm: float
    chance_needed: float
    chance_within: float
    purpose: str


@dataclass(frozen=True, slots=True)
class PeakArea:
    """How one area is brought to the day; heights in cm, or % cover for floating plants.

    ``low_cm`` to ``high_cm`` is the band in which it stands at its best, ``chance_best`` the chance
    that it does on the day, ``regrown_share`` the share of its height that will have grown since
    its last cut (None: it is left uncut). ``why`` says what cannot be reached any more (else empty)
    and ``best_from`` the day from which it is more likely than not at its best, if left uncut.
    """

    area_id: str
    label: str
    unit: str
    basis: Basis
    cm_per_week: float
    height_now_cm: Range
    low_cm: float
    target_cm: float
    high_cm: float
    cuts: tuple[PeakCut, ...]
    height_on_day_cm: Range
    chance_best: float
    regrown_share: float | None
    reachable: bool
    why: str
    best_from: date | None


@dataclass(frozen=True, slots=True)
class PeakPlan:
    """The way of one tank to a day; areas slowest first.

    ``chance_all_best`` is the chance that every area stands at its best on the day at once.
    """

    tank_id: str
    client: str
    on: date
    day: date
    target_share: float
    band_share: float
    visits: tuple[date, ...]
    chance_all_best: float
    sentence: str
    areas: tuple[PeakArea, ...]
