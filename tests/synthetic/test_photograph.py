"""The finished file: the same seed gives the same bytes, viewers turn and colour it right, and things lie at their truth."""

from __future__ import annotations

import io
from dataclasses import replace

import cv2
import numpy as np
import pytest
from PIL import Image
from scipy.ndimage import map_coordinates
from skimage.color import rgb2gray

from tests.synthetic.conftest import plain_scene, plain_strip, upright
from webcapture.card.layout import card_layout
from webcapture.synthetic import Photograph, render
from webcapture.synthetic.development import jpeg
from webcapture.synthetic.scene import CameraSetup, Curve, Front, Lift, PaperStrip, Scene


@pytest.fixture(scope="module")
def photo(scene: Scene) -> Photograph:
    return render(scene)


def test_the_same_scene_gives_the_same_bytes(scene: Scene, photo: Photograph) -> None:
    assert render(scene).data == photo.data


def test_another_seed_gives_other_noise_in_the_same_place(scene: Scene, photo: Photograph) -> None:
    other = render(replace(scene, seed=4))
    assert other.data != photo.data
    assert other.truth.strips[0].corners_mm == photo.truth.strips[0].corners_mm


@pytest.mark.parametrize("orientation", range(1, 9))
def test_every_exif_orientation_shows_the_same_picture(photo: Photograph, orientation: int) -> None:
    """Turned by Pillow's exif_transpose, and independently by OpenCV's own decoder."""
    expected = upright(photo.data)
    data = jpeg(expected, CameraSetup(orientation=orientation, quality=95))
    assert Image.open(io.BytesIO(data)).size == ((2000, 1500) if orientation >= 5 else (1500, 2000))
    assert np.abs(upright(data).astype(int) - expected).mean() < 1
    by_opencv = cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_COLOR)
    assert np.abs(by_opencv[..., ::-1].astype(int) - expected).mean() < 1


def test_a_turned_photo_is_turned_back_by_viewers(scene: Scene, photo: Photograph) -> None:
    turned = render(replace(scene, camera=replace(scene.camera, orientation=6)))
    assert np.abs(upright(turned.data).astype(int) - upright(photo.data)).mean() < 1


def test_a_display_p3_photo_shows_the_same_colours(scene: Scene, photo: Photograph) -> None:
    """Converted by LittleCMS from the embedded profile; taken for sRGB, strong colours would be off."""
    wide = render(replace(scene, camera=replace(scene.camera, display_p3=True)))
    plain = upright(photo.data).astype(int)
    assert np.abs(upright(wide.data) - plain).mean() < 0.8
    column, row = np.rint(wide.truth.camera.project(np.array([wide.truth.strips[0].lanes[0].spots[0].densest_mm]))[0])
    at = np.s_[int(row) - 3 : int(row) + 4, int(column) - 3 : int(column) + 4]
    raw = np.asarray(Image.open(io.BytesIO(wide.data))).astype(int)
    assert np.abs(upright(wide.data)[at].mean((0, 1)) - plain[at].mean((0, 1))).max() < 3
    assert np.abs(raw[at].mean((0, 1)) - plain[at].mean((0, 1))).max() > 5


def test_the_cards_saddles_lie_at_their_truth(photo: Photograph) -> None:
    """Found by OpenCV's corner refinement, which knows nothing of the camera."""
    saddles = np.array(card_layout("sheet", "a4").saddles)
    expected = photo.truth.camera.project(saddles)
    grey = np.ascontiguousarray(255 * rgb2gray(upright(photo.data))).astype(np.uint8)
    criteria = (cv2.TERM_CRITERIA_EPS + cv2.TERM_CRITERIA_COUNT, 40, 1e-4)
    found = cv2.cornerSubPix(grey, expected.astype(np.float32).reshape(-1, 1, 2), (4, 4), (-1, -1), criteria)
    off_mm = (found.reshape(-1, 2) - expected) / photo.truth.px_per_mm
    assert np.abs(off_mm.mean(axis=0)).max() < 0.005, "no shift of the whole"
    assert np.percentile(np.hypot(*off_mm.T), 95) < 0.03


