"""The fitted growth of a book, and the one call that makes it."""

from __future__ import annotations

from dataclasses import field, replace
from functools import cached_property
from typing import Any

import numpy as np

from growthcast.arrays import BoolArray, FloatArray, IntArray, distinct, rows_of
from growthcast.book.book import Book, WholeTank
from growthcast.errors import UsageError
from growthcast.finite import finite_answer
from growthcast.fit.beside import by_beside
from growthcast.fit.borrowing import Borrowed
from growthcast.fit.cuts import UnsaidCuts, lowest_cuts_shown, unsaid_cuts
from growthcast.fit.design import Design
from growthcast.fit.model.posterior import (
    RANGE_80,
    AreaPosterior,
    AreaRate,
    Basis,
    Parameters,
    SharedGrowth,
    mean_border,
    rate_on_day,
    shared_growth,
)
from growthcast.fit.model.spreads import FORMS
from growthcast.fit.rows.chains import Link
from growthcast.fit.solver.likelihood import log_likelihood
from growthcast.fit.solver.solve import LAST_STAGE, LOWEST_STAGE, Solution
from growthcast.fit.suspects import Suspect, suspects_of
from growthcast.frames import Answers
from growthcast.log.visits import LeftOut
from growthcast.nouns import dataclass
from growthcast.plain import plain

CLEARLY = 3.0
"""Log likelihood by which weights must be likelier to hold the rest alone to be read so."""
OWN_SPANS_FOR_LOG = 2
"""Spans of its own from which an area's forecast is said to rest on its log."""


