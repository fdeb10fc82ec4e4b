"""Heights off a photo on the phone's page without a network, and on the page of the desk."""

from __future__ import annotations

import json
import re
import signal
from dataclasses import replace
from datetime import timedelta

import numpy as np
import pytest

from growthcast.book.read import read_book
from growthcast.growth.photo import FILM_DIAGONAL_MM
from growthcast.service.visit.photo import measure
from growthcast.service.visit.picture import Picture
from tests.books import write_book
from tests.cli import run
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
SCALE, FOCAL, AREAS = 0.3, 26, 7


def drawn_tank(folder):
    """A tank of seven areas that the simulator's camera draws, and a carpet; its book."""
    rng = np.random.default_rng(8)
    scene = draw_scene(rng, AREAS, wrong=0.0, heights=(9.0, 22.0), fill=(0.7, 0.8))
    scene = replace(scene, camera=replace(scene.camera, focal_px=FOCAL / FILM_DIAGONAL_MM * 5000.0))
    length, width, water = scene.size_cm
    areas = (
        "area_id,tank_id,label,species_id,area_cm2,floor_cm,budget_cm,planted_on,place,base_cm\n"
    )
    log = "date,tank_id,area_id,before_cm,after_cm,look,measured_by,before_sd_cm\n"
    for n, (place, height) in enumerate(zip(scene.place, scene.height_cm, strict=True)):
        base = f"{scene.base[n, 1]:.1f}" if n == AREAS - 1 else ""
        areas += f"a{n},lobby,Area {n},rotala-rotundifolia,300,6,26,2025-01-01,{place},{base}\n"
        log += f"{TODAY - timedelta(days=3)},lobby,a{n},{height - 1:.1f},,,,\n"
    areas += "c0,lobby,Carpet,hemianthus-callitrichoides,900,1,4.5,2025-01-01,front,\n"
    tanks = "tank_id,client,length_cm,width_cm,water_depth_cm\n"
    tanks += f"lobby,A,{length:.2f},{width:.2f},{water:.2f}\n"
    return scene, write_book(folder, tanks=tanks, areas=areas, trims=log)


def test_a_photo_tapped_without_a_network_is_in_the_log_once(tmp_path):
    scene, folder = drawn_tank(tmp_path / "book")
    picture, page = tmp_path / "photo.jpg", tmp_path / "tap.html"
    render(scene, picture, scale=SCALE, focal_35mm=FOCAL)
    assert run("measure", str(picture), str(folder), "--html", str(page)).status == 0
    desk = Opened(folder, "--share", "--at", NAME)
    with playwright.sync_playwright() as play:
        browser = Browser(tmp_path / "profile", play)
        try:
            tapped_at_the_desk(browser.page, page, scene, picture, folder)
            let_in(browser, desk)
            desk.stop(signal.SIGKILL)  # the network is gone
            browser.visit("lobby")
            playwright.expect(browser.page.locator("#by-photo")).to_be_visible()
            browser.page.locator("#shot").set_input_files(str(picture))
            low = browser.page.locator('[data-photo="low"]')
            playwright.expect(low).to_contain_text("Carpet")
            told = Tapping(browser.page, scene).all()
            browser.keep()
            browser.stands("On this phone, not in the book")
            desk.start()
            browser.page.reload()
            browser.stands("In the book")
            browser.page.reload()
            browser.stands("In the book")
            its_corners_are_offered_again(browser, scene, tmp_path)
            assert browser.faults == []
        finally:
            browser.kill()
            desk.stop(signal.SIGKILL)
    rows = sorted((row.split(",") for row in desk.rows()), key=lambda row: row[2])
    assert [row[2] for row in rows] == [f"a{n}" for n in range(AREAS)]
    for row, true, seen in zip(rows, scene.height_cm, told, strict=True):
        height, sd = float(row[3]), float(row[7])
        assert row[6] == "photo"
        assert abs(height - true) < 2.5 * sd < 5.0
        assert abs(seen - height) < sd  # bases that were tapped later tell of its depth as well
    [kept] = [json.loads(line) for line in (folder / "taps.jsonl").read_text().splitlines()]
    assert (kept["tank_id"], kept["date"]) == ("lobby", str(TODAY))
    taps = kept["taps"]  # all that a better formula needs is in them
    again = Picture(int(taps["width"]), int(taps["height"]), taps["focal"], False)
    found = measure(read_book(folder), "lobby", again, taps).areas
    assert [round(area.height_cm, 1) for area in found] == [float(row[3]) for row in rows]


