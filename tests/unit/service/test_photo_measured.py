"""Taps tell the same heights on a picture of any size."""

from __future__ import annotations

import numpy as np
import pytest

from growthcast.errors import UsageError
from growthcast.service.visit.photo import (
    is_curved,
    measure,
    photo_task,
    size_of_tank,
    standing_of,
)
from growthcast.service.visit.picture import Picture
from tests.books import HEADER, make_book
from tests.simulator.camera import PICTURE, draw_scene, tap


@pytest.fixture(scope="module")
def scene():
    return draw_scene(np.random.default_rng(8), 3, wrong=0.0, heights=(9.0, 22.0), fill=(0.7, 0.8))


@pytest.fixture(scope="module")
def book(tmp_path_factory, scene):
    areas = "area_id,tank_id,label,species_id,area_cm2,floor_cm,budget_cm,planted_on,place\n"
    areas += "".join(
        f"a{n},lobby,,rotala-rotundifolia,300,6,26,2025-01-01,{place}\n"
        for n, place in enumerate(scene.place)
    )
    size = ",".join(f"{side:.3f}" for side in scene.size_cm)
    tanks = f"tank_id,client,length_cm,width_cm,water_depth_cm\nlobby,A,{size}\n"
    folder = tmp_path_factory.mktemp("photo") / "book"
    return make_book(folder, tanks=tanks, areas=areas, trims=HEADER)


def told_of(scene, scale, width, height):
    """What a page sends on which the picture is shown so large."""
    seen = tap(np.random.default_rng(1), scene, magnified=False)
    pairs = {name: (scale * at).tolist() for name, at in seen.items()}
    both = zip(pairs["base"], pairs["top"], strict=True)
    areas = {f"a{n}": {"base": base, "top": top} for n, (base, top) in enumerate(both)}
    return {"width": width, "height": height, "corners": pairs["corners"], "areas": areas}


def test_heights_do_not_depend_on_how_large_the_page_shows_the_picture(scene, book):
    picture = Picture(*PICTURE, scene.focal_told_px, cropped=False)
    whole, small = (
        measure(book, "lobby", picture, told_of(scene, scale, *(scale * side for side in PICTURE)))
        for scale in (1.0, 0.25)
    )
    across = np.array(told_of(scene, 1.0, *PICTURE)["corners"])[:, 0]
    assert whole.fill_share == pytest.approx((across.max() - across.min()) / PICTURE[0])
    heights = [area.height_cm for area in whole.areas]
    assert [area.height_cm for area in small.areas] == pytest.approx(heights, rel=1e-6)
    for area, true in zip(whole.areas, scene.height_cm, strict=True):
        assert abs(area.height_cm - true) < 4.0 * area.height_sd_cm


def test_a_page_of_another_shape_is_refused(scene, book):
    picture = Picture(*PICTURE, scene.focal_told_px, cropped=False)
    with pytest.raises(UsageError, match="of another shape"):
        measure(book, "lobby", picture, told_of(scene, 0.25, 1000.0, 1000.0))


@pytest.mark.parametrize(("share", "refused"), [(0.19, True), (0.21, False)])
def test_a_pane_that_fills_less_than_a_fifth_is_refused(scene, book, share, refused):
    told = told_of(scene, 1.0, *PICTURE)
    across = np.array(told["corners"])[:, 0]
    smaller = share * PICTURE[0] / (across.max() - across.min())
    centre = 0.5 * np.array(PICTURE, dtype=float)

    def nearer(pair):
        return (centre + smaller * (np.array(pair) - centre)).tolist()

    told["corners"] = [nearer(pair) for pair in told["corners"]]
    told["areas"] = {
        area: {name: nearer(pair) for name, pair in pairs.items()}
        for area, pairs in told["areas"].items()
    }
    picture = Picture(*PICTURE, scene.focal_told_px, cropped=False)
    if refused:
        with pytest.raises(UsageError, match="the pane fills 19 % of the picture's width"):
            measure(book, "lobby", picture, told)
    else:
        assert measure(book, "lobby", picture, told).fill_share == pytest.approx(share)


SIZED = """tank_id,client,length_cm,width_cm,water_depth_cm,front
lobby,A,90,40,45,
home,B,60,,30,
bowl,B,30,30,30,curved
"""
PLACED = """area_id,tank_id,species_id,area_cm2,floor_cm,budget_cm,planted_on,place,depth_cm,base_cm
stems,lobby,rotala-rotundifolia,300,6,26,2025-01-01,back,,
carpet,lobby,hemianthus-callitrichoides,300,1,5,2025-01-01,,,2.5
wood,lobby,rotala-rotundifolia,300,6,26,2025-01-01,,50,
"""


@pytest.fixture(scope="module")
def sized(tmp_path_factory):
    folder = tmp_path_factory.mktemp("sized") / "book"
    return make_book(folder, tanks=SIZED, areas=PLACED, trims=HEADER)


