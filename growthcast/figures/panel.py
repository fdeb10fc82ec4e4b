"""One area in one set of axes: its log, its forecast, and when it passes its budget."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.ticker import MaxNLocator

from growthcast.arrays import BoolArray, DateArray, FloatArray, day_numbers
from growthcast.book.book import Book, bounds_on
from growthcast.figures import lettering, style
from growthcast.figures.drawn import EndLabel
from growthcast.figures.lettering import drawable
from growthcast.fit.design import day_number
from growthcast.forecast.heights import LEVELS
from growthcast.forecast.report import AreaForecast
from growthcast.log.visits import read_log
from growthcast.nouns import dataclass
from growthcast.say.forecast import height_words, passes, unit
from growthcast.say.texts import TERMINAL
from growthcast.say.words import day_words

TITLE_MM = 76.0
MOST_OF_BUDGET = 1.6
"""Heights beyond this share of the budget are what nobody plans: the axis ends there."""
ROOM_FOR_DATE, ROOM_ABOVE = 0.2, 0.85
"""Shares of the axes: a crossing nearer to the left, or higher, has its date under the line."""


@dataclass(frozen=True, slots=True)
class AreaLog:
    """Heights of one area on the ``N`` days it was measured, nan where one was not.

    ``day`` are day numbers; ``joined`` (N,) tells that the area grew undisturbed, as far as the log
    knows, from the reading before: only then may a line join the two. ``agreed`` (3, n) are the
    days from which on a floor and a height budget held, and these two [cm].
    """

    day: FloatArray
    before_cm: FloatArray
    after_cm: FloatArray
    joined: BoolArray
    agreed: FloatArray

    def __len__(self) -> int:
        return int(self.day.size)

    def sawtooth(self) -> tuple[FloatArray, FloatArray]:
        """Days and heights of the line through the readings, nan where it breaks."""
        gap = np.full(len(self), np.nan)
        heights = np.stack([gap, self.before_cm, self.after_cm], axis=1)
        told = np.isfinite(heights)
        told[:, 0] = ~self.joined
        return np.repeat(self.day, 3).reshape(-1, 3)[told], heights[told]


def visit_days(book: Book, tank_id: str, from_day: float, to_day: float) -> FloatArray:
    """Days from ``from_day`` to ``to_day`` on which the log has a row of the tank."""
    day = day_numbers(book.trims.date("date"))
    inside = (day >= from_day) & (day <= to_day)
    inside &= book.trims.text("tank_id") == tank_id
    return np.unique(day[inside])


def area_log(book: Book, area_id: str, from_day: float, to_day: float) -> AreaLog:
    """Return an area's readings from ``from_day`` to ``to_day``.

    A height that the row's other two amounts give (before less removed) counts as read. A weight,
    or a length without a height, breaks the line: how high the area stood is then not known. So
    does the weight of the whole tank's trimmings, which may or may not be this area's.
    """
    place = int(np.flatnonzero(book.areas.text("area_id") == area_id)[0])
    visits = read_log(book).visits
    visits = visits.keep((visits.area == place) & (visits.day <= to_day))
    cut = visits.cut | (visits.unsaid & (visits.bucket >= 0))
    before, after = visits.found_cm, np.where(visits.cut, visits.left_cm, np.nan)
    read = np.isfinite(before) | np.isfinite(after)
    told = cut | read  # a look alone changes nothing
    before, after, read, days = before[told], after[told], read[told], visits.day[told]
    ends_known = ~cut[told] | np.isfinite(after)

    planted_day = day_numbers(book.areas.date("planted_on"))[place]
    planted_cm = book.areas.number("planted_height_cm")[place]
    if np.isfinite(planted_cm) and planted_day <= to_day and not (days <= planted_day).any():
        days = np.concatenate([[planted_day], days])
        before, after = np.insert(before, 0, np.nan), np.insert(after, 0, planted_cm)
        ends_known, read = np.insert(ends_known, 0, True), np.insert(read, 0, True)
    starts_known = np.isfinite(before)
    joined = starts_known & np.concatenate([[False], (ends_known & read)[:-1]])
    kept = read & (days >= from_day)
    joined = joined[kept]
    joined[:1] = False
    began = np.unique(day_numbers(book.bounds.date("from_date")))
    began = np.concatenate([[from_day], began[(began > from_day) & (began <= to_day)]])
    held = bounds_on(book.areas, book.bounds, np.full(began.size, place), began)
    agreed = np.stack([began, held.floor_cm, held.budget_cm])
    return AreaLog(days[kept], before[kept], after[kept], joined, agreed)


@dataclass(frozen=True, slots=True)
class AreaPanel:
    """What one panel shows: an area's forecast from the day ``on``, and its log before.

    ``visit_day`` are the day numbers on which its tank was visited, ``ahead_day`` those of the
    visits of its rhythm; ``from_day`` is the first day drawn. ``label`` is the person's own text,
    ``area.area_id`` stands in where it is blank. ``as_it_is_cm`` (T,) are the most likely heights
    as things are, beside those supposed.
    """

    label: str
    area: AreaForecast
    log: AreaLog
    visit_day: FloatArray
    from_day: float
    on: date
    horizon_d: int
    ahead_day: FloatArray
    as_it_is_cm: FloatArray | None = None

    @property
    def name(self) -> str:
        """The area's label as the font can draw it."""
        return drawable(self.label, otherwise=self.area.area_id)


