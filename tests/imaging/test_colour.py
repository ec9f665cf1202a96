"""Colour against IEC 61966-2-1, against the published CIEDE2000 pairs, and against colour-science."""

from io import BytesIO

import colour
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from PIL import ImageCms

from tests.imaging import profiles
from tests.imaging.sharma_pairs import SHARMA_PAIRS
from webcapture import appearance
from webcapture.imaging import colour as ours

levels = np.arange(256, dtype=np.uint8)
pairs = np.array(SHARMA_PAIRS)


# ---- sRGB


def test_srgb_by_the_constants_of_the_standard() -> None:
    # IEC 61966-2-1:1999: linear below 0.0031308 (0.04045 encoded) with slope 12.92, above ((V + 0.055) / 1.055)^2.4
    assert ours.decoded(0.04) == pytest.approx(0.04 / 12.92, abs=1e-15)
    assert ours.decoded(0.5) == pytest.approx(((0.5 + 0.055) / 1.055) ** 2.4, abs=1e-15)
    assert ours.encoded(0.003) == pytest.approx(0.003 * 12.92, abs=1e-15)
    assert ours.encoded(0.18) == pytest.approx(1.055 * 0.18 ** (1 / 2.4) - 0.055, abs=1e-15)
    assert (ours.decoded(0.0), ours.decoded(1.0), ours.encoded(0.0), ours.encoded(1.0)) == (0, 1, 0, pytest.approx(1))
    # The two branches meet to within the standard's own rounding.
    assert ours.decoded(0.04045) == pytest.approx(0.0031308, abs=2e-7)


def test_srgb_agrees_with_colour_science() -> None:
    v = np.linspace(0, 1, 4001)
    np.testing.assert_allclose(ours.decoded(v), colour.models.eotf_sRGB(v), atol=1e-9)
    np.testing.assert_allclose(ours.encoded(v), colour.models.eotf_inverse_sRGB(v), atol=1e-7)


def test_every_level_survives_there_and_back() -> None:
    linear = ours.linear_from_srgb(levels.reshape(16, 16))
    assert linear.dtype == np.float32
    np.testing.assert_array_equal(ours.srgb_from_linear(linear), levels.reshape(16, 16))


def test_the_table_is_the_formula() -> None:
    cube = np.random.default_rng(1).integers(0, 256, (40, 30, 3), dtype=np.uint8)
    np.testing.assert_allclose(ours.linear_from_srgb(cube), ours.decoded(cube / 255), atol=1e-7)
    one = ours.linear_from_srgb(cube[:, :, :1])
    assert one.shape == (40, 30, 1)


def test_the_logarithm_is_that_of_the_light_and_stays_finite() -> None:
    table = ours.log10_linear_lut()
    np.testing.assert_allclose(table[1:], np.log10(ours.decoded(levels[1:] / 255)), atol=1e-6)
    assert np.isfinite(table).all()
    assert (np.diff(table) > 0).all()
    np.testing.assert_array_equal(ours.log10_from_srgb(levels.reshape(1, -1))[0], table)
    with pytest.raises(ValueError, match="read-only"):
        table[0] = 0


def test_hex_of_known_colours() -> None:
    assert ours.srgb_hex([1, 1, 1]) == "#ffffff"
    assert ours.srgb_hex([0, 0, 0]) == "#000000"
    assert (
        ours.srgb_hex([0.2158605, 0, 1.4]) == "#8000ff"
    )  # level 128 is 0.21586 linear; what sRGB cannot show is clipped
    assert ours.srgb_hex([-0.2, 0.5, 0.5])[1:3] == "00"


# ---- profiles


def test_no_profile_returns_the_same_pixels() -> None:
    pixels = np.zeros((2, 2, 3), np.uint8)
    assert ours.to_srgb(pixels, None) is pixels


def cube(step: int) -> np.ndarray:
    axis = np.arange(0, 256, step, dtype=np.uint8)
    return np.stack(np.meshgrid(axis, axis, axis), -1).reshape(len(axis), -1, 3)


def test_display_p3_agrees_with_colour_science() -> None:
    pixels = cube(15)
    converted = ours.to_srgb(pixels, profiles.display_p3_profile())
    p3, srgb = colour.RGB_COLOURSPACES["Display P3"], colour.RGB_COLOURSPACES["sRGB"]
    linear = colour.models.eotf_sRGB(pixels / 255) @ p3.matrix_RGB_to_XYZ.T @ srgb.matrix_XYZ_to_RGB.T
    # Only colours that sRGB can show: the others go to its edge, and on which way is the profile engine's business.
    inside = ((linear >= 0.002) & (linear <= 1)).all(axis=-1)
    expected = 255 * colour.models.eotf_inverse_sRGB(np.clip(linear, 0, 1))
    difference = np.abs(converted[inside] - expected[inside])
    assert inside.mean() > 0.4
    assert difference.max() <= 2.0
    assert difference.mean() <= 0.4


def test_a_profile_ignored_would_be_seen() -> None:
    # The reason to convert at all: a strong red of Display P3 taken for sRGB is off by several just visible differences.
    red = np.array([[[200, 60, 60]]], np.uint8)
    right = ours.to_srgb(red, profiles.display_p3_profile())
    lab = [appearance.lab_from_linear(ours.decoded(c[0, 0] / 255)) for c in (red, right)]
    assert appearance.ciede2000(*lab) > 3


