"""Answers as tidy tables: what a noun prints as JSON, a row for each thing it is about.

pandas is imported when a frame is asked for, never by a command.
"""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date
from typing import TYPE_CHECKING, Any, TypeVar

import numpy as np

from growthcast.errors import UsageError
from growthcast.plain import plain

if TYPE_CHECKING:
    import pandas as pd

T = TypeVar("T")
ROWS = dict.fromkeys(("CutSheet", "PeakPlan", "AwayTank"), "areas")
ROWS |= {"AreaForecast": "heights", "TankAdvice": "options", "RoundsPlan": "visits"}
ROWS |= {"WatchReport": "tanks", "SwapSearch": "proposals"}
"""The list inside a noun whose items are the rows, where it is not the noun itself."""
MOST_ROWS, MOST_COLUMNS = 12, 10
"""What a notebook shows of an answer; ``to_frame()`` has the rest."""
DATES = {"at", "on", "day", "date", "from", "to"}
IDS = ("client", "tank_id", "area_id", "species_id")


class Framed:
    """An answer that gives itself as a tidy table and shows itself in a line."""

    __slots__ = ()

    def __repr__(self) -> str:
        names = [getattr(self, name) for name in ("tank_id", "area_id") if hasattr(self, name)]
        rows = ROWS.get(type(self).__name__, "")
        told = " ".join(names) or f"{len(getattr(self, rows, ()))} {rows}"
        return f"<{type(self).__name__}: {told}; to_frame() lists it>"

    def _repr_html_(self) -> str:
        from html import escape  # only notebooks ask

        frame = self.to_frame()
        shown = frame.iloc[:MOST_ROWS, :MOST_COLUMNS].to_html(index=False)
        return f"<p>{escape(repr(self))}: {len(frame)} rows, {frame.shape[1]} columns</p>{shown}"

    def to_frame(self, details: bool = True) -> pd.DataFrame:
        """Return the answer as a tidy table: ids first, units in the names of columns.

        With ``details=False`` it has one row for each answer, as one for each tank, without what is
        listed inside them, as the intervals of a tank.
        """
        return frame_of(self, details)


class Answers(Framed, tuple[T, ...]):
    """Answers to one question, as a tuple that gives a frame."""

    __slots__ = ()

    def __repr__(self) -> str:
        kind = type(self[0]).__name__ if self else "answer"
        return f"<{len(self)} x {kind}; to_frame() lists them>"


def frame_of(answer: Any, details: bool = True) -> pd.DataFrame:
    """Return an answer, or a sequence of them, as a tidy table.

    Parameters
    ----------
    answer : noun or sequence of nouns
        What a function of this package returned.
    details : bool
        Whether what is listed inside a noun makes the rows; else each noun is a row.

    Returns
    -------
    pandas.DataFrame
        One row for each thing it is about, such as each interval of each tank; ids first, dates as
        dates. Numbers are those of ``--json``, with the unit in the name. Floating plants have
        ``unit`` "% cover", others "cm": in their rows heights are without a unit in the name.
    """
    import pandas as pd

    nouns: Iterable[Any] = answer if isinstance(answer, tuple | list) else (answer,)
    rows: list[dict[str, Any]] = []
    for noun in nouns:
        whole = plain(noun)
        inner = whole.pop(ROWS.get(type(noun).__name__, ""), None)
        outer = _flat(whole)
        cover = getattr(noun, "is_cover", None)
        if cover is not None:
            outer = {name.replace("_cm", ""): value for name, value in outer.items()}
            outer["unit"] = "% cover" if cover else "cm"
        listed = details and inner is not None
        rows += [outer | _flat(one) for one in inner] if listed else [outer]
    frame = pd.DataFrame(rows)
    for name in frame.columns:
        if name in DATES or name.endswith("_on") or "_on_p" in name:
            frame[name] = pd.to_datetime(frame[name])
    first = [name for name in IDS if name in frame.columns]
    return frame[[*first, *(name for name in frame.columns if name not in first)]]


def _flat(row: Any, begin: str = "") -> dict[str, Any]:
    """Return a mapping with the names of mappings inside it joined; lists are left out."""
    flat: dict[str, Any] = {}
    for name, value in row.items():
        if isinstance(value, dict):
            flat |= _flat(value, f"{begin}{name}_")
        elif not isinstance(value, list):
            flat[begin + name] = value
    return flat


def dates_of(days: Iterable[Any] | Any) -> tuple[date, ...]:
    """Return days as dates: one or many, as a date, an ISO text or a pandas or numpy time stamp.

    Raises
    ------
    UsageError
        One of them is no day.
    """
    several = [days] if isinstance(days, str) or not isinstance(days, Iterable) else days
    return tuple(_date_of(day) for day in several)


def _date_of(day: Any) -> date:
    try:
        if isinstance(day, np.datetime64):
            day = str(day.astype("datetime64[D]"))
        if isinstance(day, str):
            return date.fromisoformat(day)
        return date(day.year, day.month, day.day)
    except (AttributeError, TypeError, ValueError):
        raise UsageError(
            f"{day!r} is no day: give a date, a time stamp or a text as 2026-11-30"
        ) from None