def forecast_axes(panel: AreaPanel, ax: Axes) -> None:
    """Draw one area's log and forecast; the title is the conclusion."""
    _draw_forecast(ax, panel)
    _draw_log(ax, panel)
    _scale(ax, panel)
    _draw_crossing(ax, panel)
    lettering.label_ends(ax, _end_labels(panel))
    said = passes(TERMINAL, "spark", panel.area, panel.on, panel.horizon_d)
    lettering.title_axes(ax, panel.name, said, TITLE_MM)


def _dates(days: FloatArray | float) -> DateArray:
    return np.asarray(days, dtype=np.float64).astype(np.int64).astype("datetime64[D]")


def _draw_forecast(ax: Axes, panel: AreaPanel) -> None:
    days, height = np.array(panel.area.at, dtype="datetime64[D]"), panel.area.height_cm
    at = {level: height[:, i] for i, level in enumerate(LEVELS)}
    for low, high, alpha in (0.10, 0.90, style.BAND_80_ALPHA), (0.25, 0.75, style.BAND_50_ALPHA):
        held, band = round(100 * (high - low)), style.FORECAST.band(alpha)
        ax.fill_between(days, at[low], at[high], label=f"forecast-{held}", **band)
    ax.plot(days, at[0.50], label="forecast-median", **style.FORECAST.line)
    if panel.as_it_is_cm is not None:
        looks: Any = {"color": style.VISITS.colour, "lw": 1.2, "ls": "-."}
        ax.plot(days, panel.as_it_is_cm, label="as-it-is", **looks)
    ax.axvline(days[0], color="#B0B0B0", lw=0.6, zorder=0.5)
    began, floor, budget = panel.log.agreed
    for role, level, name, held in (
        (style.BUDGET, panel.area.budget_cm, "budget", budget),
        (style.FLOOR, panel.area.floor_cm, "floor", floor),
    ):
        if (held == level).all():
            ax.axhline(level, zorder=1.8, label=name, **role.line)
            continue
        steps = np.append(_dates(began), days[-1]), np.append(held, level)
        ax.plot(*steps, drawstyle="steps-post", zorder=1.8, label=name, **role.line)


def _draw_log(ax: Axes, panel: AreaPanel) -> None:
    log = panel.log
    days, heights = log.sawtooth()
    # A break is a gap in the heights; its day is kept so that dates and heights stay paired.
    ax.plot(_dates(days), heights, zorder=2.5, label="log", **style.MEASURED.line)
    looks: dict[str, Any] = {"ms": 3.6, "zorder": 3, "clip_on": False, **style.MEASURED.marks}
    before, after = (log.before_cm, style.MEASURED.colour), (log.after_cm, "white")
    for (heights, filled), name in (before, "log-before"), (after, "log-after"):
        read = np.isfinite(heights)
        if read.any():  # a line of no points would count as one at the origin
            ax.plot(_dates(log.day[read]), heights[read], mfc=filled, label=name, **looks)
    visits, height = _dates(panel.visit_day), np.full(panel.visit_day.size, 0.035)
    above_axis = ax.get_xaxis_transform()
    ax.plot(visits, height, transform=above_axis, ms=5.5, label="visits", **style.VISITS.marks)
    dots: Any = {"color": style.VISITS.colour, "lw": 0.7, "ls": (0, (1, 3)), "zorder": 0.6}
    for day in _dates(panel.ahead_day):
        ax.axvline(day, label="ahead", **dots)


