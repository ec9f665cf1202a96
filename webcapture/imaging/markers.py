"""Find the card: tags tell which card and which way up, the frame's saddles carry the geometry.

Tags are looked for on a reduced copy, since their corners are needed only to predict the saddles; the saddles are then
located at full resolution, each near its predicted place.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache

import cv2
import numpy as np
from numpy.typing import NDArray

from webcapture.card.layout import CELL_MM, TAG_WORDS, CardLayout, card_layout, layout_of_tag
from webcapture.errors import CardIncomplete, NoCard, OutOfFocus, TooDark
from webcapture.imaging.projection import fit_mapping, project
from webcapture.imaging.upright import from_stored, grey, in_stored, upright_grey
from webcapture.model import Bytes8, CardSighting, Floats, Mapping, Photo
from webcapture.settings import MarkerSettings, ViewSettings


@dataclass(frozen=True, slots=True, eq=False)
class Tags:
    """Tags of one card."""

    card: CardLayout
    ids: list[int]
    corners_px: Floats
    """(n, 4, 2) in the picture, clockwise from the tag's own top left."""
    elsewhere: int = 0
    """How many tags were read that this card cannot bear: those of another kind of card, and a second one of a kind."""

    @property
    def corners_mm(self) -> Floats:
        """(n, 4, 2) the same corners on the card."""
        rects = {tag.id: tag.rect for tag in self.card.tags}
        return np.array(
            [[(r.x, r.y), (r.right, r.y), (r.right, r.bottom), (r.x, r.bottom)] for r in (rects[i] for i in self.ids)]
        )


@dataclass(frozen=True, slots=True)
class Look:
    """One way to look for tags."""

    windows_px: tuple[int, int, int]
    """Windows in which a tag's border is told from its surroundings: smallest, largest, step."""
    least_perimeter: float
    """Of the picture's longer side."""
    forgiven_bits: int
    """So many bits of a word may be read wrongly."""


def find_card(photo: Photo, settings: MarkerSettings, lens: ViewSettings) -> CardSighting:
    """The card in the photo and its saddles.

    Raises NoCard where no tag is read, CardIncomplete where too few tags or saddles are, and OutOfFocus or TooDark
    where that is the evident reason.
    """
    tags = _find_tags(photo, settings)
    points_mm, points_px = _find_saddles(photo, tags, settings, lens)
    if len(points_mm) < settings.least_saddles:
        raise _too_poor(photo, settings) or CardIncomplete(
            f"Only {len(points_mm)} of the {len(tags.card.saddles)} corners of the card's chequered frame could be seen."
        )
    if not _fix_the_plane(points_mm, settings):
        raise CardIncomplete("Only one side of the card's chequered frame could be seen.")
    return CardSighting(tags.card.layout, tags.card.paper, len(tags.ids), points_mm, points_px, tags.elsewhere)


# ---- tags


def _find_tags(photo: Photo, settings: MarkerSettings) -> Tags:
    """The tags of the card that shows most of them; slower ways to look are tried where faster ones show too few."""
    best: Tags | None = None
    seen = 0
    for side_px, windows_px, least_perimeter in settings.tag_searches:
        detector = _detector(Look(windows_px, least_perimeter, settings.correctable_bits), settings)
        for tags in _read_tags(upright_grey(photo, side_px), photo.pixels.shape, detector, settings):
            seen = max(seen, len(tags.ids))
            if best is None or len(tags.ids) > len(best.ids):
                best = tags
        if best is not None and len(best.ids) >= settings.enough_tags:
            return best
    if best is not None and len(best.ids) >= settings.least_tags:
        return best
    raise _too_poor(photo, settings) or _missing(seen)


def _missing(seen: int) -> NoCard | CardIncomplete:
    if seen:
        return CardIncomplete(f"Only {seen} of the card's twelve square tags can be seen.")
    return NoCard("No calibration card was recognised in this photo.")


