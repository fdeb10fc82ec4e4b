"""A figure of one panel with a caption below that states its conclusion."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from matplotlib.axes import Axes
from matplotlib.figure import Figure

from growthcast.book.book import Book
from growthcast.book.writing.whole import write_whole
from growthcast.figures.lettering import caption_of, drawable, tidy
from growthcast.figures.save import check_target, figure_form
from growthcast.figures.style import figure_bytes, house_style, new_figure

__all__ = ["drawn_sheet", "save_sheet"]

WIDTH_MM, GAP_MM = 190.0, 4.0
TOP_MM, BOTTOM_MM, RIGHT_MM = 9.0, 14.0, 46.0


def drawn_sheet(
    draw: Callable[[Axes], None],
    caption: str,
    key: str,
    *,
    panel_mm: float,
    left_mm: float,
    right_mm: float = RIGHT_MM,
) -> Figure:
    """Draw a panel of a height [mm] between margins [mm], and the caption and key below it."""
    words = caption_of(drawable(caption), key, WIDTH_MM, GAP_MM)
    height_mm = panel_mm + words.height_mm
    with house_style():
        figure = new_figure(WIDTH_MM, height_mm)
        box = (
            left_mm / WIDTH_MM,
            (height_mm - panel_mm + BOTTOM_MM) / height_mm,
            (WIDTH_MM - left_mm - right_mm) / WIDTH_MM,
            (panel_mm - TOP_MM - BOTTOM_MM) / height_mm,
        )
        draw(figure.add_axes(box))
        words.write(figure, WIDTH_MM, height_mm)
    return figure


def save_sheet(book: Book, figure: Figure, title: str, description: str, file: Path) -> None:
    """Write a sheet to a ``.svg`` or ``.png`` file; ``UsageError`` where it cannot be written."""
    form = figure_form(file)
    check_target(book, file)
    content = figure_bytes(figure, form, title=tidy(title), description=tidy(description))
    write_whole(file, content)
