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
    from growthcast.book.book import Book as Book
    from growthcast.book.read import read_book as read_book
    from growthcast.book.shipped import demo_dir as demo_dir
    from growthcast.book.supposed import Changes as Changes
    from growthcast.book.supposed import read_layout as read_layout
    from growthcast.errors import BookProblems as BookProblems
    from growthcast.errors import Finding as Finding
    from growthcast.errors import GrowthcastError as GrowthcastError
    from growthcast.fit.growth import fit_growth as fit_growth
    from growthcast.fit.model.spreads import Spreads as Spreads
    from growthcast.fit.result import GrowthFit as GrowthFit
    from growthcast.fit.supposed import Supposed as Supposed
    from growthcast.fit.supposed import suppose as suppose
    from growthcast.forecast.backtest import backtest as backtest
    from growthcast.forecast.report import AreaForecast as AreaForecast
    from growthcast.forecast.report import forecast_growth as forecast_growth
    from growthcast.forecast.verdict import BacktestResult as BacktestResult
    from growthcast.service.advice import TankAdvice as TankAdvice
    from growthcast.service.recommend import recommend as recommend
    from growthcast.service.rescape.layouts import LayoutAdvice as LayoutAdvice
    from growthcast.service.rescape.layouts import compare_layouts as compare_layouts
    from growthcast.service.rescape.plants import PlantAdvice as PlantAdvice
    from growthcast.service.rescape.plants import compare_plants as compare_plants
    from growthcast.service.rescape.swaps import SwapSearch as SwapSearch
    from growthcast.service.rescape.swaps import swaps_to_reach as swaps_to_reach
    from growthcast.service.rounds.plan import RoundsPlan as RoundsPlan
    from growthcast.service.rounds.plan import plan_rounds as plan_rounds
    from growthcast.service.visit.away import AwayTank as AwayTank
    from growthcast.service.visit.away import weeks_away as weeks_away
    from growthcast.service.visit.cuts import CutSheet as CutSheet
    from growthcast.service.visit.cuts import cut_sheet as cut_sheet
    from growthcast.service.visit.peak import PeakPlan as PeakPlan
    from growthcast.service.visit.peak import peak_plan as peak_plan
    from growthcast.service.watch.report import WatchReport as WatchReport
    from growthcast.service.watch.watch import watch_growth as watch_growth

__version__ = "0.1.0"

_HOMES = {
    "growthcast.book.book": "Book",
    "growthcast.book.read": "read_book",
    "growthcast.book.shipped": "demo_dir",
    "growthcast.book.supposed": "Changes read_layout",
    "growthcast.errors": "BookProblems Finding GrowthcastError",
    "growthcast.fit.growth": "fit_growth",
    "growthcast.fit.result": "GrowthFit",
    "growthcast.fit.model.spreads": "Spreads",
    "growthcast.fit.supposed": "Supposed suppose",
    "growthcast.forecast.backtest": "backtest",
    "growthcast.forecast.report": "AreaForecast forecast_growth",
    "growthcast.forecast.verdict": "BacktestResult",
    "growthcast.service.advice": "TankAdvice",
    "growthcast.service.recommend": "recommend",
    "growthcast.service.rescape.plants": "PlantAdvice compare_plants",
    "growthcast.service.rescape.layouts": "LayoutAdvice compare_layouts",
    "growthcast.service.rescape.swaps": "SwapSearch swaps_to_reach",
    "growthcast.service.rounds.plan": "RoundsPlan plan_rounds",
    "growthcast.service.visit.away": "AwayTank weeks_away",
    "growthcast.service.visit.cuts": "CutSheet cut_sheet",
    "growthcast.service.visit.peak": "PeakPlan peak_plan",
    "growthcast.service.watch.report": "WatchReport",
    "growthcast.service.watch.watch": "watch_growth",
}
"""The public names by the module that each is imported from when it is first asked for."""
_HOME_OF = {name: home for home, names in _HOMES.items() for name in names.split()}

__all__ = sorted(_HOME_OF)


def __getattr__(name: str) -> Any:
    """Import a public name when it is first asked for, so that ``--help`` imports no numpy."""
    if name in _HOME_OF:
        return getattr(import_module(_HOME_OF[name]), name)
    raise AttributeError(f"module 'growthcast' has no attribute '{name}'")
