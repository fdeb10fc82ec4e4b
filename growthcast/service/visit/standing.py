"""How areas stand on a day, carried from visit to visit, and how long usual cuts last.

This is the chance of *this visit*: areas are cut from where they stand on its day, rest as that cut
asks, and grow as they do just now, under the conditions written down for the days ahead. What a
regular visit at a steady rhythm gives is another question (``service.interval``).

Heights are held as stages (A, D): growth adds to a stage, a cut lowers it. Draw ``d`` of a stage
goes with draw ``d`` of the rates and ceilings, so an area that stands high because it grows fast
also grows on fast.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterator, Sequence
from dataclasses import replace

import numpy as np

from growthcast.arrays import BoolArray, FloatArray, IntArray, distinct, median
from growthcast.fit.design import Design
from growthcast.fit.model.clock import (
    LEAST_AWAKE_SHARE,
    LONGEST_PAUSE_SHARE,
    PAUSE_DOUBT,
    GrowthClock,
    days_lost,
)
from growthcast.fit.model.noise import span_drift
from growthcast.fit.model.posterior import SHORTEST_SPAN_D, AreaPosterior
from growthcast.fit.result import GrowthFit
from growthcast.forecast.heights import held_height
from growthcast.growth.logistic import shape_factor
from growthcast.growth.quick import Singles, column
from growthcast.nouns import dataclass
from growthcast.service.draws import span_normals
from growthcast.service.effort.hours import DAYS_PER_YEAR, Saving, saving, visit_effort
from growthcast.service.effort.learn import Timing
from growthcast.service.interval import (
    IntervalOptions,
    common_cuts,
    interval_options,
    lasts_from,
    needed_cuts,
)
from growthcast.service.living import (
    REST_HALVINGS,
    LivingAreas,
    bare_below,
    living_areas,
    living_part,
)

ROUNDING = np.float32(1e-4)
"""Stages that single precision may be off by: at a budget is within it."""
OF_STAGE, OF_SPAN = -2, -3
"""Numbers of the normals for what is not known of a last reading, and of the time since."""


@dataclass(frozen=True, slots=True)
class Standing:
    """Living areas of a block of tanks, and draws of how they stand on a day.

    ``stages`` (A, D) are those ``after_d`` days after the fit, ``rest_d`` (A, D) the days without
    growth that are still to come after the last cut.
    """

    living: LivingAreas
    clock: GrowthClock
    after_d: int
    stages: Singles
    rest_d: Singles

    @property
    def height_cm(self) -> FloatArray:
        """Heights (A, D) [cm, or % cover]."""
        return self.living.height_at(self.stages).astype(np.float64)

    def within(self) -> BoolArray:
        """Whether areas stand at or below their budgets, (A, D)."""
        return self.stages <= self.living.budget_stage + ROUNDING

    @property
    def chance(self) -> FloatArray:
        """Chance (R,) that all areas of a tank stand at or below their budgets at once."""
        return self.living.all_hold(self.within())

    def growths(self, spans_d: Sequence[int]) -> Iterator[Singles]:
        """Yield the stages gained (A, D) over spans of days ahead, at least 1, without any rest."""
        living, spans = self.living, np.array(spans_d, np.float64)
        area, began = living.area[:, None], np.array(living.on_day + self.after_d)
        days, _ = self.clock.growth_between(area, began, began + spans[None], np.zeros(1))
        shares = days / (self.clock.speed(living.on_day)[area] * spans)
        slowed = self.clock.slowed_by_settling(area, began, began + spans[None], np.zeros(1))
        for span_d, share, slow in zip(spans_d, shares.T, slowed.T, strict=True):
            gained = living.growth(span_d, self.after_d)
            gained *= column(share)
            if slow.any():
                gained *= np.exp(-column(slow) * living.draws.settling)
            yield gained

    def growth(self, span_d: int) -> Singles:
        """Stages gained (A, D) over the days ahead without any rest."""
        return next(self.growths([span_d]))

    def each_later(self, spans_d: Sequence[int]) -> Iterator[Standing]:
        """Yield how areas stand so many days later, in rising order, when nothing is cut."""
        ahead = [span_d for span_d in spans_d if span_d > 0]
        yield from [self] * (len(spans_d) - len(ahead))
        for span_d, growth in zip(ahead, self.growths(ahead) if ahead else (), strict=True):
            yield self.grown(span_d, growth)

    def grown(self, span_d: int, growth: Singles) -> Standing:
        """Return how areas stand after a span that brings ``growth`` where nothing rests."""
        rest_d = np.minimum(self.rest_d, np.float32(LONGEST_PAUSE_SHARE * span_d))
        awake: Singles = np.subtract(1.0, rest_d / np.float32(span_d))
        stages, after_d = self.stages + growth * awake, self.after_d + span_d
        return replace(self, after_d=after_d, stages=stages, rest_d=self.rest_d - rest_d)

    def later(self, span_d: int) -> Standing:
        """Return how areas stand so many days later when nothing is cut."""
        return next(self.each_later([span_d]))

    def cut(self, cut_cm: FloatArray) -> Standing:
        """Return how areas stand once what is above ``cut_cm`` (A,) was cut, by a hand that errs.

        ``nan`` leaves an area uncut.
        """
        aim = np.where(np.isnan(cut_cm), np.inf, cut_cm)
        stages = np.minimum(self.stages, self.living.stage_after_cut(aim))
        stood, left = (self.living.height_at(each) for each in (self.stages, stages))
        return replace(self, stages=stages, rest_d=self._rest_after(left, stood))

    def aims(self, goal: Singles, span_d: int, growth: Singles) -> Singles:
        """Highest aims (A, D) [cm] of a cut after which stages ``goal`` are not passed in a span.

        ``growth`` (A, D) are the stages gained over it without any rest. The less a cut takes, the
        shorter is the rest after it: that rest is found by halving. ``inf`` where a ceiling lies
        below the goal.
        """
        living, stood = self.living, self.living.height_at(self.stages)
        longest = np.float32(LONGEST_PAUSE_SHARE * span_d)

        def left(rest_d: Singles) -> Singles:
            return living.height_at(goal - growth * (1.0 - rest_d / np.float32(span_d)))

        low = np.minimum(self.rest_d, longest)
        high = np.clip(column(living.pause_d) + living.draws.lag_d, low, longest)
        for _ in range(REST_HALVINGS if (self._rest_after(left(low), stood) > low).any() else 0):
            tried = np.float32(0.5) * (low + high)
            more = self._rest_after(left(tried), stood) > tried
            low, high = np.where(more, tried, low), np.where(more, high, tried)
        aims: Singles = left(low) / living.hand_share
        aims[~np.isfinite(goal)] = np.inf
        return aims

    def _rest_after(self, left_cm: Singles, stood_cm: Singles) -> Singles:
        """Days without growth (A, D) once areas are left at heights (A, D) no higher than now."""
        taken, living = 1.0 - left_cm / stood_cm, self.living
        rest_d: Singles = days_lost(taken, living.draws.lag_d, column(living.pause_d))
        return np.maximum(rest_d, self.rest_d, out=rest_d)

    def days_until(self, span_d: int, height_cm: FloatArray) -> FloatArray:
        """Days (A, D) until heights (A,) are passed, ``inf`` where not within the span."""
        way, growth = self.living.stage_of(height_cm) - self.stages, self.growth(span_d)
        rest_d = np.minimum(self.rest_d, np.float32(LONGEST_PAUSE_SHARE * span_d))
        share = np.divide(way, growth, out=np.full_like(growth, np.inf), where=growth > 0.0)
        days = np.where(way <= 0.0, 0.0, rest_d + span_d * share)
        return np.where(days <= span_d, days, np.inf)


@dataclass(frozen=True, slots=True)
class Lasting:
    """Cuts (A,) of a visit and what comes of them by the next one.

    ``chance`` (R,) is that of every area of a tank to stay inside. ``needed_cm`` are the cuts that
    would hold the wanted chance whatever the look (``cut_cm`` where that does), NaN where not even
    the lowest safe cut does; ``days_below_floor`` (A,) is how long an area looks bare after it.
    """

    cut_cm: FloatArray
    began: Standing
    ended: Standing
    chance: FloatArray
    needed_cm: FloatArray
    days_below_floor: FloatArray


def cut_to_last(standing: Standing, span_d: int, confidence: FloatArray) -> Lasting:
    """Find the cuts of a visit that last until the next one.

    Parameters
    ----------
    standing : Standing
        The areas on the day of the visit.
    span_d : int
        Days until the next visit [d], at least 1.
    confidence : array (R,)
        Wanted chance of each tank that all its areas stay inside until then [0-1].

    Returns
    -------
    Lasting
        Every area's cut is the highest that holds the wanted chance for the whole tank, by the
        interval's rule; a draw that lasts uncut holds whatever the cut. Where none does, each area
        is cut low enough to last whatever its luck, and no lower than looks right.
    """
    living, growth = standing.living, standing.growth(span_d)
    least, budget = living.least_cut_cm, living.budget_cm
    uncut = standing.grown(span_d, growth).within()
    highest = np.minimum(standing.aims(living.budget_stage, span_d, growth), column(budget))
    ranked = np.sort(highest, axis=1)
    highest = np.where(uncut, np.inf, highest)
    found = common_cuts(living, ranked, highest, least, confidence)
    cut = np.minimum(np.maximum(found, least), budget)
    began = standing.cut(cut)
    ended = began.grown(span_d, growth)
    needed, bare_d, chance = cut, np.zeros(cut.size), ended.chance
    if (chance < confidence).any():
        needed = needed_cuts(living, ranked, highest, confidence)
        needed = np.where((chance >= confidence)[living.run], cut, needed)
    if (short := needed < least).any():
        bared = standing.cut(np.where(short, np.maximum(needed, living.safe_cut_cm), np.nan))
        regrown = median(bared.days_until(span_d, bare_below(living.floor_cm)))
        bare_d = np.where(short, np.minimum(regrown, span_d), 0.0)
    needed = np.where(needed < living.safe_cut_cm, np.nan, needed)
    return Lasting(cut, began, ended, chance, needed, bare_d)


def standing_areas(fit: GrowthFit, tanks: IntArray) -> Standing:
    """Draw how the living areas of ``tanks`` (places in the book) stand on the day of the fit.

    Parameters
    ----------
    fit : GrowthFit
        A fitted book.
    tanks : int array (R,)
        Places of the tanks in the book; those without a living area drop out.

    Returns
    -------
    Standing
        Draws of growth as in ``living_areas``, and of every area's stage on the day of the fit:
        its last stage given the drawn rate, ceiling and drift (all jointly normal), grown since.
    """
    living, clock = living_areas(fit, tanks), fit.design.clock
    if not living.area.size:
        none = np.zeros((0, living.size), np.float32)
        return Standing(living, clock, 0, none, none)
    posterior = fit.posterior(living.area)
    speed = np.log(clock.speed(fit.design.on_day)[living.area])
    rate = living.draws.log_rate.astype(np.float64) - speed[:, None]
    luck = fit.widening * span_normals(living.area, OF_SPAN, living.size)
    grown = _grown_since(fit, living, posterior, rate, luck)
    since = np.maximum(fit.design.on_day - posterior.last_day, 0.0)
    pause_d = column(posterior.last_pause_d) * np.maximum(1.0 - PAUSE_DOUBT * luck, 0.0)
    lost_d = pause_d + column(posterior.last_lag_share) * living.draws.lag_d
    rest_d = lost_d - np.minimum(lost_d, column(LONGEST_PAUSE_SHARE * since))
    middle, sd = posterior.last_stage_given(
        rate, np.log(living.draws.ceiling_cm), living.draws.knots[living.run]
    )
    own = sd[:, None] * span_normals(living.area, OF_STAGE, living.size)
    bent, _ = held_height(
        posterior, living.shape, living.draws.ceiling_cm, posterior.stage_by_ceiling
    )
    stages = middle + bent + own + grown
    return Standing(living, clock, 0, stages.astype(np.float32), rest_d.astype(np.float32))


def only_areas(standing: Standing, keep: BoolArray) -> Standing:
    """Return some areas of a block, with the tanks that are left.

    Parameters
    ----------
    standing : Standing
        The areas of a block.
    keep : bool array (A,)
        Which of them to keep.

    Returns
    -------
    Standing
        Of those areas, in the same draws.
    """
    return replace(
        standing,
        living=living_part(standing.living, keep),
        stages=standing.stages[keep],
        rest_d=standing.rest_d[keep],
    )


def days_that_hold(standing: Standing, longest_d: int, confidence: float) -> int:
    """Count the whole days for which all areas of one tank stay within their budgets uncut.

    Parameters
    ----------
    standing : Standing
        The areas of one tank.
    longest_d : int
        Days that are asked about at most [d].
    confidence : float
        Wanted chance that all areas stay inside at once [0-1].

    Returns
    -------
    int
        Days [d]; 0 where not even one day holds, at most ``longest_d``.
    """

    def lost(days: int) -> bool:
        return bool(standing.later(days).chance[0] < confidence)

    return bisect_right(range(1, longest_d + 1), False, key=lost)


def _grown_since(
    fit: GrowthFit, living: LivingAreas, posterior: AreaPosterior, rate: FloatArray, luck: Singles
) -> FloatArray:
    """Stages gained (A, D) between each area's last stage and the day of the fit."""
    clock, on_day = fit.design.clock, fit.design.on_day
    began, ended = posterior.last_day, np.maximum(on_day, posterior.last_day)
    span = living.area, began, ended, posterior.last_pause_d
    grown_d, doubt = clock.growth_between(*span)
    drift = span_drift(began, ended, on_day)
    along = np.einsum("mn,nmd->nd", drift.weight, living.draws.knots[living.run])
    relative = np.sqrt(living.errors.span_variance(ended - began, drift.remainder) + doubt**2)
    pace = shape_factor(living.shape)[:, None] * np.exp(rate + along)
    lag_per_d = posterior.last_lag_share / np.maximum(ended - began, SHORTEST_SPAN_D)
    pace *= np.maximum(1.0 - lag_per_d[:, None] * living.draws.lag_d, LEAST_AWAKE_SHARE)
    pace *= np.exp(-clock.slowed_by_settling(*span)[:, None] * living.draws.settling)
    gained: FloatArray = pace * grown_d[:, None] * np.maximum(1.0 + relative[:, None] * luck, 0.0)
    return gained


