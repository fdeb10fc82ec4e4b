"""NIST/ITL Statistical Reference Datasets, nonlinear regression: Rat42 and Rat43.

Source: NIST StRD (https://www.itl.nist.gov/div898/strd/), data from Ratkowsky, D. A. (1983),
Nonlinear Regression Modeling, Marcel Dekker, pp. 61 and 88. The files in ``data/`` are the
originals; certified values are read out of them.
"""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np
import pytest
from scipy.optimize import least_squares, minimize_scalar

from growthcast.fit.model.noise import ErrorModel, knot_precision
from growthcast.fit.rows.chains import Link, Nodes
from growthcast.fit.solver.problem import CEILING, RATE, Pooling
from growthcast.fit.solver.solve import solve
from growthcast.growth.logistic import height_at_stage, shape_factor
from tests.unit.fit.small_problem import problem_of

DATA = Path(__file__).parent / "data"


def read_nist(name):
    """Return start 2, certified values and their deviations, RSS, x and y of a NIST file."""
    text = (DATA / f"{name}.dat").read_text()
    number = r"([-+]?\d+(?:\.\d*)?(?:E[-+]\d+)?)"
    rows = re.findall(rf"^\s*b\d =\s+{number}\s+{number}\s+{number}\s+{number}", text, re.M)
    start = np.array([float(row[1]) for row in rows])
    certified = np.array([float(row[2]) for row in rows])
    deviation = np.array([float(row[3]) for row in rows])
    rss = float(re.search(rf"Residual Sum of Squares:\s+{number}", text)[1])
    data = text[text.rindex("Data:") :].splitlines()[1:]
    y, x = np.array([[float(cell) for cell in line.split()] for line in data if line.strip()]).T
    return start, certified, deviation, rss, x, y


def one_uncut_area(x, y, start, shape=1.0):
    """Return a problem of one area that is measured, never cut, with every prior off."""
    blank = np.full(x.size, np.nan)
    gap = np.diff(x, prepend=x[0])
    link = np.full(x.size, int(Link.GREW))
    link[0] = Link.FRESH
    nodes = Nodes(
        area=np.zeros(x.size, dtype=np.int64),
        day=x,
        link=link,
        growth_d=gap,
        span_d=gap,
        pause_doubt=np.zeros(x.size),
        lag_per_d=np.zeros(x.size),
        by_settling=np.zeros(x.size),
        reading_cm=y,
        reading_sd_cm=blank,
        aim_sd_cm=blank,
        guess_cm=blank,
        guess_sd_cm=blank,
        removed_cm=blank,
        floor_cm=blank,
        budget_cm=blank,
        look=np.zeros(x.size, dtype=np.int64),
        pause_d=np.zeros(x.size),
        lag_share=np.zeros(x.size),
        bucket=np.full(x.size, -1),
        row=np.arange(x.size),
    )
    nowhere, nothing = np.zeros(1, dtype=np.int64), np.zeros(1)
    pooling = Pooling(
        tank=nowhere,
        species=nowhere,
        offset=np.log([start[2]]),
        log_ceiling=np.log([start[0]]),
        ceiling_precision=nothing,
        density_precision=0.0,
        weighed=np.zeros((2, 1)),
        log_habit=nothing,
        habit_precision=nothing,
        area_precision=0.0,
        tank_precision=nothing,
        species_precision=nothing,
        knot_precision=1e12 * knot_precision(),
        ceiling_learnt=np.ones(1, dtype=bool),
        near_ceiling=np.zeros(1, dtype=bool),
        highest_cm=np.zeros((2, 1)),
        highest_sd_cm=np.zeros((2, 1)),
        bend_doubt=1.0,
    )
    one = np.ones(1)
    errors = ErrorModel(one, nothing, span=0.0, drift=0.0, weight=1.0)
    return problem_of(nodes, pooling, errors, shape * one, nothing)


@pytest.mark.parametrize("start", [0, 1])
def test_rat42_is_reproduced_by_the_fit_with_priors_off(start):
    """The hierarchical fit of one area without priors is ordinary logistic regression.

    Estimates hold to 1e-8 of the eleven printed digits, deviations to 1e-7.
    """
    start2, certified, deviation, rss, x, y = read_nist("Rat42")
    begin = (np.array([100.0, 1.0, 0.1]), start2)[start]
    fitted = solve(one_uncut_area(x, y, begin))
    rate, ceiling = np.exp(fitted.point.border[[RATE, CEILING], 0])
    stages = fitted.point.stages[0]
    b2 = rate * x[0] - stages[0]
    assert fitted.converged.all()
    np.testing.assert_allclose([ceiling, b2, rate], certified, rtol=1e-8)

    residual = height_at_stage(stages, ceiling) - y
    assert residual @ residual == pytest.approx(rss, rel=1e-9)
    sigma = np.sqrt(rss / (y.size - 3))
    area = fitted.view.pooled
    rate_variance = 1.0 / area.precision[0, 0, 0]
    ceiling_variance = (
        area.own_covariance[0, 0, 0] + area.own_regression[0, 0, 0] ** 2 * rate_variance
    )
    assert rate * np.sqrt(rate_variance) * sigma == pytest.approx(deviation[2], rel=1e-7)
    assert ceiling * np.sqrt(ceiling_variance) * sigma == pytest.approx(deviation[0], rel=1e-7)


def test_rat43_is_reproduced_by_the_curve_with_its_shape():
    """Rat43 is our curve: ceiling b1, shape b4, stage b3 x - b2 + ln b4; speed b3 = c(b4) rate.

    Our curve under a general least-squares solver (scipy) reaches the certified estimates to seven
    digits and the certified residual sum of squares to nine.
    """
    start, certified, _, rss, x, y = read_nist("Rat43")

    def residuals(b):
        ceiling, b2, rate, shape = b[0], b[1], b[2] / shape_factor(b[3]), b[3]
        stage = shape_factor(shape) * rate * x - b2 + np.log(shape)
        return height_at_stage(stage, ceiling, shape) - y

    there = residuals(certified)
    assert there @ there == pytest.approx(rss, rel=1e-9)
    found = least_squares(
        residuals, start, x_scale=start, xtol=1e-15, ftol=1e-15, gtol=1e-15, jac="3-point"
    )
    np.testing.assert_allclose(found.x, certified, rtol=2e-7)


@pytest.mark.slow
def test_rat43_is_reproduced_by_the_fit_through_its_shape():
    """For each shape the fit with priors off finds rate, ceiling and start; the best shape is b4.

    The shape stands per form in the species table and is not learnt by the fit, so it is searched
    from outside. A least sum of squares is flat at its bottom: the shape holds to six digits, the
    other estimates to six, the residual sum of squares to nine.
    """
    start, certified, _, rss, x, y = read_nist("Rat43")

    def fitted(shape):
        return solve(one_uncut_area(x, y, start, shape))

    def squares(shape):
        solution = fitted(shape)
        ceiling = np.exp(solution.point.border[CEILING, 0])
        residual = height_at_stage(solution.point.stages[0], ceiling, shape) - y
        return residual @ residual

    best = minimize_scalar(squares, bracket=(0.8, 1.2, 1.9), tol=1e-9)
    solution = fitted(best.x)
    rate, ceiling = np.exp(solution.point.border[[RATE, CEILING], 0])
    speed = shape_factor(best.x) * rate
    b2 = speed * x[0] + np.log(best.x) - solution.point.stages[0][0]
    assert solution.converged.all()
    assert best.fun == pytest.approx(rss, rel=1e-9)
    np.testing.assert_allclose([ceiling, b2, speed, best.x], certified, rtol=1e-6)
