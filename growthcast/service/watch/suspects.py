"""What to look at first when growth changes, in words; a list to check, not a diagnosis.

The orders are common practice, no source.
"""

from __future__ import annotations

import numpy as np

from growthcast.arrays import IntArray
from growthcast.book.book import Book

__all__ = ["INJECTED_CO2_MG_L", "changes_between", "recorded_change", "suspects_for"]

INJECTED_CO2_MG_L = 10.0
"""A tank given more CO2 than this is taken to be supplied with it."""
NEAR_D = 45
CO2 = "CO2: bottle empty, valve or timer, clogged diffuser; drop checker and pH before lights on"
LAMP = (
    "lamp: timer, dimmer, a failed row of lights, dirty cover glass; measure at the substrate if "
    "you can"
)
SHADE = "light in the water: floating plants spread, tall plants over the others, cloudy water"
DOSING = "dosing: pump or bottle empty, doses forgotten; test nitrate, phosphate and potassium"
FLOW = "filter and flow: clogged sponge, pump slower, outlet turned away"
WARMTH = "temperature: heater or cooler against a second thermometer"
LOG = "the log: another hand with the ruler, a cut not written down, rows under a wrong area"
TANK_DROP = (CO2, LAMP, SHADE, DOSING, FLOW, WARMTH, LOG)
TANK_DROP_WITHOUT_CO2 = (LAMP, SHADE, DOSING, FLOW, WARMTH, LOG)
TANK_RISE = (
    "lamp: brighter, nearer or longer than written down",
    "CO2 and dosing: more than written down; more fish or more food",
    "temperature: warmer than written down",
    LOG,
)
AREA_DROP = (
    "shade: a neighbour or floating plants over this area",
    "the plant itself: cut to bare stems, stems old and woody, melting, pests, just moved",
    "its roots: substrate spent or compacted, no root feed",
    "flow does not reach it any more",
    LOG,
)
AREA_RISE = (
    "more light on it than before: a neighbour cut back or taken out",
    "root feed or new substrate there",
    "the area has spread or was replanted more densely",
    LOG,
)
SPECIES_DROP = (
    "a nutrient this species needs more of than the others; test potassium, iron and nitrate",
    "temperature or water change, if these tanks share the source water",
    "what these tanks had in common: plants moved between them, a treatment, a way of cutting",
    LOG,
)
SPECIES_RISE = (
    "what these tanks had in common: feed, a way of cutting, warmer water",
    LOG,
)
ONE_AREA = "one area is planted here, so its plant and its tank cannot be told apart: check both"


def suspects_for(kind: str, *, slower: bool, has_co2: bool, alone: bool) -> tuple[str, ...]:
    """Return what to check, in order.

    Parameters
    ----------
    kind : {"tank", "area", "species"}
        What changed.
    slower : bool
        Whether it grows slower than usual.
    has_co2 : bool
        Whether the tank is supplied with CO2.
    alone : bool
        Whether the tank has no other area to compare with.
    """
    if kind == "species":
        return SPECIES_DROP if slower else SPECIES_RISE
    if kind == "area":
        return AREA_DROP if slower else AREA_RISE
    drop = TANK_DROP if has_co2 else TANK_DROP_WITHOUT_CO2
    listed = drop if slower else TANK_RISE
    return (ONE_AREA, *listed) if alone else listed


def tank_co2_mg_l(book: Book, tank_id: str, day: float) -> float:
    """Latest CO2 written down for a tank by a day, NaN for none."""
    given, days = book.conditions.number("co2_mg_l"), _days(book)
    known = (book.conditions.text("tank_id") == tank_id) & (days <= day) & np.isfinite(given)
    rows = np.flatnonzero(known)
    return float(given[rows[np.argmax(days[rows])]]) if rows.size else float("nan")


def recorded_change(book: Book, tank_id: str, first_day: float, last_day: float) -> str:
    """Say which change of conditions is written down near a change of growth, "" for none.

    Rows up to ``NEAR_D`` days before the earliest likely day count [day numbers].
    """
    rows = changes_between(book, tank_id, first_day - NEAR_D, last_day)
    if not rows.size:
        return ""
    row = int(rows[-1])
    on = book.conditions.date("from_date")[row].astype("datetime64[D]")
    note = " ".join(str(book.conditions.text("note")[row] or "").split())
    said = f" ({note})" if note else ""
    return (
        f"conditions.csv has a change on {on}{said}, which the forecasts count already: its effect "
        "may be another than the tables say, or the values were not reached"
    )


def changes_between(book: Book, tank_id: str, first_day: float, last_day: float) -> IntArray:
    """Rows of conditions.csv, by date, that change a tank's conditions from one day to another.

    A tank's first row changes nothing: it says what has held since before.
    """
    days = _days(book)
    theirs = book.conditions.text("tank_id") == tank_id
    first_row = float(days[theirs].min()) if theirs.any() else np.inf
    rows = np.flatnonzero(theirs & (days >= first_day) & (days <= last_day) & (days > first_row))
    return rows[np.argsort(days[rows], kind="stable")]


def _days(book: Book) -> np.ndarray[tuple[int], np.dtype[np.float64]]:
    dates = book.conditions.date("from_date").astype("datetime64[D]")
    return dates.astype(np.int64).astype(np.float64)
