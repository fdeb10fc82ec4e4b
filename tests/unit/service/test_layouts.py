"""A tank as layouts would plant it: what keeps its log, what is new, and the light below."""

from __future__ import annotations

import numpy as np
import pytest

from growthcast.book.supposed import Changes, with_rows
from growthcast.fit.growth import fit_growth
from growthcast.fit.supposed import cover_now, growth_under, suppose
from growthcast.service.living import living_areas
from growthcast.service.rescape.layouts import lay_out
from tests.books import AREAS, make_book, stem_log
from tests.unit.fit.test_supposed import CONDITIONS, DAY, ON, speed


def table(book, *rows):
    """A layout: the id and species of each area, and what else is written of it."""
    areas = book.areas.keep(np.zeros(len(book.areas), bool))
    names = ("area_id", "species_id", "area_cm2", "floor_cm", "budget_cm", "light_share")
    return with_rows(areas, [dict(zip(names, row, strict=True)) for row in rows])


STEMS = ("stems", "rotala-rotundifolia", 400.0, 7.0, 22.0, None)


def test_an_area_of_a_layout_keeps_its_log_with_its_id_and_plant(tmp_path) -> None:
    """Its log has shown that it stands a cut to 2 cm, which the table does not say."""
    book = make_book(tmp_path, conditions=CONDITIONS, trims=stem_log(after=2.0))
    fit = fit_growth(book, ON)
    higher = ("stems", "rotala-rotundifolia", 500.0, 8.0, 34.0, None)
    other, left = ("carpet", "marsilea-hirsuta", 900.0, 1.0, 4.5, None), ("left", *STEMS[1:])
    layouts = [table(book, left, higher), table(book, STEMS), table(book, other)]
    wide_book, wide, (both, same, new) = lay_out(book, fit, 0, layouts)
    assert wide.design.area_id.tolist() == ["stems", "carpet", "moss", "left=0", "carpet=1"]
    assert wide_book.areas.text("species_id")[3:].tolist() == [STEMS[1], "marsilea-hirsuta"]
    assert (both.areas.tolist(), both.kept.tolist()) == ([3, 0], [False, True])
    assert (same.areas.tolist(), same.as_lit.tolist()) == ([0], [True])
    assert (new.areas.tolist(), new.kept.tolist()) == ([4], [False])
    assert both.fit.design.alive.tolist() == [True, False, True, True, False]
    assert new.fit.design.alive.tolist() == [False, False, True, False, True]
    now, then = (living_areas(one, np.array([0])) for one in (fit, both.fit))
    assert (then.floor_cm.tolist(), then.budget_cm.tolist()) == ([8.0, 7.0], [34.0, 22.0])
    assert then.safe_cut_cm[0] == now.safe_cut_cm[0] == 2.0 < then.safe_cut_cm[1]
    for name in ("ceiling_cm", "week", "hand", "lag_d"):
        drawn, kept = (getattr(one.draws, name)[0] for one in (now, then))
        np.testing.assert_allclose(drawn, kept, rtol=1e-5)
    assert both.fit.design.area_cm2[0] == both.book.areas.number("area_cm2")[0] == 500.0
    assert fit.design.area_cm2[0] == wide.design.area_cm2[0] == 400.0
    # It stands nearer to the lamp from that day on, and grows no otherwise before.
    gain = np.log(speed(both.fit, DAY)[0] / speed(fit, DAY)[0])
    assert gain > 0.004
    np.testing.assert_allclose(
        then.draws.log_rate[0] - now.draws.log_rate[0], gain, rtol=1e-4, atol=1e-6
    )
    assert speed(both.fit, DAY - 1.0)[0] == speed(fit, DAY - 1.0)[0]
    assert not both.as_lit[1]
    assert speed(both.fit, DAY + 30.0)[0] > speed(both.fit, DAY + 1.0)[0]  # the row of next week
    assert speed(same.fit, DAY)[0] == pytest.approx(speed(fit, DAY)[0], rel=1e-12)


FLOATS = ("float", "limnobium-laevigatum", 2500.0, 30.0, 50.0, None)


@pytest.fixture(scope="module")
def covered(tmp_path_factory):
    """Frogbit over half of 5,000 cm2 at 30 to 50 %: a fifth of the surface is covered."""
    tanks = "tank_id,client,length_cm,width_cm,water_depth_cm\nlobby,A,100,50,46\nhome,B,,,34\n"
    areas = AREAS + "float,lobby,Frogbit,limnobium-laevigatum,2500,30,50,35,2025-01-01,\n"
    folder = tmp_path_factory.mktemp("covered") / "book"
    book = make_book(folder, tanks=tanks, areas=areas, conditions=CONDITIONS)
    fit = fit_growth(book, ON)
    assert cover_now(fit).tolist() == pytest.approx([0.2, 0.0])
    return book, fit


def test_what_floats_in_a_layout_shades_what_stands_below_it(covered) -> None:
    """Half of the frogbit lets nine tenths in, none all: of a share of light so many times it."""
    book, fit = covered
    shaded, half = ("stems", *STEMS[1:-1], 0.5), ("float", FLOATS[1], 1250.0, *FLOATS[3:])
    layouts = [table(book, *rows) for rows in ((STEMS, FLOATS), (shaded, half), (STEMS,))]
    layouts.append(table(book, STEMS, ("top", FLOATS[1], 5000.0, 90.0, 100.0, 0.3)))
    *_, laid = lay_out(book, fit, 0, layouts)
    times = [1.0, 0.9 / 0.8, 1.0 / 0.8, (1.0 - 0.95) / 0.8]  # never less than a twentieth
    assert [one.light_below for one in laid] == pytest.approx([*times[:3], 0.0625])
    shares = [one.book.areas.number("light_share")[one.areas].tolist() for one in laid]
    assert shares[0] == pytest.approx([1.0, np.nan], nan_ok=True)
    assert shares[1] == pytest.approx([0.5 * times[1], np.nan], nan_ok=True)
    assert shares[3] == pytest.approx([times[3], 0.3])  # what floats is not shaded
    assert [one.as_lit[0] for one in laid] == [True, False, False, False]
    light = [90.0 * share[0] for share in shares]
    for ppfd, one in zip(light, laid, strict=True):
        lit = suppose(book, fit, 0, Changes({"ppfd_umol": ppfd}, {}))
        assert speed(one.fit, DAY)[0] == pytest.approx(speed(lit.fit, DAY)[0], rel=1e-9)
    cover = 0.01 * 2500.0 * np.array([40.0, 20.0, 0.0])
    growth = [growth_under(book, fit, 0, cm2) for cm2 in cover.tolist()]
    assert [one[3] for one in growth] == [1.0] * 3
    assert growth[0][0] == pytest.approx(1.0)
    assert growth[2][0] == pytest.approx(speed(laid[2].fit, DAY)[0] / speed(fit, DAY)[0])
    assert growth[2][0] > growth[1][0] > 1.0


def test_a_supposed_plant_that_floats_shades_as_the_one_it_replaces(covered) -> None:
    """Both were counted, that which goes and that which comes, once conditions were supposed."""
    book, fit = covered
    dim, other = {"ppfd_umol": 60.0}, {"float": "pistia-stratiotes"}
    alone, both = (suppose(book, fit, 0, Changes(dim, plants)) for plants in ({}, other))
    np.testing.assert_allclose(both.growth_factor[:3], alone.growth_factor[:3])
