"""Sums of the watch and of swaps on a few readings and draws, worked out by hand."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from types import SimpleNamespace

import numpy as np
import pytest

from growthcast.fit.foreseen import Foreseen
from growthcast.service.draws import stratified_normals
from growthcast.service.rescape.swaps import Comers
from growthcast.service.watch import judge, readings, watch
from growthcast.service.watch.judge import (
    DropSeen,
    Verdict,
    _alone,
    _contrast,
    _effect_from,
    _noticed_by,
    _own,
    _seen,
    _starts,
)
from growthcast.service.watch.readings import Index, IndexPoint, origin_of
from growthcast.service.watch.scan import (
    Change,
    Course,
    change_of,
    course_of,
    slips_set_aside,
    strongest,
    thresholds,
    without,
)
from growthcast.service.watch.watch import (
    _across,
    _areas_lately,
    _of_tank,
    _species_lately,
    changes_between,
)
from tests.books import HEADER, make_book, stem_log

CONDITIONS = """tank_id,from_date,co2_mg_l,note
lobby,2026-03-01,20,
home,2025-01-01,5,
lobby,2025-01-01,25,as set up
lobby,2026-05-01,,valve  serviced
lobby,2026-05-20,15,
"""


@pytest.fixture
def book(tmp_path):
    return make_book(tmp_path / "b", conditions=CONDITIONS)


def day(text):
    return float(np.datetime64(text, "D").astype(int))


@pytest.mark.parametrize(
    ("tank", "on", "co2"),
    [
        ("lobby", "2024-12-31", np.nan),
        ("lobby", "2025-01-01", 25.0),
        ("lobby", "2026-02-28", 25.0),
        ("lobby", "2026-03-01", 20.0),
        ("lobby", "2026-05-19", 20.0),  # a blank cell leaves what was
        ("lobby", "2026-06-01", 15.0),
        ("home", "2026-06-01", 5.0),
        ("attic", "2026-06-01", np.nan),
    ],
)
def test_the_latest_co2_of_the_tank_itself(book, tank, on, co2):
    assert book.latest_condition("co2_mg_l", tank, day(on)) == pytest.approx(
        np.nan if co2 is None else co2, nan_ok=True
    )


def test_changes_of_a_tank_come_by_date_and_without_its_first_row(book):
    every = changes_between(book, "lobby", -np.inf, np.inf)
    assert [one.on.isoformat() for one in every] == ["2026-03-01", "2026-05-01", "2026-05-20"]
    assert changes_between(book, "lobby", day("2026-03-02"), day("2026-05-01")) == every[1:2]
    assert changes_between(book, "lobby", day("2026-05-02"), day("2026-05-20")) == every[2:]
    assert changes_between(book, "home", -np.inf, np.inf) == []
    assert every[1].note == "valve serviced"


def test_a_change_of_conditions_up_to_45_days_before_one_of_growth_is_noted(book):
    """The valve was serviced on 1 May; what changes after the growth did has not to do with it."""
    for start, noted in (("2026-06-15", ["2026-05-01"]), ("2026-06-16", [])):
        since = np.array([day(start), day("2026-05-17"), day("2026-05-19")])
        late = replace(verdict("tank", 0), since_day=since)
        found = _of_tank(book, watched(0, [0, 1]), late)
        assert [one.on.isoformat() for one in (found.noted,) if one] == noted


def test_a_species_is_told_from_its_tank_by_what_the_tank_does_not_explain():
    """A species of 1, 1, 0, 0 in a whole of 2, 2, 1, 1 is 4 tenths of it: the rest is its own."""
    whole, own = np.array([2.0, 2.0, 1.0, 1.0]), np.array([1.0, 1.0, 0.0, 0.0])
    effect, nothing = np.stack([whole, own, whole - own])[:, None], np.zeros((3, 1, 4))
    course = Course(
        surprise=np.array([1.0, 2.0, 0.0, 1.0]),
        effect=np.concatenate([effect, 0.1 * effect, effect, nothing], axis=1),
        day=np.arange(4.0),
        open_week=np.array([[1, 1, 1, 1], [1, 1, 0, 1], [0, 1, 1, 1]], dtype=bool),
    )
    case = SimpleNamespace(course=course, areas=np.array([0, 1]))
    part = _contrast(case, np.array([5, 7]), 5)
    [weeks] = part.effect
    assert weeks[0] == pytest.approx([0.2, 0.2, -0.4, -0.4])
    assert weeks[1] == pytest.approx([0.02, 0.02, -0.04, -0.04])  # little growth tells the same
    assert weeks[2:].tolist() == [[0.0] * 4] * 2  # a closed week, and one without any growth
    other = _contrast(case, np.array([7, 5]), 5)
    assert other.effect[0, 0].tolist() == [0.0] * 4
    assert other.effect[0, 2] == pytest.approx([-0.2, -0.2, 0.4, 0.4])
    # 0.2 + 0.4 - 0.4 over the root of 0.04 + 0.04 + 0.16 + 0.16.
    assert _alone(part, 0, 1.0) == pytest.approx(0.2 / np.sqrt(0.4))
    assert _alone(part, 0, -1.0) == pytest.approx(-0.2 / np.sqrt(0.4))
    assert _contrast(case, np.array([5, 5]), 5) is None  # all of the tank is of that species
    assert _contrast(case, np.array([5, 7]), 6) is None


def test_a_combination_holds_in_the_draws_in_which_all_of_it_does():
    """Four draws: the rest holds in three, of which each pair of comers shares some."""
    rest, goes = [1, 1, 1, 0], [0, 0, 0, 0]
    holds = np.array([[1, 1, 0, 1], [0, 1, 1, 1], [1, 0, 1, 1], rest, goes, goes], dtype=bool)
    stand = SimpleNamespace(now=np.array([3, 4]))
    one = Comers(stand, np.array([0, 1, 2]), np.array([4, 4, 4])).chances(holds, [4])
    assert one.tolist() == [2 / 4, 2 / 4, 2 / 4]
    stand = SimpleNamespace(now=np.array([3, 4, 5]))
    two = Comers(stand, np.array([0, 1, 1, 2]), np.array([4, 4, 5, 5])).chances(holds, [4, 5])
    assert two.tolist() == [[1 / 4, 1 / 4], [2 / 4, 1 / 4]]


def course(effect, surprise, opened=None):
    """Return readings of one suspect, ``effect`` by week and reading."""
    effect = np.asarray(effect, dtype=float)[None]
    weeks = np.ones(effect.shape[:2], bool) if opened is None else np.asarray(opened)[None]
    return Course(np.asarray(surprise, float), effect, np.arange(len(surprise)), weeks)


@pytest.mark.parametrize("sign", [1.0, -1.0])
def test_the_size_of_a_change_is_its_regression_with_its_error(sign):
    """Three readings that move by 2 a unit: 6 / 12 of growth, known to 1 / root of 12."""
    found = change_of(course([[2.0, 2.0, 2.0]], sign * np.array([1.0, 0.5, 1.5])), 0, sign)
    middle, sd = sign * 0.5, 12**-0.5
    assert found.size_share == pytest.approx(
        [middle - 1.2816 * sd, middle, middle + 1.2816 * sd], abs=0.02
    )
    assert found.gain == pytest.approx(0.5 * (0.5 / sd) ** 2)
    other = change_of(course([[2.0, 2.0, 2.0]], [1.0, 0.5, 1.5]), 0, -1.0)
    assert other.gain == 0.0


def test_a_week_is_as_likely_as_what_it_explains_and_as_its_size_is_open():
    """No surprise at all: weeks with information of 1, 4 and 16 have chances of 4, 2, 1 in 7."""
    flat = course([[1.0], [2.0], [4.0]], [0.0])
    assert change_of(flat, 0, 1.0).week.tolist() == [0, 0, 2]
    # Of two that are as well known, one of z = 2 is e^2 times as likely as one of z = 0: 0.88.
    sharp = course([[2.0, 0.0], [0.0, 2.0]], [2.0, 0.0])
    assert change_of(sharp, 0, 1.0).week.tolist() == [0, 0, 1]
    assert change_of(sharp, 0, 1.0).best_week == 0
    late = course([[0.0, 2.0], [2.0, 0.0]], [2.0, 0.0])
    assert change_of(late, 0, 1.0).week.tolist() == [0, 1, 1]


def test_weeks_that_are_closed_or_tell_nothing_hold_no_change():
    """An information below 1 is none; nor is a closed week's, whatever it would explain."""
    effect = [[0.9, 0.0], [0.0, 5.0], [1.0, 1.0]]
    found = change_of(course(effect, [3.0, 3.0], [True, False, True]), 0, 1.0)
    assert found.week.tolist() == [2, 2, 2]
    assert found.best_week == 2
    assert found.gain == pytest.approx(0.5 * 6.0**2 / 2)