def tags_on(small: Bytes8, shape: tuple[int, ...], look: Look, settings: MarkerSettings) -> Tags | None:
    """The tags read in one look on a grey copy of a picture of that shape, of the card that shows most; None where there is none."""
    found = _read_tags(small, shape, _detector(look, settings), settings)
    return max(found, key=lambda tags: len(tags.ids), default=None)


def _read_tags(
    small: Bytes8, shape: tuple[int, ...], detector: cv2.aruco.ArucoDetector, settings: MarkerSettings
) -> list[Tags]:
    """The tags read on a reduced copy of a picture of that shape, grouped by card."""
    height, width = shape[:2]
    shrunk = small.shape[1] / width, small.shape[0] / height
    corners, ids, _ = detector.detectMarkers(small)
    groups: dict[tuple[str, str], list[tuple[int, Floats]]] = {}
    for tag_id, quad in zip([] if ids is None else np.ravel(ids).tolist(), corners, strict=True):
        kind = layout_of_tag(int(tag_id))
        full = (np.asarray(quad, float).reshape(4, 2) + 0.5) / shrunk - 0.5
        if kind is not None:
            groups.setdefault(kind, []).append((int(tag_id), full))
    count = sum(map(len, groups.values()))
    return [
        replace(_agreeing(card_layout(*kind), found, settings), elsewhere=count - len(dict(found)))
        for kind, found in groups.items()
    ]


def _detector(look: Look, settings: MarkerSettings) -> cv2.aruco.ArucoDetector:
    """A detector that knows only the tags of our cards and hardly corrects errors: clutter must not become a tag."""
    dictionary = cv2.aruco.Dictionary(_words(), 6, look.forgiven_bits)
    parameters = cv2.aruco.DetectorParameters()
    parameters.errorCorrectionRate = 1.0  # OpenCV would take a share of the dictionary's bits
    parameters.adaptiveThreshWinSizeMin, parameters.adaptiveThreshWinSizeMax = look.windows_px[:2]
    parameters.adaptiveThreshWinSizeStep = look.windows_px[2]
    parameters.minMarkerPerimeterRate = look.least_perimeter
    parameters.maxMarkerPerimeterRate = settings.most_tag_perimeter
    return cv2.aruco.ArucoDetector(dictionary, parameters)


@lru_cache(maxsize=1)
def _words() -> Bytes8:
    """The tags' patterns as OpenCV wants them."""
    words = np.array([[(word >> (35 - n)) & 1 for n in range(36)] for word in TAG_WORDS], np.uint8)
    return np.concatenate([cv2.aruco.Dictionary.getByteListFromBits(word.reshape(6, 6)) for word in words])


def _agreeing(card: CardLayout, found: list[tuple[int, Floats]], settings: MarkerSettings) -> Tags:
    """Those of the found tags that agree on one plane."""
    ids, px = [i for i, _ in found], np.array([quad for _, quad in found])
    tags = Tags(card, ids, px)
    if len(found) < settings.least_tags:
        return tags
    tag_side = float(np.median(np.linalg.norm(px[:, 1] - px[:, 0], axis=1)))
    mm = tags.corners_mm.reshape(-1, 2)
    _, inlier = cv2.findHomography(mm, px.reshape(-1, 2), cv2.RANSAC, settings.tag_agreement * tag_side)
    keep = np.flatnonzero(np.reshape([] if inlier is None else inlier, (-1, 4)).all(axis=1))
    return Tags(card, [ids[n] for n in keep], px[keep])


# ---- saddles


