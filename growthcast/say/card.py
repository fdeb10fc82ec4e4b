"""The card for a visit and the calendar file, in the words of their reader's language.

In the calendar every visit is an all-day event whose UID depends on the practice, the tank and the
number of the visit, counted from the first in the log: a plan made anew moves the events it gave
before, and cancels those that took place or that it no longer has.

References
----------
Desruisseaux, B. (2009). RFC 5545: Internet Calendaring and Scheduling Core Object Specification
(lines of 75 octets: 3.1; text: 3.3.11; dates: 3.3.4; all-day events: 3.6.1; status: 3.8.1.11).
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterator, Sequence
from contextlib import suppress
from datetime import UTC, date, datetime, timedelta

from growthcast.say.cuts import takes_half, worth_measuring
from growthcast.say.locale import Locale
from growthcast.say.words import hand_cut, named
from growthcast.service.rounds.plan import PlannedVisit, RoundsPlan
from growthcast.service.visit.cuts import AreaCut, CutSheet, minutes_of_day


def area_name(area: AreaCut) -> str:
    """Return an area's label, or its id where it has none."""
    return named(area.label, area.area_id)


def place_of(stop: CutSheet | PlannedVisit, stops: Sequence[CutSheet | PlannedVisit]) -> str:
    """Return where a tank stands and whose it is.

    Of several of a client that stand there, what the client calls it tells which.
    """
    where = [named(part) for part in (stop.site, stop.name) if part] or [named(stop.tank_id)]
    alike = [one for one in stops if (one.site, one.client) == (stop.site, stop.client)]
    place = ", ".join(where if len(alike) > 1 else where[:1])
    return f"{place} ({named(stop.client)})" if stop.client else place


def places_words(sheets: Sequence[CutSheet], locale: Locale) -> str:
    """Return the day's tanks in the order of travel, and the time they take."""
    numbered = (f"{n}. {place_of(sheet, sheets)}" for n, sheet in enumerate(sheets, start=1))
    minutes = minutes_of_day(sheets)
    return locale.say("card_day_places", places="; ".join(numbered), minutes=minutes)


def lead(locale: Locale, sheet: CutSheet) -> str:
    """Return whether the cuts last until the next visit, and what would."""
    if not sheet.areas:
        return locale.say("card_empty")
    chance = locale.near_miss(sheet.chance_all_within, sheet.confidence)
    if sheet.feasible:
        return locale.say("card_holds", sheet=sheet, chance=chance)
    worst = area_name(min(sheet.areas, key=lambda area: area.chance_within))
    return locale.say("card_short", area=worst, sheet=sheet, chance=chance)


def measure_first(locale: Locale, sheet: CutSheet) -> str:
    """Return which areas to measure before any cut, "" where all are known well."""
    areas = [area_name(area) for area in sheet.areas if worth_measuring(area)]
    return locale.say("card_measure", areas=areas or None)


def cut_words(locale: Locale, area: AreaCut) -> str:
    """Return the height to leave: half centimetres downwards, not below what looks right."""
    if area.action == "leave":
        return locale.say("card_leave_it")
    return locale.exact(hand_cut(area.cut_cm, area.unit, area.least_cut_cm), area.unit)


def note_words(locale: Locale, sheet: CutSheet, area: AreaCut) -> str:
    """Return what to know of an area beside the cut."""
    now, unit, planted = area.height_now_cm, area.unit, area.planted_on
    habit = area.usual_cut_cm is not None and area.usual_lasts_visits > 1
    weeks = (sheet.on - planted).days // 7 if planted else 0
    told = {"now": locale.range(now.p10, now.p50, now.p90, unit), "unit": unit, "habit": habit}
    told |= {"over": area.chance_over_now >= 0.5, "half": takes_half(area), "weeks": weeks}
    return locale.say("card_note", area=area, **told)


def saving_words(locale: Locale, sheet: CutSheet) -> str:
    """Return what leaving areas while usual cuts last saves in a year, "" where that is little."""
    saves = sheet.leaving_saves
    if saves is None:
        return ""
    areas = [area_name(area) for area in sheet.areas if area.usual_lasts_visits > 1]
    ends = {"low": saves.hours.p10, "middle": saves.hours.p50, "high": saves.hours.p90}
    hours = locale.say("range", **{end: locale.number(h, 1) for end, h in ends.items()})
    cost = f" ({locale.money(saves.cost.p50)})" if saves.cost.p50 > 0.0 else ""
    return locale.say("card_saving", areas=areas, n=len(areas), hours=hours, cost=cost)


def time_words(locale: Locale, sheet: CutSheet) -> str:
    """Return how long the visit takes, and its parts."""
    whole = sheet.whole_minutes
    return locale.say("card_time", all=sum(whole), whole=whole, sheet=sheet)


def caution_words(locale: Locale, sheet: CutSheet) -> str:
    """Return the cautions of a visit in one line, with the plants that rules may name."""
    ruled = [area.scientific_name for area in sheet.areas if "egulated" in area.caution]
    regulated = locale.say("caution_regulated", plants=[*dict.fromkeys(ruled)]) if ruled else ""
    return f"{locale.say('card_cautions')} {regulated}".rstrip()


