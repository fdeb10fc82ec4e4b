"""Several books fitted together: each as if it were alone."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import numpy as np
import pytest

from growthcast.book.files import demo_dir
from growthcast.book.read import read_book
from growthcast.fit import growth as room
from growthcast.fit.growth import fit_growth, fit_together, known_before
from growthcast.fit.model.spreads import Spreads
from growthcast.fit.rows.chains import Link
from growthcast.fit.solver.solve import solve
from growthcast.fit.solver.together import together
from tests.unit.fit.small_problem import small_problem

DAYS = [date(2026, 7, 30), date(2026, 8, 20), date(2026, 9, 24)]


@pytest.fixture(scope="module")
def books():
    book = read_book(demo_dir())
    known = [known_before(book, float(np.datetime64(on, "D").astype(int) + 1)) for on in DAYS]
    unsaid = replace(book.practice, whole_tank_grams=None)
    return [replace(one, practice=unsaid) for one in known]


@pytest.fixture(scope="module")
def alone(books):
    return [fit_growth(one, on, Spreads()) for one, on in zip(books, DAYS, strict=True)]


def assert_alike(fits, alone):
    for one, other in zip(fits, alone, strict=True):
        areas = np.arange(other.design.area_id.size)
        sd = np.sqrt(other.posterior(areas).rate_variance)
        off = one.posterior(areas).mean.log_rate - other.posterior(areas).mean.log_rate
        assert np.abs(off / sd).max() < 0.01
        assert [s.row for s in one.suspects] == [s.row for s in other.suspects]
        assert one.whole_tank_grams == other.whole_tank_grams
        assert one.book.trims.rows.size == other.book.trims.rows.size


def test_books_fitted_together_stand_where_each_stands_alone(books, alone):
    assert any(fit.suspects for fit in alone)
    assert any(fit.evidence_for_everything for fit in alone)
    assert_alike(fit_together(books, DAYS, Spreads()), alone)


def test_larger_books_are_fitted_in_groups_and_none_is_no_fit(books, alone, monkeypatch):
    monkeypatch.setattr(room, "MOST_AREAS_TOGETHER", len(books[0].areas) + 1)
    assert_alike(fit_together(books, DAYS, Spreads()), alone)
    assert fit_together([], [], Spreads()) == []


def small_with_weights(seed, count):
    """Return a small problem with so many weights of whole tanks."""
    problem = small_problem(seed)
    nothing = np.zeros(count, dtype=bool)
    weights = replace(
        problem.weights,
        **{
            "grams": np.ones(count),
            "row": np.arange(count),
            "everything": nothing,
            "said": nothing,
        },
    )
    return replace(problem, weights=weights)


def test_problems_stand_one_after_another_and_come_apart_as_they_were():
    several = [small_with_weights(seed, count) for seed, count in ((1, 1), (2, 3), (3, 2))]
    one = together(several)
    for name in ("tank", "species"):
        expected = [getattr(p.pooling, name) + 3 * place for place, p in enumerate(several)]
        np.testing.assert_array_equal(getattr(one.problem.pooling, name), np.concatenate(expected))
    assert one.of_weight.tolist() == [0, 1, 1, 1, 2, 2]
    solution = solve(one.problem, tolerance=1e-4)
    everything = np.array([True, False, True, True, False, False])
    weights = replace(solution.problem.weights, everything=everything)
    heard = replace(solution.view, problem=replace(solution.problem, weights=weights))
    found = one.apart(replace(solution, view=heard))
    said = [each.problem.weights.everything.tolist() for each in found]
    assert said == [[True], [False, True, True], [False, False]]
    for each, problem in zip(found, several, strict=True):
        alone = solve(problem, tolerance=1e-4)
        np.testing.assert_allclose(each.point.border, alone.point.border, atol=1e-4)
        assert each.view.pooled.species.shape == (3,)


def test_weights_of_one_problem_stand_after_those_before_it():
    several = [small_with_weights(seed, count) for seed, count in ((1, 1), (2, 3))]
    for place, problem in enumerate(several):
        [block] = problem.blocks
        nodes = block.chains.nodes
        bucket = np.where(nodes.link == Link.AIMED, place, -1)
        chains = replace(block.chains, nodes=replace(nodes, bucket=bucket))
        several[place] = replace(problem, blocks=(replace(block, chains=chains),))
    [block] = together(several).problem.blocks
    nodes = block.chains.nodes
    of_second = nodes.area >= 7
    bucket = np.where(nodes.link == Link.AIMED, np.where(of_second, 2, 0), -1)
    np.testing.assert_array_equal(nodes.bucket, bucket)
    np.testing.assert_array_equal(np.sort(block.chains.area), np.arange(14))
