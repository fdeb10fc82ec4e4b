"""Words in a figure: safe to draw, short enough to fit, kept apart, beside lines and over axes."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from functools import lru_cache
from itertools import zip_longest
from typing import Any

from matplotlib import font_manager
from matplotlib.axes import Axes
from matplotlib.dates import AutoDateLocator, ConciseDateFormatter
from matplotlib.figure import Figure
from matplotlib.ft2font import FT2Font, LoadFlags

from growthcast.figures import style
from growthcast.figures.drawn import LINE_SPACING, EndLabel, spread_apart
from growthcast.say.figures import Caption
from growthcast.say.words import tidy

MM_PER_POINT = 25.4 / 72.0
MEASURED_AT_PT = 100.0
REPLACEMENT = "\N{REPLACEMENT CHARACTER}"
WORDS: Any = {"xycoords": "axes fraction", "annotation_clip": False, "parse_math": False}
"""How words stand on axes: by shares of them, outside as well, and letter by letter."""


@lru_cache(maxsize=1)
def _font() -> FT2Font:
    return FT2Font(font_manager.findfont(font_manager.FontProperties(family=[style.FONT])))


@lru_cache(maxsize=1)
def _letters() -> frozenset[int]:
    return frozenset(_font().get_charmap())


def drawable(text: str, otherwise: str = "") -> str:
    """Return text with a mark for each character the font lacks.

    ``otherwise`` is used where little of ``text`` would be left to read.
    """
    drawn = "".join(char if ord(char) in _letters() else REPLACEMENT for char in tidy(text))
    lost = drawn.count(REPLACEMENT)
    if otherwise and (not drawn or 2 * lost > len(drawn)):
        return drawable(otherwise)
    return drawn


def text_width_mm(text: str, size_pt: float) -> float:
    """Width [mm] of one line of text at a size [pt]."""
    font = _font()
    font.set_size(MEASURED_AT_PT, 72.0)
    font.set_text(text, 0.0, flags=LoadFlags.NO_HINTING)
    return float(font.get_width_height()[0]) / 64.0 * size_pt / MEASURED_AT_PT * MM_PER_POINT


def shortened(text: str, size_pt: float, room_mm: float) -> str:
    """Return text, cut with an ellipsis where it is wider than ``room_mm``."""
    short = text
    while short != "…" and text_width_mm(short, size_pt) > room_mm:
        short = short.rstrip("…")[:-1].rstrip() + "…"
    return short


def date_axis(ax: Axes) -> None:
    """Label days by number, months by name, and years where they begin or at the end."""
    locator = AutoDateLocator(minticks=3, maxticks=7)  # type: ignore[no-untyped-call]
    formats = ["%Y", "%b", "%d", "%H", "%H", "%S"]
    ax.xaxis.set_major_locator(locator)
    ax.xaxis.set_major_formatter(
        ConciseDateFormatter(  # type: ignore[no-untyped-call]
            locator,
            formats=formats,
            zero_formats=["", "%b\n%Y", "%b", *formats[3:]],
            offset_formats=["", "%Y", "%b %Y", *["%d %b %Y"] * 3],
        )
    )


def label_ends(ax: Axes, labels: Sequence[EndLabel]) -> None:
    """Write each label to the right of where its line ends, none over another."""
    figure = ax.get_figure(root=True)
    assert figure is not None
    height_mm = ax.get_position().height * figure.get_figheight() * style.MM_PER_INCH
    line = style.SMALL_PT * LINE_SPACING * MM_PER_POINT / height_mm
    top = ax.get_ylim()[1]
    ends = [min(height / top, 1.0) for _, height, _ in labels]
    sizes = [line * (text.count("\n") + 1.25) for text, _, _ in labels]
    places = spread_apart(ends, sizes, -0.1, 1.0)
    for (text, _, colour), end, place in zip(labels, ends, places, strict=True):
        line_to_words = {"lw": 0.6, "shrinkA": 0.0, "shrinkB": 0.0, "relpos": (0.0, 0.5)}
        arrow = {"arrowstyle": "-", "color": colour, **line_to_words}
        looks: Any = {"color": colour, "fontsize": style.SMALL_PT, "linespacing": LINE_SPACING}
        beside: Any = {"xytext": (1.05, place), "va": "center", "arrowprops": arrow}
        ax.annotate(text, xy=(1.0, end), **beside, **looks, **WORDS)


def title_axes(ax: Axes, name: str, said: str, room_mm: float) -> None:
    """Title axes with a name and, under it, the conclusion, neither wider than a room [mm]."""
    words = shortened(said, style.TITLE_PT, room_mm)
    ax.set_title(words, loc="left", fontsize=style.TITLE_PT, parse_math=False)
    above: Any = {"xytext": (0.0, 6.0 + style.TITLE_PT * 1.25), "textcoords": "offset points"}
    looks: Any = {"va": "bottom", "fontsize": style.TITLE_PT, "fontweight": "bold"}
    short = shortened(name, style.TITLE_PT * 1.12, room_mm)
    ax.annotate(short, xy=(0.0, 1.0), **above, **looks, **WORDS)


Panels = Sequence[Callable[[Axes], None]]
A4_MM = 190.0
"""Width of the text of an A4 page."""
WORDS_MM = 24.0


def sheet_of_panels(
    caption: Caption, panels: Panels, columns: int, row_mm: float, width_mm: float = A4_MM
) -> tuple[Figure, Caption]:
    """Return a figure with its caption around it, each panel drawn on axes of its own."""
    rows = math.ceil(len(panels) / columns)
    with style.house_style():
        size = width_mm / style.MM_PER_INCH, (rows * row_mm + WORDS_MM) / style.MM_PER_INCH
        figure = Figure(figsize=size, layout="constrained")
        margin = {"x": 4.0 / width_mm, "ha": "left", "wrap": True, "parse_math": False}
        figure.suptitle(drawable(caption.conclusion), fontsize=style.TITLE_PT, **margin)
        figure.supxlabel(caption.key, fontsize=style.LABEL_PT, color="#333333", **margin)
        for draw, ax in zip_longest(panels, figure.subplots(rows, columns, squeeze=False).flat):
            if draw is None:
                ax.remove()
            else:
                draw(ax)
    return figure, caption
