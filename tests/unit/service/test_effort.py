"""Minutes of trimming learnt from small logs whose truth is plain."""

from __future__ import annotations

from datetime import date, timedelta
from types import SimpleNamespace

import numpy as np
import pytest

from growthcast.fit.growth import fit_growth
from growthcast.say.reasons import minutes_words
from growthcast.service.effort import learn
from growthcast.service.effort.hours import Range, year_of_visits
from growthcast.service.effort.learn import learn_timing, timed_trims
from growthcast.service.recommend import recommend
from growthcast.species import read_forms
from tests.books import HEADER, PRACTICE, make_book, stem_log

ON = date(2026, 6, 1)
STEMS, CARPET, MOSS = 0, 1, 2
STEM, CARPETS = read_forms()["stem"], read_forms()["carpet"]
LITRES = 9.0 * 400 / 1000
"""What a visit of ``tests.books`` takes off the stems: 18 cm to 9 cm on 400 cm2."""


def minutes_of(form, litres):
    """Minutes by the defaults of a form."""
    return form.set_up_min + form.min_per_l * litres


def visits_log(row_of, count=16, every_d=7):
    """Return a log of ``count`` visits that end on ON; ``row_of(day, n)`` gives rows."""
    days = [ON - timedelta(days=every_d * back) for back in reversed(range(count))]
    return HEADER + "".join(row_of(day, n) for n, day in enumerate(days))


def stems_row(day, n, minutes=""):
    return f"{day},lobby,stems,{18 + 0.5 * (n % 3 - 1)},9,,,,{minutes},\n"


def timing_of(folder, log, **files):
    book = make_book(folder, trims=log, **files)
    fit = fit_growth(book, ON)
    return learn_timing(book, fit), book, fit


def usual_minutes(timing, area=STEMS, litres=LITRES):
    set_up_min, min_per_l = np.exp(timing.log_min.reshape(2, -1)[:, timing.kind[area]])
    return float(set_up_min + min_per_l * litres)


def test_without_minutes_the_defaults_stand_and_say_so(tmp_path):
    timing, _, _ = timing_of(tmp_path, stem_log())
    assert usual_minutes(timing) == pytest.approx(minutes_of(STEM, LITRES))
    assert timing.visits == 0
    assert "common practice" in minutes_words(timing.rests_on(np.array([STEMS])))


def test_own_minutes_move_the_defaults(tmp_path):
    """Sixteen visits of three times the usual minutes."""
    slow = 3 * minutes_of(STEM, LITRES)
    log = visits_log(lambda day, n: stems_row(day, n, f"{slow:.0f}"))
    timing, _, _ = timing_of(tmp_path, log)
    assert usual_minutes(timing) == pytest.approx(slow, rel=0.08)
    assert minutes_words(timing.rests_on(np.array([STEMS]))) == (
        "minutes of trimming are fitted from 16 timed visits in the log"
    )


def test_a_short_trimming_is_no_surer_than_the_clock(tmp_path):
    """Sixteen visits of a minute each, read to half a minute: scatter alone would be a tenth."""
    log = visits_log(lambda day, n: f"{day},lobby,stems,{9.3 + 0.1 * (n % 2)},9,,,,1,\n")
    timing, _, _ = timing_of(tmp_path, log)
    assert usual_minutes(timing, litres=0.14) == pytest.approx(1.0, rel=0.3)
    spread = np.sqrt(timing.covariance[timing.kind[STEMS], timing.kind[STEMS]])
    assert spread > 0.5 / np.sqrt(16)


def test_a_form_never_timed_follows_the_pace_and_says_so(tmp_path):
    slow = 3 * minutes_of(STEM, LITRES)
    log = visits_log(lambda day, n: stems_row(day, n, f"{slow:.0f}"))
    timing, _, _ = timing_of(tmp_path, log)
    usual = minutes_of(CARPETS, 1.0)
    assert 1.2 * usual < usual_minutes(timing, CARPET, 1.0) < 3.0 * usual
    assert "carpet, never timed" in minutes_words(timing.rests_on(np.array([STEMS, CARPET])))


def test_whole_tank_minutes_are_the_trimming_of_its_areas(tmp_path):
    """Stems and carpet have rows without minutes: the tank's minutes are those of both."""
    carpet_l = 2.0 * 900 / 1000
    slow = 2 * (minutes_of(STEM, LITRES) + minutes_of(CARPETS, carpet_l))

    def rows(day, n):
        return (
            stems_row(day, n)
            + f"{day},lobby,carpet,3.5,1.5,,,,,\n"
            + f"{day},lobby,,,,,,,{slow:.0f},\n"
        )

    timing, _, _ = timing_of(tmp_path, visits_log(rows))
    both = usual_minutes(timing) + usual_minutes(timing, CARPET, carpet_l)
    assert both == pytest.approx(slow, rel=0.08)
    assert timing.reading is None


