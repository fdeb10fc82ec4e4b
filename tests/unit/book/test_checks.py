"""What follows for each row from the other tables, beside plain loops over invented rows."""

from __future__ import annotations

import random
from datetime import date, timedelta

import numpy as np
import pytest

from growthcast.book.book import Practice
from growthcast.book.cells.convert import empty_table, read_table
from growthcast.book.cells.records import read_grid
from growthcast.book.checks.checks import _growing, remark_on_grams
from growthcast.book.checks.facts import Tables, _keys, doubles, first_of_each, kept
from tests.unit.book.small_book import FILES, SPECIES, TODAY

DAY = date(2026, 1, 1)
TANKS = ("T1", "T2", "T9", "")  # T9 is in no table
PLANTS = ("rotala-rotundifolia", "hydrocotyle-tripartita", "salvinia-natans", "unknown")


def table(name, header, rows):
    text = "\n".join([header, *(",".join(map(str, row)) for row in rows), ""])
    return read_table(read_grid(text.encode(), f"{name}.csv", frozenset())[0], name)[0]


def plain(name, text):
    header, *rows = text.splitlines()
    return table(name, header, [row.split(",") for row in rows])


@pytest.fixture(scope="module")
def drawn():
    """Rows by table, and the tables: some days, ids and amounts are blank or not known."""
    luck = random.Random(3)

    def day(share=0.8):
        return DAY + timedelta(luck.randrange(8)) if luck.random() < share else ""

    areas = []
    for n in range(9):
        first = day()
        last = (first or DAY) + timedelta(luck.randrange(6)) if luck.random() < 0.5 else ""
        areas.append([f"A{n}", luck.choice(TANKS[:3]), luck.choice(PLANTS), 100 + n, first, last])
    trims = [
        [
            day(0.9),
            luck.choice(TANKS),
            luck.choice(("", "", "A0", "A1", "A2", "A3", "A4", "A9")),
            luck.choice(("", 9)),
            luck.choice(("", 50)),
            luck.choice(("", "", "all", "rest")),
            luck.choice(("", "photo")),
        ]
        for _ in range(150)
    ]
    conditions = [
        [luck.choice(TANKS[:3]), day(0.9), luck.choice(("", 20, 30)), luck.choice(("", 7))]
        for _ in range(20)
    ]
    columns = "area_id,tank_id,species_id,area_cm2,planted_on,removed_on"
    log = "date,tank_id,area_id,before_cm,removed_g,grams_of,measured_by"
    held = {name: empty_table(name) for name in ("bounds", "closed")}
    held |= {"tanks": plain("tanks", FILES["tanks.csv"]), "species": plain("species", SPECIES)}
    held |= {"areas": table("areas", columns, areas), "trims": table("trims", log, trims)}
    held |= {"conditions": table("conditions", "tank_id,from_date,ppfd_umol,ph", conditions)}
    return {"areas": areas, "trims": trims, "conditions": conditions}, held


def lives(area, day):
    return (area[4] or DAY) <= day <= (area[5] or date.max)


def test_rows_of_one_thing_and_day_are_doubles_of_the_first(drawn):
    """A photo stands beside a ruler's reading; a whole tank's row beside those of its areas."""
    rows, held = drawn
    first, wanted = {}, []
    for at, (day, tank, area, _, _, _, by) in enumerate(rows["trims"]):
        key = (day, area or ("tank", tank), bool(area) and by == "photo")
        if day and (area or tank) and first.setdefault(key, at) != at:
            wanted.append((at, first[key]))
    assert doubles(held["trims"]) == wanted
    assert len(wanted) > 20
    later = {at for at, _ in wanted}
    left = [at + 2 for at in range(len(rows["trims"])) if at not in later]
    assert first_of_each(held["trims"]).rows.tolist() == left
    keys = _keys(held["trims"])
    assert (keys[[not row[0] for row in rows["trims"]]] < 0).all()
    by_tank, again = {}, []
    for at, (tank, day, *_) in enumerate(rows["conditions"]):
        if day and by_tank.setdefault((tank, day), at) != at:
            again.append((at, by_tank[tank, day]))
    assert doubles(held["conditions"]) == again
    assert again


