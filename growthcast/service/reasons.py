"""The reason of a recommendation in words, with what would mend a shortfall."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import ceil, floor

from growthcast.fit.result import GrowthFit

__all__ = [
    "CutLimit",
    "ShortArea",
    "Shortfall",
    "cut_limit",
    "limit_in_words",
    "percent",
    "reason_for",
]


@dataclass(frozen=True, slots=True)
class ShortArea:
    """An area that falls short at an interval, and what would make it hold.

    ``needed_floor_cm`` is the floor that would do (None: not even the lowest safe cut does),
    ``needed_budget_cm`` the budget that would, the tank's other short areas being mended too.
    ``limit`` says which lowest cut keeps it above its floor, if one does.
    """

    area_id: str
    label: str
    unit: str
    chance_within: float
    floor_cm: float
    least_cut_cm: float
    needed_floor_cm: float | None
    needed_budget_cm: float
    limit: str


@dataclass(frozen=True, slots=True)
class Shortfall:
    """Why an interval is not feasible: its areas that fall short, the worst first."""

    interval_d: int
    chance_all_within: float
    areas: tuple[ShortArea, ...]


def reason_for(
    interval_d: int | None,
    shortfall: Shortfall | None,
    *,
    confidence: float,
    cap_d: int,
    capped: bool,
    basis: Sequence[str],
) -> str:
    """Say why this interval is recommended, or why none is, and what that rests on."""
    if shortfall is not None:
        said = _fails(shortfall, confidence)
        if interval_d is None:
            said = f"no listed interval is short enough: {said}"
    elif capped:
        said = (
            f"the plants would hold longer; {cap_d} days is this tank's own limit "
            "(longest_interval_d)"
        )
    else:
        said = (
            f"every area stays inside its height with at least {percent(confidence)} chance even "
            f"at the longest interval, {interval_d} days"
        )
    return said + _rests_on(basis)


def _fails(shortfall: Shortfall, confidence: float) -> str:
    wanted, chance = percent(confidence), percent(shortfall.chance_all_within)
    if chance == wanted:  # a near miss must not read like a hit
        chance = percent(shortfall.chance_all_within, digits=1)
    worst = shortfall.areas[0]
    mended = "; ".join(_mend(area) for area in shortfall.areas)
    limits = "".join(
        f". {limit}" for limit in dict.fromkeys(a.limit for a in shortfall.areas if a.limit)
    )
    return (
        f"at {shortfall.interval_d} days the chance that every area stays inside its height is "
        f"{chance}, not {wanted}; {worst.label} is the first to go over "
        f"({percent(worst.chance_within)} when cut to {worst.least_cut_cm:.3g} {worst.unit}). "
        f"{shortfall.interval_d} days would hold with {mended}{limits}"
    )


def _mend(area: ShortArea) -> str:
    """Say which height budget, or which floor, would let an area hold."""
    budget = ceil(10.0 * area.needed_budget_cm - 1e-6) / 10.0  # to the safe side
    way = f"{budget:.1f} {area.unit} of height for {area.label}"
    lower = area.needed_floor_cm
    if lower is not None and lower < area.floor_cm:
        way += f" (or a floor of {floor(10.0 * lower + 1e-6) / 10.0:.1f} {area.unit})"
    return way


@dataclass(frozen=True, slots=True)
class CutLimit:
    """The lowest cut an area is known to stand, where that lies above its floor.

    ``table_cm`` is that of the species table, ``limit_cm`` that of table and log together [cm, or
    % cover].
    """

    area_id: str
    species_id: str
    unit: str
    table_cm: float
    limit_cm: float


def cut_limit(fit: GrowthFit, area: int) -> CutLimit | None:
    """Return the lowest cut that keeps an area above its floor.

    Parameters
    ----------
    fit : GrowthFit
        A fitted book.
    area : int
        Place of the area in the book.

    Returns
    -------
    CutLimit or None
        ``None`` where the area may be cut down to its floor.
    """
    design, limit = fit.design, float(fit.lowest_cut_cm[area])
    if limit <= design.traits.floor_cm[area]:
        return None
    return CutLimit(
        area_id=str(design.area_id[area]),
        species_id=str(design.species_id[design.species[area]]),
        unit="% cover" if design.is_cover[area] else "cm",
        table_cm=float(design.traits.lowest_cut_cm[area]),
        limit_cm=limit,
    )


def limit_in_words(limit: CutLimit | None) -> str:
    """Say which lowest cut keeps an area above its floor and how to change it, "" for none."""
    if limit is None:
        return ""
    said = (
        f"The species table says that {limit.species_id} is not cut below "
        f"{limit.table_cm:.3g} {limit.unit}"
    )
    if limit.limit_cm < limit.table_cm:
        said += f"; the log shows {limit.area_id} growing on from {limit.limit_cm:.3g} {limit.unit}"
    return (
        f"{said}. Where yours stands lower cuts, write lowest_cut_cm in species.csv, or log two "
        "such cuts (after_cm) from which it grows again"
    )


def _rests_on(basis: Sequence[str]) -> str:
    """Say so where areas have too little log of their own."""
    table, near = basis.count("table"), basis.count("tank")
    if not table and not near:
        return ""
    parts = []
    if table:
        parts.append(f"{table} of {len(basis)} areas on the species table alone")
    if near:
        parts.append(f"{near} of {len(basis)} areas on their tank or species elsewhere")
    return f". This rests for {' and for '.join(parts)}: log their trims to be surer"


def percent(share: float, digits: int = 0) -> str:
    """Return a share as percent."""
    return f"{100 * share:.{digits}f} %"
