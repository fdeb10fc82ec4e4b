"""The log is drawn as it was read: nothing joined across what is not known."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import date, timedelta

import numpy as np

from growthcast.book.supposed import with_rows
from growthcast.figures.panel import AreaLog, area_log, visit_days
from growthcast.fit.design import day_number
from tests.unit.figures.conftest import ON, Fitted

ON_DAY = day_number(ON)


def log_of(fitted: Fitted, area_id: str, shown_d: int = 70) -> AreaLog:
    return area_log(fitted[0], area_id, ON_DAY - shown_d, ON_DAY)


def test_heights_before_and_after_are_those_of_the_log(lobby: Fitted) -> None:
    log = log_of(lobby, "stems")
    assert log.before_cm.tolist() == [21.0, 22.0, 19.5]
    assert log.after_cm.tolist() == [10.0, 10.0, 10.5]


def test_no_line_across_a_cut_of_unknown_height(lobby: Fitted) -> None:
    assert log_of(lobby, "stems").joined.tolist() == [False, True, False]
    days, heights = log_of(lobby, "stems").sawtooth()
    assert np.isnan(heights).sum() == 2
    assert days.size == heights.size == 8


def test_no_line_across_a_weight_of_the_whole_tank(make: Callable[..., Fitted]) -> None:
    rows = "2026-03-02,lobby,stems,22,10,,,,,\n{}2026-03-16,lobby,stems,19,10,,,,,\n"
    weighed = make(trims=rows.format("2026-03-09,lobby,,,,,200,,,\n"), name="weighed")
    looked = make(trims=rows.format("2026-03-09,lobby,stems,,,,,right,,\n"), name="looked")
    assert log_of(weighed, "stems").joined.tolist() == [False, False]
    assert log_of(looked, "stems").joined.tolist() == [False, True]


def test_a_length_taken_off_a_known_height_gives_the_height_left(lobby: Fitted) -> None:
    assert log_of(lobby, "carpet").after_cm.tolist() == [1.5, 1.5]


def test_only_the_days_asked_for(lobby: Fitted) -> None:
    assert len(log_of(lobby, "stems", shown_d=7)) == 1
    assert not log_of(lobby, "stems", shown_d=7).joined.any()
    assert visit_days(lobby[0], "lobby", ON_DAY - 14, ON_DAY).tolist() == [
        day_number(ON - timedelta(days=d)) for d in (14, 7, 0)
    ]


def test_heights_agreed_anew_are_steps_from_their_day_on(lobby: Fitted) -> None:
    book = lobby[0]
    row = {"area_id": "stems", "from_date": date(2026, 3, 1), "budget_cm": 20.0}
    moved = replace(book, bounds=with_rows(book.bounds, [row]))
    log = area_log(moved, "stems", ON_DAY - 70, ON_DAY)
    assert log.agreed[0].tolist() == [ON_DAY - 70, day_number(date(2026, 3, 1))]
    assert log.agreed[1:].tolist() == [[8, 8], [24, 20]]
    assert area_log(moved, "carpet", ON_DAY - 70, ON_DAY).agreed[2].tolist() == [4, 4]
