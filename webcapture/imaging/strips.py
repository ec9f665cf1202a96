"""Find the strips on the card and cut each out of the photo, turned into its own frame."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import groupby

import cv2
import numpy as np
from numpy.typing import NDArray

from webcapture.card.layout import Bay, CardLayout
from webcapture.imaging.colour import log10_from_srgb, picture_to_srgb
from webcapture.imaging.edges import Coarse, Side, coarse_side, meeting, sides_of
from webcapture.imaging.holes import usual_of
from webcapture.imaging.papers import Papers, strip_pieces
from webcapture.imaging.rectify import cut_out
from webcapture.imaging.rounding import blotches_of
from webcapture.imaging.straight import roughly_straight, side_by_side, straight
from webcapture.model import Bytes8, Floats, Floats32, Mapping, Photo, Picture, StripImage, StripOutline, View
from webcapture.robust import median
from webcapture.settings import StripSettings

EVERY = 2
"""Every second row of a shape, each millimetre, tells where it ends closely enough to look for its edges there."""


def find_strips(
    photo: Photo, mapping: Mapping, papers: Papers, card: CardLayout, settings: StripSettings
) -> tuple[StripOutline, ...]:
    """The strips on the card, in the order of their bays and then from left to right: seen on the page, located in the photo."""
    boxes = list(_boxes(papers, settings))
    coarse = [side for box in boxes for side in _coarse_sides(box, card, settings)]
    sides = sides_of(coarse, photo, mapping, settings)
    found = (_outline(box.corners_mm, sides[4 * n : 4 * n + 4], card, settings) for n, box in enumerate(boxes))
    outlines = [outline for outline in found if outline is not None]
    return tuple(_counted(sorted(outlines, key=lambda o: (o.bay, o.corners_mm[:, 0].mean()))))


def _counted(outlines: Sequence[StripOutline]) -> Iterator[StripOutline]:
    """Each with its number within its bay: a wide bay may hold a row of strips, and narrow ones fit into a tray's two by two."""
    for _, together in groupby(outlines, key=lambda outline: outline.bay):
        for n, outline in enumerate(together, 1):
            yield replace(outline, strip=n)


@dataclass(frozen=True, slots=True, eq=False)
class Box:
    """A strip as the reduced page shows it."""

    corners_mm: Floats
    """(4, 2) from the bottom left over the bottom right."""
    tapered: tuple[bool, bool]
    """Whether its bottom and its top are cut to a point or notched: the paper goes on beyond that end of the box."""


def _boxes(papers: Papers, settings: StripSettings) -> Iterator[Box]:
    """Every strip-like area."""
    scale, pieces = papers.px_per_mm, strip_pieces(papers, settings)
    shapes = [piece.shape for piece in pieces]
    stood = [_stood_up(shape, lines, scale, settings) for shape, lines in zip(shapes, _edge_lines(shapes), strict=True)]
    upright = [(own, piece) for own, piece in zip(stood, pieces, strict=True) if own is not None]
    ends = _edge_lines([np.ascontiguousarray(own.shape.T) for own, _ in upright])
    for (own, piece), lines in zip(upright, ends, strict=True):
        (top, bottom), tapered = _ends(own.shape, lines, settings)
        corners = _corners(own, top, bottom, scale, settings)
        if corners is not None:
            yield Box(papers.corner_mm + (corners + (piece.left, piece.top)) / scale, tapered)


@dataclass(frozen=True, slots=True, eq=False)
class Upright:
    """A shape turned so that its long sides stand upright."""

    shape: Bytes8
    """(rows, cols) not 0 where it is; between the two sides."""
    to_own: Floats
    """(2, 3) takes (x, y, 1) of where it was to its own pixels, which begin at x = 1."""


def _stood_up(shape: Bytes8, sides: Floats, scale: float, settings: StripSettings) -> Upright | None:
    """The shape between its left and right (offset, slope) sides, upright; None for shapes that lean too far or are too narrow.

    A reflection beside a strip, or a paper that touches it, bulges over a part of its length only: most of the outline counts.
    """
    (a, b), (c, d) = sides.tolist()  # x = a + b y on the left, x = c + d y on the right
    turn = float(np.arctan((b + d) / 2))
    if abs(np.degrees(turn)) > settings.turn_limit_deg:
        return None
    # Stand it up: across and along it, from where the left line passes the picture's middle row.
    height, width = shape.shape
    size = int(np.hypot(height, width)) + 2
    pivot = np.array([a + b * height / 2, height / 2])
    basis = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])  # rows: across, along (down)
    to_own = np.column_stack([basis, (1.0, size / 2) - basis @ pivot])
    broad = round(float(((c + d * height / 2) - pivot[0]) * np.cos(turn)))
    if broad < settings.least_width_mm * scale:
        return None
    stood = cv2.warpAffine(shape, to_own, (broad + 2, size), flags=cv2.INTER_NEAREST)[:, 1 : broad + 1]
    return Upright(np.asarray(stood, np.uint8), to_own)


