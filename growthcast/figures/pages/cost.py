"""Days presentable against what they cost a year, one mark an interval."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from matplotlib.axes import Axes
from matplotlib.ticker import FuncFormatter, MaxNLocator

from growthcast.figures.lettering import MM_PER_POINT, drawable, text_width_mm
from growthcast.figures.style import (
    FORECAST,
    SMALL_PT,
    figure_bytes,
    house_style,
    new_figure,
)

__all__ = ["CostPicture", "CostPoint", "cost_axes", "cost_picture"]

SIZE_MM = (64.0, 45.0)
LEFT_MM, RIGHT_MM, TOP_MM, BOTTOM_MM = 11.0, 3.0, 2.5, 9.0
MARK_MM = 1.3
ROOM_ABOVE = 1.08


@dataclass(frozen=True, slots=True)
class CostPoint:
    """One interval: what it costs a year, its share of days presentable [0-1], its name."""

    cost: float
    presentable: float
    name: str
    recommended: bool


@dataclass(frozen=True, slots=True)
class CostPicture:
    """The marks, the axes' names, and how the reader's place writes a number."""

    points: tuple[CostPoint, ...]
    cost_words: str
    presentable_words: str
    number: Callable[[float], str]


def cost_axes(picture: CostPicture, ax: Axes | None = None) -> Axes:
    """Draw days presentable of 100 against cost a year.

    Parameters
    ----------
    picture : CostPicture
        The marks and the words.
    ax : Axes, optional
        Where to draw; axes in a figure of their own when not given.

    Returns
    -------
    Axes
        The axes.
    """
    points = sorted(picture.points, key=lambda point: point.cost)
    with house_style():
        if ax is None:
            width, height = SIZE_MM
            across = (width - LEFT_MM - RIGHT_MM) / width
            up = (height - TOP_MM - BOTTOM_MM) / height
            ax = new_figure(width, height).add_axes(
                (LEFT_MM / width, BOTTOM_MM / height, across, up)
            )
        costs = [point.cost for point in points]
        days = [100.0 * point.presentable for point in points]
        colour = FORECAST.colour
        ax.plot(costs, days, color=colour, lw=0.8, alpha=0.6, label="line", clip_on=False)
        for point, day in zip(points, days, strict=True):
            fill = colour if point.recommended else "white"
            size = 7.0 if point.recommended else 4.5
            ax.plot(
                [point.cost],
                [day],
                ls="",
                marker="o",
                ms=size,
                mfc=fill,
                mec=colour,
                mew=1.3,
                zorder=3,
                clip_on=False,
                label=point.name,
            )
        ax.set_xlim(0.0, max([*costs, 1.0]) * 1.1)
        ax.set_ylim(0.0, 100.0 * ROOM_ABOVE)
        ax.set_yticks([0, 20, 40, 60, 80, 100])
        ax.set_xlabel(picture.cost_words, labelpad=1.5, parse_math=False)
        ax.set_ylabel(picture.presentable_words, labelpad=1.5, parse_math=False)
        ax.xaxis.set_major_locator(MaxNLocator(nbins=5, steps=[1, 2, 2.5, 5, 10]))
        ax.xaxis.set_major_formatter(FuncFormatter(lambda x, _: drawable(picture.number(x))))
        _name_points(ax, points, days)
    return ax


def _name_points(ax: Axes, points: list[CostPoint], days: list[float]) -> None:
    """Name each mark below it, none over another; names near the right edge end at their mark."""
    width_mm = SIZE_MM[0] - LEFT_MM - RIGHT_MM
    height_mm = SIZE_MM[1] - TOP_MM - BOTTOM_MM
    line_mm = 1.3 * SMALL_PT * MM_PER_POINT
    top, last = ax.get_ylim()[1], ax.get_xlim()[1]
    marks = [
        (p.cost / last * width_mm, d / top * height_mm) for p, d in zip(points, days, strict=True)
    ]
    taken = [_Box(x - MARK_MM, y - MARK_MM, 2 * MARK_MM, 2 * MARK_MM) for x, y in marks]
    for point, (x, y) in sorted(zip(points, marks, strict=True), key=lambda pair: -pair[1][0]):
        size = text_width_mm(point.name, SMALL_PT) * (1.12 if point.recommended else 1.02)
        left = x + 0.5 if x + 0.5 + size < width_mm + RIGHT_MM else x + MARK_MM - size
        box = _Box(left, y - MARK_MM - line_mm, size, line_mm)
        while any(box.meets(other) for other in taken):
            box = _Box(box.left, box.low - 0.5, size, line_mm)
        taken.append(box)
        moved = y - MARK_MM - line_mm - box.low > 0.5 * line_mm
        ax.annotate(
            point.name,
            (x / width_mm, y / height_mm),
            xycoords="axes fraction",
            xytext=(box.left / width_mm, box.low / height_mm),
            textcoords="axes fraction",
            ha="left",
            va="bottom",
            fontsize=SMALL_PT,
            fontweight="bold" if point.recommended else "normal",
            color="black",
            parse_math=False,
            annotation_clip=False,
            arrowprops={"arrowstyle": "-", "color": "#B0B0B0", "lw": 0.5, "shrinkB": 3.0}
            if moved
            else None,
        )


@dataclass(frozen=True, slots=True)
class _Box:
    """A rectangle of the axes [mm]."""

    left: float
    low: float
    width: float
    height: float

    def meets(self, other: _Box) -> bool:
        """Whether two rectangles overlap."""
        beside = self.left < other.left + other.width and other.left < self.left + self.width
        return beside and self.low < other.low + other.height and other.low < self.low + self.height


def cost_picture(picture: CostPicture, title: str, description: str) -> bytes:
    """Return the picture as an SVG with alternative text."""
    figure = cost_axes(picture).get_figure(root=True)
    assert figure is not None
    return figure_bytes(figure, "svg", title=title, description=description)
