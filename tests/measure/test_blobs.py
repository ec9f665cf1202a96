"""One spot in its patch: numpy's moments, widths and tails that follow by hand, and whether the uncertainty covers."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.ndimage import center_of_mass, gaussian_filter1d
from scipy.optimize import minimize_scalar
from scipy.stats import exponnorm

from tests.measure.drawn import BLUE, CELL, GREEN, RED, celled, drawn, from_above, gauss, pencil, spot
from webcapture.measure.blobs import measured
from webcapture.measure.field import field_of
from webcapture.measure.patch import Region, patch_of
from webcapture.measure.strip import measure_strip
from webcapture.settings import DEFAULTS

RULE = DEFAULTS.spot
FIELD = field_of(drawn(noise=0.002), DEFAULTS.profile)
S, T = FIELD.s_mm, FIELD.t_mm
LOW, HIGH = 2, -3
"""First and last columns that a lane holds."""


def lane_with(*things, noise=0.003, seed=1):
    """((rows, cols, 3) absorbance of a lane, which cells are bare) with these things and grain; its paper is at zero."""
    rng = np.random.default_rng(seed)
    t = T[LOW:HIGH]
    total = sum((thing(S[:, None], t[None, :]) for thing in things), np.zeros((S.size, t.size, 3)))
    bare = total.max(axis=2) < 0.001
    return (total + rng.normal(0, noise, total.shape)).astype(np.float32), bare


def region(*places, half=8.0, noise=0.003):
    """Its strength as the search for spots sees a dark one: over 5 mm across and half a millimetre along."""
    rows = [int(np.argmin(np.abs(S - s))) for s in places]
    reach = round(half / CELL)
    return Region(rows, rows[0] - reach, rows[-1] + reach, 4 / noise)


def cut(part, bare, where):
    return patch_of(np.moveaxis(part, -1, 0), bare, where, (0, len(S) - 1), FIELD, (0, LOW))


def blobs(*things, at, half=8.0, **how):
    where = region(*at, half=half, noise=how.get("noise", 0.003))
    return measured(cut(*lane_with(*things, **how), where), where, RULE)


# ---- the patch


def test_the_patch_is_cut_where_the_spot_is():
    part, bare = lane_with(spot(60, 8, 1.8, RED))
    patch = cut(part, bare, region(60))
    rounded = 1.5 * CELL  # half a cell each for the peak, the region and the 2 mm of paper
    assert patch.s_mm[0] == pytest.approx(60 - 8 - 2, abs=rounded)
    assert patch.s_mm[-1] == pytest.approx(60 + 8 + 2, abs=rounded)
    assert (patch.t_mm[0] + patch.t_mm[-1]) / 2 == pytest.approx(8, abs=0.6)
    assert patch.s_mm[0] == pytest.approx(S[patch.first])
    assert patch.planes.shape == (3, len(patch.s_mm), len(patch.t_mm))
    assert patch.profile == pytest.approx(patch.planes.mean(axis=2).T, abs=1e-9)


def test_it_takes_no_more_than_the_neighbours_leave():
    part, bare = lane_with(spot(60, 8, 1.8, RED))
    where = region(60)
    patch = patch_of(np.moveaxis(part, -1, 0), bare, where, (where.low - 2, where.high + 1), FIELD, (0, LOW))
    assert (patch.first, len(patch.s_mm)) == (where.low - 2, where.high - where.low + 4)


def test_a_single_row_between_neighbours_is_no_spot():
    part, bare = lane_with(spot(60, 8, 1.8, RED))
    (row,) = region(60).peaks
    where = Region([row], row, row, 50.0)
    patch = patch_of(np.moveaxis(part, -1, 0), bare, where, (row, row), FIELD, (0, LOW))
    assert len(patch.s_mm) == 1
    assert measured(patch, where, RULE) == []


def test_paper_left_at_the_ends_is_taken_away():
    """A veil of 0.02 at one end and none at the other."""

    def veil(s, t):
        return (0.02 * np.clip((70 - s) / 20, 0, 1) + 0 * t)[..., None] * np.ones(3)

    part, _ = lane_with(veil, spot(60, 10, 1.6, RED), noise=0.001)
    bare = lane_with(spot(60, 10, 1.6, RED))[1]
    patch = cut(part, bare, region(60))
    ends = np.concatenate([patch.planes[:, :5], patch.planes[:, -5:]], axis=1)
    assert np.abs(ends.mean(axis=(1, 2))).max() < 0.002


def test_the_noise_of_a_row_is_numpys():
    """Of as many independent cells as the patch is wide: one cell's noise over the root of their number."""
    part, bare = lane_with(spot(60, 10, 1.6, RED), noise=0.006)
    patch = cut(part, bare, region(60))
    assert patch.noise == pytest.approx(np.full(3, 0.006 / np.sqrt(len(patch.t_mm))), rel=0.15)


# ---- one spot


