"""growthcast measure on pictures that the camera of the simulator drew, and what it refuses."""

from __future__ import annotations

import json
import shlex
import shutil
import subprocess

import numpy as np
import pytest
from PIL import Image

from growthcast.growth.photo import FILM_DIAGONAL_MM, Lens, Standing, Taps, photo_heights
from tests.books import write_book
from tests.cli import run
from tests.house.test_house import PACKAGE
from tests.simulator.camera import draw_scene, render, tap

SCALE, FOCAL, DAY = 0.25, 26, "2026-05-01"
AREA_HEADER = (
    "area_id,tank_id,label,species_id,area_cm2,floor_cm,budget_cm,planted_on,place,base_cm\n"
)


@pytest.fixture(scope="module")
def scene():
    drawn = draw_scene(np.random.default_rng(8), 6, wrong=0.0, heights=(8.0, 24.0), fill=(0.7, 0.8))
    object.__setattr__(drawn.camera, "focal_px", FOCAL / FILM_DIAGONAL_MM * 5000.0)
    return drawn


@pytest.fixture
def folder(tmp_path, scene):
    """A book of the tank that is drawn."""
    return book_of(tmp_path / "book", scene)


def book_of(folder, scene, front="flat", shrunk=1.0):
    length, width, water = scene.size_cm
    rows = "".join(
        f"a{n},lobby,Area {n},rotala-rotundifolia,300,6,26,2025-01-01,{place},\n"
        for n, place in enumerate(scene.place)
    )
    tanks = "tank_id,client,length_cm,width_cm,water_depth_cm,front\n"
    tanks += f"lobby,A,{length * shrunk:.2f},{width:.2f},{water:.2f},{front}\n"
    log = "date,tank_id,area_id,before_cm,after_cm,look,measured_by,before_sd_cm\n"
    return write_book(folder, tanks=tanks, areas=AREA_HEADER + rows, trims=log)


def taps_of(scene, *, back=False, **changed):
    seen = tap(np.random.default_rng(1), scene, magnified=True)
    pairs = {name: (SCALE * at).round(1).tolist() for name, at in seen.items()}
    areas = {
        f"a{n}": {"base": base, "top": top}
        for n, (base, top) in enumerate(zip(pairs["base"], pairs["top"], strict=True))
    }
    told = {"width": 1000, "height": 750, "magnified": True, "corners": pairs["corners"]}
    return told | {"areas": areas} | ({"back": pairs["back"]} if back else {}) | changed


def measured(tmp_path, scene, folder, told, *more, focal=FOCAL, photo=None):
    picture = tmp_path / "photo.jpg"
    if photo is None:
        render(scene, picture, scale=SCALE, focal_35mm=focal)
    file = tmp_path / "taps.json"
    file.write_text(told if isinstance(told, str) else json.dumps(told))
    return run("measure", str(photo or picture), str(folder), "--taps", str(file), *more)


@pytest.mark.parametrize("back", [False, True])
def test_heights_come_back_as_the_line_that_log_reads(tmp_path, scene, folder, back):
    told = taps_of(scene, back=back)
    answer = measured(tmp_path, scene, folder, told, "--json", focal=None if back else FOCAL)
    assert answer.status == 0, answer.err
    reading = json.loads(answer.out)
    assert reading["method"] == ("back edges" if back else "focal length")
    for n, area in enumerate(reading["areas"]):
        off = abs(area["height_cm"] - scene.height_cm[n])
        assert off < 3.0 * area["height_sd_cm"] < 5.0
    words = measured(tmp_path, scene, folder, told, focal=None if back else FOCAL).out
    line = shlex.split(words[words.index("growthcast log") :])[2:]
    for _ in range(2):  # the second time it is in the book already, by its number
        logged = run("log", str(folder), *line, "--on", DAY, "--visit", "5f0c9a77", "--yes")
        assert logged.status == 0, logged.err
    rows = (folder / "trims.csv").read_text().splitlines()[1:]
    assert len(rows) == 6
    assert all(",photo," in row for row in rows)
    assert run("unlog", str(folder), "--yes").status == 0
    [kept] = (folder / "taps.jsonl").read_text().splitlines()  # stays, for a better formula
    assert json.loads(kept) == {
        "date": DAY, "tank_id": "lobby", "visit": "5f0c9a77", "taps": told,
    }  # fmt: skip
    assert run("check", str(folder)).status == 0


def test_the_line_of_a_phone_brings_its_taps(tmp_path, scene, folder):
    lines, tapped = tmp_path / "lines.txt", json.dumps(taps_of(scene))
    items = f"--tank lobby --on {DAY} --visit 5f0c9a77 a0=photo:12~1"
    lines.write_text(f"growthcast log {items} --taps {shlex.quote(tapped)}\n")
    logged = run("log", str(folder), "--from", str(lines), "--yes")
    assert logged.status == 0, logged.err
    assert '"visit": "5f0c9a77"' in (folder / "taps.jsonl").read_text()
    lines.write_text(f"growthcast log {items} --taps {{}}\n")
    refused(run("log", str(folder), "--from", str(lines), "--yes"), "the taps are not as the page")


