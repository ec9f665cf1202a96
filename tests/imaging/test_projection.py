"""Card millimetres and photo pixels: round trips, and fits against independent solvers and a camera written elsewhere."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import least_squares
from skimage.transform import ProjectiveTransform

from webcapture.card.layout import card_layout
from webcapture.imaging.projection import fit_mapping, project, scale_at
from webcapture.model import Mapping
from webcapture.settings import DEFAULTS
from webcapture.synthetic.camera import Pinhole, aim
from webcapture.synthetic.scene import CameraSetup

CARD = card_layout()
SADDLES = np.array(CARD.saddles)
EVERYWHERE = np.mgrid[5:206:20, 5:293:20].reshape(2, -1).T.astype(float)
SIZE = (3000, 4000)
SHAPE = (4000, 3000)


def camera(**setup: float) -> Pinhole:
    return aim(CameraSetup(size_px=SIZE, **setup), CARD.page_mm)  # type: ignore[arg-type]


def fitted(mm: np.ndarray, px: np.ndarray, u_px: float = 0.05, start: Mapping | None = None) -> Mapping:
    return fit_mapping(mm, px, SHAPE, u_px, DEFAULTS.view, start)


views = st.builds(
    camera,
    tilt_deg=st.floats(0, 40),
    azimuth_deg=st.floats(0, 360),
    roll_deg=st.floats(-180, 180),
    fill=st.floats(0.4, 0.95),
    k1=st.floats(-0.05, 0.05),
)


@given(views)
def test_the_fit_finds_every_camera_without_noise(true: Pinhole) -> None:
    mapping = fitted(SADDLES, true.project(SADDLES))
    assert np.abs(project(mapping, EVERYWHERE) - true.project(EVERYWHERE)).max() < 0.02
    assert mapping.k1 == pytest.approx(true.k1, abs=3e-4)


@given(views)
def test_there_and_back_again(true: Pinhole) -> None:
    mapping = fitted(SADDLES, true.project(SADDLES))
    # Back by the camera's own inverse, Newton's method on the radius.
    assert np.abs(true.ground(project(mapping, EVERYWHERE)) - EVERYWHERE).max() < 0.01  # mm


def test_any_shape_of_points() -> None:
    mapping = fitted(SADDLES, camera(k1=0.03).project(SADDLES))
    grid = EVERYWHERE[:12].reshape(3, 4, 2)
    np.testing.assert_array_equal(project(mapping, grid), project(mapping, EVERYWHERE[:12]).reshape(3, 4, 2))


def test_without_lens_it_is_the_projective_transform_of_scikit_image() -> None:
    px = camera(tilt_deg=25, azimuth_deg=70, roll_deg=30).project(SADDLES)
    transform = ProjectiveTransform.from_estimate(SADDLES, px)
    assert np.abs(project(fitted(SADDLES, px), EVERYWHERE) - transform(EVERYWHERE)).max() < 0.01


@pytest.mark.parametrize("seed", range(4))
def test_with_noise_it_is_the_optimum_of_a_general_solver(seed: int) -> None:
    """Against scipy's least_squares with numeric derivatives on the very same sum of squares (no misfit exceeds 3 u here)."""
    rng = np.random.default_rng(seed)
    true = camera(tilt_deg=20, azimuth_deg=90 * seed, k1=0.03)
    px = true.project(SADDLES) + np.clip(rng.normal(0, 0.05, SADDLES.shape), -0.1, 0.1)
    ours = fitted(SADDLES, px)
    view = DEFAULTS.view

    def residuals(p: np.ndarray) -> np.ndarray:
        mapping = Mapping(np.append(p[:8], 1.0).reshape(3, 3), p[8], p[9], ours.centre_px, ours.scale_px)
        misfit = (project(mapping, SADDLES) - px).ravel() / 0.05
        return np.concatenate([misfit, p[8:] / (view.prior_k1, view.prior_k2)])

    start = np.append(ours.homography.ravel()[:8] / ours.homography[2, 2], (0.0, 0.0))
    best = least_squares(residuals, start, x_scale=np.maximum(np.abs(start), 1e-3), xtol=1e-14, ftol=1e-14, gtol=1e-14)
    theirs = Mapping(np.append(best.x[:8], 1.0).reshape(3, 3), best.x[8], best.x[9], ours.centre_px, ours.scale_px)
    assert np.abs(project(theirs, EVERYWHERE) - project(ours, EVERYWHERE)).max() < 0.002
    assert (theirs.k1, theirs.k2) == pytest.approx((ours.k1, ours.k2), abs=2e-5)


def test_wrong_points_hardly_matter() -> None:
    rng = np.random.default_rng(1)
    true = camera(tilt_deg=15, k1=-0.02)
    px = true.project(SADDLES) + rng.normal(0, 0.05, SADDLES.shape)
    wrong = rng.random(len(px)) < 0.15
    px[wrong] += rng.normal(0, 5, (wrong.sum(), 2))
    assert np.abs(project(fitted(SADDLES, px), EVERYWHERE) - true.project(EVERYWHERE)).max() < 0.1


def test_few_coarse_points_tell_nothing_of_the_lens() -> None:
    rng = np.random.default_rng(2)
    some = SADDLES[::12]
    mapping = fitted(some, camera().project(some) + rng.normal(0, 1.0, some.shape), u_px=1.0)
    assert abs(mapping.k1) < 0.02
    assert abs(mapping.k2) < 0.02


def test_a_start_changes_nothing_but_the_way() -> None:
    rng = np.random.default_rng(3)
    true = camera(tilt_deg=20, k1=0.04)
    px = true.project(SADDLES) + rng.normal(0, 0.05, SADDLES.shape)
    start = fitted(SADDLES[:40], px[:40], u_px=1.0)
    assert (
        np.abs(project(fitted(SADDLES, px, start=start), EVERYWHERE) - project(fitted(SADDLES, px), EVERYWHERE)).max()
        < 0.002
    )


@pytest.mark.parametrize("offset_px", [0.0, 0.3])
def test_points_on_one_line_do_not_fail_the_fit(offset_px: float) -> None:
    """They have no one solution; where they lie, what was begun with is not lost."""
    true = camera(tilt_deg=20, k1=0.04)
    start = fitted(SADDLES, true.project(SADDLES))
    line = np.column_stack([np.full(30, 20.0), np.linspace(20, 270, 30)])
    mapping = fitted(line, true.project(line) + offset_px, start=start)
    assert np.abs(project(mapping, line) - true.project(line) - offset_px).max() < 0.5


def test_scale_is_the_cameras() -> None:
    true = camera(tilt_deg=30, azimuth_deg=20, k1=0.02)
    mapping = fitted(SADDLES, true.project(SADDLES))
    for x, y in ((20.0, 20.0), (105.0, 148.0), (190.0, 270.0)):
        area = abs(np.linalg.det(scale_at(mapping, np.array([x, y]))))
        assert math.sqrt(area) == pytest.approx(true.px_per_mm((x, y)), rel=1e-3)
