"""Growth of each tank against usual, visit by visit, with the range it keeps while all is well."""

from __future__ import annotations

import math
from datetime import date
from pathlib import Path
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.dates import AutoDateLocator, date2num
from matplotlib.figure import Figure
from matplotlib.ticker import MaxNLocator

from growthcast.book.book import Book
from growthcast.book.writing.whole import write_whole
from growthcast.errors import UsageError
from growthcast.figures.lettering import caption_of, drawable, wrapped
from growthcast.figures.marks import ConciseDates, EndLabel, label_ends, title_axes
from growthcast.figures.save import check_target, figure_form
from growthcast.figures.style import (
    BAND_80_ALPHA,
    BUDGET,
    MEASURED,
    VISITS,
    figure_bytes,
    house_style,
    new_figure,
)
from growthcast.say.words import day_words
from growthcast.service.watch.report import Finding, TankWatch, WatchReport

__all__ = [
    "alternative_text",
    "caption",
    "growth_index_axes",
    "growth_index_figure",
    "save_growth_index_figure",
]

WIDTH_MM, ALONE_WIDTH_MM = 190.0, 160.0
AXES_MM, LEFT_MM, RIGHT_MM, TOP_MM, BOTTOM_MM, GAP_MM = 40.0, 13.0, 25.0, 12.0, 10.0, 3.0
MOST_PANELS = 24
LEAST_TOP, HIGHEST_TOP = 180.0, 300.0
KEY = (
    "Dots: growth between two visits, all areas of the tank together, 100 % = usual; bars hold the "
    "truth 8 times of 10. Grey: where a visit falls 95 times of 100 while nothing changes. "
    "Arrows: off the scale. An alarm rests on several visits, not on a single dot."
)


def _place(day: date) -> float:
    """Place of a day along an axis of dates."""
    return float(date2num(day))  # type: ignore[no-untyped-call]


def growth_index_axes(tank: TankWatch, report: WatchReport, ax: Axes | None = None) -> Axes:
    """Draw one tank's growth against usual.

    Parameters
    ----------
    tank : TankWatch
        A tank with at least one visit that was held against usual.
    report : WatchReport
        The report it is from.
    ax : Axes, optional
        Where to draw; axes of a new figure when not given.

    Returns
    -------
    Axes
        The axes drawn on.
    """
    ax = ax or new_figure(ALONE_WIDTH_MM, AXES_MM * 1.5).add_subplot()
    day = np.array([_place(point.on) for point in tank.course])
    growth, low, high, usual_low, usual_high = (
        100.0 * np.array([getattr(point, name) for point in tank.course])
        for name in ("growth", "low", "high", "usual_low", "usual_high")
    )
    first, last = float(day[0]) - 3.0, _place(report.on) + 1.0
    top = float(np.clip(1.1 * np.max([growth.max(), usual_high.max()]), LEAST_TOP, HIGHEST_TOP))
    ax.set(xlim=(first, max(last, first + 8.0)), ylim=(0.0, top))
    edges = np.concatenate([[first], 0.5 * (day[1:] + day[:-1]), [last]])
    ax.fill_between(
        edges,
        np.append(usual_low, usual_low[-1]),
        np.append(usual_high, usual_high[-1]),
        step="post",
        color=VISITS.colour,
        alpha=BAND_80_ALPHA,
        lw=0,
        label="usual-range",
    )
    ax.axhline(100.0, color=VISITS.colour, lw=0.8, ls=(0, (1, 2)), label="usual", zorder=1)
    ax.vlines(day, low, np.minimum(high, top), color=MEASURED.colour, lw=0.7, label="bars")
    inside = growth <= top
    style: Any = {"ls": "", "color": MEASURED.colour, "clip_on": False, "zorder": 4}
    ax.plot(day[inside], growth[inside], marker=MEASURED.marker, ms=3.2, label="visits", **style)
    ax.plot(day[~inside], np.full((~inside).sum(), top), marker="^", ms=4, label="above", **style)
    labels = [EndLabel("usual", 100.0, VISITS.colour)]
    changed = (*_across(tank, report), *tank.findings)
    labels += [_changed(ax, finding, last, top) for finding in changed]
    label_ends(ax, labels)
    ax.set_ylabel("Growth (% of usual)")
    ax.yaxis.set_major_locator(MaxNLocator(4, steps=[1, 2, 5, 10]))
    locator = AutoDateLocator(minticks=3, maxticks=6)  # type: ignore[no-untyped-call]
    ax.xaxis.set_major_locator(locator)
    ax.xaxis.set_major_formatter(ConciseDates())
    title_axes(ax, drawable(tank.tank_id), _title(tank, report), RIGHT_MM - 2.0)
    return ax


def _across(tank: TankWatch, report: WatchReport) -> tuple[Finding, ...]:
    return tuple(finding for finding in report.across if tank.tank_id in finding.tank_ids)


