"""How sure a recommended interval is, and how many more visits would settle it.

A recommendation weighs two kinds of not knowing: how fast this tank grows on average, which more
visits would tell, and what each fortnight does on its own, which none will. Held against each
draw of the first kind alone, the rule gives the interval one would recommend if one knew.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace

import numpy as np

from growthcast.arrays import BoolArray, FloatArray, IntArray
from growthcast.fit.model.drift import MEMORY_D, span_drift
from growthcast.fit.model.errors import ErrorModel
from growthcast.fit.result import GrowthFit
from growthcast.growth.logistic import shape_factor, stage
from growthcast.growth.normal import normal_cdf, normal_quantile
from growthcast.growth.quick import BELOW_CEILING
from growthcast.plain import in_json
from growthcast.service.living import HAND_SPREAD, LivingAreas

__all__ = ["SETTLED", "Certainty", "certainty_in_words", "certainty_of"]


SETTLED = 0.8
"""A recommendation is called settled when it is right with this chance."""
WORTH_SAYING = 0.05
MOST_VISITS = 60
HANDS, DRIFTS, SPEEDS = 6, 6, 65


def _by_days(best: Mapping[int, float] | None) -> dict[str, float] | None:
    if best is None:
        return None
    return {str(days or "none"): chance for days, chance in best.items()}


@dataclass(frozen=True, slots=True)
class Certainty:
    """How sure a tank's recommendation is.

    Attributes
    ----------
    chance_best : float
        Chance that the recommended interval is the one that would be recommended if this tank's
        growth were known exactly.
    best : mapping of int to float
        That chance for every listed interval; 0 stands for "none of them".
    visits_to_settle : int or None
        About how many more logged visits it takes until a recommendation is best with the chance
        ``SETTLED``, on average over what those visits may say; 0 if it is already, None if not
        even ``MOST_VISITS`` would do (two intervals are then about equally good).
    best_from_floor : mapping of int to float or None
        ``best`` if every area stood a cut to its floor; None where every one is known to.
    """

    chance_best: float
    best: Mapping[int, float] = field(metadata=in_json("best_interval_d", into=_by_days, digits=4))
    visits_to_settle: int | None
    settled_chance: float
    best_from_floor: Mapping[int, float] | None = field(
        default=None, metadata=in_json("best_interval_d_from_floor", into=_by_days, digits=4)
    )


def certainty_of(
    fit: GrowthFit,
    living: LivingAreas,
    run: int,
    intervals_d: tuple[int, ...],
    recommended_d: int | None,
    confidence: float,
) -> Certainty:
    """Work out how sure the recommendation for one tank of a block is.

    Parameters
    ----------
    fit : GrowthFit
        The fit the areas were drawn from.
    living : LivingAreas
        A block of tanks; ``run`` is the tank's place among them.
    run : int
        The tank.
    intervals_d : tuple of int
        The intervals it may get [d], ascending.
    recommended_d : int or None
        The one recommended.
    confidence : float
        Wanted chance that every area stays inside [0-1].

    Returns
    -------
    Certainty

    Notes
    -----
    *Chance that another is best.* For each posterior draw of rates, ceilings and the tank's drift
    the chance that all areas last an interval from their least cuts is worked out anew, over what
    is left open once these are known: each area's own span noise, the scatter of its cut, and the
    drift to come. The best interval of a draw is the longest whose chance is at least the wanted
    one.

    *Visits to settle it* (approximate). What decides is taken to be one number: how fast the whole
    tank grows as against expected (log scale), made of a lasting part and a drift that comes and
    goes. At the posterior mean each such number has its best interval. A further visit, one
    interval after the one before, reads the sum of both through one measured span (its own noise
    and two readings of height) of every area: a Kalman filter over the areas' lasting rates and
    their tank's drift, begun at their posterior, tells how much is left open after ``n`` visits,
    and the mean then lies somewhere in what has been told. Since a drift is forgotten as fast as
    it is learnt, more visits do not settle every tank. Looks or weights instead of readings make
    it take longer.
    """
    here = np.flatnonzero(living.run == run)
    known = _drawn(living, here, run)

    def chances(areas: LivingAreas) -> dict[int, float]:
        best_of = _best_of_draws(areas, here, intervals_d, confidence, known)
        return {days: float((best_of == days).mean()) for days in (0, *intervals_d)}

    best = chances(living)
    to_floor = np.minimum(living.safe_cut_cm, living.floor_cm)
    limited = (to_floor < living.safe_cut_cm)[here].any()
    from_floor = chances(replace(living, safe_cut_cm=to_floor)) if limited else None
    chosen = recommended_d or 0
    visits: int | None = 0
    settled_chance = best[chosen]
    if best[chosen] < SETTLED:
        visits, settled_chance = _visits_to_settle(
            fit, living, here, run, intervals_d, confidence, chosen
        )
    return Certainty(best[chosen], best, visits, settled_chance, from_floor)


@dataclass(frozen=True, slots=True)
class _Known:
    """Growth parameters taken as known: log rate, ceiling and lag (A, D), drift knots (M, D)."""

    log_rate: FloatArray
    ceiling_cm: FloatArray
    lag_d: FloatArray
    knots: FloatArray


def _drawn(living: LivingAreas, here: IntArray, run: int) -> _Known:
    draws = living.draws
    known = (draws.log_rate[here], draws.ceiling_cm[here], draws.lag_d[here], draws.knots[run])
    return _Known(*(values.astype(np.float64) for values in known))


def _even(count: int) -> FloatArray:
    """Equally likely values (count,) of a standard normal, scaled to a variance of one."""
    values = normal_quantile((np.arange(count) + 0.5) / count)
    scaled: FloatArray = values / np.sqrt(np.mean(values**2))
    return scaled


def _best_of_draws(
    living: LivingAreas,
    here: IntArray,
    intervals_d: tuple[int, ...],
    confidence: float,
    known: _Known,
) -> IntArray:
    """Longest interval (D,) that holds if the growth is as known, 0 where none does."""
    best = np.zeros(known.log_rate.shape[1], dtype=np.int64)
    for days in intervals_d:
        chance = _chance_if_known(living, here, days, known)
        best = np.where(chance >= confidence, days, best)
    return best


def _chance_if_known(
    living: LivingAreas, here: IntArray, interval_d: int, known: _Known
) -> FloatArray:
    """Chance (D,) that all areas last from their least cuts if the growth is as known."""
    shape = living.shape[here][:, None]
    began, ended = np.array([living.on_day]), np.array([living.on_day + interval_d])
    ahead = span_drift(began, ended, living.on_day)
    drift = ahead.weight[:, 0] @ known.knots
    usual = shape_factor(shape) * np.exp(known.log_rate + drift) * interval_d
    rest = living.rest(interval_d).of(here)
    singles = (values.astype(np.float32) for values in (usual, known.ceiling_cm, known.lag_d))
    usual *= 1.0 - rest.days(*singles) / interval_d
    week = living.errors.span * np.sqrt(7.0 / max(interval_d, 1.0))
    goal = stage(living.budget_cm[here][:, None], known.ceiling_cm, shape)
    cut = living.least_cut_cm[here][:, None]
    aims = []
    for hand in _even(HANDS):
        left = np.minimum(cut * np.exp(HAND_SPREAD * hand), known.ceiling_cm * BELOW_CEILING)
        aims.append((goal - stage(left, known.ceiling_cm, shape)) / usual)
    chance = np.zeros(usual.shape[1])
    off = living.errors.drift * np.sqrt(ahead.remainder[0])
    for drifted in _even(DRIFTS):
        room = np.array(aims) * np.exp(-off * drifted) - 1.0
        each = np.where(room <= -1.0, 0.0, normal_cdf(room / max(week, 1e-9))).mean(axis=0)
        chance += each.prod(axis=0) / DRIFTS
    return chance


def _visits_to_settle(
    fit: GrowthFit,
    living: LivingAreas,
    here: IntArray,
    run: int,
    intervals_d: tuple[int, ...],
    confidence: float,
    chosen_d: int,
) -> tuple[int | None, float]:
    """Visits after which a recommendation is best with the chance ``SETTLED``, and that chance.

    ``None`` and the chance after ``MOST_VISITS`` where they do not suffice; see the notes.
    """
    known = _drawn(living, here, run)
    prior = _lasting_and_drift(fit, living.area[here])
    wide = float(_pace_variance(prior))
    speeds = np.linspace(-4.0, 4.0, SPEEDS) * np.sqrt(max(wide, 1e-9))
    middle = _Known(
        np.median(known.log_rate, axis=1)[:, None] + speeds,
        np.repeat(np.median(known.ceiling_cm, axis=1)[:, None], SPEEDS, axis=1),
        np.repeat(np.median(known.lag_d, axis=1)[:, None], SPEEDS, axis=1),
        np.repeat(np.median(known.knots, axis=1)[:, None], SPEEDS, axis=1),
    )
    best = _best_of_draws(living, here, intervals_d, confidence, middle)
    member = best == np.unique(best)[:, None]
    span_d = float(chosen_d or min(intervals_d))
    noise = _span_variances(fit.design.problem.errors, living, here, span_d)
    drift = fit.design.problem.errors.drift
    settled, sureness = None, 0.0
    for visits, (told, left) in enumerate(_told_by_visits(prior, noise, drift, span_d), start=1):
        sureness = _sureness(speeds, member, told, left)
        if settled is None and sureness >= SETTLED:
            settled = visits
            break
    return settled, sureness


def _lasting_and_drift(fit: GrowthFit, areas: IntArray) -> FloatArray:
    """Covariance (n + 1, n + 1) of the areas' lasting log rates and their tank's drift today.

    What areas share apart from the drift is left out.
    """
    posterior = fit.posterior(areas)
    count = areas.size
    prior = np.zeros((count + 1, count + 1))
    prior[np.arange(count), np.arange(count)] = posterior.rate_variance
    drift = posterior.drift_variance.mean()
    together = posterior.rate_drift_covariance
    explained = (together**2 / posterior.rate_variance).sum()
    together = together * min(1.0, np.sqrt(0.9 * drift / max(explained, 1e-12)))
    prior[:count, count] = prior[count, :count] = together
    prior[count, count] = drift
    return prior


def _pace_variance(covariance: FloatArray) -> float:
    """Variance of the log pace of a middling area: its lasting part and the drift together."""
    own = np.diagonal(covariance)[:-1] + covariance[-1, -1] + 2.0 * covariance[:-1, -1]
    return float(own.mean())


def _told_by_visits(
    prior: FloatArray, noise: FloatArray, drift: float, span_d: float
) -> Iterator[tuple[float, float]]:
    """Variance told and left of the log pace of a middling area after each further visit."""
    count = noise.size
    memory = np.exp(-span_d / MEMORY_D)
    remembered = np.diag([*np.ones(count), memory])
    fresh = np.zeros_like(prior)
    fresh[-1, -1] = drift**2 * (1.0 - memory**2)
    read = np.hstack([np.eye(count), np.ones((count, 1))])
    open_now, known = prior, prior
    for _ in range(MOST_VISITS):
        open_now = remembered @ open_now @ remembered + fresh
        known = remembered @ known @ remembered + fresh
        with_reading = known @ read.T
        gain = np.linalg.solve(read @ with_reading + np.diag(noise), with_reading.T).T
        known = known - gain @ with_reading.T
        left = _pace_variance(known)
        yield _pace_variance(open_now) - left, left


def _span_variances(
    errors: ErrorModel, living: LivingAreas, here: IntArray, span_d: float
) -> FloatArray:
    """Relative variance of growth (n,) as one measured span of each area tells it."""
    place = living.area[here]
    height = 0.5 * (living.least_cut_cm[here] + living.budget_cm[here])
    ceiling = np.median(living.draws.ceiling_cm[here], axis=1)
    steep = height * np.maximum(1.0 - height / ceiling, 0.1)
    growth = np.exp(np.median(living.draws.log_rate[here], axis=1)) * span_d
    reading = 2.0 * errors.reading_variance(height, place) / (steep * growth) ** 2
    variances: FloatArray = errors.span_variance(np.array([span_d]), np.zeros(1)) + reading
    return variances


def _sureness(speeds: FloatArray, member: BoolArray, moved: float, left: float) -> float:
    """Expected chance of the likeliest interval once the mean has moved and ``left`` remains."""
    means = _even(33) * np.sqrt(max(moved, 0.0))
    density = np.exp(-0.5 * (speeds - means[:, None]) ** 2 / max(left, 1e-12))
    density /= np.maximum(density.sum(axis=1, keepdims=True), 1e-300)
    return float((density @ member.T).max(axis=1).mean())


def certainty_in_words(certainty: Certainty, recommended_d: int | None) -> str:
    """Say how sure a recommendation is, which other interval it might be, and what would settle it.

    Examples
    --------
    >>> sure = Certainty(0.6, {0: 0.0, 7: 0.6, 10: 0.4}, 12, 0.81)
    >>> print(certainty_in_words(sure, 7)[:66])
    How sure: 7 days is best with a chance of 60 %, 10 days with 40 %.
    """

    def named(days: int) -> str:
        return "no listed interval" if days == 0 else f"{days} days"

    chosen = recommended_d or 0
    others = sorted(certainty.best.items(), key=lambda item: -item[1])
    also = [
        f"{named(days)} with {100 * chance:.0f} %"
        for days, chance in others
        if days != chosen and chance >= WORTH_SAYING
    ]
    said = f"How sure: {named(chosen)} is best with a chance of {100 * certainty.chance_best:.0f} %"
    said += "".join(f", {other}" for other in also) + ". "
    freed = certainty.best_from_floor or certainty.best
    if abs(freed[chosen] - certainty.chance_best) >= WORTH_SAYING:
        likely, chance = max(freed.items(), key=lambda item: item[1])
        said += (
            "This takes the lowest cuts known from the species table or log as certain: if the "
            f"plants stand their floors, {named(likely)} is best with {100 * chance:.0f} %. "
        )
    likeliest = others[0][0]
    if likeliest > chosen:
        said += (
            f"The likelier one, {named(likeliest)}, does not reach the wanted chance with this "
            "doubt counted in. "
        )
    if certainty.visits_to_settle == 0:
        return said + "More visits are not needed to settle it."
    if certainty.visits_to_settle is None:
        most = max(certainty.settled_chance, certainty.chance_best)
        return said + (
            f"More visits do not settle it: growth comes and goes by itself, and even {MOST_VISITS}"
            f" more would leave it at about {100 * most:.0f} % (approximate). The wanted chance is "
            "kept with all of that counted in."
        )
    return said + (
        f"About {certainty.visits_to_settle} more measured visits would bring it to "
        f"{100 * SETTLED:.0f} % (approximate)."
    )
