"""The strip as a field of absorbance, in the two resolutions that the search for lines and for spots need."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.ndimage import gaussian_filter1d

from webcapture.model import Floats, Floats32, StripImage
from webcapture.settings import FieldSettings


@dataclass(frozen=True, slots=True, eq=False)
class Field:
    """Absorbance on the strip, relative to its palest paper."""

    absorbance: Floats32
    """(rows, cols, 3) in even cells of ``cell_mm``, R, G, B."""
    s_mm: Floats
    """(rows,) places of the cells along the strip."""
    t_mm: Floats
    """(cols,) places of the cells across it."""
    cell_mm: float
    """Side of a cell."""
    fine: Floats32
    """(fine rows, bins, 3) absorbance at full resolution along the strip, averaged over bins across it."""
    fine_s_mm: Floats
    """(fine rows,) places along the strip."""
    bin_t_mm: Floats
    """(bins,) middles of the bins across."""
    light: Floats32
    """(fine rows, 2) log10 of the light beside the strip, left and right, without the print's grain."""
    paper_log: Floats
    """(3,) log10 of the palest paper's linear intensity."""
    length_mm: float
    width_mm: float


def field_of(image: StripImage, settings: FieldSettings) -> Field:
    """Absorbance of the strip: what the light beside it does not explain, in even cells and in bins across."""
    scale = image.px_per_mm
    inset = round(image.margin_mm * scale)
    logs = image.logs[inset:-inset, inset:-inset]
    light = _calmed(image.light, cols=logs.shape[1], scale=scale, settings=settings)[inset:-inset]
    rows, cols = logs.shape[:2]
    across = ((np.arange(cols) + 0.5) / cols).astype(np.float32)
    lit = light[:, :1] * (1 - across) + light[:, 1:] * across
    even = logs - lit[..., None]
    paper = np.percentile(even[::8, ::8], settings.paper_percentile, axis=(0, 1))
    absorbance = paper.astype(np.float32) - even
    cell = max(round(settings.cell_mm * scale), 1)
    coarse = _averaged(absorbance, cell, cell)
    bins = int(np.clip(round((cols / scale - 2 * settings.edge_mm) / settings.bin_mm), 3, settings.most_bins))
    edges = np.linspace(settings.edge_mm * scale, cols - settings.edge_mm * scale, bins + 1).round().astype(int)
    sums = np.add.reduceat(absorbance[:, : edges[-1]], edges[:-1], axis=1)
    return Field(
        absorbance=coarse,
        s_mm=(np.arange(coarse.shape[0]) + 0.5) * cell / scale,
        t_mm=(np.arange(coarse.shape[1]) + 0.5) * cell / scale,
        cell_mm=cell / scale,
        fine=sums / np.diff(edges)[:, None].astype(np.float32),
        fine_s_mm=(np.arange(rows) + 0.5) / scale,
        bin_t_mm=(edges[1:] + edges[:-1]) / 2 / scale,
        light=light,
        paper_log=paper,
        length_mm=rows / scale,
        width_mm=cols / scale,
    )


def _calmed(light: Floats32, cols: int, scale: float, settings: FieldSettings) -> Floats32:
    """(rows, 2) the light beside the strip without the grain of the print.

    On a narrow strip shadows' edges are kept: what stands out of the grain. Across a wide sheet the card beside tells only
    the slow change of light.
    """
    if cols / scale >= settings.wide_mm:
        return gaussian_filter1d(light, settings.slow_mm * scale, axis=0, mode="nearest")
    slow = gaussian_filter1d(light, settings.calm_mm * scale, axis=0, mode="nearest")
    rest = light - slow
    grain = 1.4826 * np.median(np.abs(rest), axis=0) * settings.grain_sd
    kept = np.sign(rest) * np.maximum(np.abs(rest) - grain, 0)
    return np.asarray(slow + kept, np.float32)


def _averaged(values: Floats32, down: int, across: int) -> Floats32:
    """Means over blocks of ``down`` × ``across`` pixels; what does not fill a block at the far ends is left out."""
    rows, cols = values.shape[0] // down, values.shape[1] // across
    blocks = values[: rows * down, : cols * across].reshape(rows, down, cols, across, 3)
    return blocks.mean(axis=(1, 3), dtype=np.float32)
