"""Words in a figure: made safe to draw, short enough to fit, and kept apart from each other."""

from __future__ import annotations

import textwrap
import unicodedata
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

from matplotlib import font_manager
from matplotlib.figure import Figure
from matplotlib.ft2font import FT2Font, LoadFlags

from growthcast.figures.style import FONT, LABEL_PT

__all__ = [
    "Caption",
    "caption_of",
    "drawable",
    "shortened",
    "spread_apart",
    "text_width_mm",
    "tidy",
    "wrapped",
]

MM_PER_POINT = 25.4 / 72.0
MEASURED_AT_PT = 100.0
CAPTION_LINE_MM = 1.3 * (LABEL_PT + 1.0) * MM_PER_POINT
REPLACEMENT = "\N{REPLACEMENT CHARACTER}"


@lru_cache(maxsize=1)
def _font() -> FT2Font:
    return FT2Font(font_manager.findfont(font_manager.FontProperties(family=[FONT])))


@lru_cache(maxsize=1)
def _letters() -> frozenset[int]:
    return frozenset(_font().get_charmap())


def tidy(text: str) -> str:
    """Return a person's text on one line, without characters that do not print."""
    one_line = " ".join(unicodedata.normalize("NFC", text).split())
    return "".join(char for char in one_line if char.isprintable())


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
    if text_width_mm(text, size_pt) <= room_mm:
        return text
    low, high = 0, len(text)
    while low < high:
        middle = (low + high + 1) // 2
        fits = text_width_mm(text[:middle].rstrip() + "…", size_pt) <= room_mm
        low, high = (middle, high) if fits else (low, middle - 1)
    return text[:low].rstrip() + "…"


def wrapped(text: str, size_pt: float, room_mm: float) -> list[str]:
    """Return text broken into lines no wider than ``room_mm``."""
    usual_mm = text_width_mm(text, size_pt) / max(len(text), 1)
    length = max(int(room_mm / max(usual_mm, 0.1)), 10)
    lines = textwrap.wrap(text, length)
    while length > 10 and any(text_width_mm(line, size_pt) > room_mm for line in lines):
        length -= 1
        lines = textwrap.wrap(text, length)
    return lines


def spread_apart(
    wanted: Sequence[float], sizes: Sequence[float], low: float, high: float
) -> list[float]:
    """Return centres near ``wanted`` such that labels of ``sizes`` neither overlap nor leave.

    Where there is not room for all of them between ``low`` and ``high`` they share it evenly.
    """
    order = sorted(range(len(wanted)), key=lambda i: wanted[i])
    room = max(high - low, 0.0)
    squeeze = min(1.0, room / max(sum(sizes), 1e-9))
    size = [s * squeeze for s in sizes]
    placed = [0.0] * len(wanted)
    edge = low
    for i in order:
        placed[i] = max(wanted[i], edge + 0.5 * size[i])
        edge = placed[i] + 0.5 * size[i]
    edge = high
    for i in reversed(order):
        placed[i] = min(placed[i], edge - 0.5 * size[i])
        edge = placed[i] - 0.5 * size[i]
    return placed


@dataclass(frozen=True, slots=True)
class Caption:
    """The words at the bottom of a figure, as lines of text, size [pt] and colour.

    ``gap_mm`` is the margin at their left; half of it parts the conclusion from the key, and both
    from the picture.
    """

    lines: tuple[tuple[str, float, str], ...]
    gap_mm: float

    @property
    def height_mm(self) -> float:
        """Room it takes [mm]."""
        return len(self.lines) * CAPTION_LINE_MM + 1.5 * self.gap_mm

    def write(self, figure: Figure, width_mm: float, height_mm: float) -> None:
        """Write it at the bottom of a figure of a width and height [mm]."""
        for number, (line, size, colour) in enumerate(self.lines):
            lower_mm = self.gap_mm / 2 if size == LABEL_PT else 0.0
            top_mm = self.height_mm - self.gap_mm / 2 - number * CAPTION_LINE_MM - lower_mm
            figure.text(
                self.gap_mm / width_mm,
                top_mm / height_mm,
                line,
                ha="left",
                va="top",
                fontsize=size,
                color=colour,
                parse_math=False,
            )


def caption_of(conclusion: str, key: str, width_mm: float, gap_mm: float) -> Caption:
    """Wrap a conclusion and a key to the words below a figure of a width [mm]."""
    told = ((conclusion, LABEL_PT + 1.0, "black"), (key, LABEL_PT, "#333333"))
    room_mm = width_mm - 2 * gap_mm
    lines = [(line, pt, hue) for text, pt, hue in told for line in wrapped(text, pt, room_mm)]
    return Caption(tuple(lines), gap_mm)
