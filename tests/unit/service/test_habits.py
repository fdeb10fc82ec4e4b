"""Usual cuts that last several visits, by other routes than the code's."""

from __future__ import annotations

from datetime import date

import numpy as np
import pytest

from growthcast.book.files import demo_dir
from growthcast.book.read import read_book
from growthcast.fit.growth import fit_growth, last_logged
from growthcast.service.effort.hours import LEVELS, hands_of, visit_effort
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
from tests.cli import shared_fits

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
    """The hours of both are those that the interval of each tells."""
    book, fit, standing = lobby
    living, usual, lasted = standing.living, np.array([8.0, 1.2]), np.array([2, 2])
    timing, wanted = learn_timing(book, fit), np.array([0.9])
    option = interval_options(living, 7, wanted)
    rarer = interval_options(living, 14, wanted, usual)
    now_h, then_h = (
        visit_effort(fit.design, timing, one, np.zeros(1)).hours_of_year(0, one.interval_d)
        for one in (option, rarer)
    )
    saves = saved_by_leaving(fit.design, timing, option, usual, lasted, 60.0)
    by_hand = np.quantile(now_h - then_h, LEVELS)
    assert by_hand[1] > 0.5  # else it is not worth a word
    told = [saves.hours.p10, saves.hours.p50, saves.hours.p90]
    assert told == pytest.approx(by_hand, rel=0.01)
    assert saves.cost.p50 == pytest.approx(60 * saves.hours.p50)
    one_left = saved_by_leaving(fit.design, timing, option, usual, np.array([1, 2]), 60.0)
    assert one_left.hours.p50 < saves.hours.p50
    assert saved_by_leaving(fit.design, timing, option, usual, np.array([1, 1]), 60.0) is None


def test_what_leaving_saves_is_that_of_many_visits_not_of_one_hand():
    """Slow plants, of which a visit may take off nothing: visit after visit by hand, averaged."""
    book = read_book(demo_dir())
    with shared_fits():
        fit = fit_growth(book, last_logged(book))
    standing = standing_areas(fit, np.array([2]))
    living, timing, wanted = standing.living, learn_timing(book, fit), np.array([0.9])
    usual, hands = fit.design.traits.cut_cm[living.area], hands_of(living, fit.design, timing)
    option = interval_options(living, 7, wanted)
    lasted = np.full(usual.size, 4)

    def hours(one):
        left_cm = one.cut_cm[:, None] * living.hand_share[:, :FOLLOWED_DRAWS]
        minutes = hands.minutes(np.maximum(one.end_cm - left_cm, 0.0)).sum(axis=0)
        return minutes.mean() * 365 / one.interval_d / 60

    by_hand = hours(option) - hours(interval_options(living, 28, wanted, usual))
    saves = saved_by_leaving(fit.design, timing, option, usual, lasted, 60.0)
    assert saves.hours.p50 == pytest.approx(by_hand, rel=0.05)
