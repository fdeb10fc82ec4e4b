"""What timed rows trimmed and the minutes learnt from them, against formulas of another kind."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from types import SimpleNamespace

import numpy as np
import pytest
from scipy.stats import multivariate_normal, t

from growthcast.fit.design import build_design, day_number
from growthcast.fit.model.spreads import FORMS
from growthcast.service.effort import learn
from growthcast.service.effort.learn import (
    KINDS,
    Reading,
    TimedTrims,
    Timing,
    _defaults,
    _expected_off,
    _removed,
    bulk_per_cm,
    kind_of,
    learn_timing,
    regress,
    timed_trims,
)
from tests.books import make_book
from tests.curve import height_after

ON = date(2026, 6, 1)
NEVER = np.nan
DAY = 20000.0
AMOUNTS = ("before_cm", "after_cm", "removed_cm", "removed_g")


def visits_of(**rows):
    """Visits by area on day ``DAY``: heights before and after, length, grams, whether cut."""
    table = np.array([row[:4] for row in rows.values()], dtype=float).reshape(-1, 4)
    return SimpleNamespace(
        area=np.array([int(name[1:]) for name in rows], dtype=np.int64),
        day=np.full(len(rows), DAY),
        cut=np.array([row[4] for row in rows.values()], dtype=bool),
        **dict(zip(AMOUNTS, table.T, strict=True)),
    )


def fit_of(unsaid=None, count=8):
    area, length, sd, chance = unsaid or ([], [], [], [])
    errors = SimpleNamespace(
        height_error_cm=np.full(count, 0.3), height_error_share=np.full(count, 0.03)
    )
    return SimpleNamespace(
        design=SimpleNamespace(
            problem=SimpleNamespace(errors=errors),
            traits=SimpleNamespace(gram_per_cm=np.full(count, 2.0)),
        ),
        mode=SimpleNamespace(log_density=np.zeros(count)),
        unsaid_cuts=SimpleNamespace(
            area=np.array(area, dtype=np.int64),
            day=np.full(len(area), DAY),
            length_cm=np.array(length),
            sd_cm=np.array(sd),
            chance=np.array(chance),
        ),
    )


def joined(told, sd, expected, doubt):
    """Mean and deviation of the product of two normals, on a grid."""
    grid = np.linspace(-20.0, 40.0, 60_001)
    dense = np.exp(-0.5 * ((grid - told) / sd) ** 2 - 0.5 * ((grid - expected) / doubt) ** 2)
    mean = (grid * dense).sum() / dense.sum()
    return mean, np.sqrt(((grid - mean) ** 2 * dense).sum() / dense.sum())


def test_what_came_off_is_what_is_told_beside_what_was_expected(monkeypatch):
    """10 cm are expected give or take 4; a ruler errs by 0.3 cm and 3 %, scales by a quarter.

    Heights before and after count for more than a length, a length for more than a weight.
    """
    monkeypatch.setattr(learn, "_expected_off", lambda *_: np.full(7, 10.0))
    n = NEVER
    visits = visits_of(
        a0=(18, 9, n, n, True),
        a1=(n, n, 6, n, True),
        a2=(n, n, n, 12, True),
        a3=(18, 9, 6, 12, True),
        a4=(n, n, 6, 12, True),
        a5=(14, n, n, n, False),
    )
    areas = np.array([2, 0, 1, 3, 4, 5, 6])
    cm, sd, chance = _removed(fit_of(), visits, areas, np.full(7, DAY))
    ruler, weighed = np.sqrt(2) * np.hypot(0.3, 0.54), joined(6, 1.5, 10, 4)
    read, length = joined(9, ruler, 10, 4), joined(6, 0.3, 10, 4)
    for place, expected in enumerate([weighed, read, length, read, length, (10, 4), (10, 4)]):
        assert (cm[place], sd[place]) == pytest.approx(expected, rel=1e-4)
    assert chance.tolist() == pytest.approx([1, 1, 1, 1, 1, 0, n], nan_ok=True)


def test_a_cut_that_nobody_wrote_down_has_its_chance_and_length(monkeypatch):
    """Of an area with a row that day; without one the log says nothing of it."""
    monkeypatch.setattr(learn, "_expected_off", lambda *_: np.full(3, 10.0))
    visits = visits_of(a0=(14, NEVER, NEVER, NEVER, False), a1=(18, 9, NEVER, NEVER, True))
    fit = fit_of(([2, 0], [7.0, 5.0], [1.5, 2.5], [0.9, 0.3]))
    cm, sd, chance = _removed(fit, visits, np.array([0, 1, 2]), np.full(3, DAY))
    assert (cm[0], sd[0], chance[0]) == (5.0, 2.5, 0.3)
    assert chance[1] == 1.0
    assert (cm[2], sd[2]) == (10.0, 4.0)
    assert np.isnan(chance[2])


def test_nothing_is_never_less_than_nothing_and_no_log_leaves_what_is_expected(monkeypatch):
    monkeypatch.setattr(learn, "_expected_off", lambda *_: np.array([0.0, 10.0]))
    visits = visits_of(a0=(NEVER, NEVER, 0.5, NEVER, True), a1=(5, 20, NEVER, NEVER, True))
    areas, days = np.array([0, 1]), np.full(2, DAY)
    cm, sd, _ = _removed(fit_of(), visits, areas, days)
    assert (cm[0], sd[0]) == pytest.approx(joined(0.5, 0.3, 0.0, 0.1), rel=1e-4)
    assert cm[1] == 0.0
    cm, sd, chance = _removed(fit_of(), visits_of(), areas, days)
    assert (cm.tolist(), sd.tolist()) == ([0.0, 10.0], [0.0, 4.0])
    assert np.isnan(chance).all()


@pytest.mark.parametrize("shape", [1.0, 1.5])
def test_what_is_expected_is_what_has_grown_since_the_last_cut(shape):
    """Half a reference day a day: since the cut before, a fortnight ago, or planting if later.

    A usual cut above the ceiling begins at 95 % of it.
    """
    asked = []

    def growth_between(area, since, day, pause):
        asked.append((since - DAY).tolist())
        assert pause.tolist() == [0.0] * area.size
        return 0.5 * (day - since), None

    rate, ceiling, usual = np.array([0.3, 0.2, 0.1]), np.array([30.0, 20.0, 8.0]), 9.0
    fit = SimpleNamespace(
        design=SimpleNamespace(
            traits=SimpleNamespace(planted_day=DAY + np.array([-400.0, -6.0, -400.0])),
            problem=SimpleNamespace(shape=np.full(3, shape)),
            clock=SimpleNamespace(growth_between=growth_between),
        ),
        mode=SimpleNamespace(
            log_ceiling=np.log(ceiling),
            log_rate=np.log(rate),
            log_usual_cut=np.log(np.full(3, usual)),
        ),
    )
    visits = SimpleNamespace(
        area=np.array([0, 0, 0, 2]),
        day=DAY + np.array([-30.0, -20.0, -3.0, -7.0]),
        cut=np.array([True, True, False, True]),
    )
    area, ago = np.array([0, 1, 2, 0, 2, 0]), np.array([0, 0, 0, 25, 7, 40])
    found = _expected_off(fit, visits, area, DAY - ago)
    since = [-20.0, -6.0, -7.0, -30.0, -21.0, -54.0]
    assert asked == [since]
    for off, place, began, back in zip(found, area, since, ago, strict=True):
        start = min(usual, 0.95 * ceiling[place])
        end = height_after(start, -back - began, 0.5 * rate[place], ceiling[place], shape)
        assert off == pytest.approx(end - start, rel=1e-9)
    visits = SimpleNamespace(area=area[:0], day=np.zeros(0), cut=np.zeros(0, bool))
    _expected_off(fit, visits, np.array([0, 1]), np.full(2, DAY))
    assert asked[1] == [-14.0, -6.0]


LOG = """date,tank_id,area_id,before_cm,after_cm,look,minutes
2026-05-11,lobby,stems,18,9,,10
2026-05-11,lobby,,,,,20
2026-05-18,lobby,stems,18,9,,
2026-05-18,lobby,,,,,30
2026-05-25,home,,,,,5
2026-05-26,home,moss,,,right,0.7
2026-05-27,home,moss,9,3,,0
2026-06-02,home,moss,9,3,,8
"""


def test_timed_rows_and_the_areas_they_timed(tmp_path, monkeypatch):
    """By area and day: 4 cm off the stems with 0.8, 2 cm off the carpet, of which nothing is said.

    Nothing came off the moss on the 25th, so that row tells nothing. The stems' own 10 minutes
    stand beside the tank's of that day.
    """
    book = make_book(tmp_path, trims=LOG)
    fit = SimpleNamespace(design=build_design(book, ON))
    days = {n: day_number(date(2026, 5, n)) for n in (11, 18, 25, 26)}

    def removed(_, visits, area, day):
        cm = np.array([4.0, 2.0, 3.0])[area]
        known = np.array([0.8, NEVER, 0.0])[area]
        return cm, 0.5 * cm, np.where(day == days[26], NEVER, known)

    monkeypatch.setattr(learn, "_removed", removed)
    trims = timed_trims(book, fit)
    assert trims.minutes.tolist() == [10.0, 0.7, 20.0, 30.0]
    assert trims.fixed_min.tolist() == [0.0, 0.0, 30.0, 30.0]
    assert trims.own_min.tolist() == [0.0, 0.0, 10.0, 0.0]
    assert trims.visits == 3
    litres, of_moss = {"stems": 4.0 * 0.4, "carpet": 2.0 * 0.9}, 3.0 * 0.15
    expected = [  # row, amount, chance
        (0, litres["stems"], 0.8),
        (1, of_moss, 1.0),
        (2, litres["carpet"], 0.5),
        (3, litres["stems"], 0.8),
        (3, litres["carpet"], 0.5),
    ]
    columns = (trims.row, trims.amount, trims.chance)
    found = list(zip(*(column.tolist() for column in columns), strict=True))
    assert found == [pytest.approx(row) for row in expected]
    assert trims.amount_sd == pytest.approx(0.5 * trims.amount)
    forms = [fit.design.form[{1.6: 0, 1.8: 1}.get(round(row[1], 2), 2)] for row in expected]
    assert trims.kind.tolist() == forms


def test_cover_is_a_kind_of_its_own_measured_in_dm2():
    """50 cm2: 0.05 l a centimetre, or 0.5 dm2 in the whole and 0.005 in a point of cover."""
    design = SimpleNamespace(
        form=np.array([1, 1]), is_cover=np.array([False, True]), area_cm2=np.full(2, 50.0)
    )
    assert kind_of(design).tolist() == [1, 1 + len(FORMS)]
    assert bulk_per_cm(design) == pytest.approx([0.05, 0.005])


def rows_by_hand():
    """Eight rows of three kinds, one of them odd; some areas were only likely trimmed."""
    rng = np.random.default_rng(5)
    row = np.array([0, 0, 1, 2, 2, 3, 4, 5, 6, 7])
    kind = np.array([0, 1, 0, 1, 2, 2, 0, 1, 2, 0])
    minutes = np.array([14.0, 9.0, 22.0, 7.0, 60.0, 8.0, 5.0, 11.0])
    fixed = np.array([0.0, 0.0, 4.0, 4.0, 4.0, 0.0, 0.0, 4.0])
    own = np.array([0.0, 0.0, 3.0, 0.0, 2.0, 0.0, 0.0, 1.0])
    amount = rng.uniform(0.5, 4.0, row.size)
    chance = np.where(np.arange(row.size) % 3 == 1, 0.4, 1.0)
    return TimedTrims(minutes, fixed, own, 8, row, kind, amount, 0.2 * amount, chance)


@pytest.mark.parametrize("whose", ["all", "rest"])
@pytest.mark.parametrize("fixed", [False, True])
def test_minutes_learnt_are_where_the_posterior_is_highest(whose, fixed):
    """A Student t of 4 degrees about each row, a normal prior, and Laplace's evidence."""
    trims, kind = rows_by_hand(), np.arange(3)
    reading = Reading(whose, fixed)
    timing, evidence = regress(trims, kind, reading)
    assert (timing.reading, timing.visits) == (reading, 8)
    assert timing.seen.tolist() == [n < 3 for n in range(KINDS)]
    base = trims.fixed_min if fixed else np.zeros(8)
    minutes = trims.minutes - (trims.own_min if whose == "all" else 0.0)
    scatter2, prior, covariance = timing.scatter**2, _defaults()[0], np.linalg.inv(_defaults()[1])

    def of_row(n, log_min):
        """Minutes of trimming and their variance where amounts and areas are open."""
        mean, variance = 0.0, 0.0
        for link in np.flatnonzero(trims.row == n):
            set_up, work = np.exp(log_min[[trims.kind[link], KINDS + trims.kind[link]]])
            whole, p = set_up + work * trims.amount[link], trims.chance[link]
            mean += p * whole
            variance += p * (work * trims.amount_sd[link]) ** 2 + p * (1 - p) * whole**2
        return mean, variance

    best = timing.log_min
    means, doubts = np.array([of_row(n, best) for n in range(8)]).T
    variance = scatter2 * (base + means) ** 2 + doubts + 0.5**2
    off = minutes - base - means
    assert np.abs(off / np.sqrt(variance)).max() > 3.0  # the odd row

    def log_posterior(log_min):
        """With the variances as they are at the best."""
        at = np.array([of_row(n, log_min)[0] for n in range(8)])
        rows = t.logpdf(minutes - base - at, df=4, scale=np.sqrt(variance))
        return rows.sum() + multivariate_normal.logpdf(log_min, prior, covariance)

    top, step = log_posterior(best), 1e-3
    for place in (0, 1, 2, KINDS, KINDS + 1, KINDS + 2, 5):
        up, down = (log_posterior(best + s * np.eye(best.size)[place]) for s in (step, -step))
        assert (up - down) / (2 * step) == pytest.approx(0.0, abs=2e-3)
        assert max(up, down) < top
    weight = 5 / (4 + off**2 / variance)
    own = np.maximum(weight * off**2 - doubts - 0.5**2, 0.0) / (base + means) ** 2
    assert scatter2 == pytest.approx((6 * 0.25**2 + own.sum()) / (6 + 8), rel=1e-6)
    slope = np.zeros((8, best.size))
    for place in range(best.size):
        nudged = [best + s * np.eye(best.size)[place] for s in (step, -step)]
        up, down = (np.array([of_row(n, x)[0] for n in range(8)]) for x in nudged)
        slope[:, place] = (up - down) / (2 * step)
    curvature = (slope.T * (weight / variance)) @ slope + np.linalg.inv(covariance)
    np.testing.assert_allclose(timing.covariance, np.linalg.inv(curvature), rtol=1e-3, atol=1e-6)
    common = 8 * t.logpdf(0.0, df=4) + multivariate_normal.logpdf(prior, prior, covariance)
    room = np.linalg.slogdet(timing.covariance)[1] - np.linalg.slogdet(covariance)[1]
    assert evidence == pytest.approx(top - common + 0.5 * room, abs=1e-4)