def _find_saddles(photo: Photo, tags: Tags, settings: MarkerSettings, lens: ViewSettings) -> tuple[Floats, Floats]:
    """(n, 2) card millimetres and photo pixels of the saddles.

    The tags' corners predict them to a few pixels where tags are near; what is found there predicts the rest better. On a
    bent card the search goes on from neighbour to neighbour.
    """
    shape, all_mm = photo.pixels.shape, np.array(tags.card.saddles)
    corners = tags.corners_mm.reshape(-1, 2), tags.corners_px.reshape(-1, 2)
    mapping = fit_mapping(*corners, shape, settings.tag_corner_u_px, lens)
    px = _saddles_near(photo, tags.card, mapping, all_mm, np.zeros_like(all_mm), settings)
    for _ in range(settings.saddle_rounds):
        found = np.isfinite(px[:, 0])
        if found.all() or not _fix_the_plane(all_mm[found], settings):
            break
        mapping = fit_mapping(all_mm[found], px[found], shape, lens.saddle_u_px, lens, mapping)
        shift = _shift_of_nearest(all_mm, all_mm[found], px[found] - project(mapping, all_mm[found]))
        px[~found] = _saddles_near(photo, tags.card, mapping, all_mm[~found], shift[~found], settings)
        if np.isfinite(px[:, 0]).sum() == found.sum():
            break
    found = np.isfinite(px[:, 0])
    return all_mm[found], px[found]


def _fix_the_plane(mm: Floats, settings: MarkerSettings) -> bool:
    """Whether saddles (n, 2) are enough, and lie far enough from one line, to tell how the card lies."""
    if len(mm) < settings.least_saddles:
        return False
    narrow = np.linalg.svd(mm - mm.mean(axis=0), compute_uv=False)[-1] / np.sqrt(len(mm))
    return bool(narrow >= settings.least_spread_mm)


def _shift_of_nearest(mm: Floats, found_mm: Floats, off_px: Floats) -> Floats:
    """(n, 2) mean misfit of the two found saddles nearest to each place."""
    far = np.linalg.norm(mm[:, None] - found_mm, axis=2)
    return np.asarray(off_px[np.argsort(far, axis=1)[:, :2]].mean(axis=1))


def _saddles_near(
    photo: Photo, card: CardLayout, mapping: Mapping, all_mm: Floats, shift_px: Floats, settings: MarkerSettings
) -> Floats:
    """(n, 2) photo pixels of what looks like a saddle near its predicted place, NaN where nothing does."""
    result = np.full_like(all_mm, np.nan)
    cell_px = _cell_px(mapping, all_mm)
    inside = _inside(project(mapping, all_mm) + shift_px, photo.pixels.shape, cell_px)
    mm, cell_px = all_mm[inside], cell_px[inside]
    if not len(mm):
        return result
    predicted = in_stored(photo, project(mapping, mm) + shift_px[inside])
    tiles, corner = _tiles(photo.stored, predicted, settings.tile_reach * float(cell_px.max()))
    start = predicted - corner
    found = _refined(tiles, start, np.round(settings.saddle_reach * cell_px).astype(int))
    near = np.linalg.norm(found - start, axis=1) < settings.saddle_shift * cell_px
    quadrants = _quadrants(photo, mapping, mm, settings.quadrant_probe * CELL_MM)
    good = near & _looks_like_saddle(tiles, quadrants + found[:, None], _first_is_dark(card, mm), settings)
    result[np.flatnonzero(inside)[good]] = from_stored(photo, found + corner)[good]
    return result


