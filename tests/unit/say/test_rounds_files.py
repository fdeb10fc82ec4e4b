"""Planned visits as CSV and as a calendar, read back by others."""

from __future__ import annotations

import csv
import io
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

import pytest
import vobject
from hypothesis import example, given
from hypothesis import strategies as st
from icalendar import Calendar

from growthcast.book.book import Practice
from growthcast.say.card import rounds_ics
from growthcast.say.locale import open_locale
from growthcast.say.rounds import CSV_COLUMNS, rounds_csv
from growthcast.service.rounds.plan import PlannedVisit, RoundsPlan
from growthcast.service.rounds.windows import TankWindow

VISIT = PlannedVisit(
    on=date(2026, 11, 30),
    tank_id="lobby",
    client="Client A; first, and \\ second",
    site="Halle für Gäste und Gäste und Gäste und Gäste und Gäste und Gäste 🌱🌱🌱🌱",
    number=7,
    minutes=61.4,
    travel_min=20.0,
    due_on=date(2026, 12, 1),
    chance_over=0.0731,
)
PLAN = RoundsPlan(
    on=date(2026, 11, 20),
    start=date(2026, 11, 30),
    end=date(2026, 12, 6),
    practice=Practice(name="Test practice (invented)"),
    tanks=(),
    visits=(VISIT, replace(VISIT, tank_id="home", site="", client="")),
    late=(),
    dates=(date(2026, 11, 30),),
    minutes_per_day=(142.8,),
    weighed_loss=0.0,
)
MADE = datetime(2026, 11, 24, 9, 30, tzinfo=UTC)
TEXT = st.text(st.characters(codec="utf-8"), max_size=120)


def with_texts(tank: str, client: str, site: str) -> RoundsPlan:
    return replace(PLAN, visits=(replace(VISIT, tank_id=tank, client=client, site=site),))


def calendar(plan: RoundsPlan, made: datetime = MADE, earlier: bytes = b"", tag="en-GB") -> bytes:
    return rounds_ics(plan, made, open_locale(tag), earlier)[0]


def by_icalendar(data: bytes) -> list[dict[str, str]]:
    """Read events as icalendar does."""
    return [
        {
            "uid": str(event["UID"]),
            "sequence": str(event["SEQUENCE"]),
            "status": str(event.get("STATUS", "")),
            "on": str(event.decoded("DTSTART")),
            "title": str(event["SUMMARY"]).replace("\u00a0", " "),
            "said": str(event["DESCRIPTION"]).replace("\u00a0", " "),
            "where": str(event.get("LOCATION", "")),
        }
        for event in Calendar.from_ical(data).walk("VEVENT")
    ]


def by_vobject(data: bytes) -> list[dict[str, str]]:
    """Read events as vobject does, which shares no code with the other reader."""
    read = vobject.readOne(data.decode())
    names = {
        **{"uid": "uid", "sequence": "sequence", "status": "status", "on": "dtstart"},
        **{"title": "summary", "said": "description", "where": "location"},
    }
    return [
        {
            name: str(event.getChildValue(child, "")).replace("\u00a0", " ")
            for name, child in names.items()
        }
        for event in read.contents.get("vevent", [])
    ]


READERS = pytest.mark.parametrize("read", [by_icalendar, by_vobject])


