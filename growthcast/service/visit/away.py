"""A time without visits: which areas pass their height, which cuts bridge it, who needs a stand-in.

The last visit before is when cuts can still be made; the first after it is the day after the last
day away.
"""

from __future__ import annotations

from dataclasses import field
from datetime import date, timedelta

import numpy as np

from growthcast.arrays import FloatArray, IntArray, or_none, rows_of
from growthcast.book.book import Book
from growthcast.finite import finite_answer
from growthcast.fit.design import day_number
from growthcast.fit.result import GrowthFit
from growthcast.forecast.report import Passing, passing_on
from growthcast.frames import Framed
from growthcast.nouns import dataclass
from growthcast.plain import BY_QUANTILE
from growthcast.service.advice import KnownArea
from growthcast.service.effort.hours import Range
from growthcast.service.living import blocks_of_tanks
from growthcast.service.recommend import known_of, recommend
from growthcast.service.visit.standing import (
    Lasting,
    Standing,
    cut_to_last,
    days_that_hold,
    only_areas,
    standing_areas,
)


@dataclass(frozen=True, slots=True)
class AwayArea(KnownArea):
    """One area over the time away.

    ``usual_cut_cm`` is what the last visit would leave as always; ``passes_on`` are the dates by
    which the area then is over its budget with chances of 10, 50 and 90 % (None: not before the
    next visit), ``chance_over`` that chance on the day of the next visit and ``over_cm`` by how
    much it then stands over. ``bridging_cut_cm`` is the highest cut that bridges the time, no lower
    than looks right, as on the sheet for that visit, and ``chance_within`` the chance that it does.
    ``needed_cut_cm`` is the cut that would bridge it however bare it looks (None: not even the
    lowest safe one), after which the area looks bare for ``days_below_floor`` [d].
    """

    budget_cm: float
    floor_cm: float
    usual_cut_cm: float
    passes_on: Passing = field(metadata=BY_QUANTILE)
    chance_over: float
    over_cm: Range
    bridging_cut_cm: float
    chance_within: float
    needed_cut_cm: float | None
    days_below_floor: float


@dataclass(frozen=True, slots=True, repr=False)
class AwayTank(Framed):
    """One tank over the time away.

    ``chance_as_usual`` is the chance that every area stays inside its budget when the last visit
    cuts as always, ``chance_bridged`` with the bridging cuts. ``state`` is "lasts" (the usual cuts
    do), "cut lower" (the bridging cuts do) or "stand-in" (none that looks right does);
    ``stand_in_by`` is then the latest day on which somebody must come (None: before the time away
    begins).
    """

    tank_id: str
    client: str
    last_visit: date
    next_visit: date
    confidence: float
    chance_as_usual: float
    chance_bridged: float
    state: str
    stand_in_by: date | None
    areas: tuple[AwayArea, ...]


