"""Plain ways to forecast a reading, for the model to be measured against.

Each sees what the model sees of the area itself: its visits before the split. A start height is the
one the last visit left or, where that was not read, where the area is usually cut to.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from growthcast.arrays import BoolArray, FloatArray, IntArray
from growthcast.book.book import Book
from growthcast.fit.model.noise import ErrorModel
from growthcast.forecast.scores import CHANCES, NORMAL_SCORES, Predictive
from growthcast.growth.logistic import height_at_stage, stage
from growthcast.log.visits import Visits
from growthcast.nouns import dataclass

HIGHEST_SHARE = 0.97
"""A curve cannot start at its ceiling: heights are taken to be at most this share of it."""
LINE_SPANS = 3
USUAL_LOG_ERROR, USUAL_BUDGET_ERROR = 0.25, 0.15
"""Spread of a plain forecast's errors before any was seen: on the log, and as share of budget."""
ERRORS_OF_DOUBT = 4.0
"""Errors that the spread before counts for, of a book's; and the book's spread, of an area's."""

SMOOTHED_SHARE = 0.02
"""Width given to each part of a forecast whose spread, learnt from readings, holds their error."""

RATES = np.exp(np.linspace(np.log(0.003), np.log(0.8), 45))
USUAL_RATE, RATE_DOUBT = 0.05, 1.0
"""Weak prior of an area's rate [1/day] on its own: a median and a log standard deviation."""
CEILING_OFF = np.linspace(-0.6, 0.9, 16)
CEILING_DOUBT = 0.3
WEEK_SPREAD = 0.2
"""Relative spread of a week's growth about the curve."""


@dataclass(frozen=True, slots=True)
class Spans:
    """Growth between two visits of an area, both heights read; all (S,), sorted by area and day.

    ``start_sd_cm`` and ``end_sd_cm`` are errors of readings that bring their own, nan for a ruler.
    """

    area: IntArray
    start_cm: FloatArray
    end_cm: FloatArray
    days: FloatArray
    start_sd_cm: FloatArray
    end_sd_cm: FloatArray


@dataclass(frozen=True, slots=True)
class Start:
    """Where every area stood after its last visit, (A,); NaN where nothing tells.

    ``cut`` tells whether that visit cut it; ``row`` is the area's last own row, -1 for none;
    ``sd_cm`` the error of a reading that brings its own.
    """

    height_cm: FloatArray
    day: FloatArray
    cut: BoolArray
    row: IntArray
    sd_cm: FloatArray


@dataclass(frozen=True, slots=True)
class Past:
    """What a baseline sees on the day before a split.

    Attributes
    ----------
    spans : Spans
        Growth between the visits before it.
    start : Start
        Where they left every area (A,).
    ceiling_cm, budget_cm : array (A,)
        Ceilings of the species table and height budgets [cm, or % cover].
    errors : ErrorModel
        What a reading is worth.
    """

    spans: Spans
    start: Start
    ceiling_cm: FloatArray
    budget_cm: FloatArray
    errors: ErrorModel


def own_spans(visits: Visits) -> Spans:
    """Return the spans between visits in which both the height left and the height found were read.

    Parameters
    ----------
    visits : Visits
        Visits sorted by area and day.

    Returns
    -------
    Spans
        Each of a day at least.
    """
    at = np.flatnonzero(visits.follows)
    start, end = visits.left_cm[at - 1], visits.before_cm[at]
    read = np.isfinite(start) & np.isfinite(end) & (start > 0.0)
    at = at[read]
    days = np.maximum(visits.day[at] - visits.day[at - 1], 1.0)
    own_sd = _left_sd(visits)[at - 1], visits.before_sd_cm[at]
    return Spans(visits.area[at], start[read], end[read], days, *own_sd)


def _left_sd(visits: Visits) -> FloatArray:
    """Own error of the height that a visit left; a height after a cut is read by ruler."""
    return np.where(np.isfinite(visits.after_cm), np.nan, visits.before_sd_cm)


def start_heights(visits: Visits, cut_cm: FloatArray) -> Start:
    """Find where every area stood after its last visit.

    Parameters
    ----------
    visits : Visits
        Visits sorted by area and day.
    cut_cm : array (A,)
        Usual cut that the book states, ``nan`` for none [cm, or % cover].

    Returns
    -------
    Start
        A last cut whose height was not read left the area at its stated usual cut, else at the mean
        of the heights its cuts left.
    """
    count = cut_cm.size
    read = visits.cut & np.isfinite(visits.left_cm)
    number = np.bincount(visits.area[read], minlength=count)
    total = np.bincount(visits.area[read], weights=visits.left_cm[read], minlength=count)
    mean = np.divide(total, number, out=np.full(count, np.nan), where=number > 0)
    usual = np.where(np.isfinite(cut_cm) & (cut_cm > 0.0), cut_cm, mean)
    height, day, sd = np.full((3, count), np.nan)
    cut, row = np.zeros(count, dtype=bool), np.full(count, -1)
    left = np.where(np.isfinite(visits.left_cm), visits.left_cm, usual[visits.area])
    height[visits.area] = left  # later visits overwrite earlier ones
    day[visits.area] = visits.day
    sd[visits.area] = _left_sd(visits)
    cut[visits.area] = visits.cut | visits.unsaid
    own = ~visits.silent
    row[visits.area[own]] = visits.row[own]
    height[height <= 0.0] = np.nan
    return Start(height, day, cut, row, sd)


