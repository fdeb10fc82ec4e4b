"""The Python door: frames in and out, everything by id, and no silent wrong answer."""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from datetime import date

import matplotlib
import numpy as np
import pandas as pd
import pytest
from matplotlib.figure import Figure
from threadpoolctl import threadpool_info, threadpool_limits

import growthcast
from growthcast.book.book import Book
from growthcast.errors import BookProblems, GrowthcastError, UsageError
from growthcast.fit.growth import fit_growth
from growthcast.fit.result import GrowthFit
from growthcast.forecast import backtest as backtesting
from growthcast.forecast.verdict import BacktestResult

TODAY = date(2026, 11, 20)
TABLES = ("tanks", "areas", "trims", "conditions")


@pytest.fixture(scope="module")
def book() -> Book:
    return growthcast.demo_book()


@pytest.fixture(scope="module")
def frames(book: Book) -> dict[str, pd.DataFrame]:
    return {name: pd.read_csv(book.folder / f"{name}.csv") for name in TABLES}


@pytest.fixture(scope="module")
def fit(book: Book) -> GrowthFit:
    return growthcast.fit_growth(book, TODAY)


def test_frames_give_the_book_of_the_files(book: Book, frames: dict[str, pd.DataFrame]) -> None:
    practice = (book.folder / "practice.toml").read_text(encoding="utf-8")
    made = Book.from_frames(practice=practice, **frames)
    assert made.practice == book.practice
    for name in TABLES:
        for column, cells in getattr(book, name).columns.items():
            np.testing.assert_array_equal(getattr(made, name).columns[column], cells)


def test_a_frame_with_problems_says_where(frames: dict[str, pd.DataFrame]) -> None:
    tanks = frames["tanks"].astype({"water_depth_cm": object})
    tanks.loc[1, "water_depth_cm"] = "deep"
    with pytest.raises(BookProblems, match=r"tanks\.csv:3:[A-Z]: water_depth_cm: found \"deep\""):
        Book.from_frames(**(frames | {"tanks": tanks}))


def test_a_fit_of_an_earlier_day_learns_from_no_later_row(
    book: Book, frames: dict[str, pd.DataFrame]
) -> None:
    day = date(2026, 6, 1)
    known = frames["trims"][frames["trims"].date <= "2026-06-01"]
    practice = (book.folder / "practice.toml").read_text(encoding="utf-8")
    cut_off = Book.from_frames(practice=practice, **(frames | {"trims": known}))
    rates = [growthcast.fit_growth(one, day).rates().to_frame() for one in (book, cut_off)]
    pd.testing.assert_frame_equal(*rates)
    assert 0 < len(known) < len(frames["trims"])


@pytest.mark.slow
def test_the_order_of_tanks_changes_no_tanks_advice(
    book: Book, frames: dict[str, pd.DataFrame], fit: GrowthFit
) -> None:
    practice = (book.folder / "practice.toml").read_text(encoding="utf-8")
    sorted_tanks = frames["tanks"].sort_values("tank_id", ascending=False)
    other = growthcast.fit_growth(
        Book.from_frames(practice=practice, **(frames | {"tanks": sorted_tanks})), TODAY
    )
    for name in ("reception", "lobby-stems"):
        [mine], [theirs] = growthcast.recommend(fit, name), growthcast.recommend(other, name)
        assert mine.recommended_interval_d == theirs.recommended_interval_d


WRONG: dict[str, Callable[[GrowthFit], object]] = {
    'no tank "recption"; did you mean "reception"': lambda fit: growthcast.recommend(
        fit, "recption"
    ),
    'no tank "-1"': lambda fit: growthcast.cut_sheet(fit, "-1"),
    'no area "lobby-rotla"': lambda fit: growthcast.forecast_growth(fit, areas="lobby-rotla"),
    "before 2026-11-20": lambda fit: growthcast.forecast_growth(fit, at="2026-06-01"),
    "temperature_c: found .900": lambda fit: growthcast.suppose(
        fit, "reception", temperature_c=900
    ),
    "no such condition or area": lambda fit: growthcast.suppose(
        fit, "reception", plants={"lobby-rotala": "java fern"}
    ),
    "whole days from 1 to 365": lambda fit: growthcast.recommend(fit, intervals_d=[0, 7]),
    'no plant "rotala makranda"': lambda fit: growthcast.compare_plants(
        fit, "lobby-rotala", ["rotala makranda"]
    ),
    'no tank "3"': lambda fit: growthcast.recommend(fit, tanks=3),  # type: ignore[arg-type]
    "7 is no day": lambda fit: growthcast.forecast_growth(fit, at=7),  # type: ignore[arg-type]
    "'tomorrow' is no day": lambda fit: growthcast.forecast_growth(fit, at="tomorrow"),
    "in another tank": lambda fit: growthcast.forecast_growth(
        fit, tanks="reception", areas="lobby-hygro"
    ),
    "recommend asks a fit, not a Book": lambda fit: growthcast.recommend(
        fit.book  # type: ignore[arg-type]
    ),
    "backtest asks a book": lambda fit: growthcast.backtest(fit),  # type: ignore[arg-type]
    "of 1 to 365 whole days": lambda fit: growthcast.swaps_to_reach(fit, "reception", -7),
    "1 to 26 whole weeks": lambda fit: growthcast.plan_rounds(fit, "2026-11-23", 27),
    "the next after it": lambda fit: growthcast.weeks_away(fit, "2026-12-20", "2026-11-21"),
    "99 days are not among": lambda fit: growthcast.recommend(fit)[0].option(99),
    "suppose what": lambda fit: growthcast.suppose(fit, "reception"),
    "give one AreaForecast": lambda fit: growthcast.plot.forecast(growthcast.forecast_growth(fit)),
    "the text of practice.toml": lambda fit: Book.from_frames(practice="/x/practice.toml"),
    "the report has no tank": lambda fit: growthcast.plot.growth(
        growthcast.watch_growth(fit, "reception"), "lobby-stems"
    ),
}


