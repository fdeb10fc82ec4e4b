"""A tank's recommendation in full: the next longer interval, what would allow it, how sure."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import TYPE_CHECKING

from growthcast.book.book import Book, Practice
from growthcast.fit.result import GrowthFit
from growthcast.service.effort import VisitEffort, saving
from growthcast.service.living import LivingAreas, living_part
from growthcast.service.longer.certainty import certainty_of
from growthcast.service.longer.looks import next_longer
from growthcast.service.longer.mends import Mend, mends_for

if TYPE_CHECKING:
    from growthcast.service.advice import TankAdvice

__all__ = ["in_full", "with_next_longer"]


def with_next_longer(
    advice: TankAdvice, efforts: Mapping[int, VisitEffort], run: int, practice: Practice
) -> TankAdvice:
    """Return the advice with what the next longer listed interval would cost and save.

    ``efforts`` are those of a block of tanks by interval [d], ``run`` is the tank's place there.
    """
    days = advice.recommended_interval_d
    longer = _next(advice)
    if days is None or longer is None:
        return advice
    now, then = advice.option(days), advice.option(longer)
    hours = [efforts[one].hours_of_year(run, one) for one in (days, longer)]
    saved = saving(hours[0], hours[1], practice.labour_rate_per_h)
    return replace(advice, longer=next_longer(now, then, saved, practice.currency))


def in_full(
    book: Book, fit: GrowthFit, living: LivingAreas, run: int, advice: TankAdvice
) -> TankAdvice:
    """Return the advice with what would allow the next longer interval and how sure it is.

    Parameters
    ----------
    book : Book
        The book that was fitted.
    fit : GrowthFit
        Its fit.
    living : LivingAreas
        A block of tanks; ``run`` is the tank's place among them.
    run : int
        The tank.
    advice : TankAdvice
        What ``recommend`` says of it.

    Returns
    -------
    TankAdvice
        With ``mends`` (for the next longer interval, or the shortest where none is feasible) and
        ``certainty``.
    """
    allowed = tuple(
        option.interval_d
        for option in advice.options
        if option.interval_d <= advice.longest_interval_d
    )
    if not allowed:
        return advice
    certainty = certainty_of(
        fit, living, run, allowed, advice.recommended_interval_d, advice.confidence
    )
    longer = _next(advice)
    mends: tuple[Mend, ...] = ()
    if longer is not None and advice.limited_by is not None:
        areas = advice.option(longer).areas
        mends = mends_for(
            book,
            fit,
            living_part(living, living.run == run),
            longer,
            advice.confidence,
            advice.limited_by,
            tuple(area.label for area in areas),
            tuple(area.unit for area in areas),
        )
    return replace(advice, certainty=certainty, mends=mends)


def _next(advice: TankAdvice) -> int | None:
    """Return the shortest allowed interval longer than the recommended one, if there is any."""
    chosen = advice.recommended_interval_d or 0
    longer = [
        option.interval_d
        for option in advice.options
        if chosen < option.interval_d <= advice.longest_interval_d
    ]
    return min(longer, default=None)
