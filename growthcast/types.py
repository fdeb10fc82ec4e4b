"""The kinds of answers, for annotations and ``isinstance``."""

from growthcast.book.book import Practice as Practice
from growthcast.book.book import Table as Table
from growthcast.errors import Finding as Finding
from growthcast.errors import UsageError as UsageError
from growthcast.fit.model.posterior import AreaRate as AreaRate
from growthcast.fit.model.spreads import Spreads as Spreads
from growthcast.forecast.report import AreaForecast as AreaForecast
from growthcast.forecast.verdict import BacktestResult as BacktestResult
from growthcast.frames import Answers as Answers
from growthcast.service.advice import TankAdvice as TankAdvice
from growthcast.service.rescape.layouts import LayoutAdvice as LayoutAdvice
from growthcast.service.rescape.plants import PlantAdvice as PlantAdvice
from growthcast.service.rescape.swaps import SwapSearch as SwapSearch
from growthcast.service.rounds.plan import RoundsPlan as RoundsPlan
from growthcast.service.visit.away import AwayTank as AwayTank
from growthcast.service.visit.cuts import CutSheet as CutSheet
from growthcast.service.visit.peak import PeakPlan as PeakPlan
from growthcast.service.watch.watch import WatchReport as WatchReport
