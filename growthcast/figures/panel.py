"""One area in one set of axes: its log, its forecast, and when it passes its budget."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np
from matplotlib.axes import Axes
from matplotlib.dates import AutoDateLocator
from matplotlib.ticker import MaxNLocator

from growthcast.arrays import DateArray, FloatArray
from growthcast.figures.lettering import drawable
from growthcast.figures.log import AreaLog
from growthcast.figures.marks import ConciseDates, EndLabel, label_ends, title_axes
from growthcast.figures.style import (
    BAND_50_ALPHA,
    BAND_80_ALPHA,
    BUDGET,
    FLOOR,
    FORECAST,
    MEASURED,
    SMALL_PT,
    VISITS,
    house_style,
    new_figure,
)
from growthcast.fit.design import day_number
from growthcast.forecast.heights import LEVELS
from growthcast.forecast.report import AreaForecast
from growthcast.say.forecast import conclusion, height_words, unit
from growthcast.say.words import day_words

__all__ = ["BOTTOM_MM", "LEFT_MM", "RIGHT_MM", "TOP_MM", "AreaPanel", "forecast_axes"]


LEFT_MM, RIGHT_MM, TOP_MM, BOTTOM_MM = 13.0, 24.0, 12.0, 10.0
"""Room around a panel's axes for its labels."""
ALONE_MM = (150.0, 85.0)
ROOM_FOR_DATE, ROOM_ABOVE = 0.2, 0.85
"""Shares of the axes: a crossing nearer to the left, or higher, has its date under the line."""


@dataclass(frozen=True, slots=True)
class AreaPanel:
    """What one panel shows: an area's forecast from the day ``on``, and its log before.

    ``visit_day`` are the day numbers on which its tank was visited; ``from_day`` is the first day
    drawn. ``label`` is the person's own text, ``area.area_id`` stands in where it is blank.
    """

    label: str
    area: AreaForecast
    log: AreaLog
    visit_day: FloatArray
    from_day: float
    on: date
    horizon_d: int

    @property
    def name(self) -> str:
        """The area's label as the font can draw it."""
        return drawable(self.label, otherwise=self.area.area_id)


def forecast_axes(panel: AreaPanel, ax: Axes | None = None) -> Axes:
    """Draw one area's log and forecast.

    Parameters
    ----------
    panel : AreaPanel
        The area, its forecast and its log.
    ax : Axes, optional
        Where to draw; axes in a figure of their own when not given. Line ends are labelled to the
        right of the axes: leave about 24 mm there.

    Returns
    -------
    Axes
        The axes, titled with the conclusion.
    """
    with house_style():
        if ax is None:
            ax = _axes_alone()
        _draw_forecast(ax, panel)
        _draw_log(ax, panel)
        _scale(ax, panel)
        _draw_crossing(ax, panel)
        label_ends(ax, _end_labels(panel))
        said = conclusion(panel.area, panel.on, panel.horizon_d)
        title_axes(ax, panel.name, said, RIGHT_MM - 2.0)
    return ax


def _axes_alone() -> Axes:
    width, height = ALONE_MM
    box = (
        LEFT_MM / width,
        BOTTOM_MM / height,
        (width - LEFT_MM - RIGHT_MM) / width,
        (height - TOP_MM - BOTTOM_MM) / height,
    )
    return new_figure(width, height).add_axes(box)


def _dates(days: FloatArray) -> DateArray:
    return np.asarray(days, dtype=np.float64).astype(np.int64).astype("datetime64[D]")


def _ahead(panel: AreaPanel) -> FloatArray:
    return np.array([day_number(day) for day in panel.area.at])


def _draw_forecast(ax: Axes, panel: AreaPanel) -> None:
    days, height = _dates(_ahead(panel)), panel.area.height_cm
    at = {level: height[:, i] for i, level in enumerate(LEVELS)}
    colour = FORECAST.colour
    bands = ((0.10, 0.90, BAND_80_ALPHA, "80"), (0.25, 0.75, BAND_50_ALPHA, "50"))
    for low, high, alpha, name in bands:
        ax.fill_between(
            days, at[low], at[high], color=colour, alpha=alpha, lw=0, label=f"forecast-{name}"
        )
    ax.plot(
        days,
        at[0.50],
        color=colour,
        ls=FORECAST.dash,
        lw=FORECAST.width_pt,
        label="forecast-median",
    )
    ax.axvline(days[0], color="#B0B0B0", lw=0.6, zorder=0.5)
    for role, level, name in (
        (BUDGET, panel.area.budget_cm, "budget"),
        (FLOOR, panel.area.floor_cm, "floor"),
    ):
        ax.axhline(level, color=role.colour, ls=role.dash, lw=role.width_pt, zorder=1.8, label=name)


