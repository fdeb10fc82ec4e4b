"""Every slug has an example book that triggers it alone, at the place a person would look."""

from __future__ import annotations

import re
from datetime import date
from pathlib import Path

import pytest

from growthcast.book.findings import format_finding, slugs
from growthcast.book.read import inspect_book
from tests.unit.book.small_book import FILES, SPECIES_HEADER, TODAY, write_book

Place = tuple[str, int | None, str | None]
Changes = dict[str, str | bytes | None]


def with_row(file: str, row: str) -> Changes:
    """Add a row at the end of a file."""
    return {file: FILES[file] + row + "\n"}


def instead(file: str, old: str, new: str) -> Changes:
    """Replace a text that stands once in a file."""
    assert FILES[file].count(old) == 1, old
    return {file: FILES[file].replace(old, new)}


def trim(row: str) -> Changes:
    return {
        "trims.csv": "date,tank_id,area_id,before_cm,after_cm,removed_cm,removed_g,look\n" + row
    }


def whole(rows: str) -> Changes:
    return {"trims.csv": "date,tank_id,area_id,before_cm,removed_g,grams_of\n" + rows}


def visit(cells: str) -> Changes:
    header = "date,tank_id,area_id,before_cm,minutes,visit_min\n"
    return {"trims.csv": f"{header}2026-02-01,T1,{cells}\n"}


def water(row: str) -> Changes:
    header = "tank_id,from_date,ppfd_umol,photoperiod_h,co2_mg_l,ph,kh_dkh\n"
    return {"conditions.csv": header + row + "\n"}


def closed(row: str) -> Changes:
    return {"closed.csv": f"client,tank_id,from_date,to_date\n{row}\n"}


LINE_2 = "2026-02-01,T1,A1,"
SEMICOLONS = "date;tank_id;area_id;before_cm\n2026-02-01;T1;A1;24,5\n2026-02-08;T1;A1;{}\n"
NEW_WITH_SPREADS = "new-moss,,,moss,height_cm,0.05,.4,5,.2,false,80,.1,.05,5,1,.05,1,15,25,32,60"
NEW_BUT_RATE = (
    SPECIES_HEADER + "new-moss,,,moss,height_cm,,.4,5,.2,"
    "false,80,.1,.05,5,1,.05,1,15,25,32,60,1,no,,10,5,,estimate,own\n"
)

