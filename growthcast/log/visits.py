"""From the rows of a log to visits: what was done to which area on which day.

A row of an area is read by one rule:

- heights before and after, a length or a weight are *amounts*; anything taken off is a *cut*;
- where nothing came off (a length of 0, or the same height twice) the height is a reading;
- on the day an area was planted its row says how high it was planted;
- a look alone leaves open whether a cut followed, in an area of which no cut was logged before;
- a height read off a photo beside a row of the same area and day goes into that row;
- the weight of a whole tank's trimmings, the *bucket*, leaves open which of the areas without
  amounts of their own were cut that day.
"""

from __future__ import annotations

from dataclasses import replace
from enum import IntEnum

import numpy as np

from growthcast.arrays import BoolArray, FloatArray, IntArray, among, day_numbers, pair_of
from growthcast.book.book import Book, Table
from growthcast.log.photos import Heights, PhotoOffset, read_heights
from growthcast.nouns import dataclass

MOST_OF_BUDGET = 1.25

BEFORE_OUR_TIME = 0.0
"""Day number for an area of which nobody knows when it was planted: 1970-01-01."""


class Look(IntEnum):
    """How an area stood, judged by eye against its floor and budget."""

    NONE = 0
    SHORT = 1
    RIGHT = 2
    OVER = 3


@dataclass(frozen=True, slots=True)
class LeftOut:
    """A log row that the fit did not use, or used only as the end of a span."""

    file: str
    row: int
    why: str


@dataclass(frozen=True, slots=True)
class Visits:
    """What was done to which area on which day; one entry an area and day, sorted so, all (V,).

    Attributes
    ----------
    area, day
        Place of the area in the book, day number.
    before_cm, after_cm, removed_cm, removed_g
        Amounts as logged, nan where the log does not tell [cm, g].
    before_sd_cm
        The error that ``before_cm`` brings itself, nan where a ruler read it [cm].
    look
        A ``Look``.
    cut
        Whether the log says that something was taken off.
    unsaid
        Whether something may have been taken off without a word of it.
    bucket
        Number of the bucket that was weighed in the area's tank that day, -1 for none.
    row
        Index of the log row: the area's own, else the bucket's.
    """

    area: IntArray
    day: FloatArray
    before_cm: FloatArray
    after_cm: FloatArray
    removed_cm: FloatArray
    removed_g: FloatArray
    before_sd_cm: FloatArray
    look: IntArray
    cut: BoolArray
    unsaid: BoolArray
    bucket: IntArray
    row: IntArray

    def keep(self, mask: BoolArray | IntArray) -> Visits:
        """Return some of the visits."""
        return Visits(*(getattr(self, name)[mask] for name in self.__slots__))

    def as_of(self, day: float) -> Visits:
        """Return the visits as they are known on a day [day number].

        On the day itself an area that was looked at stands as it was seen: what is cut comes after.
        """
        return replace(self, unsaid=self.unsaid & ((self.day < day) | (self.bucket >= 0)))

    @property
    def found(self) -> BoolArray:
        """Whether anything says how the area stood before a cut, or how much came off."""
        measured = np.isfinite(self.before_cm) | np.isfinite(self.removed_cm)
        return measured | np.isfinite(self.removed_g) | (self.look > 0) | self.unsaid

    @property
    def follows(self) -> BoolArray:
        """Whether a visit has one of the same area before it, (V,)."""
        follows = np.zeros(self.area.size, dtype=bool)
        follows[1:] = self.area[1:] == self.area[:-1]
        return follows

    @property
    def has_amounts(self) -> BoolArray:
        """Whether the area has amounts of its own that day."""
        return self.cut | np.isfinite(self.before_cm)

    @property
    def found_cm(self) -> FloatArray:
        """Height that the area stood at, read or summed up from its other amounts [cm]."""
        summed = self.after_cm + self.removed_cm
        return np.where(np.isfinite(self.before_cm), self.before_cm, summed)

    @property
    def left_cm(self) -> FloatArray:
        """Height that the area was left at, as far as its row tells [cm]."""
        rest = self.found_cm - np.where(self.cut, self.removed_cm, 0.0)
        left = np.where(np.isfinite(self.after_cm), self.after_cm, rest)
        return np.where(self.unsaid, np.nan, left)

    @property
    def silent(self) -> BoolArray:
        """Whether no row of the area, only a bucket, tells of the visit."""
        silent: BoolArray = self.unsaid & (self.look == 0)
        return silent

    def gaps(self, tank: IntArray) -> tuple[IntArray, FloatArray]:
        """Times between one visit of a tank and the next: the tank, and how long [d], all (n,).

        ``tank`` (A,) is that of each area.
        """
        order = np.argsort(pair_of(tank[self.area], self.day), kind="stable")
        whose, gap_d = tank[self.area][order], np.diff(self.day[order])
        next_one = (whose[1:] == whose[:-1]) & (gap_d > 0.0)
        return whose[1:][next_one], gap_d[next_one]

    def removed_share(self, budget_cm: FloatArray) -> FloatArray:
        """Share of the height that a cut took off, 0 where the log does not tell.

        A height before counts up to a little above the budget of its day (V,): a slipped decimal
        must not look like a cut to the base.
        """
        before = np.minimum(self.found_cm, MOST_OF_BUDGET * budget_cm)
        left = np.where(np.isfinite(self.after_cm), self.after_cm, before - self.removed_cm)
        known = np.isfinite(before) & np.isfinite(left) & self.cut & (before > 0.0)
        share = np.divide(before - left, before, out=np.zeros_like(before), where=known)
        taken: FloatArray = np.clip(share, 0.0, 1.0)
        return taken


