"""Colour of pictures: camera profile to sRGB, sRGB to linear light and back.

Pixels are RGB. *Encoded* values are sRGB's own (uint8); *linear* values are proportional to light, 0 to 1. The formulas, and how
colours look, stand in :mod:`webcapture.appearance`.
"""

from __future__ import annotations

from functools import lru_cache
from io import BytesIO
from typing import Any

import cv2
import numpy as np
from numpy.typing import ArrayLike
from PIL import Image, ImageCms

from webcapture.appearance import decoded, encoded
from webcapture.model import Bytes8, Floats, Floats32

PROFILE_TOLERANCE = 2
"""Levels of 255 by which a profile may move a colour and still count as sRGB: makers round their tables differently."""


# ---- profiles


def needed_profile(icc: bytes | None) -> bytes | None:
    """``icc`` where it must be applied to show right colours; None where it is absent, unusable, not for RGB, or sRGB.

    What counts is what the profile does to colours, not its name.
    """
    if not icc:
        return None
    step = np.arange(0, 256, 51, dtype=np.uint8)
    cube = np.stack(np.meshgrid(step, step, step), axis=-1).reshape(1, -1, 3)
    try:
        moved = to_srgb(cube, icc)
    except ImageCms.PyCMSError:
        return None
    return icc if np.abs(moved.astype(int) - cube).max() > PROFILE_TOLERANCE else None


def to_srgb(pixels: Bytes8, icc: bytes | None) -> Bytes8:
    """The same colours in sRGB.

    pixels: (rows, cols, 3) uint8 RGB in the colour space of the profile ``icc``; with None they are returned as they are.
    Relative colorimetric: white stays white, colours outside sRGB go to its edge. Some 15 ms a megapixel, so convert what was cut
    out rather than whole photos. Raises ImageCms.PyCMSError for a profile that is corrupt or not for RGB.
    """
    if icc is None:
        return pixels
    converted = ImageCms.applyTransform(Image.fromarray(np.ascontiguousarray(pixels)), transform_to_srgb(icc))
    return np.asarray(converted)


def picture_to_srgb(pixels: Bytes8, icc: bytes | None, halvings: int = 1) -> Bytes8:
    """The same as :func:`to_srgb` for pictures of paper, in a third of its time.

    How far the profile moves a colour is asked of a copy halved once or twice, since that changes only as the colour does.
    Halved once, single pixels are off by as much as their grain, where colours are strong; over a millimetre by less than two
    levels, in the middle of the smallest and strongest spots.
    """
    if icc is None:
        return pixels
    small = pixels
    for _ in range(halvings):
        small = halved(small)
    # Half a scale is added to what is less than that either way, so that it fits into bytes.
    shift = cv2.addWeighted(to_srgb(small, icc), 1, small, -1, 128)
    rows, cols = (side << halvings for side in shift.shape[:2])
    full = cv2.resize(shift, (cols, rows), interpolation=cv2.INTER_LINEAR)
    more = (0, pixels.shape[0] - rows, 0, pixels.shape[1] - cols)  # rows and columns that did not make up a whole
    full = cv2.copyMakeBorder(full, *more, cv2.BORDER_REPLICATE) if any(more) else full
    return np.asarray(cv2.addWeighted(pixels, 1, full, 1, -128), np.uint8)


def halved(pixels: Bytes8) -> Bytes8:
    """(⌊rows / 2⌋, ⌊cols / 2⌋, n) means of two by two pixels."""
    rows, cols = pixels.shape[0] // 2, pixels.shape[1] // 2
    return np.asarray(cv2.resize(pixels[: 2 * rows, : 2 * cols], (cols, rows), interpolation=cv2.INTER_AREA), np.uint8)


@lru_cache(maxsize=8)
def transform_to_srgb(icc: bytes, mode: str = "RGB") -> ImageCms.ImageCmsTransform:
    """Pillow's transform from a picture of ``mode`` with profile ``icc``; raises ImageCms.PyCMSError where they do not fit."""
    try:
        source = ImageCms.ImageCmsProfile(BytesIO(icc))
    except OSError as error:
        raise ImageCms.PyCMSError(error) from error
    target = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB"))
    return ImageCms.buildTransform(source, target, mode, "RGB", ImageCms.Intent.RELATIVE_COLORIMETRIC)


# ---- sRGB and linear light


@lru_cache(maxsize=1)
def linear_lut() -> Floats32:
    """(256,) linear light 0 to 1 of each uint8 level."""
    return _read_only(decoded(np.arange(256) / 255))


@lru_cache(maxsize=1)
def log10_linear_lut() -> Floats32:
    """(256,) log10 of the linear light of each uint8 level. Level 0 counts as half of level 1, so that it stays finite."""
    light = decoded(np.arange(256) / 255)
    light[0] = light[1] / 2
    return _read_only(np.log10(light))


def _read_only(table: Floats) -> Floats32:
    narrow = table.astype(np.float32)
    narrow.flags.writeable = False
    return narrow


def linear_from_srgb(pixels: Bytes8) -> Floats32:
    """Linear light 0 to 1, float32, of uint8 sRGB ``pixels`` of shape (rows, cols) or (rows, cols, n)."""
    return looked_up(pixels, linear_lut())


def log10_from_srgb(pixels: Bytes8) -> Floats32:
    """log10 of the linear light, float32, of uint8 sRGB ``pixels``; its negative difference to paper is absorbance."""
    return looked_up(pixels, log10_linear_lut())


def looked_up(pixels: Bytes8, table: Floats32) -> Floats32:
    """``table[pixels]``, several times faster. pixels: uint8 of two or three dimensions; table: (256,) float32."""
    found: Any = cv2.LUT(pixels, table)
    return found.reshape(pixels.shape)  # type: ignore[no-any-return]


def srgb_from_linear(linear: ArrayLike) -> Bytes8:
    """uint8 sRGB, rounded and clipped to 0 to 255, of linear light 0 to 1 of any shape."""
    return np.clip(np.rint(encoded(linear) * 255), 0, 255).astype(np.uint8)


def srgb_hex(linear_rgb: ArrayLike) -> str:
    """``#rrggbb`` of one linear RGB colour, clipped to what sRGB can show.

    >>> srgb_hex([1.0, 0.2140, 0.0])
    '#ff7f00'
    """
    r, g, b = (int(level) for level in srgb_from_linear(linear_rgb))
    return f"#{r:02x}{g:02x}{b:02x}"
