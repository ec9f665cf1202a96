"""Peaks, centres, widths and shapes against general-purpose libraries, on the same drawn profiles."""

from __future__ import annotations

import numpy as np
import pytest
from photutils.centroids import centroid_com
from scipy.signal import find_peaks, peak_widths
from scipy.stats import exponnorm
from skimage.measure import regionprops

from tests.measure.drawn import drawn, from_above, gauss, pencil, spot
from webcapture.measure.field import field_of
from webcapture.measure.lanes import Track
from webcapture.measure.mixture import fit_mixture
from webcapture.measure.paper import stain_on
from webcapture.measure.spots import find_spots
from webcapture.measure.strip import measure_strip
from webcapture.settings import DEFAULTS

RED = (0.05, 0.4, 0.3)
THREE = (spot(40, 10, 1.3, RED), spot(65, 10.4, 1.8, (0.3, 0.1, 0.02)), spot(100, 9.5, 2.2, (0.1, 0.1, 0.25)))


@pytest.fixture(scope="module")
def found():
    """(field, stain, blobs) of a strip with three spots."""
    strip = drawn(pencil(20), pencil(125), *THREE)
    field = field_of(strip, DEFAULTS.profile)
    lines = (np.array([20.0, 0.0]), np.array([125.0, 0.0]))
    stain = stain_on(field, strip.strokes, lines, lines[1], DEFAULTS.paper)
    track = Track(10.0, 0.8, 19.2)
    return field, stain, find_spots(field, stain, track, (17.0, 127.0), DEFAULTS.spot)


def test_as_many_as_scipy_finds(found):
    """scipy.signal.find_peaks on the lane's mean profile, at the height that counts as a spot."""
    field, stain, blobs = found
    zone = (field.s_mm > 22) & (field.s_mm < 123)
    profile = stain.absorbance[zone].mean(axis=1).max(axis=1)
    peaks, _ = find_peaks(np.convolve(profile, np.ones(5) / 5, "same"), prominence=0.02)
    assert len(blobs) == len(peaks) == len(THREE)
    assert [b.densest_mm for b in blobs] == pytest.approx(field.s_mm[zone][peaks], abs=0.5)


def test_centres_as_photutils_and_skimage_have_them(found):
    """photutils.centroids.centroid_com and skimage.measure.regionprops on the same absorbance, each over the spot's patch."""
    field, stain, blobs = found
    for blob in blobs:
        channel = int(np.argmax(blob.absorbance))
        rows = (field.s_mm >= blob.edges_mm[0]) & (field.s_mm <= blob.edges_mm[1])
        patch = np.maximum(stain.absorbance[rows, :, channel], 0).astype(float)
        patch[patch < 0.02] = 0
        _, y = centroid_com(patch)
        weighted = regionprops((patch > 0).astype(int), intensity_image=patch)[0].centroid_weighted[0]
        first, cell = field.s_mm[rows][0], field.s_mm[1] - field.s_mm[0]
        assert blob.centre_mm == pytest.approx(first + y * cell, abs=0.05)
        assert blob.centre_mm == pytest.approx(first + weighted * cell, abs=0.05)


def test_centres_and_widths_as_drawn(found):
    _, _, blobs = found
    assert [b.centre_mm for b in blobs] == pytest.approx([40, 65, 100], abs=0.04)
    assert [b.t_mm for b in blobs] == pytest.approx([10, 10.4, 9.5], abs=0.15)
    assert [b.width_mm for b in blobs] == pytest.approx([4 * sd for sd in (1.3, 1.8, 2.2)], rel=0.08)


def test_width_as_scipy_has_it(found):
    """scipy.signal.peak_widths at half height is 2.355 standard deviations of a Gaussian."""
    field, stain, blobs = found
    profile = stain.absorbance[:, :, 1].mean(axis=1)
    peak = int(np.argmin(np.abs(field.s_mm - blobs[0].densest_mm)))
    half = peak_widths(profile, [peak], rel_height=0.5)[0][0] * (field.s_mm[1] - field.s_mm[0])
    assert blobs[0].width_mm == pytest.approx(half / 2.355 * 4, rel=0.1)


def test_trailing_gaussian_is_scipys():
    """A mixture of one peak follows scipy.stats.exponnorm (mirrored: the tail lies below), and finds its mean."""
    s = np.arange(20.0, 80.0, 0.3)
    sd, tail, mode = 1.5, 2.0, 55.0
    shape = exponnorm.pdf(-(s - mode), tail / sd, scale=sd)
    profile = shape[:, None] / shape.max() * np.array(RED)
    mixture = fit_mixture(s, profile, np.full(3, 0.002), np.array([54.0]), np.array([1.8]))
    assert mixture.peaks[0].centre_mm == pytest.approx(mode - tail, abs=0.1)
    assert mixture.peaks[0].densest_mm == pytest.approx(s[np.argmax(shape)], abs=0.3)


def test_two_dyes_under_one_maximum():
    """Channels tell apart what one profile does not: centres 3 mm apart at a standard deviation of 1.6 mm."""
    s = np.arange(30.0, 70.0, 0.3)
    first, second = (np.exp(-0.5 * ((s - m) / 1.6) ** 2) for m in (49.0, 52.0))
    profile = first[:, None] * np.array([0.4, 0.1, 0.02]) + second[:, None] * np.array([0.02, 0.1, 0.4])
    mixture = fit_mixture(s, profile, np.full(3, 0.002), np.array([48.0, 53.0]), np.array([1.6, 1.6]))
    assert [p.centre_mm for p in mixture.peaks] == pytest.approx([49.0, 52.0], abs=0.15)


@pytest.mark.parametrize("ratio", [0.6, 1.0, 1.5, 2.2])
def test_tailing_does_not_hang_on_where_the_cells_lie(ratio):
    """Half Gaussians of two widths: half-width at a tenth of the height, origin side over front side (USP <621>, T and A_S
    take 5 % and 10 %; from memory). The profile's own smoothing draws it towards 1, by less than half.
    """
    found = []
    for shift in np.linspace(0, 0.3, 7):

        def draw(s, t, shift=shift):
            side = np.where(s < 60 + shift, 1.5 * ratio, 1.5)
            return (gauss(s - 60 - shift, 0, side) * gauss(t, 10, 2.0))[..., None] * np.array(RED)

        strip = measure_strip(drawn(pencil(20), pencil(120), draw, noise=0.001), from_above(), DEFAULTS)
        (spot_found,) = strip.lanes[0].spots
        found.append((spot_found.tailing, strip.lanes[0].origin_mm[1] - spot_found.densest_mm[1] - 40 - shift))
    tailings, off = np.array(found).T
    assert np.ptp(tailings) < 0.08 * ratio
    share = np.log(tailings.mean()) / np.log(ratio) if ratio != 1 else 1 - abs(np.log(tailings.mean()))
    assert 0.55 < share < 1.02
    assert np.ptp(off) < 0.06
