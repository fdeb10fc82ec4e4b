"""Heights from taps, worked by hand: a pane seen straight on or slantwise, and what is behind."""

from __future__ import annotations

import numpy as np
import pytest

from growthcast.growth.photo import (
    Lens,
    Standing,
    Taps,
    behind_pane,
    depth_by_base,
    depth_of_place,
    on_pane,
    photo_heights,
    view_of,
    view_of_pane,
)

NOTHING = np.full((2, 2), np.nan)
CENTRE = np.array([2000.0, 1500.0])
FOCAL = 10_000 / 3
"""A pane of 90 by 45 cm at 1 m covers 3,000 by 1,500 pixels."""
STRAIGHT = np.array([[500.0, 2250], [3500, 2250], [3500, 750], [500, 750]])
SIZE = 90.0, 40.0, 45.0


def taps(base, top, corners=STRAIGHT, back=NOTHING):
    return Taps(corners, np.array([base], float), np.array([top], float), back)


def at(depth, sd=0.0, base=np.nan):
    return Standing(np.array([depth]), np.array([sd]), np.array([base]))


def seen_from(camera, turned_degrees, points):
    """Pixels (n, 2) of points (n, 3) of the pane from a camera turned about the upright axis."""
    c, s = np.cos(np.radians(turned_degrees)), np.sin(np.radians(turned_degrees))
    turned = np.array([[c, 0, -s], [0, -1, 0], [s, 0, c]])
    ray = (np.asarray(points, float) - camera) @ turned.T
    return CENTRE + FOCAL * ray[:, :2] / ray[:, 2:]


def test_a_pane_seen_slantwise_tells_where_the_camera_stood():
    camera = np.array([20.0, 30.0, -120.0])
    pane = np.array([[0, 0, 0], [90, 0, 0], [90, 45, 0], [0, 45, 0]])
    view = view_of_pane(seen_from(camera, 15, pane), 90.0, 45.0, FOCAL, CENTRE)
    np.testing.assert_allclose(view.camera_cm, [20, 30, 120], atol=1e-6)
    assert abs(view.stretch) + abs(view.skew) < 1e-9
    inside = np.array([[33.0, 11.0, 0.0]])
    found = on_pane(view.to_pane, seen_from(camera, 15, inside))
    np.testing.assert_allclose(found, [[33, 11]], atol=1e-9)


def test_a_pane_of_other_sizes_looks_stretched():
    view = view_of_pane(STRAIGHT, 90.0 * 1.1, 45.0, FOCAL, CENTRE)
    assert view.stretch == pytest.approx(-np.log(1.1))


def test_a_pane_whose_edges_lean_looks_skew():
    """Its top is 1,125 pixels too far right and 1,500 up: a cosine of 1,125 / 1,875 = 0.6."""
    leaning = STRAIGHT + np.array([[0, 0], [0, 0], [1125, 0], [1125, 0]])
    assert view_of_pane(leaning, 90.0, 45.0, FOCAL, CENTRE).skew == pytest.approx(0.6)


def test_a_stem_behind_the_pane_is_higher_than_it_looks():
    """400 pixels are 12 cm on the pane; 40 cm deep, 1 m away: 12 (1 + 40 / 133.3) near the axis."""
    low, high = [2000, 1700], [2000, 1300]
    on_it = photo_heights(taps(low, high), SIZE, Lens(CENTRE, FOCAL), at(0.0))[0]
    behind = photo_heights(taps(low, high), SIZE, Lens(CENTRE, FOCAL), at(40.0))[0]
    assert on_it == pytest.approx([12.0])
    assert behind == pytest.approx([12.0 * (1 + 40 / 133.3)], rel=1e-3)


def test_a_ray_at_an_angle_is_bent_by_snells_law():
    """45 degrees in air are asin(sin 45 / 1.333) = 32.04 degrees in water."""
    reached = behind_pane(np.array([[0.0, 100.0]]), np.array([10.0]), np.array([0.0, 0.0, 100.0]))
    angle = np.arcsin(np.sin(np.pi / 4) / 1.333)
    assert reached[0, 1] == pytest.approx(100.0 + 10.0 * np.tan(angle))


def test_back_edges_stand_in_for_the_focal_length():
    straight = view_of_pane(STRAIGHT, 90.0, 45.0, FOCAL, CENTRE)
    low, high = 30.0, 40.0  # entry at which the ray reaches the left edge, 40 cm behind
    for _ in range(60):
        middle = 0.5 * (low + high)
        entry = np.array([[45.0 - middle, 22.5]])
        reached = behind_pane(entry, np.array([40.0]), straight.camera_cm)[0, 0]
        low, high = (low, middle) if reached < 0 else (middle, high)
    pixels = middle / 90 * 3000
    back = np.array([[2000 - pixels, 1500], [2000 + pixels, 1500]])
    found = view_of(taps([0, 0], [0, 0], back=back), SIZE, Lens(CENTRE))
    np.testing.assert_allclose(found.camera_cm, [45, 22.5, 100], atol=1e-3)


def test_no_camera_sees_the_back_wider_than_the_front():
    back = np.array([[400.0, 1500], [3600, 1500]])
    assert np.isnan(view_of(taps([0, 0], [0, 0], back=back), SIZE, Lens(CENTRE)).camera_cm).all()


