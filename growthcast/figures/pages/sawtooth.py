"""One area through the coming weeks at one interval: up with growth, down with each visit."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from matplotlib.axes import Axes
from matplotlib.ticker import MaxNLocator, MultipleLocator

from growthcast.figures.lettering import text_width_mm
from growthcast.figures.marks import EndLabel, label_ends
from growthcast.figures.style import (
    BAND_50_ALPHA,
    BAND_80_ALPHA,
    BUDGET,
    FLOOR,
    FORECAST,
    SMALL_PT,
    VISITS,
    figure_bytes,
    house_style,
    new_figure,
)
from growthcast.service.sawtooth import SAWTOOTH_LEVELS, Sawtooth

__all__ = ["SawtoothPanel", "sawtooth_axes", "sawtooth_picture"]

SIZE_MM = (64.0, 45.0)
LEFT_MM, RIGHT_MM, TOP_MM, BOTTOM_MM = 9.5, 4.5, 2.5, 9.0


@dataclass(frozen=True, slots=True)
class SawtoothPanel:
    """What one panel shows; ``top_cm`` is the end of the height axis, shared by a row of panels.

    ``height_words`` and ``weeks_words`` name the axes, ``budget_words`` and ``floor_words`` stand
    at the ends of those lines.
    """

    saw: Sawtooth
    budget_cm: float
    floor_cm: float
    top_cm: float
    height_words: str
    weeks_words: str
    budget_words: str
    floor_words: str


def sawtooth_axes(panel: SawtoothPanel, ax: Axes | None = None) -> Axes:
    """Draw the heights of one area at one interval, with budget, floor and visits.

    Parameters
    ----------
    panel : SawtoothPanel
        The area's heights and its bounds.
    ax : Axes, optional
        Where to draw; axes in a figure of their own when not given.

    Returns
    -------
    Axes
        The axes.
    """
    saw = panel.saw
    with house_style():
        if ax is None:
            width, height = SIZE_MM
            words = f"{panel.budget_words}\n{panel.floor_words}".split("\n")
            right = RIGHT_MM + max(text_width_mm(line, SMALL_PT) for line in words)
            across = (width - LEFT_MM - right) / width
            up = (height - TOP_MM - BOTTOM_MM) / height
            figure = new_figure(width, height)
            ax = figure.add_axes((LEFT_MM / width, BOTTOM_MM / height, across, up))
        weeks = saw.day / 7.0
        at = dict(zip(SAWTOOTH_LEVELS, saw.height_cm, strict=True))
        for low, high, alpha, name in (
            (0.10, 0.90, BAND_80_ALPHA, "80"),
            (0.25, 0.75, BAND_50_ALPHA, "50"),
        ):
            ax.fill_between(
                weeks, at[low], at[high], color=FORECAST.colour, alpha=alpha, lw=0, label=name
            )
        ax.plot(weeks, at[0.50], color=FORECAST.colour, lw=FORECAST.width_pt - 0.4, label="median")
        for role, level, name in (
            (BUDGET, panel.budget_cm, "budget"),
            (FLOOR, panel.floor_cm, "floor"),
        ):
            ax.axhline(level, color=role.colour, ls=role.dash, lw=role.width_pt, label=name)
        visits = np.arange(0.0, saw.day[-1] + 0.5, saw.interval_d) / 7.0
        ax.plot(
            visits,
            np.full(visits.size, 0.03),
            transform=ax.get_xaxis_transform(),
            ls="",
            marker=VISITS.marker,
            ms=5.0,
            mew=VISITS.width_pt,
            color=VISITS.colour,
            label="visits",
        )
        ax.set_xlim(0.0, max(float(weeks[-1]), 1.0))
        ax.set_ylim(0.0, panel.top_cm)
        ax.set_xlabel(panel.weeks_words, labelpad=1.5, parse_math=False)
        ax.set_ylabel(panel.height_words, labelpad=1.5, parse_math=False)
        ax.xaxis.set_major_locator(MultipleLocator(2.0))
        ax.yaxis.set_major_locator(MaxNLocator(nbins=5, steps=[1, 2, 5, 10]))
        label_ends(
            ax,
            [
                EndLabel(panel.budget_words, panel.budget_cm, BUDGET.colour),
                EndLabel(panel.floor_words, panel.floor_cm, FLOOR.colour),
            ],
        )
    return ax


def sawtooth_picture(panel: SawtoothPanel, title: str, description: str) -> bytes:
    """Return the panel as an SVG with alternative text."""
    figure = sawtooth_axes(panel).get_figure(root=True)
    assert figure is not None
    return figure_bytes(figure, "svg", title=title, description=description)
