"""Every table and column of a book, and every key of its practice.toml, declared once."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType
from typing import Any

from growthcast.book.columns import WEEKDAYS, Column


def _id(name: str, meaning: str, *, required: bool = True) -> Column:
    return Column(name, "id", meaning, required=required)


def _date(name: str, meaning: str, *, required: bool = False) -> Column:
    return Column(name, "date", meaning, required=required)


def _choice(name: str, meaning: str, *choices: str) -> Column:
    return Column(name, "choice", meaning, choices=choices)


def _number(
    name: str, unit: str, low: float, high: float | None, meaning: str, **more: Any
) -> Column:
    return Column(name, "number", meaning, unit, low, high, **more)


_NOTE = Column("note", "text", "anything else")

_TANKS = (
    _id("tank_id", "the tank's own id"),
    Column("client", "text", "whose tank it is"),
    Column("name", "text", "what the client calls it: Your tank in the entrance hall"),
    Column("site", "text", "where it stands"),
    _number("length_cm", "cm", 0, 2000, "inner length", above=True),
    _number("width_cm", "cm", 0, 2000, "inner width", above=True),
    _number("water_depth_cm", "cm", 0, 300, "water above the substrate", required=True, above=True),
    _choice("front", "its front pane; photos are measured through a flat one", "flat", "curved"),
    _number("fixed_min", "min", 0, 1440, "minutes at the tank before any trimming"),
    _number("travel_min", "min", 0, 1440, "minutes of travel for one visit"),
    _number("longest_interval_d", "d", 1, 365, "cap on the interval, plants aside", whole=True),
    Column("longest_interval_reason", "text", "what that cap is for, as the client reads it"),
    _number("confidence", "share", 0.5, 0.99, "wanted chance that all areas stay inside"),
    _choice("visit_weekday", "the weekday its client insists on", *WEEKDAYS),
    _NOTE,
)

_AREAS = (
    _id("area_id", "the planted area's own id"),
    _id("tank_id", "the tank it is in"),
    Column("label", "text", "what people call it"),
    _id("species_id", "what grows there"),
    _number("area_cm2", "cm2", 0, 1_000_000, "planted ground", required=True, above=True),
    _number("floor_cm", "cm", 0, 300, "lowest height that looks right", required=True),
    _number("budget_cm", "cm", 0, 300, "the height budget", required=True, above=True),
    _number("cut_cm", "cm", 0, 300, "the usual cut height"),
    _number("light_share", "share", 0, 1, "share of the substrate light that reaches it"),
    _number("depth_cm", "cm", 0, 2000, "how far behind the front pane it stands, for photos"),
    _number("base_cm", "cm", 0, 300, "its ground above that at the front pane, for photos"),
    _date("planted_on", "first day of its life; blank where that was before our time"),
    _number("planted_height_cm", "cm", 0, 300, "height on that day"),
    _choice(
        "start",
        "how the plants came: grown under water, above it, in vitro, or as cut tops",
        *("submerged", "emersed", "in-vitro", "tops"),
    ),
    _choice("place", "where it stands", "front", "middle", "back", "wood", "surface"),
    _date("removed_on", "last day of its life"),
    _NOTE,
)

_TRIMS = (
    _date("date", "day of the visit", required=True),
    _id("tank_id", "the tank visited"),
    _id("area_id", "the area cut; blank for the whole tank", required=False),
    _number("before_cm", "cm", 0, 300, "height before any cut", above=True),
    _number("after_cm", "cm", 0, 300, "height after the cut"),
    _number("removed_cm", "cm", 0, 300, "length taken off"),
    _number("removed_g", "g", 0, 1_000_000, "drained mass of the trimmings"),
    _choice(
        "grams_of",
        "whose grams a row of the whole tank holds: of all areas, or of the rest, those without "
        "amounts of their own; blank as the practice reads it",
        *("all", "rest"),
    ),
    _choice("look", "how it stood before any cut, by eye", "short", "right", "over"),
    _choice("measured_by", "what read the height before; blank for a ruler", "ruler", "photo"),
    _number("before_sd_cm", "cm", 0, 100, "that reading's own standard error", above=True),
    Column("replanted", "flag", "whether the cut tops were planted in place of the old stems"),
    _number("minutes", "min", 0, 1440, "minutes of trimming"),
    _number("visit_min", "min", 0, 1440, "minutes at the tank in all, in a row of the whole tank"),
    _number("water_share", "share", 0, 1, "water changed, in a row of the whole tank"),
    Column("by", "text", "who logged it"),
    _NOTE,
)

_BOUNDS = (
    _id("area_id", "the area whose heights were agreed anew"),
    _date("from_date", "first day on which the row holds", required=True),
    _number("floor_cm", "cm", 0, 300, "lowest height that looks right"),
    _number("budget_cm", "cm", 0, 300, "the height budget", above=True),
    _number("cut_cm", "cm", 0, 300, "the usual cut height"),
    _NOTE,
)

_CONDITIONS = (
    _id("tank_id", "the tank"),
    _date("from_date", "first day on which the row holds", required=True),
    _number("ppfd_umol", "umol", 0, 3000, "light at the substrate"),
    _number("photoperiod_h", "h", 0, 24, "hours of light a day"),
    _number("co2_mg_l", "mg/l", 0, 100, "CO2; 0 where none is added"),
    _number("ph", "pH", 4, 10, "pH"),
    _number("kh_dkh", "dKH", 0, 40, "carbonate hardness"),
    _number("no3_mg_l", "mg/l", 0, 1000, "nitrate"),
    _number("po4_mg_l", "mg/l", 0, 100, "phosphate"),
    _number("k_mg_l", "mg/l", 0, 1000, "potassium"),
    _number("fe_mg_l", "mg/l", 0, 20, "iron"),
    _number("temperature_c", "c", 0, 45, "water temperature"),
    _NOTE,
)

_CLOSED = (
    Column("client", "text", "whose tanks nobody can visit"),
    _id("tank_id", "the one tank that nobody can visit", required=False),
    _date("from_date", "first day closed", required=True),
    _date("to_date", "last day closed", required=True),
    _NOTE,
)

FORMS = ("carpet", "rosette", "stem", "creeping", "epiphyte", "moss", "floating")

_SPECIES = (
    _id("species_id", "lower-case name with hyphens"),
    Column("scientific_name", "text", "botanical name"),
    Column("common_name", "text", "name in the trade"),
    Column("also_known_as", "text", "other names, botanical or common, with ; between them"),
    _choice("form", "growth form", *FORMS),
    _choice("measure", "what its heights are", "height_cm", "cover_pct"),
    _number("rate_per_day", "per day", 0, 2, "logistic rate at reference conditions", above=True),
    _number("rate_spread", "", 0, 3, "log standard deviation between tanks", above=True),
    _number("ceiling_cm", "cm", 0, 300, "height it tends to", above=True),
    _number("ceiling_spread", "", 0, 3, "log standard deviation of the ceiling", above=True),
    Column("reaches_surface", "flag", "the water depth caps it, not the table"),
    _number("light_k_umol", "umol", 0, 3000, "light at which growth bends over", above=True),
    _number("light_floor", "share", 0, 1, "share of growth in height left in deep shade"),
    _number("respiration_share", "share", 0, 1, "respiration relative to full photosynthesis"),
    _number("co2_k_mg_l", "mg/l", 0, 1000, "CO2 for half of the response"),
    _number("n_k_mg_l", "mg/l", 0, 1000, "nitrate for half of the response"),
    _number("p_k_mg_l", "mg/l", 0, 1000, "phosphate for half of the response"),
    _number("k_k_mg_l", "mg/l", 0, 1000, "potassium for half of the response"),
    _number("temp_min_c", "c", 0, 45, "no growth below"),
    _number("temp_opt_c", "c", 0, 45, "best growth at"),
    _number("temp_max_c", "c", 0, 60, "no growth above"),
    _number("density_g_l", "g/l", 0, 10_000, "drained mass of one litre of stand", above=True),
    _number("lowest_cut_cm", "cm", 0, 300, "lowest cut it stands"),
    _choice("needs_co2", "whether it needs added CO2", "no", "helps", "yes"),
    Column("cut_practice", "text", "how it is cut"),
    _number("settle_d", "d", 0, 365, "days from planting to full growth"),
    _number("pause_d", "d", 0, 365, "days without growth after a cut to the base"),
    Column("caution", "text", "what to know before selling or discarding it"),
    _choice("basis", "where the numbers come from", "published", "growers", "estimate"),
    Column("source", "text", "key into species/SOURCES.md"),
)

TABLES: Mapping[str, tuple[Column, ...]] = MappingProxyType(
    {
        "tanks": _TANKS,
        "areas": _AREAS,
        "bounds": _BOUNDS,
        "trims": _TRIMS,
        "conditions": _CONDITIONS,
        "closed": _CLOSED,
        "species": _SPECIES,
    }
)


NOT_ANSWERED = {
    "fe_mg_l": "growth is not reckoned from iron; the conditions are",
    "ph": "give the CO2 it stands for, as co2_mg_l; the conditions are",
    "kh_dkh": "give the CO2 it stands for, as co2_mg_l; the conditions are",
}
"""Conditions that nobody can suppose, and what is said instead."""
_UNITS = {"umol": "µmol", "mg/l": "mg/L", "c": "°C"}
CONDITION_WORDS: Mapping[str, tuple[str, str]] = {
    column.name: (column.meaning.partition(";")[0], _UNITS.get(column.unit, column.unit))
    for column in _CONDITIONS
    if column.kind == "number" and column.name not in NOT_ANSWERED
}
"""Conditions that growth answers to: in words, and their unit."""

_WHOSE = "whose {} rows of whole tanks hold: all areas', or those without their own"

KEYS: Mapping[str, tuple[Column, ...]] = MappingProxyType(
    {
        "practice": (
            Column("name", "quoted", "the practice's name"),
            Column("contact", "quoted", "line under the name on pages for clients"),
            Column("logo", "picture", "picture beside the name on pages for clients"),
            Column(
                "locale",
                "locale",
                "language of pages (en or de; any other is written in British English) and the "
                "country whose forms numbers, dates and money have",
            ),
            Column("currency", "currency", "ISO 4217 code"),
            _number("labour_rate_per_h", "", 0, 1_000_000, "price of an hour, net"),
            _number("vat_percent", "", 0, 100, "value added tax on prices, percent"),
            Column("terms", "texts", "fixed price, term, notice: for clients to read"),
        ),
        "visit": (
            _number("fixed_min", "min", 0, 1440, "minutes before any trimming"),
            _number("travel_min", "min", 0, 1440, "minutes of travel"),
            Column("includes", "texts", "what a visit includes, for clients to read"),
            Column("longer_gaps", "quoted", "glass and water at longer gaps, for clients to read"),
        ),
        "targets": (
            _number("confidence", "share", 0.5, 0.99, "wanted chance"),
            Column("intervals_d", "intervals", "intervals to compare", "d", 1, 365, whole=True),
            _number("horizon_d", "d", 1, 730, "how far forecasts reach", whole=True),
        ),
        "fit": (
            _number("height_error_cm", "cm", 0.01, 100, "error of a measured height"),
            _number("height_error_share", "share", 0, 1, "part of it that grows"),
            _number("widening", "", 0.25, 4, "factor on the width of forecasts"),
        ),
        "log": (
            _choice("whole_tank_grams", _WHOSE.format("grams"), "all", "rest"),
            _choice("whole_tank_minutes", _WHOSE.format("minutes"), "all", "rest"),
        ),
        "rounds": (
            Column("working_days", "weekdays", "weekdays on which tanks are visited"),
            _number("hours_per_day", "h", 0.25, 1000, "hours of visits and travel"),
            Column("days_off", "dates", "days on which nobody works"),
            Column("holidays", "region", "whose public holidays nobody works on"),
        ),
    }
)
"""The keys of practice.toml by section."""


def column_of(table: str, name: str) -> Column:
    """Return the declaration of one column."""
    return next(column for column in TABLES[table] if column.name == name)
