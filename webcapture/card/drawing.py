"""What is printed on a card, as one list of shapes in millimetres; PDF and PNG are both painted from it.

Nothing light is ever drawn on the panel's tint: to the detector, light on the tint means paper.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from webcapture.card.layout import BLACK, TAG_MODULES, TINT, WHITE, Bay, CardLayout, Cell, Rect, Tag

LINE_MM = 0.25
"""Width of the bays' outlines: thin, yet solid on an ordinary office printer (common practice, no source)."""
TICK_MM = 0.15
"""Width of a scale's tick: a sixth of the space between two."""
POINT_MM = 25.4 / 72
"""One typographic point."""

INSTRUCTIONS = (
    "Print at 100 % (“actual size”). The ruler at the foot must measure 100 mm.",
    "Lay dry strips flat inside a bay, the origin end towards the arrow.",
    "Photograph the whole chequered frame from above, in even light.",
)
CAUTION = (
    "Caution: solvents may burn, harm or corrode.",
    "Dry strips in a ventilated place, away from flames,",
    "before laying them on this card. Follow your local rules",
    "and the instructions of the responsible person.",
)


@dataclass(frozen=True, slots=True)
class Tiles:
    """Rectangles that do not overlap one another, painted on a ground of one even level (sRGB, 0 to 255)."""

    cells: tuple[Cell, ...]
    ground: int


@dataclass(frozen=True, slots=True)
class Polygon:
    """A filled polygon, its corners in millimetres."""

    points: tuple[tuple[float, float], ...]
    level: int


@dataclass(frozen=True, slots=True)
class Text:
    """One line of black text; ``x`` is where ``anchor`` says, ``y`` the baseline."""

    x: float
    y: float
    text: str
    size_pt: float
    bold: bool = False
    anchor: str = "left"
    """``left``, ``middle`` or ``right``."""


Shape = Tiles | Polygon | Text


def card_shapes(card: CardLayout) -> tuple[Shape, ...]:
    """Everything printed on the card, in the order of painting."""
    return (*_calibration(card), *_panel(card), *_header(card), *_ruler(card), *_caution(card))


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
    """The tinted panel, and on it the bays with numbers, arrows and millimetres."""
    yield Tiles((Cell(card.panel, TINT),), WHITE)
    yield _ink((side for bay in card.bays for side in _outline(bay.rect)), TINT)
    yield _ink(_panel_ticks(card), TINT)
    for bay in card.bays:
        yield Text(bay.rect.centre[0], bay.rect.y - 1.1, str(bay.bay), 8.0, bold=True, anchor="middle")
        yield from _origin_mark(bay)
    if card.layout == "sheet":
        yield from _panel_numbers(card.bays[0].rect)


def _ink(rects: Iterator[Rect], ground: int) -> Tiles:
    return Tiles(tuple(Cell(rect, BLACK) for rect in rects), ground)


def _outline(bay: Rect) -> Iterator[Rect]:
    """Four bars just outside the bay, so that its inside keeps its full size."""
    x, y = bay.x - LINE_MM, bay.y - LINE_MM
    yield Rect(x, y, bay.width + 2 * LINE_MM, LINE_MM)
    yield Rect(x, bay.bottom, bay.width + 2 * LINE_MM, LINE_MM)
    yield Rect(x, bay.y, LINE_MM, bay.height)
    yield Rect(bay.right, bay.y, LINE_MM, bay.height)


def _origin_mark(bay: Bay) -> Iterator[Shape]:
    """A triangle below the bay pointing to its origin end, with the words beside it."""
    x, y = bay.rect.centre[0] - 6.2, bay.rect.bottom + 1.0
    yield Polygon(((x - 1.3, y), (x + 1.3, y), (x, y + 2.2)), BLACK)
    yield Text(x + 2.2, y + 1.9, "origin end", 6.0)


