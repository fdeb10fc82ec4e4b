"""Verdicts on readings of a plain form: who, since when, how strongly, and when it was noticed."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from growthcast.fit.foreseen import Foreseen
from growthcast.service.watch import scan
from growthcast.service.watch.judge import (
    DROP_TO_SHARE,
    _likeliest,
    course_of_tank,
    judge_species,
    judge_tank,
    limits_of,
    power_of,
    recent_growth,
)
from growthcast.service.watch.readings import (
    Index,
    TankCase,
    growth_index,
    growth_lately,
    joined,
)
from growthcast.service.watch.scan import LARGEST_SURPRISE, Course, course_of, strongest

WEEKS, AREAS = 24, 3
VISITS = 7.0 * np.arange(1, WEEKS + 1)
"""One visit at the end of each week; every reading shows one unit of that week's growth."""


def plain_case(shift, sd=0.25, tank=0):
    """Make a case whose areas' surprises are ``shift`` (weeks, areas), their errors ``sd``."""
    day = np.repeat(VISITS, AREAS)
    area = AREAS * tank + np.tile(np.arange(AREAS), WEEKS)
    grown = np.zeros((day.size, WEEKS))
    grown[np.arange(day.size), (day / 7.0).astype(int) - 1] = 1.0
    areas = np.unique(area)
    suspects = np.concatenate([np.ones((1, day.size), bool), areas[:, None] == area])
    noise = sd**2 * np.eye(day.size)
    known = Foreseen(np.ravel(shift), np.zeros(day.size), noise, noise)
    opened = np.ones((AREAS + 1, WEEKS), dtype=bool)
    course = course_of(known, grown, suspects, day, opened)
    evidence = SimpleNamespace(day=day, bin_day=VISITS - 7.0, grown_cm=grown, area=area)
    slipped = np.zeros(day.size, dtype=bool)
    return TankCase(tank, evidence, known, areas, course, 7.0 * WEEKS, slipped)


def since(week, share, areas=(0, 1, 2)):
    """Surprises of areas that grow at a share of the usual from a week on."""
    shift = np.zeros((WEEKS, AREAS))
    shift[week:, list(areas)] = share - 1.0
    return shift


def judged(case):
    return judge_tank(case, limits_of(case))


@pytest.mark.parametrize("share", [0.5, 1.6])
def test_a_change_of_the_tank_has_its_sign_size_and_week(share):
    (verdict,) = judged(plain_case(since(12, share)))
    assert verdict.kind == "tank"
    assert verdict.change.size_share == pytest.approx([share - 1.0] * 3, abs=0.12)
    assert verdict.since_day[0] <= 84.0 + 3.5 <= verdict.since_day[2]
    assert verdict.since_day[1] == pytest.approx(84.0 + 3.5, abs=7.0)
    assert verdict.noticed_day in VISITS[12:15]


def test_a_change_of_one_area_is_laid_to_it():
    (verdict,) = judged(plain_case(since(12, 0.4, areas=[1])))
    assert (verdict.kind, verdict.place) == ("area", 1)


def fading(areas=(0, 1, 2), sd=0.5, tank=0):
    """A drop that grows away for three weeks after four, and comes back."""
    shift = since(12, 0.45, areas)
    shift[16:19, list(areas)] = 0.1
    return plain_case(shift, sd=sd, tank=tank)


def test_what_was_noticed_stays_noticed_when_the_test_falls_back_for_a_visit():
    case = fading()
    limit = limits_of(case)[0, 0]
    reached = strongest(case.course, case.course.surprise[:, None], -1.0)[0, :, 0]
    first = int(np.argmax(reached > limit))
    assert first >= 12
    assert (reached[first:-1] < limit).any()
    (verdict,) = judged(case)
    assert verdict.noticed_day == VISITS[first]


def test_a_species_that_fails_in_three_tanks_is_named_from_its_first_alarm_on():
    """Area 0 of each tank is of the species; asked later, it was noticed on the same day."""
    cases = [fading(areas=[0], sd=0.3, tank=tank) for tank in range(3)]
    species = np.tile([7, 8, 9], 3)
    verdict = judge_species(cases, species, 7)
    assert verdict is not None
    assert verdict.change.size_share[1] < -0.3
    assert verdict.noticed_day in VISITS[13:15]
    assert judge_species(cases, species, 8) is None
    assert judge_species(cases[:1], species, 7) is None


def test_one_tank_alone_is_no_failing_species():
    """Its other area, or the areas of another tank, explain as much."""
    kept = plain_case(np.zeros((WEEKS, AREAS)), tank=1)
    both = plain_case(since(12, 0.5, areas=[0, 1]))  # stronger than either of its areas
    assert judge_species([both, kept], np.array([7, 7, 9, 7, 8, 9]), 7) is None
    strong, weak = plain_case(since(12, 0.2, areas=[0])), since(12, 0.75, areas=[0])
    species = np.tile([7, 8, 9], 2)
    assert judge_species([strong, plain_case(weak, tank=1)], species, 7) is None
    # Half of the growth of one area gains 24; both tanks must gain 2 more: 25.9 and 28.9.
    half = plain_case(since(12, 0.5, areas=[0]))
    for share, named in ((0.6, False), (0.55, True)):
        both = [half, plain_case(since(12, share, areas=[0]), tank=1)]
        assert (judge_species(both, species, 7) is not None) is named