PROBLEMS: dict[str, tuple[Changes, Place]] = {
    "missing-file": ({"areas.csv": None}, ("areas.csv", None, None)),
    "file-name": (
        {"trims.csv": None, "Trims.csv": FILES["trims.csv"]},
        ("Trims.csv", None, None),
    ),
    "not-csv": ({"trims.csv": None, "trims.xlsx": b"PK"}, ("trims.xlsx", None, None)),
    "too-large": (
        {"practice.toml": FILES["practice.toml"] + "#" * 200_000},
        ("practice.toml", None, None),
    ),
    "workbook": ({"trims.csv": b"PK\x03\x04\x00\x01"}, ("trims.csv", None, None)),
    "empty-file": ({"conditions.csv": b""}, ("conditions.csv", None, None)),
    "nul-bytes": (
        {"trims.csv": FILES["trims.csv"].encode() + b"\0\0\0"},
        ("trims.csv", 6, None),
    ),
    "mixed-encoding": (
        {
            "tanks.csv": FILES["tanks.csv"]
            .replace("clinic", "clinic in Łódź")
            .encode()
            .replace(b"school", "school in Zürich".encode("cp1252"))
        },
        ("tanks.csv", 3, None),
    ),
    "unknown-encoding": ({"trims.csv": b"date,tank_id\n\x81\xff\n"}, ("trims.csv", None, None)),
    "no-header": ({"trims.csv": "\n\n"}, ("trims.csv", 1, None)),
    "no-rows": (
        {"areas.csv": FILES["areas.csv"].split("\n")[0] + "\n"},
        ("areas.csv", None, None),
    ),
    "unclosed-quote": (
        with_row("trims.csv", '\n2026-03-01,T1,A1,20,10,,,,5,"never closed'),
        ("trims.csv", 7, "J"),
    ),
    "stray-quote": (
        with_row("trims.csv", '2026-03-01,T1,A1,20,10,,,,5,"12" pot'),
        ("trims.csv", 6, "J"),
    ),
    "long-cell": (
        with_row("trims.csv", "2026-03-01,T1,A1,20,10,,,,5," + "x" * 200_000),
        ("trims.csv", 6, None),
    ),
    "torn-row": (
        {"trims.csv": FILES["trims.csv"] + "2026-03-01,T1,A1,2"},
        ("trims.csv", 6, None),
    ),
    "long-row": (
        with_row("trims.csv", "2026-03-01,T1,A1,20,10,,,,5,,more"),
        ("trims.csv", 6, "K"),
    ),
    "comment-line": (with_row("trims.csv", "# spring"), ("trims.csv", 6, "A")),
    "missing-column": (
        {"conditions.csv": "tank_id,ppfd_umol\nT1,80\n"},
        ("conditions.csv", 1, None),
    ),
    "near-column": (instead("trims.csv", "before_cm", "befor_cm"), ("trims.csv", 1, "D")),
    "double-column": (instead("trims.csv", "look", "Note "), ("trims.csv", 1, "J")),
    "blank-cell": (trim("2026-02-01,,A1,24,12,,,\n"), ("trims.csv", 2, "B")),
    "not-a-number": (trim(LINE_2 + "tall,,,,\n"), ("trims.csv", 2, "D")),
    "unit-in-number": (trim(LINE_2 + "12 cm,,,,\n"), ("trims.csv", 2, "D")),
    "decimal-comma": (trim(LINE_2 + '"24,5",,,,\n'), ("trims.csv", 2, "D")),
    "decimal-point": ({"trims.csv": SEMICOLONS.format("24.500")}, ("trims.csv", 3, "D")),
    "thousands-mark": (trim(LINE_2 + ',,,"1,250",\n'), ("trims.csv", 2, "G")),
    "not-finite": (trim(LINE_2 + "nan,,,,\n"), ("trims.csv", 2, "D")),
    "word-for-blank": (trim(LINE_2 + "n/a,,,,\n"), ("trims.csv", 2, "D")),
    "other-digits": (trim(LINE_2 + "１２,,,,\n"), ("trims.csv", 2, "D")),
    "out-of-range": (trim(LINE_2 + "0,,,,\n"), ("trims.csv", 2, "D")),
    "percent-for-share": (instead("tanks.csv", "0.95", "90"), ("tanks.csv", 3, "F")),
    "not-whole": (
        {"tanks.csv": "tank_id,water_depth_cm,longest_interval_d\nT1,40,10.5\nT2,30,\n"},
        ("tanks.csv", 2, "C"),
    ),
    "not-a-choice": (trim(LINE_2 + "24,12,,,tall\n"), ("trims.csv", 2, "H")),
    "date-form": (trim("01.02.2026,T1,A1,24,12,,,\n"), ("trims.csv", 2, "A")),
    "no-such-day": (trim("2026-02-30,T1,A1,24,12,,,\n"), ("trims.csv", 2, "A")),
    "date-with-time": (trim("2026-02-01T09:30,T1,A1,24,12,,,\n"), ("trims.csv", 2, "A")),
    "future-date": (trim("2026-04-03,T1,A1,24,12,,,\n"), ("trims.csv", 2, "A")),
    "id-form": (with_row("tanks.csv", "T/3,,,,30,"), ("tanks.csv", 4, "A")),
    "id-case": (with_row("tanks.csv", "t1,,,,30,"), ("tanks.csv", 4, "A")),
    "double-id": (with_row("tanks.csv", "T1,,,,30,"), ("tanks.csv", 4, "A")),
    "unknown-id": (trim("2026-02-01,T1,A9,24,12,,,\n"), ("trims.csv", 2, "C")),
    "toml-form": (instead("practice.toml", "[visit]", "[visit"), ("practice.toml", 5, None)),
    "near-key": (
        instead("practice.toml", "travel_min", "travl_min"),
        ("practice.toml", 7, "travl_min"),
    ),
    "wrong-kind": (instead("practice.toml", "= 60", '= "60"'), ("practice.toml", 11, "horizon_d")),
    "double-interval": (
        instead("practice.toml", "7, 21", "7, 14"),
        ("practice.toml", 10, "intervals_d"),
    ),
    "not-a-picture": (
        instead("practice.toml", "[practice]\n", '[practice]\nlogo = "../logo.png"\n'),
        ("practice.toml", 2, "logo"),
    ),
    "double-day": (
        {"practice.toml": FILES["practice.toml"] + '[rounds]\nworking_days = ["mon", "mon"]\n'},
        ("practice.toml", 13, "working_days"),
    ),
    "floor-at-budget": (instead("areas.csv", "8,25", "25,25"), ("areas.csv", 2, "F")),
    "floor-at-ceiling": (instead("areas.csv", "400,2,6", "400,20,21"), ("areas.csv", 3, "F")),
    "cover-range": (instead("areas.csv", "10,60,20", "10,130,20"), ("areas.csv", 4, "G")),
    "removed-before-planted": (
        {
            "areas.csv": "area_id,tank_id,species_id,area_cm2,floor_cm,budget_cm,planted_on,"
            "removed_on\nA1,T1,rotala-rotundifolia,300,8,25,2026-01-01,2025-12-31\n",
            "trims.csv": FILES["trims.csv"].split("\n")[0] + "\n",
        },
        ("areas.csv", 2, "H"),
    ),
    "incomplete-species": (
        {"species.csv": NEW_BUT_RATE},
        ("species.csv", 2, "F"),
    ),
    "lowest-cut-at-ceiling": (
        {"species.csv": "species_id,lowest_cut_cm\nhydrocotyle-tripartita,20\n"},
        ("species.csv", 2, "B"),
    ),
    "temperature-order": (
        {"species.csv": "species_id,temp_opt_c\nrotala-rotundifolia,14\n"},
        ("species.csv", 2, "B"),
    ),
    "no-reference-growth": (
        {"species.csv": "species_id,respiration_share\nrotala-rotundifolia,0.9\n"},
        ("species.csv", 2, "B"),
    ),
    "co2-impossible": (water("T1,2026-01-01,90,8,,5.6,8"), ("conditions.csv", 2, "F")),
    "closed-for-nobody": (closed(",,2026-08-01,2026-08-21"), ("closed.csv", 2, "A")),
    "unknown-client": (closed("a clinik,,2026-08-01,2026-08-21"), ("closed.csv", 2, "A")),
    "closed-backwards": (closed("a clinic,,2026-08-21,2026-08-01"), ("closed.csv", 2, "D")),
    "tank-mismatch": (trim("2026-02-01,T2,A1,24,12,,,\n"), ("trims.csv", 2, "B")),
    "outside-life": (trim("2025-12-31,T1,A1,24,12,,,\n"), ("trims.csv", 2, "A")),
    "after-above-before": (trim(LINE_2 + "12,24,,,\n"), ("trims.csv", 2, "E")),
    "removed-above-before": (trim(LINE_2 + "12,,13,,\n"), ("trims.csv", 2, "F")),
    "whole-tank-heights": (trim("2026-02-01,T1,,24,,,,\n"), ("trims.csv", 2, "D")),
    "two-rows": (trim(f"{LINE_2}24,12,,,\n{LINE_2}25,12,,,\n"), ("trims.csv", 3, "C")),
}

