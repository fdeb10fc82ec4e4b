"""Make species.csv from facts.csv: every rule from a fact to a value stands here, once.

Run ``python species/build.py`` after editing facts.csv; a test keeps the two files in step.
``python species/build.py --list`` prints what every rate means in days from cut to budget.
``facts.csv`` holds what was read or remembered about a plant; ``SOURCES.md`` explains both files.
"""

from __future__ import annotations

import csv
import io
import math
import sys
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import NamedTuple

from growthcast.book.tables import TABLES
from growthcast.growth.logistic import rate_from_speed, stage
from growthcast.growth.responses import CONDITIONS, TRAITS, combined_response, temperature_response
from growthcast.species import read_reference

FOLDER = Path(__file__).resolve().parent

COLUMNS = (*(column.name for column in TABLES["species"]), "estimated", "rate_from")

TANK_CEILING_CM = 45.0
"""Ceiling of the plants that reach the surface, in the tanks their speeds are thought of."""
TYPICAL_DEPTH_CM = 40.0
SD_OF_A_RANGE = 2 * 1.2816
"""A range is read as the middle 80 %: this many standard deviations from end to end."""
LEAST_SPREAD, MOST_SPREAD = 0.25, 0.6
UNREAD_SPREAD = 0.25
"""Added, as a variance, to the spread of a rate that rests on remembered numbers alone."""
OUT_OF_LINE = 2.0
"""A rate this many times off the middle of the usual cutting interval yields to it."""

LIGHT = {"low": (40.0, 0.08), "medium": (55.0, 0.065), "high": (90.0, 0.06)}  # I_k, respiration
CO2 = {"none": ("no", 1.5), "helpful": ("helps", 3.0), "needed": ("yes", 6.0)}
NUTRIENTS = {"low": (0.7, 0.03, 0.5), "medium": (1.5, 0.06, 1.0), "high": (3.0, 0.12, 2.0)}

STEEPEST = {"below": 1.5, "floating": 2.5}  # growth by ten degrees, as `pcditch` has it


class Form(NamedTuple):
    """What is taken to be the same for a whole form: estimates of the trade."""

    light_floor: float
    density_g_l: float
    settle_d: float
    pause_d: float
    cut_share: float  # a typical area is cut to this share of its ceiling ...
    budget_share: float  # ... and has this share as its height budget
    lowest_cut_share: float


FORMS = {
    "carpet": Form(0.10, 90.0, 18.0, 7.0, 0.25, 0.60, 0.20),
    "creeping": Form(0.20, 40.0, 12.0, 6.0, 0.30, 0.65, 0.25),
    "rosette": Form(0.20, 15.0, 25.0, 14.0, 0.45, 0.70, 0.35),
    "stem": Form(0.35, 25.0, 8.0, 5.0, 0.30, 0.60, 0.20),
    "epiphyte": Form(0.15, 30.0, 35.0, 21.0, 0.40, 0.65, 0.35),
    "moss": Form(0.15, 80.0, 18.0, 7.0, 0.30, 0.65, 0.20),
    "floating": Form(0.05, 15.0, 3.0, 0.0, 0.40, 0.80, 0.05),
}
SURFACE_AREA_CM = (10.0, 20.0)
"""Cut and height budget of a typical area of a plant that reaches the surface."""

REGULATED = {
    "": "",
    "here": "Regulated as invasive in some places: check local rules; never release trimmings.",
    "relatives": "Close relatives are regulated as invasive in some places: check local rules; "
    "never release trimmings.",
}
ALWAYS_ESTIMATED = (
    "rate_spread",
    "ceiling_spread",
    *TRAITS,
    "density_g_l",
    "settle_d",
    "pause_d",
)
EVIDENCE_SOURCE = {
    "growers": "growers-reports",
    "trade": "trade-pages",
    "memory": "common-knowledge",
}

Fact = Mapping[str, str]


def speed_to_rate(low_cm_wk: float, high_cm_wk: float, ceiling_cm: float) -> tuple[float, float]:
    """Return rate [1/day] and its log standard deviation from a range of speeds."""
    middle = math.sqrt(low_cm_wk * high_cm_wk) if low_cm_wk > 0 else high_cm_wk / 2
    return float(rate_from_speed(middle, ceiling_cm)), range_spread(low_cm_wk, high_cm_wk)


def range_spread(
    low: float, high: float, least: float = LEAST_SPREAD, most: float = MOST_SPREAD
) -> float:
    """Return the log standard deviation that a range stands for, kept between two limits."""
    if low <= 0:
        return most
    return min(max(math.log(high / low) / SD_OF_A_RANGE, least), most)


