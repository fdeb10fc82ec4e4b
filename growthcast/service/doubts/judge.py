"""A visit as it was understood, and everything odd about it, with its likeliest cause.

A reading is far off where the fit gives it, its own error included, less than 0.3 % to lie as far
out or farther on its side. Of 800 honest readings on simulated practices richer than the model, 1 %
were. Causes are tried in turn, and the first that would put the reading where it was expected is
named.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from datetime import date

import numpy as np

from growthcast.arrays import FloatArray
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
    expected_at,
    typed_at,
)

SLIPPED = 1.5
"""A length is taken for a slipped decimal from so many times what stood there."""
NARROW = 1.5
"""Another area's reading is recognised where that area's 80 % range is no wider, as a ratio."""
SLIP = 5.0
"""A slipped decimal is named from so many times the weight expected; below, it may be water."""
TOO_HEAVY, TOO_FAR = 2.33, 2.58
"""Deviations beyond which a weight is questioned: 1 in 100 above all that stands, or either side of
what a known cut weighs."""
Z_80 = 1.2815515655446004
"""Standard normal quantile of 90 %: half the width of an 80 % range, in standard deviations."""


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
    expected: list[Expected], rows: Sequence[VisitRow], book: Book, day: date, reading: WholeTank
) -> tuple[Doubt, ...]:
    """Return what is odd about a visit to a tank of which something is expected.

    Parameters
    ----------
    expected : list of Expected
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
    areas = typed_at(expected, amounts, book, day)
    doubts: list[Doubt] = []
    for area in areas:
        if area.now:
            doubts += _reading(area, areas)
            for judged in (_height_left, _length, _look, _weight):
                doubts += judged(area)
    for row in rows:
        if row.place is None and row.amounts.get("removed_g"):
            grams, said = float(row.amounts["removed_g"]), row.whose_grams
            doubts += _weight_of_tank(areas, grams, said or reading, said=said is not None)
    return tuple(doubts)


def _doubt(
    area: Typed,
    column: str,
    found: float | str,
    against: Against,
    cause: Cause | None,
    *,
    usual: Range | None = None,
    lowest: float = 0.0,
) -> Doubt:
    """Return a doubt about an area; ``usual`` is what is expected, where that is not its height."""
    known, cuts = area.known, int(area.cuts.after_cm.size)
    expected, unit = usual or known.range_cm, "%" if known.is_cover else "cm"
    told = (known.area_id, column, found, expected, unit, against)
    return Doubt(*told, known=known, cuts=cuts, lowest=lowest, cause=cause)


def _reading(area: Typed, areas: list[Typed]) -> Iterator[Doubt]:
    """Judge the height that was read before any cut."""
    column = "before_cm"
    stood = area.number(column)
    if stood is None and area.untouched:
        column = "after_cm"
        stood = area.number(column)
    if stood is not None and area.known.is_far(stood):
        yield _doubt(area, column, stood, "height", _cause(area, stood, areas))


def _cause(area: Typed, before: float, areas: list[Typed]) -> Cause | None:
    known, after = area.known, area.number("after_cm")
    others = [other for other in areas if other is not area]
    low = before < known.range_cm[1]
    if after is not None and after > before and known.fits(after):
        return Cause("turned round")
    for other in others:
        height = other.number("before_cm") if other.now else None
        swapped = height and other.known.is_far(height) and known.fits(height)
        if swapped and other.known.fits(before):
            return Cause("swapped", label=other.known.label)
    if slip := _slipped(area, before, known.fits):
        return slip
    if after is None and low and area.cuts.is_usual(before):
        return Cause("height after")
    near = [other.known.label for other in others if _stands_at(other.known, known, before)]
    if len(near) == 1:
        return Cause("other area", label=near[0])
    return Cause("unlogged cut") if low else None


def _slipped(area: Typed, value: float, fits: Callable[[float], bool]) -> Cause | None:
    """Return a slipped decimal or millimetres where one of them would fit."""
    if fits(10.0 * value):
        return Cause("decimal", 10.0 * value)
    if fits(0.1 * value):
        return Cause("decimal" if area.known.is_cover else "millimetres", 0.1 * value)
    return None


def _stands_at(other: Expected, known: Expected, height_cm: float) -> bool:
    """Whether another area is surely expected at a height read in the same unit."""
    low, _, high = other.range_cm
    return other.is_cover == known.is_cover and low <= height_cm <= high <= NARROW * low


def _height_left(area: Typed) -> Iterator[Doubt]:
    """Judge the height after a cut: no higher than it stood, no deeper than ever."""
    after = area.number("after_cm")
    if after is None or area.untouched:
        return
    known, cuts = area.known, area.cuts
    slip = _slipped(area, after, cuts.is_usual)
    above = area.number("before_cm") is None and after > known.range_cm[1]
    if above and known.is_far(after):
        yield _doubt(area, "after_cm", after, "stand", slip)
    elif passed := cuts.passed_below(after, known.error_of(after), known.lowest_cut_cm):
        against, lowest = passed
        yield _doubt(area, "after_cm", after, against, slip, usual=cuts.range_cm, lowest=lowest)


