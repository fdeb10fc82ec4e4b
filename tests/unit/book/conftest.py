"""Fixtures that write and inspect the small book."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date
from pathlib import Path

import pytest

from growthcast.book import read as reading
from growthcast.book.book import Book
from growthcast.errors import Finding
from tests.unit.book.small_book import TODAY, write_book, write_species


@pytest.fixture(autouse=True)
def species_dir(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    folder = write_species(tmp_path / "shipped")
    monkeypatch.setattr(reading, "shipped_species_dir", lambda: folder)
    return folder


@pytest.fixture
def make_book(tmp_path: Path) -> Callable[..., Path]:
    """Write the small book; ``trims_csv="..."`` replaces a file, None leaves it out."""

    def make(**changes: str | bytes | None) -> Path:
        named = {name.replace("_", ".", 1): content for name, content in changes.items()}
        return write_book(tmp_path / "book", named)

    return make


@pytest.fixture
def inspect(
    make_book: Callable[..., Path],
) -> Callable[..., tuple[Book | None, tuple[Finding, ...]]]:
    """Inspect the small book with some files changed."""

    def run(
        on: date | None = None, **changes: str | bytes | None
    ) -> tuple[Book | None, tuple[Finding, ...]]:
        return reading.inspect_book(make_book(**changes), today=TODAY, on=on)

    return run
