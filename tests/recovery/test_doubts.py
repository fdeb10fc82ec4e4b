"""How often honest readings are doubted on simulated practices, and slips of the pen are seen."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import numpy as np
import pytest

from growthcast.book.read import read_book
from growthcast.book.writing.visit.entry import VisitRow
from growthcast.book.writing.visit.places import Place
from growthcast.fit.growth import recalled_fit
from growthcast.say.log import cause_words
from growthcast.service.doubts.judge import doubts_about
from growthcast.service.doubts.typed import expected_at
from tests.simulator.plan import Richness
from tests.simulator.practice import simulate_practice

pytestmark = pytest.mark.slow

HONEST = Richness(gross_error_share=0.0, unlogged_cut_share=0.0)


@pytest.fixture(scope="module")
def readings(tmp_path_factory):
    """Return heights read at the visits of three weeks, each with what was expected."""
    practice = simulate_practice(tanks=80, days=120, seed=7, richness=HONEST)
    folder = practice.write_book(tmp_path_factory.mktemp("doubts"))
    book = read_book(folder, today=practice.last_on)
    days = sorted({row.on for row in practice.log if row.on > practice.last_on - timedelta(18)})
    found = []
    for day in days[::3]:
        earlier = book.trims.keep(book.trims.date("date") < np.datetime64(day))
        known = replace(book, trims=earlier)
        fit = recalled_fit(known, day)
        tanks = {row.tank_id for row in practice.log if row.on == day}
        expected = {tank: expected_at(fit, known, tank) for tank in tanks}
        found += [
            (expected[row.tank_id], known, row)
            for row in practice.log
            if row.on == day and row.area_id and row.before_cm is not None
        ]
    return found


def doubted(reading, factor=1.0):
    expected, book, row = reading
    typed = VisitRow(Place(row.area_id, "", is_cover=False), {"before_cm": factor * row.before_cm})
    return doubts_about(expected, [typed], book, row.on, "all")


def test_about_one_honest_reading_of_a_hundred_is_doubted(readings):
    count = sum(bool(doubted(reading)) for reading in readings)
    assert len(readings) > 100
    assert count <= 0.04 * len(readings), count


@pytest.mark.parametrize("factor", [0.1, 10.0])
def test_nearly_every_slipped_decimal_is_doubted_and_called_so(readings, factor):
    """Of carpets below 3 cm a tenth lies within what a ruler and a week's growth leave open."""
    tall = [reading for reading in readings if reading[2].before_cm > 3.0]
    found = [doubted(reading, factor) for reading in tall]
    named = sum("slipped decimal" in cause_words(doubts[0]) for doubts in found if doubts)
    assert len(tall) > 80
    assert sum(map(bool, found)) > 0.95 * len(tall)
    assert named > 0.8 * len(tall)