def tapped_at_the_desk(page, file, scene, picture, folder):
    """The page of --html: one area skipped; its taps give heights and the line of a visit."""
    page.goto(file.as_uri())
    Tapping(page, scene, skipped=2).all()
    taps = file.with_name("my taps.json")
    taps.write_text(page.locator("#text").input_value())
    line = run("measure", str(picture), str(folder), "--taps", str(taps)).out.split("growthcast")[1]
    assert f"log --tank lobby --taps '{taps}'" in " ".join(line.split())
    told = re.findall(r"a(\d)=photo:([\d.]+)~([\d.]+)", line)
    assert [int(n) for n, *_ in told] == [n for n in range(AREAS) if n != 2]
    for n, height, sd in told:
        assert abs(float(height) - scene.height_cm[int(n)]) < 2.5 * float(sd) < 5.0


def its_corners_are_offered_again(browser, scene, folder):
    """At the next visit: plants have grown, and the phone was held a little to the side."""
    page = browser.page
    asked, below = (page.locator(f'[data-photo="{name}"]') for name in ("asked", "height"))
    for aside, where, said in (
        (0.3, below, "those of the last photo"),
        (12.0, asked, "lower left corner"),
    ):
        camera = replace(scene.camera, at=scene.camera.at + np.array([aside, 0.0, 0.0]))
        later = replace(scene, camera=camera, top=scene.top + np.array([0.0, 2.0, 0.0]))
        render(later, folder / "later.jpg", scale=SCALE, focal_35mm=FOCAL)
        page.reload()
        browser.visit("lobby")
        playwright.expect(page.locator("#by-photo")).to_be_visible()
        page.locator("#shot").set_input_files(str(folder / "later.jpg"))
        playwright.expect(where).to_contain_text(said)
        if aside < 1.0:  # each is dragged into place; then the areas are asked for
            tapping = Tapping(page, later)
            for at, corner in zip(scene.corners, later.corners, strict=True):
                tapping.tap(corner, start=at)
            tapping.tap(later.camera.sees(later.base)[0])
            playwright.expect(asked).to_have_text("Area 0: tap its top, above that base")


class Tapping:
    """A hand that taps at the drawn points of a picture; ``all`` returns what was said of each."""

    def __init__(self, page, scene, skipped=-1):
        self.page, self.scene, self.skipped = page, scene, skipped
        self.asked = page.locator('[data-photo="asked"]')
        self.said = page.locator('[data-photo="height"]')
        canvas = page.locator('canvas[data-photo="picture"]')
        canvas.scroll_into_view_if_needed()
        self.box, self.wide, self.taps = canvas.bounding_box(), scene.camera.picture[0], 0

    def at(self, point):
        x, y = point / self.wide * self.box["width"]
        return self.box["x"] + x, self.box["y"] + y

    def tap(self, point, start=None):
        """Tap; where it starts elsewhere, drag into place, under the glass."""
        self.page.mouse.move(*self.at(point if start is None else start))
        self.page.mouse.down()
        playwright.expect(self.page.locator('[data-photo="glass"]')).to_be_visible()
        self.page.mouse.move(*self.at(point))
        self.page.mouse.up()
        self.taps += 1

    def press(self, name):
        self.page.get_by_role("button", name=name).click()
        self.taps += 1

    def all(self) -> list[float]:
        scene, told = self.scene, []
        playwright.expect(self.asked).to_contain_text("lower left corner")
        for corner in scene.corners:
            self.tap(corner, start=corner + 90.0)
        base, top = scene.camera.sees(scene.base), scene.camera.sees(scene.top)
        for n in range(AREAS):
            playwright.expect(self.asked).to_contain_text(f"Area {n}: tap its base")
            if n == self.skipped:
                self.press("Skip")
                continue
            if n == AREAS - 1:
                self.press("Base hidden")
            else:
                self.tap(base[n])
            playwright.expect(self.asked).to_contain_text(f"Area {n}: tap its top")
            self.tap(top[n])
            told.append(float(re.findall(r": ([\d.]+) ±", self.said.inner_text())[0]))
            if n == 0:  # a wild tap, seen at once and undone
                self.press("Undo")
                self.tap(scene.corners[3] + np.array([40.0, 0.0]))
                playwright.expect(self.said).to_contain_text("far from what was expected")
                self.press("Undo")
                self.tap(top[n])
                self.taps -= 4
        playwright.expect(self.asked).to_contain_text("All is tapped")
        assert self.taps <= 4 + 2 * AREAS
        self.press("Take the heights over")
        return told