def test_the_stated_chance_is_how_often_planted_drops_are_noticed():
    """Random readings with a drop to 60 % right after each of several visits, one by one."""
    case, rng = plain_case(np.zeros((WEEKS, AREAS)), sd=0.6), np.random.default_rng(8)
    limits = limits_of(case)
    power = power_of(case, limits)
    noticed, runs = [], 300
    for week in (4, 10, 16):
        noise = rng.normal(size=(WEEKS * AREAS, runs))
        drop = np.ravel(since(week, DROP_TO_SHARE))[:, None] / 0.6
        drawn = np.clip(drop + noise, -LARGEST_SURPRISE, LARGEST_SURPRISE)
        beyond = (strongest(case.course, drawn, -1.0) > limits[:, :1, None]).any(axis=0)
        quiet = ~beyond[:week].any(axis=0)
        noticed.append([beyond[week : week + n, quiet].any(axis=0).mean() for n in (1, 3, 5)])
    told = [power.chances[n - 1] for n in (1, 3, 5)]
    assert told == pytest.approx(np.mean(noticed, axis=0), abs=0.06)
    assert 0.2 < told[1] < 0.8


def test_a_tank_that_tells_more_sees_a_drop_sooner():
    cases = [plain_case(np.zeros((WEEKS, AREAS)), sd=sd) for sd in (0.15, 0.5, 3.0)]
    sharp, middling, blunt = (power_of(case, limits_of(case)) for case in cases)
    assert sharp.visits_for_9_of_10 == 1
    assert 3 <= middling.visits_for_9_of_10 <= 8
    assert blunt.visits_for_9_of_10 is None
    assert middling.visit_days == 7.0
    assert (np.diff(middling.chances) > -0.03).all()


def test_too_few_visits_give_no_chance():
    case = plain_case(np.zeros((WEEKS, AREAS)))
    closed = replace(case.course, open_week=case.course.open_week & (np.arange(WEEKS) > 19))
    case = replace(case, course=closed)
    assert power_of(case, limits_of(case)) is None


def test_tanks_that_fail_as_a_whole_are_no_failing_species():
    cases = [plain_case(since(12, 0.5), tank=tank) for tank in range(3)]
    species = np.tile([7, 8, 9], 3)
    assert [judge_species(cases, species, place) for place in (7, 8, 9)] == [None] * 3


def test_growth_lately_is_that_of_the_last_28_days_with_its_ranges():
    """Four visits of three readings of one unit, errors 0.25: known to 0.25 over the root of 12."""
    half, more, usual = (
        growth_lately(plain_case(since(20, drop)), VISITS[-1]).point(VISITS[-1])
        for drop in (0.5, 1.5, 1.1)
    )
    sd = 0.25 / 12**0.5
    assert half.growth == pytest.approx(0.5)
    assert (half.low, half.high) == pytest.approx((0.5 - 1.2816 * sd, 0.5 + 1.2816 * sd), abs=1e-4)
    assert (half.usual_low, half.usual_high) == pytest.approx(
        (1 - 1.96 * sd, 1 + 1.96 * sd), abs=1e-4
    )
    assert (half.standing, more.standing, usual.standing) == ("slower", "quicker", "as usual")


def test_a_species_is_weighed_by_how_well_each_tank_knows_it():
    parts = [Index(1.0, 0.1, 0.2), Index(2.0, 0.2, 0.4)]
    both = joined(parts)
    assert both.share == pytest.approx((4 * 1.0 + 1 * 2.0) / 5)
    assert both.sd == pytest.approx((1 / (100 + 25)) ** 0.5)
    assert both.usual_sd == pytest.approx(2 * both.sd)


def test_only_readings_of_the_last_28_days_tell_and_only_if_they_tell_enough():
    """The first of four visits lies 28 days before a day after the last: it does not count."""
    case = plain_case(since(20, 0.5))
    three = growth_lately(case, VISITS[-1] + 7.0)
    assert three.sd == pytest.approx(0.25 / 9**0.5)
    one = growth_lately(case, VISITS[-1], np.arange(WEEKS * AREAS) % AREAS == 0)
    assert one.sd == pytest.approx(0.25 / 4**0.5)
    assert growth_lately(case, VISITS[-1] + 28.0) is None
    # Twelve readings that err by 3.4 units know a share of growth to 1; by 3.5 no longer.
    for sd, known in ((3.4, True), (3.5, False)):
        blunt = plain_case(np.zeros((WEEKS, AREAS)), sd=sd)
        assert (growth_lately(blunt, VISITS[-1]) is not None) is known


