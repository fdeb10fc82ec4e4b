"""What very large books cost, measured by hand: seconds and peak memory of each command.

    python -m tests.benchmarks.huge            (all of it: some minutes)
    python -m tests.benchmarks.huge --rows 200000

Each command runs in a process of its own. The log is invented. What is printed as refused ended
with status 2 and a reason, which is printed too.
"""

from __future__ import annotations

import argparse
import os
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from tests.books import AREAS, PRACTICE, TANKS

AREAS_EACH, FIRST_DAY = 40, 2


def write_log(folder: Path, rows: int, note: str) -> float:
    """Write a book of many areas with a log of so many rows; return its size in MB."""
    import numpy as np

    (folder / "practice.toml").write_text(PRACTICE)
    days = 500
    tanks = max(1, rows // (days * AREAS_EACH) + 1)
    head = TANKS.splitlines()[0]
    (folder / "tanks.csv").write_text(head + "\n" + "".join(f"t{n},c,46,\n" for n in range(tanks)))
    head = AREAS.splitlines()[0]
    (folder / "areas.csv").write_text(
        head
        + "\n"
        + "".join(
            f"a{n},t{n // AREAS_EACH},area {n},rotala-rotundifolia,400,7,22,9,2015-01-01,\n"
            for n in range(tanks * AREAS_EACH)
        )
    )
    rng = np.random.default_rng(1)
    before = rng.normal(18, 2, rows).clip(10, 30)
    first, areas = np.datetime64("2016-01-01"), tanks * AREAS_EACH
    with (folder / "trims.csv").open("w") as file:
        file.write("date,tank_id,area_id,before_cm,after_cm,minutes,note\n")
        for n in range(rows):
            area, visit = n % areas, n // areas
            file.write(
                f"{first + 7 * visit},t{area // AREAS_EACH},a{area},{before[n]:.1f},9,,{note}\n"
            )
    return (folder / "trims.csv").stat().st_size / 1e6


def measure(*arguments: str) -> None:
    """Run a command in a process of its own and print what it took."""
    command = (sys.executable, "-m", "growthcast", *arguments)
    began = time.perf_counter()
    with tempfile.TemporaryFile() as told:
        process = subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=told)
        _, status, used = os.wait4(process.pid, 0)
        seconds = time.perf_counter() - began
        told.seek(0)
        reason = (
            told.read().decode().strip().splitlines()[-1:]
            if os.waitstatus_to_exitcode(status) == 2
            else []
        )
    words = {0: "done", 1: "done, with notes", 2: "refused"}
    status = os.waitstatus_to_exitcode(status)
    print(
        f"    {arguments[0]:7s} {seconds:6.1f} s wall, {used.ru_utime + used.ru_stime:6.1f} s cpu, "
        f"{used.ru_maxrss / 1024:5.0f} MB: {words.get(status, f'status {status}')} "
        + " ".join(reason)[:200],
        flush=True,
    )


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--rows", type=int, nargs="+", default=[200_000, 1_000_000])
    parser.add_argument("--note", default="", help="text of every row, to make the file larger")
    parser.add_argument("--sheets", action="store_true", help="export and import too")
    asked = parser.parse_args()
    for rows in asked.rows:
        with tempfile.TemporaryDirectory() as name:
            folder = Path(name) / "book"
            folder.mkdir()
            size = write_log(folder, rows, asked.note)
            print(f"{rows} log rows, {size:.0f} MB")
            measure("check", str(folder))
            if asked.sheets:
                file = Path(name) / "book.xlsx"
                measure("export", str(folder), "--xlsx", str(file))
                if file.exists():
                    print(f"    {file.name} has {file.stat().st_size / 1e6:.0f} MB")
                    measure("import", str(file), str(folder))


if __name__ == "__main__":
    main()
