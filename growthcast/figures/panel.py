"""One area in one set of axes: its log, its forecast, and when it passes its budget."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np
from matplotlib.axes import Axes
from matplotlib.dates import AutoDateLocator, num2date
from matplotlib.ticker import Formatter, MaxNLocator
from numpy.typing import NDArray

from growthcast.figures.lettering import MM_PER_POINT, drawable, shortened, spread_apart
from growthcast.figures.log import AreaLog
from growthcast.figures.style import (
    BAND_50_ALPHA,
    BAND_80_ALPHA,
    BUDGET,
    FLOOR,
    FORECAST,
    MEASURED,
    MM_PER_INCH,
    SMALL_PT,
    TITLE_PT,
    VISITS,
    house_style,
    new_figure,
)
from growthcast.figures.words import (
    MONTHS,
    conclusion,
    day_words,
    full_date_words,
    height_words,
    unit,
)
from growthcast.fit.design import day_number
from growthcast.forecast.heights import LEVELS
from growthcast.forecast.report import AreaForecast

__all__ = ["BOTTOM_MM", "LEFT_MM", "RIGHT_MM", "TOP_MM", "AreaPanel", "forecast_axes"]

FloatArray = NDArray[np.float64]

LEFT_MM, RIGHT_MM, TOP_MM, BOTTOM_MM = 13.0, 24.0, 12.0, 10.0
"""Room around a panel's axes for its labels."""
ALONE_MM = (150.0, 85.0)
LINE_SPACING = 1.15
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


@dataclass(frozen=True, slots=True)
class _EndLabel:
    """Words at the end of a line, and the height at which the line ends."""

    text: str
    height_cm: float
    colour: str


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
        _label_ends(ax, panel)
        _words(ax, panel)
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


def _dates(days: FloatArray) -> NDArray[np.datetime64]:
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
            days, at[low], at[high], color=colour, alpha=alpha, lw=0, gid=f"forecast-{name}"
        )
    ax.plot(
        days, at[0.50], color=colour, ls=FORECAST.dash, lw=FORECAST.width_pt, gid="forecast-median"
    )
    ax.axvline(days[0], color="#B0B0B0", lw=0.6, zorder=0.5)
    for role, level, name in (
        (BUDGET, panel.area.budget_cm, "budget"),
        (FLOOR, panel.area.floor_cm, "floor"),
    ):
        ax.axhline(level, color=role.colour, ls=role.dash, lw=role.width_pt, zorder=1.8, gid=name)


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
        gid="log",
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
            gid=f"log-{name}",
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
        gid="visits",
    )


def _scale(ax: Axes, panel: AreaPanel) -> None:
    area, log = panel.area, panel.log
    seen = [area.budget_cm, area.floor_cm, float(area.height_cm[:, LEVELS.index(0.90)].max())]
    seen += log.before_cm[np.isfinite(log.before_cm)].tolist()
    seen += log.after_cm[np.isfinite(log.after_cm)].tolist()
    ax.set_ylim(0.0, 1.08 * max(max(seen), 0.1))
    ax.set_xlim(*_dates(np.array([panel.from_day, _ahead(panel)[-1]])))
    ax.set_ylabel("Cover (%)" if area.is_cover else "Height (cm)", labelpad=2.0)
    ax.yaxis.set_major_locator(MaxNLocator(nbins=5, steps=[1, 2, 5, 10]))
    ax.xaxis.set_major_locator(AutoDateLocator(minticks=3, maxticks=7))  # type: ignore[no-untyped-call]
    ax.xaxis.set_major_formatter(_ConciseDates())


def _day_at(place: float) -> date:
    day: date = num2date(place).date()  # type: ignore[no-untyped-call]
    return day


