"""Usual cuts that last several visits, by other routes than the code's."""

from __future__ import annotations

from datetime import date

import numpy as np
import pytest

from growthcast.fit.growth import fit_growth
from growthcast.service.effort.hours import hands_of
from growthcast.service.effort.learn import learn_timing
from growthcast.service.interval import interval_options, lasts_from
from growthcast.service.living import FOLLOWED_DRAWS
from growthcast.service.visit.standing import (
    MOST_VISITS,
    saved_by_leaving,
    standing_areas,
    visits_lasted,
)
from tests.books import make_book

ON = date(2026, 6, 8)


@pytest.fixture(scope="module")
def lobby(tmp_path_factory):
    book = make_book(tmp_path_factory.mktemp("book"), on=ON)
    fit = fit_growth(book, ON)
    return book, fit, standing_areas(fit, np.array([0]))


def test_a_usual_cut_lasts_while_every_area_has_its_part_of_the_chance(lobby):
    _, _, standing = lobby
    usual = np.array([9.0, 1.5])
    lasted = visits_lasted(standing, 3, usual, 0.9)
    assert lasted.min() >= 1
    needed = np.sqrt(0.9)  # two areas
    for area, visits in enumerate(lasted.tolist()):
        for more, holds in ((visits, True), (visits + 1, False)):
            if more > MOST_VISITS:
                continue
            now = standing.cut(usual).later(3 * more).within()[area].mean()
            steady = lasts_from(standing.living, usual, 3 * more)[area].mean()
            assert (min(now, steady) >= needed) == holds


def test_lower_cuts_last_no_shorter_and_no_habit_lasts_nothing(lobby):
    _, _, standing = lobby
    low, high = (visits_lasted(standing, 3, np.array(cm), 0.9) for cm in ([8, 1.2], [14, 2.5]))
    assert (low >= high).all()
    assert (low > high).any()
    assert visits_lasted(standing, 3, np.array([np.nan, 1.2]), 0.9)[0] == 0


def test_what_leaving_saves_is_a_year_of_cuts_less_a_year_of_fewer(lobby):
    """Where an hour costs 60, money is minutes; the growth between is worked out afresh."""
    book, fit, standing = lobby
    living, usual, lasted = standing.living, np.array([8.0, 1.2]), np.array([1, 2])
    hands = hands_of(living, fit.design, learn_timing(book, fit))
    option = interval_options(living, 7, np.array([0.9]))
    saves = saved_by_leaving(standing, option, usual, lasted, hands, 60.0)
    cuts = 365 / 7
    each = np.maximum(option.end_cm[1] - option.cut_cm[1], 0)
    growth, _ = living.growth_after_cut(14)
    deep = np.maximum(living.end_height(growth, usual)[1, :FOLLOWED_DRAWS] - usual[1], 0)

    def minutes(off, visits):
        scatter = np.exp(hands.scatter[1] / np.sqrt(visits))
        return visits * scatter * (hands.set_up_min[1] + hands.min_per_cm[1] * off) * (off > 0)

    by_hand = np.median(minutes(each, cuts) - minutes(deep, cuts / 2)) / 60
    assert by_hand > 0.5  # else it is not worth a word
    assert saves.hours.p50 == pytest.approx(by_hand, rel=1e-4)
    assert saves.cost.p50 == pytest.approx(60 * by_hand, rel=1e-4)
    assert saved_by_leaving(standing, option, usual, np.array([1, 1]), hands, 60.0) is None
