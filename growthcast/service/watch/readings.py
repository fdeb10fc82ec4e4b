"""Each tank's readings made ready to be judged, slips aside, against the usual wander of paces."""

from __future__ import annotations

from dataclasses import field, replace
from datetime import date
from itertools import product
from typing import ClassVar

import numpy as np

from growthcast.arrays import BoolArray, FloatArray, IntArray, day_numbers, distinct
from growthcast.book.book import Book
from growthcast.cache import recall, tables_of
from growthcast.fit.design import Design
from growthcast.fit.foreseen import Evidence, Foreseen, Wander, doubts_of, evidence_under
from growthcast.fit.growth import known_before, recalled_fit
from growthcast.forecast.report import as_date
from growthcast.log.visits import log_visits
from growthcast.nouns import dataclass
from growthcast.plain import HIDDEN, by_quantile
from growthcast.service.watch.scan import Course, course_of, slips_set_aside, whitened

USUAL_WANDER = Wander(tank=0.12, area=0.12)
"""What learning leans on: a tank and an area each wander by an eighth (an estimate)."""
LEANING = 0.5
"""Spread of the logarithm of either wander around the usual one."""
TANK_GRID, AREA_GRID = (0.03, 0.06, 0.1, 0.15, 0.2, 0.27), (0.06, 0.1, 0.15, 0.22)
LARGEST = 3.0
LONGEST_WATCH_D = 182.0
"""Days that are watched at most; what lies before them sets what is usual."""
LEARNT_SHARE = 1.0 / 3.0
"""First share of a shorter log that only sets what is usual."""


def origin_of(book: Book, on_day: float) -> float | None:
    """Return the day from which the log is watched.

    Parameters
    ----------
    book : Book
        A checked book.
    on_day : float
        Day up to which it is known [day number].

    Returns
    -------
    float or None
        Half a year before ``on_day``, or after the first third of a shorter log [day number]; None
        without a log.
    """
    days = day_numbers(book.trims.date("date"))
    if not days.size:
        return None
    first = float(days.min())
    learnt = np.ceil(first + LEARNT_SHARE * (on_day - first))
    return float(max(on_day - LONGEST_WATCH_D, learnt))


def gather_evidence(book: Book, on_day: float, origin_day: float) -> Evidence:
    """Compare the readings from the origin to ``on_day`` with what was foreseen before each.

    Parameters
    ----------
    book : Book
        A checked book, without log rows after ``on_day``.
    on_day, origin_day : float
        Day numbers (days since 1970-01-01) [d]; what is usual is learnt before the second.

    Returns
    -------
    Evidence
        All areas keep their places in the book. An area planted after the origin has the rate its
        tank, species and the table give it, with their doubt.
    """
    earlier = replace(known_before(book, origin_day), areas=book.areas)
    usual = recalled_fit(earlier, as_date(origin_day - 1.0))
    return evidence_under(usual, book, as_date(on_day), origin_day)


def wander_before(book: Book, origin_day: float) -> Wander:
    """Learn how far paces wander from the log before ``origin_day``, forecast in the same way.

    Parameters
    ----------
    book : Book
        A checked book.
    origin_day : float
        Day from which the log is watched; nothing from it on is used [day number].

    Returns
    -------
    Wander
        The usual one where there is too little log to learn from.
    """
    earlier = replace(known_before(book, origin_day), areas=book.areas)
    origin = origin_of(earlier, origin_day - 1.0)
    if origin is None:
        return USUAL_WANDER
    return recall(
        lambda: learn_wander(gather_evidence(earlier, origin_day - 1.0, origin)),
        *("wander", tables_of(earlier), origin_day),
    )


def learn_wander(evidence: Evidence) -> Wander:
    """Return the wander under which the readings of all tanks are likeliest, leaning on the usual.

    Parameters
    ----------
    evidence : Evidence
        Readings of all tanks, each against what was foreseen before it.

    Returns
    -------
    Wander
        The mean of a grid over both spreads, each weighed by its likelihood and a lognormal prior.
    """
    grid, usual = np.array([*product(TANK_GRID, AREA_GRID)]), (USUAL_WANDER.tank, USUAL_WANDER.area)
    pairs = [Wander(*pair) for pair in grid.tolist()]
    score = -0.5 * ((np.log(grid / usual) / LEANING) ** 2).sum(axis=1)
    for tank in distinct(evidence.tank).tolist():
        mine = evidence.of(evidence.tank == tank)
        doubts = doubts_of(mine, tank)
        known = doubts.under(USUAL_WANDER)
        _, slipped = slips_set_aside(known, mine.grown_cm, mine.area, mine.day)
        if slipped.all():
            continue
        if slipped.any():
            doubts = doubts_of(mine.of(~slipped), tank)
        score += _log_likelihoods([doubts.under(pair) for pair in pairs])
    weight = np.exp(score - score.max())
    weight /= weight.sum()
    return Wander(*np.exp(weight @ np.log(grid)).tolist())


