"""The spreads of the model: how far tanks, areas and spans differ from what is expected of them."""

from __future__ import annotations

from dataclasses import dataclass

__all__ = ["Spreads"]


@dataclass(frozen=True, slots=True)
class Spreads:
    """Standard deviations on the log rate, and of one span's growth relative to its mean.

    The defaults are estimates (common practice, no source): two tanks under the same conditions
    differ by about a third, two patches of a species in one tank by a fifth, and one week's growth
    from the next by a fifth.

    Attributes
    ----------
    species
        Multiplies each species' own ``rate_spread`` [-]; 1 takes the table at its word.
    tank, area
        Spread of the log rate between tanks and between areas of a tank [-].
    span
        Relative spread of one week's growth; its variance falls as 1/days [-].
    drift
        Spread of the log rate with which a tank drifts around its own mean [-].
    density
        Spread of the log density of areas around the table's [-].
    weight
        Relative spread of one weight around what the area's density makes of the length [-].
    habit
        Spread of the heights an area is cut to, as a share of the height, before its log says
        otherwise [-].
    """

    species: float = 1.0
    tank: float = 0.30
    area: float = 0.20
    span: float = 0.20
    drift: float = 0.15
    density: float = 0.50
    weight: float = 0.20
    habit: float = 0.15