def test_the_pane_alone_is_kept_and_only_where_it_is_asked_for(tmp_path, scene, folder):
    rng, photo = np.random.default_rng(0), tmp_path / "photo.jpg"
    render(scene, photo, scale=0.6, focal_35mm=FOCAL)
    with Image.open(photo) as drawn:  # a room that is red, and a pane that hardly compresses
        exif, pixels = drawn.getexif(), np.asarray(drawn)
        room = (abs(pixels.astype(int) - [138, 138, 128]) < 12).all(axis=2)
        noisy = np.clip(pixels + rng.normal(0, 40, pixels.shape), 0, 255)
        shown = np.where(room[..., None], [255, 0, 0], noisy).astype(np.uint8)
    exif[0x010E] = "who lives here"
    Image.fromarray(shown).save(photo, "JPEG", quality=95, exif=exif, comment=b"and where")
    told = taps_of(scene, corners=(SCALE * scene.corners).tolist())
    assert measured(tmp_path, scene, folder, told, photo=photo).status == 0
    assert not (folder / "photos").exists()
    for name in (f"{DAY}-lobby.jpg", f"{DAY}-lobby-2.jpg"):
        answer = measured(tmp_path, scene, folder, told, "--keep", "--on", DAY, photo=photo)
        assert f"Kept {folder / 'photos' / name}: the pane alone" in " ".join(answer.err.split())
        assert f"--on {DAY}" in answer.out
        content = (folder / "photos" / name).read_bytes()
        assert len(content) <= 300_000
        assert b"who lives" not in content
        assert b"and where" not in content
        with Image.open(folder / "photos" / name) as kept:
            length, _, water = scene.size_cm
            assert kept.width / kept.height == pytest.approx(length / water, rel=0.01)
            red = np.asarray(kept.convert("RGB")).astype(int) @ [1, -1, 0] > 150
            assert red.mean() < 0.005
    assert run("check", str(folder)).status == 0


def test_areas_that_are_low_or_skipped_stay_out_of_the_line(tmp_path, scene, folder):
    told = taps_of(scene)
    base, top = np.array(told["areas"]["a1"]["base"]), np.array(told["areas"]["a1"]["top"])
    told["areas"]["a1"]["top"] = (base + 2.0 / scene.height_cm[1] * (top - base)).tolist()
    told["areas"]["a0"] = "skip"
    answer = measured(tmp_path, scene, folder, told)
    assert "a1 is left out of the line; add a look, as a1=right" in " ".join(answer.err.split())
    assert "Not tapped: a0" in answer.err
    assert "a0=" not in answer.out
    assert "a1=" not in answer.out


def test_a_pane_that_is_small_in_the_picture_is_warned_of(tmp_path):
    far = draw_scene(np.random.default_rng(8), 6, heights=(8.0, 24.0), fill=(0.4, 0.42))
    object.__setattr__(far.camera, "focal_px", FOCAL / FILM_DIAGONAL_MM * 5000.0)
    answer = measured(tmp_path, far, book_of(tmp_path / "far", far), taps_of(far))
    assert "more than half" in answer.err


def refused(answer, said):
    assert answer.status == 2
    assert said in " ".join(answer.err.split()), answer.err


def test_refusals_say_what_to_do(tmp_path, scene, folder):
    told = taps_of(scene)
    curved = book_of(tmp_path / "curved", scene, front="curved")
    refused(measured(tmp_path, scene, curved, told), "front pane of lobby is curved")
    other = book_of(tmp_path / "other", scene, shrunk=0.7)
    refused(measured(tmp_path, scene, other, told), "this is no picture of lobby")
    lower = book_of(tmp_path / "lower", scene, shrunk=0.92)
    refused(measured(tmp_path, scene, lower, told), "pane and camera disagree by")
    far = draw_scene(np.random.default_rng(8), 6, fill=(0.18, 0.19))
    refused(measured(tmp_path, far, folder, taps_of(far)), "too little to tell heights: take the")
    refused(measured(tmp_path, scene, folder, told, focal=None), "does not say its focal length")
    wrong = taps_of(scene, back=True)
    wrong["back"] = [[0, 300], [1000, 300]]
    refused(measured(tmp_path, scene, folder, wrong), "no picture of lobby")
    wrong = taps_of(scene, height=1000)
    refused(measured(tmp_path, scene, folder, wrong), "a picture of another shape")
    wrong = taps_of(scene)
    del wrong["areas"]["a2"]["base"]
    refused(measured(tmp_path, scene, folder, wrong), "the base of a2 is hidden")
    wrong = taps_of(scene)
    wrong["areas"]["a2"] = dict(zip(("top", "base"), wrong["areas"]["a2"].values(), strict=True))
    refused(measured(tmp_path, scene, folder, wrong), "the top of a2 lies below its base")
    wrong = taps_of(scene)
    wrong["areas"]["a2"]["top"] = [500, 20]
    refused(measured(tmp_path, scene, folder, wrong), "the top of a2 lies above the water")
    unsized = book_of(tmp_path / "unsized", scene)
    tanks = (unsized / "tanks.csv").read_text().replace(f"{scene.size_cm[1]:.2f}", "")
    (unsized / "tanks.csv").write_text(tanks)
    refused(measured(tmp_path, scene, unsized, told), "tanks.csv does not say width_cm of lobby")
    wrong = taps_of(scene, areas={"fern": {"top": [1, 1]}})
    refused(measured(tmp_path, scene, folder, wrong), "tank lobby has no area")
    for torn in ("{", "[]", '{"width": 1, "height": 1, "corners": [], "areas": {}}'):
        refused(measured(tmp_path, scene, folder, torn), "the taps are not as the page")


