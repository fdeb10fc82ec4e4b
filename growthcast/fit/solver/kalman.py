"""Eliminating every canopy stage of every area: a Kalman filter with the border along.

Given an area's border (rate, ceiling, density, drift knots) its chain is a linear-Gaussian state
space once it is linearised at the current stages. The filter carries the mean of a stage as a
linear function of the border, so one pass forward leaves the information the whole chain holds on
it, and one pass back gives the stages for any change of it: together an exact Gauss-Newton step on
the joint problem, in time linear in rows, for all areas at once. Spans without any noise need no
special case, since predictions work on variances.

References
----------
de Jong, P. (1991). The diffuse Kalman filter. Annals of Statistics 19, 1073-1083 (from memory).
Bell, B. M. (1994). The iterated Kalman smoother as a Gauss-Newton method. SIAM Journal on
Optimization 4, 626-636 (from memory).
"""

from __future__ import annotations

import numpy as np

from growthcast.arrays import FloatArray, IntArray, summed
from growthcast.fit.rows.chains import Chains, Link
from growthcast.fit.solver.linearise import Linearised, flattening
from growthcast.fit.solver.problem import BORDER, CEILING, HABIT, OF_STARTS, RATE, Block, Problem
from growthcast.nouns import dataclass

LEAST_GROWTH = 1e-12
"""Stages; what gains less in a span says nothing by its scatter."""


@dataclass(frozen=True, slots=True)
class Filtered:
    """Stages as known by their day: ``mean + sensitivity @ departure`` of the border.

    ``mean`` is (N,), ``sensitivity`` (B, N); ``variance`` (N,) is theirs given the border.
    """

    mean: FloatArray
    sensitivity: FloatArray
    variance: FloatArray

    def departure(self, chains: Chains, borders: FloatArray) -> FloatArray:
        """Departure (N,) of the stages of a block that goes with the borders' (B, A)."""
        step = self.mean.copy()
        of_starts = BORDER if chains.unread_starts.size else OF_STARTS
        for part, rows in zip(chains.starts_and_later, (of_starts, BORDER), strict=True):
            moved = borders[:rows].take(chains.nodes.area[part], axis=1)
            step[part] += np.einsum("bn,bn->n", self.sensitivity[:rows, part], moved)
        return step


@dataclass(frozen=True, slots=True)
class Scatter:
    """What heights near a ceiling say by their scatter, of some nodes ``place`` (n,).

    ``surprise`` (n,) is each squared innovation over its variance, less one; ``follows`` (B, n) is
    how the log of that variance goes with the border.
    """

    place: IntArray
    surprise: FloatArray
    follows: FloatArray


NO_SCATTER = Scatter(np.zeros(0, dtype=np.int64), np.zeros(0), np.zeros((BORDER, 0)))
"""Of no reading."""


