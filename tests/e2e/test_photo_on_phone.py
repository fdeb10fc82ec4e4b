"""Heights off a photo on the phone's page, in a real browser and without a network."""

from __future__ import annotations

import re
import signal
from datetime import timedelta

import numpy as np
import pytest

from growthcast.growth.photo import FILM_DIAGONAL_MM
from tests.books import write_book
from tests.desk import NAME, TODAY, Opened, chromium
from tests.simulator.camera import draw_scene, render

playwright = pytest.importorskip(
    "playwright.sync_api", reason="playwright is not installed; pip install -e '.[dev]' brings it"
)
from tests.e2e.test_phone import Browser, let_in  # noqa: E402

pytestmark = [
    pytest.mark.slow,
    pytest.mark.skipif(
        chromium() is None, reason="no Chromium; apt-get install chromium brings it"
    ),
]
SCALE, FOCAL = 0.3, 26


def drawn_tank(folder):
    """A tank of six areas that the simulator's camera draws, and a carpet; its book."""
    rng = np.random.default_rng(8)
    scene = draw_scene(rng, 6, wrong=0.0, heights=(9.0, 22.0), fill=(0.7, 0.8))
    object.__setattr__(scene.camera, "focal_px", FOCAL / FILM_DIAGONAL_MM * 5000.0)
    length, width, water = scene.size_cm
    areas = "area_id,tank_id,label,species_id,area_cm2,floor_cm,budget_cm,planted_on,place\n"
    log = "date,tank_id,area_id,before_cm,after_cm,look,measured_by,before_sd_cm\n"
    for n, (place, height) in enumerate(zip(scene.place, scene.height_cm, strict=True)):
        areas += f"a{n},lobby,Area {n},rotala-rotundifolia,300,6,26,2025-01-01,{place}\n"
        log += f"{TODAY - timedelta(days=3)},lobby,a{n},{height - 1:.1f},,,,\n"
    areas += "c0,lobby,Carpet,hemianthus-callitrichoides,900,1,4.5,2025-01-01,front\n"
    tanks = "tank_id,client,length_cm,width_cm,water_depth_cm\n"
    tanks += f"lobby,A,{length:.2f},{width:.2f},{water:.2f}\n"
    return scene, write_book(folder, tanks=tanks, areas=areas, trims=log)


def test_a_photo_tapped_without_a_network_is_in_the_log_once(tmp_path):
    scene, folder = drawn_tank(tmp_path / "book")
    picture = tmp_path / "photo.jpg"
    render(scene, picture, scale=SCALE, focal_35mm=FOCAL)
    desk = Opened(folder, "--share", "--at", NAME)
    with playwright.sync_playwright() as play:
        browser = Browser(tmp_path / "profile", play)
        try:
            let_in(browser, desk)
            desk.stop(signal.SIGKILL)  # the network is gone
            browser.visit("lobby")
            told = tap_on(browser.page, scene, picture)
            browser.keep()
            browser.stands("On this phone, not in the book")
            desk.start()
            browser.page.reload()
            browser.stands("In the book")
            browser.page.reload()
            browser.stands("In the book")
            assert browser.faults == []
        finally:
            browser.kill()
            desk.stop(signal.SIGKILL)
    rows = sorted((row.split(",") for row in desk.rows()), key=lambda row: row[2])
    assert [row[2] for row in rows] == [f"a{n}" for n in range(6)]
    for row, true, seen in zip(rows, scene.height_cm, told, strict=True):
        height, sd = float(row[3]), float(row[7])
        assert row[6] == "photo"
        assert abs(height - true) < 2.5 * sd < 5.0
        assert seen == (height, sd)


def tap_on(page, scene, picture) -> list[tuple[float, float]]:
    """Tap at the drawn points and take the heights over; return what the page said of each."""
    page.locator("#shot").set_input_files(str(picture))
    asked = page.locator('[data-photo="asked"]')
    playwright.expect(asked).to_contain_text("lower left corner")
    playwright.expect(page.locator('[data-photo="low"]')).to_contain_text("Carpet")
    canvas = page.locator('canvas[data-photo="picture"]')
    canvas.scroll_into_view_if_needed()
    box, wide = canvas.bounding_box(), SCALE * scene.camera.picture[0]

    def tap(point, *, off=0.0):
        x, y = SCALE * point / wide * box["width"]
        page.mouse.move(box["x"] + x + off, box["y"] + y)
        page.mouse.down()
        if off:  # drag it into place, under the glass
            playwright.expect(page.locator('[data-photo="glass"]')).to_be_visible()
            page.mouse.move(box["x"] + x, box["y"] + y)
        page.mouse.up()

    for corner in scene.corners:
        tap(corner, off=9.0)
    told = []
    base, top = scene.camera.sees(scene.base), scene.camera.sees(scene.top)
    for n in range(len(base)):
        playwright.expect(asked).to_contain_text(f"Area {n}: tap its base")
        tap(base[n])
        if n == 0:  # a wild tap, seen at once and undone
            tap(scene.corners[3] + np.array([40.0, 0.0]))
            said = page.locator('[data-photo="height"]')
            playwright.expect(said).to_contain_text("far from what was expected")
            page.get_by_role("button", name="Undo").click()
        playwright.expect(asked).to_contain_text(f"Area {n}: tap its top")
        tap(top[n])
        said = page.locator('[data-photo="height"]').inner_text()
        told.append(tuple(float(one) for one in re.findall(r"[\d.]+", said.split(":")[1])[:2]))
    playwright.expect(asked).to_contain_text("All is tapped")
    page.get_by_role("button", name="Take the heights over").click()
    return told
