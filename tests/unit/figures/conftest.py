"""A small invented book, fitted once, for the figures to draw."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date
from pathlib import Path

import pytest

from growthcast.book.book import Book
from growthcast.book.read import read_book
from growthcast.fit.growth import fit_growth
from growthcast.fit.result import GrowthFit

ON = date(2026, 3, 16)
PRACTICE = '[practice]\nname = "Invented"\nlabour_rate_per_h = 50\n[targets]\nhorizon_d = {}\n'
TANKS = (
    "tank_id,client,length_cm,width_cm,water_depth_cm\n"
    "lobby,Client A,121,47,46\nempty,Client B,60,30,30\n"
)
AREA_HEADER = (
    "area_id,tank_id,label,species_id,area_cm2,floor_cm,budget_cm,cut_cm,planted_on,removed_on\n"
)
TRIM_HEADER = "date,tank_id,area_id,before_cm,after_cm,removed_cm,removed_g,look,minutes,note\n"
AREAS = (
    "stems,lobby,Back stems,rotala-rotundifolia,400,8,24,10,2026-01-01,\n"
    "carpet,lobby,Front carpet,hemianthus-callitrichoides,900,1,4,1.5,2026-01-01,\n"
    "float,lobby,Floating corner,limnobium-laevigatum,900,10,50,20,2026-01-01,\n"
    "gone,lobby,Taken out,rotala-rotundifolia,400,8,24,10,2026-01-01,2026-02-01\n"
)
TRIMS = (
    "2025-12-01,lobby,,,,,,,30,before any area\n"
    "2026-02-23,lobby,stems,21,10,,,,,\n"
    "2026-03-02,lobby,stems,22,10,,,,,\n"
    "2026-03-09,lobby,stems,,,,310,,,\n"
    "2026-03-16,lobby,stems,19.5,10.5,,,,,\n"
    "2026-03-02,lobby,carpet,2.5,1.5,,,,,\n"
    "2026-03-16,lobby,carpet,2.5,,1,,,,\n"
    "2026-03-02,lobby,float,60,20,,,,,\n"
)

Fitted = tuple[Book, GrowthFit]


def write_book(folder: Path, areas: str = AREAS, trims: str = TRIMS, horizon_d: int = 60) -> Path:
    """Write the invented book."""
    folder.mkdir()
    texts = {
        "practice.toml": PRACTICE.format(horizon_d),
        "tanks.csv": TANKS,
        "areas.csv": AREA_HEADER + areas,
        "trims.csv": TRIM_HEADER + trims,
    }
    for name, text in texts.items():
        (folder / name).write_text(text, encoding="utf-8")
    return folder


def fitted(folder: Path) -> Fitted:
    """Read and fit a book as of ``ON``."""
    book = read_book(folder, on=ON)
    return book, fit_growth(book, ON)


@pytest.fixture(scope="session")
def lobby(tmp_path_factory: pytest.TempPathFactory) -> Fitted:
    """Return the invented book and its fit."""
    return fitted(write_book(tmp_path_factory.mktemp("figures") / "book"))


@pytest.fixture
def make(tmp_path: Path) -> Callable[..., Fitted]:
    """Write and fit a book with other areas, trims or horizon."""

    def make_book(
        areas: str = AREAS, trims: str = TRIMS, horizon_d: int = 60, name: str = "book"
    ) -> Fitted:
        return fitted(write_book(tmp_path / name, areas, trims, horizon_d))

    return make_book