@dataclass(frozen=True, slots=True)
class FilterPass:
    """The Kalman filter over a block of R areas and N nodes: its chains, as they are linearised.

    ``innovation`` (1 + B, N) is each observation less its prediction [cm], affine in the border
    like ``predicted``: row 0 is the value, the others its slopes. ``innovation_precision`` (N,) is
    the inverse of its variance, 0 where nothing was read. ``filtered`` is each stage as its own
    reading and those before have it, ``predicted`` (1 + B, N) and ``predicted_variance`` (N,) the
    same before its own reading. ``scatter`` is what the variances say beside the innovations, of
    the nodes that are asked.
    """

    chains: Chains
    at: Linearised
    innovation: FloatArray
    innovation_precision: FloatArray
    filtered: Filtered
    predicted: FloatArray
    predicted_variance: FloatArray
    scatter: Scatter = NO_SCATTER

    @property
    def innovation_cm(self) -> FloatArray:
        """Each observation less its prediction, at the border as it stands [cm], (N,)."""
        value: FloatArray = self.innovation[0]
        return value

    @property
    def predicted_sensitivity(self) -> FloatArray:
        """How far the height predicted moves with the border [cm], (B, N)."""
        return -self.innovation[1:]

    @property
    def _kept(self) -> FloatArray:
        """Share (N,) of a predicted stage that its reading leaves."""
        return 1.0 - self.at.observation**2 * self.predicted_variance * self.innovation_precision

    def information(self) -> tuple[FloatArray, FloatArray]:
        """What the chains say on departures of the borders: information (R, B, B), score (B, R).

        The sum of ``innovation_precision * innovation * innovation'`` over each area's nodes; of a
        start only the first rows are not 0.
        """
        chains = self.chains
        total = np.zeros((chains.area.size, 1 + BORDER, 1 + BORDER))
        parts = zip(chains.starts_and_later, chains.by_area, (OF_STARTS, BORDER), strict=True)
        for part, groups, size in parts:
            rows = 1 + size
            scaled = np.zeros((rows, part.stop - part.start + 1))
            root = np.sqrt(self.innovation_precision[part])
            np.multiply(self.innovation[:rows, part], root, out=scaled[:, :-1])
            for places in groups:  # taking is four times as fast as brackets
                theirs = scaled.take(places, axis=1).transpose(1, 0, 2)
                total[: places.shape[0], :rows, :rows] += theirs @ theirs.transpose(0, 2, 1)
        if self.scatter.place.size:
            follows = self.scatter.follows.T
            told = 0.5 * follows[:, :, None] * follows[:, None, :]
            total[:, 1:, 1:] += self._by_area(told)
        return total[:, 1:, 1:], self._score_of_scatter() - total[:, 0, 1:].T

    def score(self, innovation: FloatArray | None = None) -> FloatArray:
        """Score (B, R) of the areas' borders alone, for the innovations found or others (N,) [cm].

        The scatter of others says nothing.
        """
        score = np.zeros((BORDER, self.chains.area.size))
        if innovation is None:
            innovation, score = self.innovation[0], self._score_of_scatter()
        weighted = -self.innovation_precision * innovation
        for row in range(BORDER):
            score[row] += np.bincount(
                self.chains.rank, weighted * self.innovation[1 + row], minlength=score.shape[1]
            )
        return score

    def _score_of_scatter(self) -> FloatArray:
        """Score (B, R) of the areas' borders by what the variances of some readings say."""
        scatter = self.scatter
        if not scatter.place.size:
            return np.zeros((BORDER, self.chains.area.size))
        return self._by_area((0.5 * scatter.surprise * scatter.follows).T).T

    def _by_area(self, values: FloatArray) -> FloatArray:
        """Sum what the scatter of some readings says (n, ...) over those of each area (R, ...)."""
        return summed(values, self.chains.rank[self.scatter.place], self.chains.area.size)

    def along(self, moved: FloatArray) -> FloatArray:
        """How innovations (N,) move [cm per unit] with what moves predicted stages, ``moved`` (N,).

        The gains are those of any other mean.
        """
        kept, predicted = self._kept, moved.copy()
        for behind, here in self.chains.links:
            predicted[here] += self.at.transition[here] * kept[behind] * predicted[behind]
        return -self.at.observation * predicted

    def smoothed(self, departure: FloatArray) -> FloatArray:
        """Departure of every stage, (N,), that goes with a departure (B, A) of the borders."""
        step = self.filtered.departure(self.chains, departure)
        border = departure.take(self.chains.nodes.area, axis=1)
        predicted = self.predicted[0] + (self.predicted[1:] * border).sum(axis=0)
        for behind, later in reversed(self.chains.links):
            step[behind] += self._smoother_gain(behind, later) * (step[later] - predicted[later])
        return step

    def known(self) -> Filtered:
        """Stages as known by their day, but starts that nobody read as all of their chain has them.

        Of all nodes (N,).
        """
        known = self.filtered
        start = self.chains.unread_starts
        if not start.size:
            return known
        mean, sensitivity = known.mean.copy(), known.sensitivity.copy()
        behind, reach = start, np.ones(start.size)
        for here in self.chains.positions[1:]:
            later = here.start + start[start < here.stop - here.start]
            if not later.size:
                break
            first, behind = start[: later.size], behind[: later.size]
            reach = reach[: later.size] * self._smoother_gain(behind, later)
            mean[first] += reach * (known.mean[later] - self.predicted[0, later])
            sensitivity[:, first] += reach * (
                known.sensitivity[:, later] - self.predicted[1:, later]
            )
            behind = later
        return Filtered(mean=mean, sensitivity=sensitivity, variance=known.variance)

    def _smoother_gain(self, behind: slice | IntArray, later: slice | IntArray) -> FloatArray:
        """How far a stage goes along with the one after it."""
        spread = self.predicted_variance[later]
        return self.at.transition[later] * self.filtered.variance[behind] / spread

    def backward(self) -> tuple[tuple[FloatArray, FloatArray], tuple[FloatArray, FloatArray]]:
        """Run back along all chains, from their ends to their starts: a disturbance smoother.

        Returns what a node's own and all later readings say of its predicted stage, and of the
        height that was read, each as scores (1 + B, N) and curvatures (N,): row 0 of the scores is
        the derivative of the log likelihood, the others are what a unit more of each border
        parameter takes from it; curvatures are minus the second derivative.

        References
        ----------
        de Jong, P. & Mackinnon, M. J. (1988). Covariances for smoothed estimates in state space
        models. Biometrika 75, 601-602; Koopman, S. J. & Shephard, N. (1992). Exact score for time
        series models in state space form. Biometrika 79, 823-826 (from memory).
        """
        observation, precision = self.at.observation, self.innovation_precision
        observation_score, observation_curvature = precision * self.innovation, precision.copy()
        observation_score[1:] *= -1.0
        state_score = observation * observation_score
        state_curvature = observation**2 * precision
        gain, kept = self.predicted_variance * observation * precision, self._kept
        for behind, later in reversed(self.chains.links):
            transition = self.at.transition[later]
            score = transition * state_score[:, later]
            curvature = transition**2 * state_curvature[later]
            state_score[:, behind] += kept[behind] * score
            state_curvature[behind] += kept[behind] ** 2 * curvature
            observation_score[:, behind] -= gain[behind] * score
            observation_curvature[behind] += gain[behind] ** 2 * curvature
        return (state_score, state_curvature), (observation_score, observation_curvature)

    def log_determinant(self) -> float:
        """Log determinant of the chains' curvature [nat], its starts being flat in height.

        A start is flat in the stage as far as the filter goes; flat in height, which is how a
        person reads it, leaves out the slope. One that nobody read is guessed, not flat.
        """
        at, chains = self.at, self.chains
        variance_ratio = (
            1.0 + at.observation**2 * self.predicted_variance * at.observation_precision
        )
        fresh = (chains.nodes.link == Link.FRESH) & chains.read
        starts = 2.0 * np.log(np.maximum(at.observation[fresh], 1e-300)).sum()
        return float(np.log(variance_ratio).sum() - starts)

    def variance_along(self, root: FloatArray, sensitivity: FloatArray) -> FloatArray:
        """Variance (N,) of what moves by ``sensitivity`` (B, N) with the borders.

        ``root`` (R, B, B) are Cholesky factors of their covariances, one an area of the block.
        """
        variance = np.empty(sensitivity.shape[1])
        parts = zip(self.chains.starts_and_later, self.chains.by_area, strict=True)
        for part, groups in parts:
            mine, theirs = sensitivity[:, part], np.empty(part.stop - part.start + 1)
            for places in groups:  # padded by the last node, whose place there is not kept
                along = mine.take(places, axis=1, mode="clip").transpose(1, 2, 0)
                scaled = along @ root[: places.shape[0]]
                theirs[places] = np.einsum("rnb,rnb->rn", scaled, scaled)
            variance[part] = theirs[:-1]
        return variance


