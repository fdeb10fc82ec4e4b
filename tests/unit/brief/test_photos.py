"""Photos that somebody chose for a client's page: shown with their day, or said why not."""

from __future__ import annotations

from dataclasses import replace

import pytest
from PIL import Image

from growthcast.brief.html import page_html
from growthcast.brief.photos import photo_blocks, photos_of
from growthcast.say.locale import open_locale
from tests.books import make_book
from tests.unit.brief.test_page_html import page

TANKS = "tank_id,client,water_depth_cm,photos\nlobby,A,46,{}\nhome,B,34,\n"


@pytest.fixture
def chosen(tmp_path):
    def book_with(names):
        folder = tmp_path / "book"
        (folder / "photos").mkdir(parents=True, exist_ok=True)
        for day in ("01-05", "02-28", "03-07", "03-14"):
            Image.new("RGB", (40, 20), "green").save(folder / f"photos/2026-{day}-lobby.jpg")
        Image.new("RGB", (4, 2)).save(folder / "2026-01-01.jpg")
        return photos_of(make_book(folder, tanks=TANKS.format(names)), ["lobby", "home"])

    return book_with


def test_chosen_photos_stand_side_by_side_from_the_first_to_the_last(chosen):
    photos, without = chosen("2026-02-28-lobby.jpg 2026-01-05-lobby.jpg")
    assert not without
    locale = open_locale("en-GB")
    heading, pictures = photo_blocks(locale, photos, 2)
    assert heading.text == "Your tank in pictures"
    assert [one.title for one in pictures.pictures] == ["5 January 2026", "28 February 2026"]
    shown = page_html(replace(page("x"), blocks=(heading, pictures))).decode()
    assert shown.count('href="data:image/jpeg;base64,') == 2
    assert 'viewBox="0 0 40 20"' in shown
    assert photo_blocks(locale, [], 2) == []


@pytest.mark.parametrize(
    ("names", "said"),
    [
        ("2026-05-05-lobby.jpg", "the book's folder has no such file"),
        ("../2026-01-01.jpg", "names are as photos has them"),
        ("2026-13-41-lobby.jpg", "names are as photos has them"),
        ("; ".join(f"2026-{d}-lobby.jpg" for d in ("01-05", "02-28", "03-07", "03-14")), "3 of a"),
    ],
)
def test_a_page_does_without_a_photo_and_says_why(chosen, names, said):
    photos, [without] = chosen(names)
    assert said in without
    assert len(photos) == (3 if ";" in names else 0)
