"""How every figure looks, and the small picture that is written by hand.

Nothing here touches matplotlib's global settings or its figure windows: figures are plain
``Figure`` objects, made and saved inside ``house_style()``.
"""

from __future__ import annotations

import hashlib
import io
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from datetime import date
from typing import TYPE_CHECKING, Any, Literal
from xml.sax.saxutils import escape

import numpy as np

from growthcast.arrays import FloatArray
from growthcast.fit.design import day_number
from growthcast.forecast.heights import LEVELS
from growthcast.forecast.report import AreaForecast
from growthcast.nouns import dataclass

if TYPE_CHECKING:
    from matplotlib.figure import Figure


FONT = "DejaVu Sans"
"""The font that ships with matplotlib: the same letters on every machine."""
TITLE_PT, LABEL_PT, SMALL_PT = 8.5, 7.5, 7.0
MM_PER_INCH = 25.4
PNG_DPI = 220

BAND_50_ALPHA, BAND_80_ALPHA = 0.38, 0.17


@dataclass(frozen=True, slots=True)
class Role:
    """What one kind of thing looks like in every figure; no two share a mark and a dash."""

    colour: str
    dash: Literal["-", "--", ":", ""]
    marker: str
    width_pt: float
    text: str
    """Colour of words about it: 4.5 to 1 against white at least (WCAG 2.2, 1.4.3)."""

    @property
    def line(self) -> dict[str, Any]:
        """How matplotlib draws it as a line."""
        return {"color": self.colour, "ls": self.dash, "lw": self.width_pt}

    def band(self, alpha: float) -> dict[str, Any]:
        """How matplotlib fills a range of it."""
        return {"color": self.colour, "alpha": alpha, "lw": 0}

    @property
    def marks(self) -> dict[str, Any]:
        """How matplotlib draws it as marks without a line."""
        return {"color": self.colour, "ls": "", "marker": self.marker, "mew": 0.8}


MEASURED = Role("black", "-", "o", 0.7, "#000000")
FORECAST = Role("#0072B2", "-", "", 1.8, "#0072B2")
BUDGET = Role("#D55E00", "--", "D", 1.3, "#A84A00")
FLOOR = Role("#009E73", ":", "", 1.6, "#00734F")
VISITS = Role("#595959", "", "|", 0.8, "#595959")

_SETTINGS: Any = {
    "font.family": [FONT],
    "font.size": LABEL_PT,
    "axes.titlesize": TITLE_PT,
    "axes.titlelocation": "left",
    "axes.labelsize": LABEL_PT,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "axes.linewidth": 0.7,
    "axes.edgecolor": "#333333",
    "xtick.labelsize": LABEL_PT,
    "ytick.labelsize": LABEL_PT,
    "xtick.major.width": 0.7,
    "ytick.major.width": 0.7,
    "xtick.major.size": 3.0,
    "ytick.major.size": 3.0,
    "timezone": "UTC",
    "figure.constrained_layout.h_pad": 1.0 / MM_PER_INCH,
    "figure.constrained_layout.w_pad": 1.0 / MM_PER_INCH,
    "figure.constrained_layout.hspace": 0.06,
    "svg.fonttype": "path",
    "svg.hashsalt": "growthcast",
    "savefig.facecolor": "white",
    "figure.facecolor": "white",
}


@contextmanager
def house_style() -> Iterator[None]:
    """Draw and save in the house's style, whatever the user's own, and leave no setting behind."""
    import matplotlib.style

    with matplotlib.style.context("default"), matplotlib.rc_context(_SETTINGS):
        yield


