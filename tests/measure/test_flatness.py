"""A strip that stands off the card, against an exact projective camera written out here: three-by-four matrices and no approximation."""

from __future__ import annotations

import itertools
from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import multivariate_normal, norm

from tests.measure.drawn import drawn, from_above
from webcapture.measure.flatness import Rise, rise_of, shapes_at
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


def snips(rng, s, off):
    """How scissors depart from straight: set anew every few centimetres, straight in between."""
    places = np.cumsum(rng.uniform(20, 60, 12)) - 40.0
    return np.interp(s, places, rng.normal(0, off, 12))


def walk(rng, s, off):
    """A crooked cut as the measurement takes it to be, written out here: Matérn's 3/2 over ``snip_mm``."""
    away = np.abs(s[:, None] - s) / DEFAULTS.flatness.snip_mm
    return rng.multivariate_normal(np.zeros(len(s)), off**2 * (1 + away) * np.exp(-away))


def height(x, arch=0.0, skew=0.0, low=0.0, high=0.0):
    """Written out here: 4 arch x (1 − x) + 10 skew x (1 − x)(2x − 1), and parabolas from the middle up to either end."""
    ends = low * np.where(x < 0.5, 1 - 2 * x, 0) ** 2 + high * np.where(x > 0.5, 2 * x - 1, 0) ** 2
    return 4 * arch * x * (1 - x) + 10 * skew * x * (1 - x) * (2 * x - 1) + ends


def arched(camera, arch, skew=0.0, low=0.0, high=0.0, noise=0.0, seed=0, cut=0.0, crooked=0.0, how=walk):
    """A strip of such a height, as the camera sees its edges.

    ``cut``: standard deviation of their bow; ``crooked``: of how else they were cut.
    """
    rng = np.random.default_rng(seed)
    s = np.arange(0, LENGTH + 0.1, 1.0)
    x = s / LENGTH
    z = height(x, arch, skew, low, high)
    strip = drawn(noise=0.01, length=LENGTH, width=WIDTH)
    edges = []
    for t in (0.0, WIDTH):
        t_cut = t + rng.normal(0, cut) * 4 * x * (1 - x) if cut else t + 0 * x
        if crooked:
            t_cut = t_cut + how(rng, s, crooked)
        seen = camera.seen_on_card(START + s[:, None] * AXIS + t_cut[:, None] * SIDE, z)
        edges.append(seen + rng.normal(0, noise, (len(s), 1)) * SIDE)
    return replace(strip, outline=replace(strip.outline, left_edge_mm=edges[0], right_edge_mm=edges[1]))


def rise(camera, *heights):
    place = tuple(float(x) for x in camera.place)
    all_of_them = np.zeros(4)
    all_of_them[: len(heights)] = heights
    return Rise(all_of_them, np.diag([0.01, 0, 0, 0]), np.zeros(4), LENGTH, START, AXIS, place)


@pytest.mark.parametrize("camera", CAMERAS)
@pytest.mark.parametrize("heights", [(0.5,), (2.0,), (-1.0, 0.5), (3.0, -1.0), (0, 0, 2.0), (0.5, 0, 0, 1.5)])
def test_the_shift_is_what_the_camera_shows(camera, heights):
    """Exactly it is z (X − C) / (H − z): the formula leaves out z / H, 1 % at 4 mm."""
    bent = rise(camera, *heights)
    for s, t in ((10.0, 2.0), (40.0, 10.0), (75.0, 18.0), (140.0, 10.0)):
        x = s / LENGTH
        z = height(x, *heights)
        place = START + s * AXIS + t * SIDE
        (seen,) = camera.seen_on_card(place[None], np.array([z]))
        true = (seen - place) @ AXIS
        assert bent.shift(s) == pytest.approx(true, rel=0.011, abs=1e-9)


