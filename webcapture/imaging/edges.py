"""Where paper ends: straight lines through the edge points of a strip's four sides."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import cv2
import numpy as np
from numpy.typing import NDArray

from webcapture.card.layout import Rect
from webcapture.imaging.colour import linear_lut, looked_up
from webcapture.imaging.projection import project
from webcapture.imaging.rectify import sampled
from webcapture.imaging.straight import side_by_side, straight
from webcapture.model import Floats, Floats32, Mapping, Photo
from webcapture.robust import SD_PER_MAD, median, median_among
from webcapture.settings import StripSettings

END_SHARE = 0.06
"""Share of an edge's length left out at each end when a line is fitted to it: corners are round or torn."""
LEAST_PLACES = 4
"""At fewer an edge is not seen."""
EDGE_SPREAD_MM = 0.005
"""Spread below which an edge's places are not told apart."""


LEAST_TOWARDS = 0.01
"""A side that faces a border less than this does not come to it within its search."""


@dataclass(frozen=True, slots=True, eq=False)
class Side:
    """One side of a strip."""

    points_mm: Floats
    """(n, 2) places where the paper ends."""
    place: Floats
    """(2,) a place on the line through most of them."""
    direction: Floats
    """(2,) unit vector along it."""
    scatter_mm: float
    """Standard deviation of the points about a smooth line."""
    seen: float
    """Share of the side's length on which paper ends near that line."""
    ends_in_nothing: bool
    """True where the photo ends before the paper does."""


@dataclass(frozen=True, slots=True, eq=False)
class Coarse:
    """One side of a strip as the reduced page shows it, between two corners of its outline."""

    start: Floats
    """(2,) the corner it begins at."""
    along: Floats
    """(2,) unit vector to the corner it ends at."""
    out: Floats
    """(2,) unit vector away from the strip."""
    x: Floats
    """(n,) places along it, millimetres from the start."""
    at_border: bool
    """Whether the panel ends there, so that anything else is seen there, too."""
    room: Floats
    """(n,) millimetres outwards from each place to where the panel's tint ends."""
    runs_on: bool = False
    """Whether the paper goes on beyond it, cut to a point or notched, so that its edge is not this side."""


def coarse_side(
    start: Floats, end: Floats, middle: Floats, at_border: bool, panel: Rect, settings: StripSettings
) -> Coarse:
    """The side between two corners of a strip with that middle; where it lies ``at_border``, what is beyond the panel is looked at, too."""
    length = math.dist(start, end)
    along = (end - start) / length
    out = np.array([along[1], -along[0]])
    out = out if out @ (start - middle) > 0 else -out
    count = max(int(length / settings.edge_step_mm), 8)
    x = np.asarray(np.arange(count) * (length / (count - 1)), float)
    room = np.full(count, np.inf) if at_border else _room(start + x[:, None] * along, out, panel, settings)
    return Coarse(start, along, out, x, at_border, room)


def _room(places_mm: Floats, out: Floats, panel: Rect, settings: StripSettings) -> Floats:
    """(n,) millimetres from (n, 2) places on the panel, by the unit vector ``out``, to the blur of its border."""
    border = np.where(out > 0, (panel.right, panel.bottom), (panel.x, panel.y))
    towards = np.abs(out)
    away = np.abs(border - places_mm) - settings.panel_inset_mm
    room = np.where(towards > LEAST_TOWARDS, away / np.maximum(towards, LEAST_TOWARDS), np.inf)
    return np.asarray(np.maximum(room.min(axis=1), 0.0), float)


def sides_of(coarse: Sequence[Coarse], photo: Photo, mapping: Mapping, settings: StripSettings) -> list[Side]:
    """Where, going outwards across each coarse side, the paper ends: half-way between the levels on both sides.

    All of a photo's sides are read at once: one by one, numpy's overhead would cost more than the arithmetic.
    """
    if not coarse:
        return []
    steps = np.arange(-settings.edge_search_mm, settings.edge_search_mm + 0.05, 0.1)
    places = np.concatenate([side.start + side.x[:, None] * side.along for side in coarse])
    out = np.concatenate([np.broadcast_to(side.out, (len(side.x), 2)) for side in coarse])
    # Beyond the panel lies white: what is looked for there is taken from where its tint ends.
    reached = np.minimum(steps, np.concatenate([side.room for side in coarse])[:, None])
    levels = _brightest(photo, _across(mapping, places, out, reached), settings)
    parts = np.split(levels, np.cumsum([len(side.x) for side in coarse])[:-1])
    calm = np.concatenate([cv2.blur(part, (1, 5)) for part in parts])
    reach, falls = _falls(calm, steps, settings)
    counts = np.array([len(side.x) for side in coarse])
    x, reach, good = (side_by_side(values, counts) for values in (_from_start(coarse), reach, falls & _inner(coarse)))
    lines = _from_coarse(x, reach, good)
    return [
        _side(side, part, reach[n, : len(side.x)], good[n, : len(side.x)], lines[n], settings)
        for n, (side, part) in enumerate(zip(coarse, parts, strict=True))
    ]


def _from_start(coarse: Sequence[Coarse]) -> Floats:
    return np.concatenate([side.x for side in coarse])