def _tiles(stored: Bytes8, places: Floats, reach: float) -> tuple[Bytes8, Floats]:
    """(a column of small grey pictures around the places, (n, 2) what to add to places in it to be in ``stored``).

    Only these are made grey: to convert the whole photo takes longer than all that is done with it.
    """
    rows, cols = stored.shape[:2]
    side = min(2 * int(np.ceil(reach)) + 1, rows, cols)
    corner = np.clip(np.round(places).astype(int) - side // 2, 0, (cols - side, rows - side))
    column = np.concatenate([stored[y : y + side, x : x + side] for x, y in corner.tolist()])
    offset = corner.astype(float)
    offset[:, 1] -= side * np.arange(len(corner))
    return grey(column), offset


def _refined(tiles: Bytes8, start: Floats, reach_px: NDArray[np.int_]) -> Floats:
    """(n, 2) the saddles nearest to ``start``, each located in a window of its own half-width."""
    found = np.empty_like(start)
    criteria = (cv2.TERM_CRITERIA_EPS + cv2.TERM_CRITERIA_MAX_ITER, 40, 0.005)
    for reach in np.unique(reach_px).tolist():
        chosen = reach_px == reach
        points = start[chosen].astype(np.float32).reshape(-1, 1, 2)
        found[chosen] = cv2.cornerSubPix(tiles, points, (reach, reach), (-1, -1), criteria).reshape(-1, 2)
    return found


def _cell_px(mapping: Mapping, mm: Floats) -> Floats:
    """(n,) the shorter side of a chequer in photo pixels at each of the places."""
    across = project(mapping, mm + (CELL_MM, 0)) - project(mapping, mm)
    down = project(mapping, mm + (0, CELL_MM)) - project(mapping, mm)
    return np.asarray(np.minimum(np.linalg.norm(across, axis=1), np.linalg.norm(down, axis=1)))


def _inside(px: Floats, shape: tuple[int, ...], border: Floats) -> NDArray[np.bool_]:
    """Which places are at least ``border`` pixels inside the picture."""
    x, y = px.T
    return np.asarray((x > border) & (y > border) & (x < shape[1] - 1 - border) & (y < shape[0] - 1 - border))


def _quadrants(photo: Photo, mapping: Mapping, mm: Floats, offset: float) -> Floats:
    """(n, 4, 2) how far in ``photo.stored`` the middles of the four cells around lie from each saddle, clockwise from the card's top left."""
    offsets = offset * np.array([(-1, -1), (1, -1), (1, 1), (-1, 1)])
    places = in_stored(photo, project(mapping, mm[:, None] + offsets))
    return np.asarray(places - in_stored(photo, project(mapping, mm))[:, None])


def _looks_like_saddle(
    tiles: Bytes8, probes: Floats, first_is_dark: NDArray[np.bool_], settings: MarkerSettings
) -> NDArray[np.bool_]:
    """Which places have two dark and two light quadrants, on the diagonals where the card has them."""
    x, y = probes.astype(np.float32).transpose(2, 0, 1)
    values = np.asarray(cv2.remap(tiles, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE), float)
    diagonal, other = values[:, [0, 2]], values[:, [1, 3]]
    dark = np.where(first_is_dark[:, None], diagonal, other)
    light = np.where(first_is_dark[:, None], other, diagonal)
    contrast = light.min(axis=1) - dark.max(axis=1)
    return np.asarray((contrast > settings.saddle_contrast * values.max(axis=1)) & (contrast > settings.least_contrast))


def _first_is_dark(card: CardLayout, mm: Floats) -> NDArray[np.bool_]:
    """Whether the cell up and left of each saddle is black: the chequers' parity on the frame's grid."""
    cell = np.round((mm - (card.frame.x, card.frame.y)) / CELL_MM).astype(int)
    return np.asarray(cell.sum(axis=1) % 2 == 0)


# ---- why nothing was found


def _too_poor(photo: Photo, settings: MarkerSettings) -> OutOfFocus | TooDark | None:
    """The evident reason why nothing was found, if there is one."""
    small = upright_grey(photo, settings.judged_side_px)
    if float(np.percentile(small, 98)) < settings.dark_level:
        return TooDark("The photo is too dark for the card to be seen.")
    if all_blurred(small, settings):
        return OutOfFocus("The photo is too blurred for the card to be recognised.")
    return None


def all_blurred(small: Bytes8, settings: MarkerSettings) -> bool:
    """Whether nothing on a grey picture of about ``judged_side_px`` is sharp."""
    steepest = float(np.percentile(np.abs(cv2.Laplacian(small, cv2.CV_32F)), 99.9))
    highest = float(np.percentile(cv2.morphologyEx(small, cv2.MORPH_GRADIENT, np.ones((9, 9), np.uint8)), 99.9))
    return steepest < settings.sharpness * highest
