"""One area's heights as its log holds them, and the visits to its tank: what was read, no more."""

from __future__ import annotations

import numpy as np

from growthcast.arrays import BoolArray, FloatArray
from growthcast.book.book import Book, bounds_on
from growthcast.log.visits import day_numbers, read_log
from growthcast.nouns import dataclass


@dataclass(frozen=True, slots=True)
class AreaLog:
    """Heights of one area on the ``N`` days it was measured, nan where one was not.

    ``day`` are day numbers; ``joined`` (N,) tells that the area grew undisturbed, as far as the log
    knows, from the reading before: only then may a line join the two. ``agreed`` (3, n) are the
    days from which on a floor and a height budget held, and these two [cm].
    """

    day: FloatArray
    before_cm: FloatArray
    after_cm: FloatArray
    joined: BoolArray
    agreed: FloatArray

    def __len__(self) -> int:
        return int(self.day.size)

    def sawtooth(self) -> tuple[FloatArray, FloatArray]:
        """Days and heights of the line through the readings, nan where it breaks."""
        days, heights = [], []
        for day, before, after, joined in zip(
            self.day, self.before_cm, self.after_cm, self.joined, strict=True
        ):
            if not joined:
                days.append(day)
                heights.append(np.nan)
            known = [height for height in (before, after) if np.isfinite(height)]
            days.extend([day] * len(known))
            heights.extend(known)
        return np.array(days, dtype=np.float64), np.array(heights, dtype=np.float64)

    def last_reading(self) -> tuple[float, float, bool] | None:
        """Day and height of the last reading, and whether it was taken after a cut."""
        if not len(self):
            return None
        cut = bool(np.isfinite(self.after_cm[-1]))
        height = self.after_cm[-1] if cut else self.before_cm[-1]
        return float(self.day[-1]), float(height), cut


def visit_days(book: Book, tank_id: str, from_day: float, to_day: float) -> FloatArray:
    """Days from ``from_day`` to ``to_day`` on which the log has a row of the tank."""
    day = day_numbers(book.trims.date("date"))
    inside = (day >= from_day) & (day <= to_day)
    inside &= book.trims.text("tank_id") == tank_id
    return np.unique(day[inside])


def area_log(book: Book, area_id: str, from_day: float, to_day: float) -> AreaLog:
    """Return an area's readings from ``from_day`` to ``to_day``.

    A height that the row's other two amounts give (before less removed) counts as read. A weight,
    or a length without a height, breaks the line: how high the area stood is then not known. So
    does the weight of the whole tank's trimmings, which may or may not be this area's.
    """
    place = int(np.flatnonzero(book.areas.text("area_id") == area_id)[0])
    visits = read_log(book).visits
    visits = visits.keep((visits.area == place) & (visits.day <= to_day))
    cut = visits.cut | (visits.unsaid & (visits.bucket >= 0))
    before, after = visits.found_cm, np.where(visits.cut, visits.left_cm, np.nan)
    read = np.isfinite(before) | np.isfinite(after)
    told = cut | read  # a look alone changes nothing
    before, after, read, days = before[told], after[told], read[told], visits.day[told]
    ends_known = ~cut[told] | np.isfinite(after)

    planted_day = day_numbers(book.areas.date("planted_on"))[place]
    planted_cm = book.areas.number("planted_height_cm")[place]
    if np.isfinite(planted_cm) and planted_day <= to_day and not (days <= planted_day).any():
        days = np.concatenate([[planted_day], days])
        before, after = np.insert(before, 0, np.nan), np.insert(after, 0, planted_cm)
        ends_known, read = np.insert(ends_known, 0, True), np.insert(read, 0, True)
    starts_known = np.isfinite(before)
    joined = starts_known & np.concatenate([[False], (ends_known & read)[:-1]])
    kept = read & (days >= from_day)
    joined = joined[kept]
    joined[:1] = False
    began = np.unique(day_numbers(book.bounds.date("from_date")))
    began = np.concatenate([[from_day], began[(began > from_day) & (began <= to_day)]])
    held = bounds_on(book.areas, book.bounds, np.full(began.size, place), began)
    agreed = np.stack([began, held.floor_cm, held.budget_cm])
    return AreaLog(days[kept], before[kept], after[kept], joined, agreed)
