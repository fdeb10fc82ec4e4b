"""The backtest's figure: how often stated ranges held, and where in its forecast a reading fell."""

from __future__ import annotations

from pathlib import Path

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.ticker import PercentFormatter
from scipy.special import bdtr

from growthcast.arrays import FloatArray
from growthcast.book.book import Book
from growthcast.book.writing.whole import write_whole
from growthcast.errors import UsageError
from growthcast.figures.lettering import caption_of
from growthcast.figures.save import check_target, figure_form
from growthcast.figures.style import (
    BAND_80_ALPHA,
    FORECAST,
    MEASURED,
    SMALL_PT,
    VISITS,
    figure_bytes,
    house_style,
    new_figure,
)
from growthcast.forecast.verdict import BacktestResult

__all__ = [
    "alternative_text",
    "calibration_axes",
    "calibration_figure",
    "pit_axes",
    "save_calibration_figure",
]


WIDTH_MM, PANEL_MM = 190.0, 84.0
LEFT_MM, RIGHT_MM, TOP_MM, BOTTOM_MM, GAP_MM = 15.0, 4.0, 9.0, 14.0, 3.0
CHANCES: FloatArray = np.linspace(0.0, 1.0, 101)
MARKED = (0.5, 0.8, 0.9)
BAND = 0.95
"""Chance with which a well-made forecast stays inside the grey band at any one place."""
FAR_OFF = 0.03


def calibration_axes(result: BacktestResult, ax: Axes | None = None) -> Axes:
    """Draw the share of readings inside central ranges against the chance stated for them.

    Parameters
    ----------
    result : BacktestResult
        A backtest with at least one forecast reading.
    ax : Axes, optional
        Where to draw; axes of a new figure when not given.

    Returns
    -------
    Axes
        The axes drawn on.
    """
    ax = ax or new_figure(WIDTH_MM / 2, PANEL_MM).add_subplot()
    reach = _reach(result)
    low, high = _binomial_band(reach.size, CHANCES)
    ax.fill_between(
        CHANCES, low, high, color=VISITS.colour, alpha=BAND_80_ALPHA, lw=0, label="chance-band"
    )
    ax.plot(CHANCES, CHANCES, color=VISITS.colour, lw=0.8, ls="--", label="as-stated")
    held = np.array([(reach <= chance).mean() for chance in CHANCES])
    ax.plot(CHANCES, held, color=FORECAST.colour, lw=FORECAST.width_pt, label="held")
    marked = [float((reach <= chance).mean()) for chance in MARKED]
    ax.plot(MARKED, marked, ls="", marker=MEASURED.marker, ms=4.5, color="black", label="marked")
    told = [
        f"{100 * chance:.0f} % stated, {100 * share:.0f} % held"
        for chance, share in zip(MARKED, marked, strict=True)
    ]
    ax.text(0.98, 0.05, "\n".join(told), ha="right", va="bottom", fontsize=SMALL_PT)
    ax.set(xlim=(0, 1), ylim=(0, 1), aspect="equal")
    ax.set_xlabel("Chance stated for the range (%)")
    ax.set_ylabel("Readings inside the range (%)")
    for axis in (ax.xaxis, ax.yaxis):
        axis.set_major_formatter(PercentFormatter(1.0, symbol=""))
        axis.set_ticks([0.0, 0.2, 0.4, 0.6, 0.8, 1.0])
    ax.set_title("Did the ranges hold as often as they said?")
    return ax


def pit_axes(result: BacktestResult, ax: Axes | None = None) -> Axes:
    """Draw how many readings fell into each tenth of their forecast, lowest tenth first.

    Parameters
    ----------
    result : BacktestResult
        A backtest with at least one forecast reading.
    ax : Axes, optional
        Where to draw; axes of a new figure when not given.

    Returns
    -------
    Axes
        The axes drawn on.
    """
    ax = ax or new_figure(WIDTH_MM / 2, PANEL_MM).add_subplot()
    counts = result.pit_counts()
    bins = counts.size
    place = np.arange(1, bins + 1)
    expected = counts.sum() / bins
    low, high = _binomial_band(int(counts.sum()), np.array([1.0 / bins]))
    ax.bar(place, counts, width=0.86, color=FORECAST.colour, label="readings")
    edges = (0.5, bins + 0.5)
    lowest, highest = (float(share[0]) * counts.sum() for share in (low, high))
    ax.fill_between(
        edges,
        lowest,
        highest,
        color=VISITS.colour,
        alpha=BAND_80_ALPHA,
        lw=0,
        zorder=0,
        label="chance-band",
    )
    for edge in (lowest, highest):
        ax.plot(edges, (edge, edge), color=VISITS.colour, lw=0.8, zorder=3)
    ax.plot(edges, (expected, expected), color="black", lw=0.9, ls="--", zorder=4, label="even")
    ax.set(xlim=edges, ylim=(0, max(1.08 * counts.max(), 1.15 * highest)))
    ax.set_xticks(place)
    ax.set_xlabel("Tenth of the forecast, 1 = lowest heights")
    ax.set_ylabel("Readings")
    ax.set_title("Where in its forecast did a reading fall?")
    return ax


