"""Phones and the desk log at once, and the desk is killed meanwhile: each visit is there once."""

from __future__ import annotations

import os
import random
import signal
import threading
import time
from datetime import timedelta
from functools import partial

import pytest

from growthcast.book.read import read_book
from tests.books import HEADER, write_book
from tests.desk import AREAS, NAME, TODAY, Opened
from tests.e2e.test_desk import Phone

pytestmark = pytest.mark.slow
PHONES = 4
VISITS = int(os.environ.get("GROWTHCAST_TEST_VISITS", "12"))
"""Visits of each phone, and of the desk."""
PATIENCE_S = 300.0


def many_tanks(folder):
    tanks = "tank_id,client,water_depth_cm,longest_interval_d\n"
    areas = AREAS.splitlines(True)[0]
    for n in range(PHONES + 1):
        tanks += f"t{n},Client {n},40,\n"
        areas += f"m{n},t{n},Moss,taxiphyllum-barbieri,150,2,9,3,2024-01-01,\n"
    return write_book(folder, tanks=tanks, areas=areas, trims=HEADER)


def patiently(ask):
    """Ask until there is an answer, as a phone does while the desk is away."""
    until = time.monotonic() + PATIENCE_S
    while True:
        try:
            return ask()
        except (OSError, ValueError):
            assert time.monotonic() < until
            time.sleep(0.2)


@pytest.fixture
def desk(tmp_path):
    one = Opened(many_tanks(tmp_path / "book"), "--share", "--at", NAME)
    yield one
    one.stop(signal.SIGKILL)


def test_every_visit_is_in_the_book_once(desk):
    desk.get("/")
    phones = [Phone(desk, desk.code(), f"{n}{n}" * 8) for n in range(PHONES)]
    days = [TODAY - timedelta(days=n) for n in range(VISITS)]

    def hand_over(n, visit, day):
        number, tank = f"p{n}v{visit:05d}", f"t{n}"
        status, told = phones[n].visit(number, f"m{n}=right", tank=tank, day=str(day))
        assert status == 200
        if told["state"] == "later":  # the book is being written in; a phone asks again
            raise ValueError(told["said"])
        assert told["state"] in ("new", "known"), told

    def log_by_phone(n):
        for visit, day in enumerate(days):
            patiently(partial(hand_over, n, visit, day))
            if random.random() < 0.3:
                patiently(partial(hand_over, n, visit, day))  # the receipt was lost

    def type_in(day):
        typed, status = {}, 0
        while status != 303:
            assert status in (0, 200, 403)  # somebody logged meanwhile; the desk is a new one
            typed = desk.form(f"t{PHONES}")
            typed |= {"on": str(day), "number": f"desk{day:%Y%m%d}", "l0": "right"}
            status, _ = desk.post("/visit", typed | {"action": "save"})

    def log_by_desk():
        for day in days:
            patiently(partial(type_in, day))

    workers = [threading.Thread(target=log_by_phone, args=(n,)) for n in range(PHONES)]
    workers.append(threading.Thread(target=log_by_desk))
    for one in workers:
        one.start()
    kills = 0
    while any(one.is_alive() for one in workers):
        for _ in range(60):
            time.sleep(0.1)
            if not any(one.is_alive() for one in workers):
                break
        else:
            if kills < 3:
                desk.stop(signal.SIGKILL)
                desk.start()
                kills += 1
    desk.stop(signal.SIGKILL)
    print(f"{VISITS * (PHONES + 1)} visits, {kills} kills")
    rows = (desk.folder / "trims.csv").read_text().splitlines()[1:]
    wanted = {f"{day},t{n},m{n},,,,,right,," for day in days for n in range(PHONES + 1)}
    assert len(rows) == len(wanted)
    assert set(rows) == wanted
    assert len(read_book(desk.folder).trims) == len(wanted)
