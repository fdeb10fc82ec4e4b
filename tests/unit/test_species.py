"""The species table as priors, the rules that made it, and the command that shows it."""

from __future__ import annotations

import csv
import importlib.util
import json
import math
import re
import statistics
import subprocess
import sys
from collections import defaultdict
from pathlib import Path
from types import ModuleType

import numpy as np
import pytest
import typer
from typer.testing import CliRunner, Result

from growthcast import species as sp
from growthcast.book.files import shipped_species_dir
from growthcast.book.names import plant_named
from growthcast.book.read import read_shipped_species
from growthcast.cli.commands import takes_options
from growthcast.errors import UsageError
from growthcast.growth.responses import (
    CONDITIONS,
    RESPONSES,
    TRAITS,
    combined_response,
    temperature_response,
)


@pytest.fixture(scope="module")
def priors() -> sp.SpeciesPriors:
    return sp.species_priors(read_shipped_species())


@pytest.fixture(scope="module")
def build() -> ModuleType:
    spec = importlib.util.spec_from_file_location(
        "species_build", shipped_species_dir() / "build.py"
    )
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def place(priors: sp.SpeciesPriors, species_id: str) -> int:
    return int(np.flatnonzero(priors.species_id == species_id)[0])


class TestPriors:
    def test_every_field_has_a_value_for_every_species(self, priors: sp.SpeciesPriors) -> None:
        for name in sp.SpeciesPriors.__dataclass_fields__:
            values = getattr(priors, name)
            if name == "traits":
                continue
            assert values.shape == priors.species_id.shape, name
            if values.dtype == np.float64:
                assert np.isfinite(values).all(), name

    def test_values_stand_in_the_row_of_their_species(self, priors: sp.SpeciesPriors) -> None:
        with (shipped_species_dir() / "species.csv").open(encoding="utf-8", newline="") as file:
            rows = list(csv.DictReader(file))
        assert priors.species_id.tolist() == [row["species_id"] for row in rows]
        for name in ("rate_per_day", "pause_d", "lowest_cut_cm"):
            assert getattr(priors, name).tolist() == [float(row[name]) for row in rows]
        for name in TRAITS:
            assert priors.traits[name].tolist() == [float(row[name]) for row in rows]
        for name in ("form", "caution", "needs_co2", "common_name"):
            assert getattr(priors, name).tolist() == [row[name] for row in rows]
        surface = [row["reaches_surface"] == "true" for row in rows]
        assert priors.reaches_surface.tolist() == surface

    def test_cover_belongs_to_floating_plants(self, priors: sp.SpeciesPriors) -> None:
        assert (priors.measure_is_cover == (priors.form == "floating")).all()
        assert priors.measure_is_cover.any()

    def test_form_defaults_follow_the_form(self, priors: sp.SpeciesPriors) -> None:
        forms = sp.read_forms()
        for name in ("rotala-rotundifolia", "anubias-barteri", "lemna-minor"):
            row = place(priors, name)
            form = forms[str(priors.form[row])]
            assert (priors.shape[row], priors.shape_spread[row]) == (form.shape, form.shape_spread)

    def test_the_substrate_feeds_what_roots_in_it(self, priors: sp.SpeciesPriors) -> None:
        starved = dict.fromkeys(CONDITIONS, np.nan) | {"no3_mg_l": 0.0}
        usual = sp.read_reference().conditions
        grown = combined_response(starved, priors.traits, usual, priors.least_nutrient)
        rooted = ("rotala-rotundifolia", "helanthium-tenellum", "cryptocoryne-wendtii")
        assert [grown[place(priors, name)] for name in rooted] == [0.5] * 3
        others = (
            "ceratophyllum-demersum",
            "anubias-barteri",
            "lemna-minor",
            "taxiphyllum-barbieri",
        )
        assert [grown[place(priors, name)] for name in others] == [0.0] * 4
        # Where the water has enough, the floor changes no digit.
        fed = dict.fromkeys(CONDITIONS, np.nan) | {"no3_mg_l": 8.0}
        assert np.array_equal(
            combined_response(fed, priors.traits, usual, priors.least_nutrient),
            combined_response(fed, priors.traits, usual),
        )
        known = set(priors.species_id.tolist())
        assert known.issuperset(sp.read_reference().substrate["rootless"])

    def test_reference_is_the_one_of_the_book(self) -> None:
        reference = sp.read_reference()
        assert reference.conditions == {
            "ppfd_umol": 100,
            "photoperiod_h": 8,
            "co2_mg_l": 25,
            "no3_mg_l": 15,
            "po4_mg_l": 1,
            "k_mg_l": 15,
            "fe_mg_l": 0.3,
            "temperature_c": 25,
        }
        assert {*CONDITIONS} <= {*reference.conditions}
        assert reference.unknown_spread == {
            "light": 0.25,
            "co2": 0.25,
            "nutrient": 0.1,
            "temperature": 0.1,
        }
        assert {*reference.unknown_spread} == {*RESPONSES}

    def test_fastest_growth_undoes_the_rate_of_a_speed(self, priors: sp.SpeciesPriors) -> None:
        """4 to 8 cm a week were put down for Rotala, 0.5 to 1 for the small pearl carpet."""
        fastest = sp.fastest_cm_per_week(priors)
        assert fastest[place(priors, "rotala-rotundifolia")] == pytest.approx(32**0.5, rel=0.001)
        assert fastest[place(priors, "micranthemum-tweediei")] == pytest.approx(0.5**0.5, rel=0.001)

    def test_light_words(self) -> None:
        assert [sp.light_word(k) for k in (40.0, 55.0, 90.0)] == ["low", "medium", "high"]

    def test_sources_are_whole_paragraphs(self) -> None:
        sources = sp.read_sources()
        assert sources["andersen-2002"].endswith("The table takes 0.138. Evidence: abstract read.")
        assert "column by column" not in " ".join(sources.values())

    def test_estimates_are_listed(self) -> None:
        estimated = sp.estimated_columns(read_shipped_species())
        assert "rate_per_day" in estimated["rotala-rotundifolia"]
        assert "rate_per_day" not in estimated["riccia-fluitans"]


