"""How chains are packed: every place of it against a walk along each area's log."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from growthcast.fit.rows.chains import Link, Nodes, pack_chains, repacked, thin

AREAS, NAN = 30, np.nan
TANK = np.arange(AREAS) // 4
FLOATS = set(Nodes.__slots__) - {"area", "link", "look", "bucket", "row"}


def log_of(rng):
    """Return nodes of thirty logs of one to fourteen nodes; ``row`` numbers them."""
    area = np.repeat(np.arange(AREAS), rng.integers(1, 15, AREAS))
    area = area[(area % 5 != 3) | (np.arange(area.size) % 3 == 0) | (np.diff(area, prepend=-1) > 0)]
    n = area.size
    link = rng.choice([Link.FRESH, Link.AIMED, Link.GREW, Link.GREW, Link.UNSAID, Link.CUT], n)
    first = np.diff(area, prepend=-1) > 0
    link[first & (link == Link.UNSAID)] = Link.AIMED
    fields = {name: rng.random(n) for name in FLOATS}
    fields |= {"reading_cm": np.where(rng.random(n) < 0.5, 9.0, np.nan), "look": np.zeros(n, int)}
    fields |= {"day": np.arange(n) + 0.0, "bucket": np.full(n, -1), "row": np.arange(n)}
    return Nodes(area=area, link=link, **fields)


@pytest.fixture(scope="module")
def nodes():
    return log_of(np.random.default_rng(8))


def chains_of(nodes, mine):
    """Return the chains of some areas as lists of rows, in the order of the log."""
    chains = []
    for row in np.flatnonzero(np.isin(nodes.area, mine)):
        before = nodes.area[row - 1] == nodes.area[row] if row else False
        if before and nodes.link[row] not in (Link.FRESH, Link.AIMED):
            chains[-1].append(int(row))
        else:
            chains.append([int(row)])
    return chains


def check(chains, nodes, areas):
    """See that a block holds the chains of these areas, the longest first, position by position."""
    expected = chains_of(nodes, areas)
    row = chains.nodes.row
    for name in Nodes.__slots__:
        theirs, whole = getattr(chains.nodes, name), getattr(nodes, name)[row]
        np.testing.assert_array_equal(theirs, whole)
    numbers, positions = chains.place
    found = {}
    for i in np.lexsort((positions, numbers)):
        found.setdefault(int(numbers[i]), []).append(int(row[i]))
    assert sorted(found.values()) == sorted(expected)
    order = [found[number] for number in sorted(found)]
    # Of equal length the fresh ones first, of single nodes the aimed ones.
    keys = [(-len(one), (nodes.link[one[0]] == Link.FRESH) != (len(one) > 1)) for one in order]
    assert keys == sorted(keys)
    assert np.diff(chains.offsets).tolist() == [
        sum(len(one) > p for one in order) for p in range(len(order[0]))
    ]
    assert [here.start for here in chains.positions] == chains.offsets[:-1].tolist()
    for p, (before, here) in enumerate(chains.links):
        assert here == chains.positions[p + 1]
        assert row[before].tolist() == row[chains.previous[here]].tolist()
    assert len(chains.links) == len(chains.positions) - 1
    where = {int(r): i for i, r in enumerate(row)}
    for one in order:
        previous = [chains.previous[where[r]] for r in one]
        assert previous == [where[r] for r in (one[0], *one[:-1])]
    check_areas(chains, nodes, areas, where)


def check_areas(chains, nodes, areas, where):
    """See that areas are ranked by the nodes of their logs, and that each finds its own."""
    count = np.bincount(nodes.area)
    assert chains.area.tolist() == sorted(areas, key=lambda a: (-count[a], a))
    np.testing.assert_array_equal(chains.area[chains.rank], chains.nodes.area)
    starts, later = chains.starts_and_later
    assert (starts.start, starts.stop) == (0, later.start)
    assert later.stop == chains.nodes.row.size
    for rank, area in enumerate(chains.area):
        rows = np.flatnonzero(nodes.area == area)
        assert chains.last[rank] == where[rows[-1]]
        for part, groups in zip((starts, later), chains.by_area, strict=True):
            size = part.stop - part.start
            mine = np.concatenate([g[rank] for g in groups if rank < len(g)] or [np.zeros(0, int)])
            wanted = [where[r] - part.start for r in rows if part.start <= where[r] < part.stop]
            assert sorted(mine[mine < size].tolist()) == sorted(wanted)
            assert (mine <= size).all()  # the number itself: no node


@pytest.mark.parametrize("nodes_a_block", [1, 40, 60, 10_000])
def test_blocks_hold_whole_tanks_and_their_chains(nodes, nodes_a_block):
    """A tank goes where the nodes before it end: so many of them fill a block."""
    blocks = pack_chains(nodes, TANK, nodes_a_block)
    in_tank = np.bincount(TANK[nodes.area])
    number = (np.cumsum(in_tank) - in_tank) // nodes_a_block
    wanted = [np.flatnonzero(number[TANK] == one) for one in np.unique(number)]
    assert len(blocks) == len(wanted)
    for chains, areas in zip(blocks, wanted, strict=True):
        check(chains, nodes, areas.tolist())


@pytest.mark.parametrize("some", [[0, 2, 3, 9, 11, 13], range(AREAS)])
@pytest.mark.parametrize("turn", [1, -1])
def test_nodes_of_several_blocks_are_packed_as_one(nodes, some, turn):
    blocks, some = pack_chains(nodes, TANK, 60)[:3][::turn], np.array(some)
    at = [np.flatnonzero(np.isin(block.nodes.area, some)) for block in blocks]
    chains, here = repacked(blocks, at)
    rows = np.concatenate([block.nodes.row[mine] for block, mine in zip(blocks, at, strict=True)])
    np.testing.assert_array_equal(chains.nodes.row[here], rows)
    held = [area for area in some.tolist() if area in chains.area]
    assert len(held) > 4
    check(chains, nodes, held)


def test_kinds_of_nodes_are_found_as_runs_where_they_are_runs(nodes):
    """Runs need no gathering; an array of places where there is none, or more than one."""
    for chains in pack_chains(nodes, TANK, 60):
        link, every = chains.nodes.link, np.arange(chains.nodes.row.size)
        aimed, other = chains.aimed
        assert every[aimed].tolist() == np.flatnonzero(link == Link.AIMED).tolist()
        assert every[other].tolist() == np.flatnonzero(link != Link.AIMED).tolist()
        assert every[chains.grew].tolist() == np.flatnonzero(link == Link.GREW).tolist()
        assert chains.unsaid.tolist() == np.flatnonzero(link == Link.UNSAID).tolist()
        assert chains.cut.tolist() == np.flatnonzero(link == Link.CUT).tolist()
        unread = (link == Link.FRESH) & np.isnan(chains.nodes.reading_cm)
        assert chains.unread_starts.tolist() == np.flatnonzero(unread).tolist()
        for places in (aimed, other, chains.grew):
            at = every[places]
            is_run = at.size > 0 and at[-1] - at[0] + 1 == at.size
            assert isinstance(places, slice) == is_run
    none = replace(nodes, link=np.full(nodes.row.size, Link.FRESH))
    [alone] = pack_chains(none, TANK)
    assert isinstance(alone.aimed[1], slice)
    assert alone.aimed[0].size == alone.grew.size == 0


def test_an_array_of_places_ends_where_less_than_half_of_its_areas_go_on(nodes):
    """So little is padded: it is as high as the lowest area that it begins with."""
    [chains] = pack_chains(nodes, TANK)
    for part, groups in zip(chains.starts_and_later, chains.by_area, strict=True):
        reached = []
        for group in groups:
            held = group < part.stop - part.start
            lowest = [int(np.flatnonzero(column).max()) + 1 for column in held.T]
            lowest = np.maximum.accumulate(lowest[::-1])[::-1]
            assert lowest[0] == group.shape[0]
            assert lowest[-1] >= group.shape[0] // 2
            assert not reached or lowest[0] < reached[-1] // 2
            reached.append(group.shape[0])
        assert len(reached) > 1


def test_first_spans_after_planting_alone_are_grown_by_another_clock(nodes):
    """Those that begin within twenty times the days of settling."""
    [chains] = pack_chains(nodes, TANK)
    clock = SimpleNamespace(
        settling=lambda area, day: (day - 10.0 * (area % 7), 0.5 + 0.2 * (area % 3)),
        growth_between=lambda area, began, ended, pause: (ended - began + pause + area, None),
        slowed_by_settling=lambda area, began, ended, pause: 2.0 * ended - began + pause - area,
    )
    again = chains.grown_by(clock).nodes
    nodes, anew = chains.nodes, 0
    for i in range(nodes.row.size):
        began, area = nodes.day[i] - nodes.span_d[i], nodes.area[i]
        pause = nodes.pause_d[chains.previous[i]]
        growth, slowed = nodes.growth_d[i], nodes.by_settling[i]
        early = began - 10.0 * (area % 7) < 20.0 * (0.5 + 0.2 * (area % 3))
        if early and nodes.link[i] == Link.GREW:
            anew += 1
            growth = nodes.day[i] - began + pause + area
            slowed = 2.0 * nodes.day[i] - began + pause - area
        assert again.growth_d[i] == pytest.approx(growth)
        assert again.by_settling[i] == pytest.approx(slowed)
    assert 5 < anew < (nodes.link == Link.GREW).sum()
    clock.settling = lambda area, day: (day + 1e6, np.ones(area.size))  # long ago
    np.testing.assert_array_equal(chains.grown_by(clock).nodes.growth_d, nodes.growth_d)


@pytest.mark.parametrize("first", [NAN, 1.0])
def test_values_of_which_one_is_nothing_are_kept_apart(first):
    values = np.array([first, 2.0, 2.0, NAN if first == 1.0 else 2.0])
    np.testing.assert_array_equal(thin(values), values)
    assert thin(np.full(3, first)).strides == (0,)


def test_a_lag_leaves_a_tenth_of_a_span_at_least(nodes):
    lag_d = np.linspace(0.0, 3.0, AREAS)
    share = nodes.awake_share(lag_d, slice(3, None))
    wanted = [
        max(1.0 - lag * lag_d[a], 0.1) for lag, a in zip(nodes.lag_per_d, nodes.area, strict=True)
    ]
    np.testing.assert_allclose(share, wanted[3:])
    assert (share == 0.1).any()
