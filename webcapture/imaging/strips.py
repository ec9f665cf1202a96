"""Find the strips on the card and cut each out of the photo, turned into its own frame."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from webcapture.card.layout import Bay, CardLayout
from webcapture.imaging.colour import linear_from_srgb, log10_from_srgb, to_srgb
from webcapture.imaging.light import panel_slices
from webcapture.imaging.rectify import cut_out
from webcapture.model import Bytes8, Floats, Floats32, Photo, Sheet, StripImage, StripOutline, View
from webcapture.settings import StripSettings

END_SHARE = 0.06
"""Share of an edge's length left out at each end when a line is fitted to it: corners are round or torn."""


def find_strips(sheet: Sheet, card: CardLayout, settings: StripSettings) -> tuple[StripOutline, ...]:
    """The strips on the card, in the order of their bays and then from left to right."""
    outlines = [
        _outline(box, cut_off, sheet, card, settings)
        for box, cut_off in _boxes(_paper_mask(sheet, card, settings), sheet.coarse_px_per_mm, card, settings)
        if _nearest_bay(box, card) is not None
    ]
    return tuple(sorted(outlines, key=lambda o: (o.bay, o.corners_mm[:, 0].mean())))


def _paper_mask(sheet: Sheet, card: CardLayout, settings: StripSettings) -> Bytes8:
    """Not 0 where paper lies on the panel, with dark bands across a strip bridged."""
    scale = sheet.coarse_px_per_mm
    panel = panel_slices(card, scale, settings.panel_inset_mm)
    mask: Bytes8 = np.zeros(sheet.level.shape, np.uint8)
    mask[panel] = sheet.level[panel] > settings.paper_least
    opened = cv2.morphologyEx(mask, cv2.MORPH_OPEN, np.ones((3, 3), np.uint8))
    reach = round(settings.bridge_mm * scale) | 1
    return np.asarray(cv2.morphologyEx(opened, cv2.MORPH_CLOSE, np.ones((reach, 1), np.uint8)), np.uint8)


def _boxes(mask: Bytes8, scale: float, card: CardLayout, settings: StripSettings) -> Iterator[tuple[Floats, bool]]:
    """Every strip-like area: (4, 2) corners in card millimetres, counter-clockwise from the bottom left, and whether the panel ends before it does."""
    areas, _ = cv2.findContours(mask, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_SIMPLE)
    for area in areas:
        corners = (_ordered(np.asarray(cv2.boxPoints(cv2.minAreaRect(cv2.convexHull(area))), float)) + 0.5) / scale
        width, length = (float(np.linalg.norm(corners[n] - corners[0])) for n in (1, 3))
        turn = np.degrees(np.arctan2(abs(corners[3, 0] - corners[0, 0]), corners[0, 1] - corners[3, 1]))
        fill = cv2.contourArea(area) / scale**2 / max(width * length, 1e-6)
        large = width >= settings.least_width_mm and length >= settings.least_length_mm
        if large and turn <= settings.turn_limit_deg and fill >= settings.least_fill:
            yield corners, _at_border(area, panel_slices(card, scale, settings.panel_inset_mm))


def _at_border(area: NDArray[Any], panel: tuple[slice, slice]) -> bool:
    """Whether an area's outline (n, 1, 2) touches the first or last row or column of the panel."""
    (left, top), (right, bottom) = area.min(axis=(0, 1)).tolist(), area.max(axis=(0, 1)).tolist()
    rows, cols = panel
    return bool(left <= cols.start or top <= rows.start or right >= cols.stop - 1 or bottom >= rows.stop - 1)


def _ordered(points: Floats) -> Floats:
    """Four corners from the bottom left, over the bottom right and top right, to the top left (y is down)."""
    by_height = points[np.argsort(-points[:, 1])]
    bottom = by_height[:2][np.argsort(by_height[:2, 0])]
    top = by_height[2:][np.argsort(-by_height[2:, 0])]
    return np.concatenate([bottom, top])