DAY = np.array([3.0, 3.0, 10.0, 17.0, 17.0, 24.0, 24.0])
AREA = np.array([0, 1, 0, 0, 1, 0, 1])
VISIT = [0, 0, 1, 2, 2, 3, 3]
OPEN = np.array([[1, 1, 0, 1], [0, 1, 1, 1], [1, 0, 0, 0]], dtype=bool)


def tied():
    """Seven readings of two areas at four visits, whose errors hang together, over four weeks."""
    rng = np.random.default_rng(2)
    root = rng.normal(size=(7, 7))
    grown = rng.uniform(0.5, 2.0, (7, 4)) * (DAY[:, None] > 7.0 * np.arange(4))
    suspects = np.stack([np.ones(7, bool), AREA == 0, AREA == 1])
    mean, off = rng.normal(size=7), 2.0 * rng.normal(size=7)
    off[0] = 9.0
    known = Foreseen(off, mean, np.eye(7), 0.2 * root @ root.T + 0.5 * np.eye(7))
    return known, grown, suspects, course_of(known, grown, suspects, DAY, OPEN)


def test_readings_are_whitened_as_one_after_the_other_and_so_is_what_a_change_does():
    """Each less what all before it lead to expect, in deviations given them."""
    known, grown, suspects, found = tied()

    def whitened(values):
        for n in range(7):
            before = known.covariance[:n, :n]
            leads = np.linalg.solve(before, known.covariance[:n, n]) if n else np.zeros(0)
            left = known.covariance[n, n] - leads @ known.covariance[:n, n]
            yield (values[n] - leads @ values[:n]) / left**0.5

    apart = np.array([*whitened(known.surprise_cm - known.mean_cm)])
    assert apart.max() > 3.0
    np.testing.assert_allclose(found.surprise, np.minimum(np.maximum(apart, -3.0), 3.0))
    for who, week in ((0, 0), (1, 2), (2, 3)):
        grew = [grown[n, week:].sum() if suspects[who, n] else 0.0 for n in range(7)]
        np.testing.assert_allclose(found.effect[who, week], [*whitened(np.array(grew))])
    assert found.day.tolist() == DAY.tolist()
    assert found.open_week is OPEN


