"""Every tank's readings, made ready to be judged."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from growthcast.arrays import BoolArray, FloatArray, IntArray
from growthcast.book.book import Book
from growthcast.fit.design import Design
from growthcast.fit.foreseen import Evidence, Foreseen, Wander, doubts_of, evidence_under
from growthcast.forecast.report import as_date
from growthcast.log.visits import log_visits
from growthcast.service.watch.scan import Course, course_of
from growthcast.service.watch.slips import slips_set_aside
from growthcast.service.watch.wander import gather_evidence, wander_before

SPANS_BEFORE = 4
"""Visits with growth to read that must lie before a change of a tank."""
OWN_SPANS_BEFORE = 3
"""The same for a change of a single area."""


@dataclass(frozen=True, slots=True)
class TankCase:
    """All that is known of a tank's readings (n,) since the origin."""

    tank: int
    evidence: Evidence
    known: Foreseen
    areas: IntArray
    course: Course
    days: float
    slipped: BoolArray

    @property
    def design(self) -> Design:
        """The book as arrays; areas, tanks and species have their places in it."""
        return self.evidence.usual.design


def gather_cases(
    book: Book, on_day: float, origin_day: float
) -> tuple[list[TankCase], dict[str, str]]:
    """Prepare every tank that has readings since the origin, in the order of tanks.csv.

    Parameters
    ----------
    book : Book
        A checked book, without log rows after ``on_day``.
    on_day, origin_day : float
        Days [day numbers]; what is usual, and how far it wanders, is learnt before the second.

    Returns
    -------
    cases : list of TankCase
        Readings that look like slips are set aside, and the forecasts after them do not start
        from them.
    not_fitted : dict of str
        Ids of tanks whose log cannot be fitted, and why.
    """
    wander = wander_before(book, origin_day)
    evidence = gather_evidence(book, on_day, origin_day)
    cases = _cases(book, evidence, wander)
    slips = frozenset(
        (area, day)
        for case in cases
        for area, day in zip(
            case.evidence.area[case.slipped].tolist(),
            case.evidence.day[case.slipped].tolist(),
            strict=True,
        )
    )
    if slips:
        evidence = evidence_under(evidence.usual, book, as_date(on_day), origin_day, slips)
        cases = _cases(book, evidence, wander)
    return cases, evidence.not_fitted


def _cases(book: Book, evidence: Evidence, wander: Wander) -> list[TankCase]:
    spans = span_days(book, evidence.usual.design.tank)
    cases = [_tank_case(evidence, tank, spans[tank], wander) for tank in range(len(spans))]
    return [case for case in cases if case is not None]


def span_days(book: Book, tank: IntArray) -> list[dict[int, FloatArray]]:
    """Days on which growth could be read, of every area (by place) of every tank."""
    visits = log_visits(book)
    visits = visits.keep(visits.follows)
    days = [
        {int(a): visits.day[visits.area == a] for a in np.flatnonzero(tank == k)}
        for k in range(len(book.tanks))
    ]
    return days


def _tank_case(
    evidence: Evidence, tank: int, span_days: dict[int, FloatArray], wander: Wander
) -> TankCase | None:
    """Prepare one tank's readings, None where there are none.

    ``span_days`` gives, for each area of the tank, the days on which growth could be read.
    """
    mine = evidence.of(evidence.tank == tank)
    if not mine.area.size:
        return None
    areas = np.unique(mine.area)
    suspects = np.concatenate([np.ones((1, mine.area.size), bool), areas[:, None] == mine.area])
    of_tank = np.unique(np.concatenate([np.zeros(0), *span_days.values()]))
    ready = [_nth(of_tank, SPANS_BEFORE)]
    ready += [
        max(ready[0], _nth(span_days.get(int(area), np.zeros(0)), OWN_SPANS_BEFORE))
        for area in areas.tolist()
    ]
    open_week = mine.bin_day >= np.maximum(np.array(ready), evidence.origin_day)[:, None]
    if areas.size == 1:
        suspects, open_week = suspects[:1], open_week[:1]
    known = doubts_of(mine, tank).under(wander)
    known, slipped = slips_set_aside(known, mine.grown_cm, mine.area, mine.day)
    course = course_of(known, mine.grown_cm, suspects, mine.day, open_week)
    days = float(mine.day[-1] - evidence.origin_day)
    return TankCase(tank, mine, known, areas, course, days, slipped)


def _nth(days: FloatArray, count: int) -> float:
    """The day by which so many days had passed, infinite where there are fewer."""
    return float(days[count - 1]) if days.size >= count else np.inf
