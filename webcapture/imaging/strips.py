"""Find the strips on the card and cut each out of the photo, turned into its own frame."""

from __future__ import annotations

from collections.abc import Iterator

import cv2
import numpy as np

from webcapture.card.layout import Bay, CardLayout
from webcapture.imaging.colour import log10_from_srgb, to_srgb
from webcapture.imaging.light import brightness
from webcapture.imaging.rectify import cut_out
from webcapture.model import Bytes8, Floats, Floats32, Photo, Sheet, StripImage, StripOutline, View
from webcapture.settings import StripSettings

END_SHARE = 0.06
"""Share of an edge's length left out at each end when a line is fitted to it: corners are round or torn."""


def find_strips(sheet: Sheet, card: CardLayout, settings: StripSettings) -> tuple[StripOutline, ...]:
    """The strips on the card, in the order of their bays and then from left to right."""
    mask = _paper_mask(brightness(sheet), sheet, card, settings)
    boxes = [box for box in _boxes(mask, sheet.light_px_per_mm, settings) if _nearest_bay(box, card) is not None]
    fine = sheet.pixels.max(axis=2)
    outlines = [_outline(box, fine, sheet, card, settings) for box in boxes]
    return tuple(sorted(outlines, key=lambda o: (o.bay, o.corners_mm[:, 0].mean())))


def _paper_mask(level: Floats32, sheet: Sheet, card: CardLayout, settings: StripSettings) -> Bytes8:
    """1 where paper lies on the panel, with dark bands across a strip bridged."""
    scale = sheet.light_px_per_mm
    mask = np.zeros(level.shape, np.uint8)
    p = card.panel
    rows = slice(round((p.y + 0.7) * scale), round((p.bottom - 0.7) * scale))
    cols = slice(round((p.x + 0.7) * scale), round((p.right - 0.7) * scale))
    mask[rows, cols] = level[rows, cols] > settings.paper_least
    mask = cv2.morphologyEx(mask, cv2.MORPH_OPEN, np.ones((3, 3), np.uint8))
    reach = round(settings.bridge_mm * scale) | 1
    return cv2.morphologyEx(mask, cv2.MORPH_CLOSE, np.ones((reach, 1), np.uint8))


def _boxes(mask: Bytes8, scale: float, settings: StripSettings) -> Iterator[Floats]:
    """(4, 2) corners in card millimetres, from the bottom left over the bottom right, of every strip-like area."""
    areas, _ = cv2.findContours(mask, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_SIMPLE)
    for area in areas:
        hull = cv2.convexHull(area)
        corners = (_ordered(cv2.boxPoints(cv2.minAreaRect(hull))) + 0.5) / scale
        width, length = np.linalg.norm(corners[1] - corners[0]), np.linalg.norm(corners[3] - corners[0])
        turn = np.degrees(np.arctan2(abs(corners[3, 0] - corners[0, 0]), corners[0, 1] - corners[3, 1]))
        fill = cv2.contourArea(area) / scale**2 / max(width * length, 1e-6)
        large = width >= settings.least_width_mm and length >= settings.least_length_mm
        if large and turn <= settings.turn_limit_deg and fill >= settings.least_fill:
            yield corners


def _ordered(points: np.ndarray) -> Floats:
    """Four corners from the bottom left, over the bottom right and top right, to the top left (y is down)."""
    by_height = points[np.argsort(-points[:, 1])].astype(float)
    bottom = by_height[:2][np.argsort(by_height[:2, 0])]
    top = by_height[2:][np.argsort(-by_height[2:, 0])]
    return np.concatenate([bottom, top])


def _nearest_bay(corners_mm: Floats, card: CardLayout) -> Bay | None:
    """The bay whose middle line lies nearest to the strip's, or None where the strip lies beside all of them."""
    x = corners_mm[:, 0].mean()
    bay = min(card.bays, key=lambda b: abs(b.rect.centre[0] - x))
    return bay if abs(bay.rect.centre[0] - x) <= bay.rect.width / 2 + 1 else None


def _outline(box: Floats, fine: Bytes8, sheet: Sheet, card: CardLayout, settings: StripSettings) -> StripOutline:
    """The strip's exact outline: a straight line through the edge points on each of the four sides."""
    middle = box.mean(axis=0)
    points = [_edge_points(box[n], box[(n + 1) % 4], middle, fine, sheet, settings) for n in range(4)]
    bottom, right, top, left = (_straight(p)[0] for p in points)
    corners = np.array([_meet(left, bottom), _meet(bottom, right), _meet(right, top), _meet(top, left)])
    along = _unit(right[1] if right[1][1] < 0 else -right[1]) + _unit(left[1] if left[1][1] < 0 else -left[1])
    axis = along / np.linalg.norm(along)
    bay = _nearest_bay(corners, card)
    across = corners[1] - corners[0] + corners[2] - corners[3]
    return StripOutline(
        bay=bay.bay if bay else 0,
        corners_mm=corners,
        width_mm=float(abs(across @ (-axis[1], axis[0])) / 2),
        length_mm=float((corners[3] - corners[0] + corners[2] - corners[1]) @ axis / 2),
        axis=(float(axis[0]), float(axis[1])),
        u_edge_mm=max(_scatter(points[1]), _scatter(points[3])),
        left_edge_mm=points[3][::-1],
        right_edge_mm=points[1],
    )


