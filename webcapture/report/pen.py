"""Letters, pills and badges on a picture, with Pillow. All sizes in pixels."""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache
from pathlib import Path

import reportlab
from PIL import Image, ImageDraw, ImageFont

Colour = tuple[int, int, int]
Written = tuple[Image.Image, int, int]
"""Words as a mask, and where its left and top lie from their anchor."""

INK: Colour = (26, 26, 26)
PAPER: Colour = (255, 255, 255)
WARNING: Colour = (240, 228, 66)
"""Yellow of the Okabe-Ito set; always inside a dark outline and with words."""
BADGE_LETTERS = 0.78
"""Size of a badge's letters, share of the base size."""
BADGE_GAP = 0.25
"""Between badges and below them, share of the base size."""


class Pen:
    """Writes on one picture with one base size of letters; without a picture it only measures."""

    def __init__(self, size: int, picture: Image.Image | None = None) -> None:
        self._draw = ImageDraw.Draw(Image.new("RGB", (1, 1)) if picture is None else picture)
        self.size = size

    def resized(self, size: int) -> Pen:
        """A pen for the same picture with another base size."""
        other = Pen(size)
        other._draw = self._draw
        return other

    def text(
        self, x: float, y: float, words: str, share: float = 1.0, bold: bool = False, anchor: str = "lm", halo: int = 0
    ) -> None:
        """Dark words at ``share`` of the base size; ``halo`` is the width of a white edge that sets them off a picture."""
        size = round(self.size * share)
        if halo:
            self._print(x, y, _written(words, size, bold, anchor, halo), PAPER)
        self._print(x, y, _written(words, size, bold, anchor), INK)

    def width(self, words: str, share: float = 1.0, bold: bool = False) -> float:
        """How wide the words become."""
        return _width(words, round(self.size * share), bold)

    def pill(self, x: float, y: float, words: str, share: float = 0.85) -> float:
        """Light words in a dark pill, its left end at ``x``, its middle at ``y``; returns the pill's width."""
        width, half = self.pill_width(words, share), 0.62 * self.size * share
        self._draw.rounded_rectangle((x, y - half, x + width, y + half), half, fill=INK, outline=PAPER, width=2)
        self._print(x + width / 2, y, _written(words, round(self.size * share * 0.9), True, "mm"), PAPER)
        return width

    def _print(self, x: float, y: float, written: Written, fill: Colour) -> None:
        shape, left, top = written
        self._draw.bitmap((round(x) + left, round(y) + top), shape, fill)

    def pill_width(self, words: str, share: float = 0.85) -> float:
        """How wide a pill with these words becomes; at least a disc."""
        return max(self.width(words, share * 0.9, bold=True) + 0.6 * self.size * share, 1.24 * self.size * share)

    def badges(self, x: float, y: float, most: float, words: Sequence[str]) -> None:
        """Warnings below ``y`` from ``x`` on, in rows no wider than ``most``: dark words on yellow in a dark frame."""
        for row in self._badge_rows(most, words):
            start = x
            for lines in row:
                self._badge(start, y, lines)
                start += self._badge_width(lines) + BADGE_GAP * self.size
            y += self._row_height(row)

    def badges_height(self, most: float, words: Sequence[str]) -> float:
        """The height that ``badges`` takes; 0 for none."""
        return sum(self._row_height(row) for row in self._badge_rows(most, words))

    def _badge(self, x: float, y: float, lines: list[str]) -> None:
        width, height = self._badge_width(lines), self._row_height([lines]) - BADGE_GAP * self.size
        self._draw.rectangle((x, y, x + width, y + height), fill=WARNING, outline=INK, width=2)
        for n, line in enumerate(lines):
            middle = y + (0.57 + 0.9 * n) * self.size
            self.text(x + width / 2, middle, line, BADGE_LETTERS, anchor="mm")

    def _badge_width(self, lines: list[str]) -> float:
        return max(self.width(line, BADGE_LETTERS) for line in lines) + 0.55 * self.size

    def _row_height(self, row: list[list[str]]) -> float:
        return (1.13 + 0.9 * (max(len(lines) for lines in row) - 1) + BADGE_GAP) * self.size

    def _badge_rows(self, most: float, words: Sequence[str]) -> list[list[list[str]]]:
        """The badges in rows, each badge as its lines."""
        rows: list[list[list[str]]] = []
        used = 0.0
        for badge in words:
            lines = self._folded(f"! {badge}", most)
            width = self._badge_width(lines) + BADGE_GAP * self.size
            if not rows or used + width > most + BADGE_GAP * self.size:
                rows.append([])
                used = 0.0
            rows[-1].append(lines)
            used += width
        return rows

    def _folded(self, words: str, most: float) -> list[str]:
        """The words in one line, or, where that is too wide, in as few as it takes."""
        lines: list[str] = []
        for word in words.split():
            longer = f"{lines[-1]} {word}" if lines else word
            if lines and lines[-1] != "!" and self._badge_width([longer]) > most:
                lines.append(word)
            else:
                lines[-1:] = [longer]
        return lines


@lru_cache(maxsize=64)
def _font(size: int, bold: bool) -> ImageFont.FreeTypeFont:
    file = Path(reportlab.__file__).parent / "fonts" / ("VeraBd.ttf" if bold else "Vera.ttf")
    return ImageFont.truetype(str(file), max(size, 6), layout_engine=ImageFont.Layout.BASIC)


@lru_cache(maxsize=512)
def _width(words: str, size: int, bold: bool) -> float:
    return float(_font(size, bold).getlength(words))


@lru_cache(maxsize=512)
def _written(words: str, size: int, bold: bool, anchor: str, halo: int = 0) -> Written:
    """Words, or with ``halo`` an edge of that width around them: a scale's figures and most labels come again and again."""
    font = _font(size, bold)
    left, top, right, bottom = (int(edge) for edge in font.getbbox(words, anchor=anchor, stroke_width=halo))
    mask = Image.new("L", (max(right - left, 1), max(bottom - top, 1)))
    ImageDraw.Draw(mask).text((-left, -top), words, fill=255, font=font, anchor=anchor, stroke_width=halo)
    return mask, left, top
