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
    from growthcast.book.supposed.changes import Changes
    from growthcast.book.supposed.layouts import read_layout
    from growthcast.errors import BookProblems, Finding, GrowthcastError
    from growthcast.fit.growth import fit_growth
    from growthcast.fit.result import GrowthFit
    from growthcast.fit.spreads import Spreads
    from growthcast.fit.supposed import Supposed, suppose
    from growthcast.forecast.backtest import backtest
    from growthcast.forecast.report import AreaForecast, forecast_growth
    from growthcast.forecast.verdict import BacktestResult
    from growthcast.service.advice import TankAdvice
    from growthcast.service.recommend import recommend
    from growthcast.service.rescape.candidates import PlantAdvice, compare_plants
    from growthcast.service.rescape.layouts import LayoutAdvice, compare_layouts
    from growthcast.service.rescape.swaps import SwapSearch, swaps_to_reach
    from growthcast.service.rounds.plan import plan_rounds
    from growthcast.service.rounds.result import RoundsPlan
    from growthcast.service.visit.away import AwayTank, weeks_away
    from growthcast.service.visit.cuts import CutSheet, cut_sheet
    from growthcast.service.visit.peak import PeakPlan, peak_plan
    from growthcast.service.watch.report import WatchReport
    from growthcast.service.watch.watch import watch_growth

__version__ = "0.1.0"

__all__ = [
    "AreaForecast",
    "AwayTank",
    "BacktestResult",
    "Book",
    "BookProblems",
    "Changes",
    "CutSheet",
    "Finding",
    "GrowthFit",
    "GrowthcastError",
    "LayoutAdvice",
    "PeakPlan",
    "PlantAdvice",
    "RoundsPlan",
    "Spreads",
    "Supposed",
    "SwapSearch",
    "TankAdvice",
    "WatchReport",
    "backtest",
    "compare_layouts",
    "compare_plants",
    "cut_sheet",
    "demo_dir",
    "fit_growth",
    "forecast_growth",
    "peak_plan",
    "plan_rounds",
    "read_book",
    "read_layout",
    "recommend",
    "suppose",
    "swaps_to_reach",
    "watch_growth",
    "weeks_away",
]

_HOMES = {
    "AreaForecast": "growthcast.forecast.report",
    "AwayTank": "growthcast.service.visit.away",
    "BacktestResult": "growthcast.forecast.verdict",
    "Book": "growthcast.book.book",
    "BookProblems": "growthcast.errors",
    "Changes": "growthcast.book.supposed.changes",
    "CutSheet": "growthcast.service.visit.cuts",
    "Finding": "growthcast.errors",
    "GrowthFit": "growthcast.fit.result",
    "GrowthcastError": "growthcast.errors",
    "LayoutAdvice": "growthcast.service.rescape.layouts",
    "PeakPlan": "growthcast.service.visit.peak",
    "PlantAdvice": "growthcast.service.rescape.candidates",
    "RoundsPlan": "growthcast.service.rounds.result",
    "Spreads": "growthcast.fit.spreads",
    "Supposed": "growthcast.fit.supposed",
    "SwapSearch": "growthcast.service.rescape.swaps",
    "TankAdvice": "growthcast.service.advice",
    "WatchReport": "growthcast.service.watch.report",
    "backtest": "growthcast.forecast.backtest",
    "compare_layouts": "growthcast.service.rescape.layouts",
    "compare_plants": "growthcast.service.rescape.candidates",
    "cut_sheet": "growthcast.service.visit.cuts",
    "demo_dir": "growthcast.book.shipped",
    "fit_growth": "growthcast.fit.growth",
    "forecast_growth": "growthcast.forecast.report",
    "peak_plan": "growthcast.service.visit.peak",
    "plan_rounds": "growthcast.service.rounds.plan",
    "read_book": "growthcast.book.read",
    "read_layout": "growthcast.book.supposed.layouts",
    "recommend": "growthcast.service.recommend",
    "suppose": "growthcast.fit.supposed",
    "swaps_to_reach": "growthcast.service.rescape.swaps",
    "watch_growth": "growthcast.service.watch.watch",
    "weeks_away": "growthcast.service.visit.away",
}


def __getattr__(name: str) -> Any:
    """Import a public name when it is first asked for, so that ``--help`` imports no numpy."""
    if name in _HOMES:
        return getattr(import_module(_HOMES[name]), name)
    raise AttributeError(f"module 'growthcast' has no attribute '{name}'")