def test_files_that_are_no_photos_are_refused(tmp_path, scene, folder):
    told, photo = taps_of(scene), tmp_path / "odd.jpg"
    render(scene, photo, scale=SCALE, focal_35mm=FOCAL)
    whole = photo.read_bytes()
    photo.write_bytes(whole[: len(whole) // 2])
    refused(measured(tmp_path, scene, folder, told, photo=photo), "no picture that can be read")
    photo.write_bytes(b"not a picture")
    refused(measured(tmp_path, scene, folder, told, photo=photo), "no picture that can be read")
    with photo.open("wb") as file:
        file.truncate(50_000_001)
    refused(measured(tmp_path, scene, folder, told, photo=photo), "has 50 MB")
    Image.new("1", (12_000, 10_100)).save(tmp_path / "bomb.png")
    bomb = tmp_path / "bomb.png"
    refused(measured(tmp_path, scene, folder, told, photo=bomb), "12000 by 10100 pixels")
    refused(measured(tmp_path, scene, folder, told, photo=tmp_path / "none.jpg"), "cannot be read")
    exif = Image.Exif()
    exif.get_ifd(0x8769).update({0xA405: FOCAL, 0xA002: 1000, 0xA003: 750})
    Image.new("RGB", (900, 500)).save(photo, "JPEG", exif=exif)
    cropped = taps_of(scene, width=900, height=500)
    refused(measured(tmp_path, scene, folder, cropped, photo=photo), "the picture was cropped")


def test_the_page_for_tapping_holds_the_photo_and_the_areas(tmp_path, scene, folder):
    photo, page = tmp_path / "photo.jpg", tmp_path / "tap.html"
    render(scene, photo, scale=SCALE, focal_35mm=FOCAL)
    answer = run("measure", str(photo), str(folder), "--html", str(page))
    assert answer.status == 0, answer.err
    text = page.read_text(encoding="utf-8")
    assert "data:image/jpeg;base64," in text
    assert '"label": "Area 3"' in text
    assert "http://" not in text.replace("http://www.w3.org", "")
    refused(run("measure", str(photo), str(folder)), "give --html FILE.html")


@pytest.mark.skipif(shutil.which("node") is None, reason="no node to run the phone's script")
def test_the_script_of_the_phone_tells_the_same_heights(tmp_path):
    rng, cases, wanted = np.random.default_rng(4), [], []
    for n in range(6):
        scene = draw_scene(rng)
        seen = tap(rng, scene, magnified=True)
        depth, sd = scene.base[:, 2], np.linspace(2, 9, 9)
        ground, base = np.full(9, np.nan), seen["base"]
        if n % 3 == 0:
            ground[::2], base[::2] = scene.base[::2, 1], np.nan
        back = seen["back"] if n % 2 else np.full((2, 2), np.nan)
        focal = np.nan if n % 2 else scene.focal_told_px
        lens, standing = Lens(np.array([2000.0, 1500.0]), focal), Standing(depth, sd, ground)
        taps = Taps(seen["corners"], base, seen["top"], back)
        wanted.append(photo_heights(taps, scene.size_cm, lens, standing, magnified=True))
        areas = zip(base.tolist(), seen["top"].tolist(), depth, sd, ground, strict=True)
        cases.append(
            {
                "corners": seen["corners"].tolist(),
                "back": back.tolist() if n % 2 else None,
                "size": scene.size_cm,
                "centre": [2000, 1500],
                "focal": None if n % 2 else focal,
                "areas": [
                    {
                        "base": None if np.isnan(b[0]) else b,
                        "top": t,
                        "depth": d,
                        "sd": s,
                        "ground": None if np.isnan(g) else g,
                    }
                    for b, t, d, s, g in areas
                ],
            }
        )
    (tmp_path / "cases.json").write_text(json.dumps(cases))
    script = (
        f"const p = require({json.dumps(str(PACKAGE / 'desk/static/photo.js'))});"
        f"const all = JSON.parse(require('fs').readFileSync({json.dumps(str(tmp_path))} + "
        "'/cases.json'));console.log(JSON.stringify(all.map((one) => { one.focal ??= NaN; const "
        "told = p.settled(one, one.areas).map((area) => p.heightOf(one, area)); return "
        "[told.map((t) => t.height), told.map((t) => t.sd)]; })));"
    )
    done = subprocess.run(["node", "-e", script], capture_output=True, text=True, check=True)
    np.testing.assert_allclose(np.array(json.loads(done.stdout)), np.array(wanted), atol=1e-6)
