"""Growth of five orange trees: pooled least squares through the fit with its priors off.

Data: Draper, N. R. & Smith, H. (1998), Applied Regression Analysis, as distributed with R
(``Orange``). The targets are estimates of our own making, computed with R 4.2.2 for the pooled
least-squares fit ``circumference ~ Asym / (1 + exp((xmid - age) / scal))``: Asym 192.687, xmid
728.755, scal 353.533, sigma 23.372, log likelihood -158.399. They are no book's printed numbers.

Not comparable: the published mixed models (Asym random by tree, one xmid and one scal for all, by
Lindstrom-Bates or exact maximum likelihood) start all trees at one stage. In our hierarchy each
area has a start of its own and shares its rate by way of tank and species, so no setting of the fit
is that model. What is, is one curve through all trees (one area, read five times a day), and a
curve a tree, checked against a general solver.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from scipy.optimize import least_squares

from growthcast.fit.solver.problem import CEILING, RATE
from growthcast.fit.solver.solve import solve
from growthcast.growth.logistic import height_at_stage
from tests.references.test_nist import one_uncut_area

DATA = Path(__file__).parent / "data" / "Orange.csv"
POOLED = {"Asym": 192.687, "xmid": 728.755, "scal": 353.533}
POOLED_SIGMA, POOLED_LOG_LIKELIHOOD = 23.372, -158.399
PRINTED = 5e-4
SEARCH = 5e-6
"""The targets were printed where R's search stopped: that far, relatively, short of the optimum."""


def orange():
    """Return tree, age [d] and circumference [mm] of the 35 readings."""
    rows = [line.replace('"', "").split(",") for line in DATA.read_text().splitlines()[1:]]
    tree, age, circumference = np.array(rows, dtype=float).T
    return tree, age, circumference


def fitted_curve(age, circumference, errors_cm=1.0):
    """Fit one area without priors; return (Asym, xmid, scal), the residuals and the fit."""
    problem = one_uncut_area(age, circumference, np.array([200.0, 0.0, 1.0 / 350.0]))
    error = np.full(1, errors_cm)
    problem = replace(problem, errors=replace(problem.errors, height_error_cm=error))
    fit = solve(problem)
    assert fit.converged.all()
    rate, ceiling = np.exp(fit.point.border[[RATE, CEILING], 0])
    stages = fit.point.stages[0]
    curve = np.array([ceiling, age[0] - stages[0] / rate, 1.0 / rate])
    return curve, circumference - height_at_stage(stages, ceiling)


def test_pooled_least_squares_is_reproduced_by_the_fit():
    _, age, circumference = orange()
    order = np.argsort(age, kind="stable")  # five trees read on each day: one area read five times
    curve, residual = fitted_curve(age[order], circumference[order])
    np.testing.assert_allclose(curve, list(POOLED.values()), rtol=SEARCH)
    squares = float(residual @ residual)
    assert np.sqrt(squares / (age.size - 3)) == pytest.approx(POOLED_SIGMA, abs=PRINTED)
    log_likelihood = -0.5 * age.size * (np.log(2.0 * np.pi * squares / age.size) + 1.0)
    assert log_likelihood == pytest.approx(POOLED_LOG_LIKELIHOOD, abs=PRINTED)


@pytest.mark.parametrize("number", [1, 2, 3, 4, 5])
def test_a_curve_a_tree_is_that_of_a_general_solver(number):
    """Least squares of one tree alone, by scipy on the formula written out."""
    tree, age, circumference = orange()
    age, circumference = age[tree == number], circumference[tree == number]

    def residuals(b):
        return b[0] / (1.0 + np.exp((b[1] - age) / b[2])) - circumference

    found = least_squares(
        residuals, [200.0, 700.0, 350.0], x_scale=[200.0, 700.0, 350.0], xtol=1e-15, ftol=1e-15
    )
    curve, _ = fitted_curve(age, circumference)
    np.testing.assert_allclose(curve, found.x, rtol=1e-5)
