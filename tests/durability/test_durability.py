"""Whatever happens to the process, the machine or the folder, nothing a person typed is lost."""

from __future__ import annotations

import random
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from growthcast.book.read import inspect_book
from growthcast.book.writing.journal import entries
from growthcast.book.writing.lock import book_lock
from tests.books import AREAS, HEADER, TODAY, write_book

ROOT = Path(__file__).parents[2]

LOGGER = """
import sys
from datetime import date, timedelta
from pathlib import Path
from growthcast.book.writing.append import add_rows

folder, tank, area, count = Path(sys.argv[1]), sys.argv[2], sys.argv[3], int(sys.argv[4])
print("ready", flush=True)
sys.stdin.readline()
for n in range(count):
    row = {"date": date(2025, 2, 1) + timedelta(days=n), "tank_id": tank, "area_id": area,
           "before_cm": 4.0, "after_cm": 2.0}
    add_rows(folder, "trims", [row], today=date(2026, 11, 25), command="log", summary=str(n))
    print(n, flush=True)
"""


def start(folder, tank, area, count):
    return subprocess.Popen(
        [sys.executable, "-c", LOGGER, str(folder), tank, area, str(count)],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
        cwd=ROOT,
    )


@pytest.mark.slow
def test_a_thousand_entries_of_four_processes_are_all_there(tmp_path):
    fourth = "fern,home,Fern,taxiphyllum-barbieri,150,2,9,,2025-01-01,\n"
    folder = write_book(tmp_path / "book", areas=AREAS + fourth, trims=HEADER)
    who = [("lobby", "stems"), ("lobby", "carpet"), ("home", "moss"), ("home", "fern")]
    loggers = [start(folder, tank, area, 250) for tank, area in who]
    for logger in loggers:
        assert logger.stdout.readline() == "ready\n"
    for logger in loggers:
        logger.stdin.write("\n")
        logger.stdin.flush()
    for logger in loggers:
        logger.communicate(timeout=300)
        assert logger.returncode == 0
    lines = (folder / "trims.csv").read_text().splitlines()
    assert len(lines) == 1001
    assert len(set(lines)) == 1001
    assert len(list(entries(folder))) == 1000
    book, findings = inspect_book(folder, today=TODAY)
    assert book is not None, findings
    assert [int((book.trims.text("area_id") == area).sum()) for _, area in who] == [250] * 4


@pytest.mark.slow
def test_killed_at_every_system_call_a_file_is_the_old_or_the_new_one(tmp_path):
    done = subprocess.run(
        [sys.executable, "-m", "tests.durability.killer", str(tmp_path)],
        capture_output=True,
        text=True,
        cwd=ROOT,
        timeout=300,
    )
    assert done.returncode == 0, done.stderr
    assert int(done.stdout) >= 200


@pytest.mark.slow
def test_killed_at_any_time_no_entry_that_was_told_is_lost(tmp_path):
    """A logger is killed again and again; what it said was written is there, in order."""
    luck = random.Random(20261125)
    for attempt in range(12):
        folder = write_book(tmp_path / f"book{attempt}", trims=HEADER)
        logger = start(folder, "lobby", "stems", 500)
        assert logger.stdout.readline() == "ready\n"
        logger.stdin.write("\n")
        logger.stdin.flush()
        time.sleep(luck.uniform(0.05, 0.6))
        logger.send_signal(signal.SIGKILL)
        told = logger.communicate()[0].split()
        text = (folder / "trims.csv").read_text()
        assert text.endswith("\n")
        assert len(text.splitlines()) - 1 in (len(told), len(told) + 1)
        with book_lock(folder, patience_s=5):
            pass
        lines = (folder / "trims.csv").read_text().splitlines()[1:]
        assert len(lines) == len(list(entries(folder)))
        assert not list(folder.glob("*.growthcast-new"))
        assert inspect_book(folder, today=TODAY)[0] is not None
