"""Scores of forecasts against a known truth."""

from __future__ import annotations

import numpy as np

from growthcast.forecast.heights import LEVELS

__all__ = ["crps"]


def crps(quantiles: np.ndarray, truth: np.ndarray) -> np.ndarray:
    """Continuous ranked probability score of quantiles (..., L) at ``LEVELS``, in their unit.

    Twice the pinball loss, averaged over the levels by the share of chance each stands for.

    Gneiting, T. & Raftery, A. E. (2007). Strictly proper scoring rules, prediction, and estimation.
    J. Am. Stat. Assoc. 102, 359-378, doi 10.1198/016214506000001437 (from memory).
    """
    levels = np.array(LEVELS)
    edges = np.concatenate([[0.0], 0.5 * (levels[1:] + levels[:-1]), [1.0]])
    off = truth[..., None] - quantiles
    loss = np.maximum(levels * off, (levels - 1.0) * off)
    return 2.0 * (loss * np.diff(edges)).sum(axis=-1)
