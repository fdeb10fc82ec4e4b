"""Gross errors and unlogged cuts are found, named, and do not wreck their area."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import numpy as np
import pytest
from scipy.stats import norm

from growthcast.fit.growth import fit_growth
from growthcast.fit.rows.chains import Link
from growthcast.fit.suspects import UNUSUAL, UNUSUAL_SHARE, _Foreseen, _verdicts
from tests.books import make_book, stem_log
from tests.cli import run
from tests.unit.fit.small_problem import small_problem

ON = date(2026, 6, 1)


def lines_of(visits=16):
    return stem_log(visits=visits).splitlines(keepends=True)


def rate_of(book):
    """Return the fit, and the log of how fast the area grows over a week that begins with a cut.

    The rate alone goes with what the log says of lags after cuts.
    """
    fit = fit_growth(book, ON)
    post = fit.posterior(np.array([0]))
    awake = 1.0 - post.lag_d[0] / 7.0
    return fit, post.mean.log_rate[0] + np.log(awake)


def test_a_clean_log_has_no_suspects(tmp_path):
    fit, _ = rate_of(make_book(tmp_path, trims="".join(lines_of())))
    assert fit.suspects == []


@pytest.mark.parametrize(("row", "reading"), [(9, "1.8"), (9, "180"), (12, "60")])
def test_a_gross_error_is_named_and_does_not_wreck_the_area(tmp_path, row, reading):
    lines = lines_of()
    _, clean = rate_of(make_book(tmp_path / "clean", trims="".join(lines)))
    cells = lines[row].split(",")
    cells[3] = reading
    if float(reading) < 9.0:
        cells[4] = ""  # what was left cannot be higher than what was found
    lines[row] = ",".join(cells)
    fit, spoilt = rate_of(make_book(tmp_path / "spoilt", trims="".join(lines)))
    [suspect] = fit.suspects
    assert (suspect.file, suspect.row) == ("trims.csv", row + 1)
    assert (suspect.area_id, suspect.reading_cm) == ("stems", float(reading))
    assert not suspect.unlogged_cut
    assert spoilt == pytest.approx(clean, abs=0.1)


def test_an_unlogged_cut_is_named_as_such(tmp_path):
    lines = lines_of()
    cells = lines[9].split(",")
    cells[3], cells[4] = "10", "9"  # it should have stood at 18
    lines[9] = ",".join(cells)
    fit, _ = rate_of(make_book(tmp_path, trims="".join(lines)))
    [suspect] = fit.suspects
    assert suspect.unlogged_cut


def log_with_a_hard_cut(reading):
    """Return a regular log with one cut to 4 cm, and what was read a week after."""
    lines = lines_of()
    before, after = lines[9].split(","), lines[10].split(",")
    before[4], after[3] = "4", reading
    if float(reading) < 9.0:
        after[4] = ""
    lines[9], lines[10] = ",".join(before), ",".join(after)
    return "".join(lines)


def test_a_cut_made_elsewhere_than_usual_is_no_error(tmp_path):
    fit, _ = rate_of(make_book(tmp_path, trims=log_with_a_hard_cut("9.5")))
    assert fit.suspects == []


@pytest.mark.parametrize("reading", ["95", "28", "0.95"])
def test_a_slip_after_a_hard_cut_is_named(tmp_path, reading):
    """The doubt about the pause is no licence: a wild reading stays an error."""
    fit, _ = rate_of(make_book(tmp_path, trims=log_with_a_hard_cut(reading)))
    [suspect] = fit.suspects
    assert suspect.row == 11
    assert (suspect.area_id, suspect.reading_cm) == ("stems", float(reading))


def test_check_deep_names_suspects_as_notes(tmp_path):
    lines = lines_of()
    cells = lines[9].split(",")
    cells[3] = "45"
    lines[9] = ",".join(cells)
    book = make_book(tmp_path, trims="".join(lines)).folder
    assert run("check", str(book)).status == 0
    ran = run("check", str(book), "--deep")
    assert ran.status == 1
    assert "trims.csv:10: row: found" in ran.err
    assert "[suspect-reading]" in ran.err


def test_a_stub_of_half_a_centimetre_is_judged_by_its_own_height():
    """Half a centimetre where 1 cm is left as a rule and 4 cm were foreseen: cut elsewhere.

    By hand: 5 % cut elsewhere, spread by 60 %, 2 % each err or follow an unlogged cut.
    """
    problem = small_problem()
    block = problem.blocks[0]
    nodes = block.chains.nodes
    aimed = int(np.flatnonzero(nodes.link == Link.AIMED)[0])
    everywhere = np.ones(nodes.day.size)
    reading = nodes.reading_cm.copy()
    reading[aimed] = 0.5
    block = replace(block, chains=replace(block.chains, nodes=replace(nodes, reading_cm=reading)))
    foreseen = _Foreseen(
        height=4.0 * everywhere,
        variance=0.3 * everywhere,
        error=0.2 * everywhere,
        usual=0.0 * everywhere,
        off=0.0 * everywhere,
        off_variance=everywhere,
    )
    verdict, beats = _verdicts(block, foreseen, 1.0)
    elsewhere = np.log(UNUSUAL_SHARE / 0.5) + norm.logpdf(np.log(0.5), 0.0, 0.6)
    sound = np.log(0.96) + norm.logpdf(0.5, 4.0, np.sqrt(0.5))
    assert verdict[aimed] == UNUSUAL
    assert beats[aimed] == pytest.approx(elsewhere - sound)
