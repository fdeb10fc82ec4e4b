"""The fitted growth of a book, and the one call that makes it."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray
from threadpoolctl import threadpool_limits

from growthcast.book.book import Book
from growthcast.fit.design import Design, build_design
from growthcast.fit.solve import Solution, solve
from growthcast.fit.spreads import Spreads

__all__ = ["AreaPosterior", "Basis", "GrowthFit", "fit_growth", "last_logged"]

FloatArray = NDArray[np.float64]
Basis = Literal["log", "tank", "table"]

OWN_SPANS_FOR_LOG = 2
"""Spans of its own from which an area's forecast is said to rest on its log."""


@dataclass(frozen=True, slots=True)
class AreaPosterior:
    """Posterior of each area's parameters and last stage, all (A,), normal on these scales.

    Log rate (at reference conditions); log ceiling given the log rate; last stage given both.
    """

    log_rate: FloatArray
    log_rate_sd: FloatArray
    log_ceiling: FloatArray
    ceiling_follows: FloatArray
    log_ceiling_sd_given_rate: FloatArray
    last_stage: FloatArray
    stage_follows: FloatArray  # (2, A)
    last_stage_sd: FloatArray

    @property
    def log_ceiling_sd(self) -> FloatArray:
        """Standard deviation of the log ceiling, (A,)."""
        sd: FloatArray = np.hypot(
            self.log_ceiling_sd_given_rate, self.ceiling_follows * self.log_rate_sd
        )
        return sd


@dataclass(frozen=True, slots=True)
class GrowthFit:
    """A book's fitted growth: the arrays it was fitted from and the solution."""

    design: Design
    solution: Solution

    @property
    def areas(self) -> AreaPosterior:
        """Posterior of the areas."""
        solution, pooling = self.solution, self.design.problem.pooling
        held = solution.area.precision + pooling.area_precision
        share = pooling.area_precision / held
        variance = 1.0 / held + share**2 * solution.effects.centre_variance(pooling)
        last = self.design.problem.chains.last
        return AreaPosterior(
            log_rate=solution.parameters[0],
            log_rate_sd=np.sqrt(variance),
            log_ceiling=solution.parameters[1],
            ceiling_follows=solution.area.ceiling_follows,
            log_ceiling_sd_given_rate=np.sqrt(solution.area.ceiling_variance),
            last_stage=solution.stage[last],
            stage_follows=solution.last_carry,
            last_stage_sd=np.sqrt(solution.last_variance),
        )

    @property
    def basis(self) -> list[Basis]:
        """What each area's forecast rests on: its own log, its tank's or species', the table."""
        design = self.design
        in_tank = np.bincount(design.tank, weights=design.spans)[design.tank]
        of_species = np.bincount(design.species, weights=design.spans)[design.species]
        own = design.spans >= OWN_SPANS_FOR_LOG
        near = (in_tank > 0) | (of_species > 0)
        names: list[Basis] = [
            "log" if by_log else "tank" if by_tank else "table"
            for by_log, by_tank in zip(own, near, strict=True)
        ]
        return names

    def as_dict(self) -> dict[str, Any]:
        """Return the fit as the plain mapping that ``growthcast fit --json`` prints."""
        design, effects, areas = self.design, self.solution.effects, self.areas
        errors, spreads = design.problem.errors, design.spreads
        logged = design.spans > 0
        listed = sorted(set(design.species.tolist()))
        tanks = zip(design.tank_id, effects.tank, effects.tank_sd(), strict=True)
        species_sd = effects.species_sd()
        height = ~design.is_cover if (~design.is_cover).any() else design.is_cover
        return {
            "areas": [
                {
                    "area_id": design.area_id[a],
                    "log_rate": _normal(areas.log_rate[a], areas.log_rate_sd[a]),
                    "log_ceiling": _normal(areas.log_ceiling[a], areas.log_ceiling_sd[a]),
                    "spans": int(design.spans[a]),
                    "basis": self.basis[a],
                    "converged": bool(self.solution.converged[a]),
                }
                for a in range(design.area_id.size)
            ],
            "tanks": [
                {"tank_id": name, "effect": _normal(effect, sd)} for name, effect, sd in tanks
            ],
            "species": [
                {
                    "species_id": design.species_id[s],
                    "effect": _normal(effects.species[s], species_sd[s]),
                }
                for s in listed
            ],
            "spread": {
                "species": spreads.species,
                "tank": spreads.tank,
                "area": spreads.area,
                "interval": spreads.span,
                "drift": spreads.drift,
                "habit": spreads.habit,
                "height_error_cm": float(errors.height_error_cm[height].max(initial=0.0)),
                "height_error_share": float(errors.height_error_share[height].max(initial=0.0)),
                "learnt": False,
            },
            "log_likelihood": round(self.solution.log_likelihood, 4),
            "steps": self.solution.steps,
            "areas_with_spans": int(logged.sum()),
            "rows_used": int(design.observations.sum()),
            "rows_left_out": [
                {"file": row.file, "row": row.row, "why": row.why} for row in design.left_out
            ],
        }


def _normal(mean: float, sd: float) -> dict[str, float]:
    return {"mean": round(float(mean), 6), "sd": round(float(sd), 6)}


def last_logged(book: Book) -> date | None:
    """Last date of the log, or None without one."""
    dates = book.trims.date("date")
    return dates.max().astype("datetime64[D]").item() if dates.size else None


def fit_growth(book: Book, on: date, spreads: Spreads | None = None) -> GrowthFit:
    """Fit the growth model to a book as it was known on a day.

    Parameters
    ----------
    book : Book
        A checked book (``growthcast.read_book``).
    on : date
        The day for which the fit is made; log rows after it must not be in the book.
    spreads : Spreads, optional
        Spreads of the model; stated defaults when not given.

    Returns
    -------
    GrowthFit
        Posterior of every area's rate and ceiling, every tank's and species' effect. Areas whose
        steps did not settle are marked in ``solution.converged``.
    """
    design = build_design(book, on, spreads)
    # Many tiny products: a second BLAS thread costs more than it brings.
    with threadpool_limits(limits=1, user_api="blas"):
        return GrowthFit(design, solve(design.problem))