def test_the_strongest_change_is_found_as_by_trying_every_week_after_every_visit():
    *_, found = tied()
    drawn = np.random.default_rng(3).normal(size=(7, 5))
    for sign in (-1.0, 1.0):
        told = strongest(found, drawn, sign)
        assert told.shape == (3, 4, 5)
        assert (told > 0.0).any()
        for who, visit, draw in np.ndindex(told.shape):
            best = 0.0
            for week in range(4):
                read = [n for n in range(7) if VISIT[n] <= visit]
                effect = found.effect[who, week, read]
                information = float((effect**2).sum())
                if OPEN[who, week] and information >= 1.0:
                    share = sign * float((effect * drawn[read, draw]).sum()) / information
                    best = max(best, share * information**0.5 if share >= 0.15 else 0.0)
            assert told[who, visit, draw] == pytest.approx(best)


def test_what_is_allowed_for_is_taken_out_of_readings_and_of_every_other_effect():
    *_, found = tied()
    effect = found.effect[1, 1]
    left = without(found, effect)
    share = (effect @ found.surprise) / (effect @ effect)
    np.testing.assert_allclose(left.surprise, found.surprise - share * effect)
    shares = (found.effect[0, 2] @ effect) / (effect @ effect)
    np.testing.assert_allclose(left.effect[0, 2], found.effect[0, 2] - shares * effect)


