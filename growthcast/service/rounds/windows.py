"""When each tank is due, and what a late visit loses: chances day by day from the posterior.

Before the first visit a tank stands as the log left it; after a visit it is cut as its interval
asks. Both give the chance that an area is over its height on each later day; summed up over areas
and days that is what a late visit loses, in area-days over.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from growthcast.book.book import Book
from growthcast.fit.result import GrowthFit
from growthcast.fit.rows.drift import span_drift
from growthcast.fit.solver.linearise import CEILING, KNOTS, RATE
from growthcast.growth.logistic import shape_factor, stage
from growthcast.service.advice import TankAdvice
from growthcast.service.draws import stratified_normals
from growthcast.service.living import LivingAreas, living_areas
from growthcast.service.recommend import area_label
from growthcast.service.urgency import Due, Rhythm, rhythms

__all__ = ["Chances", "TankWindow", "tank_windows"]

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

AREAS_AT_ONCE = 1_000
GRID_D = (0, 1, 2, 3, 4, 5, 6, 7, 8, 10, 12, 14, 17, 21, 25, 28, 35, 42, 56, 84, 126, 182)
"""Days on which chances are worked out; between them they are drawn straight."""
STAGE_KEY = 9
"""Names the draws of the present stage among an area's draws (see ``service.draws``)."""


@dataclass(frozen=True, slots=True)
class Chances:
    """Chances of a tank on each day (L,), counted from the start of the plan or from a visit.

    Attributes
    ----------
    all_within : array (L,)
        Chance that every area stands inside its height [0-1].
    over : array (A, L)
        Chance of each area of standing over it [0-1].
    """

    all_within: FloatArray
    over: FloatArray

    def lost(self) -> FloatArray:
        """Area-days over (L,) expected before a visit on each day [d]."""
        a_day = self.over.sum(axis=0)
        lost: FloatArray = np.concatenate([[0.0], np.cumsum(a_day)[:-1]])
        return lost


@dataclass(frozen=True, slots=True)
class TankWindow:
    """What is known of one tank's visits before they are planned.

    Days count from the first day of the plan. ``now`` are the chances if nothing is cut from the
    log's last day on, ``after`` those after a visit of the recommended interval. A tank that is not
    to be planned is due after the plan; ``idle`` says why, or that only its own limit counts.

    Attributes
    ----------
    due_d : int
        Last day of the first visit; below 0 when it is overdue.
    due_by : str
        Whether that is by its rhythm, its chance or its own limit.
    interval_d : int
        Days from visit to visit.
    limit_d : int or None
        Last day of the first visit by the tank's own limit, where it has one [d].
    longest_d : int or None
        Days between visits that the tank itself allows at most, plants aside [d].
    """

    tank_id: str
    client: str
    site: str
    confidence: float
    interval_d: int
    due_d: int
    due_by: str
    limit_d: int | None
    longest_d: int | None
    feasible: bool
    minutes: float
    travel_min: float
    weekday: str
    visits_logged: int
    labels: tuple[str, ...]
    now: Chances
    after: Chances
    idle: str


def tank_windows(
    book: Book, fit: GrowthFit, advice: list[TankAdvice], from_day: float, days: int
) -> list[TankWindow]:
    """Work out for every tank when it is due and what coming late loses.

    Parameters
    ----------
    book : Book
        The book that was fitted.
    fit : GrowthFit
        Its fit.
    advice : list of TankAdvice
        The recommendation of every tank of the book, in its order.
    from_day : float
        First day of the plan [day number], on or after the day of the fit.
    days : int
        Days of the plan [d].

    Returns
    -------
    list of TankWindow
        In the order of the book.
    """
    travel, fixed = book.of_tanks("travel_min"), book.of_tanks("fixed_min")
    interval = np.array([_interval(one, book.practice.intervals_d) for one in advice])
    chances = _all_chances(fit, advice, interval, from_day, days)
    labels: dict[int, list[str]] = {}
    for area, tank in zip(
        np.flatnonzero(fit.design.stays).tolist(),
        fit.design.tank[fit.design.stays].tolist(),
        strict=True,
    ):
        labels.setdefault(tank, []).append(area_label(book, area))
    known = rhythms(book, fit, advice, from_day)
    return [
        _window(
            book,
            advice[tank],
            known[tank],
            chances.get(tank, _nothing_grows(days)),
            (float(fixed[tank]), float(travel[tank])),
            tuple(labels.get(tank, ())),
            tank,
        )
        for tank in range(len(advice))
    ]