def test_a_hidden_base_is_the_ground_measured_once():
    top = photo_heights(taps([np.nan] * 2, [2000, 1300]), SIZE, Lens(CENTRE, FOCAL), at(0.0))[0]
    assert np.isnan(top).all()
    known = at(0.0, base=6.5)
    top = photo_heights(taps([np.nan] * 2, [2000, 1300]), SIZE, Lens(CENTRE, FOCAL), known)[0]
    assert top == pytest.approx([(2250 - 1300) * 0.03 - 6.5])


def test_each_photo_knows_its_own_error():
    """11.6 pixels of each plant tap at 0.03 cm: 0.35 cm times the square root of two."""
    lens = Lens(CENTRE, FOCAL)
    _, near = photo_heights(taps([2000, 1700], [2000, 1300]), SIZE, lens, at(0.0))
    assert near == pytest.approx([0.0029 * 4000 * 0.03 * np.sqrt(2)], rel=0.06)
    _, fine = photo_heights(taps([2000, 1700], [2000, 1300]), SIZE, lens, at(0.0), magnified=True)
    assert fine == pytest.approx(near / 2, rel=1e-3)
    small = (STRAIGHT - CENTRE) / 2 + CENTRE  # twice as far away
    _, far = photo_heights(taps([2000, 1600], [2000, 1400], small), SIZE, lens, at(0.0))
    assert far == pytest.approx(2 * near, rel=1e-3)
    hidden = at(20.0, sd=8.0, base=0.0)  # its base tells nothing of its depth
    _, vague = photo_heights(taps([np.nan] * 2, [2000, 1300]), SIZE, lens, hidden)
    at_depth = near[0] / np.sqrt(2) * (1 + 20 / 133.3), 6.0 * 8.0 / 133.3, 0.7
    assert vague == pytest.approx([np.linalg.norm(at_depth)], rel=0.05)


def test_a_base_that_is_seen_higher_up_stands_deeper():
    """Ground of 0.15 cm a cm; one area stands 10 cm deeper than is said of it."""
    view = view_of_pane(STRAIGHT, 90.0, 45.0, FOCAL, CENTRE)
    true, said = np.linspace(2.0, 38.0, 60), np.linspace(2.0, 38.0, 60)
    true[20], sd = said[20] + 10.0, np.full(60, 1e-3)
    sd[20] = 6.0
    entry = 22.5 + (0.15 * true - 22.5) / (1.0 + true / 133.3)  # near the axis
    base = np.column_stack([np.full(60, 2000.0), 2250.0 - entry / 0.03])
    found = depth_by_base(view, base, Standing(said, sd, np.full(60, np.nan)), 40.0)
    by = 0.15 - (entry[20] - 22.5) / 133.3
    moved = (6.0 * by) ** 2 / ((6.0 * by) ** 2 + 2.5**2)
    assert found.depth_cm[20] == pytest.approx(said[20] + 10.0 * moved, abs=0.15)
    assert found.depth_sd_cm[20] == pytest.approx(6.0 * np.sqrt(1.0 - moved), rel=0.01)
    np.testing.assert_allclose(np.delete(found.depth_cm, 20), np.delete(said, 20), atol=1e-3)


def test_ground_is_learnt_from_a_base_and_from_what_is_usual():
    """A hill of 22.5 cm on the axis of the camera, where depth changes nothing of what is seen.

    It says that ground rises by 22.5 / 20 cm a cm, with a weight of 1 / (2.5^2 + (0.15 x 6)^2);
    usual are 0.15 with an error of 0.15. Its depth, 20 with an error of 6 cm, follows.
    """
    view = view_of_pane(STRAIGHT, 90.0, 45.0, FOCAL, CENTRE)
    weight = 20.0**2 / (6.25 + 0.81)
    rise = (0.15 / 0.15**2 + weight * 22.5 / 20.0) / (1.0 / 0.15**2 + weight)
    assert rise == pytest.approx(0.6964, abs=1e-4)
    open_cm2 = 6.25 + 20.0**2 / (1.0 / 0.15**2 + weight)
    gain = 6.0**2 * rise / ((6.0 * rise) ** 2 + open_cm2)
    found = depth_by_base(view, CENTRE[None], at(20.0, sd=6.0), 40.0)
    assert found.depth_cm == pytest.approx([20.0 + gain * (22.5 - 20.0 * rise)], rel=1e-6)
    assert found.depth_sd_cm == pytest.approx([6.0 * np.sqrt(1.0 - gain * rise)], rel=1e-6)
    deep = depth_by_base(view, CENTRE[None], at(35.0, sd=20.0), 40.0)
    assert deep.depth_cm == pytest.approx([40.0])  # not behind the back pane


def test_an_area_whose_place_nobody_says_may_be_anywhere():
    depth, sd = depth_of_place(np.array(["wood", "back"]), 30.0)
    np.testing.assert_allclose(depth, [15.0, 24.0])
    np.testing.assert_allclose(sd, [30 * 0.312, 30 * 0.125])


@pytest.mark.parametrize("third", [0, 1, 2])
def test_eight_of_ten_areas_stand_within_the_error_of_their_place(third):
    """One in ten stands in the next third; the middle has two of them."""
    depth, sd = depth_of_place(np.array(["front", "middle", "back"])[[third]], 1.0)
    true = np.concatenate(
        [(third + np.linspace(0, 1, 90_000)) / 3]
        + [
            (next_one + np.linspace(0, 1, 10_000 // len(beside))) / 3
            for beside in [{0: [1], 1: [0, 2], 2: [1]}[third]]
            for next_one in beside
        ]
    )
    assert true.mean() == pytest.approx(depth[0], abs=1e-3)
    assert (np.abs(true - depth) < 1.2816 * sd).mean() == pytest.approx(0.8, abs=4e-3)
