"""From a simulated practice to the files of a book, written as a tidy person would."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Sequence
from datetime import date
from pathlib import Path

from tests.simulator.nature import ph_of_co2
from tests.simulator.truth import SimulatedPractice

__all__ = ["write_files"]

Cell = str | float | int | date | None

COLUMNS = {
    "tanks": "tank_id,client,name,site,length_cm,width_cm,water_depth_cm,fixed_min,travel_min,"
    "longest_interval_d,longest_interval_reason,confidence,note",
    "areas": "area_id,tank_id,label,species_id,area_cm2,floor_cm,budget_cm,cut_cm,light_share,"
    "planted_on,planted_height_cm,removed_on,note",
    "trims": "on,tank_id,area_id,before_cm,after_cm,removed_cm,removed_g,look,minutes,note",
    "measured": "ppfd_umol,photoperiod_h,co2_mg_l,ph,kh_dkh,no3_mg_l,po4_mg_l,k_mg_l,fe_mg_l,"
    "temperature_c",
}


def write_files(practice: SimulatedPractice, folder: Path) -> Path:
    """Write practice.toml and the four tables of a book; same in, same out."""
    folder.mkdir(parents=True, exist_ok=True)
    plan = practice.plan
    _write(folder / "practice.toml", _practice_toml(practice))
    _write(folder / "tanks.csv", _table("tanks", plan.tanks))
    _write(folder / "areas.csv", _table("areas", plan.areas))
    photos = any(row.measured_by for row in practice.log)
    trims = _table("trims", practice.log, ["measured_by", "before_sd_cm"] if photos else [])
    _write(folder / "trims.csv", trims.replace("on,", "date,", 1))
    names = ["tank_id", "from_date", *_names("measured"), "note"]
    _write(folder / "conditions.csv", _csv(names, _condition_rows(practice)))
    return folder


def _write(path: Path, text: str) -> None:
    path.write_bytes(text.encode("utf-8"))


def _names(table: str) -> list[str]:
    return COLUMNS[table].split(",")


def _table(table: str, things: Iterable[object], more: Sequence[str] = ()) -> str:
    names = [*_names(table), *more]
    return _csv(names, ([getattr(thing, name) for name in names] for thing in things))


def _csv(names: Sequence[str], rows: Iterable[Sequence[Cell]]) -> str:
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(names)
    writer.writerows([_cell(value) for value in row] for row in rows)
    return text.getvalue()


def _cell(value: Cell) -> str:
    """Plain decimals, at most three of them; a blank for what is not known."""
    if value is None:
        return ""
    if isinstance(value, float):
        return f"{value:.3f}".rstrip("0").rstrip(".")
    return str(value)


def _condition_rows(practice: SimulatedPractice) -> Iterable[list[Cell]]:
    for tank in practice.plan.tanks:
        co2 = None
        for condition in tank.conditions:
            values: dict[str, float] = dict(condition.values)
            co2 = values.get("co2_mg_l", co2)
            if "kh_dkh" in values and co2 is not None:
                values["ph"] = round(ph_of_co2(co2, values["kh_dkh"]), 2)
                values.pop("co2_mg_l", None)
            if condition.written:
                cells: list[Cell] = [values.get(name) for name in _names("measured")]
                yield [tank.tank_id, condition.from_date, *cells, condition.note]


def _practice_toml(practice: SimulatedPractice) -> str:
    plan = practice.plan
    return f"""[practice]
name = "{plan.name}"
currency = "EUR"
labour_rate_per_h = {plan.labour_rate_per_h:.1f}
{plan.terms}
[visit]
{plan.visit}fixed_min = {plan.fixed_min:g}
travel_min = {plan.travel_min:g}

[targets]
confidence = 0.90
intervals_d = [7, 10, 14, 21, 28]
horizon_d = 60

[fit]
height_error_cm = {practice.height_error_cm:g}
height_error_share = {practice.height_error_share:g}
"""
