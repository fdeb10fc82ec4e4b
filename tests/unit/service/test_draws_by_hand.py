"""What names a row of draws, and how its order comes about."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest

from growthcast.fit.model.noise import KNOT_COUNT
from growthcast.fit.model.posterior import SharedGrowth
from growthcast.service import draws
from growthcast.service.draws import (
    _rate_with_lag,
    _scrambled,
    draw_growth,
    span_normals,
    stratified_normals,
)

WIDTH = 1 + KNOT_COUNT


def test_keys_are_scrambled_as_splitmix64_does():
    """The first numbers from the seed 1234567, as they are printed for other languages, too."""
    seen, state = [], np.array([1234567], np.uint64)
    with np.errstate(over="ignore"):
        for _ in range(3):
            seen.append(int(_scrambled(state)[0]))
            state = state + np.uint64(0x9E3779B97F4A7C15)
    assert seen == [6457827717110365317, 3203168211198807973, 9817491932198370423]


@pytest.mark.parametrize("count", [1, 2, 8, 256])
def test_a_row_is_the_quantiles_in_the_order_of_its_key_alone(count):
    rows = stratified_normals(np.array([7, 8, 7]), count)
    np.testing.assert_array_equal(rows[0], rows[2])
    np.testing.assert_array_equal(rows[0], stratified_normals(np.array([7]), count)[0])
    for row in np.sort(rows, axis=1):
        np.testing.assert_array_equal(row, rows[0][np.argsort(rows[0])])
    assert rows.mean() == pytest.approx(0.0, abs=1e-6)
    if count > 2:
        assert (rows[0] != rows[1]).any()


def test_the_order_changes_within_the_smallest_and_largest_numbers():
    """Of 65,536 draws, the most there are, each comes once."""
    [row] = stratified_normals(np.array([3]), 1 << 16)
    assert np.unique(row).size == 1 << 16
    assert np.corrcoef(row[:-1], row[1:])[0, 1] == pytest.approx(0.0, abs=0.03)
    for wrong in (3, 100, 1000):
        with pytest.raises(ValueError, match=f"not {wrong}"):
            stratified_normals(np.array([3]), wrong)


def shared_growth(areas, tanks, rng):
    species = 2

    def normal(*shape):
        return rng.normal(size=shape)

    return SharedGrowth(
        mean=SimpleNamespace(log_rate=normal(areas), log_ceiling=normal(areas)),
        drift=normal(tanks, KNOT_COUNT),
        species=np.arange(areas) % species,
        species_root=normal(species, 3),
        tank_root=normal(tanks, WIDTH, WIDTH),
        tank_by_species=normal(tanks, WIDTH, species),
        by_shared=normal(areas, 2, WIDTH),
        own_root=np.tril(normal(areas, 2, 2)),
        pace_by=np.array([normal(areas) * 0.02, normal(areas)]),
        ceiling_by=np.array([normal(areas) * 0.02, normal(areas)]),
    )


def test_draws_move_with_what_areas_share_and_no_row_is_drawn_twice(monkeypatch):
    """Sums area by area of what the factors say; every row of normals is one thing's alone."""
    rng, asked = np.random.default_rng(4), []
    rows = {}

    def normals(keys, count):
        asked.extend(keys.tolist())
        for key in keys.tolist():
            rows.setdefault(key, rng.normal(size=count).astype(np.float32))
        return np.array([rows[key] for key in keys.tolist()])

    monkeypatch.setattr(draws, "stratified_normals", normals)
    draws._species_normals.cache_clear()
    areas, tanks = np.array([1, 3, 4]), np.array([0, 2])
    shared = shared_growth(3, 2, rng)
    usual_d, lag_d = np.array([3.0, 2.0]), rng.uniform(1.0, 6.0, (5, 8))
    settled, speed = rng.normal(size=(2, 8)), np.linspace(0.5, 1.5, 5)
    design = SimpleNamespace(
        species_id=np.arange(3),
        tank=np.array([1, 0, 1, 0, 2]),
        draw_key=np.array([10, 11, 12, 13, 14]),
        form=np.array([0, 1, 0, 0, 1]),
        on_day=5.0,
        clock=SimpleNamespace(speed=lambda day: speed * day / 5.0),
        spreads=SimpleNamespace(
            lags=SimpleNamespace(
                centre_d=usual_d, mean_d=usual_d, drawn=lambda of, form: lag_d[[1, 3, 4]]
            ),
            settling=SimpleNamespace(drawn=lambda of: settled),
        ),
    )
    fit = SimpleNamespace(design=design, widening=1.5, shared=lambda *_: shared)
    made = draw_growth(fit, areas, tanks, 8)
    draws._species_normals.cache_clear()
    assert len(set(asked)) == len(asked)
    species_rows = np.array([rows[16 * s] for s in range(3)])
    for a, area in enumerate(areas.tolist()):
        run, form, own = [0, 0, 1][a], design.form[area], design.draw_key[area]
        alone = shared.own_root[a] @ [rows[16 * own + 12], rows[16 * own + 11]]
        species = shared.species_root @ species_rows
        tank = shared.tank_root[run] @ [rows[16 * tanks[run] + 1 + k] for k in range(WIDTH)]
        tank = tank + shared.tank_by_species[run] @ species
        of_species = shared.by_shared[a, :, :1] * species[shared.species[a]]
        ceiling, rate = alone + shared.by_shared[a] @ tank + of_species
        lag, settling = lag_d[area], 1.5 * settled[form]
        longer = _rate_with_lag(shared.pace_by[0], usual_d[design.form[areas]], lag_d[areas])[a]
        log_rate = shared.mean.log_rate[a] + np.log(speed[area]) + 1.5 * rate + longer
        np.testing.assert_allclose(
            made.log_rate[a], log_rate + shared.pace_by[1, a] * settling, rtol=1e-3, atol=1e-4
        )
        log_ceiling = shared.mean.log_ceiling[a] + 1.5 * ceiling
        log_ceiling = log_ceiling + shared.ceiling_by[0, a] * (lag - usual_d[form])
        log_ceiling = log_ceiling + shared.ceiling_by[1, a] * settling
        np.testing.assert_allclose(np.log(made.ceiling_cm[a]), log_ceiling, rtol=1e-3, atol=1e-4)
        knots = shared.drift[run][:, None] + 1.5 * tank[1:]
        np.testing.assert_allclose(made.knots[run], knots, rtol=1e-4, atol=1e-4)
        np.testing.assert_allclose(made.week[a], 1.5 * rows[16 * own + 13], rtol=1e-6)
        np.testing.assert_array_equal(made.hand[a], rows[16 * own + 14])
        np.testing.assert_allclose(made.drift[run], 1.5 * rows[16 * tanks[run] + 15], rtol=1e-6)
        np.testing.assert_allclose(made.settling[a], settling, rtol=1e-6)


