"""A page as HTML: what a person typed never becomes markup, and every id stands once."""

from __future__ import annotations

import re
from datetime import date
from types import SimpleNamespace

import numpy as np

from growthcast.brief.html import page_html
from growthcast.brief.page import (
    Column,
    Fact,
    Facts,
    Heading,
    Items,
    Logo,
    Page,
    Paragraph,
    Picture,
    Pictures,
    Table,
)
from growthcast.figures.lettering import drawable
from growthcast.figures.pages import COURSE_MM, course_picture
from growthcast.say.locale import open_locale
from growthcast.say.words import named
from growthcast.service.pages.client import Course

EVIL = "<script>alert(1)</script>\"'&{{7*7}}"


def page(text: str = EVIL, logo: Logo | None = None) -> Page:
    drawn = drawable(text)
    days, heights = np.array([0.0, 7.0, 7.0, 14.0]), np.array([8.0, 22.0, 6.0, 15.0])
    went = Course(days, heights + np.array([[-1.0], [0.0], [2.0]]), (7,))
    area = SimpleNamespace(floor_cm=7.0, budget_cm=20.0, is_cover=False, at=(date(2026, 3, 2),))
    size_mm = COURSE_MM[2]
    svg = course_picture(open_locale("en-GB"), went, area, 28.0, (drawn, drawn), size_mm)
    picture = Picture(svg, text, text, text)
    return Page(
        language="en",
        title=text,
        under_title=text,
        day="2026-03-02",
        practice=text,
        contact=text,
        logo=logo,
        blocks=(
            Heading(text),
            Paragraph(text, "lead"),
            Items((text,)),
            Facts((Fact(text, text, text), Fact(text, text, contact=True))),
            Table(
                text, (Column(text), Column(text, numeric=True)), ((text, text),), 0, text, (0.5,)
            ),
            Pictures((picture, picture), text, 3),
        ),
        foot=text,
    )


def test_a_persons_text_is_never_markup():
    html = page_html(page()).decode()
    assert "<script" not in html
    assert "&lt;script&gt;" in html
    assert "49" not in re.sub(r"<svg.*?</svg>", "", html, flags=re.S)
    assert "{{7*7}}" in html


def test_no_script_no_network_one_file():
    html = page_html(page()).decode()
    assert "default-src 'none'" in html
    assert not re.search(r"""(src|href)=["'](?!#|data:)""", html)
    assert "@import" not in html
    assert "url(http" not in html


def test_ids_stand_once_and_references_find_them():
    html = page_html(page("plain")).decode()
    ids = re.findall(r'\bid="([^"]+)"', html)
    assert len(ids) == len(set(ids)) > 5
    wanted = re.findall(r'href="#([^"]+)"', html) + re.findall(r"url\(#([^)]+)\)", html)
    wanted += " ".join(re.findall(r'aria-labelledby="([^"]+)"', html)).split()
    assert wanted
    assert set(wanted) <= set(ids)


def test_every_colour_of_a_drawing_can_be_changed_by_the_page():
    html = page_html(page("plain")).decode()
    drawn = re.search(r"<svg.*?</svg>", html, re.S)[0]
    assert "var(--fig-009e73, #009e73)" in drawn
    assert not re.search(r"(fill|stroke): #", drawn)


def test_a_logo_is_a_picture_that_cannot_run():
    html = page_html(page("p", Logo(b"<svg onload='alert(1)'/>", "svg"))).decode()
    assert '<img class="logo" src="data:image/svg+xml;base64,' in html
    assert "onload" not in html


def test_the_same_page_is_the_same_bytes():
    assert page_html(page()) == page_html(page())


def test_right_to_left_names_do_not_turn_the_text_around_them():
    assert named("نباتات") == "\u2068نباتات\u2069"
    assert named("stems\n\x07 ") == "stems"
    assert named("  ", "a1") == "a1"


def test_telephone_and_mail_can_be_followed_and_nothing_else():
    text = "Tel. +49 (0)30 123 456, a.b@example.org, <since 1999>"
    html = page_html(page(text)).decode()
    assert '<a href="tel:+4930123456">+49 (0)30 123 456</a>' in html
    assert '<a href="mailto:a.b@example.org">a.b@example.org</a>, &lt;since 1999&gt;' in html
    assert html.count("<a href") == 4  # the letterhead's and that of the fact to follow
