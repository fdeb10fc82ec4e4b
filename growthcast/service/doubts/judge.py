"""Everything odd about a visit that was typed, with its likeliest cause where one fits.

A reading is far off where the fit gives it, its own error included, less than 0.3 % to lie as far
out or farther on its side. Of 800 honest readings on simulated practices richer than the model, 1 %
were. Causes are tried in turn, and the first that would put the reading where it was expected is
named.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from datetime import date

from growthcast.book.book import Book, WholeTank
from growthcast.book.words import plain
from growthcast.book.writing.visit.entry import VisitRow
from growthcast.finite import finite_answer
from growthcast.fit.result import GrowthFit
from growthcast.forecast.report import as_date
from growthcast.service.doubts.expected import Expected, expected_at
from growthcast.service.doubts.habits import amounts_on, past_cuts
from growthcast.service.doubts.typed import FAR, Doubt, Typed
from growthcast.service.doubts.weights import weight_of_area, weight_of_tank

__all__ = ["doubts_about", "doubts_of_visit"]

SLIPPED = 1.5
"""A length is taken for a slipped decimal from so many times what stood there."""
NARROW = 1.5
"""Another area's reading is recognised where that area's 80 % range is no wider, as a ratio."""


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

    ``reading`` is whose grams a weight of the whole tank holds where the line does not say it.
    """
    place = {area_id: n for n, area_id in enumerate(expected.area_id)}
    amounts = {
        place[row.place.area_id]: row.amounts
        for row in rows
        if row.place is not None and row.place.area_id in place
    }
    cuts = {area: past_cuts(book, expected.area_id[area], day) for area in amounts}
    earlier = amounts_on(book, expected.area_id, day)
    typed = Typed(expected, amounts, {n: of for n, of in earlier.items() if n not in amounts}, cuts)
    doubts: list[Doubt] = []
    for area in amounts:
        for judged in (_reading, _height_left, _length, _look, weight_of_area):
            doubts += judged(typed, area)
    for row in rows:
        if row.place is None and row.amounts.get("removed_g"):
            grams, said = float(row.amounts["removed_g"]), row.whose_grams
            doubts += weight_of_tank(typed, grams, said or reading, said=said is not None)
    return tuple(doubts)


def _range_words(typed: Typed, area: int) -> str:
    """Say how high an area is expected to stand."""
    known, unit = typed.expected, typed.expected.unit(area)
    if known.guessed[area]:
        bounds = f"{known.floor_cm[area]:g} to {known.budget_cm[area]:g} {unit}"
        return f"{bounds}, its floor and height budget, since nothing is logged of it"
    low, _, high = known.range_cm(area)
    return f"{low:.1f} to {high:.1f} {unit} (8 times of 10)"


def _reading(typed: Typed, area: int) -> Iterator[Doubt]:
    """Judge the height that was read before any cut."""
    column = "before_cm"
    stood = typed.number(area, column)
    if stood is None and typed.untouched(area):
        column = "after_cm"
        stood = typed.number(area, column)
    if stood is None or not typed.is_far(area, stood):
        return
    known, unit = typed.expected, typed.expected.unit(area)
    usual = known.range_cm(area)
    sentence = f"{plain(stood)} {unit}; expected {_range_words(typed, area)}"
    cause = _cause(typed, area, stood, usual[1])
    yield Doubt(known.area_id[area], column, stood, usual, unit, sentence, cause)


def _cause(typed: Typed, area: int, before: float, middle: float) -> str:
    known, unit = typed.expected, typed.expected.unit(area)
    after = typed.number(area, "after_cm")
    if after is not None and after > before and typed.fits(area, after):
        return "the heights before and after the wrong way round?"
    for other in typed.amounts:
        height = typed.number(other, "before_cm")
        swapped = height is not None and other != area and typed.is_far(other, height)
        if swapped and height and typed.fits(area, height) and typed.fits(other, before):
            return f"swapped with {known.label[other]}?"
    if slip := _slipped(before, unit, lambda height: typed.fits(area, height)):
        return slip
    cuts = typed.cuts[area]
    if after is None and before < middle and cuts.is_usual(before):
        written = f"{known.area_id[area]}=/{plain(before)}"
        return f"the height after the cut? Write {written} then"
    if (other_area := _whose(typed, area, before)) is not None:
        return f"a reading of {known.label[other_area]}?"
    return "a cut that is not in the log?" if before < middle else ""


def _slipped(value: float, unit: str, fits: Callable[[float], bool]) -> str:
    """Return the words for a slipped decimal or millimetres where one of them would fit."""
    if fits(10.0 * value):
        return f"a slipped decimal? {plain(10.0 * value)} {unit} fits"
    if fits(0.1 * value):
        slip = "a slipped decimal" if unit == "%" else "millimetres, or a slipped decimal"
        return f"{slip}? {plain(0.1 * value)} {unit} fits"
    return ""


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
    unit, usual = known.unit(area), known.range_cm(area)
    above = typed.number(area, "before_cm") is None and after > usual[1]
    error, stands = known.error_of(area, after), float(known.lowest_cut_cm[area])
    if above and typed.is_far(area, after):
        why = f"expected to stand at {_range_words(typed, area)}"
    elif why := cuts.deeper(after, error, stands, unit):
        usual = cuts.range_cm or usual
    else:
        return
    sentence = f"cut to {plain(after)} {unit}; {why}"
    slip = _slipped(after, unit, cuts.is_usual)
    yield Doubt(known.area_id[area], "after_cm", after, usual, unit, sentence, slip)


def _length(typed: Typed, area: int) -> Iterator[Doubt]:
    """Judge a length taken off against what stood there."""
    removed = typed.number(area, "removed_cm")
    if not removed or typed.number(area, "before_cm") is not None:
        return
    known, unit = typed.expected, typed.expected.unit(area)
    usual = known.range_cm(area)
    stood = removed + (typed.number(area, "after_cm") or 0.0)
    if stood <= usual[1] or not typed.is_far(area, stood):
        return
    far = removed > SLIPPED * usual[2]
    slip = _slipped(removed, unit, lambda cm: far and 0.1 * usual[1] < cm < usual[2])
    sentence = f"{plain(removed)} {unit} taken off; expected to stand at "
    sentence += _range_words(typed, area)
    yield Doubt(known.area_id[area], "removed_cm", removed, usual, unit, sentence, slip)


def _look(typed: Typed, area: int) -> Iterator[Doubt]:
    """Judge a look that no reading stands beside."""
    look = typed.amounts[area].get("look")
    known = typed.expected
    if look is None or known.guessed[area] or typed.number(area, "before_cm") is not None:
        return
    if known.chance_of_look(area, str(look)) >= FAR:
        return
    unit, usual = known.unit(area), known.range_cm(area)
    bounds = f"{known.floor_cm[area]:g} and a height budget of {known.budget_cm[area]:g} {unit}"
    sentence = f"looked {look}; expected {_range_words(typed, area)}, with a floor of {bounds}"
    cause = "a cut that is not in the log?" if look == "short" else ""
    yield Doubt(known.area_id[area], "look", str(look), usual, unit, sentence, cause)