class TestRules:
    def test_speed_to_rate(self, build: ModuleType) -> None:
        assert build.speed_to_rate(10, 10, 45)[0] == pytest.approx(0.127, abs=5e-4)
        assert build.speed_to_rate(0.75, 0.75, 6)[0] == pytest.approx(0.071, abs=5e-4)

    def test_the_middle_of_a_range_is_geometric(self, build: ModuleType) -> None:
        assert build.speed_to_rate(4, 16, 45)[0] == build.speed_to_rate(8, 8, 45)[0]
        assert build.speed_to_rate(0, 16, 45)[0] == build.speed_to_rate(8, 8, 45)[0]

    def test_a_range_holds_four_fifths(self, build: ModuleType) -> None:
        assert build.range_spread(1, 3) == pytest.approx(math.log(3) / 2.563, abs=1e-4)
        assert build.range_spread(2, 2) == 0.25
        assert build.range_spread(1, 100) == 0.6
        assert build.range_spread(0, 1) == 0.6

    def test_temperatures(self, build: ModuleType) -> None:
        assert build.temperatures(20, 28, 1.5) == pytest.approx((8, 25.6, 37))
        assert build.temperatures(5, 25, 1.5)[0] == 2
        # Kept warm, the best lies lower: ten degrees make no more than half as much again.
        low, best, high = build.temperatures(22, 28, 1.5)
        assert best < 26.2
        at = [temperature_response(t, low, best, high, 25.0) for t in (20.0, 25.0)]
        assert at[1] / at[0] == pytest.approx(1.5**0.5, abs=0.01)

    def test_warmth_acts_as_steeply_as_in_the_ditch_model(self, build: ModuleType) -> None:
        """Production of its submerged plants falls by 1.2 to 1.5 for ten degrees (PCDitch)."""
        q10 = {}
        for row in map(build.row_of, build.read_facts()):
            traits = [float(row[f"temp_{name}_c"]) for name in ("min", "opt", "max")]
            if row["form"] not in {"floating", "moss"}:
                q10[row["species_id"]] = float(temperature_response(20.0, *traits, 25.0)) ** -2
        assert 1.2 < float(np.median(list(q10.values()))) < 1.5
        assert max(q10.values()) < 2.0

    def fact(self, build: ModuleType, **changes: str) -> dict[str, str]:
        facts = {fact["species_id"]: fact for fact in build.read_facts()}
        return {**facts["rotala-rotundifolia"], **changes}

    def test_a_rate_in_line_with_the_interval_keeps_its_speed(self, build: ModuleType) -> None:
        rate, spread, rate_from = build.rate_of(self.fact(build))
        assert (rate_from, rate) == ("speed", pytest.approx(4 * 32**0.5 / (7 * 45)))
        assert spread > 0.25

    def test_a_rate_out_of_line_yields_to_the_interval(self, build: ModuleType) -> None:
        fact = self.fact(build, speed_low_cm_wk="0.5", speed_high_cm_wk="1")
        rate, spread, rate_from = build.rate_of(fact)
        assert rate_from == "interval"
        assert build.days_to_budget(fact, rate) == pytest.approx(7 * 3**0.5)
        assert spread == 0.6

    def test_a_rate_from_memory_alone_has_a_wider_spread(self, build: ModuleType) -> None:
        _, read, _ = build.rate_of(self.fact(build))
        _, unread, _ = build.rate_of(self.fact(build, interval_evidence="memory"))
        assert unread == pytest.approx(math.hypot(read, 0.25))

    def test_every_rate_agrees_with_its_cutting_interval(self, build: ModuleType) -> None:
        """Within a factor of two, floating plants within five.

        Most intervals are remembered: this finds contradictions and confirms nothing.
        """
        for fact in build.read_facts():
            rate, _, rate_from = build.rate_of(fact)
            low, high = build.usual_interval_d(fact)
            off = build.days_to_budget(fact, rate) / math.sqrt(low * high)
            most = 5.0 if fact["form"] == "floating" else 2.0
            assert 1 / most <= off <= most, fact["species_id"]
            assert rate_from in {"speed", "interval", "doubling", "published"}

    def test_what_the_trade_says_of_visits(self, build: ModuleType) -> None:
        """Fast stems about weekly, carpets two to four weeks, rhizome plants months."""
        days = {
            fact["species_id"]: build.days_to_budget(fact, build.rate_of(fact)[0])
            for fact in build.read_facts()
        }
        assert 5 < days["limnophila-sessiliflora"] < 10
        assert 5 < days["micranthemum-glomeratum"] < 10
        assert 14 <= days["micranthemum-tweediei"] <= 28
        assert 14 <= days["hemianthus-callitrichoides"] <= 28
        assert 14 <= days["taxiphyllum-barbieri"] <= 35
        for name in ("anubias-barteri", "leptochilus-pteropus", "bucephalandra-pygmaea"):
            assert 60 < days[name] < 200

    def test_growth_without_co2_stays_near_the_speeds_in_the_facts(
        self, build: ModuleType, priors: sp.SpeciesPriors
    ) -> None:
        """Speeds without CO2 over speeds with it, by class of demand, against the responses.

        The constants were tuned to these remembered speeds: this guards against slips only.
        """
        ratios = low_tech_ratios(priors)
        groups: dict[tuple[str, str], list[tuple[float, float]]] = defaultdict(list)
        for fact in build.read_facts():
            if not fact["lowtech_high_cm_wk"]:
                continue
            low, high = middle(fact, "lowtech"), middle(fact, "speed")
            pair = (low / high, float(ratios[place(priors, fact["species_id"])]))
            groups[fact["co2_demand"], fact["light_demand"]].append(pair)
        assert len(groups) >= 6
        for name, pairs in groups.items():
            reported, modelled = (statistics.median(column) for column in zip(*pairs, strict=True))
            assert modelled == pytest.approx(reported, rel=0.3), name