@READERS
def test_two_readers_find_title_stops_in_order_and_place(read):
    """1 h 21 is 61.4 minutes at the tank and 20 of travel; both tanks are visited that day."""
    visits = (
        replace(VISIT, client="Client A", site="Entrance hall"),
        replace(VISIT, client="Client A", site="Entrance hall", tank_id="side", travel_min=0.0),
        replace(VISIT, client="", site="", tank_id="home"),
    )
    first, second, third = read(calendar(replace(PLAN, visits=visits)))
    assert first["title"] == "Entrance hall (Client A): 1 h 21 with travel"
    assert second["title"] == "Entrance hall (Client A): 1 h 01"
    assert third["title"] == "home: 1 h 21 with travel"
    assert [event["where"] for event in (first, third)] == ["Client A, Entrance hall", ""]
    assert second["said"].split("\n") == [
        "Stop 2 of 3 on this day",
        "1. Entrance hall (Client A): lobby",
        "2. Entrance hall (Client A): side",
        "3. home: home",
        "Visit 7 of tank side: 61 min at the tank, 0 min of travel counted here",
        "Due by Tuesday, 1 December 2026 (rhythm); some area is over its height on the day with a "
        "chance of 7%",
    ]
    german = read(calendar(replace(PLAN, visits=visits), tag="de-DE"))
    assert german[0]["title"] == "Entrance hall (Client A): 1 Std. 21 mit Anfahrt"


def window(tank: str, logged: int) -> TankWindow:
    """Only what a calendar asks of a tank: how many of its visits are logged."""
    made = object.__new__(TankWindow)
    object.__setattr__(made, "tank_id", tank)
    object.__setattr__(made, "visits_logged", logged)
    return made


def kept(read, *files: bytes) -> dict[str, dict[str, str]]:
    """Import files as a calendar does: the same UID with no lower number replaces."""
    events: dict[str, dict[str, str]] = {}
    for event in (event for file in files for event in read(file)):
        known = events.get(event["uid"])
        if known is None or int(event["sequence"]) >= int(known["sequence"]):
            events[event["uid"]] = event
    return {uid: event for uid, event in events.items() if event["status"] != "CANCELLED"}


@READERS
def test_coming_two_days_early_leaves_no_double(read):
    """Number 7 was planned for the 30th and took place on the 28th; 8 moves, 9 is dropped."""
    numbers = ((7, 0), (8, 7), (9, 14))
    before = [replace(VISIT, number=n, on=VISIT.on + timedelta(days=d)) for n, d in numbers]
    first = replace(PLAN, visits=tuple(before), end=date(2026, 12, 14))
    start = date(2026, 11, 29)
    after = replace(VISIT, number=8, on=date(2026, 12, 5))
    second = replace(
        first, visits=(after,), start=start, tanks=(window("lobby", 7), window("home", 0))
    )
    one = calendar(first)
    made = MADE + timedelta(days=4)
    two, cancelled = rounds_ics(second, made, open_locale("en-GB"), one)
    assert cancelled == 2
    live = kept(read, one, two)
    assert [event["on"] for event in live.values()] == ["2026-12-05"]
    # those who only read the second file see both visits called off, with a higher number
    off = {event["on"]: event for event in read(two) if event["status"] == "CANCELLED"}
    assert set(off) == {"2026-11-30", "2026-12-14"}
    assert all(int(event["sequence"]) > int(read(one)[0]["sequence"]) for event in off.values())
    third, more = rounds_ics(second, made + timedelta(days=1), open_locale("en-GB"), two)
    assert (more, len(read(third))) == (0, 3)  # told once, and kept for those who missed it
    late = replace(second, start=date(2027, 7, 1), visits=())
    assert read(calendar(late, made, third)) == []  # half a year on nobody needs to know


@READERS
def test_a_shorter_plan_leaves_what_lies_after_it_and_takes_what_took_place(read):
    far = replace(VISIT, on=date(2027, 1, 11))
    one = calendar(replace(PLAN, visits=(far, replace(far, number=8))))
    near = replace(PLAN, visits=(), tanks=(window("lobby", 7),))
    both = read(calendar(near, MADE + timedelta(hours=1), one))
    assert [event["status"] for event in both] == ["CANCELLED", ""]
    assert both[1] == read(one)[1]


