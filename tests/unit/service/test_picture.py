"""A photo from a file that may be anything, and the pane that is kept of it."""

from __future__ import annotations

import math
from io import BytesIO

import numpy as np
import pytest
from PIL import Image

from growthcast.errors import UsageError
from growthcast.service.visit import picture
from growthcast.service.visit.picture import Picture, pane_of, read_picture, shown_picture

DIAGONAL_MM = 43.27  # of 36 by 24 mm


def photo(path, size=(400, 300), focal_mm=None, told=None, turned=None):
    """Write a JPEG as a camera would, with what it tells of itself."""
    made = Image.new("RGB", size, "white")
    exif = made.getexif()
    inner = exif.get_ifd(0x8769)
    if focal_mm:
        inner[0xA405] = focal_mm
    if told:
        inner[0xA002], inner[0xA003] = told
    if turned:
        exif[0x0112] = turned
    made.save(path, "JPEG", exif=exif)
    return path


def test_a_photo_tells_its_size_and_its_focal_length_in_pixels(tmp_path):
    """26 mm before a frame of 43.27 mm are as many shares of a diagonal of 500 pixels."""
    read = read_picture(photo(tmp_path / "a.jpg", focal_mm=26, told=(400, 300)))
    assert read == Picture(400, 300, pytest.approx(26 / DIAGONAL_MM * 500, rel=1e-3), False)
    turned = read_picture(photo(tmp_path / "b.jpg", focal_mm=26, turned=6))
    assert (turned.width, turned.height) == (300, 400)
    assert turned.focal_px == pytest.approx(read.focal_px)
    bare = read_picture(photo(tmp_path / "c.jpg"))
    assert math.isnan(bare.focal_px)
    assert not bare.cropped


@pytest.mark.parametrize(
    ("told", "cropped"),
    [
        ((800, 600), False),  # made smaller as a whole
        ((300, 400), False),  # as the sensor lies
        ((405, 300), True),  # 1.25 % wider
        ((403, 300), False),
        ((400, 0), False),
    ],
)
def test_a_photo_of_another_shape_than_it_says_was_cropped(tmp_path, told, cropped):
    read = read_picture(photo(tmp_path / "a.jpg", focal_mm=26, told=told))
    assert read.cropped is cropped
    assert math.isnan(read.focal_px) is cropped


def test_a_file_that_is_no_photo_is_refused_by_its_name(tmp_path, monkeypatch):
    path = tmp_path / "a.jpg"
    with pytest.raises(UsageError, match=r'"a.jpg" cannot be read: No such file'):
        read_picture(path)
    path.write_bytes(b"no picture")
    with pytest.raises(UsageError, match=r'"a.jpg" is no picture that can be read'):
        read_picture(path)
    whole = photo(path).read_bytes()
    path.write_bytes(whole[: len(whole) // 2])
    with pytest.raises(UsageError, match="or only part of one"):
        read_picture(path)
    photo(path)
    monkeypatch.setattr(picture, "MOST_PIXELS", 400 * 300)
    assert read_picture(path).width == 400
    monkeypatch.setattr(picture, "MOST_PIXELS", 400 * 300 - 1)
    with pytest.raises(UsageError, match="400 by 300 pixels, more than any photo"):
        read_picture(path)
    monkeypatch.setattr(picture, "MOST_BYTES", path.stat().st_size)
    monkeypatch.setattr(picture, "MOST_PIXELS", 10**6)
    assert read_picture(path).width == 400
    monkeypatch.setattr(picture, "MOST_BYTES", path.stat().st_size - 1)
    with pytest.raises(UsageError, match="has 0 MB, more than"):
        read_picture(path)


def test_a_photo_is_shown_upright_and_no_larger_than_a_page_needs(tmp_path, monkeypatch):
    monkeypatch.setattr(picture, "SHOWN_PX", 100)
    with Image.open(BytesIO(shown_picture(photo(tmp_path / "a.jpg", turned=6)))) as shown:
        assert shown.size == (75, 100)


def test_the_pane_alone_is_kept_seen_straight_on(tmp_path, monkeypatch):
    """A pane of 90 by 45 cm, tapped on a page of half the size; its upper left quarter is red."""
    monkeypatch.setattr(picture, "KEPT_WIDTHS_PX", (200, 20))
    made = Image.new("RGB", (800, 600), "black")
    made.paste("white", (100, 200, 700, 500))
    made.paste("red", (100, 200, 400, 350))
    made.save(tmp_path / "a.png")
    told = {"width": 400.0, "corners": [[50, 250], [350, 250], [350, 100], [50, 100]]}
    with Image.open(BytesIO(pane_of(tmp_path / "a.png", told, (90.0, 40.0, 45.0)))) as pane:
        assert pane.size == (200, 100)
        seen = np.asarray(pane.convert("RGB")).astype(int)
    for y, x, colour in ((20, 20, (254, 0, 0)), (20, 150, (255,) * 3), (80, 20, (255,) * 3)):
        assert np.abs(seen[y, x] - colour).max() < 12
    assert (seen[[3, -4]][:, [3, -4]].max(axis=-1) > 200).all()  # nothing beside the pane
    monkeypatch.setattr(picture, "KEPT_BYTES", 1)
    with Image.open(BytesIO(pane_of(tmp_path / "a.png", told, (90.0, 40.0, 45.0)))) as pane:
        assert pane.size == (20, 10)  # the smallest, where none is small enough