def middle(fact: dict[str, str], kind: str) -> float:
    """Geometric middle of a range of speeds, half of its upper end where the lower is 0."""
    low, high = float(fact[f"{kind}_low_cm_wk"]), float(fact[f"{kind}_high_cm_wk"])
    return math.sqrt(low * high) if low > 0 else high / 2


def low_tech_ratios(priors: sp.SpeciesPriors) -> np.ndarray:
    """Response of every species to a tank with little light and no added CO2."""
    reference = sp.read_reference()
    at = {
        "ppfd_umol": 40.0,
        "photoperiod_h": 8.0,
        "co2_mg_l": 3.0,
        "no3_mg_l": 5.0,
        "po4_mg_l": 0.3,
        "k_mg_l": 5.0,
        "temperature_c": 25.0,
    }
    ratios: np.ndarray = combined_response(at, priors.traits, reference.conditions)
    return ratios


class TestCommand:
    def run(self, *arguments: str) -> Result:
        app = typer.Typer(rich_markup_mode=None, pretty_exceptions_enable=False)
        app.command("species")(takes_options("species"))
        app.callback()(lambda: None)
        return CliRunner().invoke(app, ["species", *arguments])

    def listed(self, *arguments: str) -> list[dict[str, object]]:
        result = self.run(*arguments, "--json")
        assert result.exit_code == 0, result.exception
        found: list[dict[str, object]] = json.loads(result.stdout)["species"]
        return found

    def test_lists_slow_to_fast_without_folding(self) -> None:
        result = self.run("--all")
        assert result.exit_code == 0
        lines = result.stdout.splitlines()
        at = {
            name: [i for i, line in enumerate(lines) if name in line]
            for name in ("anubias-barteri ", "lemna-minor ")
        }
        assert [len(found) for found in at.values()] == [1, 1]
        assert at["anubias-barteri "] < at["lemna-minor "]

    def test_sorts(self) -> None:
        slow = [plant["rate_per_day"] for plant in self.listed()]
        assert slow == sorted(slow, key=float)  # type: ignore[arg-type]
        assert [plant["rate_per_day"] for plant in self.listed("--sort", "fast")] == slow[::-1]
        names = [str(plant["species_id"]) for plant in self.listed("--sort", "name")]
        assert names == sorted(names)

    @pytest.mark.parametrize(
        ("option", "word", "key"),
        [
            ("--form", "moss", "form"),
            ("--light", "high", "light"),
            ("--needs-co2", "yes", "needs_co2"),
        ],
    )
    def test_filters(self, option: str, word: str, key: str) -> None:
        plants = self.listed(option, word)
        everything = self.listed()
        assert 0 < len(plants) < len(everything)
        assert plants == [plant for plant in everything if plant[key] == word]

    @pytest.mark.parametrize("option", ["--form", "--light", "--needs-co2", "--sort"])
    def test_a_word_no_option_knows(self, option: str) -> None:
        error = self.run(option, "moos").exception
        assert isinstance(error, UsageError)
        assert f'{option} "moos" is not known; ' in str(error)

    def test_nothing_fits(self) -> None:
        result = self.run("--form", "moss", "--needs-co2", "yes", "--light", "low")
        assert (result.exit_code, result.stdout) == (0, "")
        assert "No species fits" in result.stderr

    def test_shows_one_with_its_source_and_its_doubts(self) -> None:
        text = self.run("egeria-densa", "--details").stdout
        assert "Egeria densa (Dense waterweed)" in text
        assert "Caution: Regulated as invasive in some places" in text
        assert "Source, growers-reports: First-hand reports of keepers" in text
        assert "Basis: estimate: the rate was put to the plant from memory" in text
        rows = {line.split()[0]: line for line in text.splitlines() if line.strip()}
        assert rows["rate_per_day"].split()[-1] == "estimate"
        assert rows["light_k_umol"].split()[-1] == "second"  # read in a paper: no estimate
        assert "35 %" in rows["light_floor"]

    def test_shows_cover_in_its_own_units(self) -> None:
        text = self.run("lemna-minor", "--details").stdout
        assert "grams per dm² at full cover" in text
        assert "points of cover a week" in text
        assert "centimetres" not in text.split("At best")[0]

    def test_one_as_json(self) -> None:
        (plant,) = self.listed("riccia-fluitans")
        assert plant["rate_per_day"] == 0.138
        assert plant["reaches_surface"] is False
        assert "rate_per_day" not in plant["estimated"]  # type: ignore[operator]
        assert "0.138 per day" in str(plant["source_text"])

    @pytest.mark.parametrize("name", ["Egeria densa", "dense waterweed", "EGERIA-DENSA"])
    def test_other_names_are_understood(self, name: str) -> None:
        assert [plant["species_id"] for plant in self.listed(name)] == ["egeria-densa"]

    def test_near_miss(self) -> None:
        error = self.run("Rotala rotundifola").exception
        assert isinstance(error, UsageError)
        assert 'did you mean "rotala-rotundifolia"?' in str(error)
        assert "lists all of them" in str(self.run("xyzzy").exception)

    def test_part_of_a_name_lists_the_plants_that_hold_it(self) -> None:
        ids = [str(plant["species_id"]) for plant in self.listed("--sort", "name")]
        found = self.run("rotala").stdout
        assert all(name in found for name in ids if name.startswith("rotala-"))
        assert "anubias-barteri" not in found
        assert "Eleocharis acicularis" in self.run("spikerush").stdout
        assert re.search(r"\d+ more: ", self.run("a").stdout)

    def test_values_of_a_new_species_from_its_form_are_estimates(self, tmp_path: Path) -> None:
        write_book(tmp_path)
        (tmp_path / "species.csv").write_text(
            "species_id,form,measure,rate_per_day,ceiling_cm\nown,stem,height_cm,0.07,50\n"
        )
        (plant,) = self.listed("own", "--book", str(tmp_path))
        assert {"rate_per_day", "ceiling_cm", "form"} <= set(plant["from_book"])  # type: ignore[call-overload]
        assert "light_k_umol" in plant["estimated"]  # type: ignore[operator]
        assert "light_k_umol" not in plant["from_book"]  # type: ignore[operator]
        shown = self.run("own", "--book", str(tmp_path))
        assert "[species-filled]" in shown.stderr
        assert "see growthcast check" in shown.stderr

    def test_a_books_own_rows(self, tmp_path: Path) -> None:
        write_book(tmp_path)
        plants = {plant["species_id"]: plant for plant in self.listed("--book", str(tmp_path))}
        egeria = plants["egeria-densa"]
        assert (egeria["rate_per_day"], egeria["from_book"]) == (0.2, ["rate_per_day"])
        assert "rate_per_day" not in egeria["estimated"]  # type: ignore[operator]
        shown = self.run("egeria-densa", "--book", str(tmp_path)).stdout
        assert "from the book's own species.csv" in shown
        assert "[bold]own[/bold]" in self.run("--all", "--book", str(tmp_path)).stdout
        assert len(plants) == len(self.listed()) + 1

    def test_starts_without_numpy(self) -> None:
        code = "import sys, growthcast.cli.forecast; sys.exit('numpy' in sys.modules)"
        assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0


