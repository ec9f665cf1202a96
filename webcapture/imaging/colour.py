"""Colour: camera profile to sRGB, sRGB to linear light and back, and how far two colours lie apart.

Pixels are RGB. *Encoded* values are sRGB's own (uint8, or floats 0 to 1); *linear* values are proportional to light, 0 to 1.

Sources: IEC 61966-2-1:1999 for sRGB; CIE 15 for L*a*b*; G. Sharma, W. Wu, E. N. Dalal, "The CIEDE2000 color-difference
formula", Color Research and Application 2005, 30, 21-30 (also ISO/CIE 11664-6).
"""

from __future__ import annotations

from functools import lru_cache
from io import BytesIO
from typing import Any

import cv2
import numpy as np
from numpy.typing import ArrayLike, NDArray
from PIL import Image, ImageCms

from webcapture.model import Bytes8, Floats, Floats32

RGB_TO_XYZ = np.array([[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]])
"""Linear sRGB to CIE XYZ under D65, as IEC 61966-2-1 prints it. White is its row sums."""

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


def decoded(encoded: ArrayLike) -> Floats:
    """Linear light of sRGB values, both 0 to 1, any shape (IEC 61966-2-1). Values beyond keep their sign."""
    v = np.asarray(encoded, float)
    size = np.abs(v)
    return np.asarray(np.copysign(np.where(size <= 0.04045, size / 12.92, ((size + 0.055) / 1.055) ** 2.4), v))


def encoded(linear: ArrayLike) -> Floats:
    """The sRGB value of linear light, both 0 to 1, any shape (IEC 61966-2-1). Values beyond keep their sign."""
    v = np.asarray(linear, float)
    size = np.abs(v)
    return np.asarray(np.copysign(np.where(size <= 0.0031308, size * 12.92, 1.055 * size ** (1 / 2.4) - 0.055), v))


@lru_cache(maxsize=1)
def _linear_lut() -> Floats32:
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
    return looked_up(pixels, _linear_lut())


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


# ---- how colours look


def lab_from_linear(linear_rgb: ArrayLike) -> Floats:
    """CIE L*a*b* under D65 of linear sRGB of shape (..., 3); white is (100, 0, 0)."""
    xyz = np.asarray(linear_rgb, float) @ RGB_TO_XYZ.T / RGB_TO_XYZ.sum(axis=1)
    small = xyz <= (6 / 29) ** 3
    f = np.where(small, xyz * (29 / 6) ** 2 / 3 + 4 / 29, np.cbrt(xyz))
    x, y, z = f[..., 0], f[..., 1], f[..., 2]
    return np.stack([116 * y - 16, 500 * (x - y), 200 * (y - z)], axis=-1)


def ciede2000(lab1: ArrayLike, lab2: ArrayLike) -> Floats:
    """Colour difference ΔE00 of L*a*b* colours of shape (..., 3), broadcast against each other; result (...).

    About 1 is just visible side by side. Step by step as in Sharma, Wu and Dalal (2005), all weights 1.
    """
    first, second = np.asarray(lab1, float), np.asarray(lab2, float)
    stretch = 1 + 0.5 * (1 - _bend((np.hypot(*_ab(first)) + np.hypot(*_ab(second))) / 2))
    c1, h1 = _chroma_hue(first, stretch)
    c2, h2 = _chroma_hue(second, stretch)
    turn, h_mean = _hue_turn_and_mean(h1, h2, colourless=c1 * c2 == 0)
    l_mean, c_mean = (first[..., 0] + second[..., 0]) / 2, (c1 + c2) / 2
    far = (l_mean - 50) ** 2
    dl = (second[..., 0] - first[..., 0]) / (1 + 0.015 * far / np.sqrt(20 + far))
    dc = (c2 - c1) / (1 + 0.045 * c_mean)
    dh = 2 * np.sqrt(c1 * c2) * _sin(turn / 2) / (1 + 0.015 * c_mean * _hue_weight(h_mean))
    # Blue is where hue and chroma differences do not add up independently: a rotation term for its corner of hues.
    rotation = -_sin(60 * np.exp(-(((h_mean - 275) / 25) ** 2))) * 2 * _bend(c_mean)
    return np.asarray(np.sqrt(dl**2 + dc**2 + dh**2 + rotation * dc * dh))


def _ab(lab: Floats) -> tuple[Floats, Floats]:
    return lab[..., 1], lab[..., 2]


def _bend(chroma: NDArray[Any]) -> Floats:
    return np.sqrt(chroma**7 / (chroma**7 + 25.0**7))


def _chroma_hue(lab: Floats, stretch: Floats) -> tuple[Floats, Floats]:
    a, b = lab[..., 1] * stretch, lab[..., 2]
    return np.hypot(a, b), np.degrees(np.arctan2(b, a)) % 360


def _hue_turn_and_mean(h1: Floats, h2: Floats, colourless: NDArray[np.bool_]) -> tuple[Floats, Floats]:
    """The way from hue 1 to hue 2 the short way round, and the hue midway; with a colourless one, 0 and the other's hue."""
    half = 180 + 1e-9  # exactly opposite hues must not be decided by the last bit of an arctangent
    turn = h2 - h1
    turn = np.where(turn > half, turn - 360, np.where(turn < -half, turn + 360, turn))
    total = h1 + h2
    mean = np.where(np.abs(h1 - h2) > half, np.where(total < 360, total + 360, total - 360), total) / 2
    return np.where(colourless, 0.0, turn), np.where(colourless, total, mean)


def _hue_weight(hue_deg: Floats) -> Floats:
    return np.asarray(
        1
        - 0.17 * _cos(hue_deg - 30)
        + 0.24 * _cos(2 * hue_deg)
        + 0.32 * _cos(3 * hue_deg + 6)
        - 0.20 * _cos(4 * hue_deg - 63)
    )


def _sin(angle_deg: Floats) -> Floats:
    return np.sin(np.radians(angle_deg))


def _cos(angle_deg: Floats) -> Floats:
    return np.cos(np.radians(angle_deg))
