"""The backtest's figure: how often stated ranges held, and where in its forecast a reading fell."""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.ticker import PercentFormatter
from scipy.special import bdtr

from growthcast.arrays import FloatArray
from growthcast.errors import UsageError
from growthcast.figures import style
from growthcast.figures.lettering import sheet_of_panels
from growthcast.forecast.verdict import BacktestResult
from growthcast.say.figures import Caption, backtest_caption
from growthcast.say.words import percent

CHANCES: FloatArray = np.linspace(0.0, 1.0, 101)
MARKED = (0.5, 0.8, 0.9)
BAND = 0.95
"""Chance with which a well-made forecast stays inside the grey band at any one place."""


def calibration_axes(result: BacktestResult, ax: Axes) -> None:
    """Draw the share of readings inside central ranges against the chance stated for them."""
    reach = _reach(result)
    low, high = _binomial_band(reach.size, CHANCES)
    grey = style.VISITS.band(style.BAND_80_ALPHA)
    ax.fill_between(CHANCES, low, high, label="chance-band", **grey)
    ax.plot(CHANCES, CHANCES, color=style.VISITS.colour, lw=0.8, ls="--", label="as-stated")
    held = np.array([(reach <= chance).mean() for chance in CHANCES])
    ax.plot(CHANCES, held, color=style.FORECAST.colour, lw=style.FORECAST.width_pt, label="held")
    marked = [float((reach <= chance).mean()) for chance in MARKED]
    ax.plot(MARKED, marked, ms=4.5, label="marked", **style.MEASURED.marks | {"mew": 1.0})
    pairs = zip(MARKED, marked, strict=True)
    held_words = [f"{percent(chance)} stated, {percent(share)} held" for chance, share in pairs]
    ax.text(0.98, 0.05, "\n".join(held_words), ha="right", va="bottom", fontsize=style.SMALL_PT)
    ax.set(xlim=(0, 1), ylim=(0, 1), aspect="equal")
    ax.set_xlabel("Chance stated for the range (%)")
    ax.set_ylabel("Readings inside the range (%)")
    for axis in (ax.xaxis, ax.yaxis):
        axis.set_major_formatter(PercentFormatter(1.0, symbol=""))
        axis.set_ticks([0.0, 0.2, 0.4, 0.6, 0.8, 1.0])
    ax.set_title("Did the ranges hold as often as they said?")


def pit_axes(result: BacktestResult, ax: Axes) -> None:
    """Draw how many readings fell into each tenth of their forecast, lowest tenth first."""
    counts = result.pit_counts()
    bins = counts.size
    place = np.arange(1, bins + 1)
    expected = counts.sum() / bins
    low, high = _binomial_band(int(counts.sum()), np.array([1.0 / bins]))
    ax.bar(place, counts, width=0.86, color=style.FORECAST.colour, label="readings")
    edges = (0.5, bins + 0.5)
    lowest, highest = (float(share[0]) * counts.sum() for share in (low, high))
    grey = style.VISITS.band(style.BAND_80_ALPHA)
    ax.fill_between(edges, lowest, highest, zorder=0, label="chance-band", **grey)
    for edge in (lowest, highest):
        ax.plot(edges, (edge, edge), color=style.VISITS.colour, lw=0.8, zorder=3)
    ax.plot(edges, (expected, expected), color="black", lw=0.9, ls="--", zorder=4, label="even")
    ax.set(xlim=edges, ylim=(0, max(1.08 * counts.max(), 1.15 * highest)))
    ax.set_xticks(place)
    ax.set_xlabel("Tenth of the forecast, 1 = lowest heights")
    ax.set_ylabel("Readings")
    ax.set_title("Where in its forecast did a reading fall?")


def calibration_figure(result: BacktestResult) -> tuple[Figure, Caption]:
    """Draw both panels; ``UsageError`` where there are too few readings."""
    if not result.enough:
        raise UsageError("too few readings could be forecast, so there is nothing to draw")
    low, high = _binomial_band(_reach(result).size, np.array([0.8]))
    caption = backtest_caption(result, float(low[0]), float(high[0]))
    figure, axes = sheet_of_panels(caption, 2, 2, 80.0)
    with style.house_style():
        calibration_axes(result, axes[0])
        pit_axes(result, axes[1])
    return figure, caption


def _reach(result: BacktestResult) -> FloatArray:
    """Chance of the central range that just holds each reading, (n,)."""
    reach: FloatArray = np.abs(2.0 * result.pit() - 1.0)
    return reach


def _binomial_band(count: int, chance: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Shares of ``count`` independent readings between which ``BAND`` of true chances lie."""
    tail = 0.5 * (1.0 - BAND)
    below = bdtr(np.arange(count + 1)[:, None].astype(np.float64), count, chance[None, :])
    low = (below < tail).sum(axis=0) / count
    high = np.minimum((below < 1.0 - tail).sum(axis=0), count) / count
    return low, high
