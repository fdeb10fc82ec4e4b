"""Figures of plants and layouts: what is drawn is what was worked out."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from pathlib import Path

import numpy as np
import pytest
from matplotlib.figure import Figure

from growthcast.book.supposed import read_layout
from growthcast.errors import UsageError
from growthcast.figures.lettering import shortened
from growthcast.figures.rescaped import (
    NAME_MM,
    layouts_axes,
    layouts_figure,
    plants_axes,
    plants_figure,
)
from growthcast.figures.style import BUDGET, LABEL_PT, MEASURED, save_picture
from growthcast.fit.growth import fit_growth
from growthcast.say.plants import plant_name
from growthcast.say.rescape import layouts_answer
from growthcast.say.words import Answer
from growthcast.service.rescape.layouts import compare_layouts
from growthcast.service.rescape.plants import compare_plants
from tests.books import make_book

ON = date(2026, 6, 1)
PLANTS = ["rotala-wallichii", "bacopa-caroliniana", "anubias-barteri"]


@pytest.fixture
def known(tmp_path: Path):
    book = make_book(tmp_path / "book")
    return book, fit_growth(book, ON)


def test_rows_are_the_plants_in_their_order(known) -> None:
    book, fit = known
    shown = compare_plants(book, fit, 0, PLANTS)
    ax = Figure().add_subplot()
    plants_axes(shown, ax)
    names = [label.get_text() for label in ax.get_yticklabels()]
    assert names == [shortened(plant_name(one), LABEL_PT, NAME_MM) for one in shown]
    assert ax.yaxis_inverted()
    now = [one.is_there_now for one in shown].index(True)
    black = {
        y for line in ax.lines if line.get_color() == MEASURED.colour for y in line.get_ydata()
    }
    assert black == {now}
    assert "Days" in ax.get_xlabel()


def test_what_is_off_the_scale_is_named_in_one_line_and_not_drawn(known) -> None:
    book, fit = known
    shown = [*compare_plants(book, fit, 0, PLANTS)]
    slow = replace(shown[0], is_there_now=False, days_between=np.full(3, 400.0), common_name="Slow")
    figure, caption = plants_figure(fit, 0, [*shown[1:], slow], Answer())
    assert caption.key.endswith("Off the scale, a year or more: Slow.")
    names = [label.get_text() for label in figure.axes[0].get_yticklabels()]
    assert len(names) == len(shown) - 1


def test_layouts_are_drawn_at_the_listed_intervals(known, tmp_path: Path) -> None:
    book, fit = known
    file = tmp_path / "tall.csv"
    file.write_text(
        "area_id,species_id,area_cm2,floor_cm,budget_cm\nstems,rotala-rotundifolia,400,7,34\n",
        encoding="utf-8",
    )
    advice = compare_layouts(book, fit, 0, [read_layout(file, book, "lobby", ON)])
    ax = Figure().add_subplot()
    layouts_axes(advice, 0.9, ax)
    assert ax.get_xticks().tolist() == [7, 10, 14, 21, 28]
    first = ax.lines[0].get_ydata()
    assert list(first) == [100 * o.chance_at_least_cut for o in advice[0].answer.options]
    assert ax.lines[-1].get_color() == BUDGET.colour
    words = [text.get_text() for text in ax.texts]
    assert words == ["as it is", "tall", "wanted, 90 %"]
    said = layouts_answer("lobby", "EUR", advice)
    out = tmp_path / "l.svg"
    save_picture(book, out, *layouts_figure("lobby", advice, 0.9, said))
    once = out.read_bytes()
    save_picture(book, out, *layouts_figure("lobby", advice, 0.9, said))
    assert out.read_bytes() == once
    days = advice[1].answer.recommended_interval_d
    assert f"tall holds longest: a visit every {days} days.".encode() in once


def test_a_figure_is_not_written_over_the_book(known) -> None:
    book, fit = known
    shown = compare_plants(book, fit, 0, PLANTS)
    file = book.folder / "plants.svg"
    save_picture(book, file, *plants_figure(fit, 0, shown, Answer("Three would do.")))
    written = file.read_text(encoding="utf-8")
    assert "Three would do." in written
    assert all(one.species_id in written for one in shown)
    drawn = plants_figure(fit, 0, shown, Answer(""))
    with pytest.raises(UsageError, match=r"is areas\.csv of the book"):
        save_picture(book, book.folder / "areas.csv", *drawn)
