"""Some tanks fitted alone: the same answer as with all of them, at less cost."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from functools import partial

import numpy as np
import pytest

from growthcast.book.read import read_book
from growthcast.fit import design as designs
from growthcast.fit.growth import fit_growth
from growthcast.fit.model.spreads import Spreads
from growthcast.fit.rows.chains import pack_chains
from growthcast.fit.solver import part as parting
from growthcast.fit.solver import view as views
from growthcast.fit.solver.part import Part, fitted_alone, part_of
from growthcast.fit.solver.problem import RATE, CannotFit
from growthcast.fit.solver.solve import solve
from growthcast.fit.solver.view import departure_of, seen, view_of
from tests.chains import in_order
from tests.simulator import Richness, simulate_practice
from tests.unit.fit.small_problem import small_problem

TANKS = np.array([True, False, True])


@pytest.fixture(scope="module", params=[4, 0])
def view(request):
    """A fit of three blocks, once all of them kept, once none."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(views, "MOST_WITH_SITES", request.param)
        view = solve(small_problem(nodes_a_block=1), tolerance=1e-7).view
        assert len(view.kept) == 3 * (request.param > 0)
        yield view


def test_a_part_of_a_fit_stands_where_the_whole_does(view):
    part = part_of(view, TANKS)
    alone = view_of(part.problem, part.point)
    np.testing.assert_allclose(departure_of(alone), departure_of(view)[:, part.areas], atol=1e-6)
    assert np.abs(alone.pooled.species).max() < 1e-9
    np.testing.assert_allclose(
        alone.pooled.tank[:, 0], view.pooled.tank[TANKS, 0], rtol=0, atol=1e-6
    )


def test_a_part_holds_whole_logs_in_order(view):
    part, logs = part_of(view, TANKS), {}
    for problem in (view.problem, part.problem):
        for block in problem.blocks:
            nodes = in_order(block.chains)
            for area in np.unique(nodes.area):
                logs.setdefault(id(problem), {})[area] = nodes.take(
                    np.flatnonzero(nodes.area == area)
                )
            behind = block.chains.previous
            assert (block.chains.nodes.area[behind] == block.chains.nodes.area).all()
    whole, some = logs[id(view.problem)], logs[id(part.problem)]
    assert len(some) == part.areas.size
    for number, area in enumerate(part.areas):
        np.testing.assert_array_equal(some[number].day, whole[area].day)
        np.testing.assert_array_equal(some[number].reading_cm, whole[area].reading_cm)


def test_a_part_is_put_back_in_its_place(view):
    part = part_of(view, TANKS)
    view = replace(view, filtered=list(view.filtered))  # what is let go is this one's
    astray = part.point.border.copy()
    astray[RATE] += 0.3
    moved = solve(part.problem, type(part.point)(part.point.stages, astray))
    whole = part.put_back(view, moved.view)
    for number in range(3):
        forward = seen(whole.problem, whole.point, number)
        np.testing.assert_array_equal(whole.forward(number).at.residual, forward.at.residual)
        anew = forward.filtered
        np.testing.assert_allclose(whole.known(number).mean, anew.mean, atol=1e-9)
        np.testing.assert_allclose(whole.known(number).variance, anew.variance, rtol=1e-9)
    problem, point, anew = whole.problem, whole.point, view_of(whole.problem, whole.point)
    for name in ("information", "score", "surprise"):
        np.testing.assert_allclose(getattr(whole, name), getattr(anew, name), rtol=1e-9, atol=1e-9)
    np.testing.assert_allclose(departure_of(whole), departure_of(anew), atol=1e-9)
    np.testing.assert_allclose(point.border, view.point.border, atol=1e-2)
    elsewhere = np.setdiff1d(np.arange(view.problem.area_count), part.areas)
    np.testing.assert_array_equal(point.border[:, elsewhere], view.point.border[:, elsewhere])
    for old, new, before, after in zip(
        view.problem.blocks, problem.blocks, view.point.stages, point.stages, strict=True
    ):
        np.testing.assert_array_equal(old.chains.nodes.link, new.chains.nodes.link)
        np.testing.assert_array_equal(old.trust, new.trust)
        np.testing.assert_allclose(before, after, atol=1e-2)


def test_areas_that_cannot_be_fitted_are_named_as_in_the_whole(view, monkeypatch):
    """Whether the part alone does not fit, or the whole once it has been put back."""
    areas = part_of(view, TANKS).areas

    def fails(*_):
        raise CannotFit(np.array([areas.size - 1]))

    with pytest.raises(CannotFit) as fault:
        fitted_alone(view, TANKS, fails)
    assert fault.value.areas.tolist() == [areas[-1]] != [areas.size - 1]
    monkeypatch.setattr(Part, "put_back", fails)
    with pytest.raises(CannotFit) as fault:
        fitted_alone(view, TANKS, view_of)
    assert fault.value.areas.tolist() == [areas.size - 1]


def test_nodes_of_many_blocks_are_packed_into_as_few_as_hold_them(view, monkeypatch):
    """Whole blocks, each where those before it end: the first holds 30 nodes, 31 go into one."""
    blocks = view.problem.blocks
    size = [block.trust.size for block in blocks]
    assert size[0] < 31 <= size[0] + size[1] < 62
    monkeypatch.setattr(parting, "NODES_A_BLOCK", 31)
    made, taken = parting.packed(blocks, np.ones(7, dtype=bool))
    assert [[one.number for one in its] for its in taken] == [[0, 1], [2]]
    assert [block.trust.size for block in made] == [size[0] + size[1], size[2]]


@pytest.mark.slow
def test_a_large_book_is_fitted_as_a_small_one(tmp_path, monkeypatch):
    """In many small blocks, of which none is kept, tanks are fitted alone and judged alone.

    A part hears looks with its species held, which foresees them a little too surely: a look at a
    full stand weighs a tenth more there, and moves its area's rate by 0.003 sd at most.
    """
    practice = simulate_practice(seed=47, days=270, richness=Richness())
    book = read_book(practice.write_book(tmp_path))
    on = book.trims.date("date").max().astype(date)
    usual = fit_growth(book, on, Spreads())
    assert len(usual.design.problem.blocks) == 1
    assert usual.suspects
    parts = []
    monkeypatch.setattr(designs, "pack_chains", partial(pack_chains, nodes_a_block=100))
    monkeypatch.setattr(parting, "part_of", lambda *a: parts.append(a) or part_of(*a))
    monkeypatch.setattr(views, "MOST_BLOCKS_KEPT", 0)
    monkeypatch.setattr(parting, "MANY_AREAS", 10)
    monkeypatch.setattr(parting, "NODES_A_BLOCK", 250)
    large = fit_growth(book, on, Spreads())
    assert len(large.design.problem.blocks) > 4
    assert not large.solution.view.kept
    assert len(parts) > 3
    assert [row.row for row in large.suspects] == [row.row for row in usual.suspects]
    assert any(len(part_of(*asked).taken) > 1 for asked in parts)
    scale = usual.posterior(np.arange(len(book.areas))).rate_variance ** 0.5
    off = (large.solution.point.border - usual.solution.point.border)[RATE] / scale
    assert np.abs(off).max() < 5e-3
    assert large.log_likelihood == pytest.approx(usual.log_likelihood, abs=0.02)
