"""What the watch found, as a person and a program read it; growth over a visit, or lately."""

from __future__ import annotations

from dataclasses import field
from datetime import date
from typing import ClassVar

import numpy as np

from growthcast.arrays import BoolArray, IntArray
from growthcast.forecast.report import as_date
from growthcast.frames import Framed
from growthcast.nouns import dataclass
from growthcast.plain import BY_QUANTILE, FLAT, HIDDEN, NULL_IF_BLANK, by_quantile, in_json
from growthcast.service.watch.readings import TankCase


@dataclass(frozen=True, slots=True)
class IndexPoint:
    """Growth over one span of visits against what is usual, as shares (1 = usual).

    ``low`` and ``high`` hold the truth 8 times in 10; between ``usual_low`` and ``usual_high`` a
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

    ``chances`` (N,) are those of an alarm by the first, second, ... visit after it began; they end
    where too few visits of the time watched had so many visits after them. ``visit_days`` is the
    middling time from visit to visit [d].
    """

    growth_share: float
    chances: tuple[float, ...] = field(metadata=in_json("chance_by_visit"))
    visit_days: float = field(metadata=HIDDEN)

    json_with: ClassVar = ("visits_for_9_of_10", "days_for_9_of_10", "chance_within_3_visits")

    @property
    def visits_for_9_of_10(self) -> int | None:
        """Visits by which 9 of 10 such drops are noticed, None where that lies beyond."""
        return next((n for n, chance in enumerate(self.chances, 1) if chance >= SURE), None)

    @property
    def days_for_9_of_10(self) -> int | None:
        """Days that these visits take."""
        visits = self.visits_for_9_of_10
        return None if visits is None else self.days(visits)

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


@dataclass(frozen=True, slots=True, repr=False)
class WatchReport(Framed):
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


SURE = 0.9
"""Share of lasting drops that has to be noticed."""
RECENT_D = 28.0
EIGHTY, NINETY_FIVE = 1.2815515655446004, 1.959963984540054
LEAST_INDEX_INFORMATION = 1.0


@dataclass(frozen=True, slots=True)
class Index:
    """Growth over usual (1 = as usual), its sd, and the sd it has when nothing changes."""

    share: float
    sd: float
    usual_sd: float

    def point(self, day: float) -> IndexPoint:
        """Return it with its ranges; growth is never below nothing, whatever a reading errs."""
        return IndexPoint(
            on=as_date(day),
            growth=max(self.share, 0.0),
            low=max(self.share - EIGHTY * self.sd, 0.0),
            high=max(self.share + EIGHTY * self.sd, 0.0),
            usual_low=max(1.0 - NINETY_FIVE * self.usual_sd, 0.0),
            usual_high=1.0 + NINETY_FIVE * self.usual_sd,
        )


def growth_index(case: TankCase, rows: IntArray) -> Index | None:
    """Return the common growth of some readings against their areas' usual growth.

    Parameters
    ----------
    case : TankCase
        The tank.
    rows : int array (m,)
        Places of the readings among the tank's.

    Returns
    -------
    Index or None
        None where the readings show so little growth that its share is not known to within 1.
    """
    if not rows.size:
        return None
    block = np.ix_(rows, rows)
    grown = case.evidence.grown_cm[rows].sum(axis=1)
    pull = np.linalg.solve(case.known.noise[block], grown)
    information = float(grown @ pull)
    if information < LEAST_INDEX_INFORMATION:
        return None
    pull = pull / information
    usual = float(np.sqrt(pull @ case.known.covariance[block] @ pull))
    return Index(1.0 + float(pull @ case.known.surprise_cm[rows]), information**-0.5, usual)


def growth_lately(case: TankCase, on_day: float, of: BoolArray | bool = True) -> Index | None:
    """Return the growth that readings of the last 28 days show.

    Parameters
    ----------
    case : TankCase
        The tank.
    on_day : float
        The last of these days [day number].
    of : bool array (n,), optional
        Which of the tank's readings count; all of them when not given.

    Returns
    -------
    Index or None
        None where no reading tells it.
    """
    return growth_index(case, np.flatnonzero((case.evidence.day > on_day - RECENT_D) & of))


def joined(parts: list[Index]) -> Index:
    """Return the growth that several tanks show together.

    Parameters
    ----------
    parts : list of Index
        That of each, at least one.

    Returns
    -------
    Index
        Their mean, each weighed by how well it is known.
    """
    weight = np.array([part.sd**-2 for part in parts])
    weight /= weight.sum()
    return Index(
        share=float(weight @ [part.share for part in parts]),
        sd=float(np.sqrt((weight**2) @ [part.sd**2 for part in parts])),
        usual_sd=float(np.sqrt((weight**2) @ [part.usual_sd**2 for part in parts])),
    )
