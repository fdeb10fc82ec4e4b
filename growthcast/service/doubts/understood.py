"""A visit as it was understood, before anything is written: its rows, and what is doubted."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date

from growthcast.book.book import Book, WholeTank
from growthcast.book.supposed import Cell
from growthcast.book.writing.visit.amounts import Place
from growthcast.book.writing.visit.entry import VisitRow, log_rows, places_of
from growthcast.errors import GrowthcastError
from growthcast.finite import finite_answer
from growthcast.fit.result import GrowthFit
from growthcast.nouns import dataclass
from growthcast.service.doubts.judge import doubts_of_visit
from growthcast.service.doubts.typed import Doubt


@dataclass(frozen=True, slots=True)
class Understood:
    """One visit to a tank as rows of the log, and what is doubted of it.

    ``cells`` are the rows as ``trims.csv`` holds them, ``places`` the tank's areas, ``grams`` whose
    grams a weight of the whole tank is taken for and why. ``trouble`` says why nothing could be
    held against what was expected.
    """

    tank_id: str
    day: date
    rows: tuple[VisitRow, ...]
    cells: tuple[Mapping[str, Cell], ...]
    places: tuple[Place, ...]
    grams: tuple[WholeTank, str]
    doubts: tuple[Doubt, ...]
    trouble: str


@finite_answer
def understand(
    book: Book,
    tank_id: str,
    day: date,
    rows: Sequence[VisitRow],
    before: GrowthFit | None,
    by: str = "",
) -> Understood:
    """Hold a visit against what was expected of it.

    Parameters
    ----------
    book : Book
        The book without the visit.
    tank_id : str
        The tank visited.
    day : date
        The day of the visit.
    rows : sequence of VisitRow
        The visit as typed.
    before : GrowthFit or None
        The fit of the book on that day without the visit; without it nothing is doubted.
    by : str
        Who logs the visit, as the column `by` of the log holds it.

    Returns
    -------
    Understood
        Also where no fit can be made: what was seen at the tank is worth logging all the same.
    """
    doubts: tuple[Doubt, ...] = ()
    trouble = ""
    if before is not None:
        try:
            doubts = doubts_of_visit(before, book, tank_id, rows)
        except GrowthcastError as error:
            trouble = str(error)
    grams = before.whole_tank_grams if before else (book.practice.whole_tank_grams or "all", "")
    return Understood(
        tank_id=tank_id,
        day=day,
        rows=tuple(rows),
        cells=tuple(log_rows(rows, tank_id, day, by)),
        places=places_of(book, tank_id, day),
        grams=grams,
        doubts=doubts,
        trouble=trouble,
    )
