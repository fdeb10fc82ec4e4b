"""Answers drawn on the caller's own axes; no setting of matplotlib is changed.

Every function returns the axes. Colours and marks are those of the pictures of the commands.
"""

from __future__ import annotations

from typing import TypeVar

import numpy as np
from matplotlib import pyplot as plt
from matplotlib.axes import Axes

from growthcast.errors import UsageError
from growthcast.figures.lettering import date_axis
from growthcast.figures.readings import calibration_axes, growth_index_axes
from growthcast.figures.style import BAND_50_ALPHA, BAND_80_ALPHA, BUDGET, FLOOR, FORECAST
from growthcast.forecast.heights import LEVELS
from growthcast.forecast.report import AreaForecast
from growthcast.forecast.verdict import BacktestResult
from growthcast.frames import Answers
from growthcast.service.advice import TankAdvice
from growthcast.service.watch.watch import WatchReport

T = TypeVar("T")


def forecast(look: AreaForecast | Answers[AreaForecast], ax: Axes | None = None) -> Axes:
    """Draw the heights forecast for an area, with its budget and floor.

    Parameters
    ----------
    look : AreaForecast
        One of ``growthcast.forecast_growth(fit, at=...)``, of two days or more. The bands hold 5
        and 8 times in 10.
    ax : Axes, optional
        Where to draw; the current axes when not given.
    """
    ax, look = ax or plt.gca(), _one(look, AreaForecast)
    if len(look.at) < 2:
        raise UsageError(
            "a forecast of two days or more can be drawn: forecast_growth(fit, at=[...])"
        )
    heights = dict(zip(LEVELS, look.height_cm.T, strict=True))
    days = np.array(look.at, dtype="datetime64[D]")
    for low, high, alpha in ((0.10, 0.90, BAND_80_ALPHA), (0.25, 0.75, BAND_50_ALPHA)):
        ax.fill_between(days, heights[low], heights[high], **FORECAST.band(alpha))
    ax.plot(days, heights[0.50], **FORECAST.line, label="forecast")
    for name, level, role in (("budget", look.budget_cm, BUDGET), ("floor", look.floor_cm, FLOOR)):
        ax.axhline(level, **role.line, label=name)
    ax.set_ylim(bottom=0.0)
    ax.set_ylabel("Cover (%)" if look.is_cover else "Height (cm)")
    date_axis(ax)
    ax.set_title(look.area_id)
    return ax


def interval(advice: TankAdvice | Answers[TankAdvice], ax: Axes | None = None) -> Axes:
    """Draw the chance that a tank stays inside its budgets against the interval of its visits.

    It is the chance when every area is cut as low as still looks right.

    Parameters
    ----------
    advice : TankAdvice
        One of ``growthcast.recommend(fit)``.
    ax : Axes, optional
        Where to draw; the current axes when not given.
    """
    ax, advice = ax or plt.gca(), _one(advice, TankAdvice)
    days = [option.interval_d for option in advice.options]
    chances = [100.0 * option.chance_at_least_cut for option in advice.options]
    ax.plot(days, chances, **FORECAST.line, marker="o", ms=4, label="chance")
    wanted = 100.0 * advice.confidence
    ax.axhline(wanted, **BUDGET.line, label="wanted")
    ax.set(ylim=(0, 100), xlabel="Days between visits", ylabel="Chance that all areas fit (%)")
    ax.set_title(advice.tank_id)
    return ax


def calibration(result: BacktestResult, ax: Axes | None = None) -> Axes:
    """Draw how often ranges held the truth against how often they were meant to.

    Parameters
    ----------
    result : BacktestResult
        What ``growthcast.backtest`` returned.
    ax : Axes, optional
        Where to draw; the current axes when not given.
    """
    ax = ax or plt.gca()
    calibration_axes(result, ax)
    return ax


def growth(report: WatchReport, tank_id: str, ax: Axes | None = None) -> Axes:
    """Draw the growth of a tank against usual, visit by visit.

    Parameters
    ----------
    report : WatchReport
        What ``growthcast.watch_growth`` returned.
    tank_id : str
        The tank.
    ax : Axes, optional
        Where to draw; the current axes when not given.
    """
    ax = ax or plt.gca()
    here = {tank.tank_id: tank for tank in report.tanks}
    if tank_id not in here:
        raise UsageError(f"the report has no tank {tank_id}; it has {', '.join(here)}")
    if not here[tank_id].course:
        raise UsageError(f"too few visits of {tank_id} to hold against usual: nothing to draw")
    growth_index_axes(here[tank_id], report, ax)
    return ax


def _one(answer: object, kind: type[T]) -> T:
    """Return the one answer that is to be drawn."""
    if isinstance(answer, Answers) and len(answer) == 1:
        [answer] = answer
    if not isinstance(answer, kind):
        raise UsageError(f"give one {kind.__name__}, as answers[0], not {answer!r:.80}")
    return answer


__all__ = ["calibration", "forecast", "growth", "interval"]
