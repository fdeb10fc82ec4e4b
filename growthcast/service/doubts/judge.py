"""A visit as it was understood, and everything odd about it, with its likeliest cause.

A reading is far off where the fit gives it, its own error included, less than 0.3 % to lie as far
out or farther on its side. Of 800 honest readings on simulated practices richer than the model, 1 %
were. Causes are tried in turn, and the first that would put the reading where it was expected is
named.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from datetime import date

from growthcast.book.book import Book, WholeTank
from growthcast.book.supposed import Cell
from growthcast.book.writing.visit.entry import VisitRow, log_rows
from growthcast.book.writing.visit.places import Place, places_of
from growthcast.errors import GrowthcastError
from growthcast.finite import finite_answer
from growthcast.fit.result import GrowthFit
from growthcast.forecast.report import as_date
from growthcast.nouns import dataclass
from growthcast.service.doubts.typed import (
    FAR,
    Against,
    Cause,
    Doubt,
    Expected,
    Range,
    Typed,
    Weight,
    expected_at,
    typed_at,
)

SLIPPED = 1.5
"""A length is taken for a slipped decimal from so many times what stood there."""
NARROW = 1.5
"""Another area's reading is recognised where that area's 80 % range is no wider, as a ratio."""
TOO_HEAVY, TOO_FAR = 2.33, 2.58
"""Deviations beyond which a weight is questioned: 1 in 100 above all that stands, or either side of
what a known cut weighs."""
SLIP = 5.0
"""A slipped decimal is named from so many times the weight expected; below, it may be water."""


@finite_answer
def doubts_of_visit(
    before: GrowthFit, book: Book, tank_id: str, rows: Sequence[VisitRow]
) -> tuple[Doubt, ...]:
    """Return what is odd about a visit, in the order of its rows.

    Parameters
    ----------
    before : GrowthFit
        The fit without the visit, on its day.
    book : Book
        The book without the visit; rows after that day are not used.
    tank_id : str
        The tank visited.
    rows : sequence of VisitRow
        The visit as typed.

    Returns
    -------
    tuple of Doubt
        Empty where everything is as expected; areas that do not live on the day are passed over.
    """
    expected, day = expected_at(before, book, tank_id), as_date(before.design.on_day)
    return doubts_about(expected, rows, book, day, before.whole_tank_grams[0])


def doubts_about(
    expected: Expected, rows: Sequence[VisitRow], book: Book, day: date, reading: WholeTank
) -> tuple[Doubt, ...]:
    """Return what is odd about a visit to a tank of which something is expected.

    Parameters
    ----------
    expected : Expected
        What is expected of its areas.
    rows : sequence of VisitRow
        The visit as typed.
    book : Book
        The book without the visit.
    day : date
        The day of the visit.
    reading : {"all", "rest"}
        Whose grams a weight of the whole tank holds where the line does not say it.

    Returns
    -------
    tuple of Doubt
        In the order of the rows, the whole tank's last.
    """
    amounts = {row.place.area_id: row.amounts for row in rows if row.place is not None}
    typed = typed_at(expected, amounts, book, day)
    doubts: list[Doubt] = []
    for area in typed.amounts:
        for judged in (_reading, _height_left, _length, _look, _weight):
            doubts += judged(typed, area)
    for row in rows:
        if row.place is None and row.amounts.get("removed_g"):
            grams, said = float(row.amounts["removed_g"]), row.whose_grams
            doubts += _weight_of_tank(typed, grams, said or reading, said=said is not None)
    return tuple(doubts)


def _doubt(
    typed: Typed,
    area: int,
    column: str,
    found: float | str,
    against: Against,
    cause: Cause | None,
    *,
    usual: Range | None = None,
    lowest: float = 0.0,
) -> Doubt:
    """Return a doubt about an area; ``usual`` is what is expected, where that is not its height."""
    known = typed.expected
    stands = known.range_cm(area)
    return Doubt(
        area_id=known.area_id[area],
        column=column,
        found=found,
        expected=usual or stands,
        unit=known.unit(area),
        against=against,
        stands=stands,
        bounds=(float(known.floor_cm[area]), float(known.budget_cm[area])),
        guessed=bool(known.guessed[area]),
        cuts=int(typed.cuts[area].after_cm.size),
        lowest=lowest,
        cause=cause,
    )


def _reading(typed: Typed, area: int) -> Iterator[Doubt]:
    """Judge the height that was read before any cut."""
    column = "before_cm"
    stood = typed.number(area, column)
    if stood is None and typed.untouched(area):
        column = "after_cm"
        stood = typed.number(area, column)
    if stood is not None and typed.is_far(area, stood):
        yield _doubt(typed, area, column, stood, "height", _cause(typed, area, stood))


def _cause(typed: Typed, area: int, before: float) -> Cause | None:
    known, after = typed.expected, typed.number(area, "after_cm")
    low = before < known.range_cm(area)[1]
    if after is not None and after > before and typed.fits(area, after):
        return Cause("turned round")
    for other in typed.amounts:
        height = typed.number(other, "before_cm")
        swapped = height is not None and other != area and typed.is_far(other, height)
        if swapped and height and typed.fits(area, height) and typed.fits(other, before):
            return Cause("swapped", label=known.label[other])
    if slip := _slipped(typed, area, before, lambda height: typed.fits(area, height)):
        return slip
    if after is None and low and typed.cuts[area].is_usual(before):
        return Cause("height after")
    if (other_area := _whose(typed, area, before)) is not None:
        return Cause("other area", label=known.label[other_area])
    return Cause("unlogged cut") if low else None


def _slipped(typed: Typed, area: int, value: float, fits: Callable[[float], bool]) -> Cause | None:
    """Return a slipped decimal or millimetres where one of them would fit."""
    if fits(10.0 * value):
        return Cause("decimal", 10.0 * value)
    if fits(0.1 * value):
        return Cause("decimal" if typed.expected.is_cover[area] else "millimetres", 0.1 * value)
    return None


def _whose(typed: Typed, area: int, height_cm: float) -> int | None:
    """Return the one other area that is surely expected at a height."""
    known, found = typed.expected, []
    for other in range(len(known.area_id)):
        low, _, high = known.range_cm(other)
        alike = known.is_cover[other] == known.is_cover[area]
        if other != area and alike and low <= height_cm <= high <= NARROW * low:
            found.append(other)
    return found[0] if len(found) == 1 else None


def _height_left(typed: Typed, area: int) -> Iterator[Doubt]:
    """Judge the height after a cut: no higher than it stood, no deeper than ever."""
    after = typed.number(area, "after_cm")
    if after is None or typed.untouched(area):
        return
    known, cuts = typed.expected, typed.cuts[area]
    slip = _slipped(typed, area, after, cuts.is_usual)
    above = typed.number(area, "before_cm") is None and after > known.range_cm(area)[1]
    if above and typed.is_far(area, after):
        yield _doubt(typed, area, "after_cm", after, "stand", slip)
        return
    table_cm = float(known.lowest_cut_cm[area])
    if passed := cuts.passed_below(after, known.error_of(area, after), table_cm):
        against, lowest = passed
        usual = cuts.range_cm
        yield _doubt(typed, area, "after_cm", after, against, slip, usual=usual, lowest=lowest)


def _length(typed: Typed, area: int) -> Iterator[Doubt]:
    """Judge a length taken off against what stood there."""
    removed = typed.number(area, "removed_cm")
    if not removed or typed.number(area, "before_cm") is not None:
        return
    _, middle, high = typed.expected.range_cm(area)
    stood = removed + (typed.number(area, "after_cm") or 0.0)
    if stood <= middle or not typed.is_far(area, stood):
        return
    far = removed > SLIPPED * high
    slip = _slipped(typed, area, removed, lambda cm: far and 0.1 * middle < cm < high)
    yield _doubt(typed, area, "removed_cm", removed, "stand", slip)


def _look(typed: Typed, area: int) -> Iterator[Doubt]:
    """Judge a look that no reading stands beside."""
    look, known = typed.amounts[area].get("look"), typed.expected
    if look is None or known.guessed[area] or typed.number(area, "before_cm") is not None:
        return
    if known.chance_of_look(area, str(look)) < FAR:
        cause = Cause("unlogged cut") if look == "short" else None
        yield _doubt(typed, area, "look", str(look), "look", cause)


def _weight(typed: Typed, area: int) -> Iterator[Doubt]:
    """Judge the weight of one area's trimmings."""
    grams = typed.number(area, "removed_g")
    lengths, known_cut = typed.removed_cm(area)
    weight = typed.expected.weight_of({area: lengths})
    if grams and weight is not None and _is_odd(grams, weight, known_cut):
        against: Against = "what was cut" if known_cut else "all that stands"
        cause = _cause_of_weight(grams, weight, known_cut)
        area_id = typed.expected.area_id[area]
        yield Doubt(area_id, "removed_g", grams, weight.range_g, "g", against, cause=cause)


