"""A first book and a visit typed as a person types them, keystrokes counted. All of it invented."""

from __future__ import annotations

import io
import sys
from unittest import mock

import openpyxl
import pytest

from growthcast.book.read import read_book
from tests.cli import run
from tests.unit.book.small_book import write_book

NINE_TANKS = """\
Water and Leaf
58
lobby, Hotel 120x45x48
limnophila se b
hygrophila p b
rotala r m
ludwigia re m
small-leaf
micranthemum t

desk, Client A 45x30x30
dwarf baby
eleocharis p f
java moss
rotala ro m

study, Client B 90x45x40
anubias b n
java fern b
bolbitis
bucephalandra p

reception, Client C 120x50x50
pogostemon s b
limnophila a b
alternanthera reineckii m
amazon sword
helanthium t
cryptocoryne p f

home, Client D 100x40x45
water wisteria b
vallisneria s b
cryptocoryne we
java moss
frogbit

shop, Client E 80x35x40
bacopa c b
rotala ma b
blyxa
micranthemum g m
staurogyne

hall, Client F 150x55x55
ludwigia re b
hygrophila c b
rotala w m
cryptocoryne be
marsilea h

clinic, Client F 60x30x36
bacopa m b
pogostemon h
glossostigma
fissidens f

window, Client G 60x35x35
didiplis b
anubias barteri m
salvinia a


y
"""


class Terminal(io.StringIO):
    def isatty(self):
        return True


def start(folder, typed):
    with mock.patch.object(sys, "stdin", Terminal(typed)):
        return run("start", str(folder))


def test_a_first_book_of_nine_tanks_takes_few_keystrokes(tmp_path):
    folder = tmp_path / "book"
    ran = start(folder, NINE_TANKS)
    assert ran.status == 0, ran.err
    book = read_book(folder)
    assert (len(book.tanks), len(book.areas)) == (9, 42)
    assert len(NINE_TANKS) + len("growthcast start book\n") <= 1600
    assert book.practice.labour_rate_per_h == 58
    assert not book.areas.given("planted_on").any()  # before our time
    floor, budget = book.areas.number("floor_cm"), book.areas.number("budget_cm")
    assert (floor < budget).all()
    checked = run("check", str(folder))
    assert "are proposed" in checked.err + checked.out
    assert "heights are proposals" in run("interval", str(folder), "--tank", "desk").err
