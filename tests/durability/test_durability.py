"""Whatever happens to the process, the machine or the folder, nothing a person typed is lost."""

from __future__ import annotations

import random
import subprocess
import sys
import time
from contextlib import ExitStack, contextmanager
from pathlib import Path

import pytest

from growthcast.book.read import inspect_book
from growthcast.book.writing.journal import book_lock, entries
from tests.books import AREAS, HEADER, TODAY, write_book

ROOT = Path(__file__).parents[2]

PATIENCE_S = 3600
"""When something hangs for good; however slow a machine is, it is done long before."""

EACH = 60
"""Entries of one of four loggers; without the lock the first dozen are lost already."""

LOGGER = f"""
import sys
from datetime import date, timedelta
from pathlib import Path
from growthcast.book.writing import journal
from growthcast.book.writing.append import add_rows

journal.PATIENCE_S = {PATIENCE_S}
folder, tank, area, count = Path(sys.argv[1]), sys.argv[2], sys.argv[3], int(sys.argv[4])
print("ready", flush=True)
sys.stdin.readline()
for n in range(count):
    row = dict(date=date(2025, 2, 1) + timedelta(days=n), tank_id=tank, area_id=area,
               before_cm=4.0, after_cm=2.0)
    add_rows(folder, "trims", [row], today=date(2026, 11, 25), command="log", summary=str(n))
    print(n, flush=True)
"""


@contextmanager
def logger(folder, tank, area, count):
    """Yield a process that logs once it is told to; it ends with its pipes, come what may."""
    with subprocess.Popen(
        [sys.executable, "-c", LOGGER, str(folder), tank, area, str(count)],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
        cwd=ROOT,
    ) as process:
        try:
            assert process.stdout.readline() == "ready\n"
            yield process
        finally:
            process.kill()


def begin(process):
    process.stdin.write("\n")
    process.stdin.flush()


@pytest.mark.slow
def test_the_entries_of_four_processes_at_once_are_all_there(tmp_path):
    fourth = "fern,home,Fern,taxiphyllum-barbieri,150,2,9,,2025-01-01,\n"
    folder = write_book(tmp_path / "book", areas=AREAS + fourth, trims=HEADER)
    who = [("lobby", "stems"), ("lobby", "carpet"), ("home", "moss"), ("home", "fern")]
    with ExitStack() as stack:
        loggers = [stack.enter_context(logger(folder, *one, EACH)) for one in who]
        for process in loggers:
            begin(process)
        for process in loggers:
            process.communicate(timeout=PATIENCE_S)
            assert process.returncode == 0
    lines = (folder / "trims.csv").read_text().splitlines()
    assert len(lines) == 4 * EACH + 1
    assert len(set(lines)) == 4 * EACH + 1
    assert len(list(entries(folder))) == 4 * EACH
    book, findings = inspect_book(folder, today=TODAY)
    assert book is not None, findings
    assert [int((book.trims.text("area_id") == area).sum()) for _, area in who] == [EACH] * 4


@pytest.mark.slow
def test_killed_at_every_system_call_a_file_is_the_old_or_the_new_one(tmp_path):
    done = subprocess.run(
        [sys.executable, "-m", "tests.durability.killer", str(tmp_path)],
        capture_output=True,
        text=True,
        cwd=ROOT,
        timeout=PATIENCE_S,
    )
    assert done.returncode == 0, done.stderr
    assert int(done.stdout) >= 200


@pytest.mark.slow
def test_killed_at_any_time_no_entry_that_was_told_is_lost(tmp_path):
    """A logger is killed again and again; what it said was written is there, in order."""
    luck = random.Random(20261125)
    for attempt in range(8):
        folder = write_book(tmp_path / f"book{attempt}", trims=HEADER)
        with logger(folder, "lobby", "stems", 500) as process:
            begin(process)
            time.sleep(luck.uniform(0.05, 0.6))
            process.kill()
            told = process.communicate()[0].split()
        text = (folder / "trims.csv").read_text()
        assert text.endswith("\n")
        assert len(text.splitlines()) - 1 in (len(told), len(told) + 1)
        with book_lock(folder):
            pass
        lines = (folder / "trims.csv").read_text().splitlines()[1:]
        assert len(lines) == len(list(entries(folder)))
        assert not list(folder.glob("*.growthcast-new"))
        assert inspect_book(folder, today=TODAY)[0] is not None