def _draw_log(ax: Axes, panel: AreaPanel) -> None:
    log = panel.log
    days, heights = log.sawtooth()
    # A break is a gap in the heights; its day is kept so that dates and heights stay paired.
    ax.plot(
        _dates(days),
        heights,
        color=MEASURED.colour,
        ls=MEASURED.dash,
        lw=MEASURED.width_pt,
        zorder=2.5,
        label="log",
    )
    for heights, filled, name in (
        (log.before_cm, MEASURED.colour, "before"),
        (log.after_cm, "white", "after"),
    ):
        read = np.isfinite(heights)
        ax.plot(
            _dates(log.day[read]),
            heights[read],
            ls="",
            marker=MEASURED.marker,
            ms=3.6,
            mfc=filled,
            mec=MEASURED.colour,
            mew=0.8,
            zorder=3,
            clip_on=False,
            label=f"log-{name}",
        )
    ax.plot(
        _dates(panel.visit_day),
        np.full(panel.visit_day.size, 0.035),
        transform=ax.get_xaxis_transform(),
        ls="",
        marker=VISITS.marker,
        ms=5.5,
        mew=VISITS.width_pt,
        color=VISITS.colour,
        label="visits",
    )


def _scale(ax: Axes, panel: AreaPanel) -> None:
    area, log = panel.area, panel.log
    seen = [area.budget_cm, area.floor_cm, float(area.height_cm[:, LEVELS.index(0.90)].max())]
    seen += log.before_cm[np.isfinite(log.before_cm)].tolist()
    seen += log.after_cm[np.isfinite(log.after_cm)].tolist()
    ax.set_ylim(0.0, 1.08 * max(max(seen), 0.1))
    ax.set_xlim(*_dates(np.array([panel.from_day, _ahead(panel)[-1]])))
    ax.set_ylabel("Cover (%)" if area.is_cover else "Height (cm)", labelpad=2.0)
    steps = [1, 2.5, 5, 10] if area.is_cover else [1, 2, 5, 10]
    ax.yaxis.set_major_locator(MaxNLocator(nbins=5, steps=steps))
    ax.xaxis.set_major_locator(AutoDateLocator(minticks=3, maxticks=7))  # type: ignore[no-untyped-call]
    ax.xaxis.set_major_formatter(ConciseDates())


def _draw_crossing(ax: Axes, panel: AreaPanel) -> None:
    """Mark the most likely day on the budget line, with its 8 times of 10 as a bar."""
    early, middle, late = panel.area.passes_budget_on
    if early is None or (late is not None and late <= panel.on):
        return
    first, last = day_number(early), day_number(late) if late else float(_ahead(panel)[-1])
    budget, colour = panel.area.budget_cm, BUDGET.colour
    ax.plot(
        _dates(np.array([first, last])),
        [budget, budget],
        color=colour,
        lw=3.0,
        alpha=0.8,
        solid_capstyle="butt",
        zorder=3.1,
        label="crossing-range",
    )
    if middle is None or middle <= panel.on:
        return
    at = _dates(np.array([day_number(middle)]))
    ax.plot(
        at,
        [budget],
        ls="",
        marker=BUDGET.marker,
        ms=5.0,
        mfc="white",
        mec=colour,
        mew=1.2,
        zorder=3.2,
        clip_on=False,
        label="crossing",
    )
    low, high = ax.get_xlim()
    early_on = (day_number(middle) - low) / (high - low) < ROOM_FOR_DATE
    above = budget / ax.get_ylim()[1] < ROOM_ABOVE and not early_on
    ax.annotate(
        day_words(middle, panel.on),
        (at[0], budget),
        xytext=(4.0 if early_on else -3.0, 5.0 if above else -5.0),
        textcoords="offset points",
        ha="left" if early_on else "right",
        va="bottom" if above else "top",
        color=colour,
        fontsize=SMALL_PT,
        bbox={"facecolor": "white", "alpha": 0.75, "edgecolor": "none", "pad": 0.6},
        zorder=3.3,
    )


def _end_labels(panel: AreaPanel) -> Sequence[EndLabel]:
    area, measure = panel.area, unit(panel.area)
    low, middle, high = (area.height_cm[-1, LEVELS.index(level)] for level in (0.10, 0.50, 0.90))
    likely = f"forecast {height_words(middle)} {measure}\n"
    return (
        EndLabel(f"{likely}({height_words(low)} to {height_words(high)})", middle, FORECAST.colour),
        EndLabel(f"height budget\n{area.budget_cm:g} {measure}", area.budget_cm, BUDGET.colour)
        if not area.is_cover
        else EndLabel(f"cover budget\n{area.budget_cm:g} %", area.budget_cm, BUDGET.colour),
        EndLabel(f"floor {area.floor_cm:g} {measure}", area.floor_cm, FLOOR.colour),
    )
