"""A strip that stands off the card, against an exact projective camera written out here: three-by-four matrices and no approximation."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from tests.measure.drawn import drawn, from_above
from webcapture.measure.flatness import Rise, rise_of
from webcapture.settings import DEFAULTS

START, AXIS = np.array([40.0, 250.0]), np.array([0.0, -1.0])
SIDE = np.array([1.0, 0.0])
LENGTH, WIDTH = 150.0, 20.0


class Camera:
    """A pinhole: P = K [R | −R c], looking from ``place`` at ``target`` (world z up from the card, millimetres)."""

    def __init__(self, place, target=(105.0, 148.0, 0.0)):
        self.place = np.array(place, float)
        ahead = np.array(target) - self.place
        ahead /= np.linalg.norm(ahead)
        right = np.cross(ahead, [0.3, 1.0, 0.1])
        right /= np.linalg.norm(right)
        turn = np.stack([right, np.cross(ahead, right), ahead])
        inner = np.array([[3200.0, 0, 1500], [0, 3200, 2000], [0, 0, 1]])
        self.matrix = inner @ np.column_stack([turn, -turn @ self.place])

    def seen_on_card(self, places, heights):
        """(n, 2) where places at these heights appear, read with the card's own homography (its plane is height 0)."""
        world = np.column_stack([places, heights, np.ones(len(places))])
        image = world @ self.matrix.T
        back = image @ np.linalg.inv(self.matrix[:, [0, 1, 3]]).T
        return back[:, :2] / back[:, 2:]

    def view(self):
        return replace(from_above(), camera_mm=tuple(float(x) for x in self.place))


CAMERAS = [Camera((105, 148, 400)), Camera((105, 420, 380)), Camera((300, 60, 350)), Camera((-60, 10, 500))]


def arched(camera, arch, skew=0.0, noise=0.0, seed=0, cut=0.0):
    """A strip whose height is 4 arch x (1 − x) + 10 skew x (1 − x)(2x − 1), as the camera sees its edges."""
    rng = np.random.default_rng(seed)
    s = np.arange(0, LENGTH + 0.1, 1.0)
    x = s / LENGTH
    z = 4 * arch * x * (1 - x) + 10 * skew * x * (1 - x) * (2 * x - 1)
    strip = drawn(noise=0.01, length=LENGTH, width=WIDTH)
    edges = []
    for t in (0.0, WIDTH):
        t_cut = t + rng.normal(0, cut) * 4 * x * (1 - x) if cut else t + 0 * x
        seen = camera.seen_on_card(START + s[:, None] * AXIS + t_cut[:, None] * SIDE, z)
        edges.append(seen + rng.normal(0, noise, (len(s), 1)) * SIDE)
    return replace(strip, outline=replace(strip.outline, left_edge_mm=edges[0], right_edge_mm=edges[1]))


def rise(camera, arch, skew=0.0):
    place = tuple(float(x) for x in camera.place)
    return Rise(arch, skew, 0.1, 0.0, LENGTH, START, AXIS, place)


@pytest.mark.parametrize("camera", CAMERAS)
@pytest.mark.parametrize(("arch", "skew"), [(0.5, 0.0), (2.0, 0.0), (-1.0, 0.5), (3.0, -1.0)])
def test_the_shift_is_what_the_camera_shows(camera, arch, skew):
    """Exactly it is z (X − C) / (H − z): the formula leaves out z / H, 1 % at 4 mm."""
    bent = rise(camera, arch, skew)
    for s, t in ((10.0, 2.0), (40.0, 10.0), (75.0, 18.0), (140.0, 10.0)):
        x = s / LENGTH
        z = 4 * arch * x * (1 - x) + 10 * skew * x * (1 - x) * (2 * x - 1)
        place = START + s * AXIS + t * SIDE
        (seen,) = camera.seen_on_card(place[None], np.array([z]))
        true = (seen - place) @ AXIS
        assert bent.shift(s) == pytest.approx(true, rel=0.011, abs=1e-9)


def test_below_the_camera_nothing_shifts():
    camera = Camera((50, 175, 400), target=(60, 150, 0))
    assert rise(camera, 3.0).shift(75.0) == pytest.approx(0, abs=1e-12)
    assert rise(camera, 3.0).shift(100.0) > 0 > rise(camera, 3.0).shift(50.0)