def temperatures(low_c: float, high_c: float, steepest: float) -> tuple[float, float, float]:
    """Return the lowest, best and highest temperature of growth from the range of good keeping.

    The limits lie 12 below and 9 degrees above it. The best lies 70 % up the range, or so far below
    that that from 20 degrees to the reference growth rises no more than by the factor ``steepest``
    for ten degrees, which is that of the ditch model (`pcditch`).
    """
    least_c, most_c = max(low_c - 12.0, 2.0), high_c + 9.0
    reference_c = read_reference().conditions["temperature_c"]
    best_c = low_c + 0.7 * (high_c - low_c)
    mildest = steepest ** ((20.0 - reference_c) / 10.0)
    while float(temperature_response(20.0, least_c, best_c, most_c, reference_c)) < mildest:
        best_c -= 0.05
    return least_c, round(best_c, 2), most_c


def typical_area(fact: Fact) -> tuple[float, float, float]:
    """Return cut, height budget and ceiling [cm, or % cover] of a typical area of the plant."""
    form = FORMS[fact["form"]]
    if fact["reaches_surface"] == "true":
        ceiling, cut, budget = TYPICAL_DEPTH_CM, *SURFACE_AREA_CM
    else:
        ceiling = ceiling_of(fact)
        cut, budget = form.cut_share * ceiling, form.budget_share * ceiling
    room = 1.7 if fact["reaches_surface"] == "true" else 1.4
    cut = max(cut, lowest_cut(fact))
    return cut, min(max(budget, room * cut), 0.85 * ceiling), ceiling


def days_to_budget(fact: Fact, rate_per_day: float) -> float:
    """Return the days a typical area takes from its cut to its height budget."""
    cut, budget, ceiling = typical_area(fact)
    return float(stage(budget, ceiling) - stage(cut, ceiling)) / rate_per_day


def usual_interval_d(fact: Fact) -> tuple[float, float]:
    """Return the shortest and longest usual cutting interval with CO2 and strong light [d]."""
    return 7 * float(fact["interval_low_wk"]), 7 * float(fact["interval_high_wk"])


def interval_was_read(fact: Fact) -> bool:
    """Tell whether at least one end of the cutting interval was read and not remembered."""
    return fact["interval_evidence"] in {"read", "partly"}


def ceiling_of(fact: Fact) -> float:
    """Return the ceiling [cm, or % cover]: the upper end of the reported heights."""
    return 100.0 if fact["form"] == "floating" else float(fact["height_high_cm"])


def lowest_cut(fact: Fact) -> float:
    """Return the lowest cut [cm, or % cover]: as reported, else the form's share of the ceiling."""
    own = own_values(fact).get("lowest_cut_cm", fact["lowest_cut_cm"])
    if own:
        return float(own)
    ceiling = ceiling_of(fact)
    if fact["reaches_surface"] == "true":
        ceiling = min(ceiling, TYPICAL_DEPTH_CM)
    return round(FORMS[fact["form"]].lowest_cut_share * ceiling, 1)


def own_values(fact: Fact) -> dict[str, str]:
    """Return the values that a plant has against the rule of its form or class."""
    pairs = (pair.split("=", 1) for pair in fact["own_values"].split(";") if pair)
    return {name.strip(): value.strip() for name, value in pairs}


def rate_of(fact: Fact) -> tuple[float, float, str]:
    """Return rate [1/day], its log standard deviation and what the rate was taken from."""
    if fact["rate_low_per_day"]:
        low, high = float(fact["rate_low_per_day"]), float(fact["rate_high_per_day"])
        rate, spread = math.sqrt(low * high), max(range_spread(low, high), 0.35)
        return (
            (*at_reference(fact, rate, spread), "published")
            if fact["rate_source"]
            else (rate, spread, "doubling")
        )
    ceiling = TANK_CEILING_CM if fact["reaches_surface"] == "true" else ceiling_of(fact)
    rate, spread = speed_to_rate(
        float(fact["speed_low_cm_wk"]), float(fact["speed_high_cm_wk"]), ceiling
    )
    wanted_d = math.sqrt(math.prod(usual_interval_d(fact)))
    off = days_to_budget(fact, rate) / wanted_d
    unread = 0.0 if interval_was_read(fact) else UNREAD_SPREAD
    spread = min(math.hypot(spread, math.log(off) / 2, unread), MOST_SPREAD)
    if 1 / OUT_OF_LINE <= off <= OUT_OF_LINE:
        return rate, spread, "speed"
    return days_to_budget(fact, 1.0) / wanted_d, spread, "interval"


def at_reference(fact: Fact, rate: float, spread: float) -> tuple[float, float]:
    """Return a published rate [1/day] and its log standard deviation at the reference conditions.

    The rate is divided by the plant's responses where it was measured; what the source does not
    say is taken as the reference, with the doubt that a book gets which does not give it.
    """
    measured = {name: fact.get(f"measured_{name}") for name in CONDITIONS}
    reference = read_reference()
    at = {name: float(cell) if cell else math.nan for name, cell in measured.items()}
    factor = combined_response(at, traits_of(fact), reference.conditions)
    silent = {
        "light": not (measured["ppfd_umol"] and measured["photoperiod_h"]),
        "co2": fact["form"] != "floating",
        "temperature": not measured["temperature_c"],
    }
    doubts = (reference.unknown_spread[name] for name, blank in silent.items() if blank)
    return rate / float(factor), min(math.hypot(spread, *doubts), MOST_SPREAD)