def new_figure(width_mm: float, height_mm: float) -> Figure:
    """Return an empty figure that belongs to no window and gives words the room they need."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    size = (width_mm / MM_PER_INCH, height_mm / MM_PER_INCH)
    figure = Figure(figsize=size, layout="constrained")
    FigureCanvasAgg(figure)
    return figure


def figure_bytes(
    figure: Figure, form: Literal["svg", "png"], title: str, description: str
) -> bytes:
    """Return a figure as a file's bytes: the same for the same figure, whenever it is made.

    Parameters
    ----------
    figure : Figure
        The figure.
    form : {"svg", "png"}
        File format.
    title, description : str
        Alternative text: ``<title>`` and ``<desc>`` of an SVG, text entries of a PNG.

    Returns
    -------
    bytes
        The file.
    """
    kept = io.BytesIO()
    with house_style():
        if form == "png":
            texts = {"Title": title, "Description": description, "Software": "growthcast"}
            figure.savefig(kept, format="png", dpi=PNG_DPI, metadata=texts)
            return kept.getvalue()
        figure.savefig(kept, format="svg", metadata={"Date": None, "Creator": "growthcast"})
    return with_alternative_text(kept.getvalue().decode("utf-8"), title, description).encode()


def with_alternative_text(svg: str, title: str, description: str) -> str:
    """Name and describe a drawing for those who hear it, by ids that hold among many drawings."""
    key = hashlib.sha256(f"{title}\n{description}".encode()).hexdigest()[:10]
    opening = svg.index("<svg ")
    after = svg.index(">", opening) + 1
    named = (
        f'<svg role="img" aria-labelledby="title-{key} desc-{key}" '
        + svg[opening + len("<svg ") : after]
        + f'\n <title id="title-{key}">{escape(title)}</title>'
        + f'\n <desc id="desc-{key}">{escape(description)}</desc>'
    )
    return svg[:opening] + named + svg[after:]


WIDE, HIGH = 124.7, 73.7
"""Size of the picture [pt]."""
LEFT, RIGHT, TOP, FOOT = 30.0, 121.0, 4.0, 60.0
"""Where the axes lie in it [pt]."""
SPARK_TOP = 1.6
"""End of the axis of heights, as a share of the budget."""
VISIT_AT, VISIT_PT, ABOVE_PT, TICK_PT, GAP_PT = 0.06, 7.0, 5.0, 2.0, 1.5
EDGE, INK = "#b0b0b0", "#000000"


def spark_picture(
    area: AreaForecast,
    visits: Sequence[date],
    words: tuple[str, str, str],
    title: str,
    description: str,
) -> bytes:
    """Draw an area's next weeks, in shares of its budget so that all areas have the same axes.

    ``words`` are the first and the last day, and a whole budget. What stands above the axes is
    marked at their top.
    """
    days = np.array([day_number(day) for day in area.at])
    at = {level: area.height_cm[:, i] / area.budget_cm for i, level in enumerate(LEVELS)}
    first, last = float(days[0]), max(float(days[-1]), float(days[0]) + 1.0)

    def x(day: float) -> float:
        return LEFT + (RIGHT - LEFT) * (day - first) / (last - first)

    def y(share: float) -> float:
        return FOOT + (TOP - FOOT) * share / SPARK_TOP

    def points(days: FloatArray, shares: FloatArray) -> str:
        ends = zip(days.tolist(), shares.tolist(), strict=True)
        return " ".join(f"{x(day):.2f},{y(share):.2f}" for day, share in ends)

    colour = FORECAST.colour.lower()
    drawn = [
        f'<clipPath id="axes"><rect x="{LEFT}" y="{TOP}" width="{RIGHT - LEFT}" '
        f'height="{FOOT - TOP}"/></clipPath><g clip-path="url(#axes)">',
        f'<polygon points="{points(days, at[0.10])} {points(days[::-1], at[0.90][::-1])}" '
        f'style="fill: {colour}; fill-opacity: {BAND_80_ALPHA + 0.08}"/>',
        f'<polyline points="{points(days, at[0.50])}" style="fill: none; stroke: {colour}; '
        'stroke-width: 1.5"/></g>',
    ]

    drawn += [
        _line((LEFT, TOP, LEFT, FOOT), EDGE),
        _line((LEFT, FOOT, RIGHT, FOOT), EDGE),
        *(_line((side, FOOT, side, FOOT + TICK_PT), INK) for side in (LEFT, RIGHT)),
        *(_line((LEFT - TICK_PT, y(share), LEFT, y(share)), INK) for share in (0.0, 1.0)),
    ]
    floor = area.floor_cm / area.budget_cm
    for role, share, dash in ((BUDGET, 1.0, "4 1.8"), (FLOOR, floor, "1.1 1.8")):
        drawn.append(_line((LEFT, y(share), RIGHT, y(share)), role.colour, 1.1, dash))
    for when in map(x, map(day_number, visits)):
        half = VISIT_PT / 2
        ends = (when, y(VISIT_AT) - half, when, y(VISIT_AT) + half)
        drawn.append(_line(ends, VISITS.colour, VISITS.width_pt))
    if (above := days[at[0.90] > SPARK_TOP]).size:
        left, half = x(above[0]), ABOVE_PT / 2
        corners = f"{left - half},{TOP + half} {left + half},{TOP + half} {left},{TOP - half}"
        drawn.append(f'<polygon points="{corners}" style="fill: {colour}"/>')
    below, beside = FOOT + TICK_PT + GAP_PT + 0.8 * SMALL_PT, LEFT - TICK_PT - GAP_PT
    drawn += [
        _text(words[0], LEFT, below, "start"),
        _text(words[1], RIGHT, below, "end"),
        _text("0", beside, FOOT + 0.35 * SMALL_PT, "end"),
        _text(words[2], beside, y(1.0) + 0.35 * SMALL_PT, "end"),
    ]
    head = f'viewBox="0 0 {WIDE} {HIGH}" width="{WIDE}pt" height="{HIGH}pt">'
    svg = "\n ".join([f'<svg xmlns="http://www.w3.org/2000/svg" {head}', *drawn])
    return with_alternative_text(f"{svg}\n</svg>\n", title, description).encode()


def _line(
    ends: tuple[float, float, float, float], colour: str, wide: float = 0.7, dash: str = ""
) -> str:
    x1, y1, x2, y2 = ends
    dashed = f"; stroke-dasharray: {dash}" if dash else ""
    style = f"stroke: {colour.lower()}; stroke-width: {wide}{dashed}"
    return f'<line x1="{x1:.2f}" y1="{y1:.2f}" x2="{x2:.2f}" y2="{y2:.2f}" style="{style}"/>'


def _text(text: str, x: float, y: float, anchor: str) -> str:
    style = f"font: {SMALL_PT}px '{FONT}', sans-serif; text-anchor: {anchor}; fill: {INK}"
    return f'<text x="{x:.2f}" y="{y:.2f}" style="{style}">{escape(text)}</text>'