def _changed(ax: Axes, finding: Finding, last: float, top: float) -> EndLabel:
    """Draw since when and at what growth something has changed; return its label."""
    low, middle, high = (min(100.0 * share, top) for share in finding.growth_share)
    early, since, late = (_place(day) for day in finding.since)
    if finding.kind == "tank":  # the dots are the tank's, so only its own range belongs to them
        ax.fill_between(
            (since, last),
            low,
            high,
            color=BUDGET.colour,
            alpha=BAND_80_ALPHA,
            lw=0,
            label="change-range",
        )
    ax.plot(
        (since, last),
        (middle, middle),
        color=BUDGET.colour,
        lw=BUDGET.width_pt,
        ls=BUDGET.dash,
        zorder=3,
    )
    ax.plot(
        (max(early, ax.get_xlim()[0]), late),
        (middle, middle),
        color=BUDGET.colour,
        lw=0.8,
        marker="|",
        ms=5,
        zorder=3,
        label="since",
    )
    who = "whole tank" if finding.kind == "tank" else drawable(finding.name)
    words = "\n".join(wrapped(who, 7.0, RIGHT_MM - 5.0)[:2])
    return EndLabel(f"{words}\n{100 * finding.growth_share[1]:.0f} %", middle, BUDGET.colour)


def _title(tank: TankWatch, report: WatchReport) -> str:
    """Return the conclusion of one panel."""
    findings = (*tank.findings, *_across(tank, report))
    if not findings:
        return "grows as usual, as far as its visits tell"
    finding = findings[0]
    verb = "grow" if finding.kind == "species" else "grows"
    return (
        f"{drawable(finding.name)} {verb} at {100 * finding.growth_share[1]:.0f} % since about "
        f"{day_words(finding.since[1], report.on)}"
    )


def caption(report: WatchReport) -> str:
    """Return what the figure shows: who needs a look, and since when."""
    drawn = [tank for tank in report.tanks if tank.course]
    findings = report.findings
    if not findings:
        many = "The tank grows" if len(drawn) == 1 else f"All {len(drawn)} tanks grow"
        return f"{many} as usual, as far as the visits up to {report.on} tell."
    said = "; ".join(
        f"{', '.join(finding.tank_ids)}: {finding.sentence}" for finding in findings[:3]
    )
    more = f"; and {len(findings) - 3} more" if len(findings) > 3 else ""
    return f"{drawable(said)}{more}."


def alternative_text(report: WatchReport) -> tuple[str, str]:
    """Return a title and a description of the figure, in words and numbers."""
    told = []
    for tank in report.tanks:
        if tank.course:
            points = ", ".join(
                f"{point.on} {100 * point.growth:.0f} % (usual {100 * point.usual_low:.0f} to "
                f"{100 * point.usual_high:.0f} %)"
                for point in tank.course[-6:]
            )
            told.append(f"{tank.tank_id}: {tank.sentence}. Last visits: {points}.")
    return "Growth against usual, visit by visit", " ".join([caption(report), *told])


def growth_index_figure(report: WatchReport) -> Figure:
    """Draw every tank that can be judged, those that changed first, and what follows.

    Parameters
    ----------
    report : WatchReport
        A report with at least one tank whose visits were held against usual.

    Returns
    -------
    Figure
        The figure; at most 24 tanks are drawn.

    Raises
    ------
    UsageError
        No tank has visits enough.
    """
    tanks = [tank for tank in report.tanks if tank.course]
    if not tanks:
        raise UsageError("no tank has visits enough to be judged, so there is nothing to draw")
    tanks = sorted(tanks, key=lambda tank: not (tank.findings or _across(tank, report)))
    left_out = len(tanks) - MOST_PANELS
    tanks = tanks[:MOST_PANELS]
    columns = 1 if len(tanks) == 1 else 2
    width = ALONE_WIDTH_MM if columns == 1 else WIDTH_MM
    rows = math.ceil(len(tanks) / columns)
    key = KEY + (f" {left_out} more tanks as usual are not drawn." if left_out > 0 else "")
    words = caption_of(caption(report), key, width, GAP_MM)
    row_mm = TOP_MM + (AXES_MM * (1.4 if columns == 1 else 1.0)) + BOTTOM_MM
    height = rows * row_mm + words.height_mm
    with house_style():
        figure = new_figure(width, height)
        wide = width / columns
        for number, tank in enumerate(tanks):
            row, column = divmod(number, columns)
            box = (
                (column * wide + LEFT_MM) / width,
                1.0 - ((row + 1) * row_mm - BOTTOM_MM) / height,
                (wide - LEFT_MM - RIGHT_MM) / width,
                (row_mm - TOP_MM - BOTTOM_MM) / height,
            )
            growth_index_axes(tank, report, figure.add_axes(box))
        words.write(figure, width, height)
    return figure


def save_growth_index_figure(book: Book, report: WatchReport, file: Path) -> None:
    """Write the figure to a ``.svg`` or ``.png`` file, the same bytes for the same report.

    Parameters
    ----------
    book : Book
        The book, none of whose files is written over.
    report : WatchReport
        A report with at least one tank whose visits were held against usual.
    file : Path
        Where to write; its folder must exist. An earlier figure is replaced.

    Raises
    ------
    UsageError
        The file is of another form, cannot be written, is a file of the book, or there is nothing
        to draw.
    """
    form = figure_form(file)
    check_target(book, file)
    figure = growth_index_figure(report)
    title, description = alternative_text(report)
    write_whole(file, figure_bytes(figure, form, title=title, description=description))
