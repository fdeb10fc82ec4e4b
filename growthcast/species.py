"""The species table as the growth model sees it, and what stands beside it in ``species/``.

The table and its neighbours are files that ship: ``species.csv`` (made by ``build.py`` from
``facts.csv``), ``reference.toml`` (the conditions its rates hold under), ``forms.toml`` (what is
the same for a whole growth form) and ``SOURCES.md`` (where every value comes from).
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import fields
from functools import cache
from typing import Any

import numpy as np

from growthcast.arrays import BoolArray, FloatArray, TextArray
from growthcast.book.book import Table
from growthcast.book.files import shipped_species_dir
from growthcast.growth.responses import TRAITS
from growthcast.nouns import dataclass

OPEN_TANK_CEILING_CM = 45.0
"""Ceiling of a plant that reaches the surface where no tank is named: a common water depth."""


@dataclass(frozen=True, slots=True)
class SpeciesPriors:
    """What is believed of each species before any log: arrays (S,), in the table's order.

    For a species measured by cover (``measure_is_cover``) every ``..._cm`` is percent cover and
    ``density_g_l`` is grams per dm² at full cover. ``shape`` and ``shape_spread`` belong to the
    species' form. ``traits`` are the columns by which a plant answers to
    its conditions, by name. ``least_nutrient`` is the response to nutrients that the substrate
    leaves it at the least.
    """

    species_id: TextArray
    form: TextArray
    measure_is_cover: BoolArray
    rate_per_day: FloatArray
    rate_spread: FloatArray
    ceiling_cm: FloatArray
    ceiling_spread: FloatArray
    reaches_surface: BoolArray
    traits: Mapping[str, FloatArray]
    least_nutrient: FloatArray
    density_g_l: FloatArray
    lowest_cut_cm: FloatArray
    settle_d: FloatArray
    pause_d: FloatArray
    shape: FloatArray
    shape_spread: FloatArray
    common_name: TextArray
    scientific_name: TextArray
    caution: TextArray
    needs_co2: TextArray


@dataclass(frozen=True, slots=True)
class Reference:
    """The conditions under which the table's rates hold, and the doubt of not knowing them.

    ``conditions`` are by column name. ``unknown_spread`` is, for each of the responses, a log
    standard deviation of the rate; that of nutrients counts once for each nutrient that a book does
    not give. ``none_added_co2_mg_l`` is the CO2 where none is added, ``none_added_co2_spread`` its
    log standard deviation. ``start_factor`` is how many times the table's days of settling plants
    take, by how they came. ``substrate`` has the forms that root in it, their plants without roots
    and the growth that it leaves at the least. ``keeping_bans`` have the countries, plants and
    caution of each, ``places`` the forms and ceilings [cm] of plants for each place of a tank.
    """

    conditions: Mapping[str, float]
    unknown_spread: Mapping[str, float]
    start_factor: Mapping[str, float]
    substrate: Mapping[str, Any]
    keeping_bans: Sequence[Mapping[str, Any]]
    places: Mapping[str, Mapping[str, Any]]
    none_added_co2_mg_l: float
    none_added_co2_spread: float


@dataclass(frozen=True, slots=True)
class FormDefaults:
    """A growth form: the bend of its curve, what a cut costs it, the minutes of trimming it."""

    shape: float
    shape_spread: float
    lag_spread_d: float
    settle_spread: float
    set_up_min: float
    min_per_l: float
    min_per_dm2: float


def species_priors(table: Table, locale: str = "") -> SpeciesPriors:
    """Return the species table as arrays, with the values of each species' form beside it.

    Plants that are banned from keeping in the country of a locale ("de-DE") have that as their
    caution.
    """
    forms, substrate = read_forms(), read_reference().substrate
    rooted = np.isin(table.text("form").tolist(), substrate["forms"])
    rooted &= ~np.isin(table.text("species_id").tolist(), substrate["rootless"])
    of_row = [forms[name] for name in table.text("form").tolist()]
    values: dict[str, Any] = {
        "measure_is_cover": np.asarray(table.text("measure") == "cover_pct", dtype=np.bool_),
        "reaches_surface": table.flag("reaches_surface"),
        "traits": {name: table.number(name) for name in TRAITS},
        "least_nutrient": np.where(rooted, substrate["least_nutrient_share"], 0.0),
        "shape": np.array([form.shape for form in of_row], np.float64),
        "shape_spread": np.array([form.shape_spread for form in of_row], np.float64),
    }
    for name in (field.name for field in fields(SpeciesPriors) if field.name not in values):
        values[name] = table.columns[name]
    for ban in read_reference().keeping_bans:
        if locale.rpartition("-")[2] in ban["countries"]:
            banned = np.isin(values["species_id"], ban["plants"])
            values["caution"] = np.where(banned, ban["caution"], values["caution"])
    return SpeciesPriors(**values)


@cache  # asked for once a tank
def read_reference() -> Reference:
    """Return the reference conditions that ship with the table."""
    read = _read_toml("reference.toml")
    none_added = {f"none_added_{name}": value for name, value in read["none_added"].items()}
    beside = read["start"], read["substrate"], read["keeping_ban"], read["place"]
    return Reference(read["conditions"], read["unknown"], *beside, **none_added)


@cache  # asked for at every reading of the minutes
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
    return 7.0 * priors.rate_per_day * ceiling / 4.0


def light_word(light_k_umol: float) -> str:
    """Return how much light a plant asks for, in the words of the trade."""
    if light_k_umol <= 45.0:
        return "low"
    return "medium" if light_k_umol <= 70.0 else "high"


def _read_toml(name: str) -> dict[str, Any]:
    with (shipped_species_dir() / name).open("rb") as file:
        return tomllib.load(file)
