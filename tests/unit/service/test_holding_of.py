"""Which areas of a book hold, and which CO2 is assumed, on nouns made by hand."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest

from growthcast.fit.model.clock import TankConditions
from growthcast.service import holding as module
from growthcast.service.holding import Holding, NotHolding, co2_assumed, holding_of, not_holding

NEVER = np.nan


def practice(shade=(0.2, 0.5)):
    """Two tanks, four areas, the last of them floating; light changed yesterday in the second."""
    conditions = TankConditions(
        from_day=np.array([[0.0, np.inf, np.inf], [0.0, 99.0, np.inf]]),
        values={"ppfd_umol": np.array([[50.0, NEVER, NEVER], [60.0, 70.0, NEVER]])},
        none_added=np.zeros((2, 3), bool),
    )
    traits = SimpleNamespace(
        floor_cm=np.array([4.0, 6.0, 40.0, 20.0]), budget_cm=np.array([10.0, 20.0, 60.0, 40.0])
    )
    design = SimpleNamespace(
        tank=np.array([0, 1, 1, 1]),
        tank_id=np.array(["a", "b"]),
        on_day=100.0,
        conditions=conditions,
        traits=traits,
        water_depth_cm=np.array([30.0, 45.0]),
        is_cover=np.array([False, False, False, True]),
        species=np.array([3, 2, 1, 0]),
        priors="priors",
        shade=SimpleNamespace(on=lambda _: np.array(shade)),
    )
    columns = {
        "light_share": np.array([NEVER, 0.5, 0.8, 0.9]),
        "area_id": np.array(["n", "o", "p", "q"]),
        "label": np.array(["N", "", "P", "Q"]),
    }
    areas = SimpleNamespace(number=columns.__getitem__, text=columns.__getitem__)
    spans = SimpleNamespace(design=design, spans_since=lambda day: np.array([0, 1, 2, 1]))
    return SimpleNamespace(areas=areas), spans


def test_areas_hold_in_the_light_that_is_left_to_them_at_their_middle(monkeypatch):
    """Below cover less, no taller than the water; floating plants have all of it at the top."""
    asked = []
    monkeypatch.setattr(module, "holding", lambda *values: asked.append(values))
    book, fit = practice()
    holding_of(book, fit, np.array([1, 0, 2, 3]))
    holding_of(book, fit, np.array([0, 2]), 0.1)
    conditions, priors, species, share, canopy = asked[0]
    assert conditions["ppfd_umol"].tolist() == [70.0, 50.0, 70.0, 70.0]
    assert (priors, species.tolist()) == ("priors", [2, 3, 1, 0])
    assert share == pytest.approx([0.5 * 0.5, 1.0 * 0.8, 0.8 * 0.5, 0.9])
    assert canopy.tolist() == [13.0, 7.0, 45.0, 45.0]
    assert asked[1][3] == pytest.approx([0.9, 0.8 * 0.9])


def test_plants_that_do_not_hold_are_those_nobody_saw_grow(monkeypatch):
    """Two spans of its own since the light changed show an area to hold, whatever the table says.

    Under half of the surface it is likely to hold in 0.2 of the light, under 30 % in 0.7 of it.
    """
    book, fit = practice()
    cover_that_does = {0: None, 1: 0.3, 2: 0.3, 3: 0.0}
    asked = []

    def judged(_, __, areas, cover=None):
        asked.append(cover)
        cover = 0.5 if cover is None else cover
        most = [cover_that_does[area] for area in areas.tolist()]
        chance = [0.8 if m is not None and cover <= m + 1e-9 else 0.4 for m in most]
        sure = np.ones(len(chance))
        return Holding(np.array(chance), sure, sure)

    monkeypatch.setattr(module, "holding_of", judged)
    monkeypatch.setattr(module, "conditions_since", lambda fit, tank: 99.0)
    found = not_holding(book, fit, 1, np.arange(4))
    assert found == (
        NotHolding("n", "N", 0.4, ("light",), None),
        NotHolding("o", "o", 0.4, ("light",), pytest.approx(0.3)),
        NotHolding("q", "Q", 0.4, ("light",), 0.0),
    )
    assert asked[1:] == pytest.approx(np.arange(0.0, 0.46, 0.05).tolist())
    cover_that_does |= dict.fromkeys(range(4), 0.5)
    assert not_holding(book, fit, 1, np.arange(4)) == ()


def test_a_chance_of_one_half_is_enough(monkeypatch):
    book, fit = practice()
    half = Holding(np.array([0.5]), np.ones(1), np.ones(1))
    monkeypatch.setattr(module, "holding_of", lambda *_: half)
    monkeypatch.setattr(module, "conditions_since", lambda *_: 99.0)
    assert not_holding(book, fit, 1, np.array([1])) == ()
    half.light[0] = 0.49
    assert [one.area_id for one in not_holding(book, fit, 1, np.array([1]))] == ["o"]


def test_co2_is_assumed_of_planted_tanks_that_get_none_or_of_which_nobody_told(monkeypatch):
    """The third tank has no area; an area without a tank plants none."""
    ids = np.array(["a", "b", "c", "d"])
    home = np.array([0, 1, 3, -1, 0])
    book = SimpleNamespace(
        tanks=SimpleNamespace(text=lambda _: ids),
        areas=SimpleNamespace(places=lambda *_: home),
        conditions=SimpleNamespace(places=lambda *_: None),
    )
    told = TankConditions(
        from_day=np.zeros((4, 2)),
        values={"co2_mg_l": np.array([[NEVER, 5.0], [NEVER, NEVER], [NEVER, NEVER], [9.0, 9.0]])},
        none_added=np.array([[False, False], [False, True], [True, True], [True, False]]),
    )
    monkeypatch.setattr(module, "tank_conditions", lambda *_: told)
    assert co2_assumed(book) == (["b", "d"], ["b"])
