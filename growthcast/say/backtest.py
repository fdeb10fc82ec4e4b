"""How often forecasts would have been right, in words."""

from __future__ import annotations

from collections.abc import Iterator

from growthcast.arrays import BoolArray
from growthcast.forecast.report import as_date
from growthcast.forecast.verdict import LEAST_READINGS, BacktestResult
from growthcast.say import words as tell

NAMES = {
    "last_rate": "rate of the last span",
    "line": "straight line through three spans",
    "unpooled": "curve of each area alone",
    "own_log": "with the tank's own log",
    "table_only": "species table alone",
}
COLUMNS = "forecast by | readings> | off by ({unit})> | CRPS ({unit})> | of budget> | 8 of 10 held>"
WORTH_WIDENING = 0.05
"""A factor nearer to 1 than this is not worth a word."""


def backtest_words(result: BacktestResult) -> tell.Words:
    """Yield how often ranges held, the scores, then what they say."""
    if not result.enough:
        yield too_few_words(result)
        return
    lead, *others = _sentences(result)
    yield lead
    cover = result.readings.is_cover
    tables = [
        tell.Table(
            f"Readings forecast from the visits before them: {what}",
            COLUMNS.format(unit=unit).split(" | "),
            _scores(result, digits, rows),
            ["readings"],
        )
        for what, unit, digits, rows in (("height", "cm", 2, ~cover), ("cover", "points", 1, cover))
        if rows.any()
    ]
    yield tables[0]
    yield from tell.some_sentences(others)
    yield from tables[1:]


def too_few_words(result: BacktestResult) -> str:
    """Say why nothing can be said."""
    forecast = int(result.model.made.sum())
    return (
        "Too few visits to say how often forecasts are right: "
        f"{tell.count_of(forecast, 'reading')} could be forecast from earlier visits, and "
        f"{LEAST_READINGS} are needed. Log heights before cutting (before_cm): with "
        f"{tell.count_of(result.visit_days, 'visit day')} in the log, the first third is only "
        "learnt from."
    )


def _scores(result: BacktestResult, digits: int, rows: BoolArray) -> list[list[str]]:
    lines = []
    for name in (None, *(name for name in NAMES if name in result.baselines)):
        scores = result.scores(name, rows)
        line = [
            "growthcast" if name is None else NAMES[name],
            str(scores.n),
            f"{scores.mae_cm:.{digits}f}",
            f"{scores.crps_cm:.{digits}f}",
            tell.percent(scores.crps_share, 1),
            f"{100 * scores.coverage_80:.0f} of 100",
        ]
        scored = scores.n > 0 and (name is None or name in result.compared)
        lines.append(line if scored else [*line[:2], *4 * "-"])
    return lines


def _sentences(result: BacktestResult) -> Iterator[str]:
    scores, readings = result.scores_of_all(), result.readings
    first, last = (tell.full_date_words(as_date(result.split_days[n])) for n in (0, -1))
    counted = (
        f"{tell.count_of(scores.n, 'reading')} on {tell.count_of(readings.visits, 'tank visit')}, "
        "each forecast from the book as it was before one of "
        f"{tell.count_of(len(result.split_days), 'day')} between {first} and "
        f"{last}.{_side_by_side(result)}"
    )
    if "own_log" in result.baselines:
        yield from _new_tanks(result)
        yield counted
        return
    held = [f"{100 * c:.0f}" for c in (scores.coverage_80, scores.coverage_50, scores.coverage_90)]
    yield tell.sentence("backtest_held", eighty=held[0], fifty=held[1], ninety=held[2])
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


def _new_tanks(result: BacktestResult) -> Iterator[str]:
    """Say how good forecasts are for a tank whose log is not known yet."""
    without, own, table = (result.scores(name) for name in (None, "own_log", "table_only"))
    error = [tell.percent(one.crps_share, 1) for one in (without, own, table)]
    held = [f"{100 * one.coverage_80:.0f}" for one in (without, own, table)]
    yield (
        "Each tank was forecast as a new client's is: of its log nothing was known but the height "
        f"each area last stood at. The error (CRPS) was then {error[0]} of the height budget; with "
        f"the tank's own log it is {error[1]}, by the species table alone {error[2]}. 8 of 10 "
        f"ranges held {held[0]}, {held[1]} and {held[2]} of 100 times."
    )
    yield _bias(without.bias_share)


