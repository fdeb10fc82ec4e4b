"""What a simulated practice looks like before anything grows: tanks, areas, conditions, habits."""

from __future__ import annotations

import csv
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field, fields
from datetime import date
from pathlib import Path

from tests.simulator.style import TIDY, Style

__all__ = [
    "AreaPlan",
    "Away",
    "Condition",
    "Fault",
    "PracticePlan",
    "Richness",
    "TankPlan",
    "Traits",
    "read_lag_spreads",
    "read_species_table",
]

SPECIES_CSV = Path(__file__).parents[2] / "species" / "species.csv"
FORMS_TOML = SPECIES_CSV.with_name("forms.toml")


@dataclass(frozen=True, slots=True)
class Richness:
    """How far a simulated practice departs from the plainest book; every part can be switched off.

    Growth: ``shape_spread`` scatters the Richards exponent around 1; ``species_spread`` and
    ``ceiling_spread`` multiply the table's own spreads; ``tank_spread`` and ``area_spread`` scatter
    log rates; ``week_spread`` is the relative scatter of a week's growth (white, so it falls as
    1/days); ``drift_spread`` that of a tank's slowly drifting rate, which forgets itself over
    ``drift_days``; ``span_spread`` a scatter drawn anew for each area after each visit;
    ``lag_d`` days of growth are lost after every cut that takes a quarter of the height or more,
    fewer after smaller ones; ``lag_drawn`` draws them for every form of the practice instead, half
    normal with the spread of forms.toml;
    ``season_share`` the swing over the year; plants take ``settle_factor`` times as long to settle
    as in the table, and ``settle_spread`` scatters (log) how long those of a form take in a
    practice, half of it shared by all forms; pauses after hard cuts are ``pause`` times the
    table's. ``responses``, ``shade`` and ``settling`` switch the effects of conditions, of what
    floats above and of planting.

    Log: heights are read with ``height_error_cm``, ``height_error_share`` and ``cover_error``
    (points) and written to half a centimetre where ``rounding``. ``hand_spread`` scatters cuts,
    ``habit_spread`` (log) the heights that areas are usually cut to around what the book says,
    ``density_spread`` the areas' log densities around the table's and ``weight_spread`` what one
    cut weighs. ``mixed_rows`` allows every kind of row, as the styles of the plan have it.
    ``missed_visit_share``, ``missing_row_share``, ``quick_visit_share`` (a weight for the whole
    tank and nothing else), ``gross_error_share`` and ``unlogged_cut_share`` are probabilities, as
    are ``timed_area_share`` (a cut area's own minutes), ``silent_area_share`` (nothing is ever
    written of an area), ``first_look_share`` (an area's first row is a look) and ``slip_share`` (a
    visit is typed with a slip). Heights from 5 cm up are read off photos with the chance
    ``photo_share``, which are off by ``photo_error_cm`` and ``photo_error_share``, and all together
    by ``photo_offset_share``; cuts beside them are written as they were aimed. With the chance
    ``ruler_beside_share`` a ruler reads the area as well.
    """

    shape_spread: float = 0.25
    species_spread: float = 1.0
    ceiling_spread: float = 1.0
    tank_spread: float = 0.30
    area_spread: float = 0.20
    week_spread: float = 0.20
    drift_spread: float = 0.15
    drift_days: float = 30.0
    span_spread: float = 0.0
    lag_d: float = 0.0
    lag_drawn: bool = False
    season_share: float = 0.08
    responses: bool = True
    shade: bool = True
    settling: bool = True
    settle_factor: float = 1.0
    settle_spread: float = 0.0
    pause: float = 1.0
    height_error_cm: float = 0.5
    height_error_share: float = 0.05
    cover_error: float = 5.0
    rounding: bool = True
    hand_spread: float = 0.08
    habit_spread: float = 0.0
    irregular: bool = True
    mixed_rows: bool = True
    missed_visit_share: float = 0.06
    missing_row_share: float = 0.05
    quick_visit_share: float = 0.03
    gross_error_share: float = 0.02
    unlogged_cut_share: float = 0.02
    timed_area_share: float = 0.0
    density_spread: float = 0.3
    weight_spread: float = 0.15
    silent_area_share: float = 0.0
    first_look_share: float = 0.0
    slip_share: float = 0.0
    photo_share: float = 0.0
    photo_offset_share: float = 0.0
    ruler_beside_share: float = 0.0
    photo_error_cm: float = 1.0
    photo_error_share: float = 0.03

    @classmethod
    def typed(cls, **changes: object) -> Richness:
        """Books as busy people type them: visits and rows missing, first looks, slips."""
        typed: dict[str, object] = {
            "missed_visit_share": 0.12,
            "missing_row_share": 0.08,
            "density_spread": 0.5,
            "weight_spread": 0.2,
            "silent_area_share": 0.06,
            "first_look_share": 0.25,
            "slip_share": 0.04,
        }
        return cls(**(typed | changes))  # type: ignore[arg-type]

    @classmethod
    def plain(cls, **changes: object) -> Richness:
        """Draw books from the fitted model itself: logistic, white noise, heights only.

        What is left are the effects of species, tanks, areas and ceilings, span noise, reading
        errors and the scatter of cuts. ``changes`` set single fields.
        """
        plain: dict[str, object] = {
            "shape_spread": 0.0,
            "drift_spread": 0.0,
            "span_spread": 0.12,
            "season_share": 0.0,
            "pause": 0.0,
            "rounding": False,
            "irregular": False,
            "mixed_rows": False,
            "missed_visit_share": 0.0,
            "missing_row_share": 0.0,
            "quick_visit_share": 0.0,
            "gross_error_share": 0.0,
            "unlogged_cut_share": 0.0,
        }
        return cls(**(plain | changes))  # type: ignore[arg-type]

    @classmethod
    def exact(cls, **changes: object) -> Richness:
        """No scatter anywhere: true rates are the table's and every reading is right."""
        names = [f.name for f in fields(cls) if f.name.endswith(("_spread", "_share"))]
        still = dict.fromkeys([*names, "height_error_cm", "cover_error"], 0.0)
        return cls.plain(**(still | changes))