@pytest.mark.parametrize("words", WRONG)
def test_what_is_wrong_is_said(fit: GrowthFit, words: str) -> None:
    with pytest.raises(UsageError, match=words):
        WRONG[words](fit)


@pytest.mark.slow
def test_answers_are_tidy_frames(fit: GrowthFit) -> None:
    days = pd.date_range("2026-11-20", periods=3)
    heights = growthcast.forecast_growth(fit, days, tanks=["home-lowtech", "reception"]).to_frame()
    assert list(heights.columns[:3]) == ["tank_id", "area_id", "species_id"]
    assert heights.groupby("area_id").size().eq(3).all()
    assert heights["at"].dtype.kind == "M"
    floating = heights[heights.area_id == "home-frogbit"]
    assert set(floating.unit) == {"% cover"}
    assert not [name for name in heights.columns if name.endswith("_cm")]
    rounds = growthcast.plan_rounds(fit, "2026-11-23", weeks=1).to_frame()
    assert rounds["date"].between("2026-11-23", "2026-11-29").all()
    advice = growthcast.recommend(fit, "reception", intervals_d=range(3, 43)).to_frame()
    assert list(advice.interval_d) == list(range(3, 43))
    tanks = growthcast.recommend(fit).to_frame(details=False)
    assert tanks.tank_id.is_unique
    assert tanks.recommended_interval_d.between(7, 28).all()


def test_a_supposed_fit_answers_like_any_other(fit: GrowthFit) -> None:
    dimmer = growthcast.suppose(fit, "reception", ppfd_umol=40)
    planted = growthcast.suppose(fit, "reception", plants={"recep-pogo": "Java fern"})
    usual = growthcast.forecast_growth(fit, "2026-12-20", areas="recep-aroma")[0]
    slower = growthcast.forecast_growth(dimmer, "2026-12-20", areas="recep-aroma")[0]
    assert slower.height_cm[0, 3] < usual.height_cm[0, 3]
    assert "recep-pogo=leptochilus-pteropus" in set(planted.rates().to_frame().area_id)
    assert fit.book is not dimmer.book
    rates = [one.rates().to_frame().set_index("area_id") for one in (fit, dimmer)]
    assert rates[1].rate_per_day_p50["recep-aroma"] < rates[0].rate_per_day_p50["recep-aroma"]
    now = growthcast.forecast_growth(fit, tanks="reception").to_frame().set_index("area_id")
    for level in ("p10", "p50", "p90"):
        column = f"rate_per_day_{level}"
        assert rates[0][column]["recep-pogo"] == now[column]["recep-pogo"]


def test_pictures_stand_on_the_callers_axes(fit: GrowthFit) -> None:
    before, ax = dict(matplotlib.rcParams), Figure().subplots()
    [look] = growthcast.forecast_growth(fit, ["2026-11-20", "2026-12-20"], areas="lobby-rotala")
    assert growthcast.plot.forecast(look, ax=ax) is ax
    [advice] = growthcast.recommend(fit, "reception")
    assert growthcast.plot.interval(advice, ax=Figure().subplots()).lines
    report = growthcast.watch_growth(fit, "lobby-stems")
    assert growthcast.plot.growth(report, "lobby-stems", ax=Figure().subplots()).lines
    assert dict(matplotlib.rcParams) == before


