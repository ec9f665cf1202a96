"""Between the upright photo, in which all places are given, and the picture as it was stored, in which all pixels are read.

Turning the pixels themselves would cost as much as finding the card; turning places costs nothing.
"""

from __future__ import annotations

from typing import Any

import cv2
import numpy as np

from webcapture.model import Bytes8, Floats, Photo

Places = Any
"""Pixels, float32 or float64."""
GREY_FIRST = 0.5
"""Scale above which a picture to be reduced is made grey before."""


def in_stored(photo: Photo, places: Places) -> Places:
    """(…, 2) places in the upright photo, pixels, as places in ``photo.stored``."""
    x, y = _flipped(photo, places[..., 0], places[..., 1])
    # Two planes behind one another: whole planes are worked on, never pairs.
    return np.moveaxis(np.stack([y, x] if photo.swapped else [x, y]), 0, -1)


def from_stored(photo: Photo, places: Floats) -> Floats:
    """(…, 2) places in ``photo.stored``, pixels, as places in the upright photo."""
    x, y = places[..., 0], places[..., 1]
    return np.stack(_flipped(photo, *((y, x) if photo.swapped else (x, y))), axis=-1)


def _flipped(photo: Photo, x: Places, y: Places) -> tuple[Places, Places]:
    height, width = photo.pixels.shape[:2]
    across, down = photo.flipped
    return width - 1 - x if across else x, height - 1 - y if down else y


def upright_grey(photo: Photo, side_px: int) -> Bytes8:
    """(rows, cols) brightness, sRGB, of the upright photo reduced to a longer side of ``side_px``; never enlarged."""
    scale = min(1.0, side_px / max(photo.stored.shape))
    # One channel is reduced in a third of the time that four take, but to make one of them takes a while, too.
    small = _reduced(grey(photo.stored), scale) if scale > GREY_FIRST else grey(_reduced(photo.stored, scale))
    small = np.asarray(cv2.transpose(small), np.uint8) if photo.swapped else small
    across, down = photo.flipped
    return np.ascontiguousarray(small[:: -1 if down else 1, :: -1 if across else 1])


def _reduced(pixels: Bytes8, scale: float) -> Bytes8:
    # Two by two pixels of every three by three are enough to make out a tag, and four times faster than all.
    how = cv2.INTER_LINEAR if scale > 0.25 else cv2.INTER_AREA
    return np.asarray(cv2.resize(pixels, None, fx=scale, fy=scale, interpolation=how), np.uint8)


def grey(pixels: object) -> Bytes8:
    """(rows, cols) brightness of (rows, cols, 3 or 4) RGB with or without padding, as OpenCV weighs the colours."""
    colours = np.asarray(pixels, np.uint8)
    return np.asarray(
        cv2.cvtColor(colours, cv2.COLOR_RGBA2GRAY if colours.shape[2] == 4 else cv2.COLOR_RGB2GRAY), np.uint8
    )
