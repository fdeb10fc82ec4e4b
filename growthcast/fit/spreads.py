"""The spreads of the model: how far tanks, areas, spans and readings differ from their means."""

from __future__ import annotations

from dataclasses import dataclass, field, fields

from growthcast.fit.model.lags import Lags, Settling, prior_lags, prior_settling


@dataclass(frozen=True, slots=True)
class Spreads:
    """Standard deviations of the model's random parts, on the log rate unless said otherwise.

    The defaults are estimates (common practice, no source): two tanks under the same conditions
    differ by about a third, two patches of a species in one tank by a fifth, and one week's growth
    from the next by a fifth. They are where learning starts from and what it leans on.

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
    height_error_cm, height_error_share
        Error of a reading: fixed part [cm] and share of the height [-].
    density, weight
        Spread of areas' log densities around the table's, and relative spread of one weight [-].
    habit
        Scatter of the heights an area is cut to, as a share, before its log says otherwise [-].
    sd
        Standard deviation of the logarithm of each spread that was learnt; empty when none was.
    lags
        What is known of the days of growth lost after a cut.
    settling
        What is known of how long plants take to settle.
    """

    species: float = 1.0
    tank: float = 0.30
    area: float = 0.20
    span: float = 0.20
    drift: float = 0.15
    height_error_cm: float = 0.5
    height_error_share: float = 0.05
    density: float = 0.50
    weight: float = 0.20
    habit: float = 0.15
    sd: dict[str, float] = field(default_factory=dict)
    lags: Lags = field(default_factory=prior_lags, compare=False)
    settling: Settling = field(default_factory=prior_settling, compare=False)

    def as_dict(self) -> dict[str, float]:
        """Return the spreads by name."""
        return {f.name: getattr(self, f.name) for f in fields(self) if f.type == "float"}


LEARNT = (
    "species",
    "tank",
    "area",
    "span",
    "drift",
    "height_error_cm",
    "height_error_share",
    "weight",
)
"""The spreads that a log teaches."""
