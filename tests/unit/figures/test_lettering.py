"""Words are made safe to draw, cut to the room there is, and kept apart."""

from __future__ import annotations

from itertools import pairwise

import pytest

from growthcast.figures.drawn import spread_apart
from growthcast.figures.lettering import (
    drawable,
    shortened,
    text_width_mm,
)
from growthcast.say.words import tidy


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("plain", "plain"),
        ("two\nlines\tand  more", "two lines and more"),
        ("a\x00b\x07c", "abc"),
        ("turned \u202eround", "turned round"),
        ("lone \ud800 half", "lone  half"),
        ("", ""),
    ],
)
def test_tidy_keeps_one_printable_line(text: str, expected: str) -> None:
    assert tidy(text) == expected


def test_letters_the_font_lacks_are_marked() -> None:
    assert drawable("moss 🌿") == "moss \N{REPLACEMENT CHARACTER}"
    assert drawable("שלום") == "שלום"


def test_a_label_without_letters_in_the_font_gives_way_to_the_id() -> None:
    assert drawable("前景草", otherwise="carpet") == "carpet"
    assert drawable("", otherwise="carpet") == "carpet"


def test_widths_grow_with_text_and_size() -> None:
    # At 10 pt a "0" of this font is 0.636 em wide: 6.36 pt, 2.244 mm.
    assert text_width_mm("0", 10.0) == pytest.approx(2.244, abs=0.05)
    assert text_width_mm("00", 10.0) == pytest.approx(2 * text_width_mm("0", 10.0), rel=0.05)
    assert text_width_mm("0", 20.0) == pytest.approx(2 * text_width_mm("0", 10.0))


def test_shortened_text_fits_and_says_so() -> None:
    text = "a label that is a good deal longer than the room"
    short = shortened(text, 8.0, 30.0)
    assert short.endswith("…")
    assert text.startswith(short[:-1])
    assert text_width_mm(short, 8.0) <= 30.0
    assert shortened("short", 8.0, 30.0) == "short"


@pytest.mark.parametrize(
    "wanted", [[0.5, 0.5, 0.5], [0.0, 0.02, 0.9], [1.2, 1.3, -0.5], [0.9, 0.95, 1.0]]
)
def test_labels_are_spread_apart_in_their_order(wanted: list[float]) -> None:
    placed = spread_apart(wanted, [0.2, 0.2, 0.1], 0.0, 1.0)
    half = [0.1, 0.1, 0.05]
    order = sorted(range(3), key=lambda i: wanted[i])
    for below, above in pairwise(order):
        assert placed[above] - placed[below] >= half[above] + half[below] - 1e-9
    assert min(p - h for p, h in zip(placed, half, strict=True)) >= -1e-9
    assert max(p + h for p, h in zip(placed, half, strict=True)) <= 1.0 + 1e-9


def test_labels_with_room_stay_where_their_lines_end() -> None:
    assert spread_apart([0.2, 0.8], [0.1, 0.1], 0.0, 1.0) == [0.2, 0.8]
