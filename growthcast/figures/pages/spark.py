"""One area's next weeks as a picture the size of a word, for rows of many."""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes

from growthcast.figures.style import (
    BAND_80_ALPHA,
    BUDGET,
    FLOOR,
    FORECAST,
    figure_bytes,
    house_style,
    new_figure,
)
from growthcast.fit.design import day_number
from growthcast.forecast.heights import LEVELS
from growthcast.forecast.report import AreaForecast

__all__ = ["spark_axes", "spark_picture"]

SIZE_MM = (44.0, 20.0)


def spark_axes(area: AreaForecast, ax: Axes | None = None) -> Axes:
    """Draw an area's forecast between its floor and its budget, without scales.

    Parameters
    ----------
    area : AreaForecast
        Its forecast; the days drawn are ``area.at``.
    ax : Axes, optional
        Where to draw; axes in a figure of their own when not given.

    Returns
    -------
    Axes
        The axes; heights begin at 0.
    """
    with house_style():
        if ax is None:
            ax = new_figure(*SIZE_MM).add_axes((0.02, 0.04, 0.96, 0.92))
        days = np.array([day_number(day) for day in area.at])
        at = {level: area.height_cm[:, i] for i, level in enumerate(LEVELS)}
        colour = FORECAST.colour
        ax.fill_between(days, at[0.10], at[0.90], color=colour, alpha=BAND_80_ALPHA + 0.08, lw=0)
        ax.plot(days, at[0.50], color=colour, lw=1.5)
        for role, level in ((BUDGET, area.budget_cm), (FLOOR, area.floor_cm)):
            ax.axhline(level, color=role.colour, ls=role.dash, lw=1.1)
        ax.set_xlim(days[0], max(days[-1], days[0] + 1.0))
        ax.set_ylim(0.0, 1.6 * area.budget_cm)
        ax.set_xticks([])
        ax.set_yticks([])
        ax.spines[["left", "bottom"]].set_color("#B0B0B0")
    return ax


def spark_picture(area: AreaForecast, title: str, description: str) -> bytes:
    """Return the picture as an SVG with alternative text."""
    figure = spark_axes(area).get_figure(root=True)
    assert figure is not None
    return figure_bytes(figure, "svg", title=title, description=description)