@dataclass(frozen=True, slots=True)
class Traits:
    """What the truth needs to know of a species; names and units as in the species table."""

    species_id: str
    form: str
    rate_per_day: float
    ceiling_cm: float
    measure: str = "height_cm"
    reaches_surface: bool = False
    rate_spread: float = 0.3
    ceiling_spread: float = 0.2
    light_k_umol: float = 55.0
    light_floor: float = 0.2
    respiration_share: float = 0.065
    co2_k_mg_l: float = 3.0
    n_k_mg_l: float = 1.5
    p_k_mg_l: float = 0.06
    k_k_mg_l: float = 1.0
    temp_min_c: float = 13.0
    temp_opt_c: float = 25.6
    temp_max_c: float = 33.0
    density_g_l: float = 30.0
    lowest_cut_cm: float = 1.0
    settle_d: float = 14.0
    pause_d: float = 6.0

    @property
    def is_cover(self) -> bool:
        """Whether its heights are percent cover."""
        return self.measure == "cover_pct"


def read_species_table(path: Path = SPECIES_CSV) -> dict[str, Traits]:
    """Read the traits of every species of a species table."""
    words = {"species_id", "form", "measure"}
    table = {}
    with path.open(encoding="utf-8", newline="") as file:
        for row in csv.DictReader(file):
            cells: dict[str, object] = {}
            for trait in fields(Traits):
                text = row[trait.name]
                if trait.name == "reaches_surface":
                    cells[trait.name] = text == "true"
                else:
                    cells[trait.name] = text if trait.name in words else float(text)
            table[row["species_id"]] = Traits(**cells)  # type: ignore[arg-type]
    return table


def read_lag_spreads(path: Path = FORMS_TOML) -> dict[str, float]:
    """Read the spread [d] of each form's lag after a cut."""
    forms = tomllib.loads(path.read_text(encoding="utf-8"))
    return {form: float(values["lag_spread_d"]) for form, values in forms.items()}