def test_areas_with_their_own_minutes_are_not_in_the_tanks(tmp_path):
    """Were the stems' 20 counted in the tank's 14 minutes, less than nothing would be left."""

    def rows(day, n):
        return (
            stems_row(day, n, 20)
            + f"{day},lobby,carpet,3.5,1.5,,,,,\n"
            + f"{day},lobby,,,,,,,14,\n"
        )

    timing, book, fit = timing_of(tmp_path, visits_log(rows))
    trims = timed_trims(book, fit)
    assert trims.visits == 16
    assert np.bincount(trims.row).tolist() == [1] * 32
    assert usual_minutes(timing) == pytest.approx(20, rel=0.08)
    assert usual_minutes(timing, CARPET, 1.8) == pytest.approx(14, rel=0.08)
    assert "not timed by themselves" in minutes_words(timing.rests_on(np.array([STEMS])))


@pytest.mark.parametrize(("read", "carpets"), [("all", 14), ("rest", 34)])
def test_the_practice_says_whose_minutes_a_whole_tanks_are(tmp_path, read, carpets):
    """The stems' own 20 minutes are among the tank's 34, or they are not."""

    def rows(day, n):
        return (
            stems_row(day, n, 20)
            + f"{day},lobby,carpet,3.5,1.5,,,,,\n"
            + f"{day},lobby,,,,,,,34,\n"
        )

    practice = f'{PRACTICE}[log]\nwhole_tank_minutes = "{read}"\n'
    timing, _, _ = timing_of(tmp_path, visits_log(rows), practice=practice)
    assert usual_minutes(timing) == pytest.approx(20, rel=0.08)
    assert usual_minutes(timing, CARPET, 1.8) == pytest.approx(carpets, rel=0.08)
    assert "as [log] whole_tank_minutes says" in minutes_words(timing.rests_on(np.array([STEMS])))


