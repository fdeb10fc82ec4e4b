"""Slips that people make with their files and their typing, as the commands answer them."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

from growthcast.book.files import demo_dir
from tests.cli import run
from tests.unit.book.small_book import FILES
from tests.unit.book.small_book import write_book as write_small_book

FULL = Path("/dev/full")


def write_book(folder, changes):
    """Write the small book with a floating plant of the table that ships."""
    areas = FILES["areas.csv"].replace("salvinia-natans", "lemna-minor")
    return write_small_book(folder, {"areas.csv": areas, **changes})


def checked(tmp_path, changes):
    ran = run("check", str(write_book(tmp_path / "book", changes)), "--json")
    return ran.status, json.loads(ran.out)["findings"]


def test_the_demo_has_nothing_to_say_but_how_its_buckets_are_read():
    ran = run("check", str(demo_dir()))
    assert ran.status == 0
    [said] = ran.err.splitlines()
    assert said.endswith("[whole-tank-grams]")


@pytest.mark.parametrize("name", ["trims.xlsx", "trims.ods", "trims.csv.txt"])
def test_a_log_that_is_no_csv_stops_every_answer(tmp_path, name):
    book = write_book(tmp_path / "book", {"trims.csv": None, name: b"PK\x03\x04"})
    ran = run("forecast", str(book))
    assert ran.status == 2
    assert ran.out == ""
    assert "[not-csv]" in ran.err
    assert "trims.csv" in ran.err.split("fix: ")[1]


def test_no_log_at_all_is_remarked(tmp_path):
    status, findings = checked(tmp_path, {"trims.csv": None})
    assert status == 0
    assert [item["slug"] for item in findings] == ["no-log"]
    assert findings[0]["found"] == "no log: answers rest on the species table"


def test_a_workbook_named_csv(tmp_path):
    status, findings = checked(tmp_path, {"trims.csv": b"PK\x03\x04" + bytes(200)})
    assert status == 2
    assert [item["slug"] for item in findings] == ["workbook"]


def test_a_species_of_five_cells_is_forecast(tmp_path):
    species = "species_id,form,measure,rate_per_day,ceiling_cm\nnew-stem,stem,height_cm,0.07,50\n"
    areas = (
        "area_id,tank_id,species_id,area_cm2,floor_cm,budget_cm,planted_on\n"
        "A1,T1,new-stem,300,8,25,2026-01-01\n"
    )
    log = "date,tank_id,area_id,before_cm,after_cm\n2026-02-01,T1,A1,20,10\n"
    book = write_book(
        tmp_path / "book", {"species.csv": species, "areas.csv": areas, "trims.csv": log}
    )
    ran = run("forecast", str(book), "--json")
    assert ran.status == 0
    (area,) = json.loads(ran.out)["areas"]
    assert area["rate_per_day"]["p50"] == pytest.approx(0.07, rel=0.5)
    assert "[species-filled]" in ran.err


def test_part_of_a_species_name():
    ran = run("species", "rotala")
    assert ran.status == 0
    assert "rotala-rotundifolia" in ran.out
    assert "rotala-macrandra" in ran.out


@pytest.mark.skipif(not FULL.exists(), reason="no device that is always full")
def test_an_answer_that_cannot_be_written_is_a_sentence():
    code = (
        "import sys\n"
        "from growthcast.cli.output import answer_that_arrives\n"
        "from growthcast.cli.tables import print_line\n"
        "from growthcast.errors import UsageError\n"
        "try:\n"
        "    with answer_that_arrives():\n"
        "        print_line('an answer')\n"
        "        sys.exit(0)\n"
        "except UsageError as error:\n"
        "    print(error, file=sys.stderr)\n"
        "    sys.exit(2)\n"
    )
    with FULL.open("w") as full:
        ran = subprocess.run(
            [sys.executable, "-c", code],
            stdout=full,
            stderr=subprocess.PIPE,
            text=True,
            check=False,
        )
    assert ran.returncode == 2
    assert ran.stderr.strip() == (
        f"the answer cannot be written to where stdout goes: {os.strerror(28)}"
    )


def test_files_stay_as_they_were_typed(tmp_path):
    changes = {"practice.toml": "confidence = 0,9\r\n", "trims.xlsx": b"PK", "trims.csv": b"PK\3\4"}
    book = write_book(tmp_path / "book", changes)
    before = {path.name: path.read_bytes() for path in book.iterdir()}
    assert run("check", str(book)).status == 2
    assert {path.name: path.read_bytes() for path in book.iterdir()} == before
