"""The species table as the growth model sees it, and what stands beside it in ``species/``.

The table and its neighbours are files that ship: ``species.csv`` (made by ``build.py`` from
``facts.csv``), ``reference.toml`` (the conditions its rates hold under), ``forms.toml`` (what is
the same for a whole growth form) and ``SOURCES.md`` (where every value comes from).
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from typing import Any

import numpy as np

from growthcast.arrays import BoolArray, FloatArray, TextArray
from growthcast.book.book import Table
from growthcast.book.shipped import shipped_species_dir

__all__ = [
    "OPEN_TANK_CEILING_CM",
    "FormDefaults",
    "Reference",
    "SpeciesPriors",
    "estimated_columns",
    "fastest_cm_per_week",
    "light_word",
    "read_forms",
    "read_reference",
    "read_sources",
    "species_priors",
]


OPEN_TANK_CEILING_CM = 45.0
"""Ceiling of a plant that reaches the surface where no tank is named: a common water depth."""


@dataclass(frozen=True, slots=True)
class SpeciesPriors:
    """What is believed of each species before any log: arrays (S,), in the table's order.

    For a species measured by cover (``measure_is_cover``) every ``..._cm`` is percent cover and
    ``density_g_l`` is grams per dm² at full cover. ``shape``, ``shape_spread``, ``lag_spread_d`` (spread
    of the days of growth lost after a cut) and the minutes of trimming belong to the species' form.
    """

    species_id: TextArray
    form: TextArray
    measure_is_cover: BoolArray
    rate_per_day: FloatArray
    rate_spread: FloatArray
    ceiling_cm: FloatArray
    ceiling_spread: FloatArray
    reaches_surface: BoolArray
    light_k_umol: FloatArray
    light_floor: FloatArray
    respiration_share: FloatArray
    co2_k_mg_l: FloatArray
    n_k_mg_l: FloatArray
    p_k_mg_l: FloatArray
    k_k_mg_l: FloatArray
    temp_min_c: FloatArray
    temp_opt_c: FloatArray
    temp_max_c: FloatArray
    density_g_l: FloatArray
    lowest_cut_cm: FloatArray
    settle_d: FloatArray
    pause_d: FloatArray
    shape: FloatArray
    shape_spread: FloatArray
    lag_spread_d: FloatArray
    set_up_min: FloatArray
    min_per_l: FloatArray
    min_per_dm2: FloatArray
    common_name: TextArray
    scientific_name: TextArray
    caution: TextArray
    basis: TextArray
    needs_co2: TextArray


@dataclass(frozen=True, slots=True)
class Reference:
    """The conditions under which the table's rates hold, and the doubt of not knowing them.

    Each ``unknown_..._spread`` is a log standard deviation of the rate; the nutrient one counts
    once for each nutrient that a book does not give. ``none_added_co2_mg_l`` is the CO2 where none
    is added, ``none_added_co2_spread`` its log standard deviation.
    """

    ppfd_umol: float
    photoperiod_h: float
    co2_mg_l: float
    no3_mg_l: float
    po4_mg_l: float
    k_mg_l: float
    fe_mg_l: float
    temperature_c: float
    unknown_light_spread: float = 0.25
    unknown_co2_spread: float = 0.25
    unknown_nutrient_spread: float = 0.1
    unknown_temperature_spread: float = 0.1
    none_added_co2_mg_l: float = 3.0
    none_added_co2_spread: float = 0.36


@dataclass(frozen=True, slots=True)
class FormDefaults:
    """A growth form: the bend of its curve, what a cut costs it, the minutes of trimming it."""

    shape: float
    shape_spread: float
    lag_spread_d: float
    set_up_min: float
    min_per_l: float
    min_per_dm2: float


def species_priors(table: Table) -> SpeciesPriors:
    """Return the species table as arrays, with the values of each species' form beside it."""
    number, text = table.number, table.text
    defaults = read_forms()
    of_row = [defaults[name] for name in text("form").tolist()]

    def of_form(name: str) -> FloatArray:
        return np.array([getattr(form, name) for form in of_row], dtype=np.float64)

    return SpeciesPriors(
        measure_is_cover=np.asarray(text("measure") == "cover_pct", dtype=np.bool_),
        reaches_surface=table.flag("reaches_surface"),
        species_id=text("species_id"),
        form=text("form"),
        common_name=text("common_name"),
        scientific_name=text("scientific_name"),
        caution=text("caution"),
        basis=text("basis"),
        needs_co2=text("needs_co2"),
        rate_per_day=number("rate_per_day"),
        rate_spread=number("rate_spread"),
        ceiling_cm=number("ceiling_cm"),
        ceiling_spread=number("ceiling_spread"),
        light_k_umol=number("light_k_umol"),
        light_floor=number("light_floor"),
        respiration_share=number("respiration_share"),
        co2_k_mg_l=number("co2_k_mg_l"),
        n_k_mg_l=number("n_k_mg_l"),
        p_k_mg_l=number("p_k_mg_l"),
        k_k_mg_l=number("k_k_mg_l"),
        temp_min_c=number("temp_min_c"),
        temp_opt_c=number("temp_opt_c"),
        temp_max_c=number("temp_max_c"),
        density_g_l=number("density_g_l"),
        lowest_cut_cm=number("lowest_cut_cm"),
        settle_d=number("settle_d"),
        pause_d=number("pause_d"),
        shape=of_form("shape"),
        shape_spread=of_form("shape_spread"),
        lag_spread_d=of_form("lag_spread_d"),
        set_up_min=of_form("set_up_min"),
        min_per_l=of_form("min_per_l"),
        min_per_dm2=of_form("min_per_dm2"),
    )