def write_book(folder: Path) -> None:
    """Write a small book: one species changed in one cell, one species of its own."""
    texts = {
        "practice.toml": '[practice]\nname = "Invented practice"\nlabour_rate_per_h = 50\n',
        "tanks.csv": "tank_id,water_depth_cm\nA,40\n",
        "areas.csv": "area_id,tank_id,species_id,area_cm2,floor_cm,budget_cm,planted_on\n"
        "a1,A,egeria-densa,400,8,20,2026-01-05\n",
    }
    for name, text in texts.items():
        (folder / name).write_text(text, encoding="utf-8")
    with (shipped_species_dir() / "species.csv").open(encoding="utf-8", newline="") as file:
        rows = {row["species_id"]: row for row in csv.DictReader(file)}
    own = {**rows["rotala-macrandra"], "species_id": "own", "common_name": "[bold]own[/bold]"}
    changed = {**dict.fromkeys(own, ""), "species_id": "egeria-densa", "rate_per_day": "0.2"}
    with (folder / "species.csv").open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, list(own))
        writer.writeheader()
        writer.writerows([changed, own])


@pytest.mark.parametrize(
    ("typed", "plant"),
    [
        ("microsorum-pteropus", "leptochilus-pteropus"),
        ("Java  Fern", "leptochilus-pteropus"),
        ("Hydrocharis laevigata", "limnobium-laevigatum"),
        ("monte carlo", "micranthemum-tweediei"),
        ("rotala-rotundifolia", "rotala-rotundifolia"),
        ("rotala", None),
        ("", None),
    ],
)
def test_a_plant_goes_by_any_of_its_names(typed: str, plant: str | None) -> None:
    assert plant_named(read_shipped_species(), typed) == plant


def test_no_two_plants_share_a_name() -> None:
    species = read_shipped_species()
    columns = ("scientific_name", "common_name", "also_known_as")
    for name in {
        name for column in columns for cell in species.text(column) for name in cell.split(";")
    } - {""}:
        assert plant_named(species, name) is not None, name


def test_a_keeping_ban_is_named_where_it_holds():
    table = read_shipped_species()
    for locale, banned in (("de-DE", True), ("fr-FR", True), ("en-US", False), ("", False)):
        priors = sp.species_priors(table, locale)
        said = dict(zip(priors.species_id.tolist(), priors.caution.tolist(), strict=True))
        assert ("banned" in said["pistia-stratiotes"]) is banned
        assert "check local rules" in said["pistia-stratiotes"]
        assert "banned" not in said["hygrophila-polysperma"]
        assert "Close relatives" in said["alternanthera-reineckii"]
    listed = {name for ban in sp.read_reference().keeping_bans for name in ban["plants"]}
    assert listed <= set(table.text("species_id").tolist())
