"""Pieces that the answers of ``growthcast rescape`` share."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from growthcast.service.rescape.variants import VariantAnswer

__all__ = ["answer_dict", "quantiles"]


def quantiles(
    values: NDArray[np.float64], digits: int, most: float = np.inf
) -> dict[str, float | None]:
    """Return a range by name; null where it is endless, or as long as is looked at."""
    return {
        name: None if not np.isfinite(value) or value >= most else round(float(value), digits)
        for name, value in zip(("p10", "p50", "p90"), values, strict=True)
    }


def answer_dict(answer: VariantAnswer) -> dict[str, Any]:
    """Return the interval of a whole tank as plain numbers."""
    return {
        "recommended_interval_d": answer.recommended_interval_d,
        "options": [
            {
                "interval_d": o.interval_d,
                "feasible": o.feasible,
                "chance_all_within": round(o.chance_all_within, 4),
                "chance_at_least_cut": round(o.chance_at_least_cut, 4),
                "share_of_days_presentable": round(o.share_of_days_presentable, 4),
                "minutes_per_visit": round(o.minutes_per_visit, 1),
                "hours_per_year": round(o.year.hours, 1),
                "cost_per_year": round(o.year.cost, 2),
            }
            for o in answer.options
        ],
    }