def only_starts(book: Book, start: Start, tanks: IntArray | None = None) -> Book:
    """Return a book whose log holds nothing but the height each area last stood at.

    Parameters
    ----------
    book : Book
        A book.
    start : Start
        Where its visits left every area.
    tanks : array (T,), optional
        The tanks whose log is cut down so; the log of the others stays whole. By default all.

    Returns
    -------
    Book
        With at most one log row an area of those tanks.
    """
    ids, trims = book.tanks.text("tank_id"), book.trims
    of_area, of_row = (table.places("tank_id", ids) for table in (book.areas, trims))
    chosen = np.arange(len(book.tanks)) if tanks is None else tanks
    areas = np.flatnonzero((start.row >= 0) & np.isfinite(start.height_cm))
    areas = areas[np.isin(of_area[areas], chosen)]
    areas = areas[np.argsort(start.row[areas])]
    last = np.zeros(len(trims), dtype=bool)
    last[start.row[areas]] = True
    kept = last | ~np.isin(of_row, chosen)
    trims, rows = trims.keep(kept), np.flatnonzero(last[kept])
    height, cut = start.height_cm[areas], start.cut[areas]
    said = {
        "date": start.day[areas].astype("datetime64[D]"),
        "before_cm": np.where(cut, np.nan, height),
        "after_cm": np.where(cut, height, np.nan),
        "removed_cm": np.nan,
        "removed_g": np.nan,
        "look": "",
    }
    columns = dict(trims.columns)
    for name, cells in said.items():
        columns[name] = columns[name].copy()
        columns[name][rows] = cells
    return replace(book, trims=replace(trims, columns=columns))


def last_rate(past: Past, areas: IntArray, days: FloatArray) -> Predictive:
    """Forecast with the logistic rate of each area's last span; the ceiling is the table's.

    Parameters
    ----------
    past : Past
        What is known before the split.
    areas : int array (n,)
        Area of each reading to forecast.
    days : array (n,)
        Days from the area's last visit to the reading [d].

    Returns
    -------
    Predictive
        Lognormal, as wide as the same forecast erred on the spans before; NaN where an area has no
        span whose two heights were read.
    """
    spans, start, ceiling_cm = past.spans, past.start, past.ceiling_cm
    ceiling = ceiling_cm[spans.area]
    rate = (_stage(spans.end_cm, ceiling) - _stage(spans.start_cm, ceiling)) / spans.days
    rate = np.maximum(rate, 0.0)
    latest = np.full(ceiling_cm.size, np.nan)
    latest[spans.area] = rate
    pairs = np.flatnonzero(spans.area[1:] == spans.area[:-1]) + 1
    foreseen = _grown(spans.start_cm[pairs], ceiling[pairs], rate[pairs - 1] * spans.days[pairs])
    errors = np.log(spans.end_cm[pairs] / foreseen)
    spread = _spread(errors, spans.area[pairs], ceiling_cm.size, USUAL_LOG_ERROR)[areas]
    middle = _grown(start.height_cm[areas], ceiling_cm[areas], latest[areas] * days)
    height = middle[:, None] * np.exp(spread[:, None] * NORMAL_SCORES)
    return Predictive(height, SMOOTHED_SHARE * np.abs(height))


def line(past: Past, areas: IntArray, days: FloatArray) -> Predictive:
    """Forecast with the centimetres a day of each area's last three spans taken together.

    Errors of different areas are compared as shares of their height budgets.

    Parameters
    ----------
    past : Past
        What is known before the split.
    areas : int array (n,)
        Area of each reading to forecast.
    days : array (n,)
        Days from the area's last visit to the reading [d].

    Returns
    -------
    Predictive
        Normal, as wide as the same forecast erred on the spans before; NaN where an area has no
        span whose two heights were read.
    """
    spans, budget_cm = past.spans, past.budget_cm
    count = budget_cm.size
    first = np.searchsorted(spans.area, np.arange(count))
    grown = np.concatenate([[0.0], np.cumsum(spans.end_cm - spans.start_cm)])
    lasted = np.concatenate([[0.0], np.cumsum(spans.days)])

    def speed(end: IntArray, area: IntArray) -> FloatArray:
        """Growth a day over the spans before ``end``, at most three."""
        begin = np.maximum(first[area], end - LINE_SPANS)
        took = lasted[end] - lasted[begin]
        nothing = np.full(end.size, np.nan)
        growth = grown[end] - grown[begin]
        a_day: FloatArray = np.divide(growth, took, out=nothing, where=took > 0.0)
        return a_day

    at = np.flatnonzero(spans.area[1:] == spans.area[:-1]) + 1
    owner = spans.area[at]
    foreseen = spans.start_cm[at] + speed(at, owner) * spans.days[at]
    errors = (spans.end_cm[at] - foreseen) / budget_cm[owner]
    spread = _spread(errors, owner, count, USUAL_BUDGET_ERROR)[areas] * budget_cm[areas]
    last = np.searchsorted(spans.area, areas, side="right")
    middle = past.start.height_cm[areas] + speed(last, areas) * days
    height = middle[:, None] + spread[:, None] * NORMAL_SCORES
    return Predictive(height, np.broadcast_to(SMOOTHED_SHARE * spread[:, None], height.shape))


