"""How often past forecasts for a tank were right, on readings made by hand."""

from __future__ import annotations

import numpy as np
import pytest

from growthcast import cache
from growthcast.forecast.scores import NORMAL_SCORES, Predictive
from growthcast.forecast.verdict import LEAST_READINGS, Readings
from growthcast.service.pages import record
from growthcast.service.pages.record import Record, past_records
from tests.books import make_book


def of(readings, inside):
    return Record(readings, inside, is_cover=False, alone=False)


def test_a_chance_is_that_of_so_few_or_fewer_where_eight_of_ten_are_meant():
    """Of two: both outside 0.04, one inside 0.32, both inside 0.64."""
    assert of(2, 0).chance == pytest.approx(0.04)
    assert of(2, 1).chance == pytest.approx(0.36)
    assert of(2, 2).chance == pytest.approx(1.0)
    assert of(LEAST_READINGS, 1).enough
    assert not of(LEAST_READINGS - 1, 1).enough


def test_readings_count_by_tank_and_by_the_measure_most_of_them_have(tmp_path, monkeypatch):
    """Heights of 10 +- 1: 80 % lie within 1.28; of a tank of both, cover is left out if fewer."""
    tank = np.array([0, 0, 0, 0, 1, 1, 1])
    is_cover = np.array([0, 0, 0, 1, 0, 1, 1], dtype=bool)
    reading = np.array([10.0, 11.2, 11.4, 10.0, 10.0, 8.8, 8.6])
    heights = np.tile(10.0 + NORMAL_SCORES, (7, 1))
    made = Predictive(heights, np.full_like(heights, 1e-6))
    nothing = np.zeros(7)
    readings = Readings(tank, tank, nothing, nothing, reading, nothing, is_cover, nothing)
    asked = []

    def foreseen(book, splits):
        asked.append((len(book.tanks), len(book.areas), splits))
        return readings, made

    monkeypatch.setattr(record, "foreseen_readings", foreseen)
    book = make_book(tmp_path)
    assert past_records(book, ["lobby", "home"], 5) == {
        "lobby": Record(3, 2, is_cover=False, alone=False),
        "home": Record(2, 1, is_cover=True, alone=False),
    }
    monkeypatch.setattr(record, "MOST_AREAS", 3)
    assert not past_records(book, ["lobby"])["lobby"].alone
    monkeypatch.setattr(record, "MOST_AREAS", 2)
    assert past_records(book, ["home"])["home"].alone
    assert asked == [(2, 3, 5), (2, 3, 10), (1, 1, 10)]


def test_the_record_of_all_tanks_is_worked_out_once_for_their_pages(tmp_path, monkeypatch):
    monkeypatch.setenv("GROWTHCAST_CACHE", str(tmp_path / "kept"))
    cache.turn(on=True)
    asked = []

    def foreseen(book, splits):
        asked.append(splits)
        nothing = np.zeros(2)
        heights = np.tile(10.0 + NORMAL_SCORES, (2, 1))
        whose, cover = np.array([0, 1]), np.zeros(2, dtype=bool)
        reading = np.full(2, 10.0)
        readings = Readings(whose, whose, nothing, nothing, reading, nothing, cover, nothing)
        return readings, Predictive(heights, np.full_like(heights, 1e-6))

    monkeypatch.setattr(record, "foreseen_readings", foreseen)
    try:
        book = make_book(tmp_path)
        first = past_records(book, ["lobby"])["lobby"]
        assert past_records(book, ["home", "lobby"]) == {"home": first, "lobby": first}
        assert past_records(book, ["home"], 5)["home"] == first
    finally:
        cache.turn(on=False)
    assert asked == [10, 5]