def _log_likelihoods(each: list[Foreseen]) -> FloatArray:
    """Log likelihoods of surprises, none of them taken as further off than three deviations."""
    root, apart = whitened(
        np.stack([known.covariance for known in each]),
        np.stack([known.surprise_cm - known.mean_cm for known in each]),
    )
    squares = np.clip(apart, -LARGEST, LARGEST) ** 2
    log_size = np.log(np.diagonal(root, axis1=1, axis2=2)).sum(axis=1)
    told: FloatArray = -0.5 * squares.sum(axis=1) - log_size
    return told


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
    spans = span_days(book)
    cases = [_tank_case(evidence, tank, spans, wander) for tank in range(len(book.tanks))]
    slipped = [case.evidence.of(case.slipped) for case in cases if case and case.slipped.any()]
    slips = frozenset(
        pair for one in slipped for pair in zip(one.area.tolist(), one.day.tolist(), strict=True)
    )
    if slips:
        evidence = evidence_under(evidence.usual, book, as_date(on_day), origin_day, slips)
        for tank in {int(one.tank[0]) for one in slipped}:  # nothing is new of the others
            cases[tank] = _tank_case(evidence, tank, spans, wander)
    return [case for case in cases if case is not None], evidence.not_fitted


def span_days(book: Book) -> list[FloatArray]:
    """Return the days on which growth could be read.

    Parameters
    ----------
    book : Book
        A checked book.

    Returns
    -------
    list of array (n,)
        For every area of the book its days, ascending [day numbers].
    """
    visits = log_visits(book)
    visits = visits.keep(visits.follows)
    order = np.argsort(visits.area, kind="stable")
    ends = np.searchsorted(visits.area[order], np.arange(1, len(book.areas)))
    return np.split(visits.day[order], ends)


def _tank_case(
    evidence: Evidence, tank: int, span_days: list[FloatArray], wander: Wander
) -> TankCase | None:
    """Prepare one tank's readings, None where there are none.

    ``span_days`` gives, for each area of the book, the days on which growth could be read.
    """
    mine = evidence.of(evidence.tank == tank)
    if not mine.area.size:
        return None
    areas = distinct(mine.area)
    suspects = np.concatenate([np.ones((1, mine.area.size), bool), areas[:, None] == mine.area])
    ready = [_nth(_days_of_tank(evidence.usual.design.tank, tank, span_days), SPANS_BEFORE)]
    own = [_nth(span_days[area], OWN_SPANS_BEFORE) for area in areas.tolist()]
    ready += [max(ready[0], day) for day in own]
    open_week = mine.bin_day >= np.maximum(np.array(ready), evidence.origin_day)[:, None]
    if areas.size == 1:
        suspects, open_week = suspects[:1], open_week[:1]
    known = doubts_of(mine, tank).under(wander)
    known, slipped = slips_set_aside(known, mine.grown_cm, mine.area, mine.day)
    course = course_of(known, mine.grown_cm, suspects, mine.day, open_week)
    days = float(mine.day[-1] - evidence.origin_day)
    return TankCase(tank, mine, known, areas, course, days, slipped)


def _days_of_tank(tank_of: IntArray, tank: int, span_days: list[FloatArray]) -> FloatArray:
    theirs = [span_days[area] for area in np.flatnonzero(tank_of == tank).tolist()]
    return distinct(np.concatenate([np.zeros(0), *theirs]))


def _nth(days: FloatArray, count: int) -> float:
    """The day by which so many days had passed, infinite where there are fewer."""
    return float(days[count - 1]) if days.size >= count else np.inf


RECENT_D = 28.0
EIGHTY, NINETY_FIVE = 1.2815515655446004, 1.959963984540054
LEAST_INDEX_INFORMATION = 1.0


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


VISITS_NEEDED = SPANS_BEFORE + 1


def visit_counts(book: Book, on_day: float) -> IntArray:
    """Count the visits to each tank that told of growth since the visit before.

    Parameters
    ----------
    book : Book
        A checked book.
    on_day : float
        Day up to which they count [day number].

    Returns
    -------
    int array (K,)
        Days with such a visit.
    """
    tank = book.areas.places("tank_id", book.tanks.text("tank_id"))
    spans = span_days(book)
    told = (_days_of_tank(tank, k, spans) for k in range(len(book.tanks)))
    return np.array([(days <= on_day).sum() for days in told], dtype=np.int64)


def ready_cases(
    book: Book, on_day: float
) -> tuple[float | None, dict[int, TankCase], dict[str, str]]:
    """Return the tanks that can be judged.

    Parameters
    ----------
    book : Book
        A checked book, without log rows after ``on_day``.
    on_day : float
        The day [day number].

    Returns
    -------
    tuple
        The day from which the log is watched [day number], None where no tank has visits enough;
        the tanks by place; ids of tanks whose log cannot be fitted, with why.
    """
    origin, counts = origin_of(book, on_day), visit_counts(book, on_day)
    if origin is None or counts.max(initial=0) < VISITS_NEEDED:
        return None, {}, {}
    cases, not_fitted = gather_cases(book, on_day, origin)
    ready = {case.tank: case for case in cases if counts[case.tank] >= VISITS_NEEDED}
    return origin, ready, not_fitted