def _interval(advice: TankAdvice, listed: tuple[int, ...]) -> int:
    """Return the recommended interval, or the shortest where none holds."""
    return advice.recommended_interval_d or min(advice.longest_interval_d, *listed)


def _nothing_grows(days: int) -> tuple[Chances, Chances]:
    empty = Chances(np.ones(days + 1), np.zeros((0, days + 1)))
    return empty, empty


def _window(
    book: Book,
    advice: TankAdvice,
    rhythm: Rhythm,
    chances: tuple[Chances, Chances],
    fixed_travel: tuple[float, float],
    labels: tuple[str, ...],
    tank: int,
) -> TankWindow:
    """Put one tank's window together."""
    tanks, (fixed, travel), days = book.tanks, fixed_travel, chances[0].all_within.size - 1
    logged = np.unique(book.trims.date("date")[book.trims.text("tank_id") == advice.tank_id])
    if rhythm.idle:
        labels, chances = (), _nothing_grows(days)
    now, after = chances
    due = rhythm.due(now.all_within, advice.confidence) or Due(days, "rhythm")
    own, interval_d = tanks.number("longest_interval_d")[tank], rhythm.interval_d
    limited = rhythm.planned and rhythm.limit_d is not None
    option = next((o for o in advice.options if o.interval_d == interval_d and labels), None)
    minutes = fixed if option is None else option.minutes_per_visit - travel
    return TankWindow(
        tank_id=advice.tank_id,
        client=advice.client,
        site=str(tanks.text("site")[tank]),
        confidence=advice.confidence,
        interval_d=interval_d,
        due_d=due.day_d,
        due_by=due.by,
        limit_d=rhythm.limit_d if limited else None,
        longest_d=int(own) if limited else None,
        feasible=advice.recommended_interval_d is not None or bool(rhythm.idle),
        minutes=max(minutes, 0.0),
        travel_min=travel,
        weekday=str(tanks.text("visit_weekday")[tank]),
        visits_logged=int(logged.size),
        labels=labels,
        now=now,
        after=after,
        idle=rhythm.idle,
    )


def _all_chances(
    fit: GrowthFit, advice: list[TankAdvice], interval: IntArray, from_day: float, days: int
) -> dict[int, tuple[Chances, Chances]]:
    """Chances of every tank in which something grows, by its place in the book."""
    grid = np.array([*(d for d in GRID_D if d < days), days])
    found: dict[int, tuple[Chances, Chances]] = {}
    for block in _blocks(fit, len(advice)):
        living = living_areas(fit, block)
        cut = np.concatenate([_cuts(advice[tank], int(interval[tank])) for tank in living.tank])
        before = [_over_now(fit, living, from_day + day) for day in grid]
        after = [_over_after(living, cut, int(day)) for day in grid]
        for run, tank in enumerate(living.tank.tolist()):
            here = living.run == run
            found[tank] = (
                _daily(grid, [over[here] for over in before]),
                _daily(grid, [over[here] for over in after]),
            )
    return found


def _blocks(fit: GrowthFit, tanks: int) -> Iterator[IntArray]:
    sizes = np.bincount(fit.design.tank[fit.design.stays], minlength=tanks)
    block = (np.cumsum(sizes) - sizes) // AREAS_AT_ONCE
    for number in np.unique(block):
        chosen = np.flatnonzero((block == number) & (sizes > 0))
        if chosen.size:
            yield chosen