NOTES: dict[str, tuple[Changes, Place]] = {
    "conflict-copy": (
        {"trims (conflicted copy).csv": "date\n"},
        ("trims (conflicted copy).csv", None, None),
    ),
    "unknown-column": (instead("tanks.csv", "client", "lamp"), ("tanks.csv", 1, "B")),
    "unnamed-column": (instead("tanks.csv", "client", ""), ("tanks.csv", 1, "B")),
    "unknown-key": (
        instead("practice.toml", "travel_min", "parking_min"),
        ("practice.toml", 7, "parking_min"),
    ),
    "unknown-section": (
        {"practice.toml": FILES["practice.toml"] + "[van]\ncolour = 1\n"},
        ("practice.toml", 12, "van"),
    ),
    "id-looks-like-value": (with_row("tanks.csv", "12,,,,30,"), ("tanks.csv", 4, "A")),
    "id-spaces": (with_row("tanks.csv", " T3,,,,30,"), ("tanks.csv", 4, "A")),
    "no-labour-rate": (
        instead("practice.toml", "labour_rate_per_h = 58.0\n", ""),
        ("practice.toml", None, "labour_rate_per_h"),
    ),
    "visit-day-off": (
        {"tanks.csv": "tank_id,water_depth_cm,visit_weekday\nT1,40,\nT2,30,sun\n"},
        ("tanks.csv", 3, "C"),
    ),
    "budget-above-water": (instead("areas.csv", "8,25", "8,41"), ("areas.csv", 2, "G")),
    "budget-above-ceiling": (instead("areas.csv", "2,6", "2,21"), ("areas.csv", 3, "G")),
    "cut-outside-range": (instead("areas.csv", "25,12", "25,7"), ("areas.csv", 2, "H")),
    "proposed": (
        instead(
            "areas.csv",
            "planted_on\nA1,T1,left,rotala-rotundifolia,300,8,25,12,",
            "note\nA1,T1,left,rotala-rotundifolia,300,8,25,12,proposed: floor_cm at ",
        ),
        ("areas.csv", 2, "I"),
    ),
    "planted-undated": (
        {
            "areas.csv": "area_id,tank_id,species_id,area_cm2,floor_cm,budget_cm,planted_height_cm"
            "\nA1,T1,rotala-rotundifolia,300,8,25,10\n",
            "trims.csv": FILES["trims.csv"].split("\n")[0] + "\n",
        },
        ("areas.csv", 2, "G"),
    ),
    "planted-above-water": (
        {
            "areas.csv": "area_id,tank_id,species_id,area_cm2,floor_cm,budget_cm,planted_on,"
            "planted_height_cm\nA1,T1,rotala-rotundifolia,300,8,25,2026-01-01,45\n",
            "trims.csv": FILES["trims.csv"].split("\n")[0] + "\n",
        },
        ("areas.csv", 2, "H"),
    ),
    "double-label": (instead("areas.csv", "front", " Left"), ("areas.csv", 3, "C")),
    "species-filled": (
        {"species.csv": SPECIES_HEADER + NEW_WITH_SPREADS + ",1,no,,,5,,estimate,own\n"},
        ("species.csv", 2, "A"),
    ),
    "area-above-tank": (instead("areas.csv", "1800", "1801"), ("areas.csv", 4, "E")),
    "co2-caution": (water("T1,2026-01-01,90,8,31,,"), ("conditions.csv", 2, "E")),
    "co2-contradiction": (
        water("T1,2026-01-01,90,8,25,7.4,4"),
        ("conditions.csv", 2, "E"),
    ),
    "cold-water": (
        {"conditions.csv": "tank_id,from_date,temperature_c\nT1,2026-01-01,9\n"},
        ("conditions.csv", 2, "C"),
    ),
    "temperature-of-plants": (
        {"conditions.csv": "tank_id,from_date,temperature_c\nT1,2026-01-01,36\n"},
        ("conditions.csv", 2, "C"),
    ),
    "light-without-food": (
        {
            "conditions.csv": "tank_id,from_date,ppfd_umol,photoperiod_h,co2_mg_l,no3_mg_l\n"
            "T1,2026-01-01,150,9,4,2\n"
        },
        ("conditions.csv", 2, "C"),
    ),
    "kh-zero": (water("T1,2026-01-01,90,8,,6.5,0"), ("conditions.csv", 2, "G")),
    "no-light": (water("T1,2026-01-01,0,8,,,"), ("conditions.csv", 2, "C")),
    "date-tomorrow": (trim("2026-04-02,T1,A1,24,12,,,\n"), ("trims.csv", 2, "A")),
    "empty-row": (trim("2026-02-01,T1,A1,,,,,\n"), ("trims.csv", 2, "D")),
    "same-rows": (trim(f"{LINE_2}24,12,,,\n{LINE_2}24,12,,,\n"), ("trims.csv", 3, "C")),
    "removed-differs": (trim(LINE_2 + "24,12,6,,\n"), ("trims.csv", 2, "F")),
    "height-above-water": (trim(LINE_2 + "45,12,,,\n"), ("trims.csv", 2, "D")),
    "height-above-ceiling": (
        trim("2026-02-01,T1,A2,31,4,,,\n"),
        ("trims.csv", 2, "D"),
    ),
    "look-differs": (trim(LINE_2 + "26,12,,,short\n"), ("trims.csv", 2, "H")),
    "cut-to-nothing": (trim(LINE_2 + "26,0,,,\n"), ("trims.csv", 2, "E")),
    "nothing-to-share": (
        whole("2026-02-01,T2,,,50,rest\n2026-02-01,T2,A3,50,,\n"),
        ("trims.csv", 2, "E"),
    ),
    "weight-above-areas": (trim(LINE_2 + ",,,9000,\n"), ("trims.csv", 2, "G")),
    "grams-of-nothing": (whole(LINE_2 + "20,,all\n"), ("trims.csv", 2, "F")),
    "visit-of-area": (visit("A1,24,,70"), ("trims.csv", 2, "F")),
    "visit-below-minutes": (visit(",,75,70"), ("trims.csv", 2, "F")),
    "whole-tank-look": (trim("2026-02-01,T1,,,,,50,over\n"), ("trims.csv", 2, "H")),
}

