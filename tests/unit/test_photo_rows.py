"""Heights read off photos in the log: their own errors, beside a ruler's, and the offset."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import pytest

from growthcast.book.writing.visit.entry import visit_rows
from growthcast.errors import UsageError
from growthcast.fit.design import build_design
from growthcast.fit.growth import fit_growth
from growthcast.fit.model.spreads import Spreads
from growthcast.log.photos import learn_offset
from growthcast.log.visits import read_log
from growthcast.say.forecast import offset_words
from growthcast.say.log import visit_in_words
from tests.books import make_book
from tests.cli import run

HEADER = "date,tank_id,area_id,before_cm,after_cm,look,measured_by,before_sd_cm\n"
ON = date(2026, 6, 1)


def log_of(folder, *rows):
    return read_log(make_book(folder, trims=HEADER + "".join(f"{row}\n" for row in rows)))


def test_a_photo_keeps_its_own_error_and_a_ruler_has_none(tmp_path):
    visits = log_of(
        tmp_path,
        "2026-05-01,lobby,stems,18,9,,photo,1.2",
        "2026-05-08,lobby,stems,16,9,,photo,",  # 1 cm and 3 % of 16: 1.109
        "2026-05-15,lobby,stems,17,9,,ruler,",
        "2026-05-22,lobby,stems,,9,,,1.0",  # the error of nothing
    ).visits
    np.testing.assert_allclose(visits.before_sd_cm, [1.2, 1.1093, np.nan, np.nan], atol=1e-4)
    np.testing.assert_array_equal(visits.before_cm, [18, 16, 17, np.nan])


@pytest.mark.parametrize("turned", [False, True])
def test_both_on_one_day_are_one_reading(tmp_path, turned):
    """Ruler 20 ± 1.118, photo 21 ± 1; the offset is learnt from them alone.

    (21 - 20) / 20.5 = .0488 with variance (1.25 + 1) / 20.5^2 = .005354; beside the prior of .05
    the mean is .0488 .0025 / (.0025 + .005354) = .01553: the photo says 21 e^-.01553 = 20.676.
    """
    rows = ["2026-05-01,lobby,stems,20,9,,,", "2026-05-01,lobby,stems,21,,over,photo,1.0"]
    log = log_of(tmp_path, *(reversed(rows) if turned else rows))
    assert (log.photo_offset.pairs, log.visits.after_cm.tolist()) == (1, [9.0])
    assert log.photo_offset.log == pytest.approx(0.01553, abs=1e-5)
    sd = 1.0 * np.exp(-0.01553)
    both = 1 / 1.25 + 1 / sd**2
    mean = (20 / 1.25 + 20.676 / sd**2) / both
    assert log.visits.before_cm == pytest.approx([mean], abs=1e-3)
    assert log.visits.before_sd_cm == pytest.approx([both**-0.5], abs=1e-4)
    assert log.visits.look.tolist() == [3]
    assert not log.left_out


def test_a_photo_beside_a_cut_is_the_height_before_it(tmp_path):
    visits = log_of(
        tmp_path, "2026-05-01,lobby,stems,,9,,,", "2026-05-01,lobby,stems,21,,,photo,1.0"
    ).visits
    assert visits.before_cm.tolist() == [21.0]
    assert visits.after_cm.tolist() == [9.0]
    assert visits.before_sd_cm.tolist() == [1.0]


def test_an_offset_is_found_and_slips_are_none():
    rng = np.random.default_rng(1)
    true = rng.uniform(8, 25, 200)
    photo, ruler = 1.06 * true + rng.normal(0, 1.0, 200), true + rng.normal(0, 0.8, 200)
    photo[7] = 10.0 * true[7]  # a slipped decimal
    one = np.ones(200)
    found = learn_offset(photo, one, ruler, 0.8 * one)
    assert found.pairs == 199
    assert abs(found.log - np.log(1.06)) < 3 * found.sd < 0.03
    none = learn_offset(*np.zeros((4, 0)))
    assert (none.log, none.sd, none.pairs) == (0.0, pytest.approx(0.05), 0)


def every_week(count, *more, sd=""):
    days = (ON - timedelta(days=7 * back) for back in reversed(range(count)))
    heights = 8.0 * 1.03 ** np.arange(count)
    return [f"{d},lobby,stems,{h:.2f},,,,{sd}" for d, h in zip(days, heights, strict=True)]


def test_the_fit_takes_a_readings_own_error_for_the_rulers(tmp_path):
    """Half a centimetre said by each row, or by the ruler: the same posterior."""
    exact, vague = Spreads(height_error_share=0.0), Spreads(height_error_cm=4.0)
    own = make_book(tmp_path / "own", trims=HEADER + "\n".join(every_week(9, sd="0.5")) + "\n")
    ruler = make_book(tmp_path / "ruler", trims=HEADER + "\n".join(every_week(9)) + "\n")
    same, wanted = fit_growth(own, ON, vague), fit_growth(ruler, ON, exact)
    np.testing.assert_allclose(same.border_mean[:, :1], wanted.border_mean[:, :1], atol=1e-9)
    assert np.abs(same.border_mean - fit_growth(ruler, ON, vague).border_mean)[:, 0].max() > 0.01


def test_readings_with_errors_of_their_own_teach_the_ruler_nothing(tmp_path):
    wild = [f"2026-0{m}-{d:02},lobby,stems,{12 + (d % 2) * 6},,,photo,6" for m in (3, 4, 5) for d in
            (1, 8, 15, 22)]  # fmt: skip
    book = make_book(tmp_path, trims=HEADER + "\n".join(wild) + "\n")
    learnt = fit_growth(book, ON).design.spreads
    assert learnt.height_error_cm == pytest.approx(0.5, rel=0.02)
    nodes = build_design(book, ON).problem.blocks[0].chains.nodes
    assert np.nanmax(nodes.reading_sd_cm) == 6.0


def test_fit_tells_of_the_offset(tmp_path):
    pairs = [
        f"2026-05-{d:02},lobby,stems,{h},{a},,{by},{sd}"
        for d in range(1, 29, 3)
        for h, a, by, sd in ((20, 12, "", ""), (22, "", "photo", 0.4))
    ]
    book = make_book(tmp_path, trims=HEADER + "\n".join(pairs) + "\n")
    fit = fit_growth(book, ON)
    offset = fit.as_dict()["photo_offset"]
    assert offset["pairs"] == 10
    assert 0.08 < offset["share"] < 0.1
    assert "% above the ruler's" in (said := offset_words(offset))
    assert "10 readings" in said
    bare = replace(book, trims=book.trims.keep(book.trims.text("measured_by") == "photo"))
    assert "taken as they are" in offset_words(fit_growth(bare, ON).as_dict()["photo_offset"])


def test_a_photo_in_the_line_of_a_visit(tmp_path):
    book = make_book(tmp_path, trims=HEADER)
    rows = visit_rows(book, "lobby", ON, ["stems=photo:17.2~1.3+/9"])
    assert rows[0].amounts == {
        "before_cm": 17.2, "measured_by": "photo", "before_sd_cm": 1.3, "after_cm": 9.0,
    }  # fmt: skip
    assert visit_in_words("lobby", ON, rows, ())[1].endswith(
        "stood at 17.2 ± 1.3 cm by a photo; cut to 9 cm"
    )
    for wrong in ("stems=photo:17/9", "photo:17", "stems=photo:~1"):
        with pytest.raises(UsageError, match="read off a photo is written"):
            visit_rows(book, "lobby", ON, [wrong])


def test_a_photo_and_a_ruler_may_stand_on_one_day_and_two_photos_may_not(tmp_path):
    rows = "2026-05-01,lobby,stems,20,9,,,\n2026-05-01,lobby,stems,21,,,photo,1\n"
    folder = make_book(tmp_path / "good", trims=HEADER + rows).folder
    assert run("check", str(folder)).status == 0
    both = rows + "2026-05-01,lobby,stems,22,,,photo,1\n"
    with pytest.raises(Exception, match="problem"):
        make_book(tmp_path / "two", trims=HEADER + both)