@dataclass(frozen=True, slots=True)
class Condition:
    """Conditions that hold in a tank from a date; a value not named keeps the earlier one.

    ``values`` are named as the columns of conditions.csv. With ``kh_dkh`` among them the CO2 is
    written down as a pH instead. ``written`` False: true, but nobody wrote it down.
    """

    from_date: date
    values: Mapping[str, float]
    note: str = ""
    written: bool = True


@dataclass(frozen=True, slots=True)
class Fault:
    """Growth at this share of what it would be, from a date on, which nobody wrote down.

    It strikes whatever of tank, area and species is named: all areas of a tank, one area, or a
    species in every tank.
    """

    from_date: date
    growth_share: float
    tank_id: str = ""
    area_id: str = ""
    species_id: str = ""

    def strikes(self, area: AreaPlan) -> bool:
        """Whether an area is struck."""
        named = (
            (self.tank_id, area.tank_id),
            (self.area_id, area.area_id),
            (self.species_id, area.species_id),
        )
        return all(not wanted or wanted == own for wanted, own in named)


@dataclass(frozen=True, slots=True)
class Away:
    """Days, first to last, on which nobody visits a tank."""

    first: date
    last: date


@dataclass(frozen=True, slots=True)
class TankPlan:
    """A tank, its conditions and how it is visited.

    ``effect`` sets the true log rate effect of the tank instead of drawing it; ``dated_notes`` go
    to the first visit on or after their date; ``agreed`` are visits besides the rhythm, on which
    areas that end that day are replanted.
    """

    tank_id: str
    client: str
    site: str
    length_cm: float
    width_cm: float
    water_depth_cm: float
    interval_d: int
    first_visit: date
    conditions: tuple[Condition, ...] = ()
    longest_interval_d: int | None = None
    fixed_min: float | None = None
    travel_min: float | None = None
    confidence: float | None = None
    note: str = ""
    name: str = ""
    longest_interval_reason: str = ""
    effect: float | None = None
    away: tuple[Away, ...] = ()
    dated_notes: tuple[tuple[date, str], ...] = ()
    agreed: tuple[date, ...] = ()


@dataclass(frozen=True, slots=True)
class AreaPlan:
    """A planted area as areas.csv has it; ``rate_per_day`` and ``ceiling_cm`` set its truth.

    A ``rate_per_day`` given here is the true rate at reference conditions, every effect included.
    ``start_cm`` is its true height when the simulation begins or it is planted.
    """

    area_id: str
    tank_id: str
    label: str
    species_id: str
    area_cm2: float
    floor_cm: float
    budget_cm: float
    cut_cm: float | None
    planted_on: date
    light_share: float | None = None
    planted_height_cm: float | None = None
    removed_on: date | None = None
    note: str = ""
    rate_per_day: float | None = None
    ceiling_cm: float | None = None
    start_cm: float | None = None

    @property
    def aim_cm(self) -> float:
        """Height it is usually cut to."""
        if self.cut_cm is not None:
            return self.cut_cm
        return self.floor_cm + 0.35 * (self.budget_cm - self.floor_cm)


@dataclass(frozen=True, slots=True)
class PracticePlan:
    """A whole practice and the days its log covers; growth goes on uncut for ``future_days``.

    ``terms`` and ``visit`` are lines of its practice.toml.
    ``pace`` multiplies the minutes its gardener takes to trim; ``styles`` are how he logs, each
    visit in one of them.
    """

    name: str
    first_on: date
    last_on: date
    tanks: tuple[TankPlan, ...]
    areas: tuple[AreaPlan, ...]
    traits: Mapping[str, Traits] = field(default_factory=read_species_table)
    labour_rate_per_h: float = 58.0
    terms: str = ""
    visit: str = ""
    fixed_min: float = 30.0
    travel_min: float = 20.0
    future_days: int = 60
    pace: float = 1.0
    faults: tuple[Fault, ...] = ()
    styles: tuple[Style, ...] = (TIDY,)
