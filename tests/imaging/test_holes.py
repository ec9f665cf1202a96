"""Punched holes, and black spots as dark and as flat, which are none."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
import pytest

from tests.measure.drawn import RED, Absorbance, celled, from_above, pencil, pictured, spot
from webcapture.imaging.holes import edge_width_mm, punched
from webcapture.measure.strip import measure_strip
from webcapture.model import Floats, Floats32
from webcapture.settings import DEFAULTS

CELL, TINT, LEVEL = 0.35, -0.4, -0.05
S, T = (np.arange(60) * CELL)[:, None], (np.arange(50) * CELL)[None, :]


def cells_of(plane: Floats) -> Floats32:
    return np.repeat(plane[..., None], 3, axis=2).astype(np.float32)


def holes_in(plane: Floats, edge_mm: float = 0.1) -> np.ndarray:
    return punched(cells_of(plane), np.full(3, TINT), CELL, lambda: edge_mm, DEFAULTS.cell)


@pytest.mark.parametrize("across_mm", [3.0, 4.0, 6.0])
@pytest.mark.parametrize("seed", range(8))
def test_a_punched_hole_is_told_through_grain_and_specks(across_mm: float, seed: int) -> None:
    """The smallest that punches make, its tint with as much noise as a bad photo's, and some of its cells dirty."""
    rng = np.random.default_rng(seed)
    inside = np.hypot(S - 10, T - 9) < across_mm / 2
    plane = np.where(inside, TINT, LEVEL) + rng.normal(0, 0.03, inside.shape)
    plane[inside & (rng.random(inside.shape) < 0.1)] -= 0.15
    holes = holes_in(plane)
    assert holes[inside].mean() > 0.95
    assert holes.sum() < 3 * inside.sum() + 60


def test_a_line_as_dark_as_the_tint_is_no_hole() -> None:
    plane = np.full((60, 50), LEVEL)
    plane[30:32] = TINT
    assert not holes_in(plane).any()


@pytest.mark.parametrize("soft_mm", [0.1, 0.3, 0.4])
def test_a_hole_is_one_however_blurred_the_photo_is(soft_mm: float) -> None:
    """Its rim is then as soft as the paper's own edge, which lies beside the same card; a spot's in a sharp photo is not."""
    rim = np.tanh((np.hypot(S - 10, T - 9) - 2.75) / soft_mm)
    plane = TINT + (LEVEL - TINT) * (rim + 1) / 2
    width = soft_mm * (np.arctanh(2 * 0.6 - 1) - np.arctanh(2 * 0.2 - 1))
    assert holes_in(plane, float(width)).any()
    assert holes_in(plane, 0.05).any() == (soft_mm < 0.2)


@pytest.mark.parametrize("blur_mm", [0.1, 0.2, 0.3])
def test_the_width_of_the_papers_edge(blur_mm: float) -> None:
    """Of a Gaussian's integral, from a fifth to three fifths: 1.095 of its standard deviations (tables of the normal distribution)."""
    image = pictured(pencil(20), noise=0.01)
    logs = cv2.GaussianBlur(image.logs, (0, 0), blur_mm * image.px_per_mm)
    assert edge_width_mm(replace(image, logs=logs)) == pytest.approx(1.095 * blur_mm, rel=0.15)


def flat(s0: float, t0: float, depth: float, radius: float, sharp: float) -> Absorbance:
    """A black spot with a flat middle and steep sides."""
    return lambda s, t: (depth * np.exp(-0.7 * (np.hypot(s - s0, t - t0) / radius) ** sharp))[..., None] * np.ones(3)


@pytest.mark.parametrize("depth", [0.25, 0.3, 0.35, 0.4, 0.5, 0.7])
@pytest.mark.parametrize(("radius", "sharp"), [(2.4, 6), (3.2, 6), (4.5, 6), (3.2, 4), (3.2, 8)])
def test_a_flat_black_spot_is_found_however_dark_it_is(radius: float, sharp: float, depth: float) -> None:
    """Among them those as dark as the card: the paper's 0.05 below white, the card's 0.35."""
    things = pencil(20), pencil(120), flat(70, 10, depth, radius, sharp)
    strip = measure_strip(celled(*things, noise=0.006), from_above(), DEFAULTS)
    assert [one.rf for one in strip.lanes[0].spots] == pytest.approx([0.5], abs=0.003)


@pytest.mark.parametrize("at", [17.4, 70.0, 123.35])
def test_a_hole_beside_a_line_or_a_spot_is_still_one(at: float) -> None:
    """Half a millimetre from the origin line or the front, 2.5 mm from a spot's middle: those are dark on one side of it only."""

    def hole(s: Floats, t: Floats) -> Floats:
        return np.where(np.hypot(s - at, t - 10) < (2.0 if at < 20 else 2.75), 0.25, 0.0)[..., None] * np.ones(3)

    things = pencil(20), pencil(120), spot(64.75, 10, 1.5, RED), hole
    strip = measure_strip(celled(*things, noise=0.006), from_above(), DEFAULTS)
    assert [one.rf for one in strip.lanes[0].spots] == pytest.approx([0.4475], abs=0.006)