def _length(area: Typed) -> Iterator[Doubt]:
    """Judge a length taken off against what stood there."""
    removed = area.number("removed_cm")
    if not removed or area.number("before_cm") is not None:
        return
    _, middle, high = area.known.range_cm
    stood = removed + (area.number("after_cm") or 0.0)
    if stood <= middle or not area.known.is_far(stood):
        return
    far = removed > SLIPPED * high
    slip = _slipped(area, removed, lambda cm: far and 0.1 * middle < cm < high)
    yield _doubt(area, "removed_cm", removed, "stand", slip)


def _look(area: Typed) -> Iterator[Doubt]:
    """Judge a look that no reading stands beside."""
    look = area.amounts.get("look")
    if look is None or area.known.guessed or area.number("before_cm") is not None:
        return
    if area.known.chance_of_look(str(look)) < FAR:
        cause = Cause("unlogged cut") if look == "short" else None
        yield _doubt(area, "look", str(look), "look", cause)


def _weight(area: Typed) -> Iterator[Doubt]:
    """Judge the weight of one area's trimmings."""
    if grams := area.number("removed_g"):
        length_cm, against = area.removed_cm()
        weight = weight_of([(area.known, length_cm)], against)
        yield from _odd_weight(area.known.area_id, grams, weight)


def _weight_of_tank(
    areas: list[Typed], grams: float, reading: WholeTank, *, said: bool
) -> Iterator[Doubt]:
    """Judge a weight of the whole tank, read so; ``said`` where the line says how to read it."""
    everything = _of_all(areas)
    if reading == "rest":
        rest = [(area.known, area.known.heights_cm) for area in areas if not area.has_amounts]
        whole = not said and everything is not None and not everything.is_odd(grams)
        cause = Cause("whole tank") if whole else None
        yield from _odd_weight(None, grams, weight_of(rest, "rest"), cause)
    elif everything is None and areas:
        yield Doubt(None, "removed_g", grams, (0.0, 0.0, 0.0), "g", "uncut")
    else:
        yield from _odd_weight(None, grams, everything)


def _of_all(areas: list[Typed]) -> Weight | None:
    """Return what is expected to have come out of a tank."""
    own_g = {area.known.area_id: area.number("removed_g") or 0.0 for area in areas}
    sd = sum(own_g[area.known.area_id] * area.known.weight_sd for area in areas)
    cut = [(a.known, *a.removed_cm()) for a in areas if not own_g[a.known.area_id]]
    known_cut = all(against == "what was cut" for *_, against in cut)
    against: Against = "what was cut" if known_cut else "all that stands"
    return weight_of([(known, cm) for known, cm, _ in cut], against, sum(own_g.values()), sd)


def _odd_weight(
    area_id: str | None, grams: float, weight: Weight | None, cause: Cause | None = None
) -> Iterator[Doubt]:
    """Question grams that are far from the weight expected, if one is."""
    if weight is not None and weight.is_odd(grams):
        cause = cause or _cause_of_weight(grams, weight)
        yield Doubt(area_id, "removed_g", grams, weight.range_g, "g", weight.against, cause=cause)


def _cause_of_weight(grams: float, weight: Weight) -> Cause | None:
    low, middle, high = weight.range_g
    if middle < grams <= SLIP * middle:
        return Cause("water")
    low = low if weight.against == "what was cut" else middle / SLIP
    for factor in (10.0, 0.1, 1000.0):
        if low <= factor * grams <= high:
            return Cause("kilograms" if factor > 10.0 else "decimal", factor * grams)
    return None


@dataclass(frozen=True, slots=True)
class Weight:
    """A weight expected, lognormal: the middle [g] and the spread of its logarithm.

    ``against`` is as in ``Doubt``.
    """

    middle_g: float
    log_sd: float
    against: Against

    def at(self, deviations: float) -> float:
        """Return the weight [g] so many standard deviations above the middle."""
        return float(self.middle_g * np.exp(deviations * self.log_sd))

    @property
    def range_g(self) -> Range:
        """The 10, 50 and 90 % quantiles [g]."""
        return self.at(-Z_80), self.middle_g, self.at(Z_80)

    def is_odd(self, grams: float) -> bool:
        """Whether so many grams are questioned."""
        if self.against == "what was cut":
            return not self.at(-TOO_FAR) <= grams <= self.at(TOO_FAR)
        return grams > self.at(TOO_HEAVY)


def weight_of(
    parts: Iterable[tuple[Expected, FloatArray]], against: Against, mean: float = 0.0, sd: float = 0
) -> Weight | None:
    """Return what lengths of some areas weigh together, beside grams that are known.

    Parameters
    ----------
    parts : iterable of (Expected, array (S,))
        Areas and the lengths that came off them [cm, or % cover].
    against : str
        What that is, as in ``Doubt``.
    mean, sd : float
        The known grams and their standard deviation [g].

    Returns
    -------
    Weight or None
        ``None`` where nothing is left to weigh. A sum of lognormal weights is lognormal with its
        mean and variance (Fenton 1960, IRE Trans. Commun. Syst. 8, 57-67, from memory).
    """
    variance = sd**2
    for area, cm in parts:
        grams, log_variance = cm * area.gram_per_cm, area.log_gram_sd**2
        own = float(grams.mean() * np.exp(0.5 * log_variance))
        variance += float((grams**2).mean() * np.exp(2.0 * log_variance)) - own**2
        mean += own
    if mean <= 0.0:
        return None
    log_variance = float(np.log1p(variance / mean**2))
    middle_g = float(mean * np.exp(-0.5 * log_variance))
    return Weight(middle_g, float(np.sqrt(log_variance)), against)


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
