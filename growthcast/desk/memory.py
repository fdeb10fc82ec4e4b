"""A practice in memory: read and fitted once, and anew in the background when its files change."""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import suppress
from dataclasses import field
from datetime import date, datetime, timedelta
from functools import partial
from pathlib import Path
from typing import Any, TypeVar

import numpy as np

from growthcast.book.book import Book
from growthcast.book.findings import format_findings
from growthcast.book.read import inspect_book, read_book
from growthcast.errors import BookProblems, Finding, GrowthcastError
from growthcast.fit.growth import fit_growth
from growthcast.fit.result import GrowthFit
from growthcast.forecast.report import AreaForecast, forecast_growth
from growthcast.nouns import dataclass
from growthcast.service.advice import OptionAdvice
from growthcast.service.pages.client import Course, course
from growthcast.service.pages.overview import TankStanding, tank_standings
from growthcast.service.rounds.plan import RoundsPlan, plan_rounds
from growthcast.service.visit.cuts import CutSheet, cut_sheet
from growthcast.service.visit.standing import standing_areas
from growthcast.service.watch.watch import WatchReport, watch_growth

T = TypeVar("T")
Stamp = tuple[object, ...]
WEEKS_DRAWN = 8
PLANS = (4, 2, 8, 13)
"""Weeks that may be planned, the usual first."""
PATIENCE_S = 0.2
"""How long a page waits for what is worked out only now, before it says so and asks again."""
FAULT = "a fault of the tool; growthcast check on the same book may tell more"
AT_WORK = ThreadPoolExecutor(1, "desk")


class NotYet(Exception):
    """What a page needs is being worked out."""


@dataclass(frozen=True, slots=True)
class Known:
    """What pages are made of: one reading of the book, its fit, and what was worked out from both.

    ``until`` is the moment of the reading. ``standings`` are by tank, the most urgent first,
    ``forecasts`` those of today by area. Sheets and courses of a tank are worked out when they are
    first asked for, and kept; nobody waits for those of another tank.
    """

    book: Book
    fit: GrowthFit
    on: date
    stamp: Stamp
    until: datetime
    standings: dict[str, TankStanding]
    forecasts: dict[str, AreaForecast]
    _kept: dict[object, Any] = field(default_factory=dict)
    _locks: dict[object, Any] = field(default_factory=dict)

    def soon(self, work: Callable[..., T], *given: object) -> T:
        """Return what ``work(known, *given)`` comes to; ``NotYet`` while it is being worked out."""
        key = ("soon", work.__qualname__, *given)
        coming = self._once(key, lambda: AT_WORK.submit(work, self, *given))
        try:
            return coming.result(PATIENCE_S)
        except TimeoutError as late:
            raise NotYet from late

    def _once(self, key: object, work: Callable[[], T]) -> T:
        with self._locks.setdefault(key, threading.RLock()):
            if key not in self._kept:
                self._kept[key] = work()
            kept: T = self._kept[key]
            return kept

    def plants(self) -> dict[str, str]:
        """Return the botanical name of every species, by its id."""
        species = self.book.species
        return dict(zip(species.text("species_id"), species.text("scientific_name"), strict=True))

    def sheet(self, standing: TankStanding) -> CutSheet:
        """Return the sheet of a visit to a tank today, until its next one."""
        advice, place = standing.advice, standing.place
        days = advice.next_in_d
        until = self.on + timedelta(days=days)
        ask = (self.book, self.fit, place, until)
        return self._once(("sheet", place, days), lambda: cut_sheet(*ask))

    def plan(self, weeks: int) -> RoundsPlan:
        """Return the visits of all tanks in the weeks from today on."""
        advice = [one.advice for one in sorted(self.standings.values(), key=lambda one: one.place)]
        ask = (self.book, self.fit, advice, self.on, weeks)
        return self._once(("plan", weeks), lambda: plan_rounds(*ask))

    def watched(self) -> WatchReport:
        """Return what has begun to grow otherwise than usual."""
        ask = (self.book, self.on, np.arange(len(self.book.tanks)))
        return self._once("watched", lambda: watch_growth(*ask))

    def courses(self, one: TankStanding, option: OptionAdvice) -> list[Course]:
        """Return how a tank's areas go up and down from today on, in the option's order."""
        first = 0 if one.due_on is None else (one.due_on - self.on).days
        days, until, tank = option.interval_d, 7 * WEEKS_DRAWN, np.array([one.place])

        def courses() -> list[Course]:
            stands = self._once(("standing", one.place), lambda: standing_areas(self.fit, tank))
            visits = range(first if first > 0 else days, until, days)
            return [
                course(stands, place, until, visits, days, area.cut_cm)
                for place, area in enumerate(option.areas)
            ]

        return self._once(("courses", one.place, days), courses)

    def ahead(self) -> Iterator[Callable[[], object]]:
        """Yield what is worked out so that no page waits for it, what is asked most first."""
        for one in self.standings.values():
            yield partial(self.sheet, one)
            for option in one.advice.options:
                yield partial(self.courses, one, option)
        yield self.watched
        for weeks in PLANS:
            yield partial(self.plan, weeks)