def test_a_tank_is_measured_through_a_flat_front_of_known_size(sized):
    assert size_of_tank(sized, "lobby") == (90.0, 40.0, 45.0)
    for tank, why in (("home", "does not say width_cm of home"), ("bowl", "of bowl is curved")):
        with pytest.raises(UsageError, match=why):
            size_of_tank(sized, tank)
    assert [is_curved(sized, tank) for tank in ("lobby", "bowl")] == [False, True]


def test_areas_stand_where_the_book_says_by_ruler_or_by_third(sized):
    """The back third of 40 cm: 32 +- 5; measured depths end at the back pane."""
    standing = standing_of(sized, ["stems", "carpet", "wood"], 40.0)
    assert standing.depth_cm == pytest.approx([32.0, 20.0, 40.0])
    assert standing.depth_sd_cm == pytest.approx([5.0, 40.0 * 0.312, 2.0])
    assert standing.base_cm == pytest.approx([np.nan, 2.5, np.nan], nan_ok=True)


def test_what_tapping_needs_is_told_in_the_books_order(sized):
    """Carpets, and what stands below 5 cm, are too low for a photo."""
    expected = {"wood": ("Wood", 4.96), "carpet": ("c", 9.0), "stems": ("s", 5.0)}
    task = photo_task(sized, "lobby", expected)
    assert task["size"] == (90.0, 40.0, 45.0)
    assert [(one["id"], one["low"]) for one in task["areas"]] == [
        ("stems", False),
        ("carpet", True),
        ("wood", True),
    ]
    assert task["areas"][1] == {
        "id": "carpet",
        "label": "c",
        "depth": 20.0,
        "sd": 12.48,
        "ground": 2.5,
        "expected": 9.0,
        "low": True,
    }


CORNERS = [[500, 2250], [3500, 2250], [3500, 750], [500, 750]]
"""A pane of 90 by 45 cm seen straight on from 1 m: 0.03 cm a pixel."""


def straight(**areas):
    return {"width": 4000, "height": 3000, "corners": CORNERS, "areas": areas}


def taken(focal_px=10_000 / 3, cropped=False):
    return Picture(4000, 3000, focal_px, cropped)


def test_heights_of_areas_are_told_with_their_errors_and_low_ones_are_no_items(sized):
    """Of 400 pixels 12 cm on the pane, 30 % more in the depth; skipped areas have no height."""
    told = straight(
        stems={"base": [2000, 2150], "top": [2000, 1750]},
        carpet={"base": [2000, 2150], "top": [2000, 2080]},
        wood="skip",
    )
    read = measure(sized, "lobby", taken(), told)
    stems, carpet, wood = read.areas
    assert read.method == "focal length"
    assert read.distance_cm == pytest.approx(100.0, abs=0.1)
    assert 12.0 < stems.height_cm < 16.0
    assert (stems.low, carpet.low, wood.height_cm) == (False, True, None)
    assert read.items == (f"stems=photo:{stems.height_cm:.1f}~{stems.height_sd_cm:.1f}",)
    lower = measure(sized, "lobby", taken(), told | {"magnified": True}).areas[0]
    assert lower.height_sd_cm < stems.height_sd_cm


@pytest.mark.parametrize(
    ("told", "picture", "why"),
    [
        ({"stems": {"top": [2000, 1750]}}, taken(), "the base of stems is hidden"),
        ({"stems": {"base": [2000, 1750], "top": [2000, 1760]}}, taken(), "lies below its base"),
        ({"stems": {"base": [2000, 2150], "top": [2000, 660]}}, taken(), "lies above the water"),
        ({"stems": {"base": [2000, 2150], "top": [2000, 690]}}, taken(), ""),  # 104 % of it
        ({"ferns": "skip"}, taken(), "tank lobby has no area"),
        ({"stems": "skip"}, taken(np.nan), "does not say its focal length"),
        ({"stems": "skip"}, taken(np.nan, cropped=True), "was cropped or turned"),
    ],
)
def test_a_photo_that_tells_no_height_is_refused_with_what_to_do(sized, told, picture, why):
    if why:
        with pytest.raises(UsageError, match=why):
            measure(sized, "lobby", picture, straight(**told))
    else:
        assert measure(sized, "lobby", picture, straight(**told)).areas[0].height_cm > 40.0


@pytest.mark.parametrize(
    ("wider", "why"), [(1.04, ""), (1.1, "disagree by"), (1.3, "no picture of")]
)
def test_a_pane_that_looks_wider_than_it_is_is_another_tank_or_lens(sized, wider, why):
    told = straight(stems="skip")
    told["corners"] = [[2000 + wider * (x - 2000), y] for x, y in CORNERS]
    if why:
        with pytest.raises(UsageError, match=why):
            measure(sized, "lobby", taken(), told)
    else:
        assert measure(sized, "lobby", taken(), told).items == ()


def test_what_stands_hardly_above_its_base_is_low_and_not_refused(sized):
    """Ten pixels are 0.3 cm on the pane."""
    told = straight(stems={"base": [2000, 2150], "top": [2000, 2140]})
    [stems] = measure(sized, "lobby", taken(), told).areas
    assert 0.0 < stems.height_cm < 0.6
    assert stems.low