@dataclass(frozen=True, slots=True)
class Buckets:
    """Weights of whole tanks' trimmings, all (W,): tank, day number, grams, index of the log row.

    ``of_all`` and ``of_rest`` tell for which the row itself says what it holds: everything that
    came out of the tank that day, or what areas without amounts of their own gave.
    """

    tank: IntArray
    day: FloatArray
    grams: FloatArray
    of_all: BoolArray
    of_rest: BoolArray
    row: IntArray


@dataclass(frozen=True, slots=True)
class Log:
    """A book's log as visits and buckets, and the rows that say nothing.

    ``photo_offset`` is that between photos and ruler, None where no height was read off a photo.
    """

    visits: Visits
    buckets: Buckets
    left_out: tuple[LeftOut, ...]
    photo_offset: PhotoOffset | None


def planted_days(areas: Table) -> FloatArray:
    """Day numbers on which areas were planted; a blank date lies before any day that a book holds.

    Such an area was there before anybody wrote it down: it has settled, and its height is open.
    """
    return np.nan_to_num(day_numbers(areas.date("planted_on")), nan=BEFORE_OUR_TIME)


def tells_of_cut(
    before_cm: FloatArray, after_cm: FloatArray, removed_cm: FloatArray, removed_g: FloatArray
) -> BoolArray:
    """Tell which amounts say that something was taken off; nan stands for those not given.

    Heights tell it before a length does, and a weight above 0 whatever they are.
    """
    both = np.isfinite(before_cm) & np.isfinite(after_cm)
    same = np.where(both, before_cm == after_cm, removed_cm == 0.0)
    told: BoolArray = (np.isfinite(after_cm) | np.isfinite(removed_cm)) & ~same
    return told | (removed_g > 0.0)


def read_log(book: Book) -> Log:
    """Read a book's log: its visits to areas, its buckets, and the rows that say nothing."""
    trims = book.trims
    area = trims.places("area_id", book.areas.text("area_id"))
    day = day_numbers(trims.date("date"))
    buckets = _buckets(book, area, day)
    heights = read_heights(book, np.where(area >= 0, pair_of(area, day), -1))
    own = _own_visits(book, area, day, heights)
    silent = _silent_visits(book, own, buckets)
    visits = Visits(*(np.concatenate([getattr(own, f), getattr(silent, f)]) for f in own.__slots__))
    visits = visits.keep(np.lexsort((visits.day, visits.area)))
    tank_of_area = book.areas.places("tank_id", book.tanks.text("tank_id"))
    says_nothing = (area >= 0) & heights.kept
    says_nothing[own.row] = False
    left_out = tuple(
        LeftOut(trims.name, row, "no amount and no look")
        for row in trims.rows[says_nothing].tolist()
    )
    visits = _with_buckets(visits, buckets, tank_of_area)
    return Log(visits, buckets, left_out, heights.offset)


def _own_visits(
    book: Book, area_of_row: IntArray, day_of_row: FloatArray, heights: Heights
) -> Visits:
    """Visits of which a row of the area tells, in the order of the log."""
    trims = book.trims
    rows = np.flatnonzero((area_of_row >= 0) & heights.kept)
    area, day, looks = area_of_row[rows], day_of_row[rows], _looks(trims)
    look = np.where(looks[rows] > 0, looks[rows], looks[heights.other[rows]])
    before, sd = heights.before_cm[rows], heights.sd_cm[rows]
    after, removed, mass = (
        np.where(np.isfinite(amount[rows]), amount[rows], amount[heights.other[rows]])
        for amount in map(trims.number, ("after_cm", "removed_cm", "removed_g"))
    )
    planted = day <= planted_days(book.areas)[area]
    cut = tells_of_cut(before, after, removed, mass) & ~planted
    # Nothing came off: the height is a reading, and the span goes on.
    reading = np.where(np.isfinite(before), before, after)
    reading = np.where(planted & np.isfinite(after), after, reading)
    sd = np.where(~cut & (reading != before), np.nan, sd)
    before, after = np.where(cut, before, reading), np.where(cut, after, np.nan)
    removed, mass = np.where(cut, removed, np.nan), np.where(cut & (mass > 0.0), mass, np.nan)
    first_cut = np.full(len(book.areas), np.inf)
    np.minimum.at(first_cut, area[cut], day[cut])
    alone = (look > 0) & ~cut & np.isnan(before)
    visits = Visits(
        area=area,
        day=day,
        before_cm=before,
        after_cm=after,
        removed_cm=removed,
        removed_g=mass,
        before_sd_cm=sd,
        look=look,
        cut=cut,
        unsaid=alone & (day < first_cut[area]),
        bucket=np.full(rows.size, -1),
        row=rows,
    )
    return visits.keep(cut | np.isfinite(before) | (look > 0))


