"""The view and what is cut out of the photo, against scikit-image's transforms and the camera's own truth."""

from dataclasses import replace

import cv2
import numpy as np
import pytest
from PIL import Image
from scipy.ndimage import map_coordinates
from skimage.transform import ProjectiveTransform, warp

from tests.imaging.shots import PLAIN, SCALE, Shot, page_of, shoot, sighting_of
from webcapture.card.layout import card_layout
from webcapture.imaging.projection import project
from webcapture.imaging.rectify import cut_out, fit_view, reduced, sampled
from webcapture.model import CardSighting, View
from webcapture.settings import DEFAULTS
from webcapture.synthetic.camera import aim
from webcapture.synthetic.scene import CameraSetup

SHEET = card_layout()
MIDDLE = SHEET.panel.centre
EVERYWHERE = np.mgrid[5:206:20, 5:293:20].reshape(2, -1).T.astype(float)


def view_of(sighting: CardSighting, size_px: tuple[int, int]) -> View:
    return fit_view(sighting, SHEET, size_px[::-1], DEFAULTS.view)


def whole(scale: float) -> tuple[np.ndarray, tuple[int, int]]:
    return np.array([[1 / scale, 0, 0.5 / scale], [0, 1 / scale, 0.5 / scale]]), (
        round(297 * scale),
        round(210 * scale),
    )


# ---- the view


@pytest.mark.parametrize("tilt", [0, 8, 20, 32])
@pytest.mark.parametrize("roll", [0, 100])
def test_tilt_scale_and_place_of_the_camera(tilt: int, roll: int) -> None:
    setup = CameraSetup(tilt_deg=tilt, azimuth_deg=130, roll_deg=roll, k1=0.03)
    true = aim(setup, SHEET.page_mm)
    shot = Shot(None, SHEET, true)  # type: ignore[arg-type]
    view = view_of(sighting_of(shot, noise_px=0.03), setup.size_px)
    assert view.tilt_deg == pytest.approx(true.tilt_deg(MIDDLE), abs=1.5)
    assert view.px_per_mm == pytest.approx(true.px_per_mm(MIDDLE), rel=2e-3)
    x, y, height = view.camera_mm
    # A phone's focal length is known to a fifth or so beforehand, and a view from above tells no more.
    assert height == pytest.approx(-true.place[2], rel=0.25)
    assert np.hypot(x - true.place[0], y - true.place[1]) < 0.12 * height
    assert view.residual_mm == pytest.approx(0.03 * np.sqrt(2) / view.px_per_mm, rel=0.25)
    assert view.bend_mm < 0.01


def test_saddles_under_something_are_left_out() -> None:
    shot = Shot(None, SHEET, aim(PLAIN, SHEET.page_mm))  # type: ignore[arg-type]
    good = sighting_of(shot, noise_px=0.03)
    px = good.points_px.copy()
    px[::9] += np.random.default_rng(0).normal(0, 4, px[::9].shape)
    view = view_of(replace(good, points_px=px), PLAIN.size_px)
    assert np.abs(project(view.mapping, EVERYWHERE) - shot.camera.project(EVERYWHERE)).max() < 0.1
    assert view.residual_mm < 0.02


@pytest.mark.parametrize("arch_mm", [3.0, -3.0, 10.0])
def test_a_bent_card_shows(arch_mm: float) -> None:
    """An arch between left and right edge, as a curled page makes it: misfits of neighbours go together."""
    true = aim(PLAIN, SHEET.page_mm)
    mm = np.array(SHEET.saddles)
    height = arch_mm * (1 - (mm[:, 0] / SHEET.page_mm[0] * 2 - 1) ** 2)
    px = true.project(mm, height) + np.random.default_rng(1).normal(0, 0.03, mm.shape)
    view = view_of(CardSighting("sheet", "a4", 12, mm, px), PLAIN.size_px)
    assert view.bend_mm > DEFAULTS.quality.bend_mm
    assert view.residual_mm > 0.05