@cache  # asked for once a tank
def read_reference() -> Reference:
    """Return the reference conditions that ship with the table."""
    read = _read_toml("reference.toml")
    beside = {
        f"{section}_{name}": value
        for section in ("unknown", "none_added")
        for name, value in read[section].items()
    }
    return Reference(**read["conditions"], **beside)


def read_forms() -> Mapping[str, FormDefaults]:
    """Return the defaults of every growth form."""
    return {name: FormDefaults(**values) for name, values in _read_toml("forms.toml").items()}


def read_sources() -> Mapping[str, str]:
    """Return the sources by key, each as one paragraph of plain text."""
    text = (shipped_species_dir() / "SOURCES.md").read_text(encoding="utf-8")
    parts = re.split(r"^### (\S+)\n", text, flags=re.MULTILINE)
    bodies = (re.split(r"^## ", body, maxsplit=1, flags=re.MULTILINE)[0] for body in parts[2::2])
    return {
        key: " ".join(body.replace("`", "").split())
        for key, body in zip(parts[1::2], bodies, strict=True)
    }


def estimated_columns(shipped: Table) -> Mapping[str, frozenset[str]]:
    """Return, for each species that ships, the columns whose value is an estimate."""
    listed = shipped.extra["estimated"]
    ids = shipped.text("species_id").tolist()
    return {
        name: frozenset(filter(None, cell.split(";")))
        for name, cell in zip(ids, listed, strict=True)
    }


def fastest_cm_per_week(priors: SpeciesPriors) -> FloatArray:
    """Return each species' fastest growth under reference conditions.

    Parameters
    ----------
    priors : SpeciesPriors
        The species, arrays (S,).

    Returns
    -------
    ndarray of float, shape (S,)
        Growth at half of the ceiling [cm/week, or points of cover a week]. The ceiling of a plant
        that reaches the surface is ``OPEN_TANK_CEILING_CM``.

    Notes
    -----
    ``7 r K / 4``: the fastest growth of the logistic.
    """
    ceiling = np.where(priors.reaches_surface, OPEN_TANK_CEILING_CM, priors.ceiling_cm)
    fastest: FloatArray = 7.0 * priors.rate_per_day * ceiling / 4.0
    return fastest


def light_word(light_k_umol: float) -> str:
    """Return how much light a plant asks for, in the words of the trade."""
    if light_k_umol <= 45.0:
        return "low"
    return "medium" if light_k_umol <= 70.0 else "high"


def _read_toml(name: str) -> dict[str, Any]:
    with (shipped_species_dir() / name).open("rb") as file:
        return tomllib.load(file)
