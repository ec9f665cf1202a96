"""A strip's image averaged into the cells and bins that measuring works on."""

from __future__ import annotations

import cv2
import numpy as np

from webcapture.model import Floats32, StripCells, StripImage
from webcapture.settings import CellSettings


def averaged(image: StripImage, settings: CellSettings) -> StripCells:
    """The paper without its margin, in even cells, and in full rows averaged over bins across the strip."""
    scale = image.px_per_mm
    inset = round(image.margin_mm * scale)
    paper = image.logs[inset:-inset, inset:-inset]
    rows, cols = paper.shape[:2]
    length, width = rows / scale, cols / scale
    rim = min(settings.edge_mm + _inward_mm(image, width), settings.edge_share * width)
    edge = round(rim * scale)
    count = int(np.clip(round((width - 2 * rim) / settings.bin_mm), 3, settings.most_bins))
    cell_mm = settings.sheet_cell_mm if width >= settings.sheet_mm else settings.cell_mm
    cells = _resized(paper, max(round(length / cell_mm), 8), max(round(width / cell_mm), 8))
    return StripCells(
        outline=image.outline,
        cells=cells,
        strokes=_strokes(cells, length / len(cells), settings),
        cell_mm=length / len(cells),
        bins=_resized(paper[:, edge : cols - edge], rows, count),
        rim_mm=edge / scale,
        light=image.light[inset:-inset],
        length_mm=length,
        width_mm=width,
        start_mm=image.start_mm,
        axis=image.axis,
        turned=False,
    )


def _inward_mm(image: StripImage, width_mm: float) -> float:
    """How far the paper's long edges run inside their straight lines, where it is bent or badly cut."""
    outline = image.outline
    side = np.array([-image.axis[1], image.axis[0]])
    left = (outline.left_edge_mm - image.start_mm) @ side
    right = width_mm - (outline.right_edge_mm - image.start_mm) @ side
    return float(max(np.percentile(left, 97), np.percentile(right, 97), 0.0))


def _resized(values: Floats32, rows: int, cols: int) -> Floats32:
    """Means over areas; never finer than the picture is."""
    rows, cols = min(rows, values.shape[0]), min(cols, values.shape[1])
    return np.asarray(cv2.resize(values, (cols, rows), interpolation=cv2.INTER_AREA), np.float32)


def _strokes(cells: Floats32, cell_mm: float, settings: CellSettings) -> np.ndarray:
    """(rows, cols) cells under pencil strokes: darker than anything a square of a millimetre can hold, grey in all channels.

    A spot loses little where thin things are taken away (a grey opening of its darkness); a stroke loses nearly all.
    """
    size = max(round(settings.stroke_mm / cell_mm), 2)
    red, green, blue = cv2.split(cells - np.median(cells[::5, ::5], axis=(0, 1)).astype(np.float32))
    palest = cv2.max(cv2.max(red, green), blue)
    dark = cv2.GaussianBlur(-palest, (0, 0), settings.stroke_smooth_mm / cell_mm)
    thin = dark - cv2.morphologyEx(dark, cv2.MORPH_OPEN, np.ones((size, size), np.uint8))
    some = thin[::3, ::3]
    usual = float(np.median(some))
    spread = 1.4826 * float(np.median(np.abs(some - usual)))
    height = dark - float(np.median(dark[::3, ::3]))
    least = np.maximum(height * settings.stroke_share, max(settings.stroke_least, usual + settings.stroke_sd * spread))
    return cv2.dilate((thin > least).astype(np.uint8), np.ones((3, 3), np.uint8)).astype(bool)