def test_thresholds_are_passed_as_often_as_false_alarms_are_allowed():
    """2.5 a year for the tank and 1 for both areas, in 73 days: a fifth of 365.25 but for hours."""
    *_, found = tied()
    groups = (np.array([0]), np.array([1, 2]))
    limits = thresholds(found, groups, (2.5, 1.5, 1.0, 0.5), 73.05)
    drawn = np.clip(stratified_normals(np.arange(7), 512), -3.0, 3.0).astype(float)
    for side, sign in enumerate((-1.0, 1.0)):
        reached = strongest(found, drawn, sign).max(axis=1)
        for group, rate in zip(groups, ((2.5, 1.5), (1.0, 0.5)), strict=True):
            limit = limits[group[0], side]
            assert (limits[group, side] == limit).all()
            passed = (reached[group].max(axis=0) > limit).mean()
            assert passed == pytest.approx(1.0 - np.exp(-rate[side] / 5.0), abs=2 / 512)
            assert limit > 1.0
    assert thresholds(found, groups, (90.0,) * 4, 400.0).tolist() == [[1.0, 1.0]] * 3


def test_a_slip_is_what_stands_off_from_all_else_and_is_not_repeated():
    """Readings of a unit of growth with errors of 0.5, by regression on all others up to then."""
    rng = np.random.default_rng(4)
    day, area = np.repeat(np.arange(6.0), 2), np.tile([0, 1], 6)
    grown, noise = np.ones((12, 1)), 0.25 * np.eye(12)
    for slips, wanted in (
        ({}, []),
        ({5: 4.0}, [5]),
        ({4: -4.0, 5: 4.0}, [4, 5]),
        ({5: 4.0, 7: 4.0}, []),  # it is repeated: growth has changed
        ({5: 4.0, 7: -4.0}, [5, 7]),  # on the other side it is not
        ({5: 4.0, 9: 4.0}, [5, 9]),  # nor a visit later
        ({5: 4.0, 7: 4.0, 9: 4.0}, []),
    ):
        off = 0.2 * rng.normal(size=12)
        for reading, more in slips.items():
            off[reading] += more
        known = Foreseen(off + 1.0, np.ones(12), noise, noise.copy())
        left, aside = slips_set_aside(known, grown, area, day)
        assert np.flatnonzero(aside).tolist() == wanted
        wide = 0.25 * (1.0 + 100.0 * aside)
        np.testing.assert_allclose(left.noise, np.diag(wide))
        np.testing.assert_allclose(left.covariance, np.diag(wide))
    # One that stands off by 3 deviations given the others of its visit is none, by 3.05 it is.
    # The rooms for a change go with the growth, here of 2 cm and of half a centimetre.
    grown = np.array([[1.5, 0.5], [0.25, 0.25]])
    room = 0.25 * np.eye(2) + np.array([[4 * 0.25, 0.16], [0.16, 0.25 * 0.25]])
    spread = (room[0, 0] - room[0, 1] ** 2 / room[1, 1]) ** 0.5
    for far, slipped in ((2.95, []), (3.05, [0]), (-3.05, [0])):
        off, mean = np.array([far * spread + 5.0, -4.0]), np.array([5.0, -4.0])
        known = Foreseen(off, mean, noise[:2, :2], noise[:2, :2])
        _, aside = slips_set_aside(known, grown, area[:2], day[:2])
        assert np.flatnonzero(aside).tolist() == slipped


def test_what_is_usual_is_learnt_up_to_the_day_before_the_watch(tmp_path, monkeypatch):
    """And how far it wanders likewise, from a watch that ends on that day."""
    book, asked = make_book(tmp_path, trims=stem_log(visits=8)), []
    origin, on = day("2026-05-19"), day("2026-06-01")

    def recalled(earlier, until):
        asked.append((len(earlier.trims), until.isoformat()))
        return "usual"

    monkeypatch.setattr(readings, "recalled_fit", recalled)
    monkeypatch.setattr(readings, "evidence_under", lambda *told: told[0], raising=True)
    assert readings.gather_evidence(book, on, origin) == "usual"
    assert asked == [(6, "2026-05-18")]
    told = []
    monkeypatch.setattr(readings, "gather_evidence", lambda _, *days: told.append(days) or days)
    monkeypatch.setattr(readings, "learn_wander", lambda days: days)
    # The first of six visits was on 13 April: 35 days before the last that counts, a third is 12.
    assert readings.wander_before(book, origin) == (origin - 1.0, day("2026-04-13") + 12.0)
    assert readings.wander_before(book, day("2026-04-13")) is readings.USUAL_WANDER