def profile(photo: Photograph, strip: PaperStrip, half_mm: float, step_mm: float = 0.05) -> tuple[np.ndarray, ...]:
    """(s, absorbance R, G, B) along the strip's middle, sampled by scipy through the known camera."""
    s = np.arange(1.0, strip.length_mm - 1, step_mm)
    t = strip.width_mm / 2 + np.arange(-half_mm, half_mm + 0.01, 0.2)
    grid_s, grid_t = np.meshgrid(s, t, indexing="ij")
    places = np.column_stack([v.ravel() for v in strip.on_card(grid_s, grid_t)])  # type: ignore[arg-type,union-attr]
    px = photo.truth.camera.project(places, strip.lift.height(grid_s.ravel() / strip.length_mm))
    level = upright(photo.data) / 255
    linear = np.where(level <= 0.04045, level / 12.92, ((level + 0.055) / 1.055) ** 2.4)
    seen = [map_coordinates(linear[..., c], [px[:, 1], px[:, 0]], order=1).reshape(grid_s.shape) for c in range(3)]
    return s, *(-np.log10(channel.mean(axis=1)) for channel in seen)


def bump(s: np.ndarray, profile: np.ndarray, low: float, high: float) -> float:
    """Centroid of what rises above a straight line between the two ends of a range."""
    part = (s > low) & (s < high)
    ends = part & ((s < low + 1) | (s > high - 1))
    rise = profile[part] - np.polyval(np.polyfit(s[ends], profile[ends], 1), s[part])
    return float((rise * s[part]).sum() / rise.sum())


LIFTS = {"flat": Lift(), "arch": Lift("arch", 2.0, 0.4), "end": Lift("end", 2.0, 0.5), "curl": Lift("curl", 1.5)}


@pytest.mark.parametrize("lift", LIFTS)
@pytest.mark.parametrize("upright_strip", [True, False])
def test_lines_and_spots_lie_at_their_truth(lift: str, upright_strip: bool) -> None:
    """On strips flat and bent, either way round, seen from 20° aside: within 0.05 mm of a centroid in the photo."""
    strip = plain_strip(lift=LIFTS[lift], upright=upright_strip)
    photo = render(plain_scene(strip, tilt_deg=20))
    lane = photo.truth.strips[0].lanes[0]
    s, red, green, _ = profile(photo, strip, 5.0)
    assert bump(s, green, 17, 23) == pytest.approx(20.0, abs=0.04)
    assert bump(s, green, 117, 123) == pytest.approx(120.0, abs=0.04)
    first, second = lane.spots
    assert bump(s, green, 45, 66) == pytest.approx(20 + first.distance_mm, abs=0.06)
    assert bump(s, red, 78, 103) == pytest.approx(20 + second.distance_mm, abs=0.06)
    assert lane.run_mm == pytest.approx(100.0)
    assert first.rf == pytest.approx(first.distance_mm / 100)
    assert first.rf == pytest.approx(0.35, abs=0.004)


def test_a_wet_edge_is_half_dark_on_the_front() -> None:
    strip = plain_strip(front=Front(Curve(120.0, mid_mm=12.5), "wet-edge", 0.05, 0.6))
    s, _, green, _ = profile(render(plain_scene(strip)), strip, 8.0)
    dry, wet = green[(s > 123) & (s < 128)].mean(), green[(s > 112) & (s < 117)].mean()
    assert wet - dry == pytest.approx(0.05, abs=0.006)
    step = (s > 118) & (s < 122)
    crossing = s[step][np.argmin(np.abs(green[step] - (wet + dry) / 2))]
    assert crossing == pytest.approx(120.0, abs=0.12)


def test_the_peak_is_as_dark_as_asked() -> None:
    """A spot of 0.4 asked for shows 0.4 against the paper beside it."""
    strip = plain_strip(streaks=0.0)
    photo = render(plain_scene(strip, defocus_px=0.4))
    s, _, green, _ = profile(photo, strip, 0.3)
    centre = 20 + photo.truth.strips[0].lanes[0].spots[0].densest_distance_mm
    height = green[np.abs(s - centre) < 0.4].mean() - green[(s > 25) & (s < 40)].mean()
    assert height == pytest.approx(0.4, abs=0.03)


def test_truth_says_what_is_not_there() -> None:
    strip = plain_strip(front=Front(Curve(170.0), "none"))
    lane = render(plain_scene(strip)).truth.strips[0].lanes[0]
    assert lane.front_mm is None
    assert lane.run_mm is None
    assert lane.origin_mm is not None
    assert len(lane.spots) == 2