def _side_by_side(result: BacktestResult) -> str:
    """Say on how many readings all ways are scored, and which ways are not."""
    compared, every = result.scores().n, int(result.model.made.sum())
    said = ""
    if compared < every:
        said = f" The tables compare the {compared} of them that every way could forecast."
    for name in result.baselines:
        if name not in result.compared:
            count = result.scores(name).n
            said += f" The {NAMES[name]} could forecast {count}, too few to be compared."
    return said


def _bias(share: float) -> str:
    if abs(share) < 0.01:
        return "Forecasts ran neither high nor low."
    side = "high" if share > 0 else "low"
    return f"Forecasts ran {side} by {tell.percent(abs(share))} of the height budget on average."


def _against(result: BacktestResult) -> Iterator[str]:
    """Say which baselines forecast better or worse than the model, by how much and how surely."""
    mine, beaten = result.scores(), []
    for name in result.compared if mine.n else ():
        theirs = result.scores(name).crps_share
        clear = abs(mine.crps_share - theirs) > 2.0 * result.standard_error(name)
        what = "a straight line" if name == "line" else f"the {NAMES[name]}"
        if theirs < mine.crps_share:
            doubt = "" if clear else "; the difference may be chance"
            yield (
                f"{what[0].upper()}{what[1:]} forecast this book better than growthcast: CRPS "
                f"{tell.percent(theirs, 1)} of the budget against "
                f"{tell.percent(mine.crps_share, 1)} on {tell.count_of(mine.n, 'reading')}{doubt}."
            )
            continue
        doubt = "" if clear else ", which may be chance"
        beaten.append(
            f"{tell.percent(1.0 - mine.crps_share / theirs)} smaller than by {what}{doubt}"
        )
    if beaten:
        yield f"On the same readings the error (CRPS) was {'; '.join(beaten)}."


def _crossing(result: BacktestResult) -> str:
    found = result.crossings
    if found is None:
        return "No area passed its budget between two readings, so no crossing date was tested."
    late, off = found.median_d, found.median_abs_d
    if late is None or off is None:
        return f"None of {tell.count_of(found.n, 'crossing')} of a budget was foreseen."
    side = f"{_days(late)} too {'late' if late > 0 else 'early'}" if late else "the right day"
    missed = f" ({found.not_foreseen} not foreseen)" if found.not_foreseen else ""
    return (
        f"Budgets were passed between two readings {tell.count_of(found.n, 'time')}: the forecast "
        f"date was {side} in the middle case and {_days(off)} off{missed}. The true day is taken "
        "from the growth curve through both readings; only areas found over count, which shows "
        "late dates more than early ones."
    )


def _widening(result: BacktestResult) -> str:
    """Say by how much forecasts should be widened, and what that would have done so far."""
    factor, trial = result.recalibration().factor, result.trial()
    if abs(factor - result.applied_widening) < WORTH_WIDENING and result.applied_widening != 1.0:
        return tell.sentence("backtest_widened", factor=factor, applied=result.applied_widening)
    if abs(factor - 1.0) < WORTH_WIDENING:
        return "By these readings the spread of forecast heights is about right."
    said = tell.sentence("backtest_widen", way="narrow" if factor > 1.0 else "wide", factor=factor)
    if trial is None or trial.n < LEAST_READINGS:
        return said + "."
    return (
        f"{said}. Learnt and applied as the log grew, 8 of 10 ranges would have held "
        f"{100 * trial.coverage_80_widened:.0f} of 100 times instead of "
        f"{100 * trial.coverage_80:.0f} ({tell.count_of(trial.n, 'reading')})."
    )


def _days(number: float) -> str:
    """Return a median of days, halves of days too, without its sign."""
    return "1 day" if abs(number) == 1 else f"{abs(number):g} days"