def test_a_rate_follows_a_lag_so_that_growth_over_the_gaps_is_kept():
    """``rate (1 - c lag)`` stays as it is; the slope at the usual lag is the log's."""
    slope, usual = np.array([0.05, -0.04, 0.0]), np.array([3.0, 2.0, 2.0])
    lag = np.linspace(0.0, 4.0, 9)[None] * np.ones((3, 1))
    moved = _rate_with_lag(slope, usual, lag)
    share = slope / (1 + slope * usual)
    gap = np.exp(moved) * (1 - share[:, None] * lag)
    np.testing.assert_allclose(gap, (1 - share * usual)[:, None] * np.ones(9), rtol=1e-5)
    near = usual[:, None] + np.array([[-1e-2, 1e-2]])
    np.testing.assert_allclose(
        np.diff(_rate_with_lag(slope, usual, near))[:, 0] / 0.02, slope, atol=1e-4
    )
    # However long a lag, a tenth of the growth is left: it cannot ask for ten times the rate.
    longest = _rate_with_lag(np.array([0.5]), np.array([2.0]), np.array([[100.0]]))
    assert np.exp(longest) == pytest.approx(np.array([[(1 - 0.25 * 2.0) / 0.1]]), rel=1e-4)


def test_later_spans_are_named_apart_from_each_other_and_from_all_places():
    """The normals of a span share no key with any area, tank or other span of a large book."""
    areas = np.array([0, 1, 50_000])
    seen = [row for span in (-3, -2, 0, 1, 60) for row in span_normals(areas, span, 256)]
    seen.extend(stratified_normals(np.arange(64), 256))
    alike = np.abs(np.corrcoef(np.array(seen)) - np.eye(len(seen)))
    assert alike.max() < 0.4
