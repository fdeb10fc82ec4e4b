"""The demo book: reads cleanly, and is as varied as a demo should be."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import numpy as np
import pytest

from growthcast.book.book import Book
from growthcast.book.read import read_book

DEMO = Path(__file__).parents[2] / "data" / "demo"


@pytest.fixture(scope="module")
def book() -> Book:
    return read_book(DEMO, today=date(2026, 11, 25))


def test_reads_without_any_finding(book: Book) -> None:
    assert book.findings == ()


def test_says_that_it_is_invented(book: Book) -> None:
    assert "invented" in book.practice.name
    assert all("Invented" in note for note in book.tanks.text("note"))
    assert "invented data" in (DEMO / "README.md").read_text(encoding="utf-8")


def test_is_large_and_varied_enough(book: Book) -> None:
    assert len(book.tanks) >= 6
    assert len(book.areas) >= 22
    species = set(book.areas.text("species_id").tolist())
    assert len(species) >= 12
    table = dict(zip(book.species.text("species_id"), book.species.text("form"), strict=True))
    forms = {table[name] for name in species}
    assert forms == {"carpet", "rosette", "stem", "creeping", "epiphyte", "moss", "floating"}
    days = book.trims.date("date")
    assert (days.max() - days.min()) / np.timedelta64(1, "D") >= 9 * 30
    assert days.max() == np.datetime64("2026-11-20")


def test_holds_every_kind_of_row_and_mostly_heights(book: Book) -> None:
    trims = book.trims
    before, after, removed, grams, minutes = (
        np.isfinite(trims.number(name))
        for name in ("before_cm", "after_cm", "removed_cm", "removed_g", "minutes")
    )
    own = trims.text("area_id") != ""
    looked = trims.text("look") != ""
    kinds = {
        "both heights": before & after,
        "before only": before & ~after,
        "after only": after & ~before,
        "length only": removed & ~before & ~after,
        "weight only": own & grams & ~before & ~after,
        "weight beside heights": grams & before & after,
        "look only": looked & ~before & ~after & ~removed & ~grams,
        "look beside amounts": looked & before,
        "whole tank's weight": ~own & grams,
        "whole tank's minutes": ~own & minutes & ~grams,
    }
    assert [name for name, rows in kinds.items() if not rows.any()] == []
    assert (before & after).mean() > 0.7
    assert set(trims.text("look").tolist()) == {"", "short", "right", "over"}


def test_conditions_change_in_several_tanks(book: Book) -> None:
    tanks, rows = np.unique(book.conditions.text("tank_id").astype(str), return_counts=True)
    assert len(tanks) == len(book.tanks)
    assert (rows > 1).sum() >= 3
