"""Taps tell the same heights on a picture of any size."""

from __future__ import annotations

import numpy as np
import pytest

from growthcast.errors import UsageError
from growthcast.service.visit.photo import measure
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