def _ends(shape: Bytes8, lines: Floats, settings: StripSettings) -> tuple[tuple[Floats, Floats], tuple[bool, bool]]:
    """(offset, slope) of an upright shape's upper and lower end, and whether the lower and the upper one taper.

    Strips are often cut to a point, so that only its tip is dipped, or notched: either end then goes straight across where the strip
    begins to be as broad as it is.
    """
    upper, lower = lines
    filled = shape.mean(axis=1)
    broad, most, least = (np.flatnonzero(filled >= share) for share in (settings.end_broad, *settings.end_taper))
    if not len(broad):
        return (upper, lower), (False, False)
    # A slanting cut leaves off as evenly, but over no more rows; a bent strip only looks narrower at one end.
    slant = settings.end_slant * shape.shape[1] * float(np.subtract(*settings.end_taper))
    foot = bool(least[-1] - most[-1] > slant or abs(lower[1]) > settings.end_slant)
    head = bool(most[0] - least[0] > slant or abs(upper[1]) > settings.end_slant)
    lower = np.array([broad[-1] + 0.5, 0.0]) if foot else lower
    upper = np.array([broad[0] - 0.5, 0.0]) if head else upper
    return (upper, lower), (foot, head)


def _corners(own: Upright, upper: Floats, lower: Floats, scale: float, settings: StripSettings) -> Floats | None:
    """(4, 2) corners, pixels of where it was, between the (offset, slope) ends of an upright shape; None where they enclose no strip."""
    (e, f), (g, h) = upper.tolist(), lower.tolist()
    broad = own.shape.shape[1]
    low, high = e + f * broad / 2, g + h * broad / 2
    filled = float(own.shape[max(int(low), 0) : int(high)].mean()) if high - low > 1 else 0.0
    if high - low < settings.least_length_mm * scale or filled < settings.least_fill:
        return None
    corners = np.array([(0.0, g), (broad, g + h * broad), (broad, e + f * broad), (0.0, e)]) + (1.0, 0.0)
    return np.asarray((corners - own.to_own[:, 2]) @ own.to_own[:, :2] + 0.5)


def _edge_lines(shapes: Sequence[Bytes8]) -> Floats:
    """(shapes, 2, 2) offset and slope over the rows of the lines through most of the rows' first, and through most of their last, pixels."""
    if not shapes:
        return np.zeros((0, 2, 2))
    rows, ends = [], []
    for shape in shapes:
        row = np.flatnonzero(shape.any(axis=1))[::EVERY]
        rows += [row, row]
        ends += [np.argmax(shape[row], axis=1) - 0.5, shape.shape[1] - 0.5 - np.argmax(shape[row, ::-1], axis=1)]
    counts = np.array([len(row) for row in rows])
    x, y = side_by_side(np.concatenate(rows).astype(float), counts), side_by_side(np.concatenate(ends), counts)
    there = np.arange(x.shape[1]) < counts[:, None]
    return straight(x, y, there, 0.5, roughly_straight(x, y, counts)).reshape(-1, 2, 2)


def _nearest_bay(corners_mm: Floats, card: CardLayout) -> Bay | None:
    """The bay whose middle line lies nearest to the strip's, or None where the strip lies beside all of them.

    Also a strip over the border between two bays is measured: it lies on the card, whichever number it gets.
    """
    x = float(corners_mm[:, 0].mean())
    bay = min(card.bays, key=lambda b: abs(b.rect.centre[0] - x))
    return bay if card.panel.x < x < card.panel.right else None


def _coarse_sides(box: Box, card: CardLayout, settings: StripSettings) -> Iterator[Coarse]:
    """The four sides of a box: bottom, right, top, left."""
    corners, (bottom, top) = box.corners_mm, box.tapered
    middle = corners.mean(axis=0)
    at_border = _at_border(corners, card, settings)
    for n, runs_on in enumerate((bottom, False, top, False)):
        side = coarse_side(corners[n], corners[(n + 1) % 4], middle, bool(at_border[n]), card.panel, settings)
        yield replace(side, runs_on=runs_on)


def _at_border(box: Floats, card: CardLayout, settings: StripSettings) -> NDArray[np.bool_]:
    """Which of a box's four sides lie at the panel's border."""
    return _beyond((box + box[[1, 2, 3, 0]]) / 2, card, settings.border_mm)


