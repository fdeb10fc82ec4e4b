"""From a book to readings ready to be judged: slips and wandering."""

from __future__ import annotations

from datetime import date, timedelta

import numpy as np

from growthcast.fit.design import day_number
from growthcast.service.watch.readings import USUAL_WANDER, gather_cases, origin_of, wander_before
from tests.books import HEADER, make_book

LAST = date(2026, 6, 1)
VISITS = 40


def log_of(pace, slip_at=None):
    """Write stems and carpet every week, cut every other week, at a pace for each week."""
    rng, rows = np.random.default_rng(4), HEADER
    heights = {"stems": 9.0, "carpet": 1.5}
    for visit in range(VISITS):
        day = LAST - timedelta(days=7 * (VISITS - 1 - visit))
        for area, grows, rest, error in (("stems", 4.0, 9.0, 0.3), ("carpet", 1.0, 1.5, 0.1)):
            heights[area] += grows * pace[visit]
            read = heights[area] + error * rng.normal()
            if visit == slip_at and area == "stems":
                read += 8.0
            cut = visit % 2 == 1
            rows += f"{day},lobby,{area},{read:.1f},{rest if cut else ''},,,,,\n"
            heights[area] = rest if cut else heights[area]
    return rows


def lobby_case(book):
    on = day_number(LAST)
    return gather_cases(book, on, origin_of(book, on))[0][0]


def test_no_forecast_starts_from_a_slip(tmp_path):
    """The stems were read 8 cm too high at a visit without a cut: it says next to nothing."""
    still = np.ones(VISITS)
    slip_at = VISITS - 10
    sound = lobby_case(make_book(tmp_path / "sound", trims=log_of(still)))
    slipped = lobby_case(make_book(tmp_path / "slip", trims=log_of(still, slip_at)))
    day = day_number(LAST - timedelta(days=7 * (VISITS - 1 - slip_at)))
    stems = sound.evidence.area == sound.areas[0]
    at, after = (stems & (sound.evidence.day == one) for one in (day, day + 7.0))
    assert at.sum() == after.sum() == 1
    assert slipped.evidence.variance_cm2[at] > 100.0 * sound.evidence.variance_cm2[at]
    moved = slipped.evidence.surprise_cm[after] - sound.evidence.surprise_cm[after]
    assert np.abs(moved) < 1.0


def test_wandering_is_learnt_before_the_watch_and_allowed_for(tmp_path):
    """A tank whose pace swung by a third for months is allowed more than a steady one."""
    week = np.arange(VISITS)
    allowed = []
    for name, swing in (("steady", 0.0), ("swinging", 0.35)):
        book = make_book(tmp_path / name, trims=log_of(1.0 + swing * np.sin(week / 2.5)))
        wander = wander_before(book, origin_of(book, day_number(LAST)))
        assert wander != USUAL_WANDER
        case = lobby_case(book)
        known, grown = case.known, case.evidence.grown_cm.sum(axis=1)
        allowed.append(np.median(np.diag(known.covariance - known.noise) / grown**2) ** 0.5)
    assert 0.02 < allowed[0] < allowed[1]
    assert allowed[1] > 0.15