def _panel_ticks(card: CardLayout) -> Iterator[Rect]:
    """Millimetres up both outer sides of the bays, from their origin end; on a tray every ten between the bays as well."""
    left, right = card.bays[0].rect, card.bays[-1].rect
    sizes = (1.2, 1.9, 2.6) if card.layout == "sheet" else (0.7, 1.1, 1.6)
    for mm in range(int(left.height) + 1):
        y, length = left.bottom - mm - TICK_MM / 2, _tick_length(mm, sizes)
        yield Rect(left.x - LINE_MM - length, y, length, TICK_MM)
        yield Rect(right.right + LINE_MM, y, length, TICK_MM)
    for before, after in zip(card.bays, card.bays[1:], strict=False):
        for mm in range(0, int(left.height) + 1, 10):
            y = left.bottom - mm - TICK_MM / 2
            yield Rect(before.rect.right + LINE_MM, y, 0.8, TICK_MM)
            yield Rect(after.rect.x - LINE_MM - 0.8, y, 0.8, TICK_MM)


def _tick_length(mm: int, sizes: tuple[float, float, float]) -> float:
    """Length of the tick at a whole millimetre: one, five, ten."""
    return sizes[2] if mm % 10 == 0 else sizes[1] if mm % 5 == 0 else sizes[0]


def _panel_numbers(bay: Rect) -> Iterator[Text]:
    for mm in range(0, int(bay.height) + 1, 10):
        y = bay.bottom - mm + _mid_height(5.5)
        yield Text(bay.x - 3.5, y, str(mm), 5.5, anchor="right")
        yield Text(bay.right + 3.5, y, str(mm), 5.5)


def _mid_height(size_pt: float) -> float:
    """From a baseline up to the middle of a figure, millimetres (figures are 0.73 of the size tall in this typeface)."""
    return size_pt * POINT_MM * 0.73 / 2


def _header(card: CardLayout) -> Iterator[Shape]:
    """Which card this is, a rule, and what to do."""
    x, y = card.header.x, card.header.y
    yield Text(x, y + 4.6, "Calibration card", 11.0, bold=True)
    yield Text(x, y + 9.6, f"webcapture · {card.layout} · {_paper_name(card.paper)} · version {card.version}", 7.0)
    yield Tiles((Cell(Rect(x + 53.0, y + 1.0, LINE_MM, 9.3), BLACK),), WHITE)
    for n, line in enumerate(INSTRUCTIONS):
        baseline = y + 2.9 + n * 3.7
        yield Text(x + 56.5, baseline, str(n + 1), 7.4, bold=True)
        yield Text(x + 60.0, baseline, line, 7.4)


def _paper_name(paper: str) -> str:
    return paper.upper() if len(paper) == 2 else paper.capitalize()


def _ruler(card: CardLayout) -> Iterator[Shape]:
    """A ruler of 100 mm; the middles of its first and last ticks are its ends."""
    ruler, sizes = card.ruler, (1.5, 2.1, 2.8)
    yield Text(ruler.x - TICK_MM / 2, ruler.y - 0.9, "check: 100 mm", 6.0, bold=True)
    ticks = [Rect(ruler.x + mm - TICK_MM / 2, ruler.y, TICK_MM, _tick_length(mm, sizes)) for mm in range(101)]
    yield Tiles((Cell(Rect(ruler.x - TICK_MM / 2, ruler.y - LINE_MM, ruler.width + TICK_MM, LINE_MM), BLACK),), WHITE)
    yield _ink(iter(ticks), WHITE)
    for mm in range(0, 101, 10):
        yield Text(ruler.x + mm, ruler.y + 5.2, str(mm), 5.5, anchor="middle")


def _caution(card: CardLayout) -> Iterator[Shape]:
    x = card.ruler.right + 7.5
    yield Tiles((Cell(Rect(x - 3.0, card.footer.y + 0.4, LINE_MM, 10.6), BLACK),), WHITE)
    for n, line in enumerate(CAUTION):
        yield Text(x, card.footer.y + 2.2 + n * 2.85, line, 6.0, bold=n == 0)
