"""Books typed as people type them: are they fitted, how far off are they, is the promise kept?

``python -m tests.benchmarks.typed`` simulates practices of nine tanks whose logs, a week to four
months long, are typed in each of the simulator's styles (``tests.simulator.STYLES``), with missed
visits, replantings, first looks, slips and a tank set up last week. By style it prints:

- books fitted: every height ahead of every area is finite, and numpy had nothing to warn of;
- CRPS of heights 7, 14 and 28 days ahead over the height budget, against the simulated truth with
  no further trim, and how often the truth lies in the range that holds it 8 times in 10;
- what the weights of whole tanks did: CRPS with them less that of the same book without them, over
  all three horizons, with its standard error over books (above 0: they made heights worse);
- visits found with an area over: each tank is cut to the heights advised when it is next due by its
  habit and twice more at the recommended interval. The first of these visits comes from the habit's
  heights, the second from those of the rhythm, which is what is promised; beside it the promise.

At the end, looks alone for three months: what is said the day after "right" everywhere.

``--books N`` of each style (40), ``--styles``, ``--processes N``; 40 books of every style take some
four minutes of one core. With ``--loose`` people and plants differ from the book as much as the fit
believes they may: where areas are cut to, how their hands err, what a cut costs, how long plants
settle. All of it is invented.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
import warnings
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from copy import deepcopy
from dataclasses import dataclass, field, replace
from datetime import timedelta
from functools import reduce
from operator import add
from pathlib import Path

import numpy as np

from growthcast.book.book import Book
from growthcast.book.read import read_book
from growthcast.fit.design import day_number
from growthcast.fit.growth import fit_growth
from growthcast.fit.result import GrowthFit
from growthcast.forecast.heights import LEVELS, forecast_heights
from growthcast.service.recommend import recommend
from tests.recovery.following import Followed, judge, visit_as_advised
from tests.scoring import crps
from tests.simulator import STYLES, Course, Richness, Style, keep_habits, typed_plan
from tests.simulator.truth import SimulatedPractice

TANKS, DAYS, AHEAD_D, VISITS = 9, (7, 120, 30, 90, 14, 60), (7, 14, 28), 2
FIRST_SEED, LOOKS_D = 1001, 90
LOW, MIDDLE, HIGH = (LEVELS.index(level) for level in (0.1, 0.5, 0.9))
LOOSE = {"habit_spread": 0.2, "hand_spread": 0.15, "lag_drawn": True, "settle_spread": 0.5}
LOOKED_AT = Style(cut={"look": 1.0}, uncut={"look": 1.0})


@dataclass(frozen=True)
class Typed:
    """What came of one book; NaN where it was not fitted.

    ``crps`` and ``inside`` (3,): means over the living areas at each horizon, CRPS over budget;
    ``bucket``: CRPS with the weights of whole tanks less that without them, NaN without any.
    """

    fitted: bool
    fault: str
    crps: np.ndarray
    inside: np.ndarray
    bucket: float
    first: Followed = field(default_factory=Followed)
    second: Followed = field(default_factory=Followed)


def typed(style: str, number: int, loose: bool = False) -> Typed:
    """Type, fit and follow one book of a style."""
    seed, days = FIRST_SEED + number, DAYS[number % len(DAYS)]
    plan = typed_plan(style, TANKS, days, seed)
    course = Course(plan, seed, Richness.typed(**(LOOSE if loose else {})))
    keep_habits(course, days + 1)
    practice, uncut = course.practice(), deepcopy(course)
    for _ in range(max(AHEAD_D)):
        uncut.grow()
    truth = uncut.practice()
    nothing = np.full(len(AHEAD_D), np.nan)
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("error")
            book, fit = _fitted(practice)
            scores, inside = _scored(fit, truth)
            visits = _followed(course, book, fit)
    except Exception as fault:  # noqa: BLE001 - a book that is not fitted is what is counted
        return Typed(False, f"{type(fault).__name__}: {fault}", nothing, nothing, np.nan)
    if not np.isfinite(scores).all():
        return Typed(False, "heights are not finite", nothing, nothing, np.nan)
    bucket = np.nan
    if (bare := without_buckets(practice)).log != practice.log:
        bucket = float((scores - _scored(_fitted(bare)[1], truth)[0]).mean())
    return Typed(True, "", scores.mean(axis=0), inside.mean(axis=0), bucket, *visits)


def without_buckets(practice: SimulatedPractice) -> SimulatedPractice:
    """Return the practice without the weights of whole tanks."""
    rows = [row if row.area_id else replace(row, removed_g=None) for row in practice.log]
    kept = tuple(row for row in rows if row.area_id or row.minutes or row.note)
    return replace(practice, log=kept)


def _fitted(practice: SimulatedPractice) -> tuple[Book, GrowthFit]:
    on = practice.plan.last_on
    with tempfile.TemporaryDirectory() as folder:
        book = read_book(practice.write_book(Path(folder)), on=on, today=on)
    return book, fit_growth(book, on)


def _scored(fit: GrowthFit, practice: SimulatedPractice) -> tuple[np.ndarray, np.ndarray]:
    """CRPS over budget of living areas, and whether 8 of 10 hold the truth, each (A, 3)."""
    design, last_on = fit.design, practice.plan.last_on
    areas = np.flatnonzero(design.alive)
    then = [last_on + timedelta(days=d) for d in AHEAD_D]
    foreseen = forecast_heights(fit, areas, np.array([float(day_number(on)) for on in then]))
    names = design.area_id[areas]
    truth = np.array([[practice.truth.height(name, on) for on in then] for name in names])
    budget = design.traits.budget_cm[areas][:, None]
    low, high = foreseen.height_cm[..., LOW], foreseen.height_cm[..., HIGH]
    return crps(foreseen.height_cm, truth) / budget, (low <= truth) & (truth <= high)


def _followed(course: Course, book: Book, fit: GrowthFit) -> tuple[Followed, ...]:
    """Cut tanks as advised from when they are next due, and judge the visits that follow."""
    places = range(len(course.plan.tanks))
    advice, followed = recommend(book, fit), tuple(Followed(tanks=TANKS) for _ in range(VISITS))
    due, promises = _next_due(course), [None] * len(places)
    seen = [0] * len(places)
    while min(seen) <= VISITS:
        for k in places:
            if course.row != due[k] or seen[k] > VISITS:
                continue
            if seen[k]:
                judge(course, k, promises[k], followed[seen[k] - 1])
            promises[k] = visit_as_advised(course, k, advice[k])
            due[k] += promises[k].option.interval_d
            seen[k] += 1
        course.grow()
    return followed


def _next_due(course: Course) -> list[int]:
    """Rows of the days on which tanks are next due by habit, this morning at the earliest."""
    visited, first_on = course.practice().truth.visited, course.plan.first_on
    return [
        max([course.row, *((on - first_on).days + tank.interval_d for on in visited[tank.tank_id])])
        for tank in course.plan.tanks
    ]


def looked_at(number: int) -> tuple[int, int, int]:
    """Tanks all of whose areas looked right on the last day of a log of looks.

    How many there are, in how many the median of some area lies outside its bounds the day after,
    and in how many some area is over at a chance above a half.
    """
    seed = FIRST_SEED + number
    plan = typed_plan("looks", TANKS, LOOKS_D, seed)
    tanks = tuple(replace(tank, agreed=(*tank.agreed, plan.last_on)) for tank in plan.tanks[:-1])
    plan = replace(plan, tanks=(*tanks, plan.tanks[-1]), styles=(LOOKED_AT,))
    course = Course(plan, seed, Richness.typed(silent_area_share=0.0, missing_row_share=0.0))
    keep_habits(course, LOOKS_D + 1)
    practice = course.practice()
    looks: dict[str, set[str]] = {}
    for row in practice.log:
        if row.on == plan.last_on and row.area_id:
            looks.setdefault(row.tank_id, set()).add(row.look)
    right = [tank for tank, words in looks.items() if words == {"right"}]
    _, fit = _fitted(practice)
    design = fit.design
    home = design.tank_id[design.tank].astype(str)
    areas = np.flatnonzero(design.alive & np.isin(home, right))
    after = forecast_heights(fit, areas, np.array([design.on_day + 1.0]))
    middle = after.height_cm[:, 0, MIDDLE]
    traits = design.traits
    outside = (middle > traits.budget_cm[areas]) | (middle < traits.floor_cm[areas])
    outside |= ~np.isfinite(middle)
    over = after.chance_over_budget[:, 0] > 0.5
    return len(right), len(set(home[areas[outside]])), len(set(home[areas[over]]))


def line_of(style: str, books: Sequence[Typed]) -> str:
    """One line of the table."""
    fitted = [book for book in books if book.fitted]
    head = f"{style:8s} {len(fitted):3d} of {len(books):3d}"
    if not fitted:
        return head
    scores = 100.0 * np.mean([book.crps for book in fitted], axis=0)
    inside = 100.0 * np.mean([book.inside for book in fitted], axis=0)
    bucket = 100.0 * np.array([book.bucket for book in fitted if np.isfinite(book.bucket)])
    error = bucket.std(ddof=1) / np.sqrt(bucket.size) if bucket.size > 1 else np.nan
    change = f"{bucket.mean():+5.2f} ± {error:4.2f}" if bucket.size else "-"
    first, second = (
        _over(reduce(add, [getattr(book, name) for book in fitted])) for name in ("first", "second")
    )
    return (
        f"{head}   {'/'.join(f'{s:4.1f}' for s in scores)}   "
        f"{'/'.join(f'{s:2.0f}' for s in inside)}   {change:>13s}   {first:18s}   {second}"
    )


def _over(followed: Followed) -> str:
    """Visits found with an area over, in percent, and the promise."""
    if not any(followed.feasible):
        return "-"
    kept, promised, visits = followed.kept_and_promised(feasible_only=True)
    error = np.sqrt(kept * (1.0 - kept) / visits)
    return f"{100 * (1 - kept):4.1f} ± {100 * error:3.1f} ({100 * (1 - promised):4.1f})"


def main(arguments: Sequence[str] | None = None) -> int:
    """Print the table, and why books were not fitted."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--books", type=int, default=40, help="books of each style")
    parser.add_argument("--styles", nargs="*", choices=list(STYLES), default=list(STYLES))
    parser.add_argument("--processes", type=int, default=1)
    parser.add_argument("--loose", action="store_true", help="people differ from their book")
    asked = parser.parse_args(arguments)
    numbers = range(asked.books)
    print("style    books fitted  CRPS 7/14/28 d   8 of 10   with - without  over, % (promised)")
    print("                       % of budget      hold, %   buckets, CRPS   first visit, second")
    with ProcessPoolExecutor(asked.processes) as pool:
        for style in asked.styles:
            kinds = [[kind] * asked.books for kind in (style, asked.loose)]
            books = list(pool.map(typed, kinds[0], numbers, kinds[1]))
            print(line_of(style, books), flush=True)
            for number, book in enumerate(books):
                if not book.fitted:
                    print(f"    book {number}: {book.fault}"[:160])
        tanks, outside, over = np.sum(list(pool.map(looked_at, numbers)), axis=0)
    print(
        f'Looks alone for {LOOKS_D} days, {tanks} tanks "right" everywhere: the day after, a '
        f"median outside its bounds in {outside}, some area more likely over than not in {over}."
    )
    return 0


if __name__ == "__main__":
    sys.exit(main())
