"""What is said beside an answer of the book, the day and the fit that it rests on."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from datetime import date

from growthcast.book.book import Book
from growthcast.book.words import some_of
from growthcast.fit.growth import last_logged
from growthcast.fit.result import GrowthFit
from growthcast.say.supposed import co2_words

STALE_D = 42
"""Days without any log after which it is said (common practice, no source)."""


def left_out_words(book: Book, day: date) -> Iterator[str]:
    """Name the areas that are planted after the day."""
    planted = book.areas.date("planted_on").astype("datetime64[D]")
    if later := book.areas.text("area_id")[planted > day].tolist():
        yield (
            f"Planted after {day} and so left out: {some_of(later, 5)}. "
            f"Stand on a later day with --on {planted[planted > day].max()} to include them."
        )


def not_fitted_words(not_fitted: Mapping[str, str]) -> Iterator[str]:
    """Name the tanks whose log could not be fitted."""
    for tank, why in not_fitted.items():
        yield (
            f"The log of tank {tank} cannot be fitted: {why}. The tank rests on the species table "
            "alone, as if it had no log; growthcast check may find the row."
        )


def beside_fit(book: Book, day: date, fit: GrowthFit) -> Iterator[str]:
    """Say what the fit assumes, which areas it did not settle for, and how old the log is."""
    yield from co2_words(book, unknown=False)
    yield from not_fitted_words(fit.not_fitted)
    if unsettled := fit.design.area_id[~fit.converged].tolist():
        yield (
            f"The fit did not settle for {some_of(unsettled, 10)}: do not rely on these areas' "
            "numbers; look for a slipped decimal or a mistaken area in their log rows."
        )
    last = last_logged(book)
    if last is not None and (day - last).days > STALE_D:
        yield (
            f"The log ends on {last}, {(day - last).days} days before {day}: heights since then "
            "are forecast as if nothing had been cut."
        )
    if fit.widening != 1.0:
        yield (
            f"Ranges are {fit.widening:g} times as wide as the model's own, as widening in "
            "practice.toml asks."
        )