@finite_answer
def weeks_away(
    book: Book,
    fit: GrowthFit,
    last_visit: date,
    next_visit: date,
    tanks: IntArray | None = None,
) -> list[AwayTank]:
    """Tell how every tank comes through a time without visits.

    Parameters
    ----------
    book : Book
        The book that was fitted.
    fit : GrowthFit
        Its fit.
    last_visit, next_visit : date
        The visits before and after; the first not before the day of the fit, the second after it.
    tanks : int array (K,), optional
        Places of the tanks in the book; all of them when not given.

    Returns
    -------
    list of AwayTank
        In the order of the book. As always means: until the last visit areas grow, and that visit
        cuts to the height of the tank's recommended interval. The cuts that bridge the time, and
        their chance, are those of ``cut_to_last``, as on the sheet for that visit. A tank in which
        nothing grows lasts with a chance of 1.

    Raises
    ------
    ValueError
        If the visits lie before the day of the fit or in the wrong order.
    """
    tanks = np.arange(len(book.tanks)) if tanks is None else tanks
    after_d = int(day_number(last_visit) - fit.design.on_day)
    span_d = (next_visit - last_visit).days
    if after_d < 0 or span_d < 1:
        raise ValueError("the last visit lies on or after the day of the fit, the next after it")
    chosen = (one.chosen for one in recommend(book, fit, tanks, briefly=True))
    always = {area.area_id: area.cut_cm for one in chosen if one for area in one.areas}
    confidence = book.of_tanks("confidence")
    found: dict[int, tuple[tuple[AwayArea, ...], float, float, int]] = {}

    def conclude(tank: int) -> AwayTank:
        # Where nothing grows nothing can pass its height.
        areas, usual, bridged, days = found.get(tank, ((), 1.0, 1.0, 0))
        wanted = float(confidence[tank])
        return AwayTank(
            tank_id=str(book.tanks.text("tank_id")[tank]),
            client=str(book.tanks.text("client")[tank]),
            last_visit=last_visit,
            next_visit=next_visit,
            confidence=wanted,
            chance_as_usual=usual,
            chance_bridged=bridged,
            state="lasts" if usual >= wanted else "cut lower" if bridged >= wanted else "stand-in",
            stand_in_by=last_visit + timedelta(days=days) if days else None,
            areas=areas,
        )

    for block in blocks_of_tanks(fit, tanks):
        arrived = standing_areas(fit, block).later(after_d)
        living = arrived.living
        cuts = [always.get(name, np.nan) for name in fit.design.area_id[living.area].tolist()]
        usual_cm = np.where(np.isnan(cuts), living.least_cut_cm, cuts)
        usual = arrived.cut(usual_cm)
        usual_end = usual.later(span_d)
        lasting = cut_to_last(arrived, span_d, confidence[living.tank])
        areas = _areas(book, fit, usual_cm, usual, usual_end, lasting)
        for run, tank in enumerate(living.tank.tolist()):
            here = living.run == run
            chances = float(usual_end.chance[run]), float(lasting.chance[run])
            days = 0
            if max(chances) < confidence[tank]:
                alone = only_areas(arrived.cut(living.least_cut_cm), here)
                days = days_that_hold(alone, span_d - 1, float(confidence[tank]))
            mine = tuple(areas[i] for i in np.flatnonzero(here).tolist())
            found[tank] = (mine, *chances, days)
    return [conclude(tank) for tank in tanks.tolist()]


def _areas(
    book: Book,
    fit: GrowthFit,
    usual_cm: FloatArray,
    usual: Standing,
    usual_end: Standing,
    lasting: Lasting,
) -> list[AwayArea]:
    """What becomes of every area of a block, cut as always and cut to last."""
    living = usual.living
    passing = usual.days_until(usual_end.after_d - usual.after_d, living.budget_cm)
    from_day = fit.design.on_day + usual.after_d
    columns = {
        "budget_cm": living.budget_cm,
        "floor_cm": living.floor_cm,
        "usual_cut_cm": usual_cm,
        "passes_on": [_sooner_or_later(from_day, days) for days in passing],
        "chance_over": 1.0 - usual_end.within().mean(axis=1),
        "over_cm": Range.of_rows(np.maximum(usual_end.height_cm - living.budget_cm[:, None], 0.0)),
        "bridging_cut_cm": lasting.cut_cm,
        "chance_within": lasting.ended.within().mean(axis=1),
        "needed_cut_cm": or_none(lasting.needed_cm),
        "days_below_floor": lasting.days_below_floor,
    }
    return [AwayArea(**row) for row in rows_of(known_of(book, fit, living.area) | columns)]


def _sooner_or_later(from_day: float, days: FloatArray) -> Passing:
    """Dates by which something has happened with chances of 10, 50 and 90 %; ``None`` if not.

    ``days`` (D,) are each draw's days after ``from_day`` [day number], ``inf`` where never.
    """
    found = np.quantile(days, (0.1, 0.5, 0.9), method="inverted_cdf")
    return passing_on(np.where(np.isfinite(found), from_day + np.ceil(found), np.nan).tolist())
