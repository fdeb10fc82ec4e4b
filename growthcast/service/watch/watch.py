"""Growth of a practice against what was forecast before each visit, and what has changed."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import numpy as np
from numpy.typing import NDArray
from threadpoolctl import threadpool_limits

from growthcast.book.book import Book
from growthcast.fit.design import day_number
from growthcast.forecast.report import as_date
from growthcast.service.watch.cases import (
    SPANS_BEFORE,
    Index,
    TankCase,
    gather_cases,
    growth_index,
    span_days,
)
from growthcast.service.watch.foreseen.evidence import origin_of
from growthcast.service.watch.judge import (
    ALARMS_A_YEAR,
    Verdict,
    judge_species,
    judge_tank,
)
from growthcast.service.watch.report import (
    Finding,
    IndexPoint,
    SpeciesGrowth,
    TankWatch,
    WatchReport,
)
from growthcast.service.watch.suspects import (
    INJECTED_CO2_MG_L,
    recorded_change,
    suspects_for,
    tank_co2_mg_l,
)

__all__ = ["VISITS_NEEDED", "watch_growth"]

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

VISITS_NEEDED = SPANS_BEFORE + 1
RECENT_D = 28.0
EIGHTY, NINETY_FIVE = 1.2815515655446004, 1.959963984540054


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
    counts = _visit_counts(book, on_day)
    ids = book.tanks.text("tank_id")
    origin = origin_of(book, on_day)
    rate = float(sum(ALARMS_A_YEAR.values()))
    if origin is None or counts.max(initial=0) < VISITS_NEEDED:
        waiting = tuple(_waiting(str(ids[k]), int(counts[k])) for k in tanks.tolist())
        return WatchReport(on, None, rate, waiting, (), ())
    with threadpool_limits(limits=1, user_api="blas"):
        cases = gather_cases(book, on_day, origin)
        ready = {case.tank: case for case in cases if counts[case.tank] >= VISITS_NEEDED}
        across = _across(book, list(ready.values()), tanks)
        watched = []
        for k in tanks.tolist():
            case = ready.get(k)
            watched.append(
                _waiting(str(ids[k]), int(counts[k]))
                if case is None
                else _tank_watch(book, case, int(counts[k]), across, on_day)
            )
        species = _species_growth(list(ready.values()), tanks, on_day)
    return WatchReport(
        on=on,
        usual_until=as_date(origin - 1.0),
        false_alarms_a_year=rate,
        tanks=tuple(watched),
        species=species,
        across=tuple(finding for finding, _ in across),
    )


def _visit_counts(book: Book, on_day: float) -> IntArray:
    """Visits (K,) of each tank by a day that told of growth since the visit before."""
    index = {name: place for place, name in enumerate(book.tanks.text("tank_id").tolist())}
    tank = np.array([index[name] for name in book.areas.text("tank_id").tolist()], dtype=np.int64)
    told = [np.concatenate([np.zeros(0), *spans.values()]) for spans in span_days(book, tank)]
    return np.array([np.unique(days[days <= on_day]).size for days in told], dtype=np.int64)


def _waiting(tank_id: str, visits: int) -> TankWatch:
    """Return a tank that cannot be judged yet."""
    said = (
        f"not enough visits yet: {visits} of {VISITS_NEEDED} that tell how much was grown since "
        "the visit before"
    )
    if visits >= VISITS_NEEDED:
        said = "no visit lately tells how much was grown, so there is nothing to judge"
    return TankWatch(tank_id, "too few visits", visits, VISITS_NEEDED, None, (), (), said)


def _tank_watch(
    book: Book,
    case: TankCase,
    visits: int,
    across: list[tuple[Finding, int]],
    on_day: float,
) -> TankWatch:
    """Judge one tank; areas of a species that changed across tanks are left to that finding."""
    design = case.design
    species = {place for _, place in across}
    findings = tuple(
        _finding(book, case, verdict)
        for verdict in judge_tank(case)
        if verdict.kind != "area" or int(design.species[verdict.place]) not in species
    )
    days = case.evidence.day
    course = [_point(case, np.flatnonzero(days == day), day) for day in np.unique(days).tolist()]
    recent = _point(case, np.flatnonzero(days > on_day - RECENT_D), on_day)
    if recent is None:
        recent = next((point for point in reversed(course) if point is not None), None)
    said = "; ".join(finding.sentence for finding in findings) or "grows as usual"
    return TankWatch(
        tank_id=str(design.tank_id[case.tank]),
        status="look" if findings else "as usual",
        visits=visits,
        visits_needed=VISITS_NEEDED,
        recent=recent,
        course=tuple(point for point in course if point is not None),
        findings=findings,
        sentence=said,
    )


def _point(case: TankCase, rows: IntArray, day: float) -> IndexPoint | None:
    found = growth_index(case, rows)
    return None if found is None else _index_point(found, as_date(day))


def _index_point(found: Index, on: date) -> IndexPoint:
    """Growth is never below nothing, whatever a reading's error makes of it."""
    return IndexPoint(
        on=on,
        growth=max(found.share, 0.0),
        low=max(found.share - EIGHTY * found.sd, 0.0),
        high=max(found.share + EIGHTY * found.sd, 0.0),
        usual_low=max(1.0 - NINETY_FIVE * found.usual_sd, 0.0),
        usual_high=1.0 + NINETY_FIVE * found.usual_sd,
    )