LONGEST_LINE = 75
EPOCH = datetime(2020, 1, 1, tzinfo=UTC)
OURS, CANCELLED = "@growthcast", "STATUS:CANCELLED"
KEPT_D = 182
"""Days for which a visit that was cancelled stays in the calendar's file."""


def rounds_ics(
    plan: RoundsPlan, made_at: datetime, locale: Locale, earlier: bytes = b""
) -> tuple[bytes, int]:
    """Return the visits as an iCalendar file made at a moment (UTC), and how many it cancels.

    The sequence number counts minutes, so that a plan made later takes the place of an earlier one.
    ``earlier`` is the file it replaces: what that announced and what has taken place since, or
    falls into the plan and is not in it, is cancelled; what lies after the plan stays.
    """
    practice = plan.practice.name
    sequence = (made_at - EPOCH) // timedelta(minutes=1)
    stamp = [f"DTSTAMP:{made_at:%Y%m%dT%H%M%SZ}", f"SEQUENCE:{sequence}"]
    visits = {_uid(practice, visit.tank_id, visit.number): visit for visit in plan.visits}
    events = {uid: [*stamp, *_event(visit, plan, locale)] for uid, visit in visits.items()}
    logged = ((one.tank_id, n) for one in plan.tanks for n in range(1, one.visits_logged + 1))
    took_place = {_uid(practice, *visit) for visit in logged}
    forgotten, cancelled = plan.start - timedelta(days=KEPT_D), 0
    for uid, (on, lines) in _announced(earlier).items():
        if uid in events or on < forgotten:
            continue
        gone = uid in took_place or on <= plan.end
        if gone and CANCELLED not in lines:
            kept = [line for line in lines if not line.startswith(("DTSTAMP", "SEQUENCE"))]
            events[uid], cancelled = [*stamp, *kept, CANCELLED], cancelled + 1
        else:
            events[uid] = lines
    lines = ["BEGIN:VCALENDAR", "VERSION:2.0", "PRODID:-//growthcast//rounds//EN"]
    lines += ["CALSCALE:GREGORIAN", "METHOD:PUBLISH"]
    for uid, event in events.items():
        lines += ["BEGIN:VEVENT", f"UID:{uid}", *event, "END:VEVENT"]
    lines.append("END:VCALENDAR")
    return b"".join(part for line in lines for part in _folded(line)), cancelled


def _announced(earlier: bytes) -> dict[str, tuple[date, list[str]]]:
    """Return day and lines of the visits in a file of an earlier plan, by their UID."""
    text = earlier.decode("utf-8", "replace").replace("\r\n", "\n").replace("\n ", "")
    events = {}
    for part in text.split("\nBEGIN:VEVENT\n")[1:]:
        whole, end, _ = part.partition("\nEND:VEVENT")
        lines = whole.split("\n")
        uid = _value(lines, "UID")
        if end and uid.endswith(OURS):
            with suppress(ValueError):  # a day that another program wrote otherwise
                on = date.fromisoformat(_value(lines, "DTSTART"))
                events[uid] = (on, [line for line in lines if not line.startswith("UID:")])
    return events


def _value(lines: list[str], name: str) -> str:
    """Return the value of a property that is there once."""
    starts = (f"{name}:", f"{name};")
    return next((line.partition(":")[2] for line in lines if line.startswith(starts)), "")


def _event(visit: PlannedVisit, plan: RoundsPlan, locale: Locale) -> list[str]:
    day = [other for other in plan.visits if other.on == visit.on]
    blanks = {"visit": visit, "stop": day.index(visit) + 1, "stops": len(day)}
    blanks |= {"place": place_of(visit, day), "time": visit.minutes + visit.travel_min}
    blanks |= {"by": locale.say(f"due_by_{visit.due_by}")}
    stops = [f"{n}. {place_of(stop, day)}: {stop.tank_id}" for n, stop in enumerate(day, start=1)]
    stop, *said = (locale.say(f"calendar_{name}", **blanks) for name in ("stop", "visit", "due"))
    said = [stop, *stops, *said]
    title = locale.say("calendar_title" if visit.travel_min else "calendar_title_there", **blanks)
    lines = [
        f"DTSTART;VALUE=DATE:{visit.on:%Y%m%d}",
        f"DTEND;VALUE=DATE:{visit.on + timedelta(days=1):%Y%m%d}",
        f"SUMMARY:{_escaped(title)}",
        f"DESCRIPTION:{_escaped(chr(10).join(said))}",
    ]
    if where := ", ".join(part for part in (visit.client, visit.site) if part):
        lines.append(f"LOCATION:{_escaped(where)}")
    return [*lines, "TRANSP:TRANSPARENT"]


def _uid(practice: str, tank_id: str, number: int) -> str:
    """Return a name of the visit that no other event has and that stays when it is moved."""
    named = "\x1f".join((practice, tank_id, str(number)))
    return hashlib.sha256(named.encode()).hexdigest()[:32] + OURS


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
