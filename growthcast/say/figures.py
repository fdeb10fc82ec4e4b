"""What is said of a picture: conclusion and key beside it, and the words for those who hear it."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

from growthcast.forecast.report import AreaForecast, as_date
from growthcast.forecast.verdict import BacktestResult
from growthcast.nouns import dataclass
from growthcast.say.forecast import conclusion, first_to_pass, unit
from growthcast.say.plants import days_text, plant_name
from growthcast.say.watch import finding_name, finding_sentence, tank_sentence
from growthcast.say.words import day_words, days_in_words, full_date_words, percent, sentence
from growthcast.service.rescape.layouts import LayoutAdvice
from growthcast.service.rescape.plants import PlantAdvice
from growthcast.service.watch.watch import Finding, WatchReport

FAR_OFF = 0.03
"""How far from one half the share of readings above the middle is worth a word."""


@dataclass(frozen=True, slots=True)
class Caption:
    """The conclusion and the key beside a picture; title and description for those who hear it."""

    title: str
    conclusion: str
    key: str
    description: str


AS_IT_IS_KEY = " Grey, dashes and dots: most likely as it is."


def forecast_caption(
    tank: str,
    names: Sequence[str],
    areas: Sequence[AreaForecast],
    sentences: Sequence[str],
    on: date,
    horizon_d: int,
    supposing: str = "",
) -> Caption:
    """Return which area of a tank passes its budget first, and the sentences of its areas.

    ``supposing`` is a sentence about what is supposed, "" for nothing.
    """
    whole = f"Tank {tank}: {_who_passes(names, areas, on, horizon_d)}"
    given = f"As if nothing more is cut from {full_date_words(on)} on."
    whole = " ".join(part for part in (whole, supposing, given) if part)
    told = " ".join([whole, *sentences])
    key = sentence("forecast_key") + (AS_IT_IS_KEY if supposing else "")
    return Caption(f"Height forecast of tank {tank}", whole, key, told)


def _who_passes(
    names: Sequence[str], areas: Sequence[AreaForecast], on: date, horizon_d: int
) -> str:
    """Return which area passes its budget first, and when."""
    within = f"within {days_in_words(horizon_d)}"
    first = first_to_pass(areas)
    if first is None:
        closest = [i for i, area in enumerate(areas) if area.passes_budget_on[0] is not None]
        if not closest:
            whole = "its one area stays" if len(areas) == 1 else f"all {len(areas)} areas stay"
            return f"{whole} below budget {within}, 9 times in 10."
        soonest = min(closest, key=lambda i: areas[i].passes_budget_on[0] or date.max)
        said = conclusion(areas[soonest], on, horizon_d)
        return f"no area is likely to pass {within}; {names[soonest]} {said}."
    said = conclusion(areas[first], on, horizon_d)
    begins = areas[first].passes_budget_on[1]
    sure = "; the dates in brackets hold 8 times in 10" if begins and begins > on else ""
    if len(areas) == 1:
        return f"{names[first]} {said}{sure}."
    passing = sum(area.passes_budget_on[1] is not None for area in areas)
    many = f"All of its {len(areas)}" if passing == len(areas) else f"{passing} of its {len(areas)}"
    verb = "passes" if passing == 1 else "pass"
    return f"{names[first]} is first: it {said}{sure}. {many} areas likely {verb} {within}."


def last_reading_words(
    area: AreaForecast, last: tuple[float, float, bool] | None, shown_d: int, on: date
) -> str:
    """Return the last reading (its day number, its height, whether after a cut) of an area."""
    if last is None:
        return f"no height logged in the {shown_d} days before {day_words(on, on)}"
    day, height, cut = last
    how = "left" if cut else "measured"
    return f"{how} at {height:g} {unit(area)} on {day_words(as_date(day), on)}"


def backtest_caption(result: BacktestResult, low: float, high: float) -> Caption:
    """Return whether ranges held, and on which side readings fell.

    ``low`` and ``high`` are the shares between which ranges of true 80 % hold readings.
    """
    scores = result.scores_of_all()
    if scores.coverage_80 < low:
        said = "less often than they should, so forecasts were too sure"
    elif scores.coverage_80 > high:
        said = "more often than they should, so forecasts were less sure than they could be"
    else:
        said = "as often as they should, give or take chance"
    whole = (
        f"Ranges that should hold 8 of 10 readings held {100 * scores.coverage_80:.0f} of 100 "
        f"({scores.n} readings): {said}."
    )
    above = float((result.pit() > 0.5).mean())
    if abs(above - 0.5) > FAR_OFF:
        more, where = (above, "above") if above > 0.5 else (1.0 - above, "below")
        whole += f" {100 * more:.0f} of 100 readings lay {where} the middle of their forecast."
    covered = {50: scores.coverage_50, 80: scores.coverage_80, 90: scores.coverage_90}
    held = ", ".join(
        f"{stated} % ranges held {percent(share)}" for stated, share in covered.items()
    )
    counts = ", ".join(str(count) for count in result.pit_counts())
    told = f"{whole} {held}. Readings by tenth of their forecast, from low: {counts}."
    return Caption("How often forecasts were right", whole, sentence("backtest_key"), told)


def watch_caption(report: WatchReport, left_out: int) -> Caption:
    """Return who needs a look, and since when; ``left_out`` tanks as usual are not drawn."""
    drawn = [tank for tank in report.tanks if tank.course]
    if report.findings:
        said = [f"{', '.join(f.tank_ids)}: {finding_sentence(f)}" for f in report.findings[:3]]
        more = len(report.findings) - 3
        whole = "; ".join([*said, *([f"and {more} more"] if more > 0 else [])]) + "."
    else:
        many = "The tank grows" if len(drawn) == 1 else f"All {len(drawn)} tanks grow"
        whole = f"{many} as usual, as far as the visits up to {full_date_words(report.on)} tell."
    told = [whole]
    for tank in drawn:
        points = ", ".join(
            f"{day_words(point.on, report.on)} {percent(point.growth)} (usual "
            f"{100 * point.usual_low:.0f} to {percent(point.usual_high)})"
            for point in tank.course[-6:]
        )
        told.append(f"{tank.tank_id}: {tank_sentence(tank)}. Last visits: {points}.")
    key = sentence("watch_key") + (
        f" {left_out} more tanks as usual are not drawn." if left_out > 0 else ""
    )
    return Caption("Growth against usual, visit by visit", whole, key, " ".join(told))


def growth_title(findings: Sequence[Finding], on: date) -> str:
    """Return the conclusion of one tank's panel."""
    if not findings:
        return "grows as usual, as far as its visits tell"
    finding = findings[0]
    verb = "grow" if finding.kind == "species" else "grows"
    return (
        f"{finding_name(finding)} {verb} at {percent(finding.growth_share[1])} since about "
        f"{day_words(finding.since[1], on)}"
    )


