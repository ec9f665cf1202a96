"""How colours look, as arithmetic alone: sRGB and light, L*a*b*, and how far two colours lie apart.

*Encoded* values are sRGB's own, 0 to 1; *linear* values are proportional to light, 0 to 1.

Sources: IEC 61966-2-1:1999 for sRGB; CIE 15 for L*a*b*; G. Sharma, W. Wu, E. N. Dalal, "The CIEDE2000 color-difference
formula", Color Research and Application 2005, 30, 21-30 (also ISO/CIE 11664-6).
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from webcapture.model import Floats

RGB_TO_XYZ = np.array([[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]])
"""Linear sRGB to CIE XYZ under D65, as IEC 61966-2-1 prints it. White is its row sums."""


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
