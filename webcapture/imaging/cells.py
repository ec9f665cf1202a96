"""A strip's image averaged into the cells and bins that measuring works on."""

from __future__ import annotations

from collections.abc import Iterator

import cv2
import numpy as np

from webcapture.model import Floats, Floats32, StripCells, StripImage
from webcapture.robust import median, quantile, spread
from webcapture.settings import CellSettings

MOST_INWARD = 0.97
"""Share of an edge's places that count for how far it runs inside its straight line: a nick does not."""


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
    shape = max(round(length / cell_mm), 8), max(round(width / cell_mm), 8)
    cells = _resized(paper, *shape)
    holes = _holes(cells, _tint_of(image), length / len(cells), settings)
    if holes.any():
        paper = _mended(paper, holes)
        cells = _resized(paper, *shape)
    planes = np.empty((3, *cells.shape[:2]), np.float32)
    cv2.split(cells, list(planes))
    return StripCells(
        outline=image.outline,
        cells=np.moveaxis(planes, 0, -1),
        strokes=_strokes(planes, _usual(cells), length / len(cells), settings) | holes,
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
    return max(*(float(quantile(edge, MOST_INWARD)) for edge in (left, right)), 0.0)


def _resized(values: Floats32, rows: int, cols: int) -> Floats32:
    """Means over areas; never finer than the picture is."""
    rows, cols = min(rows, values.shape[0]), min(cols, values.shape[1])
    return np.asarray(cv2.resize(values, (cols, rows), interpolation=cv2.INTER_AREA), np.float32)


def _strokes(planes: Floats32, paper: Floats32, cell_mm: float, settings: CellSettings) -> np.ndarray:
    """(rows, cols) cells under pencil strokes: darker than anything a square of a millimetre can hold, grey in all channels.

    A spot loses little where thin things are taken away (a grey opening of its darkness); a stroke loses nearly all.
    planes: (3, rows, cols) log10 intensity; paper: (3,) that of most of the strip.
    """
    size = max(round(settings.stroke_mm / cell_mm), 2)
    red, green, blue = planes - paper[:, None, None]
    palest = cv2.max(cv2.max(red, green), blue)
    dark = np.asarray(cv2.GaussianBlur(-palest, (0, 0), settings.stroke_smooth_mm / cell_mm), np.float32)
    thin = dark - np.asarray(cv2.morphologyEx(dark, cv2.MORPH_OPEN, np.ones((size, size), np.uint8)), np.float32)
    some = thin[::3, ::3]
    usual, grain = float(median(some)), float(spread(some))
    height = dark - float(median(dark[::3, ::3]))
    floor = max(settings.stroke_least, usual + settings.stroke_sd * grain)
    share = height * np.float32(settings.stroke_share)
    strokes = (thin > np.maximum(share, floor)).astype(np.uint8)
    reach = round(settings.stroke_mm / cell_mm)
    around = np.ones((2 * reach + 1, 2 * reach + 1), np.uint8)
    for box, filled in _coloured_spots(
        share > floor, thin < share, height, (red, green, blue), reach, cell_mm, settings
    ):
        # What is as thin as a stroke beside a spot's filled middle, but paler, is its steep or ragged rim.
        level = np.where(filled, (height - thin)[box], np.float32(-np.inf))
        strokes[box][height[box] < cv2.dilate(level, around)] = 0
    return cv2.dilate(strokes, np.ones((3, 3), np.uint8)).astype(bool)


def _coloured_spots(
    dark: np.ndarray,
    firm: np.ndarray,
    height: Floats32,
    planes: tuple[np.ndarray, ...],
    reach: int,
    cell_mm: float,
    settings: CellSettings,
) -> Iterator[tuple[tuple[slice, slice], np.ndarray]]:
    """(rows and columns with ``reach`` around, which cells in there are filled) of each coloured spot that shows in its palest channel, too.

    A spot is filled: squares of ``patch_mm`` fit in that keep their darkness where thin things are taken away, and cover much
    of it. Pencil is never coloured. dark: what may be pencil or spot; firm: where little of the darkness is thin; height:
    darkness above the paper's in the palest channel; planes: R, G, B above the paper's.
    """
    size = round(settings.patch_mm / cell_mm)
    patches = cv2.morphologyEx((dark & firm).astype(np.uint8), cv2.MORPH_OPEN, np.ones((size, size), np.uint8)) > 0
    if not patches.any():
        return
    _, pieces, stats, _ = cv2.connectedComponentsWithStats(dark.astype(np.uint8), connectivity=8)
    inside = pieces[patches]
    strongest = -np.minimum.reduce([plane[patches] for plane in planes])
    covered, palest, darkest = (
        np.bincount(inside, part, minlength=len(stats)) for part in (None, height[patches], strongest)
    )
    spots = (covered > settings.patch_share * stats[:, cv2.CC_STAT_AREA]) & (palest < settings.patch_grey * darkest)
    spots &= stats[:, [cv2.CC_STAT_WIDTH, cv2.CC_STAT_HEIGHT]].max(axis=1) * cell_mm <= settings.largest_mm
    for n in np.flatnonzero(spots):
        left, top, width, tall = stats[n, :4].tolist()
        box = np.s_[max(top - reach, 0) : top + tall + reach, max(left - reach, 0) : left + width + reach]
        yield box, patches[box] & (pieces[box] == n)


def _tint_of(image: StripImage) -> Floats:
    """(3,) log10 of the card's tint, as it shows along both sides of the strip: the middle half of the margin, clear of blur."""
    rim = round(image.margin_mm * image.px_per_mm)
    part = slice(rim // 4, rim - rim // 4)
    sides = np.concatenate([image.logs[::8, part], image.logs[::8, ::-1][:, part]], axis=1)
    return np.asarray(median(sides.reshape(-1, 3), axis=0), float)


def _usual(cells: Floats32) -> Floats32:
    """(3,) the level of most of the strip: its paper's."""
    return np.asarray(median(cells[::5, ::5].reshape(-1, 3), axis=0), np.float32)


def _mended(paper: Floats32, holes: np.ndarray) -> Floats32:
    """The picture with what is seen through holes replaced by the same rows' paper beside them."""
    rows, cols = paper.shape[:2]
    full = cv2.resize(holes.astype(np.uint8), (cols, rows), interpolation=cv2.INTER_NEAREST) > 0
    mended = paper.copy()
    for row in np.flatnonzero(full.any(axis=1) & ~full.all(axis=1)):
        mended[row, full[row]] = np.median(paper[row, ~full[row]], axis=0)
    return mended


def _holes(cells: Floats32, tint: Floats, cell_mm: float, settings: CellSettings) -> np.ndarray:
    """(rows, cols) cells in punched holes: discs as dark as the card's tint, in all channels, with a flat bottom and a sharp rim.

    Of a Gaussian spot a fifth of what is darker than a quarter of its depth is darker than three quarters; of a disc nearly all.
    """
    holes = np.zeros(cells.shape[:2], bool)
    like = cv2.inRange(cells, tint - settings.hole_like, tint + settings.hole_like)
    least, most = (np.pi / 4 * (mm / cell_mm) ** 2 for mm in settings.hole_mm)
    if cv2.countNonZero(like) < least:
        return holes
    # A pencil line or a spot's slope is like it, too, but too thin to hold a square of half of the smallest hole's sides, specks left out.
    within = max(round(settings.hole_mm[0] / 2 / cell_mm), 1)
    filled = cv2.morphologyEx(like, cv2.MORPH_CLOSE, np.ones((3, 3), np.uint8))
    if not cv2.countNonZero(cv2.erode(filled, np.ones((within, within), np.uint8))):
        return holes
    count, _, stats, _ = cv2.connectedComponentsWithStats(like, connectivity=4)
    depth = (_usual(cells) - tint).mean()
    if depth < settings.hole_like:
        return holes  # paper as dark as the tint, or a strip that is none: a hole could not be told
    reach = round(settings.hole_rim_mm / cell_mm)
    for left, top, width, height, area in stats[1:count].tolist():
        if not least < area < most or max(width, height) > settings.hole_round * min(width, height):
            continue
        box = np.s_[max(top - reach, 0) : top + height + reach, max(left - reach, 0) : left + width + reach]
        fallen = (cells[box].mean(axis=2) - tint.mean()) / depth  # 0 at the tint's level, 1 at the paper's
        bottom = fallen[fallen < 0.25]
        # A spot as black as ink is darker than the tint: only its slopes are like it.
        flat = len(bottom) > settings.hole_flat * (fallen < 0.75).sum() and median(bottom) > -settings.hole_deep
        if flat:
            holes[box] |= fallen < settings.hole_edge
    return np.asarray(cv2.dilate(holes.astype(np.uint8), np.ones((3, 3), np.uint8)), bool) if holes.any() else holes