def test_below_the_camera_nothing_shifts():
    camera = Camera((50, 175, 400), target=(60, 150, 0))
    assert rise(camera, 3.0).shift(75.0) == pytest.approx(0, abs=1e-12)
    assert rise(camera, 3.0).shift(100.0) > 0 > rise(camera, 3.0).shift(50.0)


@pytest.mark.parametrize("camera", CAMERAS)
def test_the_ends_of_an_arch_lie_on_the_card(camera):
    bent = rise(camera, 3.0, 1.0)
    assert (bent.shift(0.0), bent.shift(LENGTH)) == (0, 0)
    assert rise(camera, 3.0).most_mm == pytest.approx((3.0, 0.1))
    curled = rise(camera, 0.0, 0.0, 2.0)
    assert curled.most_mm[0] == 2.0 and curled.shift(0.0) == pytest.approx(2.0 * curled.lean(0.0))


@pytest.mark.parametrize("camera", CAMERAS[2:])
@pytest.mark.parametrize("arch", [0.0, 0.5, 1.5])
def test_the_arch_is_told_by_the_edges(camera, arch):
    """Seen from the side an arch bows both edges; from above it hardly would."""
    found = rise_of(arched(camera, arch), camera.view(), DEFAULTS.flatness)
    assert middle(found)[0] == pytest.approx(arch, abs=max(2 * middle(found)[1], 0.02))
    assert middle(found)[1] < 0.3


def middle(found):
    """(how far the strip's middle stands off the card, standard uncertainty): none of the other shapes is high there."""
    return found.heights_mm[0], np.sqrt(found.covariance[0, 0])


@pytest.mark.parametrize("camera", CAMERAS[2:])
@pytest.mark.parametrize("end", ["low", "high"])
def test_a_curled_end_is_no_arch(camera, end):
    """Its edges bow the other way, and most near that end. It lifts the line drawn there, which an arch would not."""
    strip = arched(camera, 0.0, noise=0.01, **{end: 1.8})
    found = rise_of(strip, camera.view(), DEFAULTS.flatness)
    assert found.heights_mm[2 if end == "low" else 3] == pytest.approx(1.8, abs=0.5)
    assert np.abs(np.delete(found.heights_mm, 2 if end == "low" else 3)).max() < 0.3
    at = np.array([20.0, 70.0, 120.0])
    z = height(at / LENGTH, **{end: 1.8})
    true = [found.lean(s) * rises for s, rises in zip(at, z, strict=True)]
    assert [found.shift(s) for s in at] == pytest.approx(true, abs=0.12 * np.abs(true).max() + 0.03)


@pytest.mark.parametrize("camera", CAMERAS[2:])
def test_paper_does_not_reach_below_the_card(camera):
    """Edges that bow as if the middle lay deeper than the ends are those of curled ends."""
    found = rise_of(arched(camera, -1.0, noise=0.01), camera.view(), DEFAULTS.flatness)
    heights = [found.heights_mm @ shapes_at(x) for x in np.linspace(0, 1, 11)]
    assert min(heights) > -0.1 and max(heights) > 0.3


def test_from_above_the_edges_say_little_and_it_is_known():
    """What cannot be seen keeps the doubt of a strip that somebody laid flat, and more of it than seen from the side."""
    camera = Camera((50, 175, 400), target=(60, 150, 0))
    found = rise_of(arched(camera, 1.0), camera.view(), DEFAULTS.flatness)
    assert found.most_mm[1] > 0.3
    side = CAMERAS[-1]
    assert middle(found)[1] > 1.5 * middle(rise_of(arched(side, 1.0), side.view(), DEFAULTS.flatness))[1]
    assert abs(middle(found)[0]) < 0.5


def shift_against(found, s, o, f):
    """(4,) how far 1 mm of each shape shifts a spot against the line from origin to front."""
    share = (s - o) / (f - o)
    return sum(
        weight * found.lean(at) * np.array(shapes_at(at / LENGTH))
        for at, weight in ((s, 1), (o, share - 1), (f, -share))
    )