def words_of(error: Exception) -> str:
    """Return an error with all that was found."""
    found = f"{format_findings(error.findings)}\n" if isinstance(error, BookProblems) else ""
    return f"{found}{error}"


class Desk:
    """The practice that a desk shows; one thread works, pages only look at what is known."""

    def __init__(self, folder: Path, today: Callable[[], date] = date.today) -> None:
        self.folder, self.today = folder, today
        self.writing = threading.Lock()  # its own threads queue here, not at the book's lock
        self._known: Known | None = None
        self._trouble, self._lock = "", threading.Lock()
        self._tried: Stamp | None = None
        self._found: tuple[Stamp, tuple[Finding, ...]] | None = None
        self._worker: threading.Thread | None = None

    def look(self) -> tuple[Known | None, bool, str]:
        """Return what is known, whether more is being worked out, and what is in its way."""
        stamp = self.stamp()
        with self._lock:
            stale = self._known is None or self._known.stamp != stamp
            busy = self._worker is not None and self._worker.is_alive()
            if stale and not busy and self._tried != stamp:
                self._worker = threading.Thread(target=self._work, daemon=True)
                self._worker.start()
                busy = True
            return self._known, busy and stale, "" if busy or not stale else self._trouble

    def stamp(self) -> Stamp:
        """Return what tells whether the book's files, or the day, have changed."""
        seen: list[object] = [self.today()]
        for file in (self.folder / "practice.toml", *sorted(self.folder.glob("*.csv"))):
            with suppress(OSError):
                state = file.stat()
                seen.append((file.name, state.st_mtime_ns, state.st_size))
        return tuple(seen)

    def inspected(self) -> tuple[Finding, ...]:
        """Return what ``check`` finds in the files as they are, read again when they change."""
        stamp = self.stamp()
        if self._found is None or self._found[0] != stamp:
            self._found = stamp, inspect_book(self.folder, today=self.today())[1]
        return self._found[1]

    def _work(self) -> None:
        stamp: Stamp | None = None
        while stamp != (stamp := self.stamp()):
            known, trouble = None, FAULT
            try:
                known, trouble = self._read(stamp), ""
            except GrowthcastError as error:
                trouble = words_of(error)
            finally:
                with self._lock:
                    self._known, self._trouble, self._tried = known or self._known, trouble, stamp
            for work in known.ahead() if known else ():
                if self.stamp() != stamp:
                    break
                work()

    def _read(self, stamp: Stamp) -> Known:
        until, on = datetime.now(), self.today()
        book = read_book(self.folder, on=on, today=on)
        fit = fit_growth(book, on)
        looks = {one.area_id: one for one in forecast_growth(fit, (on,), book.practice.horizon_d)}
        stands = {one.advice.tank_id: one for one in tank_standings(book, fit)}
        return Known(book, fit, on, stamp, until, stands, looks)
