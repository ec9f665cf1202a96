"""Small photos of the printed page with known geometry, light and papers, made in a moment.

The camera is the synthetic one (:class:`webcapture.synthetic.camera.Pinhole`), written apart from what is tested here; the
page is the printed card's own raster. Everything else that photos have stands in :mod:`webcapture.synthetic`.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cache

import cv2
import numpy as np

from webcapture.card.layout import CardLayout, card_layout
from webcapture.card.printing import card_png_array
from webcapture.imaging.light import rectified_sheet
from webcapture.imaging.rectify import fit_view
from webcapture.model import Bytes8, CardSighting, Floats, Photo, Sheet, View
from webcapture.settings import DEFAULTS
from webcapture.synthetic.camera import Pinhole, aim
from webcapture.synthetic.scene import CameraSetup

PAGE_DPI = 254
SCALE = 10.0
"""Pixels of the page's picture per millimetre."""
PAPER, TABLE = 245, (96, 104, 110)
PLAIN = CameraSetup(size_px=(1500, 2000), fill=0.92, tilt_deg=8, azimuth_deg=50, roll_deg=2)


@dataclass(frozen=True)
class Shot:
    """A photo and what is known of it."""

    photo: Photo
    card: CardLayout
    camera: Pinhole


@cache
def _printed(layout: str, paper: str) -> Bytes8:
    return card_png_array(card_layout(layout, paper), PAGE_DPI)


def page_of(card: CardLayout) -> Bytes8:
    """(rows, cols, 3) the card as printed, SCALE px/mm; draw on it."""
    return np.repeat(_printed(card.layout, card.paper)[..., None], 3, axis=2)


def strip_corners(centre_mm: tuple[float, float], width_mm: float, length_mm: float, turn_deg: float) -> Floats:
    """(4, 2) bottom left, bottom right, top right, top left, turned clockwise as seen."""
    turn = np.radians(turn_deg)
    up, right = np.array([np.sin(turn), -np.cos(turn)]), np.array([np.cos(turn), np.sin(turn)])
    halves = ((-1, -1), (1, -1), (1, 1), (-1, 1))
    return np.array([np.array(centre_mm) + a * width_mm / 2 * right + b * length_mm / 2 * up for a, b in halves])


def lay(page: Bytes8, corners_mm: Floats, level: int | tuple[int, int, int] = PAPER) -> None:
    """Paint a polygon of paper onto the page; its edges lie right to a hundredth of a millimetre."""
    shade = np.full(3, level, float) if isinstance(level, int) else np.array(level, float)
    rows, cols = (
        slice(max(int(p.min() * SCALE) - 2, 0), int(p.max() * SCALE) + 3) for p in (corners_mm[:, 1], corners_mm[:, 0])
    )
    window = page[rows, cols]
    fine = np.zeros((window.shape[0] * 4, window.shape[1] * 4), np.uint8)
    shifted = ((corners_mm * SCALE - (cols.start, rows.start)) * 4 - 0.5) * 256
    cv2.fillPoly(fine, [np.round(shifted).astype(np.int32)], 255, shift=8)
    alpha = cv2.resize(fine, window.shape[1::-1], interpolation=cv2.INTER_AREA)[..., None] / 255.0
    page[rows, cols] = np.round(window * (1 - alpha) + shade * alpha).astype(np.uint8)


def shoot(
    card: CardLayout,
    page: Bytes8 | None = None,
    camera: CameraSetup = PLAIN,
    blur_px: float = 0.4,
    noise: float = 1.5,
    light: Callable[[Floats, Floats], Floats] | None = None,
    seed: int = 0,
) -> Shot:
    """The photo of that page on a table. ``light`` gives the linear factor at card millimetres x, y."""
    pinhole = aim(camera, card.page_mm)
    picture = _seen(pinhole, page_of(card) if page is None else page, light)
    picture = cv2.GaussianBlur(picture, (0, 0), blur_px) if blur_px else picture
    grain = np.random.default_rng(seed).normal(0, noise, (*picture.shape[:2], 1))
    pixels = np.clip(np.round(picture + grain), 0, 255).astype(np.uint8)
    return Shot(Photo(pixels, None, camera.size_px, "JPEG"), card, pinhole)


def _seen(pinhole: Pinhole, page: Bytes8, light: Callable[[Floats, Floats], Floats] | None) -> np.ndarray:
    """The camera's picture, float32 sRGB levels."""
    width, height = pinhole.size_px
    step = 8
    x, y = np.meshgrid(np.arange(0, width + step, step, dtype=float), np.arange(0, height + step, step, dtype=float))
    nodes = pinhole.ground(np.column_stack([x.ravel(), y.ravel()])).reshape(*x.shape, 2).astype(np.float32)
    col, row = np.meshgrid(np.arange(width, dtype=np.float32) / step, np.arange(height, dtype=np.float32) / step)
    mm = cv2.remap(nodes, col, row, cv2.INTER_LINEAR)
    # A pixel averages over its area; without that, edges would move by tenths of a pixel.
    middle = pinhole.ground(np.array([[width / 2, height / 2]]))[0]
    soft = cv2.GaussianBlur(page, (0, 0), 0.6 * SCALE / pinhole.px_per_mm((middle[0], middle[1])))
    place = mm * SCALE - 0.5
    seen = cv2.remap(
        soft, place[..., 0], place[..., 1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_CONSTANT, borderValue=TABLE
    )
    seen = seen.astype(np.float32)
    if light is None:
        return seen
    factor = np.asarray(light(mm[..., 0], mm[..., 1]), np.float32)[..., None]
    return 255 * _encoded(_decoded(seen / 255) * factor)


def _decoded(v: np.ndarray) -> np.ndarray:
    """IEC 61966-2-1."""
    return np.where(v <= 0.04045, v / 12.92, ((v + 0.055) / 1.055) ** 2.4)


def _encoded(v: np.ndarray) -> np.ndarray:
    v = np.clip(v, 0, 1)
    return np.where(v <= 0.0031308, v * 12.92, 1.055 * v ** (1 / 2.4) - 0.055)


def sighting_of(
    shot: Shot, noise_px: float = 0.0, keep: Sequence[int] | slice = slice(None), seed: int = 0
) -> CardSighting:
    """The card's saddles where the camera has them: what finding the card gives at best."""
    mm = np.array(shot.card.saddles)[keep]
    px = shot.camera.project(mm) + np.random.default_rng(seed).normal(0, noise_px, (len(mm), 2))
    return CardSighting(shot.card.layout, shot.card.paper, 12, mm, px)


def sheet_of(shot: Shot) -> tuple[View, Sheet]:
    """View and rectified page, by way of the true saddles."""
    view = fit_view(sighting_of(shot), shot.card, shot.photo.pixels.shape, DEFAULTS.view)
    return view, rectified_sheet(shot.photo, view, shot.card, DEFAULTS.light)