def _outline(box: Floats, sides: Sequence[Side], card: CardLayout, settings: StripSettings) -> StripOutline | None:
    """The strip's exact outline, from the straight lines along its bottom, right, top and left; None where paper does not end there."""
    at_border = _at_border(box, card, settings)
    bottom, right, top, left = sides
    corners = np.array([meeting(left, bottom), meeting(bottom, right), meeting(right, top), meeting(top, left)])
    bay = _nearest_bay(corners, card)
    if bay is None or not all(_bounded(box, side, settings, bool(at_border[n])) for n, side in ((1, right), (3, left))):
        return None
    along = right.direction - left.direction  # each runs on around the strip: up on the right, down on the left
    axis = along / np.linalg.norm(along)
    across = corners[1] - corners[0] + corners[2] - corners[3]
    width = float(across @ (-axis[1], axis[0])) / 2
    length = float((corners[3] - corners[0] + corners[2] - corners[1]) @ axis) / 2
    if width < settings.least_width_mm / 2 or length < settings.least_length_mm / 2:
        return None  # sides that cross, of paper that the photo or another paper cuts off
    return StripOutline(
        bay=bay.bay,
        corners_mm=corners,
        width_mm=width,
        length_mm=length,
        axis=(float(axis[0]), float(axis[1])),
        u_edge_mm=max(right.scatter_mm, left.scatter_mm),
        left_edge_mm=left.points_mm[::-1],
        right_edge_mm=right.points_mm,
        cut_off=bool(_beyond(corners, card, settings.border_mm).any()) or any(side.ends_in_nothing for side in sides),
    )


def _beyond(places_mm: Floats, card: CardLayout, border_mm: float) -> NDArray[np.bool_]:
    """Which of (n, 2) places lie outside the panel or within ``border_mm`` of its border."""
    (x, y), p = places_mm.T, card.panel
    near_x = np.minimum(x - p.x, p.right - x) < border_mm
    return np.asarray(near_x | (np.minimum(y - p.y, p.bottom - y) < border_mm))


def _bounded(box: Floats, long_side: Side, settings: StripSettings, at_border: bool) -> bool:
    """Whether the paper ends at that long side; or runs on past the panel's border, as a misplaced strip does, but not the corner of another paper."""
    width, length = (float(np.linalg.norm(box[n] - box[0])) for n in (1, 3))
    hangs = at_border and width >= settings.hanging_mm[0] and length >= settings.hanging_mm[1]
    return long_side.seen >= settings.edge_seen or hangs


def cut_strip(photo: Photo, view: View, outline: StripOutline, settings: StripSettings) -> StripImage:
    """The strip at full resolution in its own frame, evened out for the light seen on the tint along both its sides."""
    margin = settings.margin_mm
    scale = _strip_scale(outline, view, settings)
    axis = np.array(outline.axis)
    side = np.array([-axis[1], axis[0]])
    corner = outline.corners_mm[0]
    first = corner + (0.5 / scale - margin) * (axis + side)
    to_mm = np.stack([side / scale, axis / scale, first], axis=1)
    rows, cols = (round((extent + 2 * margin) * scale) for extent in (outline.length_mm, outline.width_mm))
    pixels = picture_to_srgb(cut_out(photo, view.mapping, to_mm, (rows, cols)), photo.icc)
    logs = log10_from_srgb(pixels)
    inset = round(margin * scale)
    paper = usual_of(logs[inset:-inset:3, inset:-inset:3])
    return StripImage(
        outline=outline,
        logs=logs,
        px_per_mm=scale,
        margin_mm=margin,
        start_mm=(float(corner[0]), float(corner[1])),
        axis=outline.axis,
        light=_side_light(logs, scale, settings),
        picture=Picture(pixels, to_mm),
        blotches=blotches_of(photo.rounding, paper, view.px_per_mm * photo.reduction),
    )


def _strip_scale(outline: StripOutline, view: View, settings: StripSettings) -> float:
    """Pixels per millimetre: what the photo has, fewer on a large sheet, and whole pixels to the margin; but never fewer than measuring needs.

    A photo with fewer than that is spread over more pixels than it has.
    """
    area_mm2 = (outline.length_mm + 2 * settings.margin_mm) * (outline.width_mm + 2 * settings.margin_mm)
    scale = min(settings.px_per_mm, view.px_per_mm, float(np.sqrt(settings.most_pixels / area_mm2)))
    return max(float(np.floor(scale * settings.margin_mm)) / settings.margin_mm, settings.least_px_per_mm)


def _side_light(logs: Floats32, scale: float, settings: StripSettings) -> Floats32:
    """(rows, 2) log10 of the light along the left and the right side, as the tint there shows it, about its median.

    Where something else than tint lies beside the strip, the light is taken from above and below.
    """
    near = round(settings.side_gap_mm * scale)
    far = round((settings.margin_mm - settings.side_gap_mm) * scale)
    columns = logs[:, near:far, 1], logs[:, logs.shape[1] - far : logs.shape[1] - near, 1]
    light = np.empty((logs.shape[0], 2), np.float32)
    row = np.arange(logs.shape[0])
    darkest, brightest = settings.side_range
    for n, column in enumerate(columns):
        level = median(column, axis=1)
        level = level - median(level)
        tint = (level > darkest) & (level < brightest)
        level = np.interp(row, row[tint], level[tint]) if tint.sum() > len(row) / 4 else np.zeros(len(row))
        light[:, n] = level
    return np.asarray(cv2.GaussianBlur(light, (0, 0), sigmaX=0.01, sigmaY=settings.side_smooth_mm * scale), np.float32)
