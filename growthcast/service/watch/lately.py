"""Growth over a visit, or lately, against usual: of a tank, of its areas, of a species."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from growthcast.arrays import BoolArray, IntArray
from growthcast.forecast.report import as_date
from growthcast.service.watch.cases import TankCase
from growthcast.service.watch.report import AreaGrowth, IndexPoint, SpeciesGrowth

RECENT_D = 28.0
EIGHTY, NINETY_FIVE = 1.2815515655446004, 1.959963984540054
LEAST_INDEX_INFORMATION = 1.0


@dataclass(frozen=True, slots=True)
class Index:
    """Growth over usual (1 = as usual), its sd, and the sd it has when nothing changes."""

    share: float
    sd: float
    usual_sd: float

    def point(self, day: float) -> IndexPoint:
        """Return it with its ranges; growth is never below nothing, whatever a reading errs."""
        return IndexPoint(
            on=as_date(day),
            growth=max(self.share, 0.0),
            low=max(self.share - EIGHTY * self.sd, 0.0),
            high=max(self.share + EIGHTY * self.sd, 0.0),
            usual_low=max(1.0 - NINETY_FIVE * self.usual_sd, 0.0),
            usual_high=1.0 + NINETY_FIVE * self.usual_sd,
        )


def growth_index(case: TankCase, rows: IntArray) -> Index | None:
    """Common growth of some readings (m,) against their areas' usual growth.

    Returns
    -------
    Index or None
        None where the readings show so little growth that its share is not known to within 1.
    """
    if not rows.size:
        return None
    block = np.ix_(rows, rows)
    grown = case.evidence.grown_cm[rows].sum(axis=1)
    pull = np.linalg.solve(case.known.noise[block], grown)
    information = float(grown @ pull)
    if information < LEAST_INDEX_INFORMATION:
        return None
    pull = pull / information
    usual = float(np.sqrt(pull @ case.known.covariance[block] @ pull))
    return Index(1.0 + float(pull @ case.known.surprise_cm[rows]), information**-0.5, usual)


def tank_course(case: TankCase) -> tuple[IndexPoint, ...]:
    """Growth of a tank visit by visit, where a visit tells it."""
    days = case.evidence.day
    found = [(growth_index(case, np.flatnonzero(days == day)), day) for day in np.unique(days)]
    return tuple(index.point(float(day)) for index, day in found if index is not None)


def tank_lately(case: TankCase, on_day: float) -> IndexPoint | None:
    """Growth of a tank over the last 28 days."""
    index = growth_index(case, np.flatnonzero(_recent(case, on_day)))
    return None if index is None else index.point(on_day)


def areas_lately(case: TankCase, labels: list[str], on_day: float) -> tuple[AreaGrowth, ...]:
    """Growth of each area of a tank over the last 28 days, where its readings tell it.

    ``labels`` are those of all areas of the book, "" for none.
    """
    listed = []
    for area in case.areas.tolist():
        index = growth_index(
            case, np.flatnonzero(_recent(case, on_day) & (case.evidence.area == area))
        )
        if index is not None:
            area_id = str(case.design.area_id[area])
            listed.append(AreaGrowth(area_id, labels[area] or area_id, index.point(on_day)))
    return tuple(listed)


def species_lately(cases: list[TankCase], on_day: float) -> tuple[SpeciesGrowth, ...]:
    """Growth of each species over its tanks lately, each weighed by how well it is known."""
    if not cases:
        return ()
    design, listed = cases[0].design, []
    for place in np.unique(design.species).tolist():
        found = [
            growth_index(
                case,
                np.flatnonzero(
                    _recent(case, on_day) & (design.species[case.evidence.area] == place)
                ),
            )
            for case in cases
        ]
        parts = [part for part in found if part is not None]
        if parts:
            point = joined(parts).point(on_day)
            listed.append(SpeciesGrowth(str(design.species_id[place]), len(parts), point))
    return tuple(listed)


def _recent(case: TankCase, on_day: float) -> BoolArray:
    return case.evidence.day > on_day - RECENT_D


def joined(parts: list[Index]) -> Index:
    """Return the growth that several tanks show together, each weighed by how well it is known."""
    weight = np.array([part.sd**-2 for part in parts])
    weight /= weight.sum()
    return Index(
        share=float(weight @ [part.share for part in parts]),
        sd=float(np.sqrt((weight**2) @ [part.sd**2 for part in parts])),
        usual_sd=float(np.sqrt((weight**2) @ [part.usual_sd**2 for part in parts])),
    )