def _looks(trims: Table) -> IntArray:
    words = trims.text("look")
    look = np.zeros(words.size, dtype=np.int64)
    for meaning in (Look.SHORT, Look.RIGHT, Look.OVER):
        look[words == meaning.name.lower()] = meaning
    return look


def _buckets(book: Book, area: IntArray, day: FloatArray) -> Buckets:
    weighed = (area < 0) & (book.trims.number("removed_g") > 0.0)
    rows, trims = np.flatnonzero(weighed), book.trims.keep(weighed)
    of = trims.text("grams_of")
    return Buckets(
        tank=trims.places("tank_id", book.tanks.text("tank_id")),
        day=day[rows],
        grams=trims.number("removed_g"),
        of_all=np.asarray(of == "all", dtype=np.bool_),
        of_rest=np.asarray(of == "rest", dtype=np.bool_),
        row=rows,
    )


def areas_of_tanks(tank_of_area: IntArray, tank: IntArray) -> tuple[IntArray, IntArray]:
    """Pair each of some tanks (n,) with all of its areas: places in ``tank`` and areas, (m,).

    ``tank_of_area`` (A,) is that of each area.
    """
    order = np.argsort(tank_of_area, kind="stable")
    first, end = (np.searchsorted(tank_of_area[order], tank, side) for side in ("left", "right"))
    size = end - first
    at = np.repeat(np.arange(tank.size), size)
    return at, order[first[at] + np.arange(at.size) - (np.cumsum(size) - size)[at]]


def _silent_visits(book: Book, own: Visits, buckets: Buckets) -> Visits:
    """Visits to areas of which a bucket alone tells; what was planted that day gave nothing."""
    tank_of_area = book.areas.places("tank_id", book.tanks.text("tank_id"))
    planted = planted_days(book.areas)
    removed = day_numbers(book.areas.date("removed_on"))
    number, area = areas_of_tanks(tank_of_area, buckets.tank)
    day = buckets.day[number]
    kept = (planted[area] < day) & ~(removed[area] < day)
    if kept.any():
        kept &= ~among(pair_of(area, day), pair_of(own.area, own.day))
    area, day, number = area[kept], day[kept], number[kept]
    blank = np.full(area.size, np.nan)
    amounts = ("before_cm", "after_cm", "removed_cm", "removed_g", "before_sd_cm")
    return Visits(
        area=area,
        day=day,
        **dict.fromkeys(amounts, blank),
        look=np.zeros(area.size, dtype=np.int64),
        cut=np.zeros(area.size, dtype=bool),
        unsaid=np.ones(area.size, dtype=bool),
        bucket=np.full(area.size, -1),
        row=buckets.row[number],
    )


def _with_buckets(visits: Visits, buckets: Buckets, tank_of_area: IntArray) -> Visits:
    """Tell every visit which bucket was weighed that day; a look beside one leaves a cut open."""
    if not buckets.row.size:
        return visits
    pair = pair_of(buckets.tank, buckets.day)
    order = np.argsort(pair)
    mine = pair_of(tank_of_area[visits.area], visits.day)
    at = order[np.minimum(np.searchsorted(pair[order], mine), pair.size - 1)]
    bucket = np.where(pair[at] == mine, at, -1)
    alone = (visits.look > 0) & ~visits.has_amounts
    return replace(visits, bucket=bucket, unsaid=visits.unsaid | (alone & (bucket >= 0)))


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


def replanted_days(book: Book, on_day: float) -> FloatArray:
    """Days up to ``on_day`` on which areas' tops were planted anew, in order, padded: (A, P)."""
    trims = book.trims.keep(book.trims.flag("replanted"))
    day = day_numbers(trims.date("date"))
    area = trims.places("area_id", book.areas.text("area_id"))
    rows = np.flatnonzero((area >= 0) & (day <= on_day))
    rows = rows[np.lexsort((day[rows], area[rows]))]
    place = np.arange(rows.size) - np.searchsorted(area[rows], area[rows])
    days = np.full((len(book.areas), int(place.max(initial=-1)) + 1), np.inf)
    days[area[rows], place] = day[rows]
    return days
