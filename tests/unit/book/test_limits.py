"""Both sides of every limit of the contract: at it a book is read, just beyond it is a problem."""

from __future__ import annotations

import tracemalloc

import pytest

from tests.unit.book.small_book import FILES

CONDITIONS = {
    "ppfd_umol": ("0", "3000", "-0.1", "3000.1"),
    "photoperiod_h": ("0", "24", "-0.1", "24.1"),
    "ph": ("4", "10", "3.9", "10.1"),
    "kh_dkh": ("0", "40", "-0.1", "40.1"),
    "co2_mg_l": ("0", "100", "-0.1", "100.1"),
    "temperature_c": ("0", "45", "-0.1", "45.1"),
}
TARGETS = {
    "confidence": ("0.5", "0.99", "0.49", "0.995"),
    "intervals_d": ("[1]", "[365]", "[0]", "[366]"),
    "horizon_d": ("1", "730", "0", "731"),
}


def problems(inspect, **changes):
    return [found for found in inspect(**changes)[1] if found.level == "problem"]


def cases(limits):
    return [
        (name, value, place < 2)
        for name, values in limits.items()
        for place, value in enumerate(values)
    ]


@pytest.mark.parametrize(("column", "value", "good"), cases(CONDITIONS))
def test_conditions(inspect, column, value, good):
    table = f"tank_id,from_date,{column}\nT1,2026-01-01,{value}\n"
    found = problems(inspect, conditions_csv=table)
    # A temperature or a light that no plant of the tank stands is said, but is no typing fault.
    assert (found == []) == good, found
    assert all((one.row, one.column) == (2, "C") or good for one in found)


@pytest.mark.parametrize(("key", "value", "good"), cases(TARGETS))
def test_targets(inspect, key, value, good):
    lines = FILES["practice.toml"].splitlines()
    text = "\n".join(f"{key} = {value}" if line.startswith(key) else line for line in lines)
    found = problems(inspect, practice_toml=text + "\n")
    assert (found == []) == good, found
    assert all(one.file == "practice.toml" for one in found)


@pytest.mark.parametrize(
    ("area", "column", "value", "good"),
    [
        ("A1", "before_cm", "0.01", True),
        ("A1", "before_cm", "0", False),
        ("A1", "before_cm", "300", True),
        ("A1", "before_cm", "300.1", False),
        ("A1", "after_cm", "0", True),
        ("A1", "after_cm", "-0.1", False),
        ("A3", "before_cm", "100", True),
        ("A3", "before_cm", "100.1", False),
        ("A3", "after_cm", "100.1", False),
    ],
)
def test_readings(inspect, area, column, value, good):
    tank = "T2" if area == "A3" else "T1"
    table = f"date,tank_id,area_id,{column}\n2026-02-01,{tank},{area},{value}\n"
    found = problems(inspect, trims_csv=table)
    assert (found == []) == good, found


@pytest.mark.parametrize(
    ("share", "good"), [("0.01", True), ("1", True), ("-0.01", False), ("1.01", False)]
)
def test_shares_of_light(inspect, share, good):
    lines = FILES["areas.csv"].splitlines()
    rows = [f"{lines[0]},light_share", *(f"{line},{share}" for line in lines[1:])]
    assert (problems(inspect, areas_csv="\n".join(rows) + "\n") == []) == good


@pytest.mark.parametrize(("floor", "good"), [("24.9", True), ("25", False), ("25.1", False)])
def test_a_floor_lies_below_its_budget(inspect, floor, good):
    table = FILES["areas.csv"].replace("300,8,25,12", f"300,{floor},25,")
    assert (problems(inspect, areas_csv=table) == []) == good


@pytest.mark.parametrize(
    ("before", "after", "removed", "good"),
    [
        ("10", "10", "", True),
        ("10", "10.1", "", False),
        ("10", "", "10", True),
        ("10", "", "11", False),
    ],
)
def test_nothing_is_cut_that_was_not_there(inspect, before, after, removed, good):
    row = f"2026-02-01,T1,A1,{before},{after},{removed}\n"
    table = "date,tank_id,area_id,before_cm,after_cm,removed_cm\n" + row
    assert (problems(inspect, trims_csv=table) == []) == good


@pytest.mark.parametrize(
    ("day", "level"), [("04-01", None), ("04-02", "note"), ("04-03", "problem")]
)
def test_the_log_does_not_know_the_day_after_tomorrow(inspect, day, level):
    """The tests stand on 1 April: tomorrow may be today elsewhere on the globe."""
    table = f"date,tank_id,area_id,before_cm\n2026-{day},T1,A1,12\n"
    found = [one.level for one in inspect(trims_csv=table)[1] if one.level != "remark"]
    assert found == ([] if level is None else [level])


def test_one_long_note_does_not_make_every_area_as_long(inspect):
    header, first, *_ = FILES["areas.csv"].splitlines()
    rest = first.removeprefix("A1").replace("left", "{}")
    long = [f"A{n}{rest.format(n)},{'y' * 100_000 if n == 2 else ''}" for n in range(1, 301)]
    areas = "\n".join([f"{header},note", *long, ""])
    tracemalloc.start()
    inspect(areas_csv=areas, trims_csv=None)
    _, most = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert most < 50e6  # each of the 300 padded to the longest would be 120 MB
