"""How paper looks: Kubelka–Munk reflectance, and the noise of its fibres."""

from __future__ import annotations

import cv2
import numpy as np

from webcapture.model import Floats, Floats32
from webcapture.synthetic.scene import Stock, Triple

BACKING = 0.23
"""Reflectance of the card's tinted panel under the strip, linear."""


def reflectance(absorbed: Floats, scatter: float, backing: float = BACKING) -> Floats:
    """Reflectance of a sheet with absorption K·X ``absorbed`` and scattering S·X ``scatter`` over a ``backing``.

    Kubelka and Munk's hyperbolic solution (Kubelka, J. Opt. Soc. Am. 1948, 38, 448; from memory); for a thick sheet it
    tends to R with K/S = (1 − R)² / 2R.
    """
    a = 1 + np.maximum(absorbed, 1e-9) / scatter
    b = np.sqrt(a * a - 1)
    b_coth = b / np.tanh(b * scatter)
    return np.asarray((1 - backing * (a - b_coth)) / (a - backing + b_coth))


class Darkening:
    """Load to reflectance for one paper, by table: exact to 1e-4 and fast on megapixels."""

    def __init__(self, stock: Stock) -> None:
        self._load = np.linspace(0.0, 1.0, 4001) ** 3 * 60.0
        self._tables = [reflectance(self._load + own, stock.scatter) for own in stock.own]

    @property
    def bare(self) -> Triple:
        """Reflectance of the paper without load, R, G, B."""
        r, g, b = (float(table[0]) for table in self._tables)
        return r, g, b

    def shade(self, loads: Floats32) -> Floats32:
        """Reflectance relative to bare paper of ``loads`` (rows, columns, 3)."""
        steps = np.rint(np.cbrt(np.clip(loads, 0, 60.0) / 60.0) * 4000).astype(np.uint16)
        out = [(table / table[0]).astype(np.float32)[steps[..., i]] for i, table in enumerate(self._tables)]
        return np.stack(out, axis=-1)

    def load_for(self, absorbance: float, channel: int) -> float:
        """The load that darkens bare paper by ``absorbance`` in that channel."""
        table = self._tables[channel]
        return float(np.interp(absorbance, -np.log10(table / table[0]), self._load))


def cloud(rng: np.random.Generator, shape: tuple[int, int], size_px: float | tuple[float, float]) -> Floats32:
    """Smooth noise of unit standard deviation with features ``size_px`` wide; a pair gives (down, across)."""
    down, across = size_px if isinstance(size_px, tuple) else (size_px, size_px)
    small = (max(2, round(shape[0] / down) + 1), max(2, round(shape[1] / across) + 1))
    noise = rng.standard_normal(small, dtype=np.float32)
    if min(down, across) > 1:
        noise = np.asarray(cv2.resize(noise, (shape[1], shape[0]), interpolation=cv2.INTER_CUBIC), np.float32)
    else:
        noise = rng.standard_normal(shape, dtype=np.float32)
    return np.asarray(noise / max(float(noise.std()), 1e-6), np.float32)


def fibres(rng: np.random.Generator, shape: tuple[int, int], px_per_mm: float, grain: float) -> Floats32:
    """Relative brightness of bare paper: fibres, flocks and the cloudiness of the sheet, about 1."""
    total = np.zeros(shape, np.float32)
    for size_mm, share in ((0.09, 0.55), (0.25, 0.6), (0.9, 0.45), (4.0, 0.35)):
        total += share * cloud(rng, shape, max(1.0, size_mm * px_per_mm))
    return np.asarray(1 + grain * total, np.float32)
