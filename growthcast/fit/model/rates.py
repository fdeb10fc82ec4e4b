"""What is known of an area's rate, as a noun."""

from __future__ import annotations

from dataclasses import field
from typing import Literal

from growthcast.frames import Framed
from growthcast.nouns import dataclass
from growthcast.plain import in_json

Basis = Literal["log", "tank", "table"]
"""What a forecast rests on: the area's own log, its tank's or its species', or the table alone."""


@dataclass(frozen=True, slots=True, repr=False)
class AreaRate(Framed):
    """What is known of an area's rate at reference conditions.

    ``spans`` counts its own spans in the log; ``basis`` is what its forecast rests on.
    """

    tank_id: str
    area_id: str
    species_id: str
    log_rate_mean: float = field(metadata=in_json(digits=4))
    log_rate_sd: float = field(metadata=in_json(digits=4))
    rate_per_day: float
    spans: int
    basis: Basis
