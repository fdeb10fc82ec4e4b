"""Growth forecasts and visit intervals for planted aquariums, from a practice's own trim log.

>>> from datetime import date
>>> import growthcast
>>> book = growthcast.read_book(growthcast.demo_dir())
>>> fit = growthcast.fit_growth(book, date(2026, 11, 20))
>>> advice = growthcast.recommend(book, fit)
>>> len(advice) == len(book.tanks)
True
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from growthcast.book.book import Book
    from growthcast.book.read import read_book
    from growthcast.book.shipped import demo_dir
    from growthcast.errors import BookProblems, Finding, GrowthcastError
    from growthcast.fit.result import GrowthFit, fit_growth
    from growthcast.fit.spreads import Spreads
    from growthcast.forecast.report import AreaForecast, forecast_growth
    from growthcast.service.advice import TankAdvice
    from growthcast.service.recommend import recommend

__version__ = "0.1.0"

__all__ = [
    "AreaForecast",
    "Book",
    "BookProblems",
    "Finding",
    "GrowthFit",
    "GrowthcastError",
    "Spreads",
    "TankAdvice",
    "demo_dir",
    "fit_growth",
    "forecast_growth",
    "read_book",
    "recommend",
]

_HOMES = {
    "AreaForecast": "growthcast.forecast.report",
    "Book": "growthcast.book.book",
    "BookProblems": "growthcast.errors",
    "Finding": "growthcast.errors",
    "GrowthFit": "growthcast.fit.result",
    "GrowthcastError": "growthcast.errors",
    "Spreads": "growthcast.fit.spreads",
    "TankAdvice": "growthcast.service.advice",
    "demo_dir": "growthcast.book.shipped",
    "fit_growth": "growthcast.fit.result",
    "forecast_growth": "growthcast.forecast.report",
    "read_book": "growthcast.book.read",
    "recommend": "growthcast.service.recommend",
}


def __getattr__(name: str) -> Any:
    """Import a public name when it is first asked for, so that ``--help`` imports no numpy."""
    if name in _HOMES:
        return getattr(import_module(_HOMES[name]), name)
    raise AttributeError(f"module 'growthcast' has no attribute '{name}'")