REMARKS: dict[str, tuple[Changes, Place]] = {
    "encoding": (
        {"tanks.csv": FILES["tanks.csv"].replace("clinic", "clinic in Zürich").encode("cp1252")},
        ("tanks.csv", None, None),
    ),
    "line-ends": (
        {"trims.csv": FILES["trims.csv"].replace("\n", "\r\n")},
        ("trims.csv", None, None),
    ),
    "delimiter": (
        {"conditions.csv": FILES["conditions.csv"].replace(",", "\t")},
        ("conditions.csv", None, None),
    ),
    "decimal-comma-file": ({"trims.csv": SEMICOLONS.format("24,500")}, ("trims.csv", None, None)),
    "short-rows": (trim(LINE_2 + "24\n"), ("trims.csv", 2, None)),
    "midnight": (trim("2026-02-01 00:00:00,T1,A1,24,,,,\n"), ("trims.csv", None, "A")),
    "no-log": ({"trims.csv": None}, ("trims.csv", None, None)),
    "spreadsheet-beside": ({"trims.xlsx": b"PK"}, ("trims.xlsx", None, None)),
    "own-species": (
        {"species.csv": "species_id,rate_per_day\nrotala-rotundifolia,0.1\n"},
        ("species.csv", None, None),
    ),
}