@pytest.mark.parametrize("camera", CAMERAS)
def test_the_ends_lie_on_the_card(camera):
    bent = rise(camera, 3.0, 1.0)
    assert (bent.shift(0.0), bent.shift(LENGTH)) == (0, 0)


@pytest.mark.parametrize("camera", CAMERAS[2:])
@pytest.mark.parametrize("arch", [0.0, 0.5, 1.5])
def test_the_arch_is_told_by_the_edges(camera, arch):
    """Seen from the side an arch bows both edges; from above it hardly would."""
    found = rise_of(arched(camera, arch), camera.view(), DEFAULTS.flatness)
    assert found.arch_mm == pytest.approx(arch, abs=max(2 * found.u_arch_mm, 0.02))
    assert found.u_arch_mm < 0.3


def test_from_above_the_edges_say_little_and_it_is_known():
    """What cannot be seen keeps the doubt of a strip that somebody laid flat."""
    camera = Camera((50, 175, 400), target=(60, 150, 0))
    found = rise_of(arched(camera, 1.0), camera.view(), DEFAULTS.flatness)
    assert found.u_arch_mm > 0.8 * DEFAULTS.flatness.prior_mm
    assert abs(found.arch_mm) < 0.5


def test_the_archs_uncertainty_covers():
    """120 strips with arches, cuts and edge noise as the settings have them: 95 % within two standard uncertainties, less chance."""
    rule = DEFAULTS.flatness
    rng = np.random.default_rng(8)
    off = []
    for seed in range(120):
        arch, skew = rng.normal(0, rule.prior_mm), rng.normal(0, rule.prior_skew_mm)
        camera = CAMERAS[seed % len(CAMERAS)]
        strip = arched(camera, arch, skew, noise=rule.u_edge_least_mm, seed=seed, cut=rule.cut_mm)
        found = rise_of(strip, camera.view(), rule)
        off.append((found.arch_mm - arch) / found.u_arch_mm)
    assert np.mean(np.abs(off) <= 2) >= 0.9
    assert np.std(off) > 0.6


@pytest.mark.parametrize("camera", CAMERAS)
def test_the_doubt_of_a_spot_is_what_another_arch_would_shift_it(camera):
    """Against the exact camera: the same strip with an arch greater by one standard uncertainty gives another Rf."""
    bent, o, f, s, t = rise(camera, 0.8), 20.0, 120.0, 70.0, 10.0
    ratios = []
    for arch in (0.8, 0.8 + bent.u_arch_mm):
        at = np.array([s, o, f])
        x = at / LENGTH
        places = START + at[:, None] * AXIS + t * SIDE
        seen_s, seen_o, seen_f = (camera.seen_on_card(places, 4 * arch * x * (1 - x)) - START) @ AXIS
        ratios.append((seen_s - seen_o) / (seen_f - seen_o))
    moved = abs(ratios[1] - ratios[0]) * (f - o)
    assert bent.u_shift(s, o, f) == pytest.approx(moved, rel=0.06, abs=2e-4)


def test_a_bent_strip_is_in_doubt_by_half_of_what_it_is_shifted():
    """Paper is no even arch: 1 mm high it adds 0.5 mm, as an uncertainty of height, to what the edges leave open."""
    flat, bent = rise(CAMERAS[1], 0.0), replace(rise(CAMERAS[1], 0.0), u_shape_mm=DEFAULTS.flatness.shape_share * 1.0)
    each = flat.u_shift(70.0, 20.0, 120.0) / flat.u_arch_mm
    expected = each * np.hypot(flat.u_arch_mm, 0.5)
    assert bent.u_shift(70.0, 20.0, 120.0) == pytest.approx(expected)
    found = rise_of(drawn(), from_above(), DEFAULTS.flatness)
    assert found.u_shape_mm == pytest.approx(0.5 * abs(found.arch_mm))


def test_lines_themselves_are_not_shifted_against_themselves():
    bent = rise(CAMERAS[1], 0.8)
    assert bent.u_shift(20.0, 20.0, 120.0) == pytest.approx(0, abs=1e-12)
    assert bent.u_shift(120.0, 20.0, 120.0) == pytest.approx(0, abs=1e-12)
