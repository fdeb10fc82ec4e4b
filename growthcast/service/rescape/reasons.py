"""Why a plant stands where it does in the ranking, in words."""

from __future__ import annotations

from dataclasses import dataclass, field

from growthcast.plain import HIDDEN, NULL_IF_BLANK, in_json
from growthcast.service.rescape.holding import Holding
from growthcast.service.rescape.notes import LIKELY, NOT_LIKELY, holding_words
from growthcast.service.rescape.outlook import LONGEST_D

__all__ = ["Plant", "days_text", "fits", "ranked", "reason_of"]

A_LONG_WAIT_D = 180
"""Days from planting to the look from which a plant is ranked after quicker ones of its rank."""


@dataclass(frozen=True, slots=True)
class Plant:
    """What the ranking looks at of one plant in an area."""

    species_id: str
    common_name: str
    form: str
    unit: str = field(metadata=HIDDEN)
    is_there_now: bool
    basis: str
    holds_chance: float = field(metadata=in_json("chance_holds"))
    reaches_look_chance: float = field(metadata=in_json("chance_reaches_look"))
    look_d: float | None = field(metadata=HIDDEN)
    own_interval_d: int
    tank_interval_d: int | None
    minutes_per_year: float = field(metadata=HIDDEN)
    caution: str = field(metadata=NULL_IF_BLANK)
    is_regulated: bool = field(metadata=in_json("regulated_in_places"))
    lowest_cut_cm: float = field(metadata=HIDDEN)
    floor_cm: float = field(metadata=HIDDEN)
    budget_cm: float = field(metadata=HIDDEN)

    @property
    def is_too_tall(self) -> bool:
        """Whether it does not survive being cut below the budget."""
        return self.lowest_cut_cm >= self.budget_cm

    @property
    def is_lost(self) -> bool:
        """Whether it is not likely to hold there, so that no interval is of use to it."""
        return self.holds_chance < NOT_LIKELY


def fits(plant: Plant) -> bool:
    """Tell whether a plant more likely than not holds there, between floor and budget."""
    if plant.is_too_tall or plant.is_lost:
        return False
    return plant.reaches_look_chance >= NOT_LIKELY


def ranked(plant: Plant) -> tuple[int, int, int, int, float, str]:
    """Sort key, the best first: likely to hold, the tank's interval, soon at the look, the
    plant's own interval, the work.
    """
    doubt = (
        2 if not fits(plant) else int(min(plant.holds_chance, plant.reaches_look_chance) < LIKELY)
    )
    soon = plant.look_d is not None and plant.look_d <= A_LONG_WAIT_D
    return (
        doubt,
        -(plant.tank_interval_d or 0),
        int(not soon and not plant.is_there_now),
        -plant.own_interval_d,
        plant.minutes_per_year,
        plant.species_id,
    )


def days_text(days: float) -> str:
    """Return a number of days in words."""
    return f"more than {LONGEST_D - 1} days" if days >= LONGEST_D else f"{days:.0f} days"


def _limit(plant: Plant) -> str:
    return f"by the species table it stands no cut below {plant.lowest_cut_cm:.3g} {plant.unit}"


def reason_of(
    plant: Plant,
    chances: Holding,
    i: int,
    *,
    limits_tank: bool,
    limited_by: str | None,
    listed_d: tuple[int, ...],
) -> str:
    """Say what a plant allows, what speaks against it, and what that rests on."""
    said = []
    if against := holding_words(chances, i):
        said.append(f"{100 * plant.holds_chance:.0f} % to hold: {' and '.join(against)}")
    if plant.is_lost:
        said.append("so no interval is named")
        return "; ".join(said)
    if plant.reaches_look_chance < LIKELY:
        said.append(
            f"{100 * plant.reaches_look_chance:.0f} % to grow up to the floor, its ceiling is low"
        )
    if plant.is_too_tall:
        said.append(
            f"{_limit(plant)}, and the budget is {plant.budget_cm:.3g} {plant.unit}: where yours "
            "stands lower cuts, write lowest_cut_cm in species.csv"
        )
        return "; ".join(said)
    own = f"alone it allows {days_text(plant.own_interval_d)}"
    if plant.own_interval_d < min(listed_d):
        own += ", less than the shortest listed interval"
        own += f" ({_limit(plant)})" if plant.lowest_cut_cm > plant.floor_cm else ""
    if plant.tank_interval_d is None:
        said.append(f"{own}; no listed interval holds for the tank")
    elif limits_tank:
        said.append(f"{own}; it is what keeps the tank at {plant.tank_interval_d} days")
    elif limited_by is not None:
        said.append(f"{own}; the tank stays at {plant.tank_interval_d} days for {limited_by}")
    else:
        said.append(f"{own}; the whole tank holds {plant.tank_interval_d} days, the longest asked")
    if plant.look_d is not None and plant.look_d > A_LONG_WAIT_D and not plant.is_there_now:
        said.append(f"slow to the look: {days_text(plant.look_d)}")
    if plant.caution:
        said.append(plant.caution.rstrip("."))
    return "; ".join(said)