def test_a_log_is_watched_for_half_a_year_or_after_its_first_third(tmp_path):
    book = make_book(tmp_path / "log", trims=stem_log(visits=8))
    first = day("2026-06-01") - 49.0
    assert origin_of(book, first + 60.0) == first + 20.0
    assert origin_of(book, first + 61.0) == first + 21.0  # a third of 61 days, begun
    assert origin_of(book, first + 400.0) == first + 218.0
    assert origin_of(make_book(tmp_path / "none", trims=HEADER), first) is None


class Readings(SimpleNamespace):
    """Readings of a block, of which some can be taken."""

    def of(self, mine):
        names = ("tank", "area", "day", "grown_cm")
        return Readings(**vars(self) | {name: getattr(self, name)[mine] for name in names})


def evidence(tank, area, on):
    grown = np.ones((len(on), 8))
    return Readings(
        tank=np.array(tank),
        area=np.array(area),
        day=np.array(on, dtype=float),
        grown_cm=grown,
        bin_day=7.0 * np.arange(8.0),
        origin_day=5.0,
        usual=SimpleNamespace(design=SimpleNamespace(tank=np.array([0, 0, 1]))),
    )


def test_a_change_may_begin_once_enough_visits_told_of_growth(monkeypatch):
    """A tank's after four visits on any area, 1, 8, 15 and 20; an area's after three of its own."""
    size = {}

    def doubts_of(mine, tank):
        size[tank] = mine.area.size
        calm = Foreseen(*(np.zeros(mine.area.size),) * 2, *(np.eye(mine.area.size),) * 2)
        return SimpleNamespace(under=lambda _: calm)

    monkeypatch.setattr(readings, "doubts_of", doubts_of)
    spans = [np.array([1.0, 8.0, 20.0]), np.array([1.0, 15.0, 20.0, 29.0]), np.array([6.0])]
    given = evidence([0, 0, 0, 1], [0, 1, 1, 2], [20, 20, 29, 40])
    found = readings._tank_case(given, 0, spans, readings.USUAL_WANDER)
    assert (found.tank, found.areas.tolist(), found.days) == (0, [0, 1], 24.0)
    assert found.course.open_week.tolist() == [[False] * 3 + [True] * 5] * 3
    assert (found.course.effect[:, 0] != 0.0).tolist() == [[1, 1, 1], [1, 0, 0], [0, 1, 1]]
    alone = readings._tank_case(given, 1, spans, readings.USUAL_WANDER)
    assert alone.course.open_week.tolist() == [[False] * 8]  # one visit is not four
    assert alone.course.effect.shape == (1, 8, 1)
    assert readings._tank_case(given.of(given.tank == 0), 1, spans, None) is None
    assert size == {0: 3, 1: 1}
    late = [*spans[:1], np.array([1.0, 15.0, 27.0, 29.0])]
    weeks = readings._tank_case(given, 0, late, readings.USUAL_WANDER).course.open_week
    assert weeks.sum(axis=1).tolist() == [5, 5, 4]  # the second area is ready a week later


