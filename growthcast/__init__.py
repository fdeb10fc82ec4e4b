"""Growth forecasts and visit intervals for planted aquariums, from a practice's own trim log.

>>> import growthcast
>>> fit = growthcast.fit_growth(growthcast.demo_book(), on="2026-11-20")
>>> advice = growthcast.recommend(fit, tanks="lobby-stems")
>>> advice[0].recommended_interval_d
7

``to_frame()`` on an answer gives a pandas table; ``growthcast.plot`` draws; ``growthcast.keeping``
writes into a book; ``growthcast.types`` has the kinds of answers. Every error is a
``GrowthcastError``.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from growthcast import keeping as keeping
    from growthcast import plot as plot
    from growthcast import types as types
    from growthcast.book.book import Book as Book
    from growthcast.book.read import read_book as read_book
    from growthcast.door import *  # noqa: F403 - its functions are public, its imports are not
    from growthcast.errors import BookProblems as BookProblems
    from growthcast.errors import GrowthcastError as GrowthcastError

__version__ = "0.1.0"

_AT_THE_DOOR = (
    "backtest compare_layouts compare_plants cut_sheet demo_book fit_growth forecast_growth "
    "peak_plan plan_rounds recommend suppose swaps_to_reach watch_growth weeks_away"
)
_HOMES = {
    "growthcast.book.book": "Book",
    "growthcast.book.read": "read_book",
    "growthcast.door": _AT_THE_DOOR,
    "growthcast.errors": "BookProblems GrowthcastError",
}
"""The public names by the module that each is imported from when it is first asked for."""
_HOME_OF = {name: home for home, names in _HOMES.items() for name in names.split()}
_MODULES = ("keeping", "plot", "types")

__all__ = sorted(_HOME_OF)


def __getattr__(name: str) -> Any:
    """Import a public name when it is first asked for, so that ``--help`` imports no numpy."""
    if name in _MODULES:
        return import_module(f"growthcast.{name}")
    if name in _HOME_OF:
        return getattr(import_module(_HOME_OF[name]), name)
    raise AttributeError(f"module 'growthcast' has no attribute '{name}'")


def __dir__() -> list[str]:
    """The public names, also those not yet imported."""
    return [*__all__, *_MODULES, "__version__"]