def _inner(coarse: Sequence[Coarse]) -> NDArray[np.bool_]:
    """Which places of all the sides, one behind the other, are clear of their corners."""
    inner = [np.ones(len(side.x), bool) for side in coarse]
    for part in inner:
        ends = int(END_SHARE * len(part)) + 1
        part[:ends] = part[-ends:] = False
    return np.concatenate(inner)


def _from_coarse(x: Floats, reach: Floats, good: NDArray[np.bool_]) -> Floats:
    """(sides, 2) offset and slope of the lines through most of the good places, by their distance from the coarse sides."""
    enough = good.sum(axis=1, keepdims=True) >= LEAST_PLACES
    among = good | ~enough
    start = np.stack([median_among(reach, among), np.zeros(len(reach))], axis=1)
    return np.where(enough, straight(x, reach, among, EDGE_SPREAD_MM, start), 0.0)


def _side(
    coarse: Coarse, levels: Floats32, reach: Floats, good: NDArray[np.bool_], line: Floats, settings: StripSettings
) -> Side:
    """The line through where the paper ends; where that hardly shows, the coarse side itself.

    reach: (n,) millimetres outwards to where it ends at each of the coarse side's places; good: (n,) whether that counts;
    line: (2,) offset and slope of the line through most of them.
    """
    x, along, out = coarse.x, coarse.along, coarse.out
    offset, slope = line.tolist()
    near = good & (np.abs(reach - offset - slope * x) < settings.edge_bow_mm)
    seen = float(near.sum() / (len(x) * (1 - 2 * END_SHARE)))
    unseen = good.sum() < LEAST_PLACES or (coarse.at_border and seen < settings.edge_seen)
    if unseen or coarse.runs_on:
        offset, slope, reach, good = 0.0, 0.0, np.zeros_like(x), np.ones_like(good)
    x, y = x[good], reach[good]
    direction = along + slope * out
    return Side(
        points_mm=coarse.start + x[:, None] * along + y[:, None] * out,
        place=coarse.start + offset * out,
        direction=direction / np.linalg.norm(direction),
        scatter_mm=_scatter(y),
        seen=seen,
        ends_in_nothing=float(median(levels[:, -3:])) == 0.0,
    )


def _falls(calm: Floats32, steps: Floats, settings: StripSettings) -> tuple[Floats, NDArray[np.bool_]]:
    """((n,) the step at which each row of calmed levels has fallen half-way from its inner to its outer one, whether it does).

    The levels are taken first from both ends of the rows; then, next to the edge so found, without the strip's own shadow.
    """
    inner, outer = median(calm[:, :7], axis=1), median(calm[:, -7:], axis=1)
    place, falls = _half_way(calm, inner, outer)
    good = falls & (inner - outer > settings.edge_fall * inner)
    row, column = np.arange(len(calm))[:, None], np.round(place).astype(int)[:, None]
    beside = np.arange(4, 9)
    inner = median(calm[row, np.maximum(column - beside, 0)], axis=1)
    outer = median(calm[row, np.minimum(column + beside, calm.shape[1] - 1)], axis=1)
    nearer, falls = _half_way(calm, inner, outer)
    place = np.where(falls & (np.abs(nearer - place) < 4), nearer, place)
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


def _across(mapping: Mapping, places_mm: Floats, out: Floats, steps: Floats) -> Floats32:
    """(m, n, 2) photo pixels of (m, n) steps outwards, by unit vectors (m, 2), from (m, 2) places: over so few millimetres a parabola is as good as exact."""
    reach = float(np.abs(steps).max())
    nodes = project(mapping, places_mm + np.array([-reach, 0.0, reach])[:, None, None] * out).astype(np.float32)
    inner, middle, outer = nodes.swapaxes(1, 2)[..., None]
    part = (steps / reach).astype(np.float32)
    x_and_y = middle + part * ((outer - inner) / 2 + part * ((outer + inner) / 2 - middle))
    return np.moveaxis(x_and_y, 0, -1)


def _brightest(photo: Photo, places_px: Floats32, settings: StripSettings) -> Floats32:
    """(m, n) level in the brightest channel, on a scale for locating edges, at (m, n, 2) places in the photo.

    In the camera's own colours: between paper and tint, both grey, a profile changes next to nothing.
    """
    red, green, blue, *_ = cv2.split(sampled(photo, places_px))
    return looked_up(np.asarray(cv2.max(cv2.max(red, green), blue), np.uint8), _edge_lut(settings.edge_power))


@lru_cache(maxsize=4)
def _edge_lut(power: float) -> Floats32:
    """(256,) linear light of each uint8 level, to that power."""
    return linear_lut() ** np.float32(power)


def _scatter(y: Floats) -> float:
    """Standard deviation of evenly spaced places about a smooth line: from their second differences, which a bend hardly shows."""
    second = y[2:] - 2 * y[1:-1] + y[:-2]
    return max(SD_PER_MAD * float(median(np.abs(second))) / float(np.sqrt(6.0)), 0.005) if len(second) else 0.1


def meeting(one: Side, other: Side) -> Floats:
    """Where two sides cross."""
    (x, y), (u, v) = one.direction.tolist(), other.direction.tolist()
    dx, dy = (other.place - one.place).tolist()
    return np.asarray(one.place + (dx * v - dy * u) / (x * v - y * u) * one.direction)
