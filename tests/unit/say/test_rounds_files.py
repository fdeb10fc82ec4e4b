"""Planned visits as CSV and as a calendar, read back by others."""

from __future__ import annotations

import csv
import io
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st
from icalendar import Calendar

from growthcast.book.book import Practice
from growthcast.say.rounds import CSV_COLUMNS, rounds_csv, rounds_ics
from growthcast.service.rounds.plan import PlannedVisit, RoundsPlan

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


def test_an_independent_reader_finds_every_visit():
    events = Calendar.from_ical(rounds_ics(PLAN, MADE)).walk("VEVENT")
    assert [event.decoded("DTSTART") for event in events] == [VISIT.on, VISIT.on]
    assert [event.decoded("DTEND") for event in events] == [VISIT.on + timedelta(days=1)] * 2
    assert str(events[0]["LOCATION"]) == f"{VISIT.client}, {VISIT.site}"
    assert str(events[0]["SUMMARY"]) == "lobby: 61 min"
    assert "Due by 2026-12-01; chance" in str(events[0]["DESCRIPTION"])
    assert "LOCATION" not in events[1]


@given(TEXT, TEXT)
def test_any_text_survives_and_lines_are_short(client, site):
    data = rounds_ics(with_texts("lobby", client, site), MADE)
    for line in data.split(b"\r\n"):
        assert len(line) <= 75
        line.decode()  # no character is cut in two
        assert b"\n" not in line
    assert data.endswith(b"END:VCALENDAR\r\n")
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
        return [str(e["UID"]) for e in Calendar.from_ical(rounds_ics(plan, MADE)).walk("VEVENT")]

    moved = replace(PLAN, visits=(replace(VISIT, on=date(2026, 12, 2)),))
    assert uids(moved)[0] == uids(PLAN)[0]
    next_one = replace(PLAN, visits=(replace(VISIT, number=8),))
    assert len({*uids(PLAN), *uids(next_one)}) == 3
    assert uids(replace(PLAN, practice=Practice(name="Another")))[0] != uids(PLAN)[0]
    later, first = (
        Calendar.from_ical(rounds_ics(plan, at)).walk("VEVENT")[0]
        for plan, at in ((moved, MADE + timedelta(minutes=1)), (PLAN, MADE))
    )
    assert int(later["SEQUENCE"]) > int(first["SEQUENCE"])
    assert rounds_ics(PLAN, MADE) == rounds_ics(PLAN, MADE)


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
