"""How the camera saw the card, and pictures of any part of it as if seen from straight above."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
from numpy.typing import NDArray

from webcapture.card.layout import CardLayout
from webcapture.imaging.colour import picture_to_srgb
from webcapture.imaging.projection import fit_mapping, project, scale_at
from webcapture.imaging.upright import in_stored
from webcapture.model import Bytes8, CardSighting, Floats, Floats32, Mapping, Photo, Picture, View, page_grid
from webcapture.robust import median
from webcapture.settings import ViewSettings

NODE_PX = 16
"""Distance of the nodes at which the mapping is computed exactly; between them it is as good as linear: within 0.03 px of the photo."""
BAND_PX = 6 * NODE_PX
"""Rows cut out at a time: their maps stay in the processor's cache."""


def fit_view(sighting: CardSighting, card: CardLayout, shape: tuple[int, ...], settings: ViewSettings) -> View:
    """Plane and lens fitted together to all saddles but those that lie off what their neighbours tell."""
    middle = np.array(card.panel.centre)
    order = np.argsort(np.arctan2(*(sighting.points_mm - middle).T))
    mm, px = sighting.points_mm[order], sighting.points_px[order]
    mapping = fit_mapping(mm, px, shape, settings.saddle_u_px, settings)
    agree = _agreeing(px - project(mapping, mm), settings)
    mm, px = mm[agree], px[agree]
    mapping = fit_mapping(mm, px, shape, settings.saddle_u_px, settings, mapping)
    px_per_mm = float(np.sqrt(abs(np.linalg.det(scale_at(mapping, middle)))))
    off_mm = (px - project(mapping, mm)) / px_per_mm
    camera = _camera(mapping, settings)
    toward = np.array([camera[0] - middle[0], camera[1] - middle[1], camera[2]])
    return View(
        mapping=mapping,
        residual_mm=float(np.sqrt(np.mean(np.sum(off_mm**2, axis=1)))),
        bend_mm=float(np.linalg.norm(_neighbours(off_mm).mean(axis=1), axis=1).max()),
        tilt_deg=float(np.degrees(np.arccos(toward[2] / np.linalg.norm(toward)))),
        px_per_mm=px_per_mm,
        camera_mm=camera,
    )


def _neighbours(ring: Floats) -> Floats:
    """(n, 8, 2) values of the four before and the four behind each along the ring of saddles (n, 2)."""
    around = np.array([-4, -3, -2, -1, 1, 2, 3, 4])
    return np.asarray(ring[(np.arange(len(ring))[:, None] + around) % len(ring)])


def _agreeing(off_px: Floats, settings: ViewSettings) -> NDArray[np.bool_]:
    """Which saddles, in order along the frame, are off the fit (n, 2) much as their neighbours are.

    What a bent card shows is no error of its saddles: only those that stand alone are left out.
    """
    usual = median(_neighbours(off_px), axis=1)
    alone = np.linalg.norm(off_px - usual, axis=1)
    random = settings.outlier * max(float(median(alone)), settings.saddle_u_px)
    return np.asarray(alone < random + 0.5 * np.linalg.norm(usual, axis=1))