def _scale(ax: Axes, panel: AreaPanel) -> None:
    area, log = panel.area, panel.log
    most = np.minimum(area.height_cm[:, LEVELS.index(0.90)], MOST_OF_BUDGET * area.budget_cm)
    read = [log.agreed[1:].ravel(), log.before_cm, log.after_cm]
    top = 1.08 * float(np.nanmax(np.concatenate([[area.budget_cm, 0.1], most, *read])))
    ax.set_ylim(0.0, top)
    above = np.flatnonzero(area.height_cm[:, LEVELS.index(0.50)] > top)
    if above.size:  # it goes on above the picture
        mark: Any = {"marker": "^", "ms": 5.0, "clip_on": False, **style.FORECAST.line}
        ax.plot([area.at[above[0]]], [top], label="above", **mark)
    edges: Any = _dates(panel.from_day), area.at[-1]
    ax.set_xlim(edges)
    ax.set_ylabel("Cover (%)" if area.is_cover else "Height (cm)", labelpad=2.0)
    steps = [1, 2.5, 5, 10] if area.is_cover else [1, 2, 5, 10]
    ax.yaxis.set_major_locator(MaxNLocator(nbins=5, steps=steps))
    lettering.date_axis(ax)


def _draw_crossing(ax: Axes, panel: AreaPanel) -> None:
    """Mark the most likely day on the budget line, with its 8 times in 10 as a bar."""
    early, middle, late = panel.area.passes_budget_on
    if early is None or (late is not None and late <= panel.on):
        return
    budget, colour = panel.area.budget_cm, style.BUDGET.colour
    bar: Any = {"color": colour, "lw": 3.0, "alpha": 0.8, "solid_capstyle": "butt", "zorder": 3.1}
    ends: Any = [early, late or panel.area.at[-1]]
    ax.plot(ends, [budget] * 2, label="crossing-range", **bar)
    if middle is None or middle <= panel.on:
        return
    looks: dict[str, Any] = {"ms": 5.0, "mfc": "white", "zorder": 3.2, "clip_on": False}
    at: Any = [middle]
    ax.plot(at, [budget], label="crossing", **style.BUDGET.marks, **looks)
    low, high = ax.get_xlim()
    early_on = (day_number(middle) - low) / (high - low) < ROOM_FOR_DATE
    above = budget / ax.get_ylim()[1] < ROOM_ABOVE and not early_on
    box = {"facecolor": "white", "alpha": 0.75, "edgecolor": "none", "pad": 0.6}
    words: Any = {"color": style.BUDGET.text, "fontsize": style.SMALL_PT, "bbox": box}
    words |= {"xytext": (4.0 if early_on else -3.0, 5.0 if above else -5.0), "zorder": 3.3}
    words |= {"ha": "left" if early_on else "right", "va": "bottom" if above else "top"}
    said = day_words(middle, panel.on)
    ax.annotate(said, (middle, budget), textcoords="offset points", **words)


def _end_labels(panel: AreaPanel) -> Sequence[EndLabel]:
    area, measure = panel.area, unit(panel.area)
    low, middle, high = (area.height_cm[-1, LEVELS.index(level)] for level in (0.10, 0.50, 0.90))
    likely = (
        f"forecast {height_words(middle)} {measure}\n({height_words(low)}–{height_words(high)})"
    )
    budget = f"{'cover' if area.is_cover else 'height'} budget\n{area.budget_cm:g} {measure}"
    ends = [
        EndLabel(likely, middle, style.FORECAST.text),
        EndLabel(budget, area.budget_cm, style.BUDGET.text),
        EndLabel(f"floor {area.floor_cm:g} {measure}", area.floor_cm, style.FLOOR.text),
    ]
    if panel.as_it_is_cm is not None:
        now = float(panel.as_it_is_cm[-1])
        ends.append(EndLabel(f"as it is {height_words(now)} {measure}", now, style.VISITS.text))
    return ends