def test_tanks_with_visits_enough_are_judged(tmp_path, monkeypatch):
    trims = HEADER
    for area, days in (("lobby,stems", (1, 8, 15, 22)), ("lobby,carpet", (1, 8, 29))):
        trims += "".join(f"2026-05-{on:02d},{area},9,8,,,,,\n" for on in days)
    book = make_book(tmp_path, trims=trims + "2026-05-01,home,moss,9,8,,,,,\n")
    spans = [(one - day("2026-05-01")).tolist() for one in readings.span_days(book)]
    assert spans == [[7.0, 14.0, 21.0], [7.0, 28.0], []]
    assert readings.visit_counts(book, day("2026-05-22")).tolist() == [3, 0]
    assert readings.visit_counts(book, day("2026-06-01")).tolist() == [4, 0]
    cases = [SimpleNamespace(tank=0), SimpleNamespace(tank=1)]
    monkeypatch.setattr(readings, "gather_cases", lambda *_: (cases, {"x": "why"}))
    on = day("2026-06-01")
    monkeypatch.setattr(readings, "visit_counts", lambda *_: np.array([4, 3]))
    assert readings.ready_cases(book, on) == (None, {}, {})
    monkeypatch.setattr(readings, "visit_counts", lambda *_: np.array([4, 5]))
    origin, ready, failed = readings.ready_cases(book, on)
    assert (origin, ready, failed) == (origin_of(book, on), {1: cases[1]}, {"x": "why"})


def test_growth_is_shown_with_its_ranges_and_never_below_nothing():
    low = Index(-0.1, 1.0, 1.0).point(day("2026-06-01"))
    assert (low.growth, low.low, low.usual_low) == (0.0, 0.0, 0.0)
    assert low.high == pytest.approx(1.18155, abs=1e-4)
    assert low.usual_high == pytest.approx(2.95996, abs=1e-4)
    assert (low.on.isoformat(), low.standing) == ("2026-06-01", "as usual")
    assert low.usual_share == {"p025": 0.0, "p975": low.usual_high}
    assert low.growth_share == {"p10": 0.0, "p50": 0.0, "p90": low.high}
    for growth, standing in (
        (0.8, "as usual"),
        (0.79, "slower"),
        (1.2, "as usual"),
        (1.21, "quicker"),
    ):
        assert IndexPoint(low.on, growth, 0.0, 2.0, 0.8, 1.2).standing == standing
    assert Index(-2.0, 1.0, 0.1).point(0.0).high == 0.0


def test_how_soon_a_drop_is_seen_is_told_in_visits_and_days():
    seen = DropSeen(0.6, (0.2, 0.5, 0.89, 0.9, 0.95), 10.4)
    assert (seen.visits_for_9_of_10, seen.days_for_9_of_10) == (4, 42)
    assert (seen.chance_within_3_visits, seen.days(2)) == (0.89, 21)
    short = DropSeen(0.6, (0.2, 0.5), 10.0)
    assert (short.visits_for_9_of_10, short.days_for_9_of_10) == (None, None)
    assert short.chance_within_3_visits is None


def test_a_change_between_two_weeks_does_what_lies_between_theirs():
    effect = np.array([[[8.0, 4.0], [4.0, 2.0], [2.0, 0.0]]])
    one = SimpleNamespace(
        course=SimpleNamespace(effect=effect),
        evidence=SimpleNamespace(bin_day=np.array([10.0, 17.0, 24.0])),
    )
    for on, wanted in ((10.0, [8, 4]), (13.5, [6, 3]), (17.0, [4, 2]), (27.5, [1, 0])):
        assert _effect_from(one, on).tolist() == wanted


def test_alarms_count_from_a_drop_on_where_there_was_none_before():
    """Four draws after four visits; the second has an alarm before the drop after visit 1."""
    passed = np.array([[0, 0, 0, 0], [0, 1, 0, 0], [1, 1, 0, 0], [0, 1, 0, 1]], dtype=bool)
    assert _noticed_by(passed, 1) == pytest.approx([1 / 3, 2 / 3])
    assert _noticed_by(passed, 0) == pytest.approx([1 / 4, 2 / 4, 3 / 4])


def test_a_drop_is_tried_after_eight_visits_that_three_others_follow():
    """Of 14 visits the last 3 are no starts; those in a closed week are none either."""
    visits = 7.0 * np.arange(14.0)

    def starts(opened):
        return _starts(
            SimpleNamespace(
                course=SimpleNamespace(open_week=np.array([opened], dtype=bool)),
                evidence=SimpleNamespace(bin_day=visits),
            ),
            visits,
        ).tolist()

    assert starts([1] * 14) == [0, 1, 3, 4, 6, 7, 9, 10]
    assert starts([0] * 4 + [1] * 10) == [4, 5, 6, 7, 8, 9, 10]
    assert starts([0] * 14) == []
    assert starts([0] * 12 + [1, 1]) == []