def _edge_points(
    start: Floats, end: Floats, middle: Floats, fine: Bytes8, sheet: Sheet, settings: StripSettings
) -> Floats:
    """(n, 2) card millimetres where, going outwards, the paper ends: half-way between the levels on both sides."""
    length = float(np.linalg.norm(end - start))
    along = (end - start) / length
    out = np.array([along[1], -along[0]])
    out = out if out @ (start - middle) > 0 else -out
    count = max(int(length / settings.edge_step_mm), 8)
    steps = np.arange(-settings.edge_search_mm, settings.edge_search_mm + 0.05, 0.1)
    places = start + along * np.linspace(0, length, count)[:, None]
    grid = places[:, None, :] + steps[None, :, None] * out
    px = (grid * sheet.px_per_mm - 0.5).astype(np.float32)
    levels = cv2.remap(fine, px[..., 0], px[..., 1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE).astype(float)
    levels = cv2.blur(levels, (1, 5))
    inner, outer = np.median(levels[:, :8], axis=1), np.median(levels[:, -8:], axis=1)
    falls = levels - ((inner + outer) / 2)[:, None]
    crossing = (falls[:, :-1] >= 0) & (falls[:, 1:] < 0)
    first = np.argmax(crossing, axis=1)
    row = np.arange(count)
    before, after = falls[row, first], falls[row, first + 1]
    reach = steps[first] + 0.1 * before / np.maximum(before - after, 1e-9)
    good = crossing.any(axis=1) & (inner - outer > 0.15 * inner)
    good[: int(END_SHARE * count) + 1] = good[count - int(END_SHARE * count) - 1 :] = False
    return (places + reach[:, None] * out)[good] if good.sum() >= 4 else places


def _straight(points: Floats) -> tuple[tuple[Floats, Floats], float]:
    """((point, direction), spread) of the line through most of the (n, 2) points; spread in their unit."""
    weight = np.ones(len(points))
    for _ in range(10):
        middle = (points * weight[:, None]).sum(axis=0) / weight.sum()
        centred = points - middle
        direction = np.linalg.svd(centred * np.sqrt(weight)[:, None], full_matrices=False)[2][0]
        off = centred @ (-direction[1], direction[0])
        spread = max(1.4826 * float(np.median(np.abs(off))), 0.005)
        weight = 1 / (1 + (off / (2 * spread)) ** 2)
    return (middle, direction), spread


def _scatter(points: Floats) -> float:
    """Standard deviation of edge points about a smooth line: from their second differences, which a bend hardly shows."""
    (_, direction), _ = _straight(points)
    off = points @ (-direction[1], direction[0])
    second = off[2:] - 2 * off[1:-1] + off[:-2]
    return max(1.4826 * float(np.median(np.abs(second))) / np.sqrt(6.0), 0.005) if len(second) else 0.1


def _meet(one: tuple[Floats, Floats], other: tuple[Floats, Floats]) -> Floats:
    """Where two lines (point, direction) cross."""
    reach = np.linalg.solve(np.stack([one[1], -other[1]], axis=1), other[0] - one[0])
    return one[0] + reach[0] * one[1]


def _unit(vector: Floats) -> Floats:
    return vector / np.linalg.norm(vector)


def cut_strip(photo: Photo, view: View, outline: StripOutline, settings: StripSettings) -> StripImage:
    """The strip at full resolution in its own frame, evened out for the light seen on the tint along both its sides."""
    scale = min(settings.px_per_mm, max(view.px_per_mm, 3.0))
    margin = settings.margin_mm
    axis = np.array(outline.axis)
    side = np.array([-axis[1], axis[0]])
    corner = outline.corners_mm[0]
    first = corner + (0.5 / scale - margin) * (axis + side)
    to_mm = np.stack([side / scale, axis / scale, first], axis=1)
    rows, cols = (round((extent + 2 * margin) * scale) for extent in (outline.length_mm, outline.width_mm))
    pixels = to_srgb(cut_out(photo, view.mapping, to_mm, (rows, cols)), photo.icc)
    logs = log10_from_srgb(pixels)
    return StripImage(
        outline=outline,
        logs=logs,
        px_per_mm=scale,
        margin_mm=margin,
        start_mm=(float(corner[0]), float(corner[1])),
        axis=outline.axis,
        light=_side_light(logs, scale, settings),
        turned=False,
    )


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
        level = np.median(column, axis=1)
        level = level - np.median(level)
        tint = (level > darkest) & (level < brightest)
        level = np.interp(row, row[tint], level[tint]) if tint.sum() > len(row) / 4 else np.zeros(len(row))
        light[:, n] = level
    return cv2.GaussianBlur(light, (0, 0), sigmaX=0.01, sigmaY=settings.side_smooth_mm * scale)
