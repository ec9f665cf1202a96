"""Find the card: tags tell which card and which way up, the frame's saddles carry the geometry.

Tags are looked for on a reduced copy, since their corners are needed only to predict the saddles; the saddles are then
located in the full picture, each near its predicted place.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from webcapture.card.layout import CELL_MM, TAG_WORDS, CardLayout, card_layout, layout_of_tag
from webcapture.errors import CardIncomplete, NoCard, OutOfFocus, TooDark
from webcapture.imaging.projection import fit_mapping, project
from webcapture.model import Bytes8, CardSighting, Floats, Mapping, Photo
from webcapture.settings import MarkerSettings, ViewSettings


@dataclass(frozen=True, slots=True, eq=False)
class _Tags:
    """Tags of one card: ids and corners, photo pixels of the full picture."""

    card: CardLayout
    ids: list[int]
    corners_px: Floats
    """(n, 4, 2), clockwise from the tag's own top left."""


def find_card(photo: Photo, settings: MarkerSettings, lens: ViewSettings) -> CardSighting:
    """The card in the photo and its saddles.

    Raises NoCard where no tag is read, CardIncomplete where too few tags or saddles are, and OutOfFocus or TooDark
    where that is the evident reason.
    """
    grey = cv2.cvtColor(photo.pixels, cv2.COLOR_RGB2GRAY)
    tags = _find_tags(grey, settings)
    start = _first_mapping(tags, grey.shape, settings, lens)
    points_mm, points_px = _find_saddles(grey, tags.card, start, settings)
    if len(points_mm) < settings.least_saddles:
        raise _too_poor(grey, settings) or CardIncomplete(
            f"Only {len(points_mm)} of the {len(tags.card.saddles)} corners of the card's chequered frame could be seen."
        )
    return CardSighting(tags.card.layout, tags.card.paper, len(tags.ids), points_mm, points_px)


def _find_tags(grey: Bytes8, settings: MarkerSettings) -> _Tags:
    """The tags of the card that shows most of them; a coarser copy is tried where a finer one shows too few."""
    best: _Tags | None = None
    seen = 0
    for side in settings.search_sides_px:
        for tags in _read_tags(grey, side, settings):
            seen = max(seen, len(tags.ids))
            if best is None or len(tags.ids) > len(best.ids):
                best = tags
        if best is not None and len(best.ids) >= settings.enough_tags:
            return best
    if best is not None and len(best.ids) >= settings.least_tags:
        return best
    raise _too_poor(grey, settings) or _missing(seen)


def _missing(seen: int) -> NoCard | CardIncomplete:
    if seen:
        return CardIncomplete(f"Only {seen} of the card's twelve square tags can be seen.")
    return NoCard("No calibration card was recognised in this photo.")


def _read_tags(grey: Bytes8, side_px: int, settings: MarkerSettings) -> list[_Tags]:
    """The tags read on a copy whose longer side is ``side_px``, grouped by card."""
    scale = min(1.0, side_px / max(grey.shape))
    small = cv2.resize(grey, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA) if scale < 1 else grey
    fx, fy = small.shape[1] / grey.shape[1], small.shape[0] / grey.shape[0]
    corners, ids, _ = _detector(settings).detectMarkers(small)
    if ids is None:
        return []
    groups: dict[tuple[str, str], list[tuple[int, Floats]]] = {}
    for tag_id, quad in zip(ids.ravel().tolist(), corners, strict=True):
        kind = layout_of_tag(tag_id)
        full = (quad.reshape(4, 2).astype(float) + 0.5) / (fx, fy) - 0.5
        if kind is not None:
            groups.setdefault(kind, []).append((tag_id, full))
    return [_agreeing(card_layout(*kind), found, settings) for kind, found in groups.items()]


def _detector(settings: MarkerSettings) -> cv2.aruco.ArucoDetector:
    """A detector that knows only the tags of our cards and hardly corrects errors: clutter must not become a tag."""
    words = np.array([[(word >> (35 - n)) & 1 for n in range(36)] for word in TAG_WORDS], np.uint8)
    rows = [cv2.aruco.Dictionary.getByteListFromBits(word.reshape(6, 6)) for word in words]
    dictionary = cv2.aruco.Dictionary(np.concatenate(rows), 6, settings.correctable_bits)
    parameters = cv2.aruco.DetectorParameters()
    parameters.adaptiveThreshWinSizeMin = settings.threshold_windows_px[0]
    parameters.adaptiveThreshWinSizeMax = settings.threshold_windows_px[1]
    parameters.adaptiveThreshWinSizeStep = settings.threshold_windows_px[2]
    parameters.minMarkerPerimeterRate = settings.least_tag_perimeter
    parameters.maxMarkerPerimeterRate = settings.most_tag_perimeter
    return cv2.aruco.ArucoDetector(dictionary, parameters)


def _agreeing(card: CardLayout, found: list[tuple[int, Floats]], settings: MarkerSettings) -> _Tags:
    """Those of the found tags that agree on one plane."""
    rects = {tag.id: tag.rect for tag in card.tags}
    mm = np.array(
        [[(r.x, r.y), (r.right, r.y), (r.right, r.bottom), (r.x, r.bottom)] for r in (rects[i] for i, _ in found)]
    )
    px = np.array([quad for _, quad in found])
    if len(found) < settings.least_tags:
        return _Tags(card, [i for i, _ in found], px)
    tag_side = float(np.median(np.linalg.norm(px[:, 1] - px[:, 0], axis=1)))
    _, inlier = cv2.findHomography(mm.reshape(-1, 2), px.reshape(-1, 2), cv2.RANSAC, settings.tag_agreement * tag_side)
    keep = inlier.reshape(-1, 4).all(axis=1) if inlier is not None else np.zeros(len(found), bool)
    return _Tags(card, [i for (i, _), k in zip(found, keep, strict=True) if k], px[keep])