def cut_out(photo: Photo, mapping: Mapping, to_mm: Floats, shape: tuple[int, int]) -> Bytes8:
    """(rows, cols, 3) of the photo resampled: ``to_mm`` (2, 3) takes (col, row, 1) to card millimetres.

    Between pixels it interpolates linearly. Places outside the photo become black.
    """
    nodes = in_stored(photo, _nodes(mapping, to_mm, shape)).astype(np.float32)
    cut: Bytes8 = np.empty((*shape, 3), np.uint8)
    for top in range(0, shape[0], BAND_PX):
        rows = min(BAND_PX, shape[0] - top)
        map_x, map_y = _dense_map(nodes[top // NODE_PX :], (rows, shape[1]))
        band = cv2.remap(photo.stored, map_x, map_y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_CONSTANT)
        cut[top : top + rows] = cv2.cvtColor(band, cv2.COLOR_RGBA2RGB) if band.shape[2] == 4 else band
    return cut


def whole_page(photo: Photo, mapping: Mapping, page_mm: tuple[float, float], px_per_mm: float) -> Picture:
    """The whole page seen from straight above."""
    shape = (round(page_mm[1] * px_per_mm), round(page_mm[0] * px_per_mm))
    cut = cut_out(photo, mapping, page_grid(px_per_mm), shape)
    return Picture.of_page(picture_to_srgb(cut, photo.icc, halvings=2), px_per_mm)


def sampled(photo: Photo, places_px: Floats | Floats32) -> Bytes8:
    """(m, n, 3 or 4) of the photo at (m, n, 2) places in it, upright: linear between pixels, black outside."""
    x, y = np.moveaxis(in_stored(photo, places_px), -1, 0).astype(np.float32, order="C")
    return np.asarray(cv2.remap(photo.stored, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_CONSTANT), np.uint8)


def reduced(photo: Photo, mapping: Mapping, factor: int) -> tuple[Photo, Mapping]:
    """The photo with ``factor`` by ``factor`` pixels made one, and how the card lies in it; what makes up no whole one is lost."""
    if factor == 1:
        return photo, mapping
    rows, cols = (side // factor for side in photo.stored.shape[:2])
    size = (cols, rows)
    small = cv2.resize(photo.stored[: rows * factor, : cols * factor], size, interpolation=cv2.INTER_AREA)
    # Where the picture is flipped, what is lost lies at the upright photo's beginning.
    lost = np.array(photo.pixels.shape[1::-1]) % factor * np.array(photo.flipped)
    x, y = ((np.array(mapping.centre_px) - lost + 0.5) / factor - 0.5).tolist()
    smaller = replace(mapping, centre_px=(x, y), scale_px=mapping.scale_px / factor)
    return replace(photo, stored=np.asarray(small, np.uint8)), smaller


def _nodes(mapping: Mapping, to_mm: Floats, shape: tuple[int, int]) -> Floats:
    """(m, n, 2) places in the upright photo of every NODE_PX-th pixel, from half a distance before the first one on."""
    rows, cols = ((np.arange(-(-side // NODE_PX) + 2) - 0.5) * NODE_PX - 0.5 for side in shape)
    across, down, first = np.asarray(to_mm).T
    return project(mapping, rows[:, None, None] * down + (cols[:, None] * across + first))


def _dense_map(nodes: Floats32, shape: tuple[int, int]) -> tuple[NDArray[np.int16], NDArray[np.uint16]]:
    """The places of every pixel between the first nodes, in fixed point for remapping."""
    rows, cols = (-(-side // NODE_PX) + 2 for side in shape)
    full = cv2.resize(nodes[:rows, :cols], (cols * NODE_PX, rows * NODE_PX), interpolation=cv2.INTER_LINEAR)
    inner = full[NODE_PX : NODE_PX + shape[0], NODE_PX : NODE_PX + shape[1]]
    return cv2.convertMaps(inner, None, cv2.CV_16SC2)  # type: ignore[call-overload, no-any-return]


def _camera(mapping: Mapping, settings: ViewSettings) -> tuple[float, float, float]:
    """Where the camera stood over the card (x, y, height in millimetres).

    The focal length follows from the two directions of the card being perpendicular and of equal scale (Zhang 2000,
    eq. 3 and 4, with square pixels and the centre known), held by what is usual for phones, since a view from straight
    above does not tell it.
    """
    h1, h2, h3 = mapping.homography.T
    size = float(np.linalg.norm(h1[:2]) * np.linalg.norm(h2[:2]))
    slope = np.array([h1[:2] @ h2[:2], (h1[:2] @ h1[:2] - h2[:2] @ h2[:2]) / 2]) / size
    offset = -np.array([h1[2] * h2[2], (h1[2] ** 2 - h2[2] ** 2) / 2]) / size
    typical = settings.focal_typical**-2
    u_view, u_typical = 0.003, 2 * settings.focal_spread * typical
    w = (slope @ offset / u_view**2 + typical / u_typical**2) / (slope @ slope / u_view**2 + 1 / u_typical**2)
    focal = float(np.clip(w, typical / 4, typical * 4) ** -0.5)
    a = np.diag([1 / focal, 1 / focal, 1.0]) @ np.stack([h1, h2, h3], axis=1)
    a = a / np.sqrt(np.linalg.norm(a[:, 0]) * np.linalg.norm(a[:, 1]))
    r1 = a[:, 0] / np.linalg.norm(a[:, 0])
    r2 = a[:, 1] - r1 * (r1 @ a[:, 1])
    r2 = r2 / np.linalg.norm(r2)
    place = -np.stack([r1, r2, np.cross(r1, r2)]) @ a[:, 2]
    return float(place[0]), float(place[1]), float(abs(place[2]))
