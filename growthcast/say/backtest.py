"""How often forecasts would have been right, in words."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from growthcast.arrays import BoolArray
from growthcast.forecast.report import as_date
from growthcast.forecast.verdict import LEAST_READINGS, BacktestResult
from growthcast.say import words as tell

NAMES = ("last_rate", "line", "unpooled", "own_log", "table_only")
WORTH_WIDENING = 0.05
"""A factor nearer to 1 than this is not worth a word."""


def backtest_answer(result: BacktestResult) -> tell.Answer:
    """Say how often ranges held, the scores, then what they say."""
    if not result.enough:
        return tell.Answer(too_few_words(result))
    lead, *others = _sentences(result)
    cover = result.readings.is_cover
    scores, *more = [
        tell.table("backtest_scores", _scores(result, digits, rows), what=what, unit=unit)
        for what, unit, digits, rows in (("height", "cm", 2, ~cover), ("cover", "points", 1, cover))
        if rows.any()
    ]
    return tell.Answer(lead, scores, others[:3], [*others[3:], *more])


def too_few_words(result: BacktestResult) -> str:
    """Say why nothing can be said."""
    found, needed = int(result.model.made.sum()), LEAST_READINGS
    return tell.sentence("backtest_few", found=found, needed=needed, visit_days=result.visit_days)


def _scores(result: BacktestResult, digits: int, rows: BoolArray) -> list[dict[str, Any]]:
    lines = []
    for name in (None, *(name for name in NAMES if name in result.baselines)):
        scores = result.scores(name, rows)
        scored = scores if scores.n > 0 and name in (None, *result.compared) else None
        by = "growthcast" if name is None else _name(name)
        lines.append({"by": by, "n": scores.n, "scored": scored, "digits": digits})
    return lines


def _name(baseline: str) -> str:
    return tell.sentence(f"backtest_by_{baseline}")


def _sentences(result: BacktestResult) -> Iterator[str]:
    scores, readings = result.scores_of_all(), result.readings
    days = [as_date(day) for day in result.split_days]
    blanks = {"visits": readings.visits, "days": len(days), "first": days[0], "last": days[-1]}
    counted = tell.sentence("backtest_counted", readings=scores.n, **blanks)
    counted += _side_by_side(result)
    if "own_log" in result.baselines:
        without, own, table = (result.scores(name) for name in (None, "own_log", "table_only"))
        yield tell.sentence("backtest_new", without=without, own=own, table=table)
        yield _bias(without.bias_share)
        yield counted
        return
    yield tell.sentence("backtest_held", scores=scores)
    yield _widening(result)
    against = [*_against(result)]
    yield from against[:1]
    yield counted
    yield from against[1:]
    yield _bias(scores.bias_share)
    yield _crossing(result)
    if result.gaps_alike:
        yield tell.sentence("backtest_gaps", days=result.usual_gap_d)
    yield tell.sentence("backtest_crps")


def _side_by_side(result: BacktestResult) -> str:
    """Say on how many readings all ways are scored, and which ways are not."""
    compared, every = result.scores().n, int(result.model.made.sum())
    said = ""
    if compared < every:
        said = f" The tables compare the {compared} of them that every way could forecast."
    for name in result.baselines:
        if name not in result.compared:
            count = result.scores(name).n
            said += f" The {_name(name)} could forecast {count}, too few to be compared."
    return said


def _bias(share: float) -> str:
    off, even = abs(share), abs(share) < 0.01
    return tell.sentence("backtest_bias", even=even, high=share > 0, off=off)


def _against(result: BacktestResult) -> Iterator[str]:
    """Say which baselines forecast better or worse than the model, by how much and how surely."""
    mine, beaten = result.scores(), []
    for name in result.compared if mine.n else ():
        theirs = result.scores(name).crps_share
        clear = abs(mine.crps_share - theirs) > 2.0 * result.standard_error(name)
        what = "a straight line" if name == "line" else f"the {_name(name)}"
        key = "backtest_beaten" if theirs < mine.crps_share else "backtest_beats"
        blanks = {"theirs": theirs, "smaller": 1.0 - mine.crps_share / theirs, "clear": clear}
        said = tell.sentence(key, what=what, mine=mine, **blanks)
        if theirs < mine.crps_share:
            yield tell.capital(said)
        else:
            beaten.append(said)
    if beaten:
        yield f"On the same readings the error (CRPS) was {'; '.join(beaten)}."


def _crossing(result: BacktestResult) -> str:
    found = result.crossings
    if found is None:
        return "No area passed its budget between two readings, so no crossing date was tested."
    late, off = found.median_d, found.median_abs_d
    if late is None or off is None:
        return tell.sentence("backtest_none_foreseen", found=found)
    side = f"{_days(late)} too {'late' if late > 0 else 'early'}" if late else "the right day"
    return tell.sentence("backtest_passed", found=found, side=side, off=_days(off))


def _widening(result: BacktestResult) -> str:
    """Say by how much forecasts should be widened, and what that would have done so far."""
    learnt, trial = result.widening()
    factor = learnt.factor
    if abs(factor - result.applied_widening) < WORTH_WIDENING and result.applied_widening != 1.0:
        return tell.sentence("backtest_widened", factor=factor, applied=result.applied_widening)
    if abs(factor - 1.0) < WORTH_WIDENING:
        return "By these readings the spread of forecast heights is about right."
    enough, narrow = trial is not None and trial.n >= LEAST_READINGS, factor > 1.0
    blanks = {"narrow": narrow, "factor": factor, "trial": trial if enough else None}
    return tell.sentence("backtest_widen", **blanks)


def _days(number: float) -> str:
    """Return a median of days, halves of days too, without its sign."""
    return "1 day" if abs(number) == 1 else f"{abs(number):g} days"