def test_a_change_is_noticed_at_the_first_visit_since_it_began_that_passed():
    weeks = SimpleNamespace(bin_day=np.array([0.0, 7.0, 14.0, 21.0]))
    change = Change(2.0, np.array([1, 2, 3]), 2, np.zeros(3))
    visits = np.array([3.0, 10.0, 17.0, 24.0])
    since, noticed = _seen(change, weeks, np.array([True, False, True, True]), visits)
    assert since.tolist() == [7.0, 17.5, 28.0]
    assert noticed == 17.0
    assert _seen(change, weeks, np.array([True, True, False, True]), visits)[1] == 10.0
    at_once = np.array([7.0, 8.0, 9.0, 10.0])
    assert _seen(change, weeks, np.ones(4, dtype=bool), at_once)[1] == 7.0


def test_an_areas_own_change_is_the_strongest_of_a_species():
    """Three areas of one reading each that move by 2: surprises of 1, -2 and 1.4 deviations."""
    effect = np.zeros((4, 1, 3))
    effect[0, 0] = 2.0
    effect[1:, 0] = 2.0 * np.eye(3)
    whole = Course(np.array([1.0, -2.0, 1.4]), effect, np.arange(3), np.ones((4, 1), dtype=bool))
    one = SimpleNamespace(course=whole, areas=np.arange(3))
    species = np.array([5, 5, 6])
    assert _own(one, species, 5, 1.0) == pytest.approx(1.0)
    assert _own(one, species, 5, -1.0) == pytest.approx(2.0)
    assert _own(one, species, 6, 1.0) == pytest.approx(1.4)
    assert _own(one, species, 7, 1.0) == 0.0
    assert _own(one, np.array([5, 5, 5]), 5, -1.0) == 0.0


def design():
    """Three areas in two tanks, of two species."""
    return SimpleNamespace(
        area_id=np.array(["stems", "carpet", "moss"]),
        tank_id=np.array(["lobby", "home"]),
        species=np.array([0, 1, 1]),
        species_id=np.array(["rotala", "moss-a"]),
        priors=SimpleNamespace(common_name=np.array(["Rotala", ""])),
    )


def watched(tank, areas, **known):
    return SimpleNamespace(tank=tank, areas=np.array(areas), design=design(), **known)


def verdict(kind, place, *also):
    start = np.array([day("2026-05-01") + n for n in (0.4, 7.9, 14.0)])
    change = Change(4.5, np.arange(3), 1, np.array([-1.2, -0.4, -0.25]))
    return Verdict(kind, place, change, start, day("2026-05-25"), also)


def test_what_is_found_is_told_with_names_dates_and_shares(book):
    """The tank has 15 mg/L of CO2 from 20 May on; its valve was serviced as growth changed."""
    found = _of_tank(book, watched(0, [0, 1]), verdict("area", 1, ("tank", 0), ("area", 0)))
    assert (found.kind, found.tank_ids, found.area_id) == ("area", ("lobby",), "carpet")
    assert (found.species_id, found.name) == ("moss-a", "Front carpet")
    assert [one.isoformat() for one in found.since] == ["2026-05-01", "2026-05-08", "2026-05-15"]
    assert found.growth_share == pytest.approx((0.0, 0.6, 0.75))
    assert found.slower
    assert (found.also, found.alone, found.has_co2) == (("", "stems"), False, True)
    assert (found.noticed_on.isoformat(), found.noted.note) == ("2026-05-25", "valve serviced")
    home = _of_tank(book, watched(1, [2]), verdict("tank", 1))
    assert (home.area_id, home.species_id, home.name) == ("", "", "")
    assert (home.alone, home.has_co2, home.noted) == (True, False, None)