def traits_of(fact: Fact) -> dict[str, float]:
    """Return the traits by which the plant answers to its conditions, by name."""
    light_k, respiration = LIGHT[fact["light_demand"]]
    kept_c = float(fact["temp_low_c"]), float(fact["temp_high_c"])
    warmth = temperatures(*kept_c, STEEPEST["floating" if fact["form"] == "floating" else "below"])
    nutrients = NUTRIENTS[fact["nutrient_demand"]]
    values = {
        "light_k_umol": light_k,
        "light_floor": FORMS[fact["form"]].light_floor,
        "respiration_share": respiration,
        "co2_k_mg_l": 0.0 if fact["form"] == "floating" else CO2[fact["co2_demand"]][1],
        **dict(zip(("n_k_mg_l", "p_k_mg_l", "k_k_mg_l"), nutrients, strict=True)),
        **dict(zip(("temp_min_c", "temp_opt_c", "temp_max_c"), warmth, strict=True)),
    }
    own = own_values(fact)
    return {name: float(own.get(name, value)) for name, value in values.items()}


def basis_of(fact: Fact, rate_from: str) -> tuple[str, str]:
    """Return the row's basis and the key of its source."""
    if rate_from == "published":
        return "published", fact["rate_source"]
    read = rate_from == "doubling" or interval_was_read(fact)
    return ("growers" if read else "estimate"), EVIDENCE_SOURCE[fact["evidence"]]


def estimated_of(fact: Fact, rate_from: str) -> list[str]:
    """Return the names of the row's columns that are estimates."""
    names = [*ALWAYS_ESTIMATED, *(name for name in fact["from_memory"].split(";") if name)]
    if rate_from != "published":
        names.append("rate_per_day")
    if not fact["lowest_cut_cm"]:
        names.append("lowest_cut_cm")
    if fact["form"] == "floating":
        names = [name for name in names if name != "ceiling_cm"]
    read = {name for name in fact["own_read"].split(";") if name}
    return [name for name in COLUMNS if name in names and name not in read]


def row_of(fact: Fact) -> dict[str, str]:
    """Return one row of species.csv."""
    form, cover = FORMS[fact["form"]], fact["form"] == "floating"
    rate, spread, rate_from = rate_of(fact)
    basis, source = basis_of(fact, rate_from)
    needs_co2 = "no" if cover else CO2[fact["co2_demand"]][0]
    low, high = float(fact["height_low_cm"]), float(fact["height_high_cm"])
    numbers = {
        "rate_per_day": round(rate, 4),
        "rate_spread": round(spread, 2),
        "ceiling_cm": ceiling_of(fact),
        "ceiling_spread": 0.05 if cover else round(range_spread(low, high, 0.15, 0.3), 2),
        **traits_of(fact),
        "density_g_l": form.density_g_l,
        "lowest_cut_cm": lowest_cut(fact),
        "settle_d": form.settle_d,
        "pause_d": form.pause_d,
    }
    texts = {
        "measure": "cover_pct" if cover else "height_cm",
        "needs_co2": needs_co2,
        "basis": basis,
        "source": source,
        "caution": " ".join(filter(None, (fact["caution"], REGULATED[fact["regulated"]]))),
        "estimated": ";".join(estimated_of(fact, rate_from)),
        "rate_from": rate_from,
    }
    shown = {name: f"{value:.4g}" for name, value in numbers.items()}
    kept = {name: fact[name] for name in COLUMNS if name in fact}
    return {**kept, **shown, **texts, **own_values(fact)}


def read_facts() -> list[dict[str, str]]:
    """Return the rows of facts.csv."""
    with (FOLDER / "facts.csv").open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def table(facts: Iterable[Fact]) -> str:
    """Return the text of species.csv."""
    out = io.StringIO()
    writer = csv.DictWriter(out, COLUMNS, lineterminator="\n")
    writer.writeheader()
    writer.writerows(row_of(fact) for fact in facts)
    return out.getvalue()


def listing(facts: Iterable[Fact]) -> str:
    """Return, for every plant, the days from cut to budget beside the usual interval."""
    lines = [f"{'species_id':34}{'rate from':>10}{'per day':>9}{'days':>6}  usual days"]
    for fact in facts:
        rate, _, rate_from = rate_of(fact)
        low, high = usual_interval_d(fact)
        days = days_to_budget(fact, rate)
        name = fact["species_id"]
        lines.append(f"{name:34}{rate_from:>10}{rate:9.4f}{days:6.0f}  {low:.0f} to {high:.0f}")
    return "\n".join(lines) + "\n"


if __name__ == "__main__":
    if sys.argv[1:] == ["--list"]:
        sys.stdout.write(listing(read_facts()))
    else:
        (FOLDER / "species.csv").write_text(table(read_facts()), encoding="utf-8", newline="")