def _first_mapping(tags: _Tags, shape: tuple[int, ...], settings: MarkerSettings, lens: ViewSettings) -> Mapping:
    """The mapping from the tags' corners alone: good to a few pixels."""
    rects = {tag.id: tag.rect for tag in tags.card.tags}
    mm = [[(r.x, r.y), (r.right, r.y), (r.right, r.bottom), (r.x, r.bottom)] for r in (rects[i] for i in tags.ids)]
    return fit_mapping(
        np.array(mm).reshape(-1, 2), tags.corners_px.reshape(-1, 2), shape, settings.tag_corner_u_px, lens
    )


def _find_saddles(grey: Bytes8, card: CardLayout, start: Mapping, settings: MarkerSettings) -> tuple[Floats, Floats]:
    """(n, 2) card millimetres and photo pixels of the saddles that look like saddles near their predicted place."""
    mm = np.array(card.saddles)
    predicted = project(start, mm)
    cell_px = _cell_px(start, mm)
    reach = settings.saddle_reach * cell_px
    inside = _inside(predicted, grey.shape, cell_px)
    mm, predicted, cell_px, reach = mm[inside], predicted[inside], cell_px[inside], reach[inside]
    found = np.empty_like(predicted)
    criteria = (cv2.TERM_CRITERIA_EPS + cv2.TERM_CRITERIA_MAX_ITER, 40, 0.005)
    for window in np.unique(np.round(reach)).astype(int).tolist():
        chosen = np.round(reach).astype(int) == window
        points = predicted[chosen].astype(np.float32).reshape(-1, 1, 2)
        found[chosen] = cv2.cornerSubPix(grey, points, (window, window), (-1, -1), criteria).reshape(-1, 2)
    moved = np.linalg.norm(found - predicted, axis=1) < settings.saddle_shift * cell_px
    good = moved & _looks_like_saddle(grey, card, mm, found, start, settings)
    return mm[good], found[good]


def _cell_px(mapping: Mapping, mm: Floats) -> Floats:
    """(n,) the shorter side of a chequer in photo pixels at each of the places."""
    across = project(mapping, mm + (CELL_MM, 0)) - project(mapping, mm)
    down = project(mapping, mm + (0, CELL_MM)) - project(mapping, mm)
    return np.minimum(np.linalg.norm(across, axis=1), np.linalg.norm(down, axis=1))


def _inside(px: Floats, shape: tuple[int, ...], border: Floats) -> np.ndarray:
    """Which places are at least ``border`` pixels inside the picture."""
    x, y = px.T
    return (x > border) & (y > border) & (x < shape[1] - 1 - border) & (y < shape[0] - 1 - border)


def _looks_like_saddle(
    grey: Bytes8, card: CardLayout, mm: Floats, px: Floats, start: Mapping, settings: MarkerSettings
) -> np.ndarray:
    """Which places have two dark and two light quadrants, on the diagonals where the card has them."""
    offset = CELL_MM * settings.quadrant_probe
    quadrants = np.array([(-offset, -offset), (offset, -offset), (offset, offset), (-offset, offset)])
    base = project(start, mm)
    probes = np.stack([project(start, mm + q) - base + px for q in quadrants], axis=1)
    values = cv2.remap(
        grey, probes[..., 0].astype(np.float32), probes[..., 1].astype(np.float32), cv2.INTER_LINEAR
    ).astype(float)
    diagonal, other = values[:, [0, 2]], values[:, [1, 3]]
    first_is_dark = _first_is_dark(card, mm)[:, None]
    dark = np.where(first_is_dark, diagonal, other)
    light = np.where(first_is_dark, other, diagonal)
    contrast = light.min(axis=1) - dark.max(axis=1)
    return (contrast > settings.saddle_contrast * values.max(axis=1)) & (contrast > settings.least_contrast)


def _first_is_dark(card: CardLayout, mm: Floats) -> np.ndarray:
    """Whether the cell up and left of each saddle is black: the chequers' parity on the frame's grid."""
    cell = np.round((mm - (card.frame.x, card.frame.y)) / CELL_MM).astype(int)
    return (cell.sum(axis=1) % 2) == 0


def _too_poor(grey: Bytes8, settings: MarkerSettings) -> OutOfFocus | TooDark | None:
    """The evident reason why nothing was found, if there is one."""
    scale = settings.search_sides_px[0] / max(grey.shape)
    small = cv2.resize(grey, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA)
    low, high = np.percentile(small, [2, 98])
    if high < settings.dark_level:
        return TooDark("The photo is too dark for the card to be seen.")
    edges = cv2.Laplacian(small, cv2.CV_32F)
    sharpness = float(np.percentile(np.abs(edges), 99.5)) / max(float(high - low), 1.0)
    if sharpness < settings.sharpness:
        return OutOfFocus("The photo is too blurred for the card to be recognised.")
    return None