def test_a_species_across_tanks_is_reported_where_one_of_its_tanks_is_asked_for(book, monkeypatch):
    """The second species grows in both tanks, the first in the first one."""
    both = [watched(0, [0, 1]), watched(1, [2])]
    monkeypatch.setattr(judge, "judge_species", lambda _, __, place: verdict("species", place))
    for tanks, named in (([0], [0, 1]), ([1], [1]), ([], [])):
        found = _across(book, both, np.array(tanks, dtype=int))
        assert [place for _, place in found] == named
    (rotala, _), (moss, _) = _across(book, both, np.array([0, 1]))
    assert (rotala.tank_ids, moss.tank_ids) == (("lobby",), ("lobby", "home"))
    assert (rotala.name, moss.name, moss.species_id) == ("Rotala", "moss-a", "moss-a")
    assert _across(book, [], np.array([0])) == []
    monkeypatch.setattr(judge, "judge_species", lambda *_: None)
    assert _across(book, both, np.array([0, 1])) == []


def test_growth_lately_is_told_by_area_and_by_species_where_readings_tell_it(book, monkeypatch):
    """Each reading tells its own number; those of area 0 tell nothing."""

    def lately(case, on_day, of):
        told = case.evidence.area[of]
        known = told.size and told[0] != 0
        return Index(float(told.sum()), 0.5, 0.1 * case.tank + 0.1) if known else None

    monkeypatch.setattr(readings, "growth_lately", lately)
    first = watched(0, [0, 1], evidence=SimpleNamespace(area=np.array([0, 1, 1])))
    second = watched(1, [2], evidence=SimpleNamespace(area=np.array([2])))
    [carpet] = _areas_lately(book, first, 100.0)
    assert (carpet.area_id, carpet.name, carpet.recent.growth) == ("carpet", "Front carpet", 2.0)
    [moss] = _species_lately([first, second], 100.0)
    assert (moss.species_id, moss.tanks, moss.recent.growth) == ("moss-a", 2, 2.0)
    assert _species_lately([], 100.0) == ()


def test_an_area_is_left_to_what_was_found_of_its_species_across_tanks(book, monkeypatch):
    """Areas 0 and 1 have changed, and their tank; the species of area 1 has changed everywhere."""
    found = [verdict("area", 0), verdict("area", 1), verdict("tank", 0)]
    monkeypatch.setattr(judge, "limits_of", lambda _: None)
    monkeypatch.setattr(judge, "judge_tank", lambda *_: found)
    monkeypatch.setattr(judge, "course_of_tank", lambda _: ())
    monkeypatch.setattr(judge, "recent_growth", lambda *_: None)
    monkeypatch.setattr(judge, "power_of", lambda *_: None)
    monkeypatch.setattr(watch, "_areas_lately", lambda *_: ())
    case = watched(0, [0, 1], evidence=SimpleNamespace(origin_day=day("2026-03-01")))
    told = watch._tank_watch(book, case, 6, [(None, 1)], day("2026-05-10"))
    assert [(one.kind, one.area_id) for one in told.findings] == [("area", "stems"), ("tank", "")]
    assert (told.status, told.visits, told.tank_id) == ("look", 6, "lobby")
    assert [on.isoformat() for on in told.changed_on] == ["2026-03-01", "2026-05-01"]
    found.clear()
    assert watch._tank_watch(book, case, 6, [], day("2026-05-10")).status == "as usual"


def test_all_tanks_are_compared_and_those_asked_for_are_told(book, monkeypatch):
    cases, asked = {k: watched(k, [k]) for k in (0, 1)}, []
    ready = (day("2026-03-02"), {1: cases[1], 0: cases[0]}, {"x": "why"})
    monkeypatch.setattr(readings, "visit_counts", lambda *_: np.array([7, 4]))
    monkeypatch.setattr(readings, "ready_cases", lambda *_: ready)
    monkeypatch.setattr(
        watch, "_across", lambda _, all_of_them, __: asked.append(all_of_them) or []
    )
    monkeypatch.setattr(watch, "_species_lately", lambda some, _: asked.append(some) or ())
    monkeypatch.setattr(watch, "_tank_watch", lambda _, case, visits, *__: (case.tank, visits))
    report = watch.watch_growth(book, date(2026, 6, 1), np.array([1]))
    assert asked == [[cases[1], cases[0]], [cases[1]]]
    assert report.tanks == ((1, 4),)
    assert report.usual_until == date(2026, 3, 1)
    assert report.not_fitted == {"x": "why"}
    assert report.false_alarms_a_year == pytest.approx(0.5)
