"""On books drawn from the fitted model, the truth lies anywhere in the posterior with equal chance.

Talts, S., Betancourt, M., Simpson, D., Vehtari, A. & Gelman, A. (2018). Validating Bayesian
inference algorithms with simulation-based calibration. arXiv:1804.06788 (from memory).

Since the posterior is a normal (and a height a mixture over it), the rank of the truth among draws
is replaced by the chance below it. One area a book is looked at, so that books are independent. The
fit is a Gaussian quasi-likelihood and knows the true spreads; the same check is seen failing when
what the fit is told is wrong: 300 books notice variances of half their size and span noise of a
quarter, 500 notice starts taken at face value and drift left out; 800 notice as much and more.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import chi2
from threadpoolctl import threadpool_limits

import growthcast.fit.result as result
from growthcast.fit.rows.chains import Link
from tests.recovery.model_books import PARAMETERS, Regime, draw_books, fitted, pit_of_truth

pytestmark = pytest.mark.slow

BOOKS, FEWER_BOOKS, AT_ONCE, BINS = 800, 300, 25, 10
LEAST_CHANCE = 0.01


def solved(books_drawn, break_it=lambda problem: problem, regime=None):
    """Yield drawn books, their fit when told ``break_it(...)``, and one area of each book.

    Books whose cuts cost days are fitted one by one: each has a lag of its own.
    """
    at_once = AT_ONCE if regime is None or not regime.lag_spread_d else 1
    for batch in range(books_drawn // at_once):
        rng = np.random.default_rng([20261125, batch])
        books = draw_books(rng, at_once, regime)
        books = replace(books, problem=break_it(books.problem))
        size = np.bincount(books.book)
        chosen = np.cumsum(size) - size + rng.integers(0, size)
        with threadpool_limits(limits=1, user_api="blas"):
            yield books, fitted(books, regime), chosen


def calibration(batches):
    """Return PITs (books drawn,) and z-scores of one area a book."""
    pits, scores = {name: [] for name in PARAMETERS}, {name: [] for name in PARAMETERS}
    for books, fit, chosen in batches:
        with threadpool_limits(limits=1, user_api="blas"):
            pit, score = pit_of_truth(books, fit)
        for name in PARAMETERS:
            pits[name].append(pit[name][chosen])
            scores[name].append(score[name][chosen] if name in score else [])
    return tuple(
        {name: np.concatenate(values) for name, values in of.items()} for of in (pits, scores)
    )


def chance_of_uniform(pit):
    """Chance of a histogram at least this uneven if ``pit`` were uniform (chi-square)."""
    expected = pit.size / BINS
    counts = np.histogram(pit, BINS, (0.0, 1.0))[0]
    return float(chi2.sf(((counts - expected) ** 2 / expected).sum(), BINS - 1))


@pytest.fixture(scope="module")
def batches():
    return list(solved(BOOKS))


@pytest.fixture(scope="module")
def calibrated(batches):
    return calibration(batches)


@pytest.mark.parametrize("name", PARAMETERS)
def test_the_truth_lies_anywhere_in_the_posterior_with_equal_chance(calibrated, name):
    pit = calibrated[0][name]
    assert pit.size == BOOKS
    assert chance_of_uniform(pit) > LEAST_CHANCE


@pytest.mark.parametrize("name", PARAMETERS[:-1])
def test_posteriors_are_neither_shifted_nor_too_narrow(calibrated, name):
    """Half of the truths lie within 0.674 sd, give or take; no shift beyond a fifth of an sd."""
    score = calibrated[1][name]
    assert abs(np.median(score)) < 0.2
    spread = np.subtract(*np.quantile(score, [0.75, 0.25])) / 1.349
    assert 0.88 < spread < 1.15


def test_starts_that_were_only_guessed_shift_nothing():
    """Few visits, and heights as planted that nobody read, guessed to within a half.

    Ceilings are left out: one in a thousand of them comes out far too low, after a reading far
    below the ones before it, whether starts were read or not.
    """
    guessed = Regime(visits=(3, 8), start_read=0.0, start_spread=0.5)
    pits, _ = calibration(solved(FEWER_BOOKS, regime=guessed))
    for name in set(PARAMETERS) - {"log ceiling"}:
        assert chance_of_uniform(pits[name]) > LEAST_CHANCE


def spans_too_sure(problem):
    """A quarter of the span noise there is."""
    return replace(problem, errors=replace(problem.errors, span=0.25 * problem.errors.span))


def starts_taken_as_read(problem):
    """Take the height after a cut as the ruler gave it: no error, no habit."""

    def at_face_value(block):
        aimed = block.chains.nodes.link == Link.AIMED
        return replace(block, trust=np.where(aimed, 1e4, block.trust))

    return replace(problem, blocks=tuple(at_face_value(block) for block in problem.blocks))


def no_drift(problem):
    """Tanks that never drift."""
    still = replace(problem.pooling, knot_precision=1e6 * problem.pooling.knot_precision)
    return replace(problem, pooling=still, errors=replace(problem.errors, drift=1e-4))


@pytest.mark.parametrize(
    ("break_it", "books", "names"),
    [
        (spans_too_sure, 300, ["height ahead"]),
        (starts_taken_as_read, 500, ["log rate", "log ceiling", "tank", "species", "height ahead"]),
        (no_drift, 500, ["log rate", "height ahead"]),
    ],
)
def test_the_check_fails_when_the_fit_is_told_wrong(break_it, books, names):
    pits, _ = calibration(solved(books, break_it))
    for name in names:
        assert chance_of_uniform(pits[name]) < LEAST_CHANCE


def test_the_check_fails_when_covariances_are_halved(batches, monkeypatch):
    whole = result.GrowthFit.posterior

    def halved(fit, areas):
        posterior = whole(fit, areas)
        return replace(posterior, covariance=0.5 * posterior.covariance)

    monkeypatch.setattr(result.GrowthFit, "posterior", halved)
    pits, _ = calibration(batches[: FEWER_BOOKS // AT_ONCE])
    for name in ("log rate", "log ceiling", "drift today"):
        assert chance_of_uniform(pits[name]) < LEAST_CHANCE