def _finding(book: Book, case: TankCase, verdict: Verdict) -> Finding:
    """Put a verdict on a tank or an area into words."""
    design = case.design
    tank_id = str(design.tank_id[case.tank])
    is_area = verdict.kind == "area"
    label = str(book.areas.text("label")[verdict.place] or "") if is_area else ""
    area_id = str(design.area_id[verdict.place]) if is_area else ""
    name = (label or area_id) if is_area else "the whole tank"
    has_co2 = tank_co2_mg_l(book, tank_id, verdict.noticed_day) > INJECTED_CO2_MG_L
    alone = case.areas.size == 1
    suspects = suspects_for(
        verdict.kind, slower=_share(verdict)[1] < 1.0, has_co2=has_co2, alone=alone
    )
    noted = recorded_change(book, tank_id, verdict.since_day[0], verdict.since_day[2])
    also = tuple(
        "the whole tank" if kind == "tank" else str(design.area_id[place])
        for kind, place in verdict.also
    )
    return _worded(
        Finding(
            kind=verdict.kind,
            tank_ids=(tank_id,),
            area_id=area_id,
            species_id=str(design.species_id[design.species[verdict.place]]) if is_area else "",
            name="its only area" if alone else name,
            since=_dates(verdict.since_day),
            noticed_on=as_date(verdict.noticed_day),
            growth_share=_share(verdict),
            sentence="",
            also=also,
            suspects=(noted, *suspects) if noted else suspects,
        )
    )


def _worded(finding: Finding) -> Finding:
    """Say in one sentence who grows how, since when."""
    low, middle, high = (100 * share for share in finding.growth_share)
    early, usual, late = finding.since
    verb = "grow" if finding.kind == "species" else "grows"
    said = (
        f"{finding.name} {verb} at {middle:.0f} % of the usual (8 of 10 times {low:.0f} to "
        f"{high:.0f} %) since about {usual} ({early} to {late})"
    )
    return replace(finding, sentence=said)


def _share(verdict: Verdict) -> tuple[float, float, float]:
    low, middle, high = (max(1.0 + float(size), 0.0) for size in verdict.change.size_share)
    return low, middle, high


def _dates(days: FloatArray) -> tuple[date, date, date]:
    early, middle, late = (as_date(float(np.floor(day))) for day in days)
    return early, middle, late


def _across(book: Book, cases: list[TankCase], tanks: IntArray) -> list[tuple[Finding, int]]:
    """Species that changed across tanks, with their places."""
    if not cases:
        return []
    design = cases[0].design
    found = []
    for place in np.unique(design.species).tolist():
        verdict = judge_species(cases, design.species, place)
        if verdict is None:
            continue
        home = [case.tank for case in cases if (design.species[case.areas] == place).any()]
        if not np.isin(home, tanks).any():
            continue
        species_id = str(design.species_id[place])
        names = dict(
            zip(
                book.species.text("species_id").tolist(),
                book.species.text("common_name").tolist(),
                strict=True,
            )
        )
        share = _share(verdict)
        finding = Finding(
            kind="species",
            tank_ids=tuple(str(design.tank_id[tank]) for tank in home),
            area_id="",
            species_id=species_id,
            name=f"all areas of {names.get(species_id) or species_id}",
            since=_dates(verdict.since_day),
            noticed_on=as_date(verdict.noticed_day),
            growth_share=share,
            sentence="",
            also=(),
            suspects=suspects_for("species", slower=share[1] < 1.0, has_co2=False, alone=False),
        )
        found.append((_worded(finding), place))
    return found


def _species_growth(
    cases: list[TankCase], tanks: IntArray, on_day: float
) -> tuple[SpeciesGrowth, ...]:
    """Recent growth of each species over its tanks, each weighed by how well it is known."""
    listed: list[SpeciesGrowth] = []
    mine = [case for case in cases if case.tank in tanks]
    if not mine:
        return ()
    design = mine[0].design
    for place in np.unique(design.species).tolist():
        parts = []
        for case in mine:
            rows = (case.evidence.day > on_day - RECENT_D) & (
                design.species[case.evidence.area] == place
            )
            if (found := growth_index(case, np.flatnonzero(rows))) is not None:
                parts.append(found)
        if not parts:
            continue
        weight = np.array([part.sd**-2 for part in parts])
        weight /= weight.sum()
        joined = Index(
            share=float(weight @ [part.share for part in parts]),
            sd=float(np.sqrt((weight**2) @ [part.sd**2 for part in parts])),
            usual_sd=float(np.sqrt((weight**2) @ [part.usual_sd**2 for part in parts])),
        )
        point = _index_point(joined, as_date(on_day))
        listed.append(SpeciesGrowth(str(design.species_id[place]), len(parts), point))
    return tuple(listed)