def test_draws_of_minutes_have_the_covariance_that_was_learnt():
    """Areas of one kind share them; set-up and work go together as they were learnt."""
    size = 2 * KINDS
    root = np.eye(size) * 0.2
    root[KINDS, 0] = 0.3
    log_min = np.linspace(0.0, 1.0, size)
    timing = Timing(log_min, root @ root.T, 0.3, 3, np.ones(KINDS, bool), None, np.array([2, 0, 0]))
    set_up, work = timing.draws(np.array([1, 2, 0]), 4096)
    np.testing.assert_array_equal(set_up[0], set_up[1])
    for drawn, place in ((set_up[0], 0), (set_up[2], 2), (work[0], KINDS), (work[2], KINDS + 2)):
        assert np.log(drawn).mean() == pytest.approx(log_min[place], abs=0.01)
    both = np.cov(np.log([set_up[0], work[0], set_up[2]]))
    assert both == pytest.approx(
        np.array([[0.04, 0.06, 0], [0.06, 0.13, 0], [0, 0, 0.04]]), abs=0.004
    )


def test_what_minutes_rest_on_names_the_forms_that_were_never_timed():
    """Measured by height or by cover, a form is the same; without timed visits none is named."""
    seen = np.zeros(KINDS, bool)
    seen[[1, len(FORMS) + 2]] = True
    kind = np.array([1, 0, len(FORMS), 2, len(FORMS) + 2])
    timing = Timing(np.zeros(0), np.zeros(0), 0.3, 3, seen, Reading("all"), kind)
    assert timing.rests_on(np.array([0, 4])).untimed_forms == ()
    basis = timing.rests_on(np.arange(5))
    assert (basis.visits, basis.untimed_forms) == (3, (FORMS[0], FORMS[2]))
    assert basis.reading == Reading("all")
    none = Timing(np.zeros(0), np.zeros(0), 0.3, 0, seen, None, kind)
    assert none.rests_on(np.arange(5)).untimed_forms == ()


