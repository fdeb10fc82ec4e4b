"""What a visit just logged changes: what was expected of it, what follows, when to come again."""

from __future__ import annotations

from dataclasses import field, replace
from datetime import date

import numpy as np

from growthcast.book.book import Book, area_label
from growthcast.finite import finite_answer
from growthcast.fit.growth import recalled_fit
from growthcast.fit.result import GrowthFit
from growthcast.forecast.report import Passing, as_date, forecast_growth
from growthcast.log.visits import Look, read_log
from growthcast.nouns import dataclass
from growthcast.plain import BY_QUANTILE, HIDDEN, in_json
from growthcast.service.advice import TankAdvice
from growthcast.service.effort.hours import Range
from growthcast.service.recommend import recommend
from growthcast.service.urgency import tanks_due


@dataclass(frozen=True, slots=True)
class PerhapsCut:
    """A cut that the log does not tell of: the visit at which it may have been made, its chance."""

    on: date
    chance: float


@dataclass(frozen=True, slots=True)
class AreaAfterVisit:
    """One area on the day of a visit; heights in cm, or % cover for floating plants.

    ``expected_cm`` is what the log before the visit foretold for the day, ``height_cm_now`` what
    stands there after it: the 10, 50 and 90 % quantiles. ``passes_budget_on`` are the dates by
    which the height budget is passed with those chances if nothing more is cut, ``None`` beyond the
    horizon. ``cut_cm`` is the height to which a visit of the recommended interval cuts it, ``None``
    to leave it. ``perhaps_cut`` is the cut for which an area that looked over its budget stands
    lower than was expected all the same, ``None`` where it does not. ``least_cut_cm`` is the lowest
    cut that looks right and that the plant stands.
    """

    area_id: str
    label: str = field(metadata=HIDDEN)
    unit: str = field(metadata=HIDDEN)
    budget_cm: float = field(metadata=HIDDEN)
    expected_cm: Range
    height_cm_now: Range
    passes_budget_on: Passing = field(metadata=BY_QUANTILE)
    cut_cm: float | None
    perhaps_cut: PerhapsCut | None = None
    least_cut_cm: float = field(default=0.0, metadata=HIDDEN)


@dataclass(frozen=True, slots=True)
class AfterVisit:
    """One tank after a visit; ``interval_d`` is ``None`` where no listed interval is feasible.

    ``due_on`` is the day by which to come again, as ``tanks_due`` has it, ``None`` where no visit
    is planned; ``due_by`` tells by what: "rhythm", "chance" or "limit", "" for none. Where it is
    the chance, ``due_for`` names the area that may pass its height first. ``unsure`` names areas
    known so little that they may stand over their height today, although they probably do not.
    """

    areas: tuple[AreaAfterVisit, ...]
    interval_d: int | None = field(metadata=in_json("recommended_interval_d"))
    advice: TankAdvice = field(metadata=HIDDEN)
    due_on: date | None = field(metadata=in_json("next_due_on"))
    due_by: str = field(metadata=in_json("next_due_by", into=lambda by: by or None))
    due_for: str | None = field(metadata=in_json("next_due_for"))
    unsure: tuple[str, ...]


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
    late = after.trims.date("date") > np.datetime64(on, "D")
    known = replace(after, trims=after.trims.keep(~late))
    tanks = np.flatnonzero(known.tanks.text("tank_id") == tank_id)
    horizon_d = known.practice.horizon_d
    new = recalled_fit(known, on)
    foretold = forecast_growth(before, (on,), horizon_d, tanks)
    follows = forecast_growth(new, (on,), horizon_d, tanks)
    [advice] = recommend(known, new, tanks)
    [due] = tanks_due(known, new, [advice], tanks)
    place = {str(name): n for n, name in enumerate(new.design.area_id)}
    least = np.maximum(new.lowest_cut_cm, new.design.traits.floor_cm)
    chosen = advice.chosen if advice.recommended_interval_d is not None else None
    advised = chosen.areas if chosen else ()
    cuts = {area.area_id: area.cut_cm for area in advised if area.removed_share > 0.005}
    perhaps = _perhaps_cut(known, new)
    areas = tuple(
        AreaAfterVisit(
            area_id=now.area_id,
            label=area_label(known.areas, place[now.area_id]),
            unit="%" if now.is_cover else "cm",
            budget_cm=now.budget_cm,
            expected_cm=Range(*was.height_cm_now.tolist()),
            height_cm_now=Range(*now.height_cm_now.tolist()),
            passes_budget_on=now.passes_budget_on,
            cut_cm=cuts.get(now.area_id),
            perhaps_cut=perhaps.get(now.area_id)
            if now.height_cm_now[1] < was.height_cm_now[1]
            else None,
            least_cut_cm=float(least[place[now.area_id]]),
        )
        for was, now in zip(foretold, follows, strict=True)
    )
    first = min(areas, key=lambda area: area.passes_budget_on[0] or date.max, default=None)
    return AfterVisit(
        areas=areas,
        interval_d=advice.recommended_interval_d,
        advice=advice,
        due_on=due.due_on,
        due_by=due.due_by,
        due_for=None if first is None or due.due_by != "chance" else first.label,
        unsure=tuple(area.label for area in areas if _unsure(area, on)),
    )


def _perhaps_cut(book: Book, fit: GrowthFit) -> dict[str, PerhapsCut]:
    """The last cut without a word of each area that looks over its budget on the day of a fit."""
    visits, unsaid = read_log(book).visits, fit.unsaid_cuts
    looked = (visits.look == Look.OVER) & ~visits.cut & np.isnan(visits.before_cm)
    over = visits.area[looked & (visits.day == fit.design.on_day)]
    return {
        str(fit.design.area_id[unsaid.area[i]]): PerhapsCut(
            as_date(unsaid.day[i]), float(unsaid.chance[i])
        )
        for i in np.argsort(unsaid.day).tolist()
        if unsaid.area[i] in over
    }


def _unsure(area: AreaAfterVisit, on: date) -> bool:
    early, middle, _ = area.passes_budget_on
    return early is not None and early <= on and (middle is None or middle > on)
