"""Growth of a practice against what was forecast before each visit, and what has changed."""

from __future__ import annotations

from dataclasses import field
from datetime import date
from itertools import repeat
from typing import Any, ClassVar

import numpy as np
from threadpoolctl import threadpool_limits

from growthcast.arrays import IntArray, day_numbers, distinct
from growthcast.book.book import Book, area_label
from growthcast.finite import finite_answer
from growthcast.fit.design import Design, day_number
from growthcast.forecast.report import as_date
from growthcast.frames import Framed
from growthcast.nouns import dataclass
from growthcast.plain import BY_QUANTILE, FLAT, HIDDEN, NULL_IF_BLANK, in_json
from growthcast.service.watch import judge, readings

NEAR_D = 45
"""Days before a change of growth from which on a change of conditions may have to do with it."""


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
class AreaGrowth:
    """Growth of an area lately against its usual growth; ``name`` is its label, or its id."""

    area_id: str
    name: str = field(metadata=HIDDEN)
    recent: readings.IndexPoint = field(metadata=FLAT)


@dataclass(frozen=True, slots=True)
class TankWatch:
    """One tank: whether it can be judged, its growth lately, visit by visit, and what changed.

    ``drop_seen`` says how soon its watch can see, ``changed_on`` on which days of the time watched
    conditions.csv has a change, since when what is usual rests on the species table.
    """

    tank_id: str
    status: str
    visits: int
    visits_needed: int = readings.VISITS_NEEDED
    recent: readings.IndexPoint | None = None
    course: tuple[readings.IndexPoint, ...] = field(
        default=(), metadata=in_json("visits_against_usual")
    )
    findings: tuple[Finding, ...] = ()
    areas: tuple[AreaGrowth, ...] = ()
    drop_seen: judge.DropSeen | None = None
    changed_on: tuple[date, ...] = field(default=(), metadata=in_json("conditions_changed_on"))


@dataclass(frozen=True, slots=True)
class SpeciesGrowth:
    """Growth of a species lately in the tanks watched, against its usual growth there."""

    species_id: str
    tanks: int
    recent: readings.IndexPoint = field(metadata=FLAT)


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


def changes_between(
    book: Book, tank_id: str, first_day: float, last_day: float
) -> list[NotedChange]:
    """Return the changes of a tank's conditions that are written down.

    Parameters
    ----------
    book : Book
        A checked book.
    tank_id : str
        The tank.
    first_day, last_day : float
        Days between which they begin to hold [day numbers].

    Returns
    -------
    list of NotedChange
        By date. A tank's first row changes nothing: it says what has held since before.
    """
    theirs = np.flatnonzero(book.conditions.text("tank_id") == tank_id)
    days = day_numbers(book.conditions.date("from_date"))
    later = theirs[np.argsort(days[theirs], kind="stable")][1:]
    rows = later[(days[later] >= first_day) & (days[later] <= last_day)].tolist()
    notes = book.conditions.text("note")
    return [NotedChange(as_date(days[row]), " ".join(str(notes[row]).split())) for row in rows]


INJECTED_CO2_MG_L = 10.0
"""A tank given more CO2 than this is taken to be supplied with it."""


@finite_answer
def watch_growth(book: Book, on: date, tanks: IntArray) -> WatchReport:
    """Watch the growth of some tanks (R,) of a book as known on a day.

    Parameters
    ----------
    book : Book
        A checked book, without log rows after ``on``.
    on : date
        Day on which the watch stands.
    tanks : int array (R,)
        Places of the tanks to report on. All tanks of the book set what is usual and are compared.

    Returns
    -------
    WatchReport
        Per tank a verdict, or how many visits are missing before one can be given.
    """
    on_day = day_number(on)
    counts = readings.visit_counts(book, on_day)
    ids = book.tanks.text("tank_id").tolist()
    with threadpool_limits(limits=1, user_api="blas"):
        origin, ready, not_fitted = readings.ready_cases(book, on_day)
        across = _across(book, list(ready.values()), tanks)
        watched = [
            _tank_watch(book, ready[k], int(counts[k]), across, on_day)
            if k in ready
            else TankWatch(str(ids[k]), "too few visits", int(counts[k]))
            for k in tanks.tolist()
        ]
        species = _species_lately([case for case in ready.values() if case.tank in tanks], on_day)
    return WatchReport(
        on=on,
        usual_until=None if origin is None else as_date(origin - 1.0),
        false_alarms_a_year=sum(rate for both in judge.ALARMS_A_YEAR.values() for rate in both),
        tanks=tuple(watched),
        species=species,
        across=tuple(finding for finding, _ in across),
        not_fitted=not_fitted,
    )