@pytest.mark.parametrize(("s", "t", "sd"), [(50.1, 10, 1.2), (77.77, 8.3, 1.8), (100.0, 11, 2.6)])
@pytest.mark.parametrize("colour", [RED, BLUE, GREEN])
def test_a_round_spot_is_where_and_as_wide_as_drawn(s, t, sd, colour):
    (found,) = blobs(spot(s, t, sd, colour), at=[s], half=4.5 * sd)
    assert found.centre_mm == pytest.approx(s, abs=0.03)
    assert found.densest_mm == pytest.approx(s, abs=0.25)
    assert found.t_mm == pytest.approx(t, abs=0.2)
    assert found.width_mm == pytest.approx(4 * sd, rel=0.05)
    assert found.tailing == pytest.approx(1, abs=0.12)
    assert found.codes == ()
    assert found.edges_mm[0] < s - 2 * sd < s + 2 * sd < found.edges_mm[1]


def test_the_centre_is_scipys_centre_of_mass():
    """scipy.ndimage.center_of_mass of the same patch, in the channel that shows it best, for a spot that is not symmetric."""
    lopsided = (spot(60, 10, 1.6, RED), spot(61.5, 11, 1.2, tuple(0.5 * c for c in RED)))
    part, bare = lane_with(*lopsided, noise=0.001)
    where = region(60.4)
    patch = cut(part, bare, where)
    (found,) = measured(patch, where, RULE)
    row, _ = center_of_mass(np.where(patch.planes[1] > 0.004, patch.planes[1], 0))
    assert found.centre_mm == pytest.approx(patch.s_mm[0] + row * (patch.s_mm[1] - patch.s_mm[0]), abs=0.04)


def lopsided(ratio):
    """Two half Gaussians, 1.5 mm towards the front and ``ratio`` times that towards the origin."""

    def draw(s, t):
        shape = np.where(s < 70, gauss(s, 70, 1.5 * ratio), gauss(s, 70, 1.5))
        return (shape * gauss(t, 10, 1.8))[..., None] * np.array(RED)

    return blobs(draw, at=[70], half=4.5 * 1.5 * max(ratio, 1), noise=0.001)[0]


@pytest.mark.parametrize("ratio", [0.6, 1.5, 2.2, 3.0])
def test_the_centre_of_a_lopsided_spot_is_its_mean(ratio):
    """Of a two-piece normal law: √(2 / π) times the difference of its two standard deviations off the maximum.

    The densest place is that of the smoothed spot, to half a cell: scipy.ndimage.gaussian_filter1d on a fine grid.
    """
    found = lopsided(ratio)
    assert found.centre_mm == pytest.approx(70 + np.sqrt(2 / np.pi) * 1.5 * (1 - ratio), abs=0.05)
    fine = np.arange(55, 85, 0.01)
    shape = np.where(fine < 70, gauss(fine, 70, 1.5 * ratio), gauss(fine, 70, 1.5))
    densest = fine[np.argmax(gaussian_filter1d(shape, RULE.smooth_mm / 0.01))]
    assert found.densest_mm == pytest.approx(densest, abs=CELL / 2)


def test_tailing_tells_which_side_is_wide_and_how_much():
    """Half-widths at a tenth of the height go as the two standard deviations; a spot tails where theirs are as three to one."""
    tailing = [lopsided(ratio).tailing for ratio in (0.5, 1.0, 1.5, 2.2, 3.0)]
    assert tailing == sorted(tailing)
    assert tailing[0] < 0.8 < tailing[1] == pytest.approx(1, abs=0.12)
    assert "tailing" in lopsided(3.0).codes
    assert "tailing" not in lopsided(1.5).codes


@pytest.mark.parametrize("tail", [1.2, 2.4])
def test_a_tail_as_scipys_law_has_it(tail):
    """scipy.stats.exponnorm, mirrored: its maximum by scipy.optimize, and its mean within what the lost foot may take."""
    law = exponnorm(tail / 1.2, loc=-70, scale=1.2)
    mode = minimize_scalar(lambda s: -law.pdf(-s), bounds=(65, 72), method="bounded").x

    def tailed(s, t):
        return (law.pdf(-s) / law.pdf(-mode) * gauss(t, 10, 1.8))[..., None] * np.array(RED)

    (found,) = blobs(tailed, at=[mode], half=16, noise=0.001)
    assert found.densest_mm == pytest.approx(mode, abs=0.3)
    assert abs(found.centre_mm + law.mean()) < min(2 * found.u_centre_mm, 0.2)


def test_strength_and_faintness():
    """A tenth as dark, a pale spot is flagged faint, and as dark as drawn."""
    (pale,) = blobs(spot(60, 10, 1.8, tuple(0.07 * c for c in RED)), at=[60], noise=0.002)
    (dark,) = blobs(spot(60, 10, 1.8, RED), at=[60], noise=0.002)
    assert "faint" in pale.codes
    assert "faint" not in dark.codes
    assert pale.absorbance / dark.absorbance == pytest.approx(np.full(3, 0.07), rel=0.4)


