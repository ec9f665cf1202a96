"""Pencil on paper: lines, marks and letters, as absorbance."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from webcapture.model import Bytes8, Floats, Floats32
from webcapture.synthetic.paper import cloud
from webcapture.synthetic.scene import Curve, Writing

# Letters as strokes on a grid 4 wide and 6 high, y up: "x y" pairs, strokes parted by commas.
_GLYPHS = {
    "A": "00 26 40,12 32", "B": "00 06 26 35 34 23 03,23 41 30 00", "C": "45 36 16 05 01 10 30 41",
    "D": "00 06 26 44 42 20 00", "E": "46 06 00 40,03 33", "F": "46 06 00,03 33", "G": "45 36 16 05 01 10 30 42 22",
    "H": "00 06,40 46,03 43", "I": "20 26", "K": "00 06,46 03 40", "L": "06 00 40", "M": "00 06 23 46 40",
    "N": "00 06 40 46", "O": "10 01 05 16 36 45 41 30 10", "P": "00 06 36 45 44 33 03", "R": "00 06 36 45 44 33 03,23 40",
    "S": "45 36 16 05 04 42 41 30 10 01", "T": "06 46,26 20", "U": "06 01 10 30 41 46", "V": "06 20 46",
    "W": "06 10 23 30 46", "X": "00 46,06 40", "Y": "06 23 46,23 20", "Z": "06 46 00 40",
    "a": "43 24 13 01 10 30 44,44 41 40", "b": "06 00 30 41 43 34 03", "d": "46 40 10 01 03 14 43", "e": "02 42 43 34 14 03 01 10 41",
    "g": "44 14 03 02 11 41,44 31 20 00", "l": "26 20", "n": "04 00,03 24 43 40", "o": "10 01 03 14 34 43 41 30 10",
    "c": "43 34 14 03 01 10 30 41", "f": "46 36 25 20,03 43", "h": "00 06,02 24 34 43 40", "i": "24 20,26 25",
    "k": "00 06,34 02 30", "m": "04 00,03 14 23 20,23 34 43 40", "p": "04 00,03 14 34 43 42 31 02", "s": "43 34 14 03 42 31 11 02",
    "v": "04 20 44", "x": "04 40,00 44", "J": "46 41 30 10 01", "Q": "10 01 05 16 36 45 41 30 10,22 40", "+": "03 43,25 21",
    "r": "04 00,02 24 34", "t": "26 21 30,14 34", "u": "04 01 10 30 41,44 40", "w": "04 10 22 30 44", "y": "04 22,44 00",
    "0": "10 01 05 16 36 45 41 30 10", "1": "05 26 20", "2": "05 16 36 45 44 00 40", "3": "05 16 36 45 34 23,23 41 30 10 01",
    "4": "30 36 02 42", "5": "46 06 03 33 42 41 30 00", "6": "36 14 01 10 30 41 42 33 03", "7": "06 46 10",
    "8": "23 05 16 36 45 23 01 10 30 41 23", "9": "42 13 04 15 36 45 42 20", ".": "10 11", "-": "03 43", "/": "00 46", " ": "",
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Grid:
    """A picture of a strip: pixel (row, col) is at s = (row + 0.5) / px_per_mm − margin_mm, and t likewise."""

    width_mm: float
    length_mm: float
    px_per_mm: float
    margin_mm: float

    @property
    def shape(self) -> tuple[int, int]:
        """(rows, columns)."""
        border = 2 * self.margin_mm
        return round((self.length_mm + border) * self.px_per_mm), round((self.width_mm + border) * self.px_per_mm)

    @property
    def s_mm(self) -> Floats:
        """(rows, 1)."""
        return np.asarray((np.arange(self.shape[0]) + 0.5) / self.px_per_mm - self.margin_mm)[:, None]

    @property
    def t_mm(self) -> Floats:
        """(1, columns)."""
        return np.asarray((np.arange(self.shape[1]) + 0.5) / self.px_per_mm - self.margin_mm)[None, :]

    def rows(self, low_mm: float, high_mm: float) -> slice:
        """The rows between two places along the strip."""
        low, high = ((v + self.margin_mm) * self.px_per_mm for v in (low_mm, high_mm))
        return slice(int(np.clip(low, 0, self.shape[0])), int(np.clip(high + 1, 0, self.shape[0])))

    def columns(self, low_mm: float, high_mm: float) -> slice:
        """The columns between two places across the strip."""
        low, high = ((v + self.margin_mm) * self.px_per_mm for v in (low_mm, high_mm))
        return slice(int(np.clip(low, 0, self.shape[1])), int(np.clip(high + 1, 0, self.shape[1])))

    def pixels(self, s_mm: Floats, t_mm: Floats) -> Floats:
        """(n, 2) columns and rows of places on the strip, centres of pixels at whole numbers."""
        col = (np.asarray(t_mm) + self.margin_mm) * self.px_per_mm - 0.5
        row = (np.asarray(s_mm) + self.margin_mm) * self.px_per_mm - 0.5
        return np.column_stack([col, row])


def rub(rng: np.random.Generator, shape: tuple[int, int], px_per_mm: float) -> Floats32:
    """How well graphite takes to the paper's grain, 0 to about 1.4, about 1 on average."""
    grain = 0.75 * cloud(rng, shape, max(1.0, 0.12 * px_per_mm)) + 0.5 * cloud(rng, shape, 0.5 * px_per_mm)
    pressure = cloud(rng, shape, 6.0 * px_per_mm)
    return np.clip(1 + 0.38 * grain + 0.12 * pressure, 0.05, 1.7)


