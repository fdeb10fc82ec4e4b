"""Spreads are learnt from the log, never zero, never exploding, with their own uncertainty."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import numpy as np
import pytest

from growthcast.fit import learning
from growthcast.fit.design import build_design, with_spreads
from growthcast.fit.growth import fit_growth
from growthcast.fit.learning import PRIOR_SD, learn_spreads
from growthcast.fit.model.spreads import LEARNT, Spreads
from growthcast.fit.solver.likelihood import log_likelihood
from growthcast.fit.solver.view import view_of
from tests.books import HEADER, PRACTICE, make_book, stem_log

ON = date(2026, 6, 1)


def noisy_log(spread, visits=40, seed=4):
    """Return a log whose weekly growth scatters by a share."""
    rng = np.random.default_rng(seed)
    lines = stem_log(visits=visits).splitlines()
    rows = [line.split(",") for line in lines[1:]]
    for row in rows:
        row[3] = f"{9.0 * np.exp(0.75 * (1 + spread * rng.standard_normal())):.2f}"
        row[4] = "9.00"
    return HEADER + "".join(",".join(row) + "\n" for row in rows)


def test_a_steady_log_teaches_a_smaller_span_spread_than_a_wild_one(tmp_path):
    steady, wild = (
        fit_growth(make_book(tmp_path / str(spread), trims=noisy_log(spread)), ON).design.spreads
        for spread in (0.02, 0.4)
    )
    assert steady.span < 0.15
    assert 0.27 < wild.span < 0.55
    assert wild.sd["span"] < 0.3 < steady.sd["tank"]


def test_two_tanks_do_not_yield_a_spread_of_zero(tmp_path):
    spreads = fit_growth(make_book(tmp_path), ON).design.spreads
    for name in ("tank", "area", "species"):
        assert getattr(spreads, name) > 0.4 * getattr(Spreads(), name)
        assert 0.0 < spreads.sd[name] <= PRIOR_SD + 1e-9


def test_every_learnt_spread_has_a_standard_deviation(tmp_path):
    spreads = fit_growth(make_book(tmp_path), ON).design.spreads
    assert set(spreads.sd) == set(LEARNT) - {"weight"}


def test_the_likelihood_falls_on_both_sides_of_what_is_learnt(tmp_path):
    design = build_design(make_book(tmp_path, trims=noisy_log(0.3)), ON)
    found, solution = learn_spreads(design)

    def level(spreads):
        problem = with_spreads(replace(found, problem=solution.problem), spreads).problem
        view = view_of(problem, solution.point)
        logs = [np.log(getattr(spreads, name) / getattr(design.spreads, name)) for name in LEARNT]
        prior = -0.5 * sum(log**2 for log in logs) / PRIOR_SD**2
        return log_likelihood(view) + prior

    top = level(found.spreads)
    for name in found.spreads.sd:
        for factor in (np.exp(-0.4), np.exp(0.4)):
            other = replace(found.spreads, **{name: factor * getattr(found.spreads, name)})
            assert level(other) < top - 0.1, name


def test_the_expected_curvature_is_how_the_slopes_fall(tmp_path):
    """Neighbours in time are left out of it, and what is learnt of one spread beside another."""
    found, solution = learn_spreads(build_design(make_book(tmp_path, trims=noisy_log(0.3)), ON))
    names, view = list(found.spreads.sd), solution.view
    nothing, step = np.zeros(len(names)), 0.02

    def slopes(logs):
        there = with_spreads(
            replace(found, problem=view.problem), learning._spreads(found.spreads, names, logs)
        )
        return learning._slopes(there, view_of(there.problem, view.point), names, logs)

    _, information = slopes(nothing)
    fall = [(slopes(-by)[0] - slopes(by)[0]) / (2.0 * step) for by in step * np.eye(len(names))]
    for place, name in enumerate(names):
        near = 0.6 if name.startswith("height") else 0.2  # wild spans hide errors of heights
        assert information[place, place] == pytest.approx(fall[place][place], rel=near), name
    span, drift = names.index("span"), names.index("drift")
    assert information[span, drift] == pytest.approx(fall[span][drift], rel=0.3)


@pytest.mark.parametrize(
    ("gain", "slope", "corrected"),
    [(1.9, 1.0, True), (2.1, 1.0, False), (2.1, -1.0, True)],
)
def test_the_last_step_corrects_the_curvature_near_the_top_or_where_it_went_too_far(
    gain, slope, corrected
):
    """A slope that fell from s to 1 or -1 over a step of .1: a curvature of (s - slope) / .1."""
    s = np.sqrt(2.0 * gain * 20.0)  # the gain promised: s^2 / (2 * 20)
    climb = learning._Climb(np.zeros(1), np.array([s]), np.array([[1.0 / 20.0]]))
    there = climb.moved_to(np.array([0.1]), np.array([slope]), np.array([[50.0]]))
    expected = 0.1 / (s - slope) if corrected else 1.0 / 50.0
    assert there.inverse[0, 0] == pytest.approx(expected)


def test_a_spread_goes_no_further_than_it_may_and_may_come_back():
    """Two spreads at the end: one that wants on stays, without a part in the gain."""
    end = learning.FURTHEST
    inverse = np.array([[0.5, 0.1], [0.1, 0.5]])
    climb = learning._Climb(np.array([end, 0.0]), np.array([8.0, 1.0]), inverse)
    np.testing.assert_allclose(climb.move, [0.0, 0.5])
    assert climb.gain == pytest.approx(0.25)
    np.testing.assert_allclose(climb.next_logs(), [end, learning.LONGEST_MOVE])
    climb = learning._Climb(np.array([end, 0.0]), np.array([-8.0, 1.0]), inverse)
    np.testing.assert_allclose(climb.move, [-3.9, -0.3])
    climb = learning._Climb(np.array([0.1 - end, 0.0]), np.array([-8.0, 0.0]), inverse)
    np.testing.assert_allclose(climb.next_logs(), [-end, -0.1])


def test_one_absurd_reading_does_not_make_wild_weeks_of_all(tmp_path):
    """99 cm in 45 cm of water and 9 kg from it, in a log of four visits."""
    tanks = "tank_id,client,water_depth_cm\nlobby,Client A,45\n"
    areas = (
        "area_id,tank_id,species_id,area_cm2,floor_cm,budget_cm,planted_on\n"
        "stems,lobby,rotala-rotundifolia,400,8,22,2026-01-15\n"
    )
    log = (
        "date,tank_id,area_id,before_cm,after_cm,removed_g,grams_of\n"
        "2026-03-01,lobby,stems,24,12,,\n2026-03-15,lobby,stems,20,11,,\n"
        "2026-04-01,lobby,stems,99,12,,\n2026-04-01,lobby,,,,9000,all\n"
        "2026-04-10,lobby,stems,22,12,,\n"
    )
    conditions = "tank_id,from_date,ppfd_umol\nlobby,2026-01-01,60\n"
    book = make_book(tmp_path, tanks=tanks, areas=areas, trims=log, conditions=conditions)
    fit = fit_growth(book, date(2026, 4, 10))
    assert fit.solution.converged.all()
    assert fit.design.spreads.drift <= 1.0001 * np.exp(learning.FURTHEST) * Spreads().drift


def with_wild_readings(log, times=1.35):
    """Return a log with two readings too near the others to be set aside, too far to be scatter."""
    rows = log.splitlines()
    for place in (12, 27):
        cells = rows[place].split(",")
        cells[3] = f"{times * float(cells[3]):.2f}"
        rows[place] = ",".join(cells)
    return "\n".join(rows) + "\n"


def test_a_few_wild_readings_do_not_widen_the_spreads(tmp_path):
    sound = noisy_log(0.15)
    usual, wild = (
        fit_growth(make_book(tmp_path / str(n), trims=trims), ON).design.spreads
        for n, trims in enumerate((sound, with_wild_readings(sound)))
    )
    assert wild.span < 1.15 * usual.span
    assert wild.height_error_cm < 1.15 * usual.height_error_cm


@pytest.mark.parametrize("times", [1.2, 1.25, 1.3, 1.35])
def test_learning_ends_by_itself_where_readings_are_about_to_be_left_out(
    tmp_path, monkeypatch, times
):
    design = build_design(make_book(tmp_path, trims=with_wild_readings(noisy_log(0.15), times)), ON)
    found = learn_spreads(design)[0].spreads
    monkeypatch.setattr(learning, "MOST_ROUNDS", 60)
    assert learn_spreads(design)[0].spreads == found


def test_given_spreads_are_taken_as_they_are(tmp_path):
    given = Spreads(span=0.33)
    assert fit_growth(make_book(tmp_path), ON, given).design.spreads == given


def test_an_empty_log_teaches_nothing(tmp_path):
    design = build_design(make_book(tmp_path, trims=HEADER), ON)
    assert learn_spreads(design)[0] is design


def test_the_books_ruler_is_where_learning_starts(tmp_path):
    practice = PRACTICE + "[fit]\nheight_error_cm = 0.2\n"
    design = build_design(make_book(tmp_path, practice=practice), ON)
    assert design.spreads.height_error_cm == 0.2
    assert with_spreads(design, Spreads()).problem.errors.height_error_cm[0] == 0.5


def test_a_tank_of_hundreds_of_areas_is_a_sample_of_its_own(tmp_path):
    head = "area_id,tank_id,species_id,area_cm2,floor_cm,budget_cm,planted_on\n"
    rows = "".join(f"a{n},home,taxiphyllum-barbieri,20,2,9,2026-05-01\n" for n in range(410))
    book = make_book(tmp_path, areas=head + rows, trims=HEADER)
    fit = fit_growth(book, ON)
    assert fit.design.spreads.tank == Spreads().tank
    assert fit.basis == ["table"] * 410


@pytest.mark.parametrize(
    ("likely", "shape"),
    [
        ((0.0, 5.9, 5.9, 5.9, 5.9, 5.9), 1.0),
        ((0.0, 5.9, 6.1, 8.0, 7.0, 5.9), 0.5),
        ((0.0, 9.0, 6.1, 8.0, 7.0, 5.9), -0.5),
    ],
)
def test_the_likeliest_bend_is_taken_where_the_evidence_is_strong(
    tmp_path, monkeypatch, likely, shape
):
    """The book as it is comes first, then bends of -.5, 0, .5, 1 and 2, learnt one by one."""
    design = build_design(make_book(tmp_path), ON)
    solution, said = learning.solve(design.problem, tolerance=1e-2), iter(likely)
    stems = design.form == design.form[0]
    monkeypatch.setattr(learning, "_rising", lambda *_: stems)
    monkeypatch.setattr(learning, "log_likelihood", lambda _: next(said))
    monkeypatch.setattr(learning, "learn_spreads", lambda there: (there, solution))
    bent, _ = learning.learn_bends(design, solution, design.spreads)
    assert (bent.problem.shape[stems] == shape).all()
    assert (bent.problem.shape[~stems] == 1.0).all()
    assert (bent.problem.rises is None) == (shape == 1.0)