def kalman_filter(chains: Chains, at: Linearised) -> FilterPass:
    """Filter all chains of a block forward, one position a step.

    Means and innovations are affine in the border: row 0 is the value, the others are its slopes.

    Parameters
    ----------
    chains : Chains
        The block.
    at : Linearised
        Its links and readings as straight lines.

    Returns
    -------
    FilterPass
        Innovations, and stages as filtered and predicted.
    """
    count = at.transition.size
    predictions, means, innovations = (np.empty((1 + BORDER, count)) for _ in range(3))
    predicted_variances = at.process_noise.copy()
    variances, innovation_precision = np.empty(count), np.empty(count)
    observation_information = at.observation**2 * at.observation_precision
    own, rows = 1 + len(at.own_inputs), 1 + OF_STARTS
    for behind, here in [(slice(0), chains.positions[0]), *chains.links]:
        # Views: what is added to them below is added to the results.
        predicted, predicted_variance = predictions[:, here], predicted_variances[here]
        observation = at.observation[here]
        predicted[0], predicted[1:own] = at.offset[here], at.own_inputs[:, here]
        np.multiply(at.own_inputs[RATE, here], at.drift[:, here], out=predicted[own:])
        if here.start == 0:  # the other rows are 0 at a start, and add nothing to what follows it
            means[rows:, here] = innovations[rows:, here] = 0.0
        else:
            predicted[:rows] += at.transition[here] * means[:rows, behind]
            predicted_variance += at.transition[here] ** 2 * variances[behind]
            rows = 1 + BORDER
        # The variance of an innovation over that of the observation alone: S / R.
        variance_ratio = 1.0 + observation_information[here] * predicted_variance
        innovation_precision[here] = at.observation_precision[here] / variance_ratio
        innovation = np.multiply(-observation, predicted[:rows], out=innovations[:rows, here])
        innovation[0] += at.residual[here]
        innovation[1 + CEILING] -= at.expected_cm[here]
        innovation[1 + HABIT] += at.by_usual_cut[here]
        # The stage as its own reading has it: predicted + gain * innovation.
        gain = predicted_variance * observation * innovation_precision[here]
        np.multiply(gain, innovation, out=means[:rows, here])
        means[:rows, here] += predicted[:rows]
        variances[here] = predicted_variance / variance_ratio
    filtered = Filtered(mean=means[0], sensitivity=means[1:], variance=variances)
    return FilterPass(
        chains=chains,
        at=at,
        innovation=innovations,
        innovation_precision=innovation_precision,
        filtered=filtered,
        predicted=predictions,
        predicted_variance=predicted_variances,
    )


