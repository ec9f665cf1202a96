"""Pictures lying on the table, sampled as the camera sees them.

The way from a photo's pixel to a layer's pixel is smooth, so it is worked out exactly at nodes every NODE_PX pixels and
interpolated between them; the error, 0.002 px at a tilt of 30°, is far below what any measurement can see.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from webcapture.model import Floats, Floats32
from webcapture.synthetic.camera import Pinhole

NODE_PX = 8
PIXEL_SIGMA_PX = 0.4
"""Blur of the photo's own pixel, a box one pixel wide and the interpolation; applied to each layer before it is sampled."""

Words16 = NDArray[np.uint16]
OnPlane = Callable[[Floats, Floats], Floats]


@dataclass(frozen=True, slots=True, eq=False)
class Layer:
    """A flat or gently bent picture on the table."""

    pixels: NDArray[Any]
    """(rows, columns) or (rows, columns, 3), float32: reflectance; or uint16: in 65535ths."""
    to_px: Floats
    """(2, 3): card millimetres to columns and rows, centres of pixels at whole numbers."""
    px_per_mm: float
    inside_mm: OnPlane | None
    """Distance of a place from the layer's edge, positive inside; None: it is everywhere."""
    outline_mm: Floats | None
    """(n, 2): what to look at to know where in the photo the layer is; None: everywhere."""
    height_mm: OnPlane | None = None
    """Height above the card; None: flat."""
    tilt_light: tuple[float, float] = (0.0, 0.0)
    """How much brighter a slope along x and y is."""
    mirrored: bool = False
    """Whether the picture repeats mirrored beyond its edges."""


@dataclass(frozen=True, slots=True)
class Window:
    """A part of the photo, in whole nodes: rows and columns from (included) to (excluded), in pixels."""

    top: int
    bottom: int
    left: int
    right: int

    @property
    def shape(self) -> tuple[int, int]:
        """(rows, columns)."""
        return self.bottom - self.top, self.right - self.left