def test_pictures_of_paper_are_converted_in_half_the_time_to_the_same() -> None:
    """Paper with spots as strong as dyes on paper get and steeper than they get at 5 px/mm, and with a grain."""
    y, x = np.mgrid[:301, :402]
    paper = np.full((301, 402, 3), 205.0)
    for n, colour_of in enumerate(((200, 70, 110), (70, 110, 190), (80, 160, 100), (225, 190, 70))):
        depth = np.exp(-(((x - 50 - 90 * n) / 14) ** 2) - ((y - 150) / 12) ** 2)[..., None]
        paper = paper * (1 - depth) + np.array(colour_of) * depth
    pixels = np.clip(paper + np.random.default_rng(0).normal(0, 2, paper.shape), 0, 255).astype(np.uint8)
    icc = profiles.display_p3_profile()
    off = ours.picture_to_srgb(pixels, icc).astype(int) - ours.to_srgb(pixels, icc)
    assert np.mean(np.abs(off) <= 1) > 0.99
    assert np.abs(off.mean(axis=(0, 1))).max() < 0.05
    squares = off[:300, :400].reshape(60, 5, 80, 5, 3).mean(axis=(1, 3))  # of a millimetre
    assert np.abs(squares).max() < ours.PROFILE_TOLERANCE  # what also counts as the same when profiles are compared
    assert np.abs(ours.to_srgb(pixels, icc).astype(int) - pixels).max() > 15  # that is, there was something to convert
    assert ours.picture_to_srgb(pixels, None) is pixels


def test_srgb_is_known_by_what_it_does_not_by_its_name() -> None:
    assert ours.needed_profile(profiles.srgb_profile()) is None
    assert ours.needed_profile(profiles.matrix_profile("sRGB", "Some phone's own")) is None
    p3 = profiles.display_p3_profile()
    assert ours.needed_profile(p3) == p3
    renamed = profiles.matrix_profile("Display P3", "sRGB IEC61966-2.1")
    assert ours.needed_profile(renamed) == renamed


@pytest.mark.parametrize("icc", [None, b"", b"nonsense", bytes(400)])
def test_a_profile_that_cannot_be_used_is_not_needed(icc: bytes | None) -> None:
    assert ours.needed_profile(icc) is None


def test_a_cut_profile_is_refused_cleanly() -> None:
    p3 = profiles.display_p3_profile()
    with pytest.raises(ImageCms.PyCMSError):
        ours.to_srgb(np.zeros((2, 2, 3), np.uint8), p3[:200])
    assert ours.needed_profile(p3[:200]) is None


def test_our_test_profile_is_what_it_says() -> None:
    # Display P3's primaries in the profile connection space as Apple's own profile states them (from memory): red 0.5151, 0.2412, -0.0011
    profile = ImageCms.ImageCmsProfile(BytesIO(profiles.display_p3_profile())).profile
    np.testing.assert_allclose(profile.red_colorant[0], (0.5151, 0.2412, -0.0011), atol=5e-4)


# ---- L*a*b* and CIEDE2000


def test_lab_agrees_with_colour_science() -> None:
    linear = np.random.default_rng(2).uniform(0, 1, (500, 3)) ** 2
    xyz = linear @ appearance.RGB_TO_XYZ.T
    white = colour.XYZ_to_xy(appearance.RGB_TO_XYZ.sum(axis=1))
    np.testing.assert_allclose(appearance.lab_from_linear(linear), colour.XYZ_to_Lab(xyz, white), atol=1e-9)
    # And through its own sRGB, whose matrix has more digits than the standard prints.
    theirs = colour.XYZ_to_Lab(
        colour.RGB_to_XYZ(linear, "sRGB"), colour.CCS_ILLUMINANTS["CIE 1931 2 Degree Standard Observer"]["D65"]
    )
    np.testing.assert_allclose(appearance.lab_from_linear(linear), theirs, atol=0.05)


def test_lab_of_white_and_black() -> None:
    np.testing.assert_allclose(appearance.lab_from_linear([[1, 1, 1], [0, 0, 0]]), [[100, 0, 0], [0, 0, 0]], atol=1e-9)


def test_there_are_34_published_pairs() -> None:
    assert len(SHARMA_PAIRS) == 34


@pytest.mark.parametrize("row", SHARMA_PAIRS)
def test_ciede2000_by_the_published_pairs(row: tuple[float, ...]) -> None:
    assert appearance.ciede2000(row[:3], row[3:6]) == pytest.approx(row[6], abs=5e-5)
    assert appearance.ciede2000(row[3:6], row[:3]) == pytest.approx(row[6], abs=5e-5)


def test_ciede2000_through_colour_science() -> None:
    # Its own tests leave the fourteenth pair out: there the last bit of an arctangent decides between 4.8045 and 4.7461.
    rows = np.delete(pairs, 13, axis=0)
    theirs = colour.delta_E(rows[:, :3], rows[:, 3:6], method="CIE 2000")
    np.testing.assert_allclose(theirs, rows[:, 6], atol=5e-5)
    rng = np.random.default_rng(3)
    a, b = (rng.uniform((0, -90, -90), (100, 90, 90), (2000, 3)) for _ in range(2))
    np.testing.assert_allclose(appearance.ciede2000(a, b), colour.delta_E(a, b, method="CIE 2000"), atol=1e-9)


def test_ciede2000_broadcasts() -> None:
    library, seen = pairs[:, :3], pairs[0, 3:6]
    assert appearance.ciede2000(library[:, None], seen).shape == (34, 1)
    assert appearance.ciede2000(seen, seen) == 0


colours = st.tuples(st.floats(0, 100), st.floats(-100, 100), st.floats(-100, 100))


@given(colours, colours)
def test_ciede2000_is_symmetric_finite_and_not_negative(a: tuple[float, ...], b: tuple[float, ...]) -> None:
    there, back = appearance.ciede2000(a, b), appearance.ciede2000(b, a)
    assert np.isfinite(there)
    assert there >= 0
    assert there == pytest.approx(back, abs=1e-6)
