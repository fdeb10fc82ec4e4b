"""A tank that cannot be fitted rests on the table, and leaves the others as they are."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import numpy as np
import pytest

from growthcast.fit.growth import fit_growth
from growthcast.fit.solver import solve, view
from growthcast.fit.solver.problem import RATE
from growthcast.fit.solver.solve import solve as solved
from growthcast.fit.solver.solve import starting_point
from growthcast.fit.solver.view import misfit_of_tanks, view_of
from tests.books import HEADER, make_book, stem_log
from tests.unit.fit.small_problem import small_problem

ON = date(2026, 6, 1)
MOSS = "".join(
    f"2026-05-{day:02d},home,moss,{cm},3,,,,,\n" for day, cm in ((4, 6), (18, 7), (30, 5))
)


def poisoned(monkeypatch, row):
    """Let what a log row says be no number."""
    plain = view.linearise

    def linearise(problem, block, *args):
        at = plain(problem, block, *args)
        wrong = block.chains.nodes.row == row
        return replace(at, residual=np.where(wrong, np.nan, at.residual))

    monkeypatch.setattr(view, "linearise", linearise)


def test_a_tank_that_cannot_be_fitted_is_named_and_the_others_stay(tmp_path, monkeypatch):
    log = stem_log()
    whole = make_book(tmp_path / "whole", trims=log + MOSS, on=ON)
    alone = make_book(tmp_path / "alone", trims=log, on=ON)
    expected = fit_growth(alone, ON)
    poisoned(monkeypatch, row=len(log.splitlines()) - 1)
    fit = fit_growth(whole, ON)
    assert list(fit.not_fitted) == ["home"]
    assert "moss" in fit.not_fitted["home"]
    areas = np.arange(3)
    found, wanted = fit.posterior(areas), expected.posterior(areas)
    np.testing.assert_array_equal(found.mean.border, wanted.mean.border)
    for name in ("covariance", "last_stage"):
        np.testing.assert_array_equal(getattr(found, name), getattr(wanted, name))
    assert fit.basis[2] == "table"


def test_a_book_whose_log_says_nothing_finite_still_rests_on_the_table(tmp_path, monkeypatch):
    book = make_book(tmp_path, trims=HEADER + MOSS, on=ON)
    poisoned(monkeypatch, row=0)
    fit = fit_growth(book, ON)
    assert list(fit.not_fitted) == ["home"]
    assert np.isfinite(fit.border_mean).all()


def test_a_step_that_fits_much_worse_is_shortened():
    problem = small_problem()
    begun = view_of(problem, solved(problem).point)
    far = np.zeros_like(begun.point.border)
    far[RATE] = 0.7
    step = (begun, far, solve._stages_follow(begun, far), np.ones(problem.area_count))
    ahead = solve._shortened_step(*step)
    whole = view_of(problem, solve._stepped(*step))
    before = misfit_of_tanks(begun)
    assert (misfit_of_tanks(whole) - before).max() > solve.MUCH_WORSE
    assert (misfit_of_tanks(ahead) - before < misfit_of_tanks(whole) - before).all()
    moved = ahead.point.border[RATE] - begun.point.border[RATE]
    assert 0.0 < moved.min() < 0.7


@pytest.mark.parametrize("reached", [0.1, 0.5])
def test_a_step_that_is_not_finite_is_shortened(monkeypatch, reached):
    problem = small_problem()
    begun = view_of(problem, starting_point(problem))
    plain, limit = view.linearise, begun.point.border[RATE, 0] + reached

    def linearise(problem, block, stage, border, *args):
        at = plain(problem, block, stage, border, *args)
        wrong = (block.chains.nodes.area == 0) & (border[RATE, 0] > limit)
        return replace(at, residual=np.where(wrong, np.inf, at.residual))

    monkeypatch.setattr(view, "linearise", linearise)
    far = np.zeros_like(begun.point.border)
    far[RATE] = 0.6
    follow = solve._stages_follow(begun, far)
    ahead = solve._shortened_step(begun, far, follow, np.ones(problem.area_count))
    moved = ahead.point.border[RATE] - begun.point.border[RATE]
    assert 0.0 < moved[0] <= reached
    assert moved[3] == pytest.approx(0.6)