def scatter_of(problem: Problem, block: Block, forward: FilterPass) -> Scatter:
    """What readings of areas found near their ceilings say by their scatter.

    A height scatters by ``slope^2 variance + error^2``, and all of the three go with the border: a
    stand that has come to its ceiling scatters by the reading alone. Where its span began is held.

    Parameters
    ----------
    problem : Problem
        What a fit is given.
    block : Block
        One of its blocks.
    forward : FilterPass
        The filter that was run over it.

    Returns
    -------
    Scatter
        Of the readings that are asked.
    """
    chains, nodes, near = block.chains, block.chains.nodes, problem.pooling.near_ceiling
    if problem.is_exact or not near[chains.area].any():
        return NO_SCATTER
    told = chains.read & (block.trust == 1.0) & (nodes.link == Link.GREW)
    place = np.flatnonzero(told & near[nodes.area])
    at, owner = forward.at, nodes.area[place]
    slope, height = at.observation[place], at.expected_cm[place]
    # By which share a slope changes with its stage, a reading's variance with the height.
    flat = flattening(height, slope, problem.shape[owner])
    by_height = 2.0 * problem.errors.height_error_share[owner] ** 2 * height
    by_height[np.isfinite(nodes.reading_sd_cm[place])] = 0.0
    weight, variance = forward.innovation_precision[place], forward.predicted_variance[place]
    by_stage = 2.0 * slope**2 * flat * variance + by_height * slope
    follows = by_stage * forward.predicted[1:, place]
    of_span, grown = at.process_noise[place], at.own_inputs[RATE, place]
    rows = np.concatenate([grown[None], grown * at.drift[:, place]])
    follows[RATE:] += 2.0 * slope**2 * of_span * rows / np.maximum(grown, LEAST_GROWTH)
    follows[CEILING] += 2.0 * slope**2 * variance + by_height * height
    return Scatter(place, weight * forward.innovation[0, place] ** 2 - 1.0, weight * follows)