def rule(
    sheet: Floats32, grid: Grid, curve: Curve, thickness_mm: float, absorbance: float,
    spans_mm: tuple[tuple[float, float], ...], rng: np.random.Generator,
) -> None:  # fmt: skip
    """Add a line along ``curve`` to the absorbances of ``sheet``, over all of the width or the spans given."""
    t = grid.t_mm
    path = curve.at(t)
    rows = grid.rows(float(path.min()) - 2 * thickness_mm, float(path.max()) + 2 * thickness_mm)
    away = np.abs(grid.s_mm[rows] - path) / thickness_mm
    body = np.clip(1.25 - 1.5 * away, 0.0, 1.0).astype(np.float32)
    if spans_mm:
        inside = [np.clip(np.minimum(t - low, high - t) / 0.3 + 0.5, 0, 1) for low, high in spans_mm]
        body *= np.max(inside, axis=0).astype(np.float32)
    sheet[rows] += absorbance * body * rub(rng, body.shape, grid.px_per_mm)


def strokes(
    sheet: Floats32, grid: Grid, lines: list[Floats], thickness_mm: float, absorbance: float, rng: np.random.Generator
) -> None:
    """Add polylines, each (n, 2) of (s, t) millimetres, to the absorbances of ``sheet``."""
    places = np.vstack(lines)
    edge = 2 * thickness_mm + 0.5
    rows = grid.rows(float(places[:, 0].min()) - edge, float(places[:, 0].max()) + edge)
    columns = grid.columns(float(places[:, 1].min()) - edge, float(places[:, 1].max()) + edge)
    shape = (rows.stop - rows.start, columns.stop - columns.start)
    if min(shape) < 2:
        return
    ink: Bytes8 = np.zeros(shape, np.uint8)
    for line in lines:
        px = grid.pixels(line[:, 0], line[:, 1]) - (columns.start, rows.start)
        points = np.rint(px * 16).astype(np.int32).reshape(-1, 1, 2)
        cv2.polylines(ink, [points], False, 255, max(1, round(thickness_mm * grid.px_per_mm)), cv2.LINE_AA, 4)
    body = cv2.GaussianBlur(ink.astype(np.float32) / 255, (0, 0), max(0.4, 0.05 * grid.px_per_mm))
    sheet[rows, columns] += absorbance * body * rub(rng, shape, grid.px_per_mm)


def letters(writing: Writing, rng: np.random.Generator) -> list[Floats]:
    """The strokes of a word in a hasty hand, as (n, 2) arrays of (s, t) millimetres."""
    unit = writing.size_mm / 6
    width = len(writing.text) * 5.2 * unit
    lines = []
    for n, letter in enumerate(writing.text):
        nudge = rng.normal(0, 0.25, 2)
        for stroke in filter(None, _GLYPHS.get(letter, _GLYPHS["X"]).split(",")):
            xy = np.array([[int(p[0]), int(p[1])] for p in stroke.split()], float) + nudge
            xy = _rounded(xy + rng.normal(0, 0.18, xy.shape))
            lines.append(np.column_stack([(xy[:, 1] - 3) * unit, xy[:, 0] * unit + n * 5.2 * unit - width / 2]))
    angle = np.radians(writing.turn_deg)
    turn = np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])
    return [line @ turn.T + (writing.s_mm, writing.t_mm) for line in lines]


def _rounded(points: Floats) -> Floats:
    """Corners cut twice (Chaikin), so that strokes look drawn by hand."""
    for _ in range(2):
        if len(points) < 3:
            return points
        near, far = 0.75 * points[:-1] + 0.25 * points[1:], 0.25 * points[:-1] + 0.75 * points[1:]
        points = np.vstack([points[:1], np.stack([near, far], axis=1).reshape(-1, 2), points[-1:]])
    return points
