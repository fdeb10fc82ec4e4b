"""The book as it was known before a day, and the visits that came of it.

Nothing of a later day may reach an earlier forecast: not a log row, not a change of conditions, not
an area that was planted later, not the day on which one was going to be taken out.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from growthcast.book.book import Book
from growthcast.log.visits import Visits, read_log


def known_before(book: Book, day: float) -> Book:
    """Return the book as it was known at the end of the day before ``day``.

    Parameters
    ----------
    book : Book
        The whole book.
    day : float
        Day number (days since 1970-01-01) [d].

    Returns
    -------
    Book
        Log rows and conditions dated before ``day``; areas planted before it, and those that were
        taken out later still standing. What the other tables say of an area (its usual cut, floor,
        budget and species) carries no date and is taken as known.
    """
    limit = np.datetime64(int(day), "D")
    areas, trims, conditions = book.areas, book.trims, book.conditions
    planted = areas.date("planted_on") < limit
    removed_on = areas.date("removed_on").copy()
    removed_on[removed_on >= limit] = np.datetime64("NaT")
    standing = replace(areas, columns={**areas.columns, "removed_on": removed_on}).keep(planted)
    place = trims.places("area_id", areas.text("area_id"))
    theirs = (place < 0) | planted[place]
    return replace(
        book,
        areas=standing,
        trims=trims.keep((trims.date("date") < limit) & theirs),
        conditions=conditions.keep(conditions.date("from_date") < limit),
    )


def log_visits(book: Book) -> Visits:
    """Return the visits of a book's log that read a height or may have cut.

    Parameters
    ----------
    book : Book
        A checked book.

    Returns
    -------
    Visits
        Sorted by area and day; a look alone changes nothing and is left out.
    """
    visits = read_log(book).visits
    return visits.keep(visits.has_amounts | (visits.unsaid & (visits.bucket >= 0)))