MOST_VISITS = 4
"""Visits over which a usual cut is followed."""
WORTH_SAVING_H = 0.5
"""Hours a year from which leaving areas is worth a word (a choice of ours)."""


def visits_lasted(
    standing: Standing, interval_d: int, usual_cm: FloatArray, confidence: float
) -> IntArray:
    """Count the visits that usual cuts last, made today and made at every visit so far apart.

    Parameters
    ----------
    standing : Standing
        The areas (A,) of one tank on the day.
    interval_d : int
        Days between visits [d].
    usual_cm : array (A,)
        Usual cuts [cm, or % cover], nan where none is known.
    confidence : float
        Wanted chance that all areas stay inside [0-1].

    Returns
    -------
    int array (A,)
        Visits, 0 to ``MOST_VISITS``: 1 is the next one. Each area must stay inside with its part of
        the wanted chance, which multiplied up over the areas is that chance.
    """
    needed = confidence ** (1.0 / usual_cm.size)
    usual = np.where(np.isnan(usual_cm), standing.living.budget_cm, usual_cm)
    cut, lasted = standing.cut(usual), np.zeros(usual_cm.size, np.int64)
    for visits in range(1, MOST_VISITS + 1):
        days = visits * interval_d
        now = cut.later(days).within().mean(axis=1)
        steady = lasts_from(standing.living, usual, days).mean(axis=1)
        lasted += (lasted == visits - 1) & (np.minimum(now, steady) >= needed)
    return np.where(np.isnan(usual_cm), 0, lasted)