def _cuts(advice: TankAdvice, interval_d: int) -> FloatArray:
    return np.array([area.cut_cm for area in advice.option(interval_d).areas])


def _daily(grid: IntArray, over: list[NDArray[np.bool_]]) -> Chances:
    """Chances of one tank on every day from what is over in each draw (A, D) on some days."""
    each = np.maximum.accumulate(np.stack([one.mean(axis=1) for one in over], axis=1), axis=1)
    within = np.minimum.accumulate(np.array([1.0 - one.any(axis=0).mean() for one in over]))
    daily = np.arange(grid[-1] + 1)
    return Chances(
        all_within=np.interp(daily, grid, within),
        over=np.stack([np.interp(daily, grid, row) for row in each]),
    )


def _over_after(living: LivingAreas, cut_cm: FloatArray, day: int) -> NDArray[np.bool_]:
    """Whether each area stands over its budget so many days after a cut, in each draw, (A, D)."""
    if day == 0:
        return np.zeros(living.draws.hand.shape, np.bool_)
    way = living.stage_of(living.budget_cm) - living.stage_after_cut(cut_cm)
    growth, _ = living.growth_after_cut(float(day))
    over: NDArray[np.bool_] = way < growth
    return over


def _over_now(fit: GrowthFit, living: LivingAreas, day: float) -> NDArray[np.bool_]:
    """Whether each area stands over its budget on a day if nothing was cut since the log, (A, D).

    The present stage goes with the rate, the ceiling and the drift of the same draw, as far as the
    posterior ties it to them; what is left has draws of its own.
    """
    posterior, draws = fit.posterior(living.area), living.draws
    kept = np.array([RATE, CEILING, *range(KNOTS, posterior.border.shape[0])])
    moved = np.concatenate(
        [
            draws.log_rate[None],
            np.log(draws.ceiling_cm)[None],
            np.moveaxis(draws.knots, 1, 0)[:, living.run],
        ]
    )
    moved = moved - moved.mean(axis=2, keepdims=True)
    covariance = posterior.covariance[:, kept[:, None], kept]
    follows = posterior.stage_follows.T
    shared = np.einsum("nij,nj->ni", posterior.covariance, follows)
    ridge = 1e-10 * np.trace(covariance, axis1=1, axis2=2)[:, None, None] * np.eye(kept.size)
    slope = np.linalg.solve(covariance + ridge, shared[:, kept, None])[:, :, 0]
    whole = np.einsum("ni,ni->n", shared, follows) + posterior.last_stage_variance
    left = np.maximum(whole - np.einsum("ni,ni->n", slope, shared[:, kept]), 0.0)
    own = stratified_normals(living.area * 16 + STAGE_KEY, draws.week.shape[1])
    now = posterior.last_stage[:, None] + np.einsum("ni,ind->nd", slope, moved)
    now = now + np.sqrt(left)[:, None] * own

    clock, began, ended = fit.design.clock, posterior.last_day, np.maximum(day, posterior.last_day)
    growth_d, doubt = clock.growth_between(living.area, began, ended, posterior.last_pause_d)
    drift = span_drift(began, ended, fit.design.on_day)
    pace = posterior.border[RATE][:, None] + moved[0]
    pace = pace + np.einsum("mn,mn->n", drift.weight, posterior.border[KNOTS:])[:, None]
    pace = pace + np.einsum("mn,mnd->nd", drift.weight, moved[2:])
    pace += living.errors.drift * np.sqrt(drift.remainder)[:, None] * draws.drift[living.run]
    white = living.errors.span_variance(ended - began, np.zeros(1))
    week = np.sqrt(white + doubt**2)[:, None] * draws.week
    grown = (shape_factor(living.shape) * growth_d)[:, None] * np.exp(pace)
    grown = grown * np.maximum(1.0 + week, 0.0)
    goal = stage(living.budget_cm[:, None], draws.ceiling_cm, living.shape[:, None])
    over: NDArray[np.bool_] = now + grown > goal
    return over