@pytest.mark.parametrize("how", [walk, snips])
def test_the_uncertainty_of_a_shift_covers(how):
    """160 strips with rises, cuts and edge noise as the settings have them: 95 % within two standard uncertainties, less chance.

    So too where scissors go straight from snip to snip, which is not how the measurement takes them to go.
    """
    rule = DEFAULTS.flatness
    rng = np.random.default_rng(8)
    off = []
    for seed in range(160):
        usual = rng.choice(rule.rises_mm)
        shape = seed % 3
        heights = np.zeros(4)
        heights[(0, 2, 3)[shape]] = abs(rng.normal(0, usual))
        heights[1] = rng.normal(0, rule.skewed * usual) if shape == 0 else 0.0
        camera = CAMERAS[seed % len(CAMERAS)]
        crooked = float(rng.choice(rule.cuts_mm))
        strip = arched(camera, *heights, rule.u_edge_least_mm, seed, rule.cut_mm, crooked, how)
        found = rise_of(strip, camera.view(), rule)
        against = shift_against(found, 70.0, 20.0, 120.0)
        off.append(against @ (found.heights_mm - heights) / np.sqrt(against @ found.covariance @ against))
    assert np.mean(np.abs(off) <= 2) >= 0.9
    assert np.std(off) > 0.6


@pytest.mark.parametrize("camera", CAMERAS)
def test_a_flat_strip_cut_with_scissors_is_not_bent(camera):
    """Edges off by tenths of a millimetre here and there bow like a bend of millimetres, but neither alike nor smoothly."""
    found = [
        rise_of(arched(camera, 0.0, noise=0.01, seed=seed, crooked=0.15, how=snips), camera.view(), DEFAULTS.flatness)
        for seed in range(40)
    ]
    off = np.array([middle(one)[0] / middle(one)[1] for one in found])
    assert np.mean(np.abs(off) <= 2) >= 0.95
    shifts = [shift_against(one, 70.0, 20.0, 120.0) @ one.heights_mm for one in found]
    assert np.mean(np.abs(shifts) < 0.5 * abs(found[0].lean(70.0))) >= 0.9


@pytest.mark.parametrize("camera", CAMERAS[1:3])
@pytest.mark.parametrize("crooked", [0.0, 0.05])
def test_a_bent_strip_is_told_though_its_edges_are_not_quite_straight(camera, crooked):
    found = [
        rise_of(arched(camera, 2.0, noise=0.01, seed=n, crooked=crooked, how=snips), camera.view(), DEFAULTS.flatness)
        for n in range(12)
    ]
    assert np.mean([middle(one)[0] for one in found]) == pytest.approx(2.0, abs=0.5)
    assert all(middle(one)[0] == pytest.approx(2.0, abs=2.5 * middle(one)[1]) for one in found)