def _nearest_bay(corners_mm: Floats, card: CardLayout) -> Bay | None:
    """The bay whose middle line lies nearest to the strip's, or None where the strip lies beside all of them."""
    x = corners_mm[:, 0].mean()
    bay = min(card.bays, key=lambda b: abs(b.rect.centre[0] - x))
    return bay if abs(bay.rect.centre[0] - x) <= bay.rect.width / 2 + 1 else None


def _outline(box: Floats, cut_off: bool, sheet: Sheet, card: CardLayout, settings: StripSettings) -> StripOutline:
    """The strip's exact outline: a straight line through the edge points on each of the four sides."""
    middle = box.mean(axis=0)
    bottom, right, top, left = (_side(box[n], box[(n + 1) % 4], middle, sheet, settings) for n in range(4))
    corners = np.array([_meet(left, bottom), _meet(bottom, right), _meet(right, top), _meet(top, left)])
    along = right.direction - left.direction  # each runs on around the strip: up on the right, down on the left
    axis = along / np.linalg.norm(along)
    bay = _nearest_bay(corners, card)
    across = corners[1] - corners[0] + corners[2] - corners[3]
    return StripOutline(
        bay=bay.bay if bay else 0,
        corners_mm=corners,
        width_mm=float(abs(across @ (-axis[1], axis[0])) / 2),
        length_mm=float((corners[3] - corners[0] + corners[2] - corners[1]) @ axis / 2),
        axis=(float(axis[0]), float(axis[1])),
        u_edge_mm=max(right.scatter_mm, left.scatter_mm),
        left_edge_mm=left.points_mm[::-1],
        right_edge_mm=right.points_mm,
        cut_off=cut_off or any(side.ends_in_nothing for side in (bottom, right, top, left)),
    )


@dataclass(frozen=True, slots=True, eq=False)
class _Side:
    """One side of a strip."""

    points_mm: Floats
    """(n, 2) places where the paper ends."""
    place: Floats
    """(2,) a place on the line through most of them."""
    direction: Floats
    """(2,) unit vector along it."""
    scatter_mm: float
    """Standard deviation of the points about a smooth line."""
    ends_in_nothing: bool
    """True where the photo ends before the paper does."""


def _side(start: Floats, end: Floats, middle: Floats, sheet: Sheet, settings: StripSettings) -> _Side:
    """Where, going outwards from between two coarse corners, the paper ends: half-way between the levels on both sides."""
    length = float(np.linalg.norm(end - start))
    along = (end - start) / length
    out = np.array([along[1], -along[0]])
    out = out if out @ (start - middle) > 0 else -out
    x = np.linspace(0, length, max(int(length / settings.edge_step_mm), 8))
    steps = np.arange(-settings.edge_search_mm, settings.edge_search_mm + 0.05, 0.1)
    places = start + x[:, None, None] * along + steps[:, None] * out
    levels = _brightest(sheet, places, settings)
    reach, good = _falls(levels, steps, settings)
    x, y = (x[good], reach[good]) if good.sum() >= 4 else (x, np.zeros_like(x))
    offset, slope = _straight(x, y)
    direction = along + slope * out
    return _Side(
        points_mm=start + x[:, None] * along + y[:, None] * out,
        place=start + offset * out,
        direction=direction / np.linalg.norm(direction),
        scatter_mm=_scatter(y),
        ends_in_nothing=float(np.median(levels[:, -3:])) == 0.0,
    )