def test_a_flat_card_is_not_called_bent() -> None:
    true = aim(replace(PLAIN, tilt_deg=30, k1=-0.05), SHEET.page_mm)
    shot = Shot(None, SHEET, true)  # type: ignore[arg-type]
    view = view_of(sighting_of(shot, noise_px=0.3), PLAIN.size_px)
    assert view.bend_mm < DEFAULTS.quality.bend_mm / 3


# ---- cutting out


def test_cut_out_is_the_warp_of_scikit_image() -> None:
    shot = shoot(SHEET, camera=replace(PLAIN, tilt_deg=20))
    view = view_of(sighting_of(shot), PLAIN.size_px)
    to_mm, shape = whole(4.0)
    ours = cut_out(shot.photo, view.mapping, to_mm, shape)
    saddles = np.array(SHEET.saddles)
    to_photo = ProjectiveTransform.from_estimate((saddles * 4.0) - 0.5, shot.camera.project(saddles))
    theirs = warp(shot.photo.stored, to_photo, output_shape=shape, order=1, preserve_range=True)
    # OpenCV rounds places to 1/32 px and levels to integers: at the print's edges that shows as single levels.
    difference = np.abs(ours - theirs)
    assert difference.mean() < 0.5
    assert np.percentile(difference, 99.5) < 5


@pytest.mark.parametrize("k1", [-0.05, 0.05])
def test_the_page_lies_straight_again(k1: float) -> None:
    shot = shoot(SHEET, camera=replace(PLAIN, tilt_deg=28, azimuth_deg=200, roll_deg=95, k1=k1, size_px=(2000, 1500)))
    view = view_of(sighting_of(shot), (2000, 1500))
    to_mm, shape = whole(SCALE / 2)
    ours = cut_out(shot.photo, view.mapping, to_mm, shape)[..., 1]
    printed = page_of(SHEET)[: 2 * shape[0], : 2 * shape[1], 1].reshape(shape[0], 2, shape[1], 2).mean(axis=(1, 3))
    around = np.ones((11, 11), np.uint8)
    flat = cv2.dilate(printed, around) - cv2.erode(printed, around) < 1
    flat[:5], flat[-5:], flat[:, :5], flat[:, -5:] = False, False, False, False
    assert flat.mean() > 0.3
    assert np.abs(ours[flat].astype(float) - printed[flat]).max() < 12
    # A shift by a tenth of a millimetre would show on every chequer's edge.
    y, x = np.mgrid[: shape[0], : shape[1]]
    frame = (x < 70) | (x > shape[1] - 70) | (y < 70) | (y > shape[0] - 70)
    slope_x, slope_y = np.gradient(printed)[::-1]
    off = ours.astype(float) - printed
    for slope in (slope_x, slope_y):
        assert abs(float((off * slope)[frame].sum() / (slope**2)[frame].sum())) < 0.1  # px of 0.2 mm


def test_places_between_the_nodes() -> None:
    """Every pixel's place against the mapping itself, through a picture whose levels are its coordinates."""
    setup = replace(PLAIN, tilt_deg=32, k1=0.05, size_px=(1200, 1600))
    true = aim(setup, SHEET.page_mm)
    shot = Shot(None, SHEET, true)  # type: ignore[arg-type]
    view = view_of(sighting_of(shot), setup.size_px)
    x = np.broadcast_to((np.arange(1200) / 5).astype(np.uint8), (1600, 1200))
    y = np.broadcast_to((np.arange(1600) / 7).astype(np.uint8)[:, None], (1600, 1200))
    to_mm, shape = whole(4.0)
    ramp = replace(shoot(SHEET).photo, stored=np.ascontiguousarray(np.dstack([x, y, x])))
    cut = cut_out(ramp, view.mapping, to_mm, shape).astype(float)
    col, row = np.meshgrid(np.arange(shape[1]), np.arange(shape[0]))
    exact = project(view.mapping, np.stack([(col + 0.5) / 4, (row + 0.5) / 4], axis=-1))
    assert np.abs(cut[..., 0] - (exact[..., 0] / 5 - 0.4)).max() < 1.2
    assert np.abs(cut[..., 1] - (exact[..., 1] / 7 - 0.43)).max() < 1.2
    assert abs((cut[..., 0] - (exact[..., 0] / 5 - 0.4)).mean()) < 0.02


