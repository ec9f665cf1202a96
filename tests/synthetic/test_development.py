"""Colour and file format against independent tables."""

from __future__ import annotations

import io
import struct

import colour
import numpy as np
import pytest
from PIL import ImageCms

from webcapture.synthetic.development import P3_FROM_SRGB, display_p3_profile, encoded, noisy, shaken, tone_table
from webcapture.synthetic.scene import CameraSetup


def test_the_transfer_function_is_srgbs() -> None:
    """IEC 61966-2-1 by colour-science."""
    linear = np.linspace(0, 1, 101)
    assert encoded(linear) == pytest.approx(colour.models.eotf_inverse_sRGB(linear), abs=1e-6)
    assert tone_table(0.0)[-1] == pytest.approx(255)


def test_srgb_to_display_p3() -> None:
    """The matrix by colour-science, from the primaries."""
    spaces = colour.RGB_COLOURSPACES
    expected = colour.matrix_RGB_to_RGB(spaces["sRGB"], spaces["Display P3"], None)
    assert np.array(P3_FROM_SRGB) == pytest.approx(expected, abs=2e-4)


def test_the_profile_is_read_by_littlecms() -> None:
    profile = ImageCms.ImageCmsProfile(io.BytesIO(display_p3_profile()))
    assert "Display P3" in ImageCms.getProfileDescription(profile)


@pytest.mark.parametrize(("tag", "primary"), [(b"rXYZ", 0), (b"gXYZ", 1), (b"bXYZ", 2)])
def test_the_profiles_primaries(tag: bytes, primary: int) -> None:
    """Display P3's primaries adapted to D50 by Bradford's matrix, by colour-science."""
    data = display_p3_profile()
    at = data.index(tag)
    offset = struct.unpack(">I", data[at + 4 : at + 8])[0] + 8
    stored = np.array(struct.unpack(">3i", data[offset : offset + 12])) / 65536
    space = colour.RGB_COLOURSPACES["Display P3"]
    d50 = colour.CCS_ILLUMINANTS["CIE 1931 2 Degree Standard Observer"]["D50"]
    white = colour.xy_to_XYZ(space.whitepoint)
    adapt = colour.adaptation.matrix_chromatic_adaptation_VonKries(white, colour.xy_to_XYZ(d50), "Bradford")
    assert stored == pytest.approx((adapt @ space.matrix_RGB_to_XYZ)[:, primary], abs=1e-3)


def test_shot_noise_grows_with_the_root_of_the_light() -> None:
    """Poisson statistics: standard deviation over the root of the level is constant."""
    setup = CameraSetup(shot_noise=0.01, read_noise=0.0)
    spreads = [
        noisy(np.full((400, 400, 1), level, np.float32)[..., 0], setup, np.random.default_rng(1)).std()
        for level in (0.1, 0.4, 0.9)
    ]
    assert np.array(spreads) / np.sqrt([0.1, 0.4, 0.9]) == pytest.approx([0.01] * 3, rel=0.05)


def test_motion_neither_shifts_nor_dims() -> None:
    picture = np.zeros((61, 61), np.float32)
    picture[30, 30] = 1.0
    smeared = shaken(picture, 6.0, 30.0)
    rows, columns = np.mgrid[:61, :61]
    assert smeared.sum() == pytest.approx(1, abs=1e-4)
    assert (smeared * rows).sum() == pytest.approx(30, abs=0.01)
    assert (smeared * columns).sum() == pytest.approx(30, abs=0.01)
    # A uniform line of length L has variance L² / 12 along itself.
    along = (columns - 30) * np.cos(np.radians(30)) + (rows - 30) * np.sin(np.radians(30))
    assert (smeared * along**2).sum() == pytest.approx(36 / 12, abs=0.3)
