"""What is printed on a card, as one list of shapes in millimetres; PDF and PNG are both painted from it.

Nothing light is ever drawn on the panel's tint: to the detector, light on the tint means paper.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from webcapture.card.layout import BLACK, TAG_MODULES, TINT, WHITE, CardLayout, Cell, Rect, Tag

LINE_MM = 0.25
"""Width of the bays' outlines: a laser printer's thinnest line that is solid everywhere."""


@dataclass(frozen=True, slots=True)
class Tiles:
    """Rectangles that do not overlap one another, painted on a ground of one even level (sRGB, 0 to 255)."""

    cells: tuple[Cell, ...]
    ground: int


Shape = Tiles


def card_shapes(card: CardLayout) -> tuple[Shape, ...]:
    """Everything printed on the card, in the order of painting."""
    return (*_calibration(card), *_panel(card))


def _calibration(card: CardLayout) -> Iterator[Shape]:
    """What the detector relies on outside the panel: the frame's cells and the tags."""
    yield Tiles(card.cells, WHITE)
    yield Tiles(tuple(cell for tag in card.tags for cell in _modules(tag)), WHITE)


def _modules(tag: Tag) -> Iterator[Cell]:
    """The tag's black modules, neighbours in a row joined into one rectangle."""
    module = tag.rect.width / TAG_MODULES
    for row in range(TAG_MODULES):
        black = [_is_black(tag.word, row, column) for column in range(TAG_MODULES)]
        for start, stop in _runs(black):
            x, y = tag.rect.x + start * module, tag.rect.y + row * module
            yield Cell(Rect(x, y, (stop - start) * module, module), BLACK)


def _is_black(word: int, row: int, column: int) -> bool:
    """Whether a module is black: the border always, a data module where its bit is 0 (row by row, highest bit first)."""
    inner = TAG_MODULES - 2
    if not (1 <= row <= inner and 1 <= column <= inner):
        return True
    place = (row - 1) * inner + column - 1
    return not word >> (inner * inner - 1 - place) & 1


def _runs(marks: list[bool]) -> Iterator[tuple[int, int]]:
    """(start, stop) of each run of true values."""
    start = None
    for i, mark in enumerate([*marks, False]):
        if mark and start is None:
            start = i
        elif not mark and start is not None:
            yield start, i
            start = None


def _panel(card: CardLayout) -> Iterator[Shape]:
    """The tinted panel and the bays' outlines on it."""
    yield Tiles((Cell(card.panel, TINT),), WHITE)
    yield Tiles(tuple(Cell(side, BLACK) for bay in card.bays for side in _outline(bay.rect)), TINT)


def _outline(bay: Rect) -> Iterator[Rect]:
    """Four bars just outside the bay, so that its inside keeps its full size."""
    x, y, right, bottom = bay.x - LINE_MM, bay.y - LINE_MM, bay.right, bay.bottom
    yield Rect(x, y, bay.width + 2 * LINE_MM, LINE_MM)
    yield Rect(x, bottom, bay.width + 2 * LINE_MM, LINE_MM)
    yield Rect(x, bay.y, LINE_MM, bay.height)
    yield Rect(right, bay.y, LINE_MM, bay.height)