def saved_by_leaving(
    design: Design,
    timing: Timing,
    option: IntervalOptions,
    usual_cm: FloatArray,
    lasted: IntArray,
    labour_rate_per_h: float,
) -> Saving | None:
    """Work out what usual cuts save in a year where areas are left at the visits they last.

    Parameters
    ----------
    design : Design
        The design the areas were fitted in.
    timing : Timing
        The minutes of trimming.
    option : IntervalOptions
        What the rhythm asks of the areas (A,) of one tank at every visit.
    usual_cm : array (A,)
        Usual cuts [cm, or % cover].
    lasted : int array (A,)
        Visits that each lasts (:func:`visits_lasted`).
    labour_rate_per_h : float
        Price of an hour [currency/h].

    Returns
    -------
    Saving or None
        Hours [h] and cost [currency] a year against a cut of the same areas at every visit; None
        where that is less than ``WORTH_SAVING_H``. What a deeper cut takes off counts. The hours of
        both are those of ``visit_effort``: from visit to visit luck and hand even out.
    """

    def hours(at: IntervalOptions) -> FloatArray:
        area_min = visit_effort(design, timing, at, np.zeros(1)).area_min
        return area_min.astype(np.float64) * (DAYS_PER_YEAR / at.interval_d / 60.0)

    left, every_h = lasted > 1, hours(option)
    left_h, aim = every_h.copy(), np.where(left, usual_cm, option.cut_cm)
    for times in distinct(lasted[left]).tolist():
        at = interval_options(option.living, times * option.interval_d, option.confidence, aim)
        left_h[lasted == times] = hours(at)[lasted == times]
    saved = saving(every_h.sum(axis=0), left_h.sum(axis=0), labour_rate_per_h)
    return saved if saved.hours.p50 >= WORTH_SAVING_H else None