@dataclass(frozen=True, eq=False, repr=False)
class GrowthFit:
    """A book's fitted growth: the arrays it was fitted from and the solution.

    ``made_from`` is the book, all rows up to the day.

    Tank effects of the solution are departures from what the tanks borrowed from each other.
    ``widening`` multiplies the standard deviations of everything that is forecast: 1 unless the
    practice asks for what its backtest has taught. ``evidence_for_everything`` is the log
    likelihood that whole tanks' weights hold everything less that they hold the rest, None where
    nobody need ask; ``grams_said`` is what the practice says of it. ``not_fitted`` names the tanks
    that rest on the table because their log cannot be fitted, with why.
    """

    design: Design
    solution: Solution
    borrowed: Borrowed
    widening: float = 1.0
    evidence_for_everything: float | None = None
    grams_said: WholeTank | None = None
    not_fitted: dict[str, str] = field(default_factory=dict)
    made_from: Book | None = None

    def but_for(self, **values: Any) -> GrowthFit:
        """Return it with other values of what its solution does not rest on."""
        other = replace(self, **values)
        kept = ("border_mean", "beside", "_last_nodes")
        vars(other).update((name, vars(self)[name]) for name in kept if name in vars(self))
        return other

    @property
    def book(self) -> Book:
        """The book that was fitted."""
        if self.made_from is None:
            raise UsageError("this fit was made without a book: make it with fit_growth")
        return self.made_from

    def __repr__(self) -> str:
        tanks, areas = self.design.tank_id.size, int(self.design.alive.sum())
        day = np.datetime64(int(self.design.on_day), "D")
        return f"<GrowthFit of {tanks} tanks, {areas} living areas on {day}; rates() lists them>"

    def _repr_html_(self) -> str:
        from html import escape  # only notebooks ask

        return f"<p>{escape(repr(self))}</p>{self.rates()._repr_html_()}"

    @finite_answer
    def rates(self) -> Answers[AreaRate]:
        """Return what is known of every living area's rate, in the order of the book.

        Their frame has the 10, 50 and 90 % quantiles of the rate [1/day] at each tank's own
        conditions on the day of the fit, which ``suppose`` changes, and the mean and the standard
        deviation of the log rate at reference conditions, as in ``AreaRate``.
        """
        design, areas = self.design, np.flatnonzero(self.design.alive)
        posterior = self.posterior(areas)
        columns: tuple[Any, ...] = (
            design.tank_id[design.tank[areas]].tolist(),
            design.area_id[areas].tolist(),
            design.species_id[design.species[areas]].tolist(),
            self.rate_range(areas, posterior),
            posterior.mean.log_rate.tolist(),
            np.sqrt(posterior.rate_variance).tolist(),
            self.spans_since(-np.inf)[areas].tolist(),
            np.array(self.basis)[areas].tolist(),
        )
        return Answers(AreaRate(*cells) for cells in zip(*columns, strict=True))

    def rate_range(self, areas: IntArray, posterior: AreaPosterior) -> FloatArray:
        """Return the rates of areas at the conditions of the day of the fit.

        Parameters
        ----------
        areas : int array (A,)
            Places of the areas in the book.
        posterior : AreaPosterior
            That of the areas.

        Returns
        -------
        array (A, 3)
            The 10, 50 and 90 % quantiles [1/day].
        """
        speed = self.design.clock.speed(self.design.on_day)[areas]
        pace, pace_sd = rate_on_day(posterior)
        return speed[:, None] * np.exp(pace[:, None] + RANGE_80 * pace_sd[:, None])

    @finite_answer
    def posterior(self, areas: IntArray) -> AreaPosterior:
        """Posterior of the areas at these places (n,) in the book."""
        solution = self.solution
        last = {name: values[..., areas] for name, values in self._last_nodes.items()}
        covariance = solution.view.pooled.covariance(areas)
        mode, mean = solution.point.border[:, areas], self.border_mean[:, areas]
        stage = last["stage"] + (last["follows"] * (mean - mode)).sum(axis=0)
        spreads, form = self.design.spreads, self.design.form[areas]
        sd = np.stack([spreads.lags.sd_d, spreads.settling.sd])[:, form]
        beside = self.beside[:, :, areas]
        for one in beside * sd[:, None]:
            covariance += one.T[:, :, None] * one.T[:, None, :]
        return AreaPosterior(
            mean=Parameters(mean),
            covariance=covariance * self.widening**2,
            # Where a stage hangs on a slip, the line it follows leads far off the curve.
            last_stage=np.clip(stage, LOWEST_STAGE, LAST_STAGE),
            last_stage_variance=last["variance"] * self.widening**2,
            stage_follows=last["follows"],
            last_day=last["day"],
            last_pause_d=last["pause_d"],
            last_lag_share=last["lag_share"],
            lag_d=spreads.lags.mean_d[form],
            beside_sd=sd * self.widening,
            by_beside=beside,
        )

    @finite_answer
    def shared(self, areas: IntArray, tanks: IntArray) -> SharedGrowth:
        """Rates and ceilings of areas (A,) in tanks (R,), by places, and what they share."""
        mean, beside = self.border_mean[:, areas], self.beside[:, :, areas]
        return shared_growth(self.solution.view, mean, beside, areas, tanks)

    @property
    def mode(self) -> Parameters:
        """Likeliest parameters of every area."""
        return Parameters(self.solution.point.border)

    @property
    def converged(self) -> BoolArray:
        """Whether the steps of each area (A,) settled."""
        return self.solution.converged

    @property
    def unsaid_cuts(self) -> UnsaidCuts:
        """Cuts that may have been made without a word in the log."""
        return unsaid_cuts(self.solution)

    def spans_since(self, day: float) -> IntArray:
        """Count the spans (A,) of every area that began on a day [day number] or later."""
        count = np.zeros(self.design.area_id.size, dtype=np.int64)
        for block in self.design.problem.blocks:
            nodes = block.chains.nodes
            since = (nodes.link == Link.GREW) & (nodes.day - nodes.span_d >= day)
            count += np.bincount(nodes.area[since], minlength=count.size)
        return count

    @cached_property
    @finite_answer
    def border_mean(self) -> FloatArray:
        """Posterior mean (B, A) of every area's border."""
        return mean_border(self.solution.view)

    @cached_property
    @finite_answer
    def beside(self) -> FloatArray:
        """How every area's border follows a day of lag and the log factor of settling (2, B, A)."""
        return by_beside(self.solution.view)

    @cached_property
    def _last_nodes(self) -> dict[str, FloatArray]:
        """What is known of the last node of each area, (A,), and of how it follows the border."""
        solution, count = self.solution, self.solution.point.border.shape[1]
        of_node = ("day", "pause_d", "lag_share")
        whole: dict[str, FloatArray] = {}
        for number, (block, stages) in enumerate(
            zip(solution.problem.blocks, solution.point.stages, strict=True)
        ):
            filtered = solution.view.known(number)
            area, last = block.chains.area, block.chains.last
            known = {name: getattr(block.chains.nodes, name) for name in of_node}
            known |= {"stage": stages, "variance": filtered.variance}
            known["follows"] = filtered.sensitivity
            for name, values in known.items():
                size = *values.shape[:-1], count
                whole.setdefault(name, np.empty(size))[..., area] = values[..., last]
        return whole

    @cached_property
    def lowest_cut_cm(self) -> FloatArray:
        """Lowest cut [cm, or % cover] that every area stands, (A,): the table's, or its log's."""
        shown = lowest_cuts_shown(self.solution.problem)
        return np.minimum(self.design.traits.lowest_cut_cm, shown)

    @property
    def log_likelihood(self) -> float:
        """Log likelihood of what was read, everything else integrated out."""
        return log_likelihood(self.solution.view)

    @property
    def suspects(self) -> list[Suspect]:
        """Log rows that were set aside because they do not belong."""
        return suspects_of(self.design, self.solution.problem)

    @property
    def whole_tank_grams(self) -> tuple[WholeTank, str]:
        """Whether weights of whole tanks are read as everything or as the rest, and why."""
        evidence = self.evidence_for_everything
        if self.grams_said is not None:
            return self.grams_said, "as [log] whole_tank_grams says"
        if evidence is None or abs(evidence) < CLEARLY:
            return "all", "nothing in the log tells, so everything"
        times = np.exp(min(abs(evidence), np.log(1000.0)))
        more = "more than " if abs(evidence) > np.log(1000.0) else ""
        return (
            "rest" if evidence < 0.0 else "all",
            f"the log makes it {more}{times:.0f} times as likely",
        )

    @property
    def unused_weights(self) -> list[LeftOut]:
        """Weights of whole tanks that no area can have given a part of."""
        design, weights = self.design, self.design.problem.weights
        shared = np.zeros(weights.grams.size, dtype=bool)
        for block in self.solution.problem.blocks:
            unsaid = block.chains.nodes.link[block.members.left] == Link.UNSAID
            counts = unsaid | weights.everything[block.members.bucket]
            shared[block.members.bucket[counts]] = True
        rows = design.row_numbers[weights.row[~shared]].tolist()
        return [LeftOut("trims.csv", row, "no area is left to share this weight") for row in rows]

    @property
    def rows_left_out(self) -> list[LeftOut | Suspect]:
        """Rows of the log that were not used, or set aside, in its order."""
        rows: list[LeftOut | Suspect] = [*self.design.left_out, *self.unused_weights]
        rows += self.suspects
        return sorted(rows, key=lambda left: left.row)

    @cached_property
    def basis(self) -> list[Basis]:
        """What each area's forecast rests on: its own log, its tank's or species', the table."""
        design = self.design
        in_tank = np.bincount(design.tank, weights=design.spans)[design.tank]
        of_species = np.bincount(design.species, weights=design.spans)[design.species]
        own = design.spans >= OWN_SPANS_FOR_LOG
        near = (in_tank > 0) | (of_species > 0)
        return [
            "log" if by_log else "tank" if by_tank else "table"
            for by_log, by_tank in zip(own, near, strict=True)
        ]

    @finite_answer
    def as_dict(self) -> dict[str, Any]:
        """Return the fit as the plain mapping that ``growthcast fit --json`` prints."""
        design, pooled, borrowed = self.design, self.solution.view.pooled, self.borrowed
        areas = self.posterior(np.arange(design.area_id.size))
        forms, listed = distinct(design.form), distinct(design.species)
        form_names = [FORMS[form] for form in forms]
        lags, settling = design.spreads.lags, design.spreads.settling
        lag = _normals(lags.mean_d[forms], lags.sd_d[forms])
        longer = _normals(settling.centre[forms], settling.sd[forms])
        return {
            "areas": rows_of(
                {
                    "area_id": design.area_id,
                    "log_rate": _normals(areas.mean.log_rate, np.sqrt(areas.rate_variance)),
                    "log_ceiling": _normals(
                        areas.mean.log_ceiling, np.sqrt(areas.log_ceiling_variance)
                    ),
                    "spans": design.spans,
                    "basis": self.basis,
                    "converged": self.converged,
                }
            ),
            "tanks": rows_of(
                {
                    "tank_id": design.tank_id,
                    "effect": _normals(pooled.tank[:, 0] + borrowed.mean, pooled.tank_sd),
                }
            ),
            "species": rows_of(
                {
                    "species_id": design.species_id[listed],
                    "effect": _normals(pooled.species[listed], pooled.species_sd[listed]),
                }
            ),
            "borrowed": {
                "model": borrowed.model,
                "tanks": borrowed.tanks,
                "log_score": {k: round(v, 6) for k, v in borrowed.log_score.items()},
            },
            "spread": {
                ("interval" if name == "span" else name): round(value, 5)
                for name, value in design.spreads.as_dict().items()
            }
            | {"log_sd": {name: round(sd, 4) for name, sd in design.spreads.sd.items()}},
            "lag_d": dict(zip(form_names, lag, strict=True)),
            "log_settling": dict(zip(form_names, longer, strict=True)),
            "photo_offset": None if design.photo_offset is None else design.photo_offset.as_dict(),
            "log_likelihood": round(self.log_likelihood, 4),
            "whole_tank_grams": None
            if not design.problem.weights.grams.size
            else dict(zip(("reading", "why"), self.whole_tank_grams, strict=True)),
            "steps": self.solution.steps,
            "areas_with_spans": int((design.spans > 0).sum()),
            "rows_used": int(design.observations.sum()),
            "rows_left_out": [plain(row) for row in self.rows_left_out],
        }


def _normals(mean: FloatArray, sd: FloatArray) -> list[dict[str, float]]:
    each = {"mean": mean.tolist(), "sd": sd.tolist()}
    return rows_of({name: [round(value, 6) for value in each[name]] for name in each})
