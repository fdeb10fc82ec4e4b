"""What a visit just logged changes: what was expected of it, what follows, when to come again."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from datetime import date, timedelta

import numpy as np

from growthcast.book.book import Book
from growthcast.finite import finite_answer
from growthcast.fit.growth import fit_growth
from growthcast.fit.result import GrowthFit
from growthcast.forecast.report import AreaForecast, forecast_growth
from growthcast.plain import HIDDEN, by_quantile, in_json
from growthcast.service.advice import TankAdvice
from growthcast.service.recommend import recommend

__all__ = ["AfterVisit", "AreaAfterVisit", "after_visit", "before_visit"]

Range = tuple[float, float, float]


@dataclass(frozen=True, slots=True)
class AreaAfterVisit:
    """One area on the day of a visit; heights in cm, or % cover for floating plants.

    ``expected`` is what the log before the visit foretold for the day, ``stands`` what is there
    after it: the 10, 50 and 90 % quantiles. ``passes_on`` are the dates by which the height budget
    is passed with those chances if nothing more is cut, ``None`` beyond the horizon. ``cut_to``
    is the height to which a visit of the recommended interval cuts it, ``None`` to leave it.
    """

    area_id: str
    label: str = field(metadata=HIDDEN)
    unit: str = field(metadata=HIDDEN)
    budget: float = field(metadata=HIDDEN)
    expected: Range = field(metadata=in_json("expected_cm", into=by_quantile))
    stands: Range = field(metadata=in_json("height_cm_now", into=by_quantile))
    passes_on: tuple[date | None, date | None, date | None] = field(
        metadata=in_json("passes_budget_on", into=by_quantile)
    )
    cut_to: float | None = field(metadata=in_json("cut_cm"))


@dataclass(frozen=True, slots=True)
class AfterVisit:
    """One tank after a visit; ``interval_d`` is ``None`` where no listed interval is feasible.

    ``due_on`` is the day by which to come again: the first on which the chance that an area has
    passed its height budget reaches 1 in 10, or the tank's longest interval if that is earlier;
    ``due_for`` names the area, ``None`` where it is the longest interval. ``unsure`` names areas
    known so little that the chance is above 1 in 10 today, although they probably stand below: no
    day follows from them.
    """

    areas: tuple[AreaAfterVisit, ...]
    interval_d: int | None = field(metadata=in_json("recommended_interval_d"))
    advice: TankAdvice = field(metadata=HIDDEN)
    due_on: date = field(metadata=in_json("next_due_on"))
    due_for: str | None = field(metadata=in_json("next_due_for"))
    unsure: tuple[str, ...]


def before_visit(book: Book, on: date) -> GrowthFit:
    """Return the fit of a book as it was known on the day of a visit; later rows are not used."""
    return fit_growth(_until(book, on), on)


@finite_answer
def after_visit(before: GrowthFit, after: Book, tank_id: str, on: date) -> AfterVisit:
    """Return what a visit changes in one tank.

    Parameters
    ----------
    before : GrowthFit
        The fit without the rows of the visit.
    after : Book
        The book with them; rows after ``on`` are not used.
    tank_id : str
        The tank visited.
    on : date
        The day of the visit.

    Returns
    -------
    AfterVisit
        Its areas alive on the day, in the order of the book.
    """
    tanks = np.flatnonzero(after.tanks.text("tank_id") == tank_id)
    horizon_d = after.practice.horizon_d
    new = fit_growth(_until(after, on), on)
    foretold = forecast_growth(before, (on,), horizon_d, tanks)
    follows = forecast_growth(new, (on,), horizon_d, tanks)
    [advice] = recommend(after, new, tanks)
    labels = dict(zip(after.areas.text("area_id"), after.areas.text("label"), strict=True))
    areas = tuple(_areas(foretold, follows, labels, advice))
    known = tuple(area for area in areas if not _unsure(area, on))
    due_on, due_for = _due(known, on, advice.longest_interval_d)
    unsure = tuple(area.label for area in areas if _unsure(area, on))
    return AfterVisit(
        areas=areas,
        interval_d=advice.recommended_interval_d,
        advice=advice,
        due_on=due_on,
        due_for=due_for,
        unsure=unsure,
    )


def _until(book: Book, on: date) -> Book:
    late = book.trims.date("date") > np.datetime64(on, "D")
    return replace(book, trims=book.trims.keep(~late))


def _areas(
    foretold: list[AreaForecast],
    follows: list[AreaForecast],
    labels: dict[str, str],
    advice: TankAdvice,
) -> Iterator[AreaAfterVisit]:
    cuts: dict[str, float] = {}
    if advice.recommended_interval_d is not None:
        option = advice.option(advice.recommended_interval_d)
        cuts = {area.area_id: area.cut_cm for area in option.areas if area.removed_share > 0.005}
    for was, now in zip(foretold, follows, strict=True):
        yield AreaAfterVisit(
            area_id=now.area_id,
            label=labels[now.area_id] or now.area_id,
            unit="%" if now.is_cover else "cm",
            budget=now.budget_cm,
            expected=_range(was),
            stands=_range(now),
            passes_on=now.passes_budget_on,
            cut_to=cuts.get(now.area_id),
        )


def _range(area: AreaForecast) -> Range:
    low, middle, high = area.height_cm_now.tolist()
    return (low, middle, high)


def _unsure(area: AreaAfterVisit, on: date) -> bool:
    early, middle, _ = area.passes_on
    return early is not None and early <= on and (middle is None or middle > on)


def _due(
    areas: tuple[AreaAfterVisit, ...], on: date, longest_interval_d: int
) -> tuple[date, str | None]:
    """Return the day by which to come again, and for which area."""
    due_on, due_for = on + timedelta(days=longest_interval_d), None
    for area in areas:
        early = area.passes_on[0]
        if early is not None and early < due_on:
            due_on, due_for = max(early, on), area.label
    return due_on, due_for