@pytest.mark.parametrize("seed", range(4))
def test_all_crookednesses_and_rises_are_weighed_as_probability_has_it(seed):
    """Each by scipy.stats.multivariate_normal on both edges together, and plain conditioning of a Gaussian; below the card, by norm."""
    rule, camera = DEFAULTS.flatness, CAMERAS[2]
    view = camera.view()
    strip = arched(camera, 0.8, 0.1, noise=0.02, seed=seed, crooked=0.1, how=snips)
    found = rise_of(strip, view, rule)
    edges = [strip.outline.left_edge_mm, strip.outline.right_edge_mm]
    places = np.stack([[part.mean(axis=0) for part in np.array_split(edge, rule.edge_points)] for edge in edges])
    s, t = (places - START) @ AXIS, (places - START) @ np.array([-AXIS[1], AXIS[0]])
    lean = (places - view.camera_mm[:2]) @ np.array([-AXIS[1], AXIS[0]]) / view.camera_mm[2]
    x = s / strip.outline.length_mm
    shapes = np.stack([height(x, *one) for one in np.eye(4)], axis=-1)
    shifts = (shapes * lean[..., None]).reshape(-1, 4)
    kinds = [(0, [1, rule.skewed, 0, 0]), (2, [0, 0, 1, 0]), (3, [0, 0, 0, 1])]
    same = np.kron(np.eye(2), np.ones((rule.edge_points, rule.edge_points)))
    outer = [np.outer(v.ravel(), v.ravel()) * same for v in (np.ones_like(x), x, shapes[..., 0])]
    away = np.abs(s.ravel()[:, None] - s.ravel()) / rule.snip_mm
    base = 1e4 * (outer[0] + outer[1]) + rule.cut_mm**2 * outer[2] + rule.u_edge_least_mm**2 * np.eye(t.size)
    log_p, means, covariances = [], [], []
    for cut in rule.cuts_mm:
        plain = base + cut**2 * (1 + away) * np.exp(-away) * same
        for usual, (main, kind) in itertools.product(rule.rises_mm, kinds):
            prior = np.diag((usual * np.array(kind)) ** 2)
            whole = plain + shifts @ prior @ shifts.T
            gain = np.linalg.solve(whole, shifts @ prior).T
            means.append(gain @ t.ravel())
            covariances.append(prior - gain @ shifts @ prior)
            above = norm.cdf(means[-1][main] / np.sqrt(covariances[-1][main, main]))
            log_p.append(multivariate_normal(np.zeros(t.size), whole).logpdf(t.ravel()) + np.log(above))
    weight = np.exp(np.array(log_p) - max(log_p))
    weight /= weight.sum()
    mean = weight @ np.array(means)
    spread = sum(w * (c + np.outer(m - mean, m - mean)) for w, c, m in zip(weight, covariances, means, strict=True))
    assert found.heights_mm == pytest.approx(mean, abs=0.02)
    assert found.covariance == pytest.approx(spread, rel=0.05, abs=1e-3)


@pytest.mark.parametrize("camera", CAMERAS)
def test_the_doubt_of_a_spot_is_what_another_arch_would_shift_it(camera):
    """Against the exact camera: the same strip with an arch greater by one standard uncertainty gives another Rf."""
    bent, o, f, s, t = rise(camera, 0.8), 20.0, 120.0, 70.0, 10.0
    ratios = []
    for arch in (0.8, 0.8 + middle(bent)[1]):
        at = np.array([s, o, f])
        x = at / LENGTH
        places = START + at[:, None] * AXIS + t * SIDE
        seen_s, seen_o, seen_f = (camera.seen_on_card(places, 4 * arch * x * (1 - x)) - START) @ AXIS
        ratios.append((seen_s - seen_o) / (seen_f - seen_o))
    moved = abs(ratios[1] - ratios[0]) * (f - o)
    assert bent.u_shift(s, o, f) == pytest.approx(moved, rel=0.06, abs=2e-4)


def test_a_bent_strip_is_in_doubt_by_a_share_of_what_it_is_shifted():
    """Paper is no even arch: 1 mm high it adds so much of that, as an uncertainty of height, to what the edges leave open."""
    share = DEFAULTS.flatness.shape_share
    flat, bent = rise(CAMERAS[1], 0.0), replace(rise(CAMERAS[1], 0.0), u_shapes_mm=np.array([share, 0, 0, 0]))
    each = flat.u_shift(70.0, 20.0, 120.0) / middle(flat)[1]
    expected = each * np.hypot(middle(flat)[1], share)
    assert bent.u_shift(70.0, 20.0, 120.0) == pytest.approx(expected)
    found = rise_of(drawn(), from_above(), DEFAULTS.flatness)
    assert found.u_shapes_mm == pytest.approx(share * np.abs(found.heights_mm))


def test_lines_themselves_are_not_shifted_against_themselves():
    bent = rise(CAMERAS[1], 0.8)
    assert bent.u_shift(20.0, 20.0, 120.0) == pytest.approx(0, abs=1e-12)
    assert bent.u_shift(120.0, 20.0, 120.0) == pytest.approx(0, abs=1e-12)