def _weight_of_tank(
    typed: Typed, grams: float, reading: WholeTank, *, said: bool
) -> Iterator[Doubt]:
    """Judge a weight of the whole tank, read so; ``said`` where the line says how to read it."""
    weight, known_cut = _of_tank(typed, reading)
    if weight is None and reading == "all" and typed.expected.area_id:
        yield Doubt(None, "removed_g", grams, (0.0, 0.0, 0.0), "g", "uncut")
    if weight is None or not _is_odd(grams, weight, known_cut):
        return
    against: Against = "what was cut" if known_cut else "all that stands"
    cause = _cause_of_weight(grams, weight, known_cut)
    if reading == "rest":
        against = "rest"
        everything, cut = _of_tank(typed, "all")
        if not said and everything is not None and not _is_odd(grams, everything, cut):
            cause = Cause("whole tank")
    yield Doubt(None, "removed_g", grams, weight.range_g, "g", against, cause=cause)


def _of_tank(typed: Typed, reading: WholeTank) -> tuple[Weight | None, bool]:
    """Return what is expected to have come out of a tank, and whether the day's rows tell it."""
    known = typed.expected
    areas = range(len(known.area_id))
    own = [area for area in areas if typed.has_amounts(area)]
    if reading == "rest":
        return known.weight_of({a: known.heights_cm[a] for a in areas if a not in own}), False
    weighed = {area: typed.number(area, "removed_g") or 0.0 for area in own}
    lengths = {a: typed.removed_cm(a) for a in areas if not weighed.get(a)}
    known_cut = all(of_row for _, of_row in lengths.values())
    weight = known.weight_of({a: cm for a, (cm, _) in lengths.items()}, sum(weighed.values()))
    return weight, known_cut


def _is_odd(grams: float, weight: Weight, known_cut: bool) -> bool:
    if known_cut:
        return not weight.at(-TOO_FAR) <= grams <= weight.at(TOO_FAR)
    return grams > weight.at(TOO_HEAVY)


def _cause_of_weight(grams: float, weight: Weight, known_cut: bool) -> Cause | None:
    low, middle, high = weight.range_g
    if middle < grams <= SLIP * middle:
        return Cause("water")
    low = low if known_cut else middle / SLIP
    for factor in (10.0, 0.1, 1000.0):
        if low <= factor * grams <= high:
            return Cause("kilograms" if factor > 10.0 else "decimal", factor * grams)
    return None


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