def _tank_watch(
    book: Book,
    case: readings.TankCase,
    visits: int,
    across: list[tuple[Finding, int]],
    on_day: float,
) -> TankWatch:
    """Judge one tank; areas of a species that changed across tanks are left to that finding."""
    design = case.design
    species = {place for _, place in across}
    limits = judge.limits_of(case)
    findings = tuple(
        _of_tank(book, case, verdict)
        for verdict in judge.judge_tank(case, limits)
        if verdict.kind != "area" or int(design.species[verdict.place]) not in species
    )
    course = judge.course_of_tank(case)
    tank_id = str(design.tank_id[case.tank])
    changed = changes_between(book, tank_id, case.evidence.origin_day, on_day)
    return TankWatch(
        tank_id=tank_id,
        status="look" if findings else "as usual",
        visits=visits,
        recent=judge.recent_growth(case, course, on_day),
        course=course,
        findings=findings,
        areas=_areas_lately(book, case, on_day),
        drop_seen=judge.power_of(case, limits),
        changed_on=tuple(change.on for change in changed),
    )


def _finding(
    book: Book, design: Design, verdict: judge.Verdict, tanks: list[int], **known: Any
) -> Finding:
    """Return what is found of tanks, of one of their areas or of a species."""
    area_id = species_id = name = ""
    if verdict.kind == "area":
        area_id = str(design.area_id[verdict.place])
        species_id = str(design.species_id[design.species[verdict.place]])
        name = area_label(book.areas, verdict.place)
    elif verdict.kind == "species":
        species_id = str(design.species_id[verdict.place])
        name = str(design.priors.common_name[verdict.place]) or species_id
    early, middle, late = (as_date(float(np.floor(day))) for day in verdict.since_day)
    low, usual, high = np.maximum(1.0 + verdict.change.size_share, 0.0).tolist()
    return Finding(
        kind=verdict.kind,
        tank_ids=tuple(str(design.tank_id[tank]) for tank in tanks),
        area_id=area_id,
        species_id=species_id,
        name=name,
        since=(early, middle, late),
        noticed_on=as_date(verdict.noticed_day),
        growth_share=(low, usual, high),
        **known,
    )


def _of_tank(book: Book, case: readings.TankCase, verdict: judge.Verdict) -> Finding:
    """Return what is found of a tank or an area, with what its conditions tell of it."""
    tank_id, since = str(case.design.tank_id[case.tank]), verdict.since_day
    design, names = case.design, case.design.area_id
    co2_mg_l = book.latest_condition("co2_mg_l", tank_id, verdict.noticed_day)
    noted = changes_between(book, tank_id, since[0] - NEAR_D, since[2])
    return _finding(
        *(book, design, verdict, [case.tank]),
        also=tuple("" if kind == "tank" else str(names[p]) for kind, p in verdict.also),
        alone=case.areas.size == 1,
        has_co2=co2_mg_l > INJECTED_CO2_MG_L,
        noted=noted[-1] if noted else None,
    )


def _across(
    book: Book, cases: list[readings.TankCase], tanks: IntArray
) -> list[tuple[Finding, int]]:
    """Species that changed across tanks, with their places."""
    if not cases:
        return []
    design, found = cases[0].design, []
    for place in distinct(design.species).tolist():
        home = [case.tank for case in cases if (design.species[case.areas] == place).any()]
        verdict = judge.judge_species(cases, design.species, place)
        if verdict is not None and np.isin(home, tanks).any():
            found.append((_finding(book, design, verdict, home), place))
    return found


def _species_lately(cases: list[readings.TankCase], on_day: float) -> tuple[SpeciesGrowth, ...]:
    """Growth of each species over its tanks in the last 28 days."""
    listed = []
    for place in distinct(cases[0].design.species).tolist() if cases else ():
        theirs = (case.design.species[case.evidence.area] == place for case in cases)
        shown = map(readings.growth_lately, cases, repeat(on_day), theirs)
        if parts := [part for part in shown if part is not None]:
            species_id = str(cases[0].design.species_id[place])
            listed.append(
                SpeciesGrowth(species_id, len(parts), readings.joined(parts).point(on_day))
            )
    return tuple(listed)


def _areas_lately(book: Book, case: readings.TankCase, on_day: float) -> tuple[AreaGrowth, ...]:
    """Growth of each area of a tank over the last 28 days, where its readings tell it."""
    listed = []
    for area in case.areas.tolist():
        if index := readings.growth_lately(case, on_day, case.evidence.area == area):
            area_id, label = str(case.design.area_id[area]), area_label(book.areas, area)
            listed.append(AreaGrowth(area_id, label, index.point(on_day)))
    return tuple(listed)