def test_growth_is_weighed_by_how_well_each_reading_knows_it():
    """Readings of 0.5 and 1.5 units with errors of 0.1 and 0.2: weights of 4 and 1."""
    case = plain_case(np.zeros((WEEKS, AREAS)))
    noise, surprise = case.known.noise.copy(), case.known.surprise_cm.copy()
    noise[0, 0], noise[1, 1], surprise[:2] = 0.1**2, 0.2**2, (-0.5, 0.5)
    known = replace(case.known, noise=noise, covariance=4.0 * noise, surprise_cm=surprise)
    found = growth_index(replace(case, known=known), np.array([0, 1]))
    assert found.share == pytest.approx((4.0 * 0.5 + 1.0 * 1.5) / 5.0)
    assert found.sd == pytest.approx((100.0 + 25.0) ** -0.5)
    assert found.usual_sd == pytest.approx(2.0 * found.sd)
    assert growth_index(case, np.zeros(0, dtype=np.int64)) is None


def test_false_alarms_are_shared_out_between_tank_areas_and_species(monkeypatch):
    """Of a year, seven tenths: 0.28 and 0.04 for tanks, 0.11 and 0.04 for areas, 0.02 and 0.01."""
    asked = []

    def thresholds(course, groups, rates, days):
        asked.append(([group.tolist() for group in groups], [10.0 * rate for rate in rates], days))
        return np.full((course.effect.shape[0], 2), 99.0)

    monkeypatch.setattr(scan, "thresholds", thresholds)
    one, two = plain_case(np.zeros((WEEKS, AREAS))), plain_case(np.zeros((WEEKS, AREAS)), tank=1)
    limits_of(one)
    limits_of(one, often=2.0)
    alone = replace(one, course=replace(one.course, effect=one.course.effect[:1]))
    limits_of(alone)
    # Three species in one tank and two in the other, watched for longer: 5 sixths of a tank's.
    judge_species([one, replace(two, days=200.0)], np.array([7, 8, 9, 7, 8, 8]), 7)
    of_tank, of_area = [1.96, 0.28], [0.77, 0.28]
    assert asked == [
        ([[0], [1, 2, 3]], pytest.approx([*of_tank, *of_area]), 168.0),
        ([[0], [1, 2, 3]], pytest.approx([2 * rate for rate in (*of_tank, *of_area)]), 168.0),
        ([[0]], pytest.approx([1.96 + 0.77, 0.28 + 0.28]), 168.0),
        ([[0]], pytest.approx([0.14 * 5 / 6, 0.07 * 5 / 6]), 200.0),
    ]


@pytest.mark.parametrize(
    ("second", "named", "also"),
    [
        (-1.0, ("tank", 4), (("area", 7),)),  # 4.00 for the tank, 3.81 and -0.19 for its areas
        (-0.8, ("area", 7), (("tank", 4),)),  # 3.61, 3.81 and -0.37
        (2.9, ("area", 7), ()),  # 0.00, 3.81 and nothing: a rise is no drop
    ],
)
def test_an_area_is_likelier_than_its_tank_by_what_it_explains_less_its_choice(second, named, also):
    """Readings of two areas that move by 2: half of z squared, less ln 2 for either of two."""
    effect = np.array([[2.0, 2.0], [2.0, 0.0], [0.0, 2.0]])[:, None]
    course = Course(np.array([-3.0, second]), effect, np.arange(2), np.ones((3, 1), dtype=bool))
    evidence = SimpleNamespace(day=np.array([3.0, 5.0]), bin_day=np.zeros(1))
    case = SimpleNamespace(tank=4, areas=np.array([7, 8]), evidence=evidence)
    found, taken = _likeliest(case, course, np.full((3, 2), 0.5))
    assert ((found.kind, found.place), found.also) == (named, also)
    assert taken.tolist() == effect[0 if named[0] == "tank" else 1, 0].tolist()
    # Only what passes its own threshold is named: 3 deviations of an area, 2.8 at most of its tank.
    found, _ = _likeliest(case, course, np.array([[2.9, 9.0], [2.9, 9.0], [9.0, 9.0]]))
    assert (found.kind, found.place) == ("area", 7)
    assert _likeliest(case, course, np.full((3, 2), 3.0))[0] is None


def test_the_course_has_a_point_a_visit_and_lately_is_its_last_where_nothing_is_newer():
    case = plain_case(since(20, 0.5))
    course = course_of_tank(case)
    assert [point.growth for point in course] == pytest.approx([1.0] * 20 + [0.5] * 4)
    assert [(point.on - course[0].on).days for point in course] == [*range(0, 168, 7)]
    assert recent_growth(case, course, VISITS[-1]).high < course[-1].high  # four visits tell more
    assert recent_growth(case, course, VISITS[-1] + 40.0) == course[-1]
    assert recent_growth(case, (), VISITS[-1] + 40.0) is None
    blunt = plain_case(np.zeros((WEEKS, AREAS)), sd=3.4)  # three readings: known to 1.96
    assert course_of_tank(blunt) == ()
