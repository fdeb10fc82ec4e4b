"""The grammar of a visit in one line."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import pytest

from growthcast.book.writing.visit.entry import (
    log_rows,
    looks_like_item,
    parse_visit,
    visit_rows,
)
from growthcast.book.writing.visit.places import Place, places_of, tank_of_visit
from growthcast.errors import UsageError
from growthcast.say.log import visit_in_words
from tests.unit.book.small_book import FILES

STEMS = Place("stems", "Back stems", is_cover=False)
MOSS = Place("lobby-moss", "", is_cover=False)
CRYPT = Place("crypt", "Crypts", is_cover=False, cut_cm=9.0)
FLOAT = Place("floaters", "Floaters", is_cover=True)
ODD = Place("a=b", "Odd", is_cover=False)
PLACES = (STEMS, MOSS, CRYPT, FLOAT, ODD)


def amounts(*items):
    rows = parse_visit(items, PLACES, {"fern": "home"})
    return {row.place.area_id if row.place else None: dict(row.amounts) for row in rows}


def test_a_visit_has_a_time_in_all_and_water_changed():
    assert amounts("35min", "visit=1h10", "water=50%", "note:iron 5 ml") == {
        None: {"minutes": 35.0, "visit_min": 70.0, "water_share": 0.5, "note": "iron 5 ml"}
    }
    [row] = parse_visit(["visit=70min", "water=12,5%"], PLACES, {})
    said = visit_in_words("lobby", date(2026, 3, 2), [row], PLACES)
    assert said[1] == "  whole tank: 70 min at the tank in all; 12.5 % of the water changed"
    with pytest.raises(UsageError, match="time at the tank is given twice"):
        amounts("visit=70min", "visit=80min")


def test_the_beginning_of_an_id_will_do_and_a_letter_for_a_look():
    assert amounts("st=24/12", "cr=r", "LOBBY=s") == {
        "stems": {"before_cm": 24.0, "after_cm": 12.0},
        "crypt": {"look": "right"},
        "lobby-moss": {"look": "short"},
    }
    alike = [Place(f"lobby-{name}", "", is_cover=False) for name in ("rotala", "rosette", "moss")]
    [row] = parse_visit(["m=o"], alike, {})  # without what the ids have in common
    assert row.place.area_id == "lobby-moss"
    with pytest.raises(UsageError, match="it may be lobby-rosette, lobby-rotala: write more"):
        parse_visit(["ro=r"], alike, {})
    gone = [replace(place, alive=place is not alike[1]) for place in alike]
    [row] = parse_visit(["ro=r"], gone, {})  # what is gone is not meant
    assert row.place.area_id == "lobby-rotala"


def test_places_know_what_is_measured_as_cover(inspect):
    """Of floating plants cover is read, of all others a height."""
    book, _ = inspect()
    cover = [
        [(one.area_id, one.is_cover) for one in places_of(book, tank, date(2026, 3, 2))]
        for tank in ("T1", "T2")
    ]
    assert cover == [[("A1", False), ("A2", False)], [("A3", True)]]


def test_places_are_as_they_are_on_the_day(inspect):
    """Alive on the first day and the last; a row that only looks is logged without a measure."""
    head, one, two, three = FILES["areas.csv"].splitlines()
    areas = "\n".join([f"{head},removed_on", f"{one},", f"{two},2026-02-01", f"{three},", ""])
    log = "date,tank_id,area_id,before_cm,look\n2026-02-01,T1,A1,,over\n2026-02-01,T1,A2,5,\n"
    book, _ = inspect(areas_csv=areas, trims_csv=log)

    def seen(day):
        found = places_of(book, "T1", day)
        return [(p.area_id, p.cut_cm, p.alive, p.logged, p.measured) for p in found]

    assert seen(date(2025, 12, 31)) == [
        ("A1", 12.0, False, False, False),
        ("A2", None, False, False, False),
    ]
    assert seen(date(2026, 1, 1)) == [
        ("A1", 12.0, True, False, False),
        ("A2", None, True, False, False),
    ]
    assert seen(date(2026, 2, 1)) == [
        ("A1", 12.0, True, True, False),
        ("A2", None, True, True, True),
    ]
    assert [place[2] for place in seen(date(2026, 2, 2))] == [True, False]


def test_a_whole_visit():
    assert amounts("stems=24/12", "lobby-moss=look:right", "crypt=-3cm", "all=180g", "35min") == {
        "stems": {"before_cm": 24.0, "after_cm": 12.0},
        "lobby-moss": {"look": "right"},
        "crypt": {"removed_cm": 3.0},
        None: {"removed_g": 180.0, "minutes": 35.0},
    }


@pytest.mark.parametrize(
    ("value", "row"),
    [
        ("24/12", {"before_cm": 24.0, "after_cm": 12.0}),
        ("24cm/12cm", {"before_cm": 24.0, "after_cm": 12.0}),
        ("24/12cm", {"before_cm": 24.0, "after_cm": 12.0}),
        ("240/120 mm", {"before_cm": 24.0, "after_cm": 12.0}),
        ("24,5 / 12,25", {"before_cm": 24.5, "after_cm": 12.25}),
        ("24.5/12", {"before_cm": 24.5, "after_cm": 12.0}),
        ("24", {"before_cm": 24.0}),
        ("24/", {"before_cm": 24.0}),
        ("/12", {"after_cm": 12.0}),
        ("-3", {"removed_cm": 3.0}),
        ("−3,5 cm", {"removed_cm": 3.5}),
        ("-30mm", {"removed_cm": 3.0}),
        ("180g", {"removed_g": 180.0}),
        ("-180g", {"removed_g": 180.0}),
        ("0.2kg", {"removed_g": 200.0}),
        ("0,25 KG", {"removed_g": 250.0}),
        ("over", {"look": "over"}),
        ("look:Short", {"look": "short"}),
        ("24/12+Replanted", {"before_cm": 24.0, "after_cm": 12.0, "replanted": "true"}),
        ("15min", {"minutes": 15.0}),
        ("1h", {"minutes": 60.0}),
        ("1h10", {"minutes": 70.0}),
        ("1 h 10 min", {"minutes": 70.0}),
        ("1,5h", {"minutes": 90.0}),
        (
            "24/12+over+90g+10min+note:a + b",
            {
                "before_cm": 24.0,
                "after_cm": 12.0,
                "look": "over",
                "removed_g": 90.0,
                "minutes": 10.0,
                "note": "a + b",
            },
        ),
    ],
)
def test_every_form_of_an_amount(value, row):
    assert amounts(f"stems={value}") == {"stems": row}


def test_an_area_is_known_by_id_case_or_label_and_its_items_add_up():
    assert amounts("Back stems=24/12", "STEMS=over", "stems=note:x") == {
        "stems": {"before_cm": 24.0, "after_cm": 12.0, "look": "over", "note": "x"}
    }
    assert amounts("a=b=5") == {"a=b": {"before_cm": 5.0}}
    assert amounts("floaters=80%/30") == {"floaters": {"before_cm": 80.0, "after_cm": 30.0}}
    assert amounts("note:fed = little") == {None: {"note": "fed = little"}}
    assert amounts("tank=1h") == {None: {"minutes": 60.0}}


@pytest.mark.parametrize(
    ("item", "said"),
    [
        ("stens=24/12", r'no area "stens"; did you mean "stems"\?'),
        ("moss=3", r'did you mean "lobby-moss"\?'),
        ("zzz=3", "there are stems, lobby-moss"),
        ("fern=3", 'area "fern" is in tank home'),
        ("stems=", "has nothing after the ="),
        ("stems=24\\12", "is not understood"),
        ("stems=24/12/3", "is not understood"),
        ("stems=24-12", "is not understood"),
        ("stems=/", "write the heights as 24/12"),
        ("stems=9in", '"in" is not a unit known here'),
        ("stems=9in/5", '"in" is not a unit of height'),
        ("stems=80%", "measured in centimetres"),
        ("floaters=8cm", "per cent of the surface"),
        ("stems=1,234", "1,234 may be 1234 or 1.23"),
        ("all=1.234g", "may be 1234 or 1.23"),
        ("stems=24+25", "the height before the cut is given twice"),
        ("stems=look:rihgt", r'did you mean "right"\?'),
        ("look:right", "a look without an area; write all=right for every area"),
        ("right", "a look without an area"),
        ("bucket=right", "a look without an area"),
        ("stems=rigth", r'"rigth" is not understood. did you mean "right"\?'),
        ("all=24/12", "heights without an area; .* as in stems=24/12"),
        ("rest=19/10", "heights without an area"),
        ("all=19", '"19" says nothing of a whole tank'),
        ("rest=", r"nothing after the =; write as rest=right or rest=900g"),
        ("visit=", r"nothing after the =; write as visit=70min"),
        ("visit=70", r'"70" is no time; write visit=70min'),
        ("water=50", r'"50" is no share of the water; write it in per cent: water=50%'),
        ("water=40l", r"no share of the water"),
        ("water=150%", r"more than all of the water"),
        ("bucket=", r"nothing after the =; write as bucket=900g"),
        ("all=", r"nothing after the =; write as all=right"),
        ("bucket=900", r'"900" is no weight; did you mean "bucket=900g"\?'),
        ("all=replanted", "in an area; write stems=24/12\\+replanted"),
        ("rest=-3cm", r'"3 cm" is no weight; did you mean "rest=3g"\?'),
        ("rest=35min", "rest= takes a weight, .* without a name, as in 35min"),
        ("bukcet=900g", r'did you mean "bucket"\?'),
        ("stems=note:", "nothing after note:"),
        ("", "says nothing"),
        ("24", "says nothing of a whole tank"),
        ("stems=nan", "is not understood"),
        ("stems=1e3", "is not understood"),
        ("../stems=3", "the tank has no area"),
    ],
)
def test_what_is_not_understood_is_named_with_what_to_write(item, said):
    with pytest.raises(UsageError, match=said):
        amounts(item)


def test_a_weight_of_the_tank_may_say_whose_it_is():
    assert amounts("bucket=900g") == {None: {"removed_g": 900.0, "grams_of": "all"}}
    assert amounts("Rest=0.9kg", "35min") == {
        None: {"removed_g": 900.0, "grams_of": "rest", "minutes": 35.0}
    }
    assert amounts("900g") == amounts("all=900g") == {None: {"removed_g": 900.0}}
    with pytest.raises(UsageError, match="the weight is given twice"):
        amounts("bucket=900g", "rest=200g")


def looks(*items, places=PLACES):
    rows = parse_visit(items, places, {})
    return {row.place.area_id: row.amounts["look"] for row in rows if "look" in row.amounts}


def test_one_look_for_all_areas_or_for_those_not_named():
    every = dict.fromkeys((place.area_id for place in PLACES), "right")
    assert looks("all=right") == looks("tank=look:right") == every
    assert looks("stems=over", "rest=right") == every | {"stems": "over"}
    named = ("stems=24/12", "crypt=note:x")
    assert looks(*named, "rest=right").keys() == every.keys() - {"stems", "crypt"}
    assert looks("stems=24/12", "all=right") == every
    gone = replace(MOSS, alive=False), replace(CRYPT, logged=True), STEMS
    assert looks("rest=right", places=gone) == {"stems": "right"}
    assert looks("rest=right+900g") == every


@pytest.mark.parametrize(
    ("items", "places", "said"),
    [
        (["all=right", "stems=over"], PLACES, "stems looks over by another part"),
        (["all=right", "rest=over"], PLACES, "stems looks right by another part"),
        (["stems=3", "rest=right"], (STEMS,), "no area of the tank is left"),
        (["all=right"], (replace(MOSS, logged=True), STEMS), "rows of lobby-moss on this day"),
        (["all=right"], (replace(STEMS, alive=False),), "no area of the tank is left"),
    ],
)
def test_a_look_for_many_areas_must_find_some_and_contradict_none(items, places, said):
    with pytest.raises(UsageError, match=said):
        parse_visit(items, places, {})


@pytest.mark.parametrize(
    ("word", "other"), [("rest", "REST"), ("all", "ALL"), ("BUCKET", "bucket")]
)
def test_an_area_keeps_its_id_where_a_word_has_the_same(word, other):
    odd = Place(word, "", is_cover=False)
    rows = parse_visit([f"{word}=24/12"], [odd, STEMS], {})
    assert [row.place for row in rows] == [odd]
    [_, line] = visit_in_words("t", date(2026, 3, 2), rows, [odd, STEMS])
    assert line.startswith(f"  {word}, the area of that id; {other}= is ")
    weighed = parse_visit([f"{other}=90g"], [odd, STEMS], {})
    assert [row.place for row in weighed] == [None]


def test_two_areas_of_one_label_must_be_told_apart():
    twins = (Place("a", "Moss", is_cover=False), Place("b", "moss", is_cover=False))
    with pytest.raises(UsageError, match=r'"Moss"; it may be a, b: write more of it, or its id'):
        parse_visit(["Moss=3"], twins, {})
    [row] = parse_visit(["Moss=3"], (replace(twins[0], alive=False), twins[1]), {})
    assert row.place.area_id == "b"  # of what goes by the name, the one that lives


def test_a_hyphen_at_the_end_begins_an_id_and_is_no_other_spelling_of_one():
    alike = [Place(one, "", is_cover=False) for one in ("stems", "stems-red")]
    [row] = parse_visit(["stems-=3"], alike, {})
    assert row.place.area_id == "stems-red"


def test_folders_are_told_from_items():
    items = ("stems=24/12", "35min", "180g", "1h10", "note:x", "right", "look:over")
    assert all(looks_like_item(x) for x in items)
    assert not any(looks_like_item(x) for x in ("my-book", ".", "/tmp/book", "book 2026"))


def test_the_visit_is_said_back_in_words():
    rows = parse_visit(
        ["stems=24/12+90g", "lobby-moss=right", "crypt=-3", "floaters=80/30", "all=180g+note:x"],
        PLACES,
        {},
    )
    assert visit_in_words("lobby", date(2026, 3, 2), rows, PLACES, ("all", "as W")) == [
        "Tank lobby, Monday 2026-03-02:",
        "  Back stems (stems): stood at 24 cm; cut to 12 cm; 90 g of trimmings",
        "  lobby-moss: looked right (between floor and height budget)",
        "  Crypts (crypt): 3 cm taken off; so cut to its usual 9 cm",
        "  Floaters (floaters): covered 80 %; cut to 30 %",
        "  whole tank: 180 g of trimmings, everything that came out of the tank, the amounts of "
        "Back stems (stems), Crypts (crypt), Floaters (floaters) included (as W); note: x",
    ]


@pytest.mark.parametrize(
    ("line", "reading", "said"),
    [
        ("180g", "all", "shared by Back stems (stems), lobby-moss"),
        ("180g stems=right", "all", "shared by Back stems (stems), lobby-moss"),
        ("180g stems=3", "all", "the amounts of Back stems (stems) included (why)"),
        ("180g stems=3", "rest", "of the areas without amounts of their own: lobby-moss (why)"),
        ("rest=180g stems=3", "all", "of the areas without amounts of their own: lobby-moss"),
        ("bucket=180g stems=3", "rest", "the amounts of Back stems (stems) included"),
        (
            "180g stems=3 lobby-moss=3",
            "rest",
            "without amounts of their own, and there is none (why)",
        ),
    ],
)
def test_whose_grams_a_whole_tanks_are_is_said(line, reading, said):
    rows = parse_visit(line.split(), [STEMS, MOSS], {})
    lines = visit_in_words("t", date(2026, 3, 2), rows, [STEMS, MOSS], (reading, "why"))
    assert lines[1].startswith("  whole tank: 180 g of trimmings, ")
    assert lines[1].endswith(said)


def test_areas_logged_earlier_that_day_have_amounts_of_their_own():
    rows = parse_visit(["180g"], [STEMS, MOSS], {})
    places = [replace(STEMS, logged=True, measured=True), MOSS]
    [_, line] = visit_in_words("t", date(2026, 3, 2), rows, places, ("rest", ""))
    assert line.endswith("of the areas without amounts of their own: lobby-moss")


def test_every_doubt_stands_under_what_it_is_about():
    rows = parse_visit(["stems=24", "90g"], PLACES, {})
    doubts = {"stems": ["far?"], None: ["heavy?"]}
    lines = visit_in_words("t", date(2026, 3, 2), rows, (), doubts=doubts)
    assert lines[2] == "    ? far?"
    assert lines[4] == "    ? heavy?"


@pytest.mark.parametrize(
    ("value", "said"),
    [
        ("24/24", "stood at 24 cm; not cut"),
        ("24+-0", "stood at 24 cm; not cut"),
        ("-0", "not cut"),
        ("0g", "not cut"),
        ("24+0g", "stood at 24 cm; not cut"),
        ("/12+-0", "stood at 12 cm; not cut"),
        ("24+over", "stood at 24 cm; looked over its height budget; not cut"),
        ("24/24+9g", "stood at 24 cm; cut to 24 cm; 9 g of trimmings"),
        ("24+9g", "stood at 24 cm; 9 g of trimmings; height left not measured"),
        ("24+-3", "stood at 24 cm; 3 cm taken off; so cut to 21 cm"),
        ("/12+-3", "cut to 12 cm; 3 cm taken off; so it stood at 15 cm"),
        ("-3", "3 cm taken off; height left not measured"),
        (
            "/9+replanted",
            "cut to 9 cm; height before not measured; its tops planted anew, so that "
            "it settles again",
        ),
        ("/0", "cut to 0 cm; height before not measured"),
        ("15min", "15 min of trimming"),
    ],
)
def test_what_was_cut_and_what_was_not(value, said):
    rows = parse_visit([f"stems={value}"], PLACES, {})
    assert visit_in_words("t", date(2026, 3, 2), rows, ())[1] == f"  Back stems (stems): {said}"


def test_halves_of_a_measurement_are_said_as_such():
    rows = parse_visit(["stems=24", "crypt=/12"], PLACES, {})
    assert visit_in_words("t", date(2026, 3, 2), rows, ())[1:] == [
        "  Back stems (stems): stood at 24 cm; not cut",
        "  Crypts (crypt): cut to 12 cm; height before not measured",
    ]


@pytest.mark.parametrize(
    ("named", "items", "found"),
    [
        ("T2", [], "T2"),
        ("north", [], "north-hall"),
        (None, ["A1=24"], "T1"),
        (None, ["A3=50", "35min", "note:A1=3"], "T2"),
        (None, ["A1=24", "bucket=90g"], "T1"),
        (None, ["A4=24"], "north-hall"),  # the beginning of an id, of one tank alone
        ("T", [], 'no tank "T"; it may be T1, T2: write'),
        ("T9", [], 'tanks.csv has no tank "T9"'),
        (None, ["A1=24", "A3=50"], "name the tank with --tank ID; the tanks are T1, T2, north"),
        (None, ["35min"], "name the tank with --tank ID"),
        (None, ["A=24"], "in T1, T2, north-hall areas begin so; name the tank"),
    ],
)
def test_the_tank_is_the_one_named_or_the_one_all_areas_are_in(inspect, named, items, found):
    tanks = FILES["tanks.csv"] + "north-hall,,60,30,30,\n"
    areas = FILES["areas.csv"] + "A4x,north-hall,,salvinia-natans,90,1,9,,2026-01-01\n"
    book, _ = inspect(tanks_csv=tanks, areas_csv=areas)
    if " " in found:
        with pytest.raises(UsageError) as refused:
            tank_of_visit(book, named, items)
        assert found in str(refused.value)
    else:
        assert tank_of_visit(book, named, items) == found


def test_a_visit_is_rows_of_the_log_with_who_logged_it(inspect):
    book, _ = inspect()
    day = date(2026, 3, 2)
    rows = log_rows(visit_rows(book, "T1", day, ["A1=24/12", "35min"]), "T1", day, "Ann")
    whole = {"date": day, "tank_id": "T1", "by": "Ann"}
    assert rows == [
        whole | {"area_id": "A1", "before_cm": 24.0, "after_cm": 12.0},
        whole | {"area_id": None, "minutes": 35.0},
    ]
    [bare] = log_rows(visit_rows(book, "T1", day, ["35min"]), "T1", day)
    assert "by" not in bare
    with pytest.raises(UsageError, match='"A3" is in tank T2; log that tank in a line of its own'):
        visit_rows(book, "T1", day, ["A3=24/12"])


def test_a_height_off_a_photo_says_so_with_its_error():
    assert amounts("stems=photo:17.2~1.3+/9", "crypt=Photo: 8 cm") == {
        "stems": {
            "before_cm": 17.2,
            "measured_by": "photo",
            "before_sd_cm": 1.3,
            "after_cm": 9.0,
        },
        "crypt": {"before_cm": 8.0, "measured_by": "photo"},
    }
    for item in ("stems=photo:high", "floaters=photo:30", "photo:17"):
        with pytest.raises(UsageError, match="a height read off a photo is written"):
            amounts(item)
