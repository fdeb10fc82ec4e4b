"""Planned visits and the letterhead: what cannot be read is told in a sentence."""

from __future__ import annotations

import base64
from datetime import date

import pytest

from growthcast.book.book import Practice
from growthcast.book.findings import format_findings
from growthcast.brief.letterhead import logo_of
from growthcast.brief.visits import read_visits
from growthcast.errors import RowsRefused

PNG = base64.b64decode(
    "iVBORw0KGgoAAAANSUhEUgAAAAEAAAABCAYAAAAfFcSJAAAADUlEQVR42mP8z8BQDwAEhQGAhKmMIQAAAABJRU5ErkJggg=="
)


def drawing(inside: str, size: str = 'width="9" height="9"') -> bytes:
    """Return a drawing with something inside."""
    spaces = 'xmlns="http://www.w3.org/2000/svg" xmlns:xl="http://www.w3.org/1999/xlink"'
    return f"<svg {spaces} {size}>{inside}</svg>".encode()


def plan(tmp_path, text):
    file = tmp_path / "plan.csv"
    file.write_bytes(text.encode() if isinstance(text, str) else text)
    return file


def test_visits_by_date_whatever_the_mark_and_the_other_columns(tmp_path):
    text = "note;tank_id;date\nb;lobby;2026-03-09\na;lobby;2026-03-02\n\n"
    visits = read_visits(plan(tmp_path, text), ["lobby"])
    assert [visit.on for visit in visits] == [date(2026, 3, 2), date(2026, 3, 9)]


def test_blanks_around_a_tank_are_none_of_its_id(tmp_path):
    [visit] = read_visits(plan(tmp_path, "date, tank_id\n2026-03-02, lobby \n"), ["lobby"])
    assert visit.tank_id == "lobby"


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("date,tank\n2026-03-02,lobby\n", "plan.csv:1: tank_id: found no column of that name"),
        ("dates,tank_id\n2026-03-02,lobby\n", "plan.csv:1: date: found no column of that name"),
        ("", "plan.csv: file: found 0 bytes"),
        ("date,tank_id\n2.3.2026,lobby\n", 'plan.csv:2:A: date: found "2.3.2026"'),
        ("date,tank_id\n2026-02-30,lobby\n", "a day no calendar has"),
        ("date,tank_id\n2026-03-02,lobby\n2026-03-02,loby\n", "plan.csv:3:B: tank_id: found"),
        ("date,tank_id\n2026-03-02,loby\n", 'did you mean "lobby"?'),
        ("date,tank_id\n2026-03-02,\n", "plan.csv:2:B: tank_id"),
        (b"date,tank_id\n\x00\xff", "plan.csv:2: file: found NUL bytes"),
    ],
)
def test_what_is_wrong_is_said(tmp_path, text, said):
    with pytest.raises(RowsRefused) as error:
        read_visits(plan(tmp_path, text), ["lobby", "home"])
    assert said in format_findings(error.value.findings)


def test_a_plan_that_is_not_there(tmp_path):
    with pytest.raises(RowsRefused) as error:
        read_visits(tmp_path / "none.csv", [])
    assert "none.csv: file: found" in format_findings(error.value.findings)


@pytest.mark.parametrize(
    ("name", "content", "said"),
    [
        ("logo.png", None, "has no such file"),
        ("logo.png", b"GIF89a", "is no PNG file"),
        ("logo.png", PNG[:60], "is damaged or cut off"),
        ("logo.svg", b"not a drawing", "no well-formed SVG (syntax error: line 1, column 0)"),
        ("logo.svg", drawing("<title>A & B</title>"), "in a text & is written &amp;"),
        ("logo.svg", b'<?xml version="1.0" encoding="none"?><svg/>', "no well-formed SVG"),
        ("logo.svg", b"<html><svg/></html>", "holds no SVG"),
        ("logo.svg", drawing("", ""), "has no size"),
        ("logo.svg", drawing("", 'width="100%" height="100%"'), "has no size"),
        ("logo.svg", drawing("", 'viewBox="0 0 0 9"'), "has no size"),
        ("logo.svg", drawing('<image href="a.png"/>'), 'another picture ("a.png"); embed'),
        ("logo.svg", drawing('<g><image xl:href="http://a/b"/></g>'), "another picture"),
        ("logo.jpg", PNG, "is no JPG file"),
        ("logo.png", b"x" * 2_000_001, "larger than 2 MB"),
    ],
)
def test_a_logo_that_cannot_be_used_leaves_the_page_without(tmp_path, name, content, said):
    if content is not None:
        (tmp_path / name).write_bytes(content)
    logo, why = logo_of(Practice(logo=name), tmp_path)
    assert logo is None
    assert said in why


def test_a_logo_outside_the_folder_by_a_link_is_not_read(tmp_path):
    book = tmp_path / "book"
    book.mkdir()
    (tmp_path / "secret.png").write_bytes(PNG)
    (book / "logo.png").symlink_to(tmp_path / "secret.png")
    logo, why = logo_of(Practice(logo="logo.png"), book)
    assert logo is None
    assert "outside" in why


@pytest.mark.parametrize(
    "size", ['viewBox="0 0 9 9"', 'viewBox="0,0,9,9"', 'width="9" height="0.5cm"']
)
def test_a_drawing_with_a_size(tmp_path, size):
    (tmp_path / "logo.svg").write_bytes(drawing('<image href="data:image/png;base64,"/>', size))
    assert logo_of(Practice(logo="logo.svg"), tmp_path)[1] is None


def test_a_logo(tmp_path):
    (tmp_path / "logo.PNG").write_bytes(PNG)
    logo, why = logo_of(Practice(logo="logo.PNG"), tmp_path)
    assert (logo.suffix, logo.content, why) == ("png", PNG, None)
