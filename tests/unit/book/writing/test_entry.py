"""The grammar of a visit in one line."""

from __future__ import annotations

from datetime import date

import pytest

from growthcast.book.writing.visit.echo import visit_in_words
from growthcast.book.writing.visit.entry import Place, looks_like_item, parse_visit
from growthcast.errors import UsageError

STEMS = Place("stems", "Back stems", is_cover=False)
MOSS = Place("lobby-moss", "", is_cover=False)
CRYPT = Place("crypt", "Crypts", is_cover=False, cut_cm=9.0)
FLOAT = Place("floaters", "Floaters", is_cover=True)
ODD = Place("a=b", "Odd", is_cover=False)
PLACES = (STEMS, MOSS, CRYPT, FLOAT, ODD)


def amounts(*items):
    rows = parse_visit(items, PLACES, {"fern": "home"})
    return {row.place.area_id if row.place else None: dict(row.amounts) for row in rows}


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
        ("stem=24/12", r'no area "stem"; did you mean "stems"\?'),
        ("moss=3", r'did you mean "lobby-moss"\?'),
        ("zzz=3", "the tank's areas are stems, lobby-moss"),
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
        ("look:right", "a look without an area"),
        ("all=24/12", "heights without an area"),
        ("24", "says nothing of a whole tank"),
        ("stems=nan", "is not understood"),
        ("stems=1e3", "is not understood"),
        ("../stems=3", "the tank has no area"),
    ],
)
def test_what_is_not_understood_is_named_with_what_to_write(item, said):
    with pytest.raises(UsageError, match=said):
        amounts(item)


def test_two_areas_of_one_label_must_be_told_apart():
    twins = (Place("a", "Moss", is_cover=False), Place("b", "moss", is_cover=False))
    with pytest.raises(UsageError, match=r'2 areas are labelled "Moss"; write one of the ids a, b'):
        parse_visit(["Moss=3"], twins, {})


def test_folders_are_told_from_items():
    assert all(looks_like_item(x) for x in ("stems=24/12", "35min", "180g", "1h10", "note:x"))
    assert not any(looks_like_item(x) for x in ("my-book", ".", "/tmp/book", "book 2026"))


def test_the_visit_is_said_back_in_words():
    rows = parse_visit(
        ["stems=24/12+90g", "lobby-moss=right", "crypt=-3", "floaters=80/30", "all=180g+note:x"],
        PLACES,
        {},
    )
    assert visit_in_words("lobby", date(2026, 3, 2), rows, PLACES) == [
        "Tank lobby, Monday 2026-03-02:",
        "  Back stems (stems): stood at 24 cm; cut to 12 cm; 90 g of trimmings",
        "  lobby-moss: looked right (between floor and height budget)",
        "  Crypts (crypt): 3 cm taken off; so cut to its usual 9 cm",
        "  Floaters (floaters): covered 80 %; cut to 30 %",
        "  whole tank: 180 g of trimmings, of the areas without amounts of their own today: "
        "Odd (a=b); note: x",
    ]


def test_halves_of_a_measurement_are_said_as_such():
    rows = parse_visit(["stems=24", "crypt=/12"], PLACES, {})
    assert visit_in_words("t", date(2026, 3, 2), rows, ())[1:] == [
        "  Back stems (stems): stood at 24 cm; not cut",
        "  Crypts (crypt): cut to 12 cm; height before not measured",
    ]
