"""The backtest's figure: what is drawn, what it says, and the file it becomes."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from xml.etree import ElementTree

import numpy as np
import pytest
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from PIL import Image

from growthcast.errors import UsageError
from growthcast.figures.readings import calibration_axes, calibration_figure, pit_axes
from growthcast.figures.style import save_picture
from growthcast.forecast.scores import NORMAL_SCORES, Forecasts, Predictive
from growthcast.forecast.verdict import BacktestResult, Readings
from growthcast.say.backtest import backtest_answer
from growthcast.say.words import Answer
from tests.unit.figures.conftest import Fitted

SVG = "{http://www.w3.org/2000/svg}"


def result_of(count: int = 200, stated_sd: float = 1.0, shift: float = 0.0) -> BacktestResult:
    """Return forecasts of ``stated_sd`` for readings that scatter by 1 about 20 cm."""
    reading = 20.0 + shift + np.random.default_rng(7).standard_normal(count)
    height = np.tile(20.0 + stated_sd * NORMAL_SCORES, (count, 1))
    whole, day = np.zeros(count, dtype=np.int64), np.arange(count, dtype=np.float64)
    readings = Readings(
        area=whole,
        tank=whole,
        split_day=day,
        day=day,
        reading_cm=reading,
        budget_cm=np.full(count, 25.0),
        is_cover=np.zeros(count, dtype=bool),
        own_sd_cm=np.full(count, np.nan),
    )
    made = Forecasts.of(Predictive(height, np.full_like(height, 0.05)), reading)
    return BacktestResult(readings, made, {}, np.zeros(0), tuple(day.tolist()), count)


def axes(draw: Callable[[BacktestResult, Axes], None], result: BacktestResult) -> Axes:
    ax = Figure().add_subplot()
    draw(result, ax)
    return ax


def drawn(ax: Axes, name: str) -> object:
    (found,) = [artist for artist in ax.get_children() if artist.get_label() == name]
    return found


def test_the_line_is_the_share_of_readings_held() -> None:
    result = result_of()
    ax = axes(calibration_axes, result)
    stated, held = drawn(ax, "held").get_data()
    assert (stated[0], held[-1]) == (0.0, 1.0)
    assert (np.diff(held) >= 0.0).all()
    assert held[stated == 0.8] == result.scores().coverage_80
    assert drawn(ax, "marked").get_xdata() == pytest.approx([0.5, 0.8, 0.9])
    (told,) = [text.get_text() for text in ax.texts]
    assert f"80 % stated, {100 * result.scores().coverage_80:.0f} % held" in told


def test_true_forecasts_lie_in_the_band_and_false_ones_leave_it() -> None:
    for sd, inside in ((1.0, True), (0.5, False)):
        ax = axes(calibration_axes, result_of(stated_sd=sd))
        corners = drawn(ax, "chance-band").get_paths()[0].vertices
        held = drawn(ax, "marked").get_ydata()[1]
        low, high = (edge(corners[np.isclose(corners[:, 0], 0.8), 1]) for edge in (min, max))
        assert low < 0.8 < high
        assert (low <= held <= high) == inside


def test_bars_count_the_readings_of_each_tenth() -> None:
    result = result_of()
    ax = axes(pit_axes, result)
    heights = [bar.get_height() for bar in ax.patches]
    assert heights == result.pit_counts().tolist()
    assert sum(heights) == 200
    assert ax.get_ylim()[0] == 0.0
    assert drawn(ax, "even").get_ydata()[0] == 20.0


@pytest.mark.parametrize(
    ("sd", "said"),
    [
        (1.0, "Forecasts ran neither high nor low."),
        (0.5, "the spread of forecast heights is too narrow"),
        (3.0, "the spread of forecast heights is too wide"),
    ],
)
def test_the_caption_states_the_conclusion(sd: float, said: str) -> None:
    result = result_of(stated_sd=sd)
    figure, words = calibration_figure(result, backtest_answer(result))
    held = f"8 of 10 ranges held {100 * result.scores().coverage_80:.0f} of 100 times"
    assert held in " ".join(text.get_text() for text in figure.texts)
    assert said in words.description


@pytest.mark.slow
def test_the_file_is_the_same_each_time_and_describes_itself(tmp_path: Path, lobby: Fitted) -> None:
    result = result_of()
    files = [tmp_path / name for name in ("a.svg", "b.svg", "c.png")]
    for file in files:
        save_picture(lobby[0], file, *calibration_figure(result, backtest_answer(result)))
    assert files[0].read_bytes() == files[1].read_bytes()
    described = ElementTree.parse(files[0]).getroot().find(f"{SVG}desc")
    assert described is not None
    assert "8 of 10 ranges held 84 of 100 times" in str(described.text)
    with Image.open(files[2]) as image:
        assert image.size[0] > 1000


def test_too_few_readings_are_not_drawn() -> None:
    with pytest.raises(UsageError, match="too few"):
        calibration_figure(result_of(count=5), Answer())
