"""The printed card in millimetres: one geometry that printing, detection, tests and pictures all use.

A card is, from the outside in: a white margin; a frame two cells wide of 5 mm chequers, whose saddles carry the geometry,
interrupted by tags (which card is it, which way up) and by patches of neutral grey; a white ring; and a tinted panel that
holds the bays. The panel's tint reaches beyond each bay, so that a strip touching its bay's edge still lies on tint.

All positions are millimetres from the page's top-left corner, x to the right, y down.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

from webcapture.errors import UsageError

VERSION = 1
LAYOUTS = ("sheet", "tray")
PAPERS_MM = {"a4": (210.0, 297.0), "letter": (215.9, 279.4)}

CELL_MM = 5.0
FRAME_CELLS = 2
TAG_MM = 10.0
TAG_MODULES = 8
"""Modules along a tag's side, its black border included; each is TAG_MM / TAG_MODULES wide."""
TAGS_PER_CARD = 12
LEAST_MARGIN_MM = 7.5
"""White around the frame: most printers leave 4 to 6 mm unprinted, and scissors slip."""
RING_MM = 3.0
HEADER_MM = 13.0
FOOTER_MM = 13.0
RULER_MM = 100.0

BLACK, WHITE = 0, 255
TINT = 140
"""sRGB level of the panel, 26 % linear: white paper stands out from it even in a shadow of 50 %."""
PATCHES = (215, 95, 40, 165)
"""sRGB levels of a patch block's four cells, row by row."""

