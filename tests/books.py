"""Small books for tests, written as a person would write them. All of it is invented."""

from __future__ import annotations

from datetime import date, timedelta
from pathlib import Path

from growthcast.book.book import Book
from growthcast.book.read import read_book

TODAY = date(2026, 11, 25)

PRACTICE = """[practice]
name = "Test practice (invented)"
currency = "EUR"
labour_rate_per_h = 60.0
[visit]
fixed_min = 30
travel_min = 20
"""
TANKS = """tank_id,client,water_depth_cm,longest_interval_d
lobby,Client A,46,
home,Client B,34,
"""
AREAS = """area_id,tank_id,label,species_id,area_cm2,floor_cm,budget_cm,cut_cm,planted_on,removed_on
stems,lobby,Back stems,rotala-rotundifolia,400,7,22,9,2025-01-01,
carpet,lobby,Front carpet,hemianthus-callitrichoides,900,1,4.5,1.5,2025-01-01,
moss,home,Stone moss,taxiphyllum-barbieri,150,2,9,3,2025-01-01,
"""
HEADER = "date,tank_id,area_id,before_cm,after_cm,removed_cm,removed_g,look,minutes,note\n"


def stem_log(visits: int = 8, before: float = 18.0, after: float = 9.0, every_d: int = 7) -> str:
    """Return a log of regular visits to the stems, ending on 2026-06-01."""
    last = date(2026, 6, 1)
    days = [last - timedelta(days=every_d * back) for back in reversed(range(visits))]
    return HEADER + "".join(
        f"{day},lobby,stems,{before + 0.5 * (n % 3 - 1)},{after},,,,,\n"
        for n, day in enumerate(days)
    )


def write_book(
    folder: Path,
    *,
    practice: str = PRACTICE,
    tanks: str = TANKS,
    areas: str = AREAS,
    trims: str | None = None,
    conditions: str | None = None,
    species: str | None = None,
) -> Path:
    """Write the files of a book and return its folder."""
    folder.mkdir(parents=True, exist_ok=True)
    files = {
        "practice.toml": practice,
        "tanks.csv": tanks,
        "areas.csv": areas,
        "trims.csv": stem_log() if trims is None else trims,
        "conditions.csv": conditions,
        "species.csv": species,
    }
    for name, text in files.items():
        if text is not None:
            (folder / name).write_text(text, encoding="utf-8")
    return folder


def make_book(folder: Path, on: date | None = None, **files: str) -> Book:
    """Write a book and read it back."""
    return read_book(write_book(folder, **files), on=on, today=TODAY)
