"""Which amounts tell of a cut, in the log and of a line just typed alike."""

from __future__ import annotations

import numpy as np
import pytest

from growthcast.book.writing.visit.entry import visit_rows
from growthcast.log.visits import read_log, tells_of_cut
from growthcast.say.log import ALL, rows_in_words
from growthcast.service.doubts.typed import AMOUNTS, PastCuts, Typed
from tests.books import HEADER, make_book

ON = "2026-06-01"


@pytest.mark.parametrize(
    ("cells", "line", "cut"),
    [
        ("18,9,,", "18/9", True),
        ("18,18,,", "18/18", False),
        ("18,,,", "18", False),
        (",9,,", "/9", True),
        (",,6,", "-6", True),
        (",,0,", "-0", False),
        ("18,,6,", None, True),
        ("18,,0,", None, False),
        ("18,9,0,", None, True),  # heights tell it before a length
        ("18,18,6,", None, False),
        (",,,40", "40g", True),
        (",,,0", "0g", False),
        ("18,18,,40", "18/18+40g", True),
        ("18,,,0", "18+0g", False),
    ],
)
def test_one_rule_says_what_was_cut(tmp_path, cells, line, cut):
    """As the log is read, as a visit is said back, and as it is held against what was expected."""
    told = dict(zip(AMOUNTS, (float(cell or "nan") for cell in cells.split(",")), strict=True))
    assert bool(tells_of_cut(*(np.asarray(amount) for amount in told.values()))) == cut
    typed = Typed(None, {n: v for n, v in told.items() if v == v}, True, PastCuts(np.zeros(0), 9.0))
    assert typed.untouched != cut
    book = make_book(tmp_path, trims=f"{HEADER}{ON},lobby,stems,{cells},,,\n")
    assert read_log(book).visits.cut.tolist() in ([cut], [])
    if line is not None:
        rows = visit_rows(book, "lobby", np.datetime64("2026-06-08").item(), [f"stems={line}"])
        said = rows_in_words(rows, [rows[0].place], ALL)[0]
        assert ("not cut" in said) != cut


def test_nothing_told_is_neither_cut_nor_left():
    nothing = np.full(4, np.nan)
    assert not tells_of_cut(*nothing)
    assert not Typed(None, {"look": "right"}, True, PastCuts(np.zeros(0), 9.0)).untouched