def unpooled(past: Past, areas: IntArray, days: FloatArray, own_sd_cm: FloatArray) -> Predictive:
    """Forecast with a logistic fitted to each area's own spans alone, under weak priors.

    Parameters
    ----------
    past : Past
        What is known before the split.
    areas : int array (n,)
        Area of each reading to forecast.
    days : array (n,)
        Days from the area's last visit to the reading [d].
    own_sd_cm : array (n,)
        Errors of readings that bring their own, nan for a ruler's [cm].

    Returns
    -------
    Predictive
        Rate and ceiling are integrated over on a grid. NaN where nothing tells how high an area
        stood.
    """
    rate, off = RATES[:, None], CEILING_OFF
    prior = -0.5 * (np.log(rate / USUAL_RATE) / RATE_DOUBT) ** 2 - 0.5 * (off / CEILING_DOUBT) ** 2
    mine = np.isin(past.spans.area, areas)
    spans = Spans(*(getattr(past.spans, name)[mine] for name in Spans.__slots__))
    middle, variance = _curve(past, spans)
    fit = -0.5 * np.log(variance) - 0.5 * (spans.end_cm[:, None] - middle) ** 2 / variance
    told, first = np.unique(spans.area, return_index=True)
    log_weight = np.tile(prior.ravel(), (past.budget_cm.size, 1))
    log_weight[told] += np.add.reduceat(fit, first) if told.size else 0.0
    weight = np.exp(log_weight - log_weight.max(axis=1, keepdims=True))[areas]
    weight /= weight.sum(axis=1, keepdims=True)
    start = past.start.height_cm[areas], past.start.sd_cm[areas]
    ahead = Spans(areas, start[0], start[0], days, start[1], own_sd_cm)  # how it ends is not known
    middle, variance = _curve(past, ahead)
    order = np.argsort(middle, axis=1)
    reached = np.cumsum(np.take_along_axis(weight, order, axis=1), axis=1)
    apart = 2.0 * np.arange(areas.size)[:, None]  # one search for all: each row above the last
    chosen = np.searchsorted((reached + apart).ravel(), CHANCES + apart)
    chosen = np.minimum(chosen, reached.size - 1)
    middle, variance = (
        np.take_along_axis(grid, order, axis=1).ravel()[chosen] for grid in (middle, variance)
    )
    return Predictive(middle, np.sqrt(variance))


def _curve(past: Past, spans: Spans) -> tuple[FloatArray, FloatArray]:
    """Reading at the end of spans (n, G) for a grid of rates and ceilings, and its variance."""
    start, days, area, start_sd, end_sd = (
        getattr(spans, name)[:, None, None]
        for name in ("start_cm", "days", "area", "start_sd_cm", "end_sd_cm")
    )
    ceiling = past.ceiling_cm[area] * np.exp(CEILING_OFF)
    room = np.minimum(start, HIGHEST_SHARE * ceiling)
    end = ceiling / (1.0 + (ceiling / room - 1.0) * np.exp(-RATES[:, None] * days))
    steepness = end * (1.0 - end / ceiling) / (room * (1.0 - room / ceiling))
    variance = past.errors.reading_variance(start, area, start_sd) * steepness**2
    variance += (WEEK_SPREAD * (end - room)) ** 2 * 7.0 / days
    variance += past.errors.reading_variance(end, area, np.broadcast_to(end_sd, end.shape))
    flat = (start.size, RATES.size * CEILING_OFF.size)
    return end.reshape(flat), variance.reshape(flat)


def _stage(height_cm: FloatArray, ceiling_cm: FloatArray) -> FloatArray:
    return stage(np.minimum(height_cm, HIGHEST_SHARE * ceiling_cm), ceiling_cm)


def _grown(height_cm: FloatArray, ceiling_cm: FloatArray, growth: FloatArray) -> FloatArray:
    """Height after ``growth`` (rate times days) along the logistic."""
    return height_at_stage(_stage(height_cm, ceiling_cm) + growth, ceiling_cm)


def _spread(errors: FloatArray, area: IntArray, count: int, usual: float) -> FloatArray:
    """Spread of a forecast's errors (A,): each area's own, leaning on the whole book's."""
    squares = errors**2
    book = (squares.sum() + ERRORS_OF_DOUBT * usual**2) / (squares.size + ERRORS_OF_DOUBT)
    number = np.bincount(area, minlength=count)
    total = np.bincount(area, weights=squares, minlength=count)
    spread: FloatArray = np.sqrt((total + ERRORS_OF_DOUBT * book) / (number + ERRORS_OF_DOUBT))
    return spread
