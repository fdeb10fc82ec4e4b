"""A widening that the practice asks for reaches every range and every chance."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from pathlib import Path

import numpy as np

from growthcast.fit.growth import fit_growth
from growthcast.forecast.report import forecast_growth
from growthcast.service.recommend import recommend
from tests.books import PRACTICE, make_book

ON = date(2026, 6, 1)
LATER = date(2026, 6, 11)


def test_ranges_are_as_much_wider_as_asked(tmp_path: Path) -> None:
    book = make_book(tmp_path, practice=PRACTICE + "[fit]\nwidening = 1.5\n")
    wide = fit_growth(book, on=ON)
    plain = replace(wide, widening=1.0)
    assert wide.widening == 1.5
    first, second = (forecast_growth(fit, (LATER,), 60)[0] for fit in (plain, wide))

    def width(forecast):
        return forecast.height_cm[0, 5] - forecast.height_cm[0, 1]

    assert 1.4 < width(second) / width(first) < 1.6
    assert np.isclose(first.height_cm[0, 3], second.height_cm[0, 3], rtol=0.05)


def test_chances_of_an_interval_come_closer_to_even(tmp_path: Path) -> None:
    book = make_book(tmp_path)
    plain = fit_growth(book, on=ON)
    wide = replace(plain, widening=1.5)
    sure, unsure = (recommend(book, fit)[0] for fit in (plain, wide))
    chances = [
        (one.chance_at_least_cut, other.chance_at_least_cut)
        for one, other in zip(sure.options, unsure.options, strict=True)
    ]
    likely = [other < one for one, other in chances if 0.7 < one < 0.99]
    unlikely = [other > one for one, other in chances if one < 0.3]
    assert likely
    assert unlikely
    assert all(likely + unlikely)
