"""One question has one number: the same tank, visit, next visit and cut, asked of each command.

Two questions are told apart. A *visit*: areas are cut from where they stand on its day (``cuts``,
``away``, ``peak``, ``rounds``, and ``overview`` where nothing is cut). A *rhythm*: a regular visit
finds areas where an interval has brought them (``interval``, the pages, and what ``cuts`` tells
beside its own chance).
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date, timedelta
from pathlib import Path

import numpy as np
import pytest

from growthcast.book.book import Book
from growthcast.book.files import demo_dir
from growthcast.book.read import read_book
from growthcast.fit.growth import fit_growth, last_logged
from growthcast.fit.result import GrowthFit
from growthcast.plain import plain
from growthcast.say.cuts import sheet_sentence
from growthcast.service.advice import TankAdvice
from growthcast.service.pages.client import gather_tank
from growthcast.service.pages.overview import tank_standings
from growthcast.service.recommend import recommend
from growthcast.service.rounds.plan import RoundsPlan, plan_rounds
from growthcast.service.rounds.windows import tank_windows
from growthcast.service.urgency import tanks_due
from growthcast.service.visit.away import weeks_away
from growthcast.service.visit.cuts import cut_sheet
from growthcast.service.visit.peak import peak_plan
from growthcast.service.watch.watch import watch_growth
from tests.cli import run, shared_fits
from tests.e2e.test_commands import strict_json
from tests.simulator import simulate
from tests.simulator.practice import random_practice
from tests.simulator.writing import write_files

pytestmark = pytest.mark.slow

DAYS = (5, 10, 14, 21)


@dataclass(frozen=True)
class Practice:
    """A book with its fit on the last logged day, and what is advised."""

    folder: Path
    book: Book
    on: date
    fit: GrowthFit
    advice: list[TankAdvice]
    plan: RoundsPlan

    @property
    def tanks(self) -> list[int]:
        """Places of the tanks in which something grows."""
        return [place for place, one in enumerate(self.advice) if one.options]


@pytest.fixture(scope="module", params=["demo", 1])
def practice(request, tmp_path_factory):
    folder = demo_dir()
    if request.param != "demo":
        plan = random_practice(3, 120, request.param, (3, 5), 60)
        folder = write_files(simulate(plan, request.param), tmp_path_factory.mktemp("simulated"))
    book = read_book(folder)
    on = last_logged(book)
    with shared_fits():
        fit = fit_growth(book, on)
    advice = recommend(book, fit)
    return Practice(folder, book, on, fit, advice, plan_rounds(book, fit, advice, on, 5))


@pytest.mark.parametrize("days", DAYS)
def test_a_visit_has_one_chance_and_one_set_of_cuts(practice, days):
    until = practice.on + timedelta(days=days)
    away = weeks_away(practice.book, practice.fit, practice.on, until)
    for tank in practice.tanks:
        sheet = cut_sheet(practice.book, practice.fit, tank, until)
        bridged = plain(away[tank])
        assert bridged["chance_bridged"] == plain(sheet)["chance_all_within"]
        by_area = {area.area_id: plain(area) for area in sheet.areas}
        for area in bridged["areas"]:
            mine = by_area[area["area_id"]]
            assert area["bridging_cut_cm"] == mine["cut_cm"]
            for same in ("chance_within", "needed_cut_cm", "days_below_floor"):
                assert area[same] == mine[same]


@pytest.mark.parametrize("days", DAYS)
def test_a_cut_that_holds_on_the_way_to_a_peak_is_the_sheets(practice, days):
    """An area shaped at the later visit is held until then by the cut of the sheet."""
    then = practice.on + timedelta(days=days)
    for tank in practice.tanks:
        sheet = {a.area_id: a for a in cut_sheet(practice.book, practice.fit, tank, then).areas}
        shine = then + timedelta(days=14)
        plan = peak_plan(practice.book, practice.fit, tank, shine, [practice.on, then])
        for area in plan.areas:
            for cut in area.cuts:
                if cut.purpose == "hold":
                    mine = plain(sheet[area.area_id])
                    assert cut.on == practice.on
                    assert plain(cut)["cut_cm"] == mine["cut_cm"]
                    assert plain(cut)["chance_within"] == mine["chance_within"]


def test_planned_visits_have_the_chance_of_their_sheets(practice):
    """The first visit of a plan is an absence until the second, cut as its sheet says."""
    plan = practice.plan
    seen = 0
    for tank in practice.tanks:
        name = practice.advice[tank].tank_id
        mine = [plain(visit) for visit in plan.visits if visit.tank_id == name]
        if len(mine) < 2:
            continue
        first, second = mine[:2]
        assert first["next_on"] == second["date"]
        [away] = weeks_away(
            practice.book,
            practice.fit,
            date.fromisoformat(first["date"]),
            date.fromisoformat(second["date"]),
            np.array([tank]),
        )
        assert second["chance_over"] == pytest.approx(1.0 - away.chance_bridged, abs=6e-5)
        cuts = {cut["area_id"]: cut["cut_cm"] for cut in first["cuts"]}
        assert cuts == {area.area_id: plain(area)["bridging_cut_cm"] for area in away.areas}
        seen += 1
    assert seen


def test_what_is_left_uncut_has_one_chance(practice):
    """Overview's risk a week ahead is that of a plan, and of the first visit a plan makes."""
    standings = {one.place: one for one in tank_standings(practice.book, practice.fit)}
    first_day = float(np.datetime64(practice.on, "D").astype(np.int64))
    windows = tank_windows(practice.book, practice.fit, practice.advice, first_day, 28)
    plan = practice.plan
    for tank in practice.tanks:
        assert standings[tank].risk == pytest.approx(1.0 - windows[tank].now.all_within[7])
        first = next(v for v in plan.visits if v.tank_id == windows[tank].tank_id)
        if first.on <= practice.on + timedelta(days=7):
            ahead = (first.on - practice.on).days
            within = windows[tank].now.all_within[ahead]
            assert first.chance_over == pytest.approx(1.0 - within, abs=1e-9)