def test_outside_the_photo_is_black() -> None:
    shot = shoot(SHEET, camera=replace(PLAIN, offset=(0.0, 0.4)))
    view = view_of(sighting_of(shot), PLAIN.size_px)
    to_mm, shape = whole(4.0)
    cut = cut_out(shot.photo, view.mapping, to_mm, shape)
    low = project(view.mapping, np.array([[105.0, 290.0]]))[0, 1]
    assert low > PLAIN.size_px[1]
    assert cut[-20:].max() == 0
    assert cut[: shape[0] // 3].min(axis=2).max() > 200


@pytest.mark.parametrize("orientation", range(1, 9))
@pytest.mark.parametrize("factor", [2, 3])
def test_a_reduced_photo_shows_the_card_at_the_same_places(orientation: int, factor: int) -> None:
    """Whichever way the camera was held, and where the photo's sides are no multiple of the factor."""
    shot = shoot(SHEET)
    view = view_of(sighting_of(shot), PLAIN.size_px)
    upright = shot.photo.stored[: PLAIN.size_px[1] - 1, : PLAIN.size_px[0] - 1]
    photo = replace(shot.photo, stored=as_stored(upright, orientation), orientation=orientation)
    assert (photo.pixels == upright).all()
    to_mm, shape = whole(2.0)
    full = cut_out(photo, view.mapping, to_mm, shape).astype(float)
    less = cut_out(*reduced(photo, view.mapping, factor), to_mm, shape).astype(float)
    # A shift would show on every edge of the print, this way or that.
    for slope in np.gradient(cv2.GaussianBlur(full, (0, 0), 1.0), axis=(0, 1)):
        assert abs(float(((less - full) * slope).sum() / (slope**2).sum())) < 0.02  # px of 0.5 mm


def as_stored(upright: np.ndarray, orientation: int) -> np.ndarray:
    """The pixels that Exif's ``orientation`` shows so: Pillow's own transposition, undone."""
    turns = {2: 0, 3: 3, 4: 1, 5: 5, 6: 2, 7: 6, 8: 4}  # Pillow's numbers of what brings the upright picture back
    picture = Image.fromarray(upright)
    if orientation > 1:
        picture = picture.transpose(Image.Transpose(turns[orientation]))
    return np.ascontiguousarray(picture)


def test_places_in_the_photo_are_sampled_between_pixels() -> None:
    """scipy.ndimage.map_coordinates of order one, on a photo that lies on its side; black outside."""
    shot = shoot(SHEET)
    photo = replace(shot.photo, orientation=6)
    height, width = photo.pixels.shape[:2]
    places = np.random.default_rng(3).uniform((1, 1), (width - 2, height - 2), (40, 50, 2))
    wanted = map_coordinates(photo.pixels[..., 1].astype(float), places[..., ::-1].transpose(2, 0, 1), order=1)
    assert np.abs(sampled(photo, places)[..., 1] - wanted).mean() < 1  # OpenCV rounds places to 1/32 px
    assert sampled(photo, places - 2 * width).max() == 0


def test_a_part_turned_and_of_another_scale() -> None:
    """A window whose rows run up the card: the same pixels as in the whole, where they fall together."""
    shot = shoot(SHEET)
    view = view_of(sighting_of(shot), PLAIN.size_px)
    to_mm, shape = whole(5.0)
    page = cut_out(shot.photo, view.mapping, to_mm, shape)
    upward = np.array([[0.2, 0, 40.1], [0, -0.2, 199.9]])
    part = cut_out(shot.photo, view.mapping, upward, (300, 150))
    np.testing.assert_allclose(part[::-1].astype(int), page[700:1000, 200:350].astype(int), atol=6)
    assert np.abs(part[::-1].astype(int) - page[700:1000, 200:350]).mean() < 0.5