def test_a_blank_condition_keeps_the_tanks_earlier_value(drawn):
    rows, held = drawn
    found = kept(Tables(held, TODAY, None).rows("conditions"), "ppfd_umol")
    told = [(tank, day or date.max, light) for tank, day, light, _ in rows["conditions"]]
    for at, (tank, day, light) in enumerate(told):
        # Of one day the last: only a book with a problem has several.
        earlier = [(when, n, lit) for n, (t, when, lit) in enumerate(told) if t == tank and lit]
        by_then = max((one for one in earlier if one[0] <= day), default=(None, None, np.nan))
        np.testing.assert_equal(found[at], light or by_then[2])


def test_the_areas_that_grow_while_a_row_of_conditions_holds(drawn):
    """From its day until the tank's next; of rows of one day, all but the last hold for none."""
    rows, held = drawn
    dated = [row for row in rows["conditions"] if row[1]]
    header = "tank_id,from_date,ppfd_umol,ph"
    held = held | {"conditions": table("conditions", header, dated)}
    for (at, (tank, day, *_)), mine in zip(
        enumerate(dated), _growing(Tables(held, TODAY, None)), strict=True
    ):
        later = [d for n, (t, d, *_) in enumerate(dated) if t == tank and (d, n) > (day, at)]
        until = min(later, default=date.max)
        wanted = [
            place
            for place, area in enumerate(rows["areas"])
            if area[1] == tank in ("T1", "T2")
            and area[2] != "unknown"
            and (area[4] or date.min) < until
            and (area[5] or date.max) >= day
        ]
        assert sorted(mine.tolist()) == wanted


@pytest.mark.parametrize("read_as", [None, "all", "rest"])
def test_who_shares_a_whole_tanks_weight_and_what_it_can_be_at_most(drawn, read_as):
    """Left out of "the rest" are areas with amounts of their own on the day.

    Stands at their ceilings: 60 g/L to the water, 40 and 30 cm; 80 g/L to 20 cm; of a full cover
    3 g per dm2.
    """
    rows, held = drawn
    facts = Tables(held, TODAY, Practice(whole_tank_grams=read_as)).rows("trims")
    per_cm2 = {"hydrocotyle-tripartita": 1.6, "salvinia-natans": 0.03, "unknown": 0.0}
    depth = {"T1": 40, "T2": 30, "T9": 0}
    most = [area[3] * per_cm2.get(area[2], 60 * depth[area[1]] / 1000) for area in rows["areas"]]
    own = {
        (day, tank, area)
        for day, tank, area, before, grams, _, _ in rows["trims"]
        if (before or grams) and area != "A9" and area
    }
    for at, (day, tank, area, _, grams, whose, _) in enumerate(rows["trims"]):
        if area:
            heaviest = most[int(area[1])] if area != "A9" else np.nan
            assert facts["most"][at] == pytest.approx(heaviest, nan_ok=True)
            continue
        living = [
            place
            for place, one in enumerate(rows["areas"])
            if tank in ("T1", "T2") and one[1] == tank and day and lives(one, day)
        ]
        assert facts["most"][at] == pytest.approx(sum(most[place] for place in living))
        if grams and day and tank in ("T1", "T2"):
            rest = whose == "rest" or (whose == "" and read_as == "rest")
            out = {one for d, t, one in own if (d, t) == (day, tank)} if rest else ()
            assert facts["sharers"][at] == len(living) - len(out)


def test_weights_beside_amounts_of_areas_are_counted(drawn):
    """Those that do not say whose grams they hold, on a day with amounts of single areas."""
    rows, held = drawn
    beside = {(day, tank) for day, tank, area, cm, g, _, _ in rows["trims"] if area and (cm or g)}
    found = [
        at
        for at, (day, tank, area, _, grams, whose, _) in enumerate(rows["trims"])
        if not area and grams and not whose and (day, tank) in beside
    ]
    [said] = remark_on_grams(held["trims"], "rest", "as [log] says")
    assert (said.row, said.heading) == (found[0] + 2, "removed_g")
    assert said.found.startswith(f"{len(found)} weights ")
    one = held["trims"].keep(np.arange(150) <= found[0])
    assert next(remark_on_grams(one, None, "")).found.startswith("1 weight ")
    assert not list(remark_on_grams(held["trims"].keep(np.arange(150) < found[0]), "all", ""))