ALL, REST = Reading("all"), Reading("rest")
ALL_FIXED, REST_FIXED = Reading("all", fixed=True), Reading("rest", fixed=True)


@pytest.mark.parametrize(
    ("said", "own", "tried", "evidence", "chosen"),
    [
        (None, 0.0, [ALL, ALL_FIXED], (0.0, 2.9), None),
        (None, 0.0, [ALL, ALL_FIXED], (0.0, 3.1), ALL_FIXED),
        (None, 5.0, [ALL, REST, ALL_FIXED, REST_FIXED], (0.0, 2.9, 2.9, 2.9), ALL),
        (None, 5.0, [ALL, REST, ALL_FIXED, REST_FIXED], (0.0, 3.1, 2.0, 3.05), REST),
        (None, 5.0, [ALL, REST, ALL_FIXED, REST_FIXED], (5.0, 7.0, 9.0, 9.5), REST_FIXED),
        ("all", 5.0, [ALL, ALL_FIXED], (0.0, 2.9), ALL),
        ("rest", 0.0, [REST, REST_FIXED], (0.0, 3.1), REST_FIXED),
    ],
)
def test_another_reading_must_explain_the_log_clearly_better(
    monkeypatch, said, own, tried, evidence, chosen
):
    """By 3 in log evidence; one that is stated leaves open only whether the fixed part is in."""
    nothing, row = np.zeros(6), np.arange(6)
    trims = TimedTrims(
        nothing + 9, nothing + 30, nothing + own, 6, row, row * 0, nothing, nothing, nothing + 1
    )
    asked = []

    def told(some, kind, reading):
        asked.append(reading)
        timing = Timing(np.zeros(0), np.zeros(0), 0.3, 6, np.zeros(0, bool), reading, kind)
        return timing, evidence[len(asked) - 1]

    monkeypatch.setattr(learn, "timed_trims", lambda *_: trims)
    monkeypatch.setattr(learn, "kind_of", lambda _: row * 0)
    monkeypatch.setattr(learn, "regress", told)
    book = SimpleNamespace(practice=SimpleNamespace(whole_tank_minutes=said))
    stated = [replace(one, stated=said is not None) for one in (*tried, chosen) if one]
    found = learn_timing(book, SimpleNamespace(design=None)).reading
    assert (asked, found) == (stated[: len(tried)], (*stated, None)[len(tried)])