def test_an_earlier_file_of_others_or_with_another_ending_is_no_trouble():
    one = calendar(PLAN)
    none = replace(PLAN, visits=())
    assert rounds_ics(none, MADE, open_locale("en-GB"), one.replace(b"\r\n", b"\n"))[1] == 2
    for strange in (b"\xff\x00", one.replace(b"@growthcast", b"@elsewhere"), one[: len(one) // 4]):
        assert rounds_ics(none, MADE, open_locale("en-GB"), strange)[1] == 0


def test_an_independent_reader_finds_every_visit():
    events = Calendar.from_ical(calendar(PLAN)).walk("VEVENT")
    assert [event.decoded("DTSTART") for event in events] == [VISIT.on, VISIT.on]
    assert [event.decoded("DTEND") for event in events] == [VISIT.on + timedelta(days=1)] * 2
    assert str(events[0]["LOCATION"]) == f"{VISIT.client}, {VISIT.site}"
    assert "LOCATION" not in events[1]


@given(TEXT, TEXT)
@example("", "STATUS:CANCELLED")
def test_any_text_survives_and_lines_are_short(client, site):
    data = calendar(with_texts("lobby", client, site))
    for line in data.split(b"\r\n"):
        assert len(line) <= 75
        line.decode()  # no character is cut in two
        assert b"\n" not in line
    assert data.endswith(b"END:VCALENDAR\r\n")
    off = calendar(replace(PLAN, visits=()), earlier=data)
    assert off.replace(b"\r\nSTATUS:CANCELLED\r\n", b"\r\n") == data  # read back as it was written
    [event] = Calendar.from_ical(data).walk("VEVENT")
    kept = "".join(
        c
        for c in ", ".join(part for part in (client, site) if part)
        .replace("\r\n", "\n")
        .replace("\r", "\n")
        if c in "\n\t" or (ord(c) >= 32 and ord(c) != 127)
    )
    if "LOCATION" in event and not set(client + site) & set("\x85\u2028\u2029\x1c\x1d\x1e\x0b\x0c"):
        assert str(event["LOCATION"]) == kept


def test_a_moved_visit_keeps_its_uid_and_others_have_their_own():
    def uids(plan):
        return [str(e["UID"]) for e in Calendar.from_ical(calendar(plan)).walk("VEVENT")]

    moved = replace(PLAN, visits=(replace(VISIT, on=date(2026, 12, 2)),))
    assert uids(moved)[0] == uids(PLAN)[0]
    next_one = replace(PLAN, visits=(replace(VISIT, number=8),))
    assert len({*uids(PLAN), *uids(next_one)}) == 3
    assert uids(replace(PLAN, practice=Practice(name="Another")))[0] != uids(PLAN)[0]
    later, first = (
        Calendar.from_ical(calendar(plan, at)).walk("VEVENT")[0]
        for plan, at in ((moved, MADE + timedelta(minutes=1)), (PLAN, MADE))
    )
    assert int(later["SEQUENCE"]) > int(first["SEQUENCE"])
    assert calendar(PLAN) == calendar(PLAN)


@pytest.mark.parametrize("text", ["=1+1", "+1", "-1", "@x", "\t=1", "'=1", "''@", "'plain", "a=1"])
def test_no_cell_is_a_formula(text):
    """What begins like one, apostrophes aside, gets one more; the rest stays as it is."""
    plan = with_texts(text, text, text)
    written = rounds_csv(plan)
    [row] = csv.DictReader(io.StringIO(written, newline=""))
    assert not row["client"].startswith(("=", "+", "-", "@", "\t"))
    guard = "" if text in {"'plain", "a=1"} else "'"
    assert (row["tank_id"], row["date"]) == (guard + text, "2026-11-30")


def test_the_columns_hold_the_visit():
    [row, _] = csv.DictReader(io.StringIO(rounds_csv(PLAN), newline=""))
    assert tuple(row) == CSV_COLUMNS
    assert row == {
        "date": "2026-11-30",
        "tank_id": "lobby",
        "client": VISIT.client,
        "site": VISIT.site,
        "visit": "7",
        "minutes": "61.4",
        "travel_min": "20.0",
        "due_on": "2026-12-01",
        "days_late": "0",
        "chance_over": "0.0731",
        "due_by": "rhythm",
    }
