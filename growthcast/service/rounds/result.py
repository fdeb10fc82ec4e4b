"""What a plan of rounds is: visits with dates, what comes late, and how near the best it is."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date
from typing import ClassVar

from growthcast.book.book import Practice
from growthcast.plain import HIDDEN, in_json
from growthcast.service.rounds.windows import TankWindow


def _cuts(cuts: Mapping[str, float]) -> list[dict[str, str | float]]:
    return [{"area_id": area_id, "cut_cm": cut} for area_id, cut in cuts.items()]


@dataclass(frozen=True, slots=True)
class PlannedVisit:
    """One visit of one tank.

    ``number`` counts the tank's visits from the first in the log on, so that a visit keeps its
    number when the plan is made anew. ``minutes`` are those at the tank; ``travel_min`` is counted
    once a place and day, at the first of its tanks. ``due_on`` is the last day on which it is in
    time, ``due_by`` whether that is by the tank's rhythm, its chance or its own limit (see
    ``Due``); ``chance_over`` the chance that some area is over on ``on``.
    ``next_on`` is the next visit in the plan (None: the last), ``cuts`` the heights [cm, or %
    cover] by area that last until then, as the sheet for the visit says.
    """

    on: date = field(metadata=in_json("date"))
    tank_id: str
    client: str
    site: str
    number: int = field(metadata=in_json("visit"))
    minutes: float
    travel_min: float
    due_on: date
    chance_over: float
    due_by: str = "rhythm"
    next_on: date | None = None
    cuts: Mapping[str, float] = field(default_factory=dict, metadata=in_json(into=_cuts, digits=2))

    json_with: ClassVar = ("days_late",)

    @property
    def days_late(self) -> int:
        """Days after the due day, 0 where it is kept."""
        return max((self.on - self.due_on).days, 0)


@dataclass(frozen=True, slots=True)
class LateVisit:
    """A visit after its due day, or one that finds no place in the plan (``on`` is None).

    ``days_late``, ``chance_over`` (that some area is over) and ``area_days_over`` (expected beyond
    the due day) reach to the visit, or to the end of the plan. ``area`` is the one most likely
    over. ``for_want_of_hours`` is false where no working day of the tank's lay before the visit;
    ``due_by`` as of a ``PlannedVisit``.
    """

    tank_id: str
    due_on: date
    on: date | None = field(metadata=in_json("date"))
    days_late: int
    chance_over: float
    chance_over_when_due: float
    area: str | None
    area_days_over: float
    for_want_of_hours: bool
    past_own_limit: bool
    due_by: str = "rhythm"


@dataclass(frozen=True, slots=True)
class RoundsPlan:
    """A visit calendar for the whole practice.

    ``on`` is the day whose knowledge it rests on; ``tanks`` are what was known of each before,
    in the book's order; ``visits`` are by day; ``dates`` are the working days with their
    ``minutes_per_day``. ``weighed_loss`` is what was made least: expected area-days
    over beyond the due days, a little for every day late and for work given away by coming early.
    """

    on: date
    start: date = field(metadata=in_json("from"))
    end: date = field(metadata=in_json("to"))
    practice: Practice = field(metadata=HIDDEN)
    tanks: tuple[TankWindow, ...] = field(metadata=HIDDEN)
    visits: tuple[PlannedVisit, ...]
    late: tuple[LateVisit, ...]
    dates: tuple[date, ...] = field(metadata=HIDDEN)
    minutes_per_day: tuple[float, ...] = field(metadata=HIDDEN)
    weighed_loss: float

    json_with: ClassVar = ("hours_per_day", "days", "area_days_over")

    @property
    def hours_per_day(self) -> float:
        """Hours of visits and travel on a working day."""
        return self.practice.hours_per_day

    @property
    def days(self) -> list[dict[str, date | float]]:
        """The working days with their minutes."""
        both = zip(self.dates, self.minutes_per_day, strict=True)
        return [{"date": day, "minutes": minutes} for day, minutes in both]

    @property
    def area_days_over(self) -> float:
        """Area-days over expected because visits come after their due days [d]."""
        return sum((one.area_days_over for one in self.late), 0.0)
