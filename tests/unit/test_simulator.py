"""The simulator: its equations against values worked out by hand, its switches, its files."""

from __future__ import annotations

import ast
import csv
import importlib.util
import math
from dataclasses import replace
from datetime import date, timedelta
from itertools import pairwise
from pathlib import Path
from types import ModuleType

import numpy as np
import pytest

from growthcast.book.read import read_book
from tests import simulator
from tests.simulator import (
    STYLES,
    Condition,
    Richness,
    Traits,
    simulate,
    simulate_practice,
    typed_plan,
    typed_practice,
)
from tests.simulator.nature import grow_one_day, ph_of_co2, response, settled_share
from tests.simulator.practice import random_practice

TODAY = date(2026, 11, 25)
DEMO = Path(__file__).parents[2] / "data" / "demo"
STEM = Traits("some-stem", "stem", 0.1, 40.0, light_k_umol=60.0, respiration_share=0.05)


def _demo_module() -> ModuleType:
    spec = importlib.util.spec_from_file_location("make_demo", DEMO / "make_demo.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def test_imports_nothing_of_the_fit() -> None:
    for path in Path(simulator.__file__).parent.glob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            names = [alias.name for alias in node.names] if isinstance(node, ast.Import) else []
            names += [node.module or ""] if isinstance(node, ast.ImportFrom) else []
            assert not [name for name in names if name.startswith("growthcast")], path.name


def test_a_logistic_day_is_the_closed_form() -> None:
    height = np.array([2.0, 20.0, 39.0])
    grown = grow_one_day(height, np.full(3, 0.3), np.full(3, 40.0), np.ones(3))
    odds = height / (40.0 - height) * math.exp(0.3)
    np.testing.assert_allclose(grown, 40.0 * odds / (1.0 + odds), rtol=1e-6)


def test_every_shape_grows_alike_at_half_of_the_ceiling() -> None:
    shape = np.array([0.4, 1.0, 1.8])
    rate = np.full(3, 1e-4)
    grown = grow_one_day(np.full(3, 20.0), rate, np.full(3, 40.0), shape) - 20.0
    np.testing.assert_allclose(grown, 1e-4 * 40.0 / 4.0, rtol=1e-3)


def test_responses_are_one_at_the_reference_and_known_elsewhere() -> None:
    assert response(STEM, {}, 1.0, 10.0) == pytest.approx(1.0)
    # CO2 5 with half-saturation 3: 5/8 over 25/28
    assert response(STEM, {"co2_mg_l": 5.0}, 1.0, 10.0) == pytest.approx(0.7)
    # nitrate 1.5 is its half-saturation and the scarcest; phosphate at the reference is 1/1.06
    scarce = 0.5 / min(15 / 16.5, 1 / 1.06, 15 / 16)
    assert response(STEM, {"no3_mg_l": 1.5}, 1.0, 10.0) == pytest.approx(scarce)
    # twice the hours: (16 tanh(100/60) - 1.2) / (8 tanh(100/60) - 1.2), a fifth being floor
    bright = math.tanh(100 / 60)
    gain = (16 * bright - 1.2) / (8 * bright - 1.2)
    longer = response(STEM, {"photoperiod_h": 16.0}, 1.0, 10.0)
    assert longer == pytest.approx(0.2 + 0.8 * gain)
    assert response(STEM, {"ppfd_umol": 2.0}, 1.0, 10.0) == pytest.approx(0.02)
    assert response(STEM, {"temperature_c": 33.0}, 1.0, 10.0) == pytest.approx(0.02)


def test_settling_rises_evenly() -> None:
    share = settled_share(np.array([-1.0, 0.0, 5.0, 20.0]), np.array([10.0]))
    np.testing.assert_allclose(share, [0.0, 0.0, 0.5, 1.0])


def test_ph_and_hardness_give_the_trades_co2_less_a_seventh() -> None:
    rule_of_thumb = 3.0 * 4.0 * 10.0 ** (7.0 - ph_of_co2(20.0, 4.0))
    assert rule_of_thumb / 20.0 == pytest.approx(0.85, abs=0.01)


def test_same_arguments_same_practice() -> None:
    one, two = (simulate_practice(tanks=3, days=80, seed=5, future_days=5) for _ in range(2))
    assert one.log == two.log
    assert one.log != simulate_practice(tanks=3, days=80, seed=6, future_days=5).log


def test_exact_books_follow_the_closed_form_between_visits() -> None:
    practice = simulate_practice(
        tanks=2, days=60, seed=3, richness=Richness.exact(responses=False, settling=False)
    )
    truth = practice.truth
    rows = [row for row in practice.log if row.area_id == truth.area_id[0]]
    traits = practice.plan.traits[practice.plan.areas[0].species_id]
    ceiling = truth.ceiling_cm[0]
    assert len(rows) > 2
    for row, later in pairwise(rows):
        start = row.before_cm if row.after_cm is None else row.after_cm
        assert start is not None
        days = (later.on - row.on).days
        odds = start / (ceiling - start) * math.exp(traits.rate_per_day * days)
        assert later.before_cm == pytest.approx(ceiling * odds / (1.0 + odds), rel=1e-5)


def test_white_noise_of_a_week_is_as_wide_as_asked() -> None:
    richness = Richness.exact(week_spread=0.2, settling=False)
    truth = simulate_practice(tanks=6, days=400, seed=2, richness=richness).truth
    factor = truth.rate_per_day / truth.expected_rate_per_day
    weeks = factor[: 65 * 7].reshape(65, 7, -1).mean(axis=1)
    assert weeks.std() == pytest.approx(0.2, rel=0.06)
    assert weeks.mean() == pytest.approx(1.0, abs=0.02)


def test_readings_are_off_by_what_is_asked() -> None:
    richness = Richness.plain(week_spread=0.0, span_spread=0.0)
    practice = simulate_practice(tanks=24, days=270, seed=8, richness=richness)
    species = {area.area_id: area.species_id for area in practice.plan.areas}
    off = []
    for row in practice.log:
        if row.before_cm is None or practice.plan.traits[species[row.area_id]].is_cover:
            continue
        true = practice.truth.height(row.area_id, row.on)
        if true > 3.0:  # lower ones cannot err as far down
            off.append((row.before_cm - true) / math.hypot(0.5, 0.05 * true))
    assert len(off) > 400
    assert np.std(off) == pytest.approx(1.0, abs=0.1)
    assert np.mean(off) == pytest.approx(0.0, abs=0.1)


def test_nothing_is_cut_after_the_last_day() -> None:
    truth = simulate_practice(tanks=3, days=60, seed=4, future_days=20).truth
    np.testing.assert_array_equal(truth.height_after_cm[-20:], truth.height_before_cm[-20:])
    assert (np.diff(truth.height_before_cm[-20:], axis=0) >= 0.0).all()
    with pytest.raises(ValueError, match="outside"):
        truth.row_of(date(2030, 1, 1))


def test_heights_are_known_only_while_an_area_lives() -> None:
    practice = _demo_module().demo_practice()
    assert math.isnan(practice.truth.height("shop-bacopa", date(2026, 10, 27)))
    assert math.isnan(practice.truth.height("shop-rotala", date(2026, 10, 28)))
    assert practice.truth.height("shop-rotala", date(2026, 10, 29)) == pytest.approx(5.0)
    assert practice.truth.heights_on(date(2026, 11, 20)).shape == (27,)


def test_conditions_slow_growth_in_the_truth_and_stand_in_the_file(tmp_path: Path) -> None:
    plan = simulate_practice(tanks=1, days=60, seed=1, future_days=0).plan
    off_on = plan.first_on + timedelta(days=30)
    dark = (
        Condition(plan.first_on, {"ppfd_umol": 120.0, "co2_mg_l": 20.0, "kh_dkh": 4.0}),
        Condition(off_on, {"ppfd_umol": 30.0}, "dimmed"),
    )
    plan = replace(plan, tanks=(replace(plan.tanks[0], conditions=dark),))
    practice = simulate(plan, 1, Richness.exact())
    rate = practice.truth.expected_rate_per_day
    assert (rate[30] < rate[29]).all()
    practice.write_book(tmp_path)
    text = (tmp_path / "conditions.csv").read_text(encoding="utf-8")
    rows = list(csv.DictReader(text.splitlines()))
    assert [row["ppfd_umol"] for row in rows] == ["120", "30"]
    assert rows[0]["co2_mg_l"] == ""
    assert float(rows[0]["ph"]) == pytest.approx(ph_of_co2(20.0, 4.0), abs=0.006)


@pytest.mark.parametrize("richness", [Richness(), Richness.plain(), Richness.exact()])
def test_simulated_books_read_without_problems(richness: Richness, tmp_path: Path) -> None:
    practice = simulate_practice(tanks=8, days=150, seed=7, richness=richness)
    book = read_book(practice.write_book(tmp_path), today=TODAY)
    assert len(book.trims) == len(practice.log)
    notes = {finding.slug for finding in book.findings if finding.level != "remark"}
    # Gross errors and unlogged cuts are there to be noticed; nothing else is odd.
    assert notes <= {"height-above-water", "height-above-ceiling", "look-differs"}


def test_rich_books_hold_every_kind_of_row() -> None:
    log = simulate_practice(seed=9).log
    assert any(row.before_cm and row.after_cm for row in log)
    assert any(row.before_cm and row.after_cm is None for row in log)
    assert any(row.after_cm and row.before_cm is None for row in log)
    assert any(row.removed_cm for row in log)
    assert any(row.removed_g and row.area_id for row in log)
    assert any(row.removed_g and not row.area_id for row in log)
    assert any(row.minutes for row in log)
    assert {row.look for row in log} == {"", "short", "right", "over"}


@pytest.mark.parametrize("style", STYLES)
def test_typed_books_read_without_problems(style: str, tmp_path: Path) -> None:
    practice = typed_practice(style, tanks=9, days=60, seed=12)
    book = read_book(practice.write_book(tmp_path), today=TODAY)
    assert len(book.trims) == len(practice.log)
    weighed = any(row.removed_g for row in practice.log if not row.area_id)
    assert weighed == (style in {"weighed", "bucket", "rest", "mixed"})
    replanted = {a.removed_on for a in practice.plan.areas} & {
        a.planted_on for a in practice.plan.areas
    }
    assert any(row.on in replanted for row in practice.log)
    assert min(a.planted_on for a in practice.plan.areas if a.tank_id == "tank-009") > (
        practice.plan.last_on - timedelta(days=8)
    )


@pytest.mark.parametrize("style", ["weighed", "bucket", "rest"])
def test_the_bucket_holds_what_came_out(style: str) -> None:
    plan = typed_plan(style, tanks=9, days=90, seed=4)
    truth = (practice := simulate(plan, 4, Richness.typed(slip_share=0.0, weight_spread=0.0))).truth
    of_day = [
        [row for row in practice.log if row.on == bucket.on and row.tank_id == bucket.tank_id]
        for bucket in practice.log
        if bucket.removed_g and not bucket.area_id
    ]
    assert len(of_day) > 10
    for rows in of_day:
        own = {row.area_id for row in rows if row.after_cm or row.removed_cm or row.removed_g}
        grams = 0.0
        for a, area in enumerate(plan.areas):
            if area.tank_id != rows[0].tank_id or (style == "rest" and area.area_id in own):
                continue
            at = truth.row_of(rows[0].on)
            removed = truth.height_before_cm[at, a] - truth.height_after_cm[at, a]
            traits = plan.traits[area.species_id]
            litres = removed * area.area_cm2 / (10_000.0 if traits.is_cover else 1000.0)
            grams += np.nan_to_num(litres * traits.density_g_l * np.exp(truth.mass_effect[a]))
        assert rows[-1].removed_g == pytest.approx(grams, abs=4.0)


def test_plants_of_a_form_settle_all_slower_or_all_faster() -> None:
    """Rates without noise, on the day of planting: in proportion to 1 / settle_d."""
    plan = random_practice(4, 40, 5, (3, 4), 10)
    young = tuple(replace(area, planted_on=plan.first_on) for area in plan.areas)
    plan = replace(plan, areas=young)
    forms = [plan.traits[area.species_id].form for area in plan.areas]

    def ratio(**settling: float) -> np.ndarray:
        rates = (
            simulate(plan, 5, Richness.exact(**how)).truth.expected_rate_per_day[:1]
            for how in (settling, {})
        )
        return np.divide(*rates)

    assert ratio(settle_factor=2.0) == pytest.approx(np.full((1, len(forms)), 0.5))
    scattered = ratio(settle_spread=0.5)
    by_form = {form: scattered[0, forms.index(form)] for form in forms}
    assert scattered == pytest.approx(np.array([[by_form[form] for form in forms]]))
    assert len(set(by_form.values())) > 1
    assert min(abs(one - 1.0) for one in by_form.values()) > 0.01


def test_the_demo_is_what_its_script_writes(tmp_path: Path) -> None:
    _demo_module().demo_practice().write_book(tmp_path)
    names = sorted(path.name for path in tmp_path.iterdir())
    assert names == ["areas.csv", "conditions.csv", "practice.toml", "tanks.csv", "trims.csv"]
    for name in names:
        assert (tmp_path / name).read_bytes() == (DEMO / name).read_bytes(), name


def test_photos_change_what_is_read_and_nothing_else(tmp_path: Path) -> None:
    plan = random_practice(2, 60, 5, (2, 3), 10, ("stem",))
    plan = replace(plan, styles=STYLES["heights"])
    ruled = simulate(plan, 5, Richness())
    photos = simulate(
        plan, 5, Richness(photo_share=1.0, photo_offset_share=0.2, ruler_beside_share=0.3)
    )
    np.testing.assert_array_equal(ruled.truth.height_after_cm, photos.truth.height_after_cm)
    by_photo = [row for row in photos.log if row.measured_by == "photo"]
    true = np.array([photos.truth.height(row.area_id, row.on) for row in by_photo])
    off = np.array([row.before_cm for row in by_photo]) / true
    assert true.min() >= 5.0
    assert abs(np.average(off, weights=true) - 1.2) < 0.05
    book = read_book(photos.write_book(tmp_path / "photos"), today=TODAY)
    assert (book.trims.text("measured_by") == "photo").sum() == len(by_photo)
    assert 0.1 * len(by_photo) < sum(not row.measured_by for row in photos.log) < len(photos.log)
    assert "measured_by" not in (ruled.write_book(tmp_path / "ruled") / "trims.csv").read_text()
