"""The truth is where it says: dark dots at known millimetres are found again in the photo."""

from __future__ import annotations

import numpy as np
import pytest
from skimage.transform import ProjectiveTransform

from webcapture.synthetic.camera import Pinhole, aim
from webcapture.synthetic.development import blurred
from webcapture.synthetic.layers import Layer, Nodes, Window, place_over, softened
from webcapture.synthetic.scene import CameraSetup

PAGE = (210.0, 297.0)
SETUPS = {
    "level": CameraSetup(size_px=(3000, 4000)),
    "tilted": CameraSetup(size_px=(3000, 4000), tilt_deg=30, azimuth_deg=70, roll_deg=100, fill=0.7),
    "barrel": CameraSetup(size_px=(4000, 3000), tilt_deg=20, azimuth_deg=200, roll_deg=4, k1=-0.05, k2=0.01),
    "pincushion": CameraSetup(size_px=(3000, 4000), tilt_deg=12, roll_deg=181, k1=0.05, fill=0.85),
}


def dotted(places: np.ndarray, scale: float, height: float = 0.0) -> Layer:
    """A white page with soft dark dots at ``places`` millimetres."""
    x = (np.arange(round(PAGE[0] * scale)) + 0.5) / scale
    y = (np.arange(round(PAGE[1] * scale)) + 0.5) / scale
    page = np.ones((len(y), len(x)), np.float32)
    for px, py in places:
        page -= 0.8 * np.outer(np.exp(-0.5 * ((y - py) / 0.5) ** 2), np.exp(-0.5 * ((x - px) / 0.5) ** 2)).astype(
            np.float32
        )
    to_px = np.array([[scale, 0, -0.5], [0, scale, -0.5]])
    outline = np.array([[0.0, 0.0], [PAGE[0], PAGE[1]], [0.0, PAGE[1]], [PAGE[0], 0.0]])
    inside = lambda x, y: np.minimum(np.minimum(x, PAGE[0] - x), np.minimum(y, PAGE[1] - y))  # noqa: E731
    raised = (lambda x, y: np.full_like(x, height)) if height else None
    return Layer(page, to_px, scale, inside, outline, raised)


def picture(layer: Layer, camera: Pinhole) -> np.ndarray:
    width, height = camera.size_px
    canvas = np.ones((height, width, 1), np.float32)
    place_over(canvas, softened(layer, camera), Nodes(camera), Window(0, height, 0, width))
    return blurred(canvas[..., 0], 0.8)


def centroid(image: np.ndarray, near: np.ndarray, radius: int) -> np.ndarray:
    column, row = np.rint(near).astype(int)
    part = 1 - image[row - radius : row + radius + 1, column - radius : column + radius + 1].astype(float)
    part[part < 0.02] = 0
    rows, columns = np.mgrid[row - radius : row + radius + 1, column - radius : column + radius + 1]
    return np.array([(part * columns).sum(), (part * rows).sum()]) / part.sum()


@pytest.mark.parametrize("name", SETUPS)
@pytest.mark.parametrize("height", [0.0, 2.0])
def test_dots_appear_where_the_camera_says(name: str, height: float) -> None:
    camera = aim(SETUPS[name], PAGE)
    places = np.array([[20.3, 25.1], [105.0, 148.5], [190.2, 270.7], [30.9, 250.2], [180.4, 40.6]])
    image = picture(dotted(places, 16.0, height), camera)
    for place in places:
        expected = camera.project(place[None], height)[0]
        scale = camera.px_per_mm((place[0], place[1]))
        off = centroid(image, expected, round(2.2 * scale)) - expected
        assert np.hypot(*off) / scale < 0.01, "millimetres between the dot and its truth"


def test_projection_is_a_homography_without_distortion() -> None:
    """Against scikit-image's ProjectiveTransform fitted to four corners."""
    camera = aim(CameraSetup(tilt_deg=28, azimuth_deg=130, roll_deg=33), PAGE)
    corners = np.array([[0, 0], [210, 0], [210, 297], [0, 297.0]])
    other = ProjectiveTransform.from_estimate(corners, camera.project(corners))
    inner = np.random.default_rng(1).uniform((0, 0), PAGE, (50, 2))
    assert np.abs(other(inner) - camera.project(inner)).max() < 1e-6


@pytest.mark.parametrize("name", SETUPS)
def test_ground_undoes_project(name: str) -> None:
    camera = aim(SETUPS[name], PAGE)
    places = np.random.default_rng(2).uniform((-10, -10), (220, 300), (40, 2))
    assert np.abs(camera.ground(camera.project(places)) - places).max() < 1e-6


@pytest.mark.parametrize("name", SETUPS)
def test_the_page_fills_the_frame_as_asked(name: str) -> None:
    setup = SETUPS[name]
    px = aim(setup, PAGE).project(np.array([[0, 0], [210, 0], [210, 297], [0, 297.0]]))
    share = (px.max(axis=0) - px.min(axis=0)) / setup.size_px
    assert share.max() == pytest.approx(setup.fill, abs=1e-3)
    assert (px.max(axis=0) + px.min(axis=0)) / 2 == pytest.approx((np.array(setup.size_px) - 1) / 2, abs=2)


def test_tilt_is_the_angle_at_the_cards_middle() -> None:
    camera = aim(CameraSetup(tilt_deg=20, azimuth_deg=0), PAGE)
    assert camera.tilt_deg((105, 148.5)) == pytest.approx(20, abs=1e-6)
    assert camera.place[0] > 105, "leaning to the right of the card"
