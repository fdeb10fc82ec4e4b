"""The species table keeps its rules, and these checks find a table that does not."""

from __future__ import annotations

import csv
import importlib.util
import itertools
import math
import re
import tomllib
from collections.abc import Callable, Iterator
from pathlib import Path
from types import ModuleType

import pytest

from growthcast.book.files import shipped_species_dir
from growthcast.book.tables import FORMS, TABLES

FOLDER = shipped_species_dir()
DECLARED = {column.name: column for column in TABLES["species"]}
REGULATED = ["cabomba-caroliniana", "hygrophila-polysperma", "egeria-densa", "salvinia-auriculata"]
REGULATED += ["pistia-stratiotes", "limnobium-laevigatum", "myriophyllum-aquaticum"]
MAY_BE_BLANK = {"also_known_as", "caution", "estimated"}
RATE_RANGE = (0.004, 0.3)
COVER_RATE_RANGE = (0.05, 0.35)

Row = dict[str, str]


def read(name: str) -> list[Row]:
    with (FOLDER / name).open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def load_build() -> ModuleType:
    spec = importlib.util.spec_from_file_location("species_build", FOLDER / "build.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def source_keys(text: str) -> list[str]:
    return re.findall(r"^### (\S+)$", text, flags=re.MULTILINE)


def complaints(rows: list[Row]) -> list[str]:
    """Everything that is wrong with the rows of a species table."""
    out = [text for row in rows for check in ROW_CHECKS for text in check(row)]
    out += [f"{name} twice" for name in duplicates(row["species_id"] for row in rows)]
    out += [f"{name} twice" for name in duplicates(row["scientific_name"] for row in rows)]
    if len(rows) < 70:
        out.append("fewer than 70 taxa")
    out += [f"no {form}" for form in FORMS if form not in {row["form"] for row in rows}]
    return out


def duplicates(names: Iterator[str] | list[str]) -> list[str]:
    ordered = sorted(name.casefold() for name in names)
    return [a for a, b in itertools.pairwise(ordered) if a == b]


def check_cells(row: Row) -> Iterator[str]:
    for name, column in DECLARED.items():
        cell = row[name]
        where = f"{row['species_id']}, {name}"
        if not cell:
            if name not in MAY_BE_BLANK:
                yield f"{where}: blank"
        elif column.kind == "number":
            value = float(cell)
            low, high = column.low or 0.0, math.inf if column.high is None else column.high
            if not low <= value <= high or (column.above and value <= low):
                yield f"{where}: {cell} out of range"
        elif column.kind == "flag" and cell not in {"true", "false"}:
            yield f"{where}: {cell} is no flag"
        elif column.choices and cell not in column.choices:
            yield f"{where}: {cell} is no choice"
    if not re.fullmatch(r"[a-z0-9]+(-[a-z0-9]+)*", row["species_id"]):
        yield f"{row['species_id']}: no lower-case id"


def check_rates(row: Row) -> Iterator[str]:
    low, high = COVER_RATE_RANGE if row["measure"] == "cover_pct" else RATE_RANGE
    if not low <= float(row["rate_per_day"]) <= high:
        yield f"{row['species_id']}: rate"
    if not 0.25 <= float(row["rate_spread"]) <= 0.6:
        yield f"{row['species_id']}: rate spread"


def check_measure(row: Row) -> Iterator[str]:
    cover = row["measure"] == "cover_pct"
    if cover != (row["form"] == "floating"):
        yield f"{row['species_id']}: floating plants, and only they, are measured by cover"
    if cover and float(row["ceiling_cm"]) != 100:
        yield f"{row['species_id']}: full cover is 100"
    if (float(row["co2_k_mg_l"]) == 0) != cover:
        yield f"{row['species_id']}: only floating leaves do without dissolved CO2"
    if float(row["lowest_cut_cm"]) > 0.5 * float(row["ceiling_cm"]) and row["form"] != "moss":
        yield f"{row['species_id']}: the lowest cut is above half of the ceiling"


def check_temperatures(row: Row) -> Iterator[str]:
    low, best, high = (float(row[f"temp_{name}_c"]) for name in ("min", "opt", "max"))
    if not low < best < high or not low < 25 < high:
        yield f"{row['species_id']}: temperatures"


def check_light(row: Row) -> Iterator[str]:
    """A plant must gain at 100 µmol for 8 h, and stop gaining between 5 and 40 µmol."""
    k, respiration = float(row["light_k_umol"]), float(row["respiration_share"])
    if 8 * math.tanh(100 / k) - 24 * respiration < 2:
        yield f"{row['species_id']}: no net gain of light"
    compensation = k * math.atanh(min(3 * respiration, 0.99))
    if not 5 < compensation < 40:
        yield f"{row['species_id']}: compensation at {compensation:.0f}"


def check_honesty(row: Row) -> Iterator[str]:
    name, estimated = row["species_id"], row["estimated"].split(";")
    unknown = [column for column in estimated if column not in DECLARED]
    if unknown or duplicates(estimated):
        yield f"{name}: estimated names {unknown or 'a column twice'}"
    if (row["basis"] == "published") != (row["rate_from"] == "published"):
        yield f"{name}: basis and rate_from differ"
    if ("rate_per_day" in estimated) == (row["basis"] == "published"):
        yield f"{name}: a rate is either published or an estimate"
    if row["basis"] == "growers" and row["source"] == "common-knowledge":
        yield f"{name}: growers without a page"


def check_caution(row: Row) -> Iterator[str]:
    regulated = "Regulated as invasive in some places" in row["caution"]
    if row["species_id"] in REGULATED and not regulated:
        yield f"{row['species_id']}: no caution"


ROW_CHECKS: tuple[Callable[[Row], Iterator[str]], ...] = (
    check_cells,
    check_rates,
    check_measure,
    check_temperatures,
    check_light,
    check_honesty,
    check_caution,
)


def test_the_table_keeps_its_rules() -> None:
    assert complaints(read("species.csv")) == []


FAULTS = {
    "blank": ("rotala-rotundifolia", "cut_practice", ""),
    "word": ("rotala-rotundifolia", "reaches_surface", "yes"),
    "choice": ("rotala-rotundifolia", "needs_co2", "maybe"),
    "capital": ("rotala-rotundifolia", "species_id", "Rotala"),
    "above zero": ("rotala-rotundifolia", "density_g_l", "0"),
    "double": ("rotala-rotundifolia", "species_id", "rotala-macrandra"),
    "fast": ("rotala-rotundifolia", "rate_per_day", "0.31"),
    "slow": ("anubias-barteri", "rate_per_day", "0.001"),
    "sure": ("anubias-barteri", "rate_spread", "0.1"),
    "cover in a stem": ("rotala-rotundifolia", "measure", "cover_pct"),
    "half cover": ("lemna-minor", "ceiling_cm", "50"),
    "high cut": ("rotala-rotundifolia", "lowest_cut_cm", "40"),
    "cold": ("rotala-rotundifolia", "temp_max_c", "24"),
    "order": ("rotala-rotundifolia", "temp_opt_c", "5"),
    "dark": ("rotala-rotundifolia", "respiration_share", "0.3"),
    "no shade": ("rotala-rotundifolia", "respiration_share", "0.001"),
    "claim": ("rotala-rotundifolia", "basis", "published"),
    "no such column": ("rotala-rotundifolia", "estimated", "rate_per_day;speed"),
    "hidden estimate": ("rotala-rotundifolia", "estimated", "rate_spread"),
    "no page": ("rotala-rotundifolia", "source", "common-knowledge"),
    "weed": ("egeria-densa", "caution", ""),
}


@pytest.mark.parametrize("fault", FAULTS)
def test_a_broken_row_is_found(fault: str) -> None:
    species_id, column, cell = FAULTS[fault]
    rows = read("species.csv")
    changed = [{**row, column: cell} if row["species_id"] == species_id else row for row in rows]
    assert changed != rows
    assert complaints(changed)


def test_a_short_table_is_found() -> None:
    rows = [row for row in read("species.csv") if row["form"] != "moss"]
    assert complaints(rows) == ["no moss"]
    assert "fewer than 70 taxa" in complaints(rows[:69])


def test_columns_stand_in_the_declared_order() -> None:
    with (FOLDER / "species.csv").open(encoding="utf-8", newline="") as file:
        header = next(csv.reader(file))
    assert header == [*DECLARED, "estimated", "rate_from"]


def test_every_source_is_defined_once_and_used() -> None:
    text = (FOLDER / "SOURCES.md").read_text(encoding="utf-8")
    keys = source_keys(text)
    assert len(keys) == len(set(keys))
    assert {row["source"] for row in read("species.csv")} <= set(keys)
    rules = text.split("## Rules, column by column", 1)[1]
    used = {row["source"] for row in read("species.csv")} | set(re.findall(r"`([^`]+)`", rules))
    assert set(keys) - used == set()


def test_the_count_of_published_rates_is_told() -> None:
    published = sum(row["basis"] == "published" for row in read("species.csv"))
    text = (FOLDER / "SOURCES.md").read_text(encoding="utf-8")
    assert f"Only {published} rates are published" in text
    growers = sum(row["basis"] == "growers" for row in read("species.csv"))
    estimates = len(read("species.csv")) - published - growers
    assert f"{growers} rest on" in text
    assert f"other {estimates} are estimates" in text


def test_growers_rates_rest_on_a_figure_that_was_read() -> None:
    facts = {fact["species_id"]: fact for fact in read("facts.csv")}
    for row in read("species.csv"):
        fact = facts[row["species_id"]]
        figure = fact["interval_evidence"] in {"read", "partly"} or row["rate_from"] == "doubling"
        if row["basis"] != "published":
            assert (row["basis"] == "growers") == figure, row["species_id"]


def test_every_source_says_whether_it_was_read() -> None:
    text = (FOLDER / "SOURCES.md").read_text(encoding="utf-8").split("## Rules", 1)[0]
    for part in text.split("\n### ")[1:]:
        assert re.search(r"Evidence:\s[^.]*(read|memory)", part), part.splitlines()[0]


def test_every_column_has_its_rule_in_words() -> None:
    rules = (FOLDER / "SOURCES.md").read_text(encoding="utf-8").split("column by column", 1)[1]
    first_cells = " ".join(line.split("|")[1] for line in rules.splitlines() if line[:1] == "|")
    named = set(re.findall(r"`(\w+)`", first_cells))
    plain = {"species_id", "scientific_name", "common_name", "form", "measure", "basis", "source"}
    assert named == set(DECLARED) - plain


def test_the_table_is_what_the_rules_make_of_the_facts() -> None:
    build = load_build()
    made = build.table(build.read_facts())
    shipped = (FOLDER / "species.csv").read_text(encoding="utf-8")
    assert made == shipped, "run python species/build.py"


def test_every_form_has_its_defaults() -> None:
    forms = tomllib.loads((FOLDER / "forms.toml").read_text(encoding="utf-8"))
    assert set(forms) == set(FORMS)
    for name, values in forms.items():
        assert -1 <= values["shape"] <= 2
        assert 0 < values["shape_spread"] < 0.5
        by = values["min_per_dm2"] if name == "floating" else values["min_per_l"]
        assert by > 0
        assert values["set_up_min"] > 0


def test_nothing_reads_outside_the_repository() -> None:
    for path in (FOLDER / "build.py", Path(__file__)):
        assert "/work" + "/" not in path.read_text(encoding="utf-8")
