"""What is said of a picture: conclusion and key beside it, and the words for those who hear it."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

from growthcast.forecast.report import AreaForecast, as_date
from growthcast.forecast.verdict import BacktestResult
from growthcast.nouns import dataclass
from growthcast.say.forecast import Areas, conclusion, first_to_pass, unit
from growthcast.say.plants import days_text, plant_name
from growthcast.say.watch import finding_name, finding_sentence, tank_sentence
from growthcast.say.words import Names, day_words, full_date_words, sentence
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


def forecast_caption(
    tank: str, names: Names, areas: Areas, said: Names, on: date, horizon_d: int, supposing: str
) -> Caption:
    """Return which area of a tank passes its budget first, and what is ``said`` of its areas.

    ``supposing`` is a sentence about what is supposed, "" for nothing.
    """
    first = f"Tank {tank}: {_who_passes(names, areas, on, horizon_d)}"
    given = f"As if nothing more is cut from {full_date_words(on)} on."
    whole = " ".join(filter(None, [first, supposing, given]))
    told = " ".join([whole, *said])
    key = sentence("forecast_key", supposing=supposing)
    return Caption(f"Height forecast of tank {tank}", whole, key, told)


def _who_passes(names: Names, areas: Areas, on: date, horizon_d: int) -> str:
    """Return which area passes its budget first, and when."""
    first, count = first_to_pass(areas), len(areas)
    if first is None:
        closest = [i for i, area in enumerate(areas) if area.passes_budget_on[0] is not None]
        if not closest:
            return sentence("passes_below", count=count, days=horizon_d)
        soonest = min(closest, key=lambda i: areas[i].passes_budget_on[0] or date.max)
        said = conclusion(areas[soonest], on, horizon_d)
        return sentence("passes_unlikely", days=horizon_d, area=names[soonest], said=said)
    said = conclusion(areas[first], on, horizon_d)
    begins = areas[first].passes_budget_on[1]
    said += "; the dates in brackets hold 8 times in 10" if begins and begins > on else ""
    passing = sum(area.passes_budget_on[1] is not None for area in areas)
    blanks = {"area": names[first], "said": said, "passing": passing, "all": passing == count}
    return sentence("passes_first", days=horizon_d, count=count, **blanks)


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
    how = "seldom" if scores.coverage_80 < low else "often" if scores.coverage_80 > high else "well"
    above = float((result.pit() > 0.5).mean())
    lay = {"far": abs(above - 0.5) > FAR_OFF, "high": above > 0.5, "more": max(above, 1.0 - above)}
    whole = sentence("backtest_caption", scores=scores, how=sentence(f"backtest_{how}"), **lay)
    counts = ", ".join(str(count) for count in result.pit_counts())
    told = f"{whole} {sentence('backtest_told', scores=scores, counts=counts)}"
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
        each = [sentence("watch_point", point=point, on=report.on) for point in tank.course[-6:]]
        told.append(f"{tank.tank_id}: {tank_sentence(tank)}. Last visits: {', '.join(each)}.")
    key = sentence("watch_key", left_out=max(left_out, 0))
    return Caption("Growth against usual, visit by visit", whole, key, " ".join(told))


def growth_title(findings: Sequence[Finding], on: date) -> str:
    """Return the conclusion of one tank's panel."""
    if not findings:
        return "grows as usual, as far as its visits tell"
    finding = findings[0]
    return sentence("watch_title", who=finding_name(finding), finding=finding, on=on)


def plants_caption(
    area: str, tank: str, shown: Sequence[PlantAdvice], beyond: Sequence[PlantAdvice] = ()
) -> Caption:
    """Return which plant comes first in an area, and how the one there now does.

    ``beyond`` are those that are off the scale and so not drawn.
    """
    best = next((one for one in shown if not one.is_there_now), None)
    now = next((one for one in shown if one.is_there_now), None)
    said = []
    if best is not None:
        said.append(("plants_first" if best.fits else "plants_none_likely", best))
    if now is not None:
        said.append(("plants_now_lost" if now.is_lost else "plants_now", now))
    parts = [
        sentence(key, plant=plant_name(one), days=days_text(one.own_interval_d))
        for key, one in said
    ]
    rows = []
    for one in shown:
        days = [days_text(float(days)) for days in (*one.days_between, one.own_interval_d)]
        rows.append(sentence("plants_told", plant=plant_name(one), days=days))
    whole = f"Plants for {area} in tank {tank}: {'; '.join(parts)}."
    told = f"{whole} {'; '.join(rows)}."
    key = sentence("plants_key", beyond=", ".join(map(plant_name, beyond)))
    return Caption(f"Plants compared for {area}", whole, key, told)


def layouts_caption(tank_id: str, advice: Sequence[LayoutAdvice]) -> Caption:
    """Return which interval each layout of a tank holds."""
    parts, rows = [], []
    for one in advice:
        first = "" if one.limited_by is None else one.areas[one.limited_by].area_id
        how = "lost" if one.nothing_holds else "days" if one.interval_d else "none"
        parts.append(sentence(f"layout_{how}", one=one, first=first, year=one.answer.chosen.year))
        at = [sentence("layout_at", option=option) for option in one.answer.options]
        rows.append(f"{one.name}: {', '.join(at)}")
    whole = f"Layouts of tank {tank_id}: {'; '.join(parts)}."
    told = f"{whole} {'; '.join(rows)}."
    return Caption(f"Layouts of tank {tank_id}", whole, sentence("layouts_key"), told)