def plants_caption(
    area: str, tank: str, shown: Sequence[PlantAdvice], beyond: Sequence[PlantAdvice] = ()
) -> Caption:
    """Return which plant comes first in an area, and how the one there now does.

    ``beyond`` are those that are off the scale and so not drawn.
    """
    best = next((one for one in shown if not one.is_there_now), None)
    now = next((one for one in shown if one.is_there_now), None)
    parts = []
    if best is not None and best.fits:
        days = days_text(best.own_interval_d)
        parts.append(f"{plant_name(best)} comes first, alone it would be cut every {days}")
    elif best is not None:
        parts.append("none of those compared is likely to do there")
    if now is not None and now.is_lost:
        parts.append(f"{plant_name(now)}, there now, is not likely to hold")
    elif now is not None:
        parts.append(
            f"{plant_name(now)}, there now, needs it every {days_text(now.own_interval_d)}"
        )
    rows = []
    for one in shown:
        low, middle, high = (days_text(float(days)) for days in one.days_between)
        alone = days_text(one.own_interval_d)
        rows.append(f"{plant_name(one)}: {middle} ({low} to {high}), alone every {alone}")
    whole = f"Plants for {area} in tank {tank}: {'; '.join(parts)}."
    told = f"{whole} {'; '.join(rows)}."
    key = sentence("plants_key")
    if beyond:
        key += f" Off the scale, a year or more: {', '.join(map(plant_name, beyond))}."
    return Caption(f"Plants compared for {area}", whole, key, told)


def layouts_caption(tank_id: str, advice: Sequence[LayoutAdvice]) -> Caption:
    """Return which interval each layout of a tank holds."""
    parts, rows = [], []
    for one in advice:
        days, hours = one.interval_d, one.answer.chosen.year.hours_range
        first = "" if one.limited_by is None else one.areas[one.limited_by].area_id
        if one.nothing_holds:
            parts.append(f"{one.name} holds no interval, its plants are not likely to live")
        elif days is None:
            parts.append(f"{one.name} holds no listed interval ({first} goes over first)")
        else:
            year = f"{hours.p10:.0f} to {hours.p90:.0f} h a year"
            limited = f", then {first}" if first else ""
            parts.append(f"{one.name} holds {days} days ({year}{limited})")
        options = one.answer.options
        at = [f"{percent(o.chance_at_least_cut)} at {o.interval_d} days" for o in options]
        rows.append(f"{one.name}: {', '.join(at)}")
    whole = f"Layouts of tank {tank_id}: {'; '.join(parts)}."
    told = f"{whole} {'; '.join(rows)}."
    return Caption(f"Layouts of tank {tank_id}", whole, sentence("layouts_key"), told)
