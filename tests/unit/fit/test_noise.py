"""What readings, spans and drift are worth, against integrals over the path itself."""

from __future__ import annotations

import numpy as np
import pytest

from growthcast.fit.model.noise import (
    KNOT_WINDOWS_D,
    ErrorModel,
    knot_precision,
    likely_removed,
    removed_variance,
    span_drift,
    today_weight,
)

ERRORS = ErrorModel(
    height_error_cm=np.array([0.5, 1.0]),
    height_error_share=np.array([0.1, 0.0]),
    span=0.3,
    drift=0.2,
    weight=0.25,
)
POINTS, WEIGHTS = np.polynomial.legendre.leggauss(80)


def shared(one, other):
    """Mean of ``exp(-|t - s| / 30 d)`` over two windows of days, piece by piece between kinks."""
    ends = np.unique([*one, *other])

    def nodes(window):
        cut = ends[(ends >= window[0]) & (ends <= window[1])]
        half = 0.5 * np.diff(cut)[:, None]
        middle = 0.5 * (cut[1:] + cut[:-1])[:, None]
        return middle + half * POINTS, half * WEIGHTS / (window[1] - window[0])

    (t, a), (s, b) = nodes(one), nodes(other)
    apart = np.abs(t.ravel()[:, None] - s.ravel()[None, :])
    return float(a.ravel() @ np.exp(-apart / 30.0) @ b.ravel())


def windows():
    """The knots' windows in days from the fit on: all of them lie before it."""
    return [(-ended, -began) for began, ended in KNOT_WINDOWS_D]


def test_knots_have_the_covariance_of_the_drifts_means():
    """Against sums over both windows; their own needs a finer one along the kink."""
    covariance = np.linalg.inv(knot_precision())
    assert covariance == pytest.approx(covariance.T)
    for i, one in enumerate(windows()):
        for j, other in enumerate(windows()):
            rel = 2e-2 if one[0] < other[1] and other[0] < one[1] else 1e-8
            assert covariance[i, j] == pytest.approx(shared(one, other), rel=rel)
    # A window of L memories has the variance 2 (L - 1 + exp(-L)) / L^2: here of 1, 2, 4 and 10.
    lengths = np.array([1.0, 2.0, 4.0, 10.0])
    own = 2.0 * (lengths - 1.0 + np.exp(-lengths)) / lengths**2
    assert np.diag(covariance)[1:] == pytest.approx(own)


@pytest.mark.parametrize(("began", "ended"), [(-47.0, -33.0), (-7.0, 0.0), (5.0, 26.0)])
def test_a_span_regresses_on_the_knots_as_normal_numbers_do(began, ended):
    """Of its mean drift the knots tell ``C^-1 c``, and leave its variance less ``c C^-1 c``."""
    on_day = 1000.0
    twice = np.array([began, 3.0, began]), np.array([ended, 9.0, ended])
    drift = span_drift(on_day + twice[0], on_day + twice[1], on_day)
    across = np.array([shared((began, ended), window) for window in windows()])
    covariance = np.linalg.inv(knot_precision())
    weight = np.linalg.solve(covariance, across)
    length = (ended - began) / 30.0
    own = 2.0 * (length - 1.0 + np.exp(-length)) / length**2
    rel = 3e-2 if began >= -7.0 and ended <= 0.0 else 1e-4
    for place in (0, 2):  # a span that comes again has its place each time
        assert drift.weight[:, place] == pytest.approx(weight, rel=rel, abs=rel)
        assert drift.remainder[place] == pytest.approx(own - across @ weight, abs=rel)
    assert not np.allclose(drift.weight[:, 1], drift.weight[:, 0])


def test_the_drift_of_today_regresses_on_the_knots():
    """Its covariance with the mean of a window is that of ``exp(-t / 30 d)`` over the window."""
    began, ended = np.array(windows()).T
    across = 30.0 * (np.exp(ended / 30.0) - np.exp(began / 30.0)) / (ended - began)
    assert today_weight() == pytest.approx(knot_precision() @ across, abs=2e-3)
    assert today_weight()[0] == pytest.approx(1.0, abs=0.05)


def test_a_spans_growth_scatters_less_the_longer_it_is():
    """0.3 over a week is 0.3 root(7 / 28) over four; below a day it is that of a day."""
    days, remainder = np.array([7.0, 28.0, 1.0, 0.25]), np.array([0.0, 0.5, 0.0, 0.0])
    found = ERRORS.span_variance(days, remainder)
    assert found == pytest.approx([0.09, 0.0225 + 0.04 * 0.5, 0.63, 0.63])


def test_a_reading_is_off_by_a_part_of_its_own_and_a_share_of_the_height():
    """10 cm are off by 0.5 cm and a tenth; the cover of another area by a point, at any cover."""
    height, area = np.array([10.0, 10.0, 40.0]), np.array([0, 1, 1])
    assert ERRORS.reading_variance(height, area) == pytest.approx([0.25 + 1.0, 1.0, 1.0])
    own = np.array([2.0, np.nan, 0.3])
    assert ERRORS.reading_variance(height, area, own) == pytest.approx([4.0, 1.0, 0.09])


def test_a_length_is_off_by_two_readings_or_by_its_weight():
    """10 cm: two readings of 0.5 cm and a tenth of it; a quarter of it and 0.1 cm by weight."""
    taken, area = np.array([10.0, 10.0, 10.0]), np.array([0, 0, 1])
    found = removed_variance(taken, np.array([False, True, False]), area, ERRORS)
    assert found == pytest.approx([2 * 0.25 + 1.0, 6.25 + 0.01, 2.0])


def test_a_cut_takes_what_stands_above_the_usual_one_and_a_quarter_of_that_at_least():
    log_habit = np.log(np.full(3, 4.0))
    assert likely_removed(np.array([11.0, 4.5, 2.0]), log_habit) == pytest.approx([7.0, 1.0, 1.0])