class _ConciseDates(Formatter):
    """Days by number, months by name, years where they begin; the first says all that is needed."""

    def __call__(self, x: float, pos: int | None = None) -> str:  # noqa: ARG002
        return full_date_words(_day_at(x))

    def format_ticks(self, values: Sequence[float]) -> list[str]:
        """Return the labels of a row of ticks."""
        low, high = sorted(self.axis.get_view_interval())  # type: ignore[union-attr]
        told, labels = False, []
        for value in values:
            day = _day_at(value)
            if not low <= value <= high:
                labels.append("")
                continue
            if day.day == 1:
                labels.append(f"{MONTHS[day.month - 1]}" + ("" if told else f"\n{day.year}"))
                if told and day.month == 1:
                    labels[-1] += f"\n{day.year}"
            elif told:
                labels.append(f"{day.day}")
            else:
                labels.append(f"{day.day} {MONTHS[day.month - 1]}\n{day.year}")
            told = True
        return labels


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
        gid="crossing-range",
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
        gid="crossing",
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


def _end_labels(panel: AreaPanel) -> Sequence[_EndLabel]:
    area, measure = panel.area, unit(panel.area)
    low, middle, high = (area.height_cm[-1, LEVELS.index(level)] for level in (0.10, 0.50, 0.90))
    likely = f"forecast {height_words(middle)} {measure}\n"
    return (
        _EndLabel(
            f"{likely}({height_words(low)} to {height_words(high)})", middle, FORECAST.colour
        ),
        _EndLabel(f"height budget\n{area.budget_cm:g} {measure}", area.budget_cm, BUDGET.colour)
        if not area.is_cover
        else _EndLabel(f"cover budget\n{area.budget_cm:g} %", area.budget_cm, BUDGET.colour),
        _EndLabel(f"floor {area.floor_cm:g} {measure}", area.floor_cm, FLOOR.colour),
    )


def _axes_size_mm(ax: Axes) -> tuple[float, float]:
    figure = ax.get_figure(root=True)
    assert figure is not None
    width, height = figure.get_size_inches() * MM_PER_INCH
    box = ax.get_position()
    return float(box.width * width), float(box.height * height)


def _label_ends(ax: Axes, panel: AreaPanel) -> None:
    labels = _end_labels(panel)
    _, height_mm = _axes_size_mm(ax)
    line = SMALL_PT * LINE_SPACING * MM_PER_POINT / height_mm
    top = ax.get_ylim()[1]
    ends = [label.height_cm / top for label in labels]
    sizes = [line * (label.text.count("\n") + 1.25) for label in labels]
    for label, end, place in zip(labels, ends, spread_apart(ends, sizes, -0.1, 1.0), strict=True):
        ax.annotate(
            label.text,
            xy=(1.0, end),
            xytext=(1.0 + 3.2 / _axes_size_mm(ax)[0], place),
            xycoords="axes fraction",
            textcoords="axes fraction",
            va="center",
            ha="left",
            color=label.colour,
            fontsize=SMALL_PT,
            linespacing=LINE_SPACING,
            annotation_clip=False,
            arrowprops={
                "arrowstyle": "-",
                "color": label.colour,
                "lw": 0.6,
                "shrinkA": 0.0,
                "shrinkB": 0.0,
                "relpos": (0.0, 0.5),
            },
        )


def _words(ax: Axes, panel: AreaPanel) -> None:
    """Title the axes with the area's name and, under it, the conclusion."""
    width_mm, _ = _axes_size_mm(ax)
    room = width_mm + RIGHT_MM - 2.0
    said = conclusion(panel.area, panel.on, panel.horizon_d)
    ax.set_title(
        shortened(said, TITLE_PT, room), loc="left", pad=4.0, fontsize=TITLE_PT, parse_math=False
    )
    ax.annotate(
        shortened(panel.name, TITLE_PT * 1.12, room),
        xy=(0.0, 1.0),
        xycoords="axes fraction",
        xytext=(0.0, 4.0 + TITLE_PT * 1.25),
        textcoords="offset points",
        ha="left",
        va="bottom",
        fontsize=TITLE_PT,
        fontweight="bold",
        parse_math=False,
        annotation_clip=False,
    )