# these need more than the text of a file: see the tests below
OTHERWISE = {
    *("unreadable-file", "unsteady-file", "after-on", "suspect-reading", "whole-tank-grams"),
}
ALSO = {
    "decimal-point": {"delimiter", "decimal-comma-file"},
    "decimal-comma-file": {"delimiter"},
    "incomplete-species": {"own-species"},
    "species-filled": {"own-species"},
    "lowest-cut-at-ceiling": {"own-species"},
    "temperature-order": {"own-species"},
    "no-reference-growth": {"own-species"},
}
EXAMPLES = PROBLEMS | NOTES | REMARKS


def test_every_slug_has_an_example():
    assert set(EXAMPLES) | OTHERWISE == set(slugs())


@pytest.mark.parametrize("slug", EXAMPLES)
def test_the_example_triggers_its_slug_alone_in_words_that_help(slug, tmp_path):
    changes, place = EXAMPLES[slug]
    book, findings = inspect_book(write_book(tmp_path / "book", changes), today=TODAY)
    hits = [item for item in findings if item.slug == slug]
    assert {item.slug for item in findings} == {slug} | ALSO.get(slug, set())
    assert (hits[0].file, hits[0].row, hits[0].column) == place
    assert len(hits) == 1
    level = "problem" if slug in PROBLEMS else "note" if slug in NOTES else "remark"
    assert hits[0].level == level
    assert (book is None) == (level == "problem")
    for item in findings:
        text = format_finding(item)
        assert not re.search(r"invalid|fail|oops|error|traceback", text, re.IGNORECASE)
        first = text.split("\n")[0]
        assert re.fullmatch(r"[^:]+(:\d+(:\w+)?)?: [^:]+: found .+ \[[a-z0-9-]+\]", first), first
        assert item.expected
        assert item.fix


def test_a_folder_in_place_of_a_file(tmp_path, inspect):
    (tmp_path / "book" / "trims.csv").mkdir(parents=True)
    _, findings = inspect(trims_csv=None)
    assert [(item.slug, item.file) for item in findings] == [("unreadable-file", "trims.csv")]


def test_rows_after_the_asked_day_are_left_out(inspect):
    book, findings = inspect(on=date(2026, 2, 14))
    assert [(item.slug, item.file, item.row) for item in findings] == [("after-on", "trims.csv", 4)]
    assert len(book.trims) == 2


def test_a_file_that_never_rests(make_book, monkeypatch):
    folder = make_book()
    path = folder / "trims.csv"
    stat = Path.stat

    def written_meanwhile(self, **kwargs):
        if self == path:
            with path.open("a") as stream:
                stream.write("\n")
        return stat(self, **kwargs)

    monkeypatch.setattr(Path, "stat", written_meanwhile)
    _, findings = inspect_book(folder, today=TODAY)
    assert [(item.slug, item.file) for item in findings] == [("unsteady-file", "trims.csv")]
