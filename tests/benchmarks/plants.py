"""Print the growth that the species table predicts beside figures that were published or told.

Run ``python -m tests.benchmarks.plants``. The figures and their sources stand in
``tests/references/data/growth_figures.csv``; where a figure comes from a trial whose conditions are
told, the table's rate is brought there by the plant's responses, and what is not told widens the
range as it does for a book that does not give it. A figure is of one tank and one stand, which the
model takes to differ from others. Then comes what shade does. ``docs/evidence.md`` quotes both.
"""

from __future__ import annotations

import csv
import importlib.util
import math
from collections.abc import Iterator, Mapping
from pathlib import Path
from statistics import NormalDist
from types import ModuleType
from typing import NamedTuple

from growthcast.book.files import shipped_species_dir
from growthcast.fit.model.spreads import Spreads
from growthcast.growth.logistic import rate_from_speed, stage
from growthcast.growth.responses import CONDITIONS, TRAITS, combined_response, light_response
from growthcast.species import OPEN_TANK_CEILING_CM, read_reference

FIGURES = Path(__file__).parents[1] / "references" / "data" / "growth_figures.csv"
ONE_STAND = Spreads()
OF_TEN = NormalDist().inv_cdf(0.9)
"""Standard deviations to either side of the middle that hold 8 values of 10."""

Row = Mapping[str, str]


class Comparison(NamedTuple):
    """A figure as a rate at its own conditions [1/day], and what the table predicts there."""

    row: Row
    seen_per_day: float
    predicted_per_day: float
    spread: float  # log standard deviation of the prediction

    @property
    def inside(self) -> bool:
        """Whether the figure lies in the predicted range that holds 8 of 10."""
        return abs(math.log(self.seen_per_day / self.predicted_per_day)) <= OF_TEN * self.spread

    @property
    def counts(self) -> bool:
        """Whether the table does not rest on the figure, which is more than a lower bound."""
        return self.row["used"] != "yes" and self.row["what"] != "at_least_per_day"


def comparisons() -> Iterator[Comparison]:
    """Return every figure beside the table's prediction, in the order of the file."""
    plants = {row["species_id"]: row for row in _rows(shipped_species_dir() / "species.csv")}
    facts = {row["species_id"]: row for row in _rows(shipped_species_dir() / "facts.csv")}
    build, reference = _build(), read_reference()
    for row in _rows(FIGURES):
        plant = plants[row["species_id"]]
        at = {name: float(row.get(name) or math.nan) for name in CONDITIONS}
        traits = {name: float(plant[name]) for name in TRAITS}
        factor = float(combined_response(at, traits, reference.conditions))
        silent = {
            "light": not (row["ppfd_umol"] and row["photoperiod_h"]),
            "co2": not row["co2_mg_l"] and plant["form"] != "floating",
            "temperature": not row["temperature_c"],
        }
        doubts = (reference.unknown_spread[name] for name, blank in silent.items() if blank)
        seen = [
            _as_rate(row, float(row[end]), plant, build.typical_area(facts[row["species_id"]]))
            for end in ("low", "high")
        ]
        yield Comparison(
            row,
            math.sqrt(math.prod(seen)),
            float(plant["rate_per_day"]) * factor,
            math.hypot(float(plant["rate_spread"]), ONE_STAND.tank, ONE_STAND.area, *doubts),
        )


def _as_rate(row: Row, value: float, plant: Row, typical: tuple[float, float, float]) -> float:
    """Return the rate [1/day] of the logistic that a figure stands for."""
    what, surface = row["what"], plant["reaches_surface"] == "true"
    ceiling_cm = OPEN_TANK_CEILING_CM if surface else float(plant["ceiling_cm"])
    ceiling_cm = float(row["ceiling_cm"] or ceiling_cm)
    lowest_cm = float(plant["lowest_cut_cm"])
    if what in ("rate_per_day", "at_least_per_day"):
        return value
    if what == "doubling_d":
        return math.log(2.0) / value
    if what == "fastest_cm_wk":
        return float(rate_from_speed(value, ceiling_cm))
    begun, until, ceiling = {
        "weeks_to_trim": typical,
        "weeks_from_gravel_to_surface": (lowest_cm, 0.95 * ceiling_cm, ceiling_cm),
    }[what]
    return float(stage(until, ceiling) - stage(begun, ceiling)) / (7.0 * value)


def shaded(species_id: str, open_umol: float, cover: float) -> tuple[float, float]:
    """Growth in weight and in height below floating plants, as a share of that in the open."""
    [plant] = [
        row
        for row in _rows(shipped_species_dir() / "species.csv")
        if row["species_id"] == species_id
    ]
    light_k, floor, respiration = (
        float(plant[name]) for name in ("light_k_umol", "light_floor", "respiration_share")
    )

    def share(floor: float) -> float:
        under, lit = (
            float(light_response(umol, 8.0, light_k, floor, respiration, 100.0, 8.0))
            for umol in (open_umol * (1.0 - cover), open_umol)
        )
        return under / lit

    return share(0.0), share(floor)


def _rows(path: Path) -> list[dict[str, str]]:
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def _build() -> ModuleType:
    """Return species/build.py, which knows a typical area of each plant."""
    spec = importlib.util.spec_from_file_location("build", shipped_species_dir() / "build.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


if __name__ == "__main__":
    print(f"{'plant':24}{'figure':36}{'as a rate':>10}{'predicted':>10}  8 of 10")
    found = list(comparisons())
    for one in found:
        row, wide = one.row, OF_TEN * one.spread
        low, high = (one.predicted_per_day * math.exp(side * wide) for side in (-1, 1))
        ends = dict.fromkeys((row["low"], row["high"]))
        figure = f"{row['what']} {' to '.join(ends)}"
        mark = "  (a lower bound)" if not one.counts else "" if one.inside else "  outside"
        note = "  (the table rests on it)" if row["used"] == "yes" else mark
        numbers = f"{one.seen_per_day:10.3f}{one.predicted_per_day:10.3f}"
        print(f"{row['species_id']:24}{figure:36}{numbers}  {low:.3f} to {high:.3f}{note}")
    others = [one.inside for one in found if one.counts]
    untouched = [one.inside for one in found if one.counts and one.row["used"] == "no"]
    print(f"{sum(others)} of {len(others)} other figures lie inside the stated range")
    print(f"{sum(untouched)} of {len(untouched)} for which no row of the table was widened")
    print("\ngrowth under a third of cover, in weight and in height, by light in the open")
    for name in ("elodea-canadensis", "ceratophyllum-demersum"):
        for umol in (20.0, 30.0, 50.0, 100.0):
            weight, height = shaded(name, umol, 0.33)
            print(f"{name:24}{umol:4.0f} umol: {weight:.2f} {height:.2f}")