def test_the_log_tells_whose_minutes_a_whole_tanks_are(tmp_path):
    """Stems, timed by themselves, and carpet; what both logs say of the carpet is the same."""
    learnt = []
    for whose, stems_too in (("all areas", True), ("all areas not timed by themselves", False)):

        def rows(day, n, stems_too=stems_too):
            litres, low = (0.3, 0.8, 1.5)[n % 3], (6, 19, 12)[n // 3 % 3]
            own = round(minutes_of(STEM, (21 - low) * 0.4))
            whole = round(minutes_of(CARPETS, litres)) + own * stems_too
            stems = f"{day},lobby,stems,21,{low},,,,{own},\n"
            carpet = f"{day},lobby,carpet,3,{3 - litres / 0.9:.2f},,,,,\n"
            return stems + carpet + f"{day},lobby,,,,,,,{whole},\n"

        timing, _, _ = timing_of(tmp_path / whose, visits_log(rows, count=18))
        said = minutes_words(timing.rests_on(np.array([STEMS])))
        assert said.endswith(f"whole-tank minutes are read as the trimming of {whose}")
        learnt.append(timing.log_min)
    assert learnt[0] == pytest.approx(learnt[1])


def test_minutes_that_hold_the_fixed_part_are_seen_and_said(tmp_path):
    """The practice's 30 minutes at the tank are in every whole-tank row."""

    def rows(day, n):
        low = (6, 9, 13, 16)[n % 4]
        trimming = minutes_of(STEM, (18 - low) * 0.4)
        uncut = f"{day},lobby,carpet,2,,,,,,\n"
        return f"{day},lobby,stems,18,{low},,,,,\n{uncut}{day},lobby,,,,,,,{30 + trimming:.0f},\n"

    timing, _, _ = timing_of(tmp_path, visits_log(rows, count=24))
    assert "and the fixed part of a visit" in minutes_words(timing.rests_on(np.array([STEMS])))
    assert usual_minutes(timing) == pytest.approx(minutes_of(STEM, LITRES), rel=0.25)


def test_a_few_rows_do_not_change_how_whole_tank_minutes_are_read(tmp_path):
    """One row of as many minutes as the fixed part takes is no proof."""
    log = visits_log(lambda day, n: f"{day},home,,,,,,,30,\n", count=3)
    timing, _, _ = timing_of(tmp_path, log)
    assert timing.visits == 3
    assert timing.reading is None


def test_an_absurd_row_hardly_moves_the_minutes(tmp_path):
    plain = visits_log(lambda day, n: stems_row(day, n, 12))
    odd = visits_log(lambda day, n: stems_row(day, n, 120 if n == 7 else 12))
    before, after = (
        usual_minutes(timing_of(tmp_path / name, log)[0])
        for name, log in (("a", plain), ("b", odd))
    )
    assert after == pytest.approx(before, rel=0.06)


@pytest.mark.parametrize(
    ("cells", "litres"),
    [
        (",,9,,,", LITRES),
        (",9,,,,", LITRES),
        (",9,,108,,", LITRES),  # 30 g/l, as the table has it
        (",,,,,", LITRES),
    ],
    ids=["length", "height after", "weight", "nothing"],
)
def test_every_way_to_tell_an_amount_counts(tmp_path, cells, litres):
    """Half of the visits tell heights, the others less; all of them take the same 12 minutes."""

    def rows(day, n):
        return stems_row(day, n, 12) if n % 2 else f"{day},lobby,stems,{cells}12,\n"

    timing, book, fit = timing_of(tmp_path, visits_log(rows))
    trims = timed_trims(book, fit)
    assert trims.visits == 16
    assert np.median(trims.amount[: trims.amount.size // 2]) == pytest.approx(litres, rel=0.35)
    assert usual_minutes(timing) == pytest.approx(12, rel=0.1)


def test_a_stand_denser_than_the_table_gives_less_height_for_its_weight(monkeypatch):
    """16 g at 2 g/cm are 8 cm by the table, 4 cm of a stand twice as dense, 16 of one half as much.

    The model expects 10 cm give or take 4, the scales are sure to a quarter: 1 cm of 4, 4 of 16.
    """
    none = np.zeros(0)
    errors = SimpleNamespace(height_error_cm=np.full(2, 0.3), height_error_share=np.full(2, 0.03))
    fit = SimpleNamespace(
        design=SimpleNamespace(
            problem=SimpleNamespace(errors=errors),
            traits=SimpleNamespace(gram_per_cm=np.array([2.0, 2.0])),
        ),
        mode=SimpleNamespace(log_density=np.log([2.0, 0.5])),
        unsaid_cuts=SimpleNamespace(area=none.astype(int), day=none),
    )
    area, day, unsaid = np.array([0, 1]), np.full(2, 20000.0), np.full(2, np.nan)
    visits = SimpleNamespace(
        area=area,
        day=day,
        before_cm=unsaid,
        after_cm=unsaid,
        removed_cm=unsaid,
        removed_g=np.array([16.0, 16.0]),
        cut=np.array([True, True]),
    )
    monkeypatch.setattr(learn, "_expected_off", lambda *_: np.array([10.0, 10.0]))
    cm, sd, chance = learn._removed(fit, visits, area, day)
    # (4 + 10 / 16) / (1 + 1 / 16), and halfway between 16 and 10.
    assert cm == pytest.approx([74 / 17, 13.0])
    assert sd == pytest.approx([(16 / 17) ** 0.5, 8**0.5])
    assert chance.tolist() == [1.0, 1.0]


def test_minutes_in_which_nothing_was_cut_tell_nothing_of_cutting(tmp_path):
    def rows(day, n):
        cut = stems_row(day, n) if n % 2 else f"{day},lobby,stems,14,,,,,,\n"
        carpet = f"{day},lobby,carpet,2,,,,,,\n"
        return cut + carpet + f"{day},lobby,,,,,,,{11 if n % 2 else 40},\n"

    timing, _, _ = timing_of(tmp_path, visits_log(rows))
    assert timing.visits == 8
    assert usual_minutes(timing) == pytest.approx(11, rel=0.08)


def test_ranges_are_in_order_and_narrow_with_the_log(tmp_path):
    def rows(day, n):
        return stems_row(day, n) + f"{day},lobby,carpet,3.5,1.5,,,,,\n"

    untimed = visits_log(rows)
    timed = visits_log(lambda day, n: rows(day, n) + f"{day},lobby,,,,,,,21,\n")
    widths = []
    for name, log in (("untimed", untimed), ("timed", timed)):
        _, book, fit = timing_of(tmp_path / name, log)
        for option in recommend(book, fit)[0].options:
            year = option.year
            for values in (option.minutes_range, year.hours_range, year.cost_range):
                assert 0 < values.p10 < values.p50 < values.p90
            assert year.hours_range.p50 == pytest.approx(year.hours)
            assert year.cost_range.p90 == pytest.approx(60 * year.hours_range.p90)
            assert option.minutes_range.p10 > 50  # 30 at the tank and 20 on the road are sure
            one, mean = option.minutes_range, year.hours_range.times(60 / year.visits)
            assert one.p50 == pytest.approx(mean.p50, rel=0.05)  # growth is the same all year
            assert one.p90 - one.p10 > mean.p90 - mean.p10
        first = recommend(book, fit)[0].options[0].year.cost_range
        widths.append(first.p90 - first.p10)
    assert widths[1] < 0.7 * widths[0]


def test_taking_more_off_takes_longer(tmp_path):
    _, book, fit = timing_of(tmp_path, stem_log())
    minutes = [option.minutes_per_visit for option in recommend(book, fit)[0].options]
    assert minutes == sorted(minutes)


def test_a_year_without_a_range_is_sure():
    year = year_of_visits(14, Range(60.0, 60.0, 60.0), 50.0)
    assert year.cost_range == Range(year.cost, year.cost, year.cost)
