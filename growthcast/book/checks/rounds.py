"""Working days, public holidays, days on which a client is closed, and fixed weekdays."""

from __future__ import annotations

import contextlib
import re
import sys
from collections.abc import Mapping
from datetime import date, timedelta
from pathlib import Path
from types import ModuleType
from typing import TYPE_CHECKING

from growthcast.book.book import Book
from growthcast.book.words import did_you_mean, shown
from growthcast.nouns import dataclass

if TYPE_CHECKING:
    from holidays import HolidayBase


ISO_PART = "[A-Z0-9]{1,3}"
"""Form of a part of a country in ISO 3166-2; the library knows others, too."""


def wrong_region(code: str) -> tuple[str, str] | None:
    """Say what is wrong with a country (DE) or country and subdivision (DE-BY), and what to write.

    Examples
    --------
    >>> wrong_region("DE-BY") is None
    True
    >>> wrong_region("de-by")
    ('"de-by", which is no code of DE or a part of it', 'did you mean "DE-BY"?')
    """
    import holidays
    from holidays.registry import EntityLoader

    known = list(EntityLoader.get_country_codes())
    meant = code.strip().upper().replace("_", "-")
    country = meant.partition("-")[0]
    if country not in known:
        near = [name for name in known if len(name) == 2]
        fix = did_you_mean(country, near, 'write the ISO 3166 code of your country, as "DE"')
        return f"{shown(code)}, which names no country", fix
    _load_alone(country)
    parts = getattr(holidays, country).subdivisions
    iso = [f"{country}-{part}" for part in parts if re.fullmatch(ISO_PART, part)]
    if code in (country, *iso):
        return None
    few = f"write {shown(country)}" + (f", or one of {', '.join(iso)}" if iso else "")
    fix = did_you_mean(meant.strip("-"), [country, *iso], few)
    return f"{shown(code)}, which is no code of {country} or a part of it", fix


def _load_alone(country: str) -> None:
    """Load the holidays of one country without all others, which their package loads first."""
    import holidays

    every = "holidays.countries"
    if every not in sys.modules:
        sys.modules[every] = package = ModuleType(every)
        package.__path__ = [str(Path(holidays.__path__[0], "countries"))]
        try:
            # What does not load so is loaded with all others when it is asked for.
            with contextlib.suppress(ImportError, AttributeError):
                getattr(holidays, country).get_entity()
        finally:  # the package itself must be found by whoever asks for another country
            del sys.modules[every]


def public_holidays(
    code: str, first: date, last: date, language: str = "en_US"
) -> Mapping[date, str]:
    """Return the public holidays of a region from one day to another, in order, with their names.

    They are in English where they have no name in the language.

    Examples
    --------
    >>> public_holidays("DE-BY", date(2026, 11, 1), date(2026, 12, 24))
    {datetime.date(2026, 11, 1): "All Saints' Day"}
    """
    from holidays import country_holidays

    country, _, part = code.partition("-")
    _load_alone(country)
    years = range(first.year, last.year + 1)
    found: HolidayBase = country_holidays(country, part or None, years=years, language=language)
    return {day: str(found[day]) for day in sorted(found) if first <= day <= last}


@dataclass(frozen=True, slots=True)
class ClosedTime:
    """First and last day on which a tank cannot be visited."""

    first: date
    last: date

    def __str__(self) -> str:
        return f"from {self.first} to {self.last}"


def closed_times(book: Book) -> dict[str, tuple[ClosedTime, ...]]:
    """Times in which tanks cannot be visited, by tank, in order; tanks without any are left out.

    A row of ``closed.csv`` that names a tank is for that one, else for all tanks of its client.
    """
    tank_id, client = (book.tanks.text(name).tolist() for name in ("tank_id", "client"))
    clients, found = dict(zip(tank_id, client, strict=True)), dict[str, list[ClosedTime]]()
    for row in book.closed.as_rows():
        own, time = row["tank_id"], ClosedTime(row["from_date"], row["to_date"])
        for tank, whose in clients.items():
            if own == tank or (own is None and whose == row["client"]):
                found.setdefault(tank, []).append(time)
    return {
        name: tuple(sorted(times, key=lambda time: (time.first, time.last)))
        for name, times in found.items()
    }


def closed_on(times: tuple[ClosedTime, ...], day: date) -> ClosedTime | None:
    """Return the time that holds a day, None where the tank can be visited."""
    return next((time for time in times if time.first <= day <= time.last), None)


def open_before(times: tuple[ClosedTime, ...], day: date, earliest: date) -> date | None:
    """Return the last day from ``earliest`` to ``day`` on which a tank can be visited, if any."""
    while (time := closed_on(times, day)) is not None:
        day = time.first - timedelta(days=1)
    return day if day >= earliest else None


def open_from(times: tuple[ClosedTime, ...], day: date) -> date:
    """Return the first day from ``day`` on which a tank can be visited."""
    while (time := closed_on(times, day)) is not None:
        day = time.last + timedelta(days=1)
    return day