def caption(result: BacktestResult) -> str:
    """Return what the figure shows: whether ranges held, and on which side readings fell."""
    scores = result.scores_of_all()
    held = 100 * scores.coverage_80
    reach = _reach(result)
    low, high = _binomial_band(reach.size, np.array([0.8]))
    if scores.coverage_80 < low[0]:
        said = "less often than they should, so forecasts were too sure"
    elif scores.coverage_80 > high[0]:
        said = "more often than they should, so forecasts were less sure than they could be"
    else:
        said = "as often as they should, give or take chance"
    above = float((result.pit() > 0.5).mean())
    side = ""
    if abs(above - 0.5) > FAR_OFF:
        more, where = (above, "above") if above > 0.5 else (1.0 - above, "below")
        side = f" {100 * more:.0f} of 100 readings lay {where} the middle of their forecast."
    return (
        f"Ranges that should hold 8 of 10 readings held {held:.0f} of 100 ({scores.n} readings): "
        f"{said}.{side}"
    )


KEY = (
    "Blue: this book's readings, each forecast from the visits before it. Dashed: forecasts whose "
    "chances are true. Grey: where 95 of 100 such forecasts would lie if readings were independent "
    "of each other; readings of one visit are not quite. Bars high at both ends: ranges too "
    "narrow; high in the middle: too wide; rising to the right: forecasts too low."
)


def alternative_text(result: BacktestResult) -> tuple[str, str]:
    """Return a title and a description of the figure, in words and numbers."""
    scores = result.scores_of_all()
    shares = ", ".join(
        f"{100 * chance:.0f} % ranges held {100 * held:.0f} %"
        for chance, held in zip(
            MARKED, (scores.coverage_50, scores.coverage_80, scores.coverage_90), strict=True
        )
    )
    counts = ", ".join(str(count) for count in result.pit_counts())
    told = f"{caption(result)} {shares}. Readings by tenth of their forecast, from low: {counts}."
    return "How often forecasts were right", told


def calibration_figure(result: BacktestResult) -> Figure:
    """Draw both panels and a caption that states the conclusion.

    Parameters
    ----------
    result : BacktestResult
        A backtest with readings enough to say anything.

    Returns
    -------
    Figure
        The figure, as wide as the text of an A4 page.

    Raises
    ------
    UsageError
        There are too few readings.
    """
    if not result.enough:
        raise UsageError("too few readings could be forecast, so there is nothing to draw")
    words = caption_of(caption(result), KEY, WIDTH_MM, GAP_MM)
    height_mm = PANEL_MM + words.height_mm
    with house_style():
        figure = new_figure(WIDTH_MM, height_mm)
        high = (PANEL_MM - TOP_MM - BOTTOM_MM) / height_mm
        bottom = 1.0 - (PANEL_MM - BOTTOM_MM) / height_mm
        wide = (WIDTH_MM / 2 - LEFT_MM - RIGHT_MM) / WIDTH_MM
        for draw, left_mm in ((calibration_axes, LEFT_MM), (pit_axes, WIDTH_MM / 2 + LEFT_MM)):
            draw(result, figure.add_axes((left_mm / WIDTH_MM, bottom, wide, high)))
        words.write(figure, WIDTH_MM, height_mm)
    return figure


def save_calibration_figure(book: Book, result: BacktestResult, file: Path) -> None:
    """Write the figure to a ``.svg`` or ``.png`` file, the same bytes for the same backtest.

    Parameters
    ----------
    book : Book
        The book, none of whose files is written over.
    result : BacktestResult
        A backtest with readings enough to say anything.
    file : Path
        Where to write; its folder must exist. An earlier figure is replaced.

    Raises
    ------
    UsageError
        The file is of another form, cannot be written, is a file of the book, or there are too few
        readings.
    """
    form = figure_form(file)
    check_target(book, file)
    figure = calibration_figure(result)
    title, description = alternative_text(result)
    write_whole(file, figure_bytes(figure, form, title=title, description=description))


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
