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
    even = logs - _across(light, cols, scale, settings)[..., None]
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


def _across(light: Floats32, cols: int, scale: float, settings: FieldSettings) -> Floats32:
    """(rows, cols) the light on the strip, between what is seen at its left and at its right.

    A shadow's edge is straight: where it crosses aslant, the light is followed along it, not along the rows.
    """
    share = ((np.arange(cols) + 0.5) / cols).astype(np.float32)
    shift = _edge_shift(light, scale, settings)
    if shift == 0:
        return light[:, :1] * (1 - share) + light[:, 1:] * share
    rows = np.arange(len(light))
    lit = np.empty((len(light), cols), np.float32)
    for j, part in enumerate(share):
        left = np.interp(rows - part * shift, rows, light[:, 0])
        right = np.interp(rows + (1 - part) * shift, rows, light[:, 1])
        lit[:, j] = left * (1 - part) + right * part
    return lit


def _edge_shift(light: Floats32, scale: float, settings: FieldSettings) -> int:
    """Rows by which the right side's light follows the left's; 0 where no shift explains the difference well."""
    if np.ptp(light, axis=0).max() < settings.edge_least:
        return 0
    reach = round(settings.edge_reach_mm * scale)
    shifts = np.arange(-reach, reach + 1, max(round(scale / 2), 1))
    costs = []
    for shift in shifts.tolist():
        low, high = max(shift, 0), len(light) + min(shift, 0)
        if high - low < len(light) // 2:
            costs.append(np.inf)
            continue
        off = light[low - shift : high - shift, 0] - light[low:high, 1]
        costs.append(float(np.mean((off - off.mean()) ** 2)))
    still = float(np.mean((light[:, 0] - light[:, 1] - (light[:, 0] - light[:, 1]).mean()) ** 2))
    best = int(np.argmin(costs))
    return int(shifts[best]) if costs[best] < settings.edge_gain * still else 0


def _averaged(values: Floats32, down: int, across: int) -> Floats32:
    """Means over blocks of ``down`` × ``across`` pixels; what does not fill a block at the far ends is left out."""
    rows, cols = values.shape[0] // down, values.shape[1] // across
    blocks = values[: rows * down, : cols * across].reshape(rows, down, cols, across, 3)
    return blocks.mean(axis=(1, 3), dtype=np.float32)