@pytest.mark.slow
def test_what_is_printed_is_short(book: Book, fit: GrowthFit) -> None:
    advice = growthcast.recommend(fit, "reception")
    answers = [advice, advice[0], growthcast.cut_sheet(fit, "reception")]
    answers += [growthcast.plan_rounds(fit, "2026-11-23", 2), growthcast.watch_growth(fit)]
    for thing in (book, fit, *answers):
        assert len(repr(thing)) < 120
        assert "<table" in thing._repr_html_()
        assert len(thing._repr_html_()) < 12_000
    assert len(repr(book.trims)) < 120
    [look], [again] = (growthcast.forecast_growth(fit, areas="lobby-rotala") for _ in range(2))
    assert look == again
    assert fit != book
    assert fit == fit


def test_the_door_is_small_and_listed() -> None:
    assert len(growthcast.__all__) <= 20
    assert {*growthcast.__all__} <= {*dir(growthcast)}
    for name in (*growthcast.__all__, "keeping", "plot", "types"):
        assert name in dir(growthcast)
        assert getattr(growthcast, name).__doc__
    with pytest.raises(GrowthcastError):
        growthcast.read_book("nowhere")


@pytest.fixture(scope="module")
def tested(book: Book) -> BacktestResult:
    return growthcast.backtest(book, splits=3)


@pytest.mark.slow
def test_a_tank_left_out_is_forecast_without_its_log(
    book: Book,
    tested: BacktestResult,
    frames: dict[str, pd.DataFrame],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Early readings of one tank teach its own forecasts, and nothing where it is left out.

    Of the spreads of the whole practice they may teach something: these are held.
    """
    apart = growthcast.backtest(book, splits=3, leave_out="tank")
    assert set(apart.baselines) == {"own_log", "table_only"}
    np.testing.assert_array_equal(apart.readings.reading_cm, tested.readings.reading_cm)
    np.testing.assert_array_equal(apart.baselines["own_log"].crps_cm, tested.model.crps_cm)
    with pytest.raises(UsageError, match="not 'area'"):
        growthcast.backtest(book, leave_out="area")  # type: ignore[arg-type]

    two = {
        n: table[table.tank_id.isin(["reception", "lobby-stems"])] for n, table in frames.items()
    }
    trims = two["trims"].copy()
    days = trims[trims.tank_id == "reception"].date.sort_values().unique()
    early = (trims.tank_id == "reception") & trims.date.isin(days[:-6])
    shorter = (0.8 * trims.before_cm[early]).combine(trims.after_cm[early], np.fmax)
    trims.loc[early, "before_cm"] = shorter.where(trims.before_cm[early].notna())
    practice = (book.folder / "practice.toml").read_text(encoding="utf-8")
    books = [Book.from_frames(practice=practice, **(two | more)) for more in ({}, {"trims": trims})]
    held = growthcast.fit_growth(books[0], TODAY).design.spreads
    monkeypatch.setattr(backtesting, "fit_growth", lambda book, on, _: fit_growth(book, on, held))
    here = [growthcast.backtest(one, splits=2, leave_out="tank") for one in books]
    late = here[0].whose["tank_id"] == "reception"
    late &= here[0].readings.split_day == here[0].split_days[-1]
    assert late.sum() > 3
    without = [one.model.middle_cm[late] for one in here]
    with_log = [one.baselines["own_log"].middle_cm[late] for one in here]
    np.testing.assert_allclose(*without, rtol=1e-6)
    assert np.abs(np.log(with_log[1] / with_log[0])).max() > 0.02


def test_scores_by_group_are_those_of_its_readings(tested: BacktestResult) -> None:
    readings = tested.to_frame()
    for what, column in (("tank", "tank_id"), ("form", "form"), ("species", "species_id")):
        scores = tested.by(what).to_frame().set_index(what)
        counts = readings.groupby(column).size()
        assert scores.n.to_dict() == counts.to_dict()
    held = readings.reading.between(readings.p10, readings.p90)
    assert held.mean() == pytest.approx(tested.scores_of_all().coverage_80, abs=1e-9)
    ahead = (readings["at"] - readings.forecast_on).dt.days
    assert tested.by("horizon")[0].scores["n"] == (ahead <= 7).sum()
    with pytest.raises(UsageError, match="by takes one of"):
        tested.by("colour")


@pytest.mark.slow
def test_fits_at_once_leave_the_threads_as_they_were(book: Book) -> None:
    def threads() -> list[int]:
        return [pool["num_threads"] for pool in threadpool_info() if pool["user_api"] == "blas"]

    with threadpool_limits(2, user_api="blas"):
        before = threads()
        alone = growthcast.fit_growth(book, "2026-06-01").rates()
        with ThreadPoolExecutor(3) as pool:
            days = [date(2026, 6, 1), date(2026, 7, 1), date(2026, 5, 1)]
            rates = [
                f.rates() for f in pool.map(lambda day: growthcast.fit_growth(book, day), days)
            ]
        assert threads() == before
    assert list(rates[0]) == list(alone)