class Nodes:
    """The card's plane as seen at the photo's nodes."""

    def __init__(self, camera: Pinhole) -> None:
        self.camera = camera
        width, height = camera.size_px
        x = (np.arange(-1, width // NODE_PX + 2) + 0.5) * NODE_PX - 0.5
        y = (np.arange(-1, height // NODE_PX + 2) + 0.5) * NODE_PX - 0.5
        grid = np.stack(np.meshgrid(x, y), axis=-1)
        self.shape = grid.shape[:2]
        self.pixels: Floats = grid
        self.plane_mm: Floats = camera.ground(grid.reshape(-1, 2)).reshape(grid.shape)

    def within(self, window: Window) -> tuple[slice, slice]:
        """The nodes that surround a window, one beyond it on each side."""
        rows = slice(window.top // NODE_PX, -(-window.bottom // NODE_PX) + 2)
        columns = slice(window.left // NODE_PX, -(-window.right // NODE_PX) + 2)
        return rows, columns

    def spread(self, values: Floats, window: Window) -> Floats32:
        """Values at the window's nodes, interpolated to its pixels."""
        rows, columns = values.shape[:2]
        size = (columns * NODE_PX, rows * NODE_PX)
        full = cv2.resize(np.ascontiguousarray(values, np.float32), size, interpolation=cv2.INTER_LINEAR)
        height, width = window.shape
        return np.asarray(full[NODE_PX : NODE_PX + height, NODE_PX : NODE_PX + width])

    def lifted(self, height_mm: OnPlane, rows: slice, columns: slice) -> tuple[Floats, Floats]:
        """Places and heights at which the nodes' rays meet a surface ``height_mm`` above the card."""
        seen = self.plane_mm[rows, columns]
        place, height = seen, np.zeros(seen.shape[:2])
        for _ in range(6):
            height = height_mm(place[..., 0], place[..., 1])
            place = seen + (height / -self.camera.place[2])[..., None] * (self.camera.place[:2] - seen)
        return place, height


def softened(layer: Layer, camera: Pinhole) -> Layer:
    """The layer blurred as much as one photo pixel does, so that sampling it point by point does not alias."""
    middle = layer.outline_mm.mean(axis=0) if layer.outline_mm is not None else camera.place[:2]
    ratio = layer.px_per_mm / camera.px_per_mm((float(middle[0]), float(middle[1])))
    sigma = PIXEL_SIGMA_PX * ratio
    if sigma < 0.25:
        return layer
    return replace(layer, pixels=cv2.GaussianBlur(layer.pixels, (0, 0), sigma))


def place_over(canvas: Floats32, layer: Layer, nodes: Nodes, window: Window) -> None:
    """Paint what of ``layer`` shows in ``window`` over ``canvas``, the window's picture."""
    part = _seen_part(layer, nodes.camera, window)
    if part is None:
        return
    colour, cover = _sampled(layer, nodes, part)
    rows = slice(part.top - window.top, part.bottom - window.top)
    columns = slice(part.left - window.left, part.right - window.left)
    below = canvas[rows, columns]
    if colour.ndim == 2:
        colour = colour[..., None]
    canvas[rows, columns] = colour if cover is None else below + cover[..., None] * (colour - below)


def _sampled(layer: Layer, nodes: Nodes, part: Window) -> tuple[Floats32, Floats32 | None]:
    """The layer's colour and how much of each pixel it covers, in a window."""
    rows, columns = nodes.within(part)
    place = nodes.plane_mm[rows, columns]
    if layer.height_mm is not None:
        place, _ = nodes.lifted(layer.height_mm, rows, columns)
    texel = place @ layer.to_px[:, :2].T + layer.to_px[:, 2]
    across, along = nodes.spread(texel[..., 0], part), nodes.spread(texel[..., 1], part)
    border = cv2.BORDER_REFLECT if layer.mirrored else cv2.BORDER_REPLICATE
    colour = np.asarray(cv2.remap(layer.pixels, across, along, cv2.INTER_LINEAR, borderMode=border), np.float32)
    if layer.pixels.dtype == np.uint16:
        colour *= np.float32(1 / 65535)
    if layer.height_mm is not None:
        lit = nodes.spread(_slope_light(layer, layer.height_mm, place), part)
        colour = colour * (lit if colour.ndim == 2 else lit[..., None])
    if layer.inside_mm is None:
        return colour, None
    inside = layer.inside_mm(place[..., 0], place[..., 1]) * nodes.camera.px_per_mm(_middle(layer))
    return colour, np.clip(nodes.spread(inside, part) + 0.5, 0, 1)


def _slope_light(layer: Layer, height_mm: OnPlane, place: Floats) -> Floats:
    """How much more light a sloping surface catches than a level one."""
    x, y = place[..., 0], place[..., 1]
    step = 0.5
    slope_x = (height_mm(x + step, y) - height_mm(x - step, y)) / (2 * step)
    slope_y = (height_mm(x, y + step) - height_mm(x, y - step)) / (2 * step)
    return np.asarray(1 + layer.tilt_light[0] * slope_x + layer.tilt_light[1] * slope_y)


def _middle(layer: Layer) -> tuple[float, float]:
    assert layer.outline_mm is not None
    x, y = layer.outline_mm.mean(axis=0)
    return float(x), float(y)


def _seen_part(layer: Layer, camera: Pinhole, window: Window) -> Window | None:
    """The smallest window of whole nodes around the layer's outline, within ``window``; None where they do not meet."""
    if layer.outline_mm is None:
        return window
    highest = 0.0 if layer.height_mm is None else float(layer.height_mm(*layer.outline_mm.T).max())
    px = np.vstack([camera.project(layer.outline_mm, h) for h in (0.0, highest + 1.0)])
    low = np.floor((px.min(axis=0) - 4) / NODE_PX).astype(int) * NODE_PX
    high = np.ceil((px.max(axis=0) + 4) / NODE_PX).astype(int) * NODE_PX
    top, bottom = max(window.top, int(low[1])), min(window.bottom, int(high[1]))
    left, right = max(window.left, int(low[0])), min(window.right, int(high[0]))
    return Window(top, bottom, left, right) if top < bottom and left < right else None