@pytest.mark.parametrize("back", [0, 11, 25, 52])
def test_a_tank_has_one_due_day(practice, back):
    """Overview, a tank asked for alone (as after a logged visit) and plans of any length."""
    on, tanks = practice.on - timedelta(days=back), np.arange(len(practice.advice))
    known = practice.book.trims.date("date") <= np.datetime64(on, "D")
    book = replace(practice.book, trims=practice.book.trims.keep(known))
    with shared_fits():
        fit = fit_growth(book, on)
    advice = recommend(book, fit)
    plans = [plan_rounds(book, fit, advice, on + timedelta(days=n), 3 * n + 2) for n in (0, 1, 2)]
    for one in tank_standings(book, fit):
        tank, told = one.place, (one.due_on, one.due_by)
        [alone] = tanks_due(book, fit, [advice[tank]], tanks[[tank]])
        assert (alone.due_on, alone.due_by) == told
        for plan in plans if one.due_on else ():
            window = plan.tanks[tank]
            assert (plan.start + timedelta(days=window.due_d), window.due_by) == told


def test_a_rhythm_has_one_chance(practice):
    first_day = float(np.datetime64(practice.on, "D").astype(np.int64))
    windows = tank_windows(practice.book, practice.fit, practice.advice, first_day, 35)
    for tank in practice.tanks:
        advice, after = practice.advice[tank], windows[tank].after
        for option in advice.options:
            until = practice.on + timedelta(days=option.interval_d)
            told = plain(cut_sheet(practice.book, practice.fit, tank, until))
            assert told["chance_all_within_at_rhythm"] == round(option.chance_all_within, 4)
        days = windows[tank].interval_d
        chosen = advice.option(days)
        assert after.all_within[days] == chosen.chance_all_within
        assert (1.0 - after.over[:, days]).tolist() == pytest.approx(
            [area.chance_within for area in chosen.areas], abs=1e-12
        )


def test_the_sheet_says_where_the_two_differ(practice):
    for tank in practice.tanks:
        for days in DAYS:
            sheet = cut_sheet(practice.book, practice.fit, tank, practice.on + timedelta(days=days))
            visit, rhythm = sheet.chance_all_within, sheet.rhythm.chance_all_within
            if abs(visit - rhythm) > 0.011 and 0.01 < rhythm < 0.99:
                assert f"At a steady rhythm of {days} days it would be {100 * rhythm:.0f} %" in (
                    sheet_sentence(sheet)
                )
            if visit == rhythm:
                assert "steady rhythm" not in sheet_sentence(sheet)


def test_growth_against_usual_is_that_of_the_watch(practice):
    watched = watch_growth(practice.book, practice.on, np.arange(len(practice.book.tanks)))
    recent = {one.tank_id: one.recent for one in watched.tanks}
    assert any(recent.values())
    for one in tank_standings(practice.book, practice.fit):
        assert one.growth == recent[one.advice.tank_id]


def test_growth_a_week_is_one_figure(practice):
    fitted = strict_json(run("fit", str(practice.folder), "--json").out)
    weekly = {area["area_id"]: area["cm_per_week"] for area in fitted["areas"]}
    for tank in practice.tanks[:3]:
        name = practice.advice[tank].tank_id
        plan = peak_plan(
            practice.book, practice.fit, tank, practice.on + timedelta(days=20), [practice.on]
        )
        for area in plan.areas:
            assert plain(area)["cm_per_week"] == weekly[area.area_id]["p50"]
        if not practice.advice[tank].nothing_holds:
            facts = gather_tank(practice.book, practice.fit, tank)
            for area in facts.areas:
                told = [round(float(speed), 2) for speed in area.speed]
                assert told == list(weekly[area.forecast.area_id].values())
        first = practice.advice[tank].options[0].areas[0].area_id
        plants = strict_json(
            run("rescape", str(practice.folder), "--tank", name, "--area", first, "--json").out
        )
        listed = [*plants["plants"], *plants["left_out"]]
        [there] = [plant for plant in listed if plant["is_there_now"]]
        assert there["cm_per_week"] == weekly[first]


def test_the_commands_print_these_numbers(practice):
    """What the library gives is what each command's JSON says, to the digit."""
    tank = practice.tanks[0]
    name, on = practice.advice[tank].tank_id, str(practice.on)
    next_on = str(practice.on + timedelta(days=10))

    def ask(*arguments):
        return strict_json(run(arguments[0], str(practice.folder), *arguments[1:], "--json").out)

    sheet = ask("cuts", "--tank", name, "--on", on, "--next", next_on)
    last_day = str(practice.on + timedelta(days=9))
    gone = ask("away", "--tank", name, "--on", on, "--from", on, "--to", last_day)
    [bridged], cuts = gone["tanks"], {a["area_id"]: a["cut_cm"] for a in sheet["areas"]}
    assert bridged["chance_bridged"] == sheet["chance_all_within"]
    assert {a["area_id"]: a["bridging_cut_cm"] for a in bridged["areas"]} == cuts
    [rhythm] = ask("interval", "--tank", name, "--on", on)["tanks"]
    [ten] = [option for option in rhythm["options"] if option["interval_d"] == 10]
    assert sheet["chance_all_within_at_rhythm"] == ten["chance_all_within"]
    rounds = ask("rounds", "--on", on, "--from", on, "--weeks", "5")
    assert [v["chance_over"] for v in rounds["visits"]] == [
        plain(v)["chance_over"] for v in practice.plan.visits
    ]