# The first 48 words of the tag family 36h11 (6 × 6 bits, row by row, most significant bit top left, 1 = white), as
# distributed with OpenCV; a test compares them with the library's own table. Standing here, they let a card be printed
# without loading OpenCV.
TAG_WORDS = (
    0x21a146bab, 0x92d18fe9b, 0x7089014bb, 0x193979e27, 0x44153d3d7, 0x35cd5b8cf, 0xa10ba56a0, 0x2b874a608,
    0xb57fb8d44, 0x4e20b5a64, 0x61d897f2c, 0xab3469ffc, 0x594ca45c2, 0xfa1c2d2e2, 0x97c24b972, 0x75928624a,
    0x1caafe99a, 0x3236ddc16, 0x884e527d6, 0x5771a8c7e, 0xf52925b81, 0x2e59cc1a1, 0x7fa58ab31, 0xeb43384f9,
    0x3913d5345, 0xd79b1a3b5, 0x0dfbe768d, 0x5cd7a031d, 0xb9c8f7a4b, 0x46987e06b, 0x6e0c5d527, 0x5bc567bb4,
    0x1e6302bc2, 0x8ac7d046a, 0xa65fe2326, 0x5400eb616, 0xf7a066836, 0x2dd0afdf6, 0x3b9cb60b1, 0xad6a1caf9,
    0x93b62efb5, 0xbb210d93d, 0xdee55094b, 0xa0cd1479b, 0x2a23abb27, 0x4f67f4b5f, 0x58a815818, 0x743427d64,
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Rect:
    """An axis-parallel rectangle, millimetres."""

    x: float
    y: float
    width: float
    height: float

    @property
    def right(self) -> float:
        return self.x + self.width

    @property
    def bottom(self) -> float:
        return self.y + self.height

    @property
    def centre(self) -> tuple[float, float]:
        return self.x + self.width / 2, self.y + self.height / 2


@dataclass(frozen=True, slots=True)
class Cell:
    """A square of the frame and its sRGB level, 0 black to 255 white."""

    rect: Rect
    level: int


@dataclass(frozen=True, slots=True)
class Tag:
    """A tag: ``word`` are its 36 data bits; ``rect`` includes its black border."""

    id: int
    rect: Rect
    word: int


@dataclass(frozen=True, slots=True)
class Bay:
    """A place for one strip, or for one wide sheet with several lanes."""

    bay: int
    rect: Rect


@dataclass(frozen=True, slots=True)
class CardLayout:
    """Everything printed on one card that detection relies on."""

    layout: str
    paper: str
    version: int
    page_mm: tuple[float, float]
    frame: Rect
    panel: Rect
    header: Rect
    footer: Rect
    ruler: Rect
    bays: tuple[Bay, ...]
    tags: tuple[Tag, ...]
    cells: tuple[Cell, ...]
    """Black and grey cells of the frame; what is not listed is white."""
    saddles: tuple[tuple[float, float], ...]
    """Places where two black and two white cells meet."""
    whites: tuple[tuple[float, float], ...]
    """Middles of unprinted places at least 3 mm across, all around the panel."""


def card_layout(layout: str = "sheet", paper: str = "a4") -> CardLayout:
    """The card of that ``layout`` and ``paper``; raises UsageError for names that do not exist."""
    if layout not in LAYOUTS:
        raise UsageError(f"There is no card layout “{layout}”.", f"Choose one of: {', '.join(LAYOUTS)}.")
    if paper not in PAPERS_MM:
        raise UsageError(f"There is no paper size “{paper}”.", f"Choose one of: {', '.join(PAPERS_MM)}.")
    return _build(layout, paper)


def layout_of_tag(tag_id: int) -> tuple[str, str] | None:
    """(layout, paper) of the card that carries this tag, or None for a tag of no card."""
    combos = [(layout, paper) for layout in LAYOUTS for paper in PAPERS_MM]
    index = tag_id // TAGS_PER_CARD
    return combos[index] if 0 <= index < len(combos) else None


def geometry(card: CardLayout) -> dict[str, object]:
    """What other programs need to know of the card, as plain JSON types."""
    return {
        "layout": card.layout,
        "paper": card.paper,
        "version": card.version,
        "page_mm": list(card.page_mm),
        "bays": [
            {"bay": b.bay, "x_mm": b.rect.x, "y_mm": b.rect.y, "width_mm": b.rect.width, "height_mm": b.rect.height}
            for b in card.bays
        ],
    }


@lru_cache(maxsize=8)
def _build(layout: str, paper: str) -> CardLayout:
    page = PAPERS_MM[paper]
    nx, ny = (int((side - 2 * LEAST_MARGIN_MM) // CELL_MM) for side in page)
    frame = Rect((page[0] - nx * CELL_MM) / 2, (page[1] - ny * CELL_MM) / 2, nx * CELL_MM, ny * CELL_MM)
    inset = FRAME_CELLS * CELL_MM + RING_MM
    inner = Rect(frame.x + inset, frame.y + inset, frame.width - 2 * inset, frame.height - 2 * inset)
    panel = Rect(inner.x, inner.y + HEADER_MM, inner.width, inner.height - HEADER_MM - FOOTER_MM)
    tag_blocks, patch_blocks = _blocks(nx, ny)
    levels = _frame_levels(nx, ny, tag_blocks, patch_blocks)
    return CardLayout(
        layout=layout,
        paper=paper,
        version=VERSION,
        page_mm=page,
        frame=frame,
        panel=panel,
        header=Rect(inner.x, inner.y, inner.width, HEADER_MM - 1.0),
        footer=Rect(inner.x, panel.bottom + 1.0, inner.width, FOOTER_MM - 1.0),
        ruler=Rect(inner.x, panel.bottom + 4.0, RULER_MM, 5.0),
        bays=_bays(layout, panel),
        tags=_tags(layout, paper, frame, tag_blocks),
        cells=_cells(frame, levels),
        saddles=_saddles(frame, levels),
        whites=_whites(frame, panel, levels),
    )


def _blocks(nx: int, ny: int) -> tuple[list[tuple[int, int, int, int]], list[tuple[int, int, int, int]]]:
    """Cell blocks (i, j, columns, rows) taken from the chequers by tags and by patches: top, bottom, left, right."""
    along = {"tag": (4, (0.15, 0.5, 0.85), (0.18, 0.5, 0.82)), "patch": (2, (0.33, 0.67), (0.34, 0.66))}
    found: dict[str, list[tuple[int, int, int, int]]] = {}
    for what, (length, across, down) in along.items():
        starts_x = [round(f * nx - length / 2) for f in across]
        starts_y = [round(f * ny - length / 2) for f in down]
        found[what] = [
            *((i, j, length, FRAME_CELLS) for j in (0, ny - FRAME_CELLS) for i in starts_x),
            *((i, j, FRAME_CELLS, length) for i in (0, nx - FRAME_CELLS) for j in starts_y),
        ]
    return found["tag"], found["patch"]


def _frame_levels(
    nx: int, ny: int, tag_blocks: list[tuple[int, int, int, int]], patch_blocks: list[tuple[int, int, int, int]]
) -> dict[tuple[int, int], tuple[str, int]]:
    """What each frame cell (i, j) is: ("chequer" | "patch", level); cells under tags are left out."""
    edge = FRAME_CELLS
    levels = {
        (i, j): ("chequer", BLACK if (i + j) % 2 == 0 else WHITE)
        for j in range(ny)
        for i in range(nx)
        if i < edge or j < edge or i >= nx - edge or j >= ny - edge
    }
    for i0, j0, columns, rows in patch_blocks:
        for n, (i, j) in enumerate((i, j) for j in range(j0, j0 + rows) for i in range(i0, i0 + columns)):
            levels[i, j] = ("patch", PATCHES[n])
    for i0, j0, columns, rows in tag_blocks:
        for i in range(i0, i0 + columns):
            for j in range(j0, j0 + rows):
                del levels[i, j]
    return levels


def _tags(layout: str, paper: str, frame: Rect, blocks: list[tuple[int, int, int, int]]) -> tuple[Tag, ...]:
    first = (LAYOUTS.index(layout) * len(PAPERS_MM) + list(PAPERS_MM).index(paper)) * TAGS_PER_CARD
    tags = []
    for n, (i, j, columns, rows) in enumerate(blocks):
        x = frame.x + (i + columns / 2) * CELL_MM - TAG_MM / 2
        y = frame.y + (j + rows / 2) * CELL_MM - TAG_MM / 2
        tags.append(Tag(first + n, Rect(x, y, TAG_MM, TAG_MM), TAG_WORDS[first + n]))
    return tuple(tags)


def _cells(frame: Rect, levels: dict[tuple[int, int], tuple[str, int]]) -> tuple[Cell, ...]:
    return tuple(
        Cell(Rect(frame.x + i * CELL_MM, frame.y + j * CELL_MM, CELL_MM, CELL_MM), level)
        for (i, j), (_, level) in levels.items()
        if level != WHITE
    )


def _saddles(frame: Rect, levels: dict[tuple[int, int], tuple[str, int]]) -> tuple[tuple[float, float], ...]:
    """Grid points whose four cells are all chequers."""
    chequers = {cell for cell, (kind, _) in levels.items() if kind == "chequer"}
    return tuple(
        (frame.x + i * CELL_MM, frame.y + j * CELL_MM)
        for i, j in sorted(chequers)
        if {(i - 1, j - 1), (i, j - 1), (i - 1, j)} <= chequers
    )


def _whites(
    frame: Rect, panel: Rect, levels: dict[tuple[int, int], tuple[str, int]]
) -> tuple[tuple[float, float], ...]:
    """Middles of the white chequers, and of the ring between frame and panel at every cell."""
    middles = [
        (frame.x + (i + 0.5) * CELL_MM, frame.y + (j + 0.5) * CELL_MM)
        for (i, j), (_, level) in sorted(levels.items())
        if level == WHITE
    ]
    steps = int(panel.height // CELL_MM)
    ring = [
        (x, panel.y + (n + 0.5) * CELL_MM)
        for x in (panel.x - RING_MM / 2, panel.right + RING_MM / 2)
        for n in range(steps)
    ]
    return tuple(middles + ring)


def _bays(layout: str, panel: Rect) -> tuple[Bay, ...]:
    """The sheet's one bay, or the tray's six, in the middle of the panel."""
    count, width, pitch = (1, 150.0, 150.0) if layout == "sheet" else (6, 24.0, 28.0)
    top_margin = 4.0
    left = panel.x + (panel.width - (count - 1) * pitch - width) / 2
    return tuple(
        Bay(n + 1, Rect(left + n * pitch, panel.y + top_margin, width, panel.height - 2 * top_margin))
        for n in range(count)
    )
