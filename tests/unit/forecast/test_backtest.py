"""The backtest: nothing of a later day in a forecast, scores, baselines and the learnt widening."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from functools import partial
from types import SimpleNamespace

import numpy as np
import pytest

from growthcast.book.read import read_book
from growthcast.errors import UsageError
from growthcast.fit.design import day_number
from growthcast.fit.growth import known_before
from growthcast.fit.model.noise import ErrorModel
from growthcast.forecast import backtest as backtesting
from growthcast.forecast.backtest import _forecast_from, _split_days, backtest
from growthcast.forecast.baselines import (
    Past,
    last_rate,
    line,
    only_starts,
    own_spans,
    start_heights,
    unpooled,
)
from growthcast.forecast.scores import (
    NORMAL_SCORES,
    Forecasts,
    Predictive,
    Recalibration,
    log_factors_that_hold,
    widening_of,
)
from growthcast.forecast.verdict import BacktestResult, Readings
from growthcast.log.visits import log_visits
from tests.books import AREAS, HEADER, make_book
from tests.curve import height_after
from tests.simulator import simulate_practice

SPLITS = 4
CONDITIONS = (
    "tank_id,from_date,ppfd_umol,photoperiod_h\nlobby,2026-01-01,80,8\nlobby,2026-05-25,160,10\n"
)


@pytest.fixture(scope="module")
def book(tmp_path_factory):
    practice = simulate_practice(tanks=4, days=150, seed=5, areas_per_tank=(2, 3))
    folder = tmp_path_factory.mktemp("practice")
    practice.write_book(folder)
    return read_book(folder)


@pytest.fixture(scope="module")
def result(book):
    return backtest(book, SPLITS)


def poisoned(book, day):
    """Spoil everything that is dated on or after a day."""
    limit = np.datetime64(int(day), "D")
    trims, conditions, areas = book.trims, book.conditions, book.areas
    late = trims.date("date") >= limit
    spoilt = {
        name: np.where(late, 0.3 * trims.number(name) + 4.0, trims.number(name))
        for name in ("before_cm", "after_cm", "removed_cm", "removed_g")
    }
    changed = conditions.date("from_date") >= limit
    light = np.where(changed, 900.0, conditions.number("ppfd_umol"))
    light[-1] = 900.0
    from_date = conditions.date("from_date").copy()
    from_date[-1] = limit
    removed_on = areas.date("removed_on").copy()
    removed_on[:] = trims.date("date").max()
    return replace(
        book,
        trims=replace(trims, columns={**trims.columns, **spoilt}),
        conditions=replace(
            conditions,
            columns={**conditions.columns, "ppfd_umol": light, "from_date": from_date},
        ),
        areas=replace(areas, columns={**areas.columns, "removed_on": removed_on}),
    )


def without_last_condition(book):
    kept = np.ones(len(book.conditions), dtype=bool)
    kept[-1] = False
    return replace(book, conditions=book.conditions.keep(kept))


def forecasts_until(result, day):
    rows = result.readings.split_day <= day
    made = [result.model, *result.baselines.values()]
    return [forecasts.predictive.height_cm[rows] for forecasts in made]


@pytest.mark.slow
def test_no_forecast_sees_a_later_day(book):
    clean = backtest(without_last_condition(book), SPLITS)
    split = clean.split_days[1]
    spoilt = backtest(poisoned(book, split), SPLITS)
    assert spoilt.split_days == clean.split_days
    for before, after in zip(
        forecasts_until(clean, split), forecasts_until(spoilt, split), strict=True
    ):
        assert len(before) > 5
        # Stepped together with later books, which may make it a step more: as sure as a fit is.
        np.testing.assert_allclose(before, after, rtol=1e-3)
    last = clean.readings.split_day == clean.split_days[-1]
    for forecasts in ("model", "baselines"):
        one, other = getattr(clean, forecasts), getattr(spoilt, forecasts)
        if forecasts == "baselines":
            one, other = one["line"], other["line"]
        apart = one.predictive.height_cm[last] - other.predictive.height_cm[last]
        assert np.nanmax(np.abs(apart)) > 0.5  # the poison is strong enough to be noticed


def test_the_poison_is_noticed_where_a_later_row_gets_through(book, monkeypatch):
    clean = without_last_condition(book)
    first = backtest(clean, 1)
    spoilt = poisoned(book, first.split_days[0])

    def leaking(whole, day):
        return replace(known_before(whole, day), conditions=spoilt.conditions)

    monkeypatch.setattr(backtesting, "known_before", leaking)
    leaked = backtest(clean, 1)
    apart = leaked.model.predictive.height_cm - first.model.predictive.height_cm
    assert np.abs(apart).max() > 0.5


def test_the_earlier_book_holds_nothing_later(tmp_path):
    areas = (
        AREAS.replace("2025-01-01,\ncarpet", "2025-01-01,2026-05-29\ncarpet")
        + "late,lobby,Late,rotala-rotundifolia,100,7,22,9,2026-05-20,\n"
    )
    book = make_book(
        tmp_path,
        areas=areas,
        conditions=CONDITIONS,
        trims=HEADER
        + (
            "2026-05-01,lobby,stems,18,9,,,,,\n2026-05-20,lobby,stems,19,9,,,,,\n"
            "2026-05-27,lobby,late,19,9,,,,,\n"
        ),
    )
    earlier = known_before(book, day_number(date(2026, 5, 20)))
    assert earlier.trims.date("date").tolist() == [date(2026, 5, 1)]
    assert earlier.areas.text("area_id").tolist() == ["stems", "carpet", "moss"]
    assert np.isnat(earlier.areas.date("removed_on")).all()
    assert earlier.conditions.number("ppfd_umol").tolist() == [80.0]
    later = known_before(book, day_number(date(2026, 5, 30)))
    assert len(later.trims) == 3
    assert later.areas.date("removed_on")[0] == np.datetime64("2026-05-29")


def test_each_reading_counts_once_from_the_latest_split_that_can_see_it(result, book):
    readings = result.readings
    pairs = list(zip(readings.area.tolist(), readings.day.tolist(), strict=True))
    assert len(set(pairs)) == len(pairs) > 20
    assert (readings.split_day <= readings.day).all()
    assert (readings.day - readings.split_day <= 35).all()
    visits = log_visits(book)
    for area, day, split in zip(readings.area, readings.day, readings.split_day, strict=True):
        earlier = visits.day[(visits.area == area) & (visits.day < day)]
        assert not earlier.size or earlier.max() < split
    logged = {
        (str(area), float(day.astype("datetime64[D]").astype(int))): before
        for area, day, before in zip(
            book.trims.text("area_id"),
            book.trims.date("date"),
            book.trims.number("before_cm"),
            strict=True,
        )
    }
    ids = book.areas.text("area_id")
    for (area, day), reading in zip(pairs, readings.reading_cm, strict=True):
        assert logged[ids[area], day] == reading


def test_visits_that_cut_without_a_height_end_the_look_ahead(tmp_path):
    rows = "2026-05-01,lobby,stems,18,9,,,,,\n2026-05-08,lobby,,,,,200,,,\n"
    rows += "2026-05-10,lobby,stems,,,,,right,,\n2026-05-12,lobby,stems,16,,3,,,,\n"
    visits = log_visits(make_book(tmp_path, trims=HEADER + rows))
    stems = visits.keep(visits.area == 0)
    days = stems.day - stems.day[0]
    assert days.tolist() == [0, 7, 11]
    assert (stems.cut | stems.unsaid).all()
    np.testing.assert_array_equal(stems.left_cm, [9, np.nan, 13])
    assert own_spans(visits).area.size == 0  # no height was read at the start of either


def test_crps_is_that_of_the_distribution():
    rng = np.random.default_rng(3)
    height, error = rng.gamma(4.0, 3.0, (1, 100)), rng.uniform(0.2, 1.0, (1, 100))
    made = Predictive(height, error)
    drawn = rng.normal(height[0], error[0], (4000, 100)).ravel()
    rng.shuffle(drawn)
    half = drawn.size // 2
    for reading in (2.0, 12.0, 40.0):
        expected = np.abs(drawn - reading).mean() - 0.5 * np.abs(drawn[:half] - drawn[half:]).mean()
        assert made.crps_cm(np.array([reading]))[0] == pytest.approx(expected, abs=0.03)
    # One standard normal: y (2 Phi(y) - 1) + 2 phi(y) - 1 / sqrt(pi), of Gneiting and Raftery 2007.
    one = Predictive(np.zeros((2, 100)), np.ones((2, 100)))
    assert one.crps_cm(np.array([0.0, 1.0])) == pytest.approx([0.23370, 0.60244], abs=1e-4)
    sure = Predictive(np.full((1, 100), 7.0), np.zeros((1, 100)))
    assert sure.crps_cm(np.array([9.5]))[0] == pytest.approx(2.5)
    assert sure.quantile_cm(0.5)[0] == pytest.approx(7.0)


def normals(count, sd, true_sd, seed=1):
    """Forecasts 100 plus or minus ``sd`` of readings that scatter by ``true_sd``."""
    reading = np.random.default_rng(seed).normal(100.0, true_sd, count)
    height = np.tile(100.0 + sd * NORMAL_SCORES, (count, 1))
    return Predictive(height, np.full_like(height, 0.05)), reading


def test_scores_of_true_forecasts_are_those_stated():
    made, reading = normals(1500, 5.0, 5.0)
    budget = np.full(1500, 50.0)
    scores = Forecasts.of(made, reading).scores(np.ones(1500, bool), reading, budget)
    assert scores.coverage_50 == pytest.approx(0.5, abs=0.04)
    assert scores.coverage_80 == pytest.approx(0.8, abs=0.03)
    assert scores.coverage_90 == pytest.approx(0.9, abs=0.03)
    assert scores.crps_cm == pytest.approx(5.0 / np.sqrt(np.pi), rel=0.05)
    assert scores.crps_share == pytest.approx(scores.crps_cm / 50.0)
    assert abs(scores.bias_share) < 0.01


def learn_widening(made, reading, visits):
    return widening_of(log_factors_that_hold(made, reading), visits)


@pytest.mark.parametrize("ratio", [0.6, 1.0, 2.0])
def test_widening_learns_how_far_readings_scatter(ratio):
    made, reading = normals(600, 5.0, 5.0 * ratio)
    found = learn_widening(made, reading, visits=600)
    assert found.unshrunk == pytest.approx(ratio, rel=0.1)
    off = np.abs(2.0 * made.widened(found.unshrunk).chance_below(reading) - 1.0)
    assert (off <= 0.8).mean() == pytest.approx(0.8, abs=0.01)


def test_widening_of_few_visits_stays_near_one():
    made, reading = normals(40, 5.0, 10.0)
    few, many = (learn_widening(made, reading, visits) for visits in (4, 40))
    assert 1.0 < few.factor < many.factor < many.unshrunk == few.unshrunk
    assert learn_widening(Predictive.blank(3), np.ones(3), 0) == Recalibration(1.0, 1.0, 0, 0)


def forecast_in_turn(ratio, spoilt_from=np.inf):
    """One reading a day, forecast from each tenth, that scatters ``ratio`` times as said."""
    made, reading = normals(200, 5.0, 5.0 * ratio)
    day, one = np.arange(200.0), np.zeros(200, dtype=np.int64)
    reading = np.where(day >= spoilt_from, 400.0, reading)
    budget, cover = np.full(200, 120.0), np.zeros(200, dtype=bool)
    split = np.floor(day / 10.0) * 10.0
    readings = Readings(one, one, split, day, reading, budget, cover, day * np.nan)
    forecasts = Forecasts.of(made, reading)
    return BacktestResult(readings, forecasts, {}, np.zeros(0), tuple(np.unique(split)), 200)


@pytest.mark.slow
def test_widening_is_tried_on_later_readings_only():
    trial = forecast_in_turn(2.0).widening()[1]
    assert trial.n == 190
    assert trial.coverage_80 < 0.6
    assert 0.66 < trial.coverage_80_widened < 0.86  # the first tenths are widened too little
    assert trial.crps_share_widened < trial.crps_share
    held = trial.coverage_80_widened * trial.n
    late = forecast_in_turn(2.0, spoilt_from=199).widening()[1]  # the last reading teaches nobody
    assert held - 1.5 < late.coverage_80_widened * late.n <= held
    early = forecast_in_turn(2.0, spoilt_from=120).widening()[1]
    assert early.coverage_80_widened * early.n < held - 40


def grown_book(folder, heights_of):
    """A log of one area, cut to 6 cm each time, that grows as told over 9, 14, 7 ... days."""
    rows, day = HEADER, np.datetime64("2026-03-01")
    rows += f"{day},lobby,stems,,6,,,,,\n"
    for days in (9, 14, 7, 12, 10, 16):
        day = day + days
        rows += f"{day},lobby,stems,{heights_of(days):.6f},6,,,,,\n"
    return make_book(folder, trims=rows)


def ways(book, ceiling_cm, days_ahead):
    visits = log_visits(book)
    count, budget = len(book.areas), book.areas.number("budget_cm")
    errors = ErrorModel(np.full(count, 0.1), np.full(count, 0.01), 0.2, 0.15, 0.2)
    start = start_heights(visits, book.areas.number("cut_cm"))
    past = Past(own_spans(visits), start, np.full(count, ceiling_cm), budget, errors)
    areas, days = np.zeros(1, dtype=np.int64), np.array([float(days_ahead)])
    return {
        "last_rate": last_rate(past, areas, days),
        "line": line(past, areas, days),
        "unpooled": unpooled(past, areas, days, np.full(1, np.nan)),
    }


def test_baselines_are_right_where_growth_is_theirs(tmp_path):
    along_curve = grown_book(tmp_path / "a", lambda d: float(height_after(6.0, d, 0.08, 40.0)))
    along_line = grown_book(tmp_path / "b", lambda d: 6.0 + 0.9 * d)
    truth = float(height_after(6.0, 11, 0.08, 40.0))
    curved, straight = ways(along_curve, 40.0, 11), ways(along_line, 40.0, 11)
    assert curved["last_rate"].quantile_cm(0.5)[0] == pytest.approx(truth, rel=1e-3)
    assert curved["unpooled"].quantile_cm(0.5)[0] == pytest.approx(truth, rel=0.03)
    assert straight["line"].quantile_cm(0.5)[0] == pytest.approx(6.0 + 0.9 * 11, rel=1e-6)
    assert abs(curved["line"].quantile_cm(0.5)[0] - truth) > 0.15


def test_the_table_alone_sees_where_an_area_stands_and_nothing_else(tmp_path):
    book = grown_book(tmp_path, lambda d: 6.0 + 0.9 * d)
    visits = log_visits(book)
    bare = only_starts(book, start_heights(visits, book.areas.number("cut_cm")))
    assert len(bare.trims) == 1
    assert bare.trims.number("after_cm").tolist() == [6.0]
    assert np.isnan(bare.trims.number("before_cm")).all()
    assert bare.trims.date("date")[0] == book.trims.date("date").max()


def test_the_model_beats_the_plain_ways_on_a_simulated_practice(result):
    assert result.enough
    for name in ("last_rate", "line"):
        assert result.scores().crps_share <= result.scores(name).crps_share, name
    assert 0.5 < result.scores().coverage_80 <= 1.0


def hand_made(model, **baselines):
    """Forecasts 100 +- 5 of readings of 100 on budgets of 50; ``True`` where one was made."""
    count = len(model)
    reading, day, one = np.full(count, 100.0), np.arange(float(count)), np.zeros(count, np.int64)
    cover = np.zeros(count, bool)

    def forecast(made, sd=5.0):
        height = np.tile(100.0 + sd * NORMAL_SCORES, (count, 1))
        height[~np.array(made)] = np.nan
        return Forecasts.of(Predictive(height, np.full_like(height, 0.05)), reading)

    budget, ruler = np.full(count, 50.0), np.full(count, np.nan)
    readings = Readings(one, one, day, day, reading, budget, cover, ruler)
    others = {name: forecast(made, sd=10.0) for name, made in baselines.items()}
    return BacktestResult(readings, forecast(model), others, np.zeros(0), (0.0,), count)


def test_all_are_scored_on_the_readings_that_all_could_forecast():
    """Of 40 readings the model forecast 36, one way 30 of those and another 24: 20 are shared."""
    at = np.arange(40)
    found = hand_made(at < 36, line=at < 30, unpooled=(at >= 10) & (at < 34), last_rate=at < 9)
    assert found.compared == ("line", "unpooled")  # 9 of 36 are too few to score all others on
    assert [found.scores(name).n for name in (None, "line", "unpooled")] == [20, 20, 20]
    assert found.scores_of_all().n == 36
    answer = found.as_dict()
    assert (answer["n"], answer["all_readings"]["n"]) == (20, 36)
    # A normal of deviation s scores s (sqrt 2 - 1) / sqrt pi at its middle: 0.2337 s.
    assert answer["crps_share"] == pytest.approx(0.2337 * 5.0 / 50.0, rel=0.02)
    assert answer["baselines"]["line"]["crps_share"] == pytest.approx(0.2337 * 0.2, rel=0.02)
    few = answer["baselines"]["last_rate"]
    assert few["n"] == 9
    assert {value for name, value in few.items() if name != "n"} == {None}
    days = replace(found, split_days=(0.0, 3.0, 7.0)).as_dict()
    assert (days["first_split"], days["last_split"]) == ("1970-01-01", "1970-01-08")


def test_scores_of_a_group_are_of_its_readings_alone():
    """Twenty-five readings of one tank are met, fifteen of another are missed by 10 cm."""
    result = hand_made([True] * 40)
    late = np.arange(40) > 24
    off = result.readings.reading_cm + 10.0 * late
    readings = replace(result.readings, reading_cm=off)
    tank = np.where(late, "b", "a").astype(object)
    model = Forecasts.of(result.model.predictive, off)
    told = replace(result, readings=readings, model=model, whose={"tank_id": tank})
    first, second = told.by("tank")
    assert (first.name, first.scores["n"], second.name, second.scores["n"]) == ("a", 25, "b", 15)
    assert first.scores["mae_cm"] == pytest.approx(0.0, abs=1e-6)
    assert second.scores["mae_cm"] == pytest.approx(10.0, abs=1e-6)


def test_a_difference_is_as_sure_as_its_visits_are_many():
    """Ten readings of one visit that differ alike are one piece of evidence, not ten."""
    found = hand_made(np.ones(20, bool), line=np.ones(20, bool))
    rng = np.random.default_rng(4)
    apart = np.repeat(rng.normal(size=10), 2)
    other = replace(found.baselines["line"], crps_cm=found.model.crps_cm - 50.0 * apart)
    alone = replace(found, baselines={"line": other})
    by_visit = replace(found.readings, day=np.repeat(np.arange(10.0), 2))
    paired = replace(alone, readings=by_visit)
    expected = np.sqrt(((apart - apart.mean()) ** 2).sum()) / 20
    assert alone.standard_error("line") == pytest.approx(expected)
    assert paired.standard_error("line") == pytest.approx(np.sqrt(2.0) * expected)


def test_gaps_that_are_alike_and_readings_that_are_enough():
    """A gap one and a half times the usual one shows more; ten readings say something."""
    ten, nine = hand_made(np.ones(10, bool)), hand_made(np.arange(10) < 9)
    assert (ten.enough, nine.enough) == (True, False)
    for longest, alike in ((20.9, True), (21.0, False), (0.9, True), (0.0, False)):
        assert replace(ten, usual_gap_d=14.0, longest_gap_d=longest).gaps_alike is alike
    assert ten.pit_counts().tolist() == [0] * 5 + [10] + [0] * 4  # all at their middles
    off = ten.readings.reading_cm + 50.0 * (np.arange(10) == 3)  # one far above its range
    model = Forecasts.of(ten.model.predictive, off)
    told = replace(ten, readings=replace(ten.readings, reading_cm=off), model=model)
    assert repr(told).endswith("8 of 10 ranges held 90 of 100>")
    assert repr(nine).endswith("8 of 10 ranges held - of 100>")


def test_crossings_are_judged_by_their_middle_errors():
    """Of five dates one was not foreseen; the others were off by -3, 1, 2 and 10 days."""
    found = hand_made(np.ones(10, bool))
    assert found.crossings is None
    off = np.array([-3.0, 10.0, np.nan, 1.0, 2.0])
    told = replace(found, crossing_error_d=off).crossings
    assert (told.n, told.not_foreseen, told.median_d, told.median_abs_d) == (5, 1, 1.5, 2.5)
    none = replace(found, crossing_error_d=np.full(2, np.nan)).crossings
    assert (none.n, none.not_foreseen, none.median_d) == (2, 2, None)


def test_classes_of_days_ahead_end_after_whole_weeks():
    """From the evening before the split: on its day 1, 6 days later 7; from 35 on all are one."""
    found = hand_made(np.ones(12, bool))
    ahead = np.array([0.0, 6, 7, 13, 14, 20, 21, 27, 28, 34, 35, 60])
    readings = replace(found.readings, split_day=np.full(12, 5.0), day=5.0 + ahead)
    groups = replace(found, readings=readings).by("horizon")
    assert [(one.name, one.scores["n"]) for one in groups] == [
        *(("01-07 d", 2), ("08-14 d", 2), ("15-21 d", 2), ("22-28 d", 2), ("29-35 d", 4)),
    ]
    with pytest.raises(UsageError, match="by takes one of horizon, not 'day'"):
        found.by("day")


def test_splits_lie_evenly_over_the_days_after_the_first_third():
    assert _split_days(np.arange(100.0, 115.0), 4).tolist() == [105.0, 108.0, 111.0, 114.0]
    days = np.arange(100.0, 109.0)
    assert _split_days(days, 6).tolist() == [103.0, 104.0, 105.0, 106.0, 107.0, 108.0]
    assert _split_days(days, 9).tolist() == [103.0, 104.0, 105.0, 106.0, 107.0, 108.0]
    assert _split_days(np.arange(7.0), 9).tolist() == [3.0, 4.0, 5.0, 6.0]  # a third is 2.3 days


def test_a_result_as_json_holds_every_key_and_finite_numbers(result):
    made = result.as_dict()
    every = made["all_readings"]
    assert every["n"] == result.model.made.sum() == sum(made["pit_counts"])
    assert every["coverage_80"] == pytest.approx(result.scores_of_all().coverage_80, abs=1e-4)
    assert {one["n"] for one in made["baselines"].values()} == {made["n"]}
    assert {one["model_crps_share"] for one in made["baselines"].values()} == {made["crps_share"]}
    for name in ("crps_cm", "mae_cm", "crps_share", "coverage_50", "coverage_80", "coverage_90"):
        assert np.isfinite(made[name])
        for baseline in ("last_rate", "line", "unpooled", "table_only"):
            assert np.isfinite(made["baselines"][baseline][name])
    assert made["coverage_50"] <= made["coverage_80"] <= made["coverage_90"]
    assert made["recalibration"]["applied"] == 1.0
    cover = result.readings.is_cover
    assert ("by_unit" in made) == bool(cover.any() and not cover.all())


def test_baselines_go_on_from_the_last_visit_and_not_from_the_split(monkeypatch):
    """Visits on days 93 and 100, readings of the same areas on 107 and 103: 14 and 3 days."""
    given = {}
    for name in ("last_rate", "line", "unpooled"):
        keep = partial(lambda name, past, areas, days, *_: given.update({name: days}), name)
        monkeypatch.setattr(backtesting, name, keep)
    monkeypatch.setattr(backtesting, "_foreseen", lambda *_: None)
    monkeypatch.setattr(backtesting, "_crossing_errors", lambda *_: np.zeros(0))
    readings = SimpleNamespace(day=np.array([103.0, 107.0]), own_sd_cm=np.zeros(2))
    past = SimpleNamespace(start=SimpleNamespace(day=np.array([93.0, 100.0])))
    monkeypatch.setattr(backtesting, "_past", lambda _: past)
    monkeypatch.setattr(backtesting, "only_starts", lambda *_: None)
    monkeypatch.setattr(backtesting, "fit_growth", lambda *_: None)
    origin = SimpleNamespace(
        book=None, on=None, fit=None, areas=np.array([1, 0]), readings=readings
    )
    made, _ = _forecast_from(origin, new_tanks=False)
    assert set(made) == {"model", "table_only", *given}
    assert [days.tolist() for days in given.values()] == [[3.0, 14.0]] * 3


def test_the_observed_crossing_lies_on_the_curve(tmp_path):
    """Growth 6 to 30 cm in 23 days at 0.11 a day: 22 cm are passed in between, where it says."""
    rows, day = HEADER, np.datetime64("2026-01-01")
    rows += f"{day},lobby,stems,,6,,,,,\n"
    for _ in range(9):
        day = day + 23
        rows += f"{day},lobby,stems,{float(height_after(6.0, 23, 0.11, 46.0)):.4f},6,,,,,\n"
    found = backtest(make_book(tmp_path, trims=rows), 6)
    assert found.crossing_error_d.size == found.readings.area.size > 3
    assert np.abs(found.crossing_error_d[-1]) <= 3.0


@pytest.mark.parametrize("rows", ["", "2026-05-01,lobby,stems,18,9,,,,,\n"])
def test_too_short_a_log_says_nothing(tmp_path, rows):
    found = backtest(make_book(tmp_path, trims=HEADER + rows))
    assert not found.enough
    made = found.as_dict()
    assert made["n"] == 0
    assert made["crps_cm"] is None
    assert made["baselines"]["line"]["crps_cm"] is None
    assert made["recalibration"] is None
