"""Rates of the species table against the numbers they are said to come from.

Aponte & Pacherres 2013, Troncoso-Gomez & Aponte 2020, Madsen & Morgan 2021: Limnobium 0.1239 and
0.0785 per day, doubling in 5.7 days.
Milicevic 2023 (doi 10.2298/abs230607031m): Pistia, inflection on day 53.86, ends of the steep part
on days 32.83 and 74.89.
Nielsen & Sand-Jensen 1991, Aquat. Bot. 39: submerged species 0.007 to 0.109 per day at 15 °C.
"""

from __future__ import annotations

import csv
import math

import pytest

from growthcast.book.files import shipped_species_dir

LN2 = math.log(2.0)


@pytest.fixture(scope="module")
def rates() -> dict[str, float]:
    path = shipped_species_dir() / "species.csv"
    with path.open(encoding="utf-8", newline="") as file:
        return {row["species_id"]: float(row["rate_per_day"]) for row in csv.DictReader(file)}


def test_pistia_from_the_shape_of_its_printed_curve(rates: dict[str, float]) -> None:
    """A logistic bends most at ln(2 + sqrt 3) / r before and after its inflection."""
    for day in (32.83, 74.89):
        rate = math.log(2 + math.sqrt(3)) / abs(day - 53.86)
        assert rates["pistia-stratiotes"] == pytest.approx(rate, abs=5e-5)


def test_limnobium_holds_the_third_trial_too(rates: dict[str, float]) -> None:
    assert 0.0785 < LN2 / 5.7 < 0.1239
    assert rates["limnobium-laevigatum"] == pytest.approx(LN2 / 5.7, rel=0.25)


def test_most_submerged_rates_lie_within_the_published_range(rates: dict[str, float]) -> None:
    """Colder and uncut in the paper: nine of ten must lie in its range, widened by a third."""
    floating = {"lemna-minor", "spirodela-polyrhiza", "limnobium-laevigatum"}
    submerged = [rate for name, rate in rates.items() if name not in floating]
    inside = [0.007 / 1.33 < rate < 0.109 * 1.33 for rate in submerged]
    assert sum(inside) / len(inside) > 0.9
