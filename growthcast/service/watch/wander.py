"""What is watched from when on, and how far paces wander when nothing has changed."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from scipy.linalg import solve_triangular

from growthcast.book.book import Book
from growthcast.fit.foreseen import Evidence, Foreseen, Wander, doubts_of, evidence_under
from growthcast.fit.growth import fit_growth, known_before
from growthcast.forecast.report import as_date
from growthcast.service.watch.slips import slips_set_aside

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
    """Day number from which the log is watched, None without a log.

    Half a year before ``on_day``, or after the first third of a shorter log.
    """
    dates = book.trims.date("date").astype("datetime64[D]").astype(np.int64)
    if not dates.size:
        return None
    first = float(dates.min())
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
    usual = fit_growth(earlier, as_date(origin_day - 1.0))
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
    return learn_wander(gather_evidence(earlier, origin_day - 1.0, origin))


def learn_wander(evidence: Evidence) -> Wander:
    """Return the wander under which the readings of all tanks are likeliest, leaning on the usual.

    The mean of a grid over both spreads, each weighed by its likelihood and a lognormal prior.
    """
    pairs = [Wander(tank, area) for tank in TANK_GRID for area in AREA_GRID]
    tanks = np.array([pair.tank for pair in pairs])
    areas = np.array([pair.area for pair in pairs])
    score = -0.5 * (np.log(tanks / USUAL_WANDER.tank) / LEANING) ** 2
    score -= 0.5 * (np.log(areas / USUAL_WANDER.area) / LEANING) ** 2
    for tank in np.unique(evidence.tank).tolist():
        mine = evidence.of(evidence.tank == tank)
        known = doubts_of(mine, tank).under(USUAL_WANDER)
        _, slipped = slips_set_aside(known, mine.grown_cm, mine.area, mine.day)
        sound = mine.of(~slipped)
        if sound.area.size:
            doubts = doubts_of(sound, tank)
            score += [_log_likelihood(doubts.under(pair)) for pair in pairs]
    weight = np.exp(score - score.max())
    weight /= weight.sum()
    return Wander(
        tank=float(np.exp(weight @ np.log(tanks))), area=float(np.exp(weight @ np.log(areas)))
    )


def _log_likelihood(known: Foreseen) -> float:
    """Log likelihood of surprises, none of them taken as further off than three deviations."""
    root = np.linalg.cholesky(known.covariance)
    apart = solve_triangular(root, known.surprise_cm - known.mean_cm, lower=True)
    squares = np.clip(apart, -LARGEST, LARGEST) ** 2
    return float(-0.5 * squares.sum() - np.log(np.diag(root)).sum())
