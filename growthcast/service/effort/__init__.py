"""Time and money: minutes of trimming fitted from the log, hours and cost a year with ranges."""

from growthcast.service.effort.learn import MinutesBasis, Reading, Timing, learn_timing
from growthcast.service.effort.visits import VisitEffort, hands_of, visit_efforts
from growthcast.service.effort.year import (
    DAYS_PER_YEAR,
    Range,
    Saving,
    Year,
    saving,
    year_of_visits,
)

__all__ = [
    "DAYS_PER_YEAR",
    "MinutesBasis",
    "Range",
    "Reading",
    "Saving",
    "Timing",
    "VisitEffort",
    "Year",
    "hands_of",
    "learn_timing",
    "saving",
    "visit_efforts",
    "year_of_visits",
]
