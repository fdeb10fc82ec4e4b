"""Planned visits as files: a CSV that a spreadsheet opens safely, and an iCalendar file (RFC 5545).

In the calendar every visit is an all-day event whose UID depends on the practice, the tank and the
number of the visit, counted from the first in the log: a plan made anew moves the events it gave
before.

References
----------
Desruisseaux, B. (2009). RFC 5545: Internet Calendaring and Scheduling Core Object Specification
(lines of 75 octets: 3.1; text: 3.3.11; dates: 3.3.4; all-day events: 3.6.1).
"""

from __future__ import annotations

import csv
import hashlib
import io
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta

from growthcast.plain import plain
from growthcast.say.words import percent
from growthcast.service.rounds.result import PlannedVisit, RoundsPlan

COLUMNS = (
    *("date", "tank_id", "client", "site", "visit", "minutes", "travel_min", "due_on"),
    *("days_late", "chance_over", "due_by"),
)
TEXTS = ("tank_id", "client", "site")
RISKY = ("=", "+", "-", "@", "\t", "\r", "\n")
"""What a cell begins with that a spreadsheet takes for a formula."""
LONGEST_LINE = 75
EPOCH = datetime(2020, 1, 1, tzinfo=UTC)


def rounds_csv(plan: RoundsPlan) -> str:
    """Return the visits as CSV; text that looks like a formula begins with an apostrophe."""
    stream = io.StringIO()
    writer = csv.DictWriter(stream, COLUMNS, extrasaction="ignore", lineterminator="\r\n")
    writer.writeheader()
    for visit in plan.visits:
        row = plain(visit)
        writer.writerow(row | {name: _guarded(row[name]) for name in TEXTS})
    return stream.getvalue()


def _guarded(text: str) -> str:
    return "'" + text if text.lstrip("'").startswith(RISKY) else text


def rounds_ics(plan: RoundsPlan, made_at: datetime) -> bytes:
    """Return the visits as an iCalendar file, made at a moment (UTC).

    The sequence number counts minutes, so that a plan made later takes the place of an earlier one.
    """
    lines = [
        "BEGIN:VCALENDAR",
        "VERSION:2.0",
        "PRODID:-//growthcast//rounds//EN",
        "CALSCALE:GREGORIAN",
        "METHOD:PUBLISH",
    ]
    for visit in plan.visits:
        lines += _event(visit, plan, made_at)
    lines.append("END:VCALENDAR")
    return b"".join(part for line in lines for part in _folded(line))


def _event(visit: PlannedVisit, plan: RoundsPlan, made_at: datetime) -> list[str]:
    where = ", ".join(part for part in (visit.client, visit.site) if part)
    said = [
        f"Visit {visit.number} of tank {visit.tank_id}: {visit.minutes:.0f} min at the tank",
        f"Travel counted here: {visit.travel_min:.0f} min",
        f"Due by {visit.due_on}; chance that some area is over its height on the day: "
        f"{percent(visit.chance_over)}",
        f"It is due by its {visit.due_by}",
    ]
    lines = [
        "BEGIN:VEVENT",
        f"UID:{_uid(plan.practice.name, visit)}",
        f"DTSTAMP:{made_at:%Y%m%dT%H%M%SZ}",
        f"SEQUENCE:{(made_at - EPOCH) // timedelta(minutes=1)}",
        f"DTSTART;VALUE=DATE:{visit.on:%Y%m%d}",
        f"DTEND;VALUE=DATE:{visit.on + timedelta(days=1):%Y%m%d}",
        f"SUMMARY:{_escaped(f'{visit.tank_id}: {visit.minutes:.0f} min')}",
        f"DESCRIPTION:{_escaped(chr(10).join(said))}",
    ]
    if where:
        lines.append(f"LOCATION:{_escaped(where)}")
    return [*lines, "TRANSP:TRANSPARENT", "END:VEVENT"]


def _uid(practice: str, visit: PlannedVisit) -> str:
    """Return a name of the visit that no other event has and that stays when it is moved."""
    named = "\x1f".join((practice, visit.tank_id, str(visit.number)))
    return hashlib.sha256(named.encode()).hexdigest()[:32] + "@growthcast"


def _escaped(text: str) -> str:
    """Return text as RFC 5545 writes it, without control characters."""
    text = text.replace("\r\n", "\n").replace("\r", "\n")
    text = "".join(c for c in text if c in "\n\t" or (ord(c) >= 32 and ord(c) != 127))
    for mark in ("\\", ";", ","):
        text = text.replace(mark, "\\" + mark)
    return text.replace("\n", "\\n")


def _folded(line: str) -> Iterator[bytes]:
    """Yield a line in parts of at most 75 octets, none of which cuts a character in two."""
    data = line.encode()
    start, room = 0, LONGEST_LINE
    while len(data) - start > room:
        end = start + room
        while data[end] & 0xC0 == 0x80:  # inside a character
            end -= 1
        yield data[start:end] + b"\r\n "
        start, room = end, LONGEST_LINE - 1  # the space in front counts
    yield data[start:] + b"\r\n"
