"""What conditions.csv has of a tank whose growth is watched: its CO2, and what changed when."""

from __future__ import annotations

from datetime import date

import numpy as np

from growthcast.arrays import IntArray
from growthcast.book.book import Book
from growthcast.service.watch.report import NotedChange

NEAR_D = 45
"""Days before a change of growth from which on a change of conditions may have to do with it."""


def tank_co2_mg_l(book: Book, tank_id: str, day: float) -> float:
    """Latest CO2 written down for a tank by a day, NaN for none."""
    given, days = book.conditions.number("co2_mg_l"), _days(book)
    known = (book.conditions.text("tank_id") == tank_id) & (days <= day) & np.isfinite(given)
    rows = np.flatnonzero(known)
    return float(given[rows[np.argmax(days[rows])]]) if rows.size else float("nan")


def recorded_change(
    book: Book, tank_id: str, first_day: float, last_day: float
) -> NotedChange | None:
    """Return the change of conditions that is written down near a change of growth.

    Parameters
    ----------
    book : Book
        A checked book.
    tank_id : str
        The tank.
    first_day, last_day : float
        Days between which growth changed; rows from 45 days earlier on count [day numbers].

    Returns
    -------
    NotedChange or None
        The last of them; None where there is none.
    """
    rows = changes_between(book, tank_id, first_day - NEAR_D, last_day)
    if not rows.size:
        return None
    row = int(rows[-1])
    on: date = book.conditions.date("from_date")[row].astype("datetime64[D]").item()
    return NotedChange(on, " ".join(str(book.conditions.text("note")[row] or "").split()))


def changes_between(book: Book, tank_id: str, first_day: float, last_day: float) -> IntArray:
    """Return the rows of conditions.csv that change a tank's conditions.

    Parameters
    ----------
    book : Book
        A checked book.
    tank_id : str
        The tank.
    first_day, last_day : float
        Days between which they begin to hold [day numbers].

    Returns
    -------
    int array (n,)
        By date. A tank's first row changes nothing: it says what has held since before.
    """
    days = _days(book)
    theirs = book.conditions.text("tank_id") == tank_id
    first_row = float(days[theirs].min()) if theirs.any() else np.inf
    rows = np.flatnonzero(theirs & (days >= first_day) & (days <= last_day) & (days > first_row))
    return rows[np.argsort(days[rows], kind="stable")]


def _days(book: Book) -> np.ndarray[tuple[int], np.dtype[np.float64]]:
    dates = book.conditions.date("from_date").astype("datetime64[D]")
    return dates.astype(np.int64).astype(np.float64)
