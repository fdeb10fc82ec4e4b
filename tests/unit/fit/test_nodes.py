"""From visits to nodes: the whole of it against a plain loop over a made-up log of every kind."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest

from growthcast.book.book import Bounds
from growthcast.fit.model.clock import lag_share
from growthcast.fit.rows.chains import Link
from growthcast.fit.rows.nodes import AreaTraits, Habits, build_nodes
from growthcast.log.visits import Visits

AREAS, ON, NAN = 40, 200.0, np.nan
RNG = np.random.default_rng(12)
FIELDS = (
    *("area", "day", "link", "growth_d", "span_d", "pause_doubt", "lag_per_d", "by_settling"),
    *("reading_cm", "reading_sd_cm", "aim_sd_cm", "guess_cm", "guess_sd_cm", "removed_cm"),
    *("floor_cm", "budget_cm", "look", "pause_d", "lag_share", "bucket", "row"),
)


def some(values, chance=0.5):
    """Return the values, or nothing, by chance."""
    return np.where(RNG.random(np.shape(values)) < chance, values, NAN)


def visits_of(area):
    """Visits of every kind, most of them on days of their own."""
    count = area.size
    day = 100.0 + RNG.permutation(100)[np.arange(count) % 100]  # no area has that many
    day = np.where(area % 7 == 6, 165.0 + 0.3 * (day - 100.0), day)  # of tank 6, all are late
    order = np.lexsort((day, area))
    kind = RNG.integers(0, 6, count)  # a look, a reading, a cut: 3 lengths and heights or a weight
    look = np.where((kind == 0) | (RNG.random(count) < 0.2), RNG.integers(1, 4, count), 0)
    before = np.where(kind == 0, NAN, np.where(kind == 1, 14.0, some(14.0 + 0.0 * day)))
    before = before + 6.0 * RNG.random(count)
    after = np.where(np.isin(kind, (2, 3)), 5.0 + 4.0 * RNG.random(count), NAN)
    removed = np.where(np.isin(kind, (3, 4)), 4.0 + 4.0 * RNG.random(count), NAN)
    grams = np.where((kind == 5) | ((kind > 2) & (RNG.random(count) < 0.3)), 30.0 + day, NAN)
    unsaid = (kind == 0) & (RNG.random(count) < 0.6)
    return Visits(
        area=area,
        day=day[order],
        before_cm=before,
        after_cm=after,
        removed_cm=removed,
        removed_g=grams,
        before_sd_cm=some(np.where(np.isnan(before), NAN, 2.0), 0.2),
        look=look,
        cut=kind > 1,
        unsaid=unsaid,
        bucket=np.where(RNG.random(count) < 0.3, RNG.integers(0, 5, count), -1),
        row=RNG.permutation(count),
    )


def clock_of(replanted_day):
    """A clock by which what it is asked for can be told from what it answers."""
    return SimpleNamespace(
        replanted_day=replanted_day,
        growth_between=lambda area, began, ended, pause: (
            2.0 * ended - 1.9 * began + 0.01 * area - pause,
            0.1 * pause + 0.001 * began,
        ),
        slowed_by_settling=lambda area, began, ended, pause: (
            0.3 * ended - 0.2 * began + area + 0.1 * pause
        ),
    )


@pytest.fixture(scope="module")
def log():
    area = np.sort(RNG.integers(0, AREAS - 10, 150))  # ten areas and two tanks have no visits
    tank = np.where(np.arange(AREAS) < AREAS - 5, np.arange(AREAS) % 7, 8)
    visits = visits_of(area)
    floor = 4.0 + 2.0 * RNG.random(AREAS)
    cut = some(7.0 + np.arange(AREAS) % 3, 0.8)
    bounds = floor, floor + 8.0 + 4.0 * RNG.random(AREAS), cut
    traits = AreaTraits(
        tank=tank,
        planted_day=np.array([145.0, -2000.0, 95.0, 60.0, 170.0, 230.0])[np.arange(AREAS) // 7],
        planted_cm=some(0.5 + np.arange(AREAS) % 5, 0.5),
        removed_day=np.full(AREAS, NAN),
        floor_cm=bounds[0],
        budget_cm=bounds[1],
        cut_cm=bounds[2],
        lowest_cut_cm=RNG.choice([1.0, 9.0], AREAS),
        pause_d=3.0 + np.arange(AREAS) % 5,
        gram_per_cm=5.0 + np.arange(AREAS) % 6,
        first=Bounds(bounds[0] - 3.0, bounds[1] + 40.0 * (np.arange(AREAS) % 2), bounds[2]),
    )
    held = Bounds(
        bounds[0][area] + 0.5,
        bounds[1][area] + 0.5,
        np.where(RNG.random(area.size) < 0.3, some(11.0 + 0.0 * area, 0.8), cut[area]),
    )
    habits = Habits(
        log_cm=np.log(6.0 + np.arange(AREAS) % 3),
        log_spread=np.zeros(AREAS),
        first_log_cm=np.zeros(AREAS),
        sd_cm=0.9 + 0.2 * (np.arange(AREAS) % 5),
    )
    replanted = np.full((AREAS, 2), np.inf)
    for visit in range(0, area.size, 5):
        replanted[area[visit], visit % 2] = visits.day[visit]
    return visits, held, traits, habits, clock_of(replanted)


def blank(area, day, **told):
    """Return a node of which only this is told."""
    none = dict.fromkeys(FIELDS, NAN)
    none |= dict.fromkeys(("growth_d", "span_d", "pause_doubt", "lag_per_d", "by_settling"), 0.0)
    none |= {"pause_d": 0.0, "lag_share": 0.0, "bucket": -1, "row": -1, "look": 0}
    return none | {"area": area, "day": day, "link": Link.FRESH} | told


def share_cut(visits, held, v):
    """Share of the height that a visit took off: the height before counts to a quarter over."""
    if not visits.cut[v]:
        return 0.0
    before, after, removed = visits.before_cm[v], visits.after_cm[v], visits.removed_cm[v]
    stood = before if before == before else after + removed
    stood = min(stood, 1.25 * held.budget_cm[v])
    left = after if after == after else stood - removed
    share = (stood - left) / stood
    return min(max(share, 0.0), 1.0) if share == share else 0.0


def nodes_one_by_one(visits, held, traits, habits, clock):
    """Lay every area out by a loop, as the docstrings say."""
    nodes = []
    for a in range(AREAS):
        planted, mine = traits.planted_day[a], np.flatnonzero(visits.area == a)
        in_tank = traits.tank[visits.area] == traits.tank[a]
        begun = visits.day[in_tank].min(initial=np.inf)
        looks_only = not any(visits.cut[v] or visits.before_cm[v] > 0.0 for v in mine)
        follows_planting = begun <= planted + 14.0 or (looks_only and planted >= ON - 60.0)
        first, chain = [], []
        if follows_planting and planted <= ON:
            height = traits.planted_cm[a]
            low = max(
                traits.first.floor_cm[a],
                traits.lowest_cut_cm[a],
                traits.first.budget_cm[a] / 10.0,
            )
            guess = {} if height == height else {"guess_cm": low, "guess_sd_cm": low / 2.0}
            first = [blank(a, planted, reading_cm=height, **guess)]
        elif not mine.size:
            room = traits.budget_cm[a] - traits.floor_cm[a]
            middle = traits.floor_cm[a] + room / 2.0
            day = max(ON, planted)
            first = [blank(a, day, guess_cm=middle, guess_sd_cm=0.7 * room / 2.0)]
        shares = []
        for v in mine:
            chain += nodes_of_visit(v, a, shares, visits, held, traits, habits, clock)
            share = share_cut(visits, held, v)
            shares += [share] if share > 0.0 else []
        chain = sorted(first + chain, key=lambda node: node["day"])  # stable
        link_found(a, chain, visits, traits, clock)
        nodes += chain
    return nodes


def nodes_of_visit(v, a, shares, visits, held, traits, habits, clock):
    """Return the node as found, if anything tells of it, and the one that a cut left."""
    before, after = visits.before_cm[v], visits.after_cm[v]
    removed, grams = visits.removed_cm[v], visits.removed_g[v]
    same = {"row": visits.row[v]}
    made, any_amount = [], np.isfinite([before, removed, grams]).any()
    if (
        any_amount
        or visits.look[v]
        or visits.unsaid[v]
        or (visits.cut[v] and visits.bucket[v] > -1)
    ):
        node = blank(a, visits.day[v], look=visits.look[v], found=True, **same)
        floor, budget = held.floor_cm[v], held.budget_cm[v]
        if before == before:
            node |= {"reading_cm": before, "reading_sd_cm": visits.before_sd_cm[v]}
        else:
            node |= {"guess_cm": (floor + budget) / 2, "guess_sd_cm": 0.35 * (budget - floor)}
        if visits.look[v]:
            node |= {"floor_cm": floor, "budget_cm": budget}
        made.append(node)
    if not (visits.cut[v] or visits.unsaid[v]):
        return made
    node = blank(a, visits.day[v], bucket=visits.bucket[v], reading_cm=after, **same)
    node["link"], node["aim_sd_cm"] = Link.AIMED, habits.sd_cm[a]
    if removed == removed and not (before == before and after == after):
        node |= {"link": Link.CUT, "removed_cm": removed}
    elif grams == grams and removed != removed:
        node |= {"link": Link.WEIGHED, "removed_cm": grams / traits.gram_per_cm[a]}
    then, now = held.cut_cm[v], traits.cut_cm[a]
    if visits.unsaid[v]:
        unsure = 0.2 * np.exp(habits.log_cm[a])
        node |= {"link": Link.UNSAID, "aim_sd_cm": max(habits.sd_cm[a], unsure)}
    elif np.isfinite(then) and np.isfinite(now) and then != now:
        node["aim_sd_cm"] = 1000.0
        node["link"] = Link.FRESH if node["link"] == Link.AIMED else node["link"]
        if after != after:
            node |= {"reading_cm": then, "reading_sd_cm": 0.2 * then}
    if visits.day[v] not in clock.replanted_day[a]:
        node["pause_d"] = traits.pause_d[a] * max(2.0 * share_cut(visits, held, v) - 1.0, 0.0)
    node["lag_share"] = float(lag_share(np.mean([*shares, 0.35])))
    return [*made, node]


def link_found(a, chain, visits, traits, clock):
    """Let what was found have grown from the node before it."""
    cut = visits.cut | visits.unsaid
    days_cut = np.unique(visits.day[cut & (traits.tank[visits.area] == traits.tank[a])])
    for before, node in zip([None, *chain], chain, strict=False):
        if not node.pop("found", False) or before is None:
            continue
        began, ended, pause = before["day"], node["day"], before["pause_d"]
        others = ((days_cut > began) & (days_cut < ended)).sum()
        lags = before["lag_share"] + others * float(lag_share(np.array(0.35)))
        growth, doubt = clock.growth_between(a, began, ended, pause)
        node |= {"link": Link.GREW, "span_d": ended - began, "growth_d": growth}
        node |= {"pause_doubt": doubt, "lag_per_d": lags / max(ended - began, 1.0)}
        node["by_settling"] = clock.slowed_by_settling(a, began, ended, pause)


def test_every_visit_becomes_the_nodes_that_a_plain_loop_makes_of_it(log):
    visits, held, traits, habits, clock = log
    found = build_nodes(visits, held, traits, clock, habits, ON)
    expected = nodes_one_by_one(visits, held, traits, habits, clock)
    kinds = np.array([node["link"] for node in expected])
    assert (np.bincount(kinds) >= 5).all()
    for name in FIELDS:
        np.testing.assert_allclose(
            getattr(found, name), [node[name] for node in expected], rtol=1e-12, err_msg=name
        )


def test_what_was_planted_in_the_last_sixty_days_was_planted_lately(log):
    traits = log[2]
    lately = traits.planted_lately(ON)
    assert lately.tolist() == np.isin(traits.planted_day, (145.0, 170.0)).tolist()
    np.testing.assert_allclose(
        traits.middle_cm - traits.floor_cm, traits.budget_cm - traits.middle_cm
    )