@pytest.mark.parametrize("noise", [0.003, 0.02])
def test_the_uncertainty_covers_and_is_of_use(noise):
    """60 round spots in fresh grain: the truth within two standard uncertainties 95 % of the time, less what chance takes."""
    off, u = [], []
    for seed in range(60):
        rng = np.random.default_rng(seed)
        s, sd = rng.uniform(60, 80), rng.uniform(1.2, 2.4)
        (found,) = blobs(spot(s, 10, sd, RED), at=[s], half=4 * sd, noise=noise, seed=seed)
        off.append(found.centre_mm - s)
        u.append(found.u_centre_mm)
    assert np.mean(np.abs(off) <= 2 * np.array(u)) >= 0.9
    assert np.median(u) < 0.15


def test_more_grain_is_more_doubt():
    """What a centre means on uneven paper is the same in both, and left out."""
    found = [blobs(spot(60, 10, 1.8, RED), at=[60], noise=n)[0] for n in (0.002, 0.02)]
    few, much = (b.u_centre_mm**2 - (DEFAULTS.spot.meaning * b.width_mm) ** 2 for b in found)
    assert much > 1.5**2 * few > 0


# ---- several


def test_two_that_touch_are_two():
    found = blobs(spot(60, 10, 1.6, RED), spot(65.5, 10, 1.6, BLUE), at=[60, 65.5], noise=0.002)
    assert [b.centre_mm for b in found] == pytest.approx([60, 65.5], abs=0.1)
    assert [b.width_mm for b in found] == pytest.approx([6.4, 6.4], rel=0.1)


@pytest.mark.parametrize(("gap", "merged"), [(4.2, True), (8.0, False)])
def test_merged_is_said_below_its_resolution(gap, merged):
    """Resolution gap / (4 sd) for equal Gaussians: 0.66 and 1.25, against 0.8."""
    found = blobs(spot(60, 10, 1.6, RED), spot(60 + gap, 10, 1.6, BLUE), at=[60, 60 + gap], noise=0.002)
    assert ["merged" in b.codes for b in found] == [merged, merged]


@pytest.mark.parametrize("gap", [2.5, 3.5])
def test_two_dyes_under_one_maximum_are_found(gap):
    pair = spot(60, 10, 1.6, (0.45, 0.05, 0.02)), spot(60 + gap, 10, 1.6, (0.02, 0.05, 0.45))
    found = blobs(*pair, at=[60 + gap / 2], noise=0.002)
    assert [b.centre_mm for b in found] == pytest.approx([60, 60 + gap], abs=0.15)


def test_one_dye_is_not_taken_for_two():
    for seed in range(20):
        assert len(blobs(spot(60, 10, 1.8, RED), at=[60], noise=0.006, seed=seed)) == 1


@pytest.mark.parametrize("seed", range(2))
@pytest.mark.parametrize("gap", [1.7, 2.0])
@pytest.mark.parametrize("tinge", [0.012, 0.02])
def test_an_uneven_spot_of_one_colour_is_one(tinge, gap, seed):
    """Flow piles a dye up unevenly, and a trace of another moves the weak channel's middle: that does not make it two dyes."""
    pink = (0.0, 0.32, 0.226)
    parts = spot(60, 10, 1.0, pink, 1.8), spot(60 + gap, 10.3, 0.95, pink, 1.8)
    trace = spot(60.5 + gap, 10, 0.8, (tinge, 0, 0), 1.8)
    strip = measure_strip(
        celled(pencil(20), pencil(120), *parts, trace, noise=0.003, seed=seed), from_above(), DEFAULTS
    )
    (one,) = strip.lanes[0].spots
    assert one.flags == ()
    assert one.rf == pytest.approx((40 + gap / 2) / 100, abs=0.003)


def test_light_that_changes_over_a_spot_is_doubt_and_more_to_a_pale_one():
    """What was taken off for it is not exact: a share of its width, of the change, and of what the change is to its darkness."""

    def u(darkness, slope):
        field = replace(FIELD, light=(slope * FIELD.fine_s_mm)[:, None] * np.ones((1, 2), np.float32))
        where = region(60.0)
        part, bare = lane_with(spot(60, 8, 1.8, tuple(darkness * c for c in RED)))
        patch = patch_of(np.moveaxis(part, -1, 0), bare, where, (0, len(S) - 1), field, (0, LOW))
        (blob,) = measured(patch, where, RULE)
        return blob, blob.u_centre_mm

    for darkness in (0.5, 1.0):
        even, (blob, steep) = u(darkness, 0.0)[1], u(darkness, 0.002)
        change = 0.002 * (blob.edges_mm[1] - blob.edges_mm[0])
        expected = RULE.light_share * blob.width_mm * change / blob.absorbance.max()
        assert np.sqrt(steep**2 - even**2) == pytest.approx(expected, rel=0.05)
