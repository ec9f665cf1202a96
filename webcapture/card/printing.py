"""The card on paper: as a vector PDF in exact millimetres and as a PNG, from the same shapes."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from webcapture.card.drawing import Shape, Tiles, card_shapes
from webcapture.card.layout import WHITE, CardLayout, Rect
from webcapture.errors import UsageError
from webcapture.model import Bytes8, Floats32

MM_PER_INCH = 25.4
DPI_RANGE = (25, 1200)
"""Coarser than the least, a tag's modules are no longer whole pixels; finer than the most, the page needs half a gigabyte."""


def card_png_array(card: CardLayout, dpi: int) -> Bytes8:
    """The printed page as grey levels (sRGB), shape (height, width), covering exactly the page.

    Pixel (row, col) covers the square from (col, row) to (col + 1, row + 1) in units of 25.4 / dpi millimetres. Its level is
    the mean over that square, so that an edge between pixels keeps its place. Raises UsageError for a dpi out of range.
    """
    if not DPI_RANGE[0] <= dpi <= DPI_RANGE[1]:
        raise UsageError(f"A card cannot be drawn at {dpi} dpi.", f"Choose {DPI_RANGE[0]} to {DPI_RANGE[1]} dpi.")
    width, height = (round(side / MM_PER_INCH * dpi) for side in card.page_mm)
    page = np.full((height, width), WHITE, np.float32)
    for shape in card_shapes(card):
        _paint(page, shape, dpi / MM_PER_INCH)
    return np.rint(page).astype(np.uint8)


def _paint(page: Floats32, shape: Shape, px_per_mm: float) -> None:
    _paint_tiles(page, shape, px_per_mm)


def _paint_tiles(page: Floats32, tiles: Tiles, px_per_mm: float) -> None:
    """Adds each tile's difference to the ground by the share of each pixel it covers: exact where tiles touch."""
    for cell in tiles.cells:
        rows, columns, share = _coverage(cell.rect, px_per_mm, page.shape)
        page[rows, columns] += share * np.float32(cell.level - tiles.ground)


def _coverage(rect: Rect, px_per_mm: float, shape: tuple[int, ...]) -> tuple[slice, slice, Floats32]:
    """(rows, columns, share): the pixels a rectangle touches and the share of each that it covers."""
    rows, down = _coverage_1d(rect.y * px_per_mm, rect.bottom * px_per_mm, shape[0])
    columns, across = _coverage_1d(rect.x * px_per_mm, rect.right * px_per_mm, shape[1])
    return rows, columns, np.outer(down, across)


def _coverage_1d(start: float, stop: float, count: int) -> tuple[slice, NDArray[np.float32]]:
    """The pixels from ``start`` to ``stop`` and the share of each inside: (0.5, 2.25) gives pixels 0 to 2, 0.5, 1, 0.25."""
    first, last = max(int(start), 0), min(int(np.ceil(stop)), count)
    edges = np.arange(first, last + 1)
    inside = np.minimum(edges[1:], stop) - np.maximum(edges[:-1], start)
    return slice(first, last), inside.astype(np.float32)