def _falls(levels: Floats32, steps: Floats, settings: StripSettings) -> tuple[Floats, NDArray[np.bool_]]:
    """((n,) the step at which each row of levels has fallen half-way from its inner to its outer level, whether it does).

    The levels are taken first from both ends of the rows; then, next to the edge so found, without the strip's own shadow.
    """
    calm = np.asarray(cv2.blur(levels, (1, 5)), np.float32)
    inner, outer = np.median(calm[:, :8], axis=1), np.median(calm[:, -8:], axis=1)
    place, falls = _half_way(calm, inner, outer)
    good = falls & (inner - outer > settings.edge_fall * inner)
    row, near = np.arange(len(calm))[:, None], np.round(place).astype(int)[:, None] + np.arange(4, 10)
    outer = np.median(calm[row, np.minimum(near, calm.shape[1] - 1)], axis=1)
    inner = np.median(calm[row, np.maximum(2 * np.round(place).astype(int)[:, None] - near, 0)], axis=1)
    nearer, falls = _half_way(calm, inner, outer)
    place = np.where(falls & (np.abs(nearer - place) < 4), nearer, place)
    ends = int(END_SHARE * len(place)) + 1
    good[:ends] = good[-ends:] = False
    return steps[0] + (steps[1] - steps[0]) * place, good


def _half_way(levels: Floats32, inner: Floats32, outer: Floats32) -> tuple[Floats, NDArray[np.bool_]]:
    """((n,) the column, in fractions, where each row first falls through the middle of its two levels, whether it does)."""
    over = levels - ((inner + outer) / 2)[:, None]
    crossing = (over[:, :-1] >= 0) & (over[:, 1:] < 0)
    first = np.argmax(crossing, axis=1)
    row = np.arange(len(levels))
    before, after = over[row, first].astype(float), over[row, first + 1].astype(float)
    falls = crossing[row, first]
    return first + np.where(falls, before / np.where(falls, before - after, 1.0), 0.0), falls


def _brightest(sheet: Sheet, places_mm: Floats, settings: StripSettings) -> Floats32:
    """(m, n) level in the brightest channel, on a scale for locating edges, at (m, n, 2) places on the card."""
    x, y = (places_mm * sheet.px_per_mm - 0.5).astype(np.float32).transpose(2, 0, 1)
    red, green, blue = cv2.split(cv2.remap(sheet.pixels, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE))
    return linear_from_srgb(np.asarray(cv2.max(cv2.max(red, green), blue), np.uint8)) ** np.float32(settings.edge_power)


def _straight(x: Floats, y: Floats) -> tuple[float, float]:
    """(offset at x = 0, slope) of the line through most of the points."""
    offset, slope = float(np.median(y)), 0.0
    for _ in range(8):
        off = y - offset - slope * x
        spread = max(1.4826 * float(np.median(np.abs(off))), 0.005)
        weight = 1 / (1 + (off / (2 * spread)) ** 2) ** 2
        total = weight.sum()
        x_mean, y_mean = weight @ x / total, weight @ y / total
        slope = float((weight * (x - x_mean)) @ (y - y_mean) / max(weight @ (x - x_mean) ** 2, 1e-9))
        offset = float(y_mean - slope * x_mean)
    return offset, slope


def _scatter(y: Floats) -> float:
    """Standard deviation of evenly spaced places about a smooth line: from their second differences, which a bend hardly shows."""
    second = y[2:] - 2 * y[1:-1] + y[:-2]
    return max(1.4826 * float(np.median(np.abs(second))) / float(np.sqrt(6.0)), 0.005) if len(second) else 0.1


def _meet(one: _Side, other: _Side) -> Floats:
    """Where two sides cross."""
    reach = np.linalg.solve(np.stack([one.direction, -other.direction], axis=1), other.place - one.place)
    return np.asarray(one.place + reach[0] * one.direction)


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
    )


def _strip_scale(outline: StripOutline, view: View, settings: StripSettings) -> float:
    """Pixels per millimetre: no more than the photo has, fewer on a large sheet, and whole pixels to the margin."""
    area_mm2 = (outline.length_mm + 2 * settings.margin_mm) * (outline.width_mm + 2 * settings.margin_mm)
    scale = min(settings.px_per_mm, view.px_per_mm, float(np.sqrt(settings.most_pixels / area_mm2)))
    return max(np.floor(scale * settings.margin_mm), 3.0 * settings.margin_mm) / settings.margin_mm


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
    return np.asarray(cv2.GaussianBlur(light, (0, 0), sigmaX=0.01, sigmaY=settings.side_smooth_mm * scale), np.float32)
