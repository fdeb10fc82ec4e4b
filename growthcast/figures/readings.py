"""Pictures of readings against what was forecast: how often right, and growth watched."""

from __future__ import annotations

import textwrap
from functools import partial
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.ticker import MaxNLocator, PercentFormatter
from scipy.special import bdtr

from growthcast.arrays import FloatArray
from growthcast.errors import UsageError
from growthcast.figures import lettering, style
from growthcast.figures.drawn import EndLabel
from growthcast.figures.lettering import drawable, sheet_of_panels
from growthcast.fit.design import day_number
from growthcast.forecast.verdict import BacktestResult
from growthcast.say.figures import Caption, caption, growth_title
from growthcast.say.watch import finding_name
from growthcast.say.words import Answer, day_words, percent, sentence
from growthcast.service.watch.watch import Finding, TankWatch, WatchReport

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


def calibration_figure(result: BacktestResult, said: Answer) -> tuple[Figure, Caption]:
    """Draw both panels of what is ``said``; ``UsageError`` where there are too few readings."""
    if not result.enough:
        raise UsageError("too few readings could be forecast, so there is nothing to draw")
    told = caption(said, "How often forecasts were right", sentence("backtest_key"))
    panels = [partial(calibration_axes, result), partial(pit_axes, result)]
    return sheet_of_panels(told, panels, 2, 80.0)


def _reach(result: BacktestResult) -> FloatArray:
    """Chance of the central range that just holds each reading, (n,)."""
    return np.abs(2.0 * result.pit() - 1.0)


def _binomial_band(count: int, chance: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Shares of ``count`` independent readings between which ``BAND`` of true chances lie."""
    tail = 0.5 * (1.0 - BAND)
    below = bdtr(np.arange(count + 1)[:, None].astype(np.float64), count, chance[None, :])
    low = (below < tail).sum(axis=0) / count
    high = np.minimum((below < 1.0 - tail).sum(axis=0), count) / count
    return low, high


TITLE_MM, LABEL_LETTERS = 78.0, 16
MOST_PANELS = 24
LEAST_TOP, HIGHEST_TOP = 180.0, 300.0


def growth_index_axes(tank: TankWatch, report: WatchReport, ax: Axes) -> None:
    """Draw the growth of a tank against usual; some of its visits were held against usual."""
    day = np.array([day_number(point.on) for point in tank.course])
    growth, low, high, usual_low, usual_high = (
        100.0 * np.array([getattr(point, name) for point in tank.course])
        for name in ("growth", "low", "high", "usual_low", "usual_high")
    )
    first, last = float(day[0]) - 3.0, day_number(report.on) + 1.0
    top = float(np.clip(1.1 * np.max([growth.max(), usual_high.max()]), LEAST_TOP, HIGHEST_TOP))
    ax.set(xlim=(first, max(last, first + 8.0)), ylim=(0.0, top))
    edges = np.concatenate([[first], 0.5 * (day[1:] + day[:-1]), [last]])
    low_edge, high_edge = (np.append(usual, usual[-1]) for usual in (usual_low, usual_high))
    grey = style.VISITS.band(style.BAND_80_ALPHA)
    ax.fill_between(edges, low_edge, high_edge, step="post", label="usual-range", **grey)
    ax.axhline(100.0, color=style.VISITS.colour, lw=0.8, ls=(0, (1, 2)), label="usual", zorder=1)
    ax.vlines(day, low, np.minimum(high, top), color=style.MEASURED.colour, lw=0.7, label="bars")
    looks: Any = {"ls": "", "color": style.MEASURED.colour, "clip_on": False, "zorder": 4}
    inside, shown = growth <= top, np.minimum(growth, top)
    for name, which, mark, size in (
        ("visits", inside, style.MEASURED.marker, 3.2),
        ("above", ~inside, "^", 4.0),
    ):
        if which.any():  # a line of no points would count as one at the origin
            ax.plot(day[which], shown[which], marker=mark, ms=size, label=name, **looks)
    labels = [EndLabel("usual", 100.0, style.VISITS.text)]
    findings = _findings(tank, report)
    labels += [_changed(ax, finding, last, top) for finding in reversed(findings)]
    lettering.label_ends(ax, labels)
    ax.set_ylabel("Growth (% of usual)")
    ax.yaxis.set_major_locator(MaxNLocator(4, steps=[1, 2, 5, 10]))
    lettering.date_axis(ax)
    said = drawable(growth_title(findings, report.on))
    lettering.title_axes(ax, drawable(tank.tank_id), said, TITLE_MM)


def _findings(tank: TankWatch, report: WatchReport) -> tuple[Finding, ...]:
    """Return what was found of a tank, its own first."""
    across = [finding for finding in report.across if tank.tank_id in finding.tank_ids]
    return (*tank.findings, *across)


def _changed(ax: Axes, finding: Finding, last: float, top: float) -> EndLabel:
    """Draw since when and at what growth something has changed; return its label."""
    low, middle, high = (min(100.0 * share, top) for share in finding.growth_share)
    early, since, late = (day_number(day) for day in finding.since)
    if finding.kind == "tank":  # the dots are the tank's, so only its own range belongs to them
        band = style.BUDGET.band(style.BAND_80_ALPHA)
        ax.fill_between((since, last), low, high, label="change-range", **band)
    ax.plot((since, last), (middle, middle), zorder=3, **style.BUDGET.line)
    began = (max(early, ax.get_xlim()[0]), late)
    bar: Any = {"color": style.BUDGET.colour, "lw": 0.8, "marker": "|", "ms": 5, "zorder": 3}
    ax.plot(began, (middle, middle), label="since", **bar)
    who = "whole tank" if finding.kind == "tank" else drawable(finding_name(finding))
    said = f"since {day_words(finding.since[1], finding.noticed_on)}"
    lines = [*textwrap.wrap(who, LABEL_LETTERS)[:2], percent(finding.growth_share[1]), said]
    ax.plot([since], [middle], label="began", ms=5.0, mfc="white", zorder=3.2, **style.BUDGET.marks)
    return EndLabel("\n".join(lines), middle, style.BUDGET.text)


def growth_index_figure(report: WatchReport, said: Answer) -> tuple[Figure, Caption]:
    """Draw every tank that can be judged, at most 24, those that changed first.

    The caption is of what is ``said`` of the report.

    Raises
    ------
    UsageError
        No tank has visits enough.
    """
    tanks = [tank for tank in report.tanks if tank.course]
    if not tanks:
        raise UsageError("no tank has visits enough to be judged, so there is nothing to draw")
    key = sentence("watch_key", left_out=max(len(tanks) - MOST_PANELS, 0))
    tanks = sorted(tanks, key=lambda tank: not _findings(tank, report))[:MOST_PANELS]
    columns, row_mm = (1, 78.0) if len(tanks) == 1 else (2, 58.0)
    panels = [partial(growth_index_axes, tank, report) for tank in tanks]
    told = caption(said, "Growth against usual, visit by visit", key)
    return sheet_of_panels(told, panels, columns, row_mm)
