"""Practices drawn from the very model that the fit assumes, as arrays.

Every unknown is drawn from its prior, growth is the logistic run through each tank's own drift day
by day, and readings err as the fit is told they do. Whether an area is cut is decided by what was
read or by the calendar, never by its true height, so that decisions say nothing the log does not.
Only the classes that carry a problem to the solver come from the package: the curve and the drift
are written a second time. Many books are drawn as one problem; they share no tank and no species.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from types import SimpleNamespace

import numpy as np
from scipy.special import ndtr

from growthcast.fit.beside import beside_told
from growthcast.fit.model.clock import LEAST_AWAKE_SHARE, GrowthClock
from growthcast.fit.model.noise import ErrorModel, knot_precision
from growthcast.fit.model.spreads import FORMS, Lags, Settling, Spreads
from growthcast.fit.result import GrowthFit
from growthcast.fit.rows.chains import Link, Nodes, pack_chains
from growthcast.fit.solver.problem import KNOTS, Block, Pooling, Problem
from growthcast.fit.solver.solve import solve
from growthcast.forecast.heights import outlook
from growthcast.log.visits import Look
from tests.unit.fit.small_problem import no_weights

__all__ = [
    *("AHEAD_D", "PARAMETERS", "ModelBooks", "Regime", "draw_books", "fitted"),
    "pit_of_truth",
]

AHEAD_D = 14.0
"""Days ahead for which a height is foretold, from the day of the fit."""
MEMORY_D = 30.0
EYE_ERROR_SHARE = 0.15
LEAST_WEIGHT_ERROR_CM = 0.1
HIGHEST_SHARE = 0.95
START_SHARE = 1.5
"""Height as planted over the usual cut height."""
CUT_FROM_SHARE, DUE = 1.6, 0.9
"""Read above this share of the usual cut height, or grown for this long, an area is cut."""
ROUNDS = 5
"""How often lags and settling are learnt in turn with all else."""
READ, LOOKED, MEASURED_OFF, WEIGHED_OFF = range(4)
PARAMETERS = ("log rate", "log ceiling", "tank", "species", "drift today", "height ahead")


@dataclass(frozen=True, slots=True)
class Regime:
    """How books are drawn: sizes, spreads, errors, and how often a visit is of which kind.

    ``kinds`` are the weights of visits that are read with a ruler, judged by eye, cut by a measured
    length and cut by a weight. ``reading_lost`` is the chance that a height after a cut is not
    written down, ``start_read`` that the height as planted is; it scatters by ``start_spread``
    around its guess. Every cut costs days drawn from a half normal of ``lag_spread_d``, and plants
    settle over ``settle_d`` give or take ``settle_spread`` (log), both the same in a whole book.
    """

    tanks: tuple[int, int] = (3, 6)
    species: tuple[int, int] = (3, 5)
    areas: tuple[int, int] = (2, 5)
    visits: tuple[int, int] = (6, 25)
    gap_d: tuple[int, int] = (5, 20)
    kinds: tuple[float, float, float, float] = (0.76, 0.10, 0.07, 0.07)
    reading_lost: float = 0.15
    start_read: float = 0.5
    start_spread: float = 0.25
    rate_per_day: tuple[float, float] = (0.03, 0.12)
    ceiling_cm: tuple[float, float] = (6.0, 45.0)
    habit_share: tuple[float, float] = (0.15, 0.30)
    rate_spread: float = 0.35
    tank: float = 0.30
    area: float = 0.20
    span: float = 0.20
    drift: float = 0.15
    ceiling: float = 0.20
    habit: float = 0.20
    aim_share: float = 0.12
    density: float = 0.50
    weight: float = 0.20
    error_cm: float = 0.5
    error_share: float = 0.05
    lag_spread_d: float = 0.0
    settle_d: float = 0.0
    settle_spread: float = 0.0


@dataclass(frozen=True, slots=True)
class ModelBooks:
    """Drawn books as one problem, and the truth behind them.

    ``book`` (A,) tells the book of each area, ``truth`` the values (A,) of each of ``PARAMETERS``
    and of the days that cuts and settling cost, ``clock`` how plants settle by the table.
    """

    problem: Problem
    clock: GrowthClock
    on_day: float
    book: np.ndarray
    truth: dict[str, np.ndarray]


@dataclass(frozen=True, slots=True)
class _World:
    """What was drawn of areas (A,) and tanks (K,)."""

    tank: np.ndarray
    species: np.ndarray
    book: np.ndarray
    offset: np.ndarray
    log_ceiling: np.ndarray
    log_habit: np.ndarray
    effect: np.ndarray
    species_effect: np.ndarray
    log_rate: np.ndarray
    ceiling: np.ndarray
    usual: np.ndarray
    density: np.ndarray
    day: np.ndarray  # (K, V), inf where a tank has no such visit
    on_day: float
    drift: np.ndarray  # (K, T), one value a day
    lived: np.ndarray  # (K, T), days of growth up to a day, drift included
    lag_d: np.ndarray
    settle_d: np.ndarray


def draw_books(rng, count, regime=None):
    """Draw ``count`` books."""
    regime = regime or Regime()
    world = _world(rng, count, regime)
    rows, height_ahead = _log(rng, world, regime)
    nodes, areas = _nodes(rows, *_bounds(world)), world.tank.size
    one = np.ones((areas, 1))
    planted, settle_d = world.day[world.tank, 0], regime.settle_d * one[:, 0]
    clock = GrowthClock(-1e6 * one, one, planted, settle_d, one[:, 0], one[:, :0])
    pooling = Pooling(
        tank=world.tank,
        species=world.species,
        offset=world.offset,
        log_ceiling=world.log_ceiling,
        ceiling_precision=np.full(areas, regime.ceiling**-2.0),
        density_precision=regime.density**-2.0,
        weighed=np.zeros((2, areas)),
        log_habit=world.log_habit,
        habit_precision=np.full(areas, regime.habit**-2.0),
        area_precision=regime.area**-2.0,
        tank_precision=np.full(world.effect.size, regime.tank**-2.0),
        species_precision=np.full(world.species_effect.size, regime.rate_spread**-2.0),
        knot_precision=knot_precision() / regime.drift**2,
        ceiling_learnt=np.ones(areas, dtype=bool),
        near_ceiling=np.zeros(areas, dtype=bool),
        highest_cm=np.zeros((2, areas)),
        highest_sd_cm=np.zeros((2, areas)),
        bend_doubt=1.0,
    )
    errors = ErrorModel(
        height_error_cm=np.full(areas, regime.error_cm),
        height_error_share=np.full(areas, regime.error_share),
        span=regime.span,
        drift=regime.drift,
        weight=regime.weight,
    )
    packed = pack_chains(nodes, world.tank)
    blocks = tuple(Block.of(chains.grown_by(clock), world.on_day) for chains in packed)
    truth = {
        "log rate": world.log_rate,
        "log ceiling": np.log(world.ceiling),
        "tank": world.effect[world.tank],
        "species": world.species_effect[world.species],
        "drift today": world.drift[world.tank, int(world.on_day)],
        "height ahead": height_ahead,
        "lag": world.lag_d,
        "settling": world.settle_d,
    }
    bends, nothing = np.ones(areas), np.zeros(areas)
    weights = no_weights(areas)
    problem = Problem(blocks, pooling, errors, weights, bends, world.log_habit, nothing)
    return ModelBooks(problem, clock, world.on_day, world.book, truth)


def _bounds(world):
    return 0.8 * np.exp(world.log_habit), 0.6 * np.exp(world.log_ceiling)


def _world(rng, count, regime):
    tanks_of = rng.integers(regime.tanks[0], regime.tanks[1] + 1, count)
    species_of = rng.integers(regime.species[0], regime.species[1] + 1, count)
    book_of_tank = np.repeat(np.arange(count), tanks_of)
    areas_of = rng.integers(regime.areas[0], regime.areas[1] + 1, book_of_tank.size)
    tank = np.repeat(np.arange(book_of_tank.size), areas_of)
    book = book_of_tank[tank]
    first_species = np.cumsum(species_of) - species_of
    species = first_species[book] + rng.integers(0, species_of[book])
    kinds = int(species_of.sum())

    rate = np.exp(rng.uniform(*np.log(regime.rate_per_day), kinds))[species]
    log_ceiling = rng.uniform(*np.log(regime.ceiling_cm), kinds)[species]
    log_habit = log_ceiling + np.log(rng.uniform(*regime.habit_share, tank.size))
    effect = regime.tank * rng.normal(size=book_of_tank.size)
    species_effect = regime.rate_spread * rng.normal(size=kinds)
    log_rate = np.log(rate) + species_effect[species] + effect[tank]
    log_rate = log_rate + regime.area * rng.normal(size=tank.size)
    ceiling = np.exp(log_ceiling + regime.ceiling * rng.normal(size=tank.size))
    usual = np.exp(log_habit + regime.habit * rng.normal(size=tank.size))

    day, on_day = _visit_days(rng, effect.size, regime)
    drift, lived = _drift(rng, effect.size, int(on_day + AHEAD_D) + 1, regime)
    usual = np.minimum(usual, HIGHEST_SHARE * ceiling)
    density = regime.density * rng.normal(size=tank.size)
    lag_d, longer = rng.spawn(1)[0].normal(size=(2, count))
    lag_d = regime.lag_spread_d * np.abs(lag_d)[book]
    settle_d = regime.settle_d * np.exp(regime.settle_spread * longer)[book]
    return _World(
        tank, species, book, np.log(rate), log_ceiling, log_habit, effect, species_effect, log_rate,
        ceiling, usual, density, day, on_day, drift, lived, lag_d, settle_d,
    )  # fmt: skip


def _visit_days(rng, tanks, regime):
    """Return day numbers (K, 1 + V) of planting and visits, and the day of the fit."""
    visits_of = rng.integers(regime.visits[0], regime.visits[1] + 1, tanks)
    gap = rng.integers(regime.gap_d[0], regime.gap_d[1] + 1, (tanks, regime.visits[1]))
    on_day = float(regime.visits[1] * regime.gap_d[1] + 10)
    is_visit = np.arange(regime.visits[1]) < visits_of[:, None]
    length = (gap * is_visit).sum(axis=1)
    begins = on_day - rng.integers(0, 7, tanks) - length
    day = np.where(is_visit, begins[:, None] + np.cumsum(gap, axis=1), np.inf)
    day = np.concatenate([begins[:, None].astype(float), day], axis=1)  # the day of planting first
    return day, on_day


def _drift(rng, tanks, days, regime):
    """Return an Ornstein-Uhlenbeck path a tank and the days of growth lived through, (K, T)."""
    steps = rng.normal(size=(tanks, days))
    keep = np.exp(-1.0 / MEMORY_D)
    drift = np.empty_like(steps)
    drift[:, 0] = steps[:, 0]
    for t in range(1, drift.shape[1]):
        drift[:, t] = keep * drift[:, t - 1] + np.sqrt(1.0 - keep**2) * steps[:, t]
    drift *= regime.drift
    pace = np.exp(drift)
    lived = np.zeros_like(drift)
    lived[:, 1:] = np.cumsum(0.5 * (pace[:, 1:] + pace[:, :-1]), axis=1)
    return drift, lived


def _log(rng, world, regime):
    """Tend all areas visit by visit; returns rows of nodes and the heights ahead."""
    every, usual = np.arange(world.tank.size), np.exp(world.log_habit)
    day, (floor_cm, budget_cm) = world.day[world.tank, 0], _bounds(world)
    height, guess = _planted(rng, world, regime), START_SHARE * usual
    written = rng.random(every.size) < regime.start_read
    read = np.where(written, _reading(rng, height, regime), np.nan)
    guess_sd = regime.start_spread * guess
    rows = [_row(every, day, Link.FRESH, read=read, guess=guess, guess_sd=guess_sd)]
    last, cut_on, lags = day.copy(), day.copy(), np.zeros(every.size)
    for visit in range(1, world.day.shape[1]):
        here = np.flatnonzero(np.isfinite(world.day[world.tank, visit]))
        day = world.day[world.tank[here], visit]
        spans = last[here], day, lags[here]
        height[here] = _grown(rng, world, here, height[here], spans, regime)
        due = (day - cut_on[here]) * np.exp(world.offset[here]) > DUE
        kind = rng.choice(4, size=here.size, p=regime.kinds)
        kind = np.where((kind >= MEASURED_OFF) & ~due, READ, kind)  # decided by the calendar
        seen, look = _reading(rng, height[here], regime), _look(rng, world, here, height[here])
        told = {
            "span": day - last[here],
            "lag_per_d": lags[here] / (day - last[here]),
            "read": np.where(kind == READ, seen, np.nan),
            "guess": 0.5 * (floor_cm + budget_cm)[here],
            "look": np.where(kind == LOOKED, look, Look.NONE),
        }
        rows.append(_row(here, day, Link.GREW, **told))
        last[here], lags[here] = day, 0.0
        cut = np.where(kind == READ, seen > CUT_FROM_SHARE * usual[here], kind != LOOKED)
        cut |= (kind == LOOKED) & (look != Look.SHORT) & due
        of, kind, day = here[cut], kind[cut], day[cut]
        row, height[of] = _cut(rng, world, of, kind, day, height[of], regime)
        rows.append(row)
        cut_on[of], lags[of] = day, 1.0
    ahead = np.full(every.size, world.on_day + AHEAD_D)
    return rows, _grown(rng, world, every, height, (last, ahead, lags), regime)


def _planted(rng, world, regime):
    """Return heights as planted, (A,)."""
    guess = START_SHARE * np.exp(world.log_habit)
    height = guess * np.maximum(1.0 + regime.start_spread * rng.normal(size=guess.size), 0.05)
    return np.minimum(height, HIGHEST_SHARE * world.ceiling)


def _look(rng, world, areas, height):
    """Judge heights by eye."""
    floor_cm, budget_cm = _bounds(world)
    by_eye = np.log(height) + EYE_ERROR_SHARE * rng.normal(size=areas.size)
    look = np.where(by_eye < np.log(floor_cm[areas]), Look.SHORT, Look.RIGHT)
    return np.where(by_eye > np.log(budget_cm[areas]), Look.OVER, look)


def _cut(rng, world, of, kind, day, height, regime):
    """Cut areas to about their usual height; returns the row of nodes and the heights left.

    A length or weight that comes out at nothing is not written down.
    """
    aim_sd = regime.aim_share * np.exp(world.log_habit)[of]
    left = world.usual[of] + aim_sd * rng.normal(size=of.size)
    left = np.clip(left, 0.1 * world.usual[of], 0.98 * world.ceiling[of])
    off = height - left
    error = np.hypot(np.sqrt(2.0) * regime.error_cm, regime.error_share * off)
    by_length = off + error * rng.normal(size=of.size)
    relative = np.exp(world.density[of]) * (1.0 + regime.weight * rng.normal(size=of.size))
    by_weight = off * relative + LEAST_WEIGHT_ERROR_CM * rng.normal(size=of.size)
    removed = np.where(kind == MEASURED_OFF, by_length, by_weight)
    link = np.where(kind == MEASURED_OFF, int(Link.CUT), int(Link.WEIGHED))
    told = (kind >= MEASURED_OFF) & (removed > 0.0)
    written = (kind <= LOOKED) & (rng.random(of.size) >= regime.reading_lost)
    row = _row(
        of,
        day,
        np.where(told, link, int(Link.AIMED)),
        read=np.where(written, _reading(rng, left, regime), np.nan),
        aim_sd=aim_sd,
        removed=np.where(told, removed, np.nan),
        lag_share=np.ones(of.size),
    )
    return row, left


def _grown(rng, world, areas, height, spans, regime):
    """Height after growing from one day to another, the span's surprise included.

    ``spans`` are the days on which they begin and end, and the share of the lag they begin with.
    """
    began, ended, lags = spans
    lived = world.lived[world.tank[areas]]
    at = np.arange(areas.size)
    grown = lived[at, ended.astype(int)] - lived[at, began.astype(int)]
    lost = lags * world.lag_d[areas] / (ended - began)
    grown = grown * np.maximum(1.0 - lost, LEAST_AWAKE_SHARE)
    planted, settle = world.day[world.tank[areas], 0], world.settle_d[areas]
    settled = _settled(ended - planted, settle) - _settled(began - planted, settle)
    grown = grown * settled / (ended - began)
    variance = np.log1p(regime.span**2 * 7.0 / (ended - began))
    surprise = np.exp(np.sqrt(variance) * rng.normal(size=areas.size) - 0.5 * variance)
    ceiling = world.ceiling[areas]
    moved = np.exp(np.exp(world.log_rate[areas]) * -grown * surprise)
    return ceiling / (1.0 + (ceiling / height - 1.0) * moved)


def _settled(days, settle_d):
    """Days of full growth ``days`` after planting, where growth ramps up over ``settle_d``."""
    ramp = np.minimum(days, settle_d)
    return days - ramp + 0.5 * ramp**2 / np.maximum(settle_d, 1e-9)


def _reading(rng, height, regime):
    sd = np.hypot(regime.error_cm, regime.error_share * height)
    return height + sd * rng.normal(size=height.size)


def _row(area, day, link, **values):
    """Return fields of nodes (n,), blank where not given."""
    blank = np.full(area.size, np.nan)
    fields = dict.fromkeys(("read", "guess", "guess_sd", "aim_sd", "removed"), blank)
    fields |= dict.fromkeys(("span", "lag_per_d", "lag_share"), np.zeros(area.size))
    fields |= {"look": np.zeros(area.size, dtype=np.int64)}
    fields |= {"area": area, "day": day, "link": np.broadcast_to(np.int64(link), area.size)}
    return fields | values


def _nodes(rows, floor_cm, budget_cm):
    field = {name: np.concatenate([row[name] for row in rows]) for name in rows[0]}
    order = np.argsort(field["area"], kind="stable")  # rows are in time order already
    field = {name: values[order] for name, values in field.items()}
    count = order.size
    return Nodes(
        area=field["area"],
        day=field["day"],
        link=field["link"].astype(np.int64),
        growth_d=field["span"],
        span_d=field["span"],
        pause_doubt=np.zeros(count),
        lag_per_d=field["lag_per_d"],
        by_settling=np.zeros(count),
        reading_cm=field["read"],
        reading_sd_cm=np.full(count, np.nan),
        aim_sd_cm=field["aim_sd"],
        guess_cm=field["guess"],
        guess_sd_cm=field["guess_sd"],
        removed_cm=field["removed"],
        floor_cm=floor_cm[field["area"]],
        budget_cm=budget_cm[field["area"]],
        look=field["look"].astype(np.int64),
        pause_d=np.zeros(count),
        lag_share=field["lag_share"],
        bucket=np.full(count, -1),
        row=np.arange(count),
    )


def fit_of(books, solution, clock=None, spreads=None):
    """Return the fit of books; without ``spreads`` they know neither lags nor settling."""
    size, sure = len(FORMS), 1e-12 * np.eye(len(FORMS))
    never = Spreads(lags=Lags(np.zeros(size), sure), settling=Settling(np.zeros(size), sure))
    design = SimpleNamespace(
        problem=books.problem,
        clock=clock or books.clock,
        on_day=books.on_day,
        spreads=spreads or never,
        form=np.zeros(books.problem.area_count, np.int64),
    )
    return GrowthFit(design, solution, borrowed=None)


def fitted(books, regime=None):
    """Fit books; one with lags learns, too, what its cuts cost and how long its plants settle."""
    if regime is None or not regime.lag_spread_d:
        return fit_of(books, solve(books.problem))
    known, clock, start = Spreads(), books.clock, None
    form = np.zeros(books.problem.area_count, np.int64)
    for _ in range(ROUNDS):
        chains = [block.chains.grown_by(clock) for block in books.problem.blocks]
        pairs = zip(books.problem.blocks, chains, strict=True)
        blocks = tuple(replace(block, chains=grown) for block, grown in pairs)
        problem = replace(books.problem, blocks=blocks, lag_d=known.lags.mean_d[form])
        solution = solve(problem, start)
        lags, settling = beside_told(solution.view, form, known.lags, known.settling)
        known, start = replace(known, lags=lags, settling=settling), solution.point
        clock = replace(clock, settle_d=settling.factor[form] * books.clock.settle_d)
    return fit_of(replace(books, problem=problem), solution, clock, known)


def pit_of_truth(books, fit):
    """Chance that the fit gives to each of ``PARAMETERS`` lying below its truth, (A,) each.

    Also the z-scores of those that the fit takes to be normal.
    """
    pooling, effects = books.problem.pooling, fit.solution.view.pooled
    areas = np.arange(pooling.tank.size)
    posterior = fit.posterior(areas)
    known = {
        "log rate": (posterior.mean.log_rate, np.sqrt(posterior.rate_variance)),
        "log ceiling": (posterior.mean.log_ceiling, np.sqrt(posterior.log_ceiling_variance)),
        "tank": (effects.tank[pooling.tank, 0], effects.tank_sd[pooling.tank]),
        "species": (effects.species[pooling.species], effects.species_sd[pooling.species]),
        "drift today": (posterior.mean.drift[0], posterior.covariance[:, KNOTS, KNOTS] ** 0.5),
    }
    scores = {name: (books.truth[name] - mean) / sd for name, (mean, sd) in known.items()}
    pits = {name: ndtr(score) for name, score in scores.items()}
    view = outlook(fit, areas, np.array([books.on_day + AHEAD_D]))
    pits["height ahead"] = view.chance_below(books.truth["height ahead"][:, None])[:, 0]
    return pits, scores
