"""The card on paper: as a vector PDF in exact millimetres and as a PNG, both painted from the same shapes."""

from __future__ import annotations

import io
import json
from collections.abc import Callable, Iterable
from functools import lru_cache
from pathlib import Path

import numpy as np
import reportlab
from numpy.typing import NDArray
from PIL import Image, ImageDraw, ImageFont
from reportlab.lib import units
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont
from reportlab.pdfgen.canvas import Canvas

from webcapture.card.drawing import POINT_MM, Polygon, Shape, Text, Tiles, card_shapes
from webcapture.card.layout import BLACK, WHITE, CardLayout, Rect, geometry
from webcapture.errors import UsageError
from webcapture.model import Bytes8, Floats32

MM_PER_INCH = 25.4
POINTS_PER_MM = units.mm
DPI_RANGE = (25, 1200)
"""Coarser, a tag's modules are no longer whole pixels; finer, the page fills half a gigabyte."""
FINE = 6
"""Steps across one pixel when letters and polygons are drawn: their edges are true to a sixth of a pixel."""
TYPEFACES = {False: "Vera", True: "VeraBd"}
"""Regular and bold, the free typeface that comes with reportlab; the PDF embeds what it uses of them."""


def card_pdf(card: CardLayout) -> bytes:
    """The card as a PDF page of exactly its paper's size, everything on it vector, the typeface embedded."""
    file = io.BytesIO()
    canvas = card_canvas(file, card, f"Calibration card, {card.layout}, {card.paper}, version {card.version}")
    put_card(canvas, card)
    canvas.showPage()
    canvas.save()
    return file.getvalue()


def card_canvas(file: io.BytesIO, card: CardLayout, title: str) -> Canvas:
    """An empty PDF whose pages are exactly the card's paper."""
    _register_typefaces()
    width, height = card.page_mm
    canvas = Canvas(
        file,
        pagesize=(width * POINTS_PER_MM, height * POINTS_PER_MM),
        pageCompression=1,
        invariant=1,
        initialFontName=TYPEFACES[False],
    )
    canvas.setTitle(title)
    canvas.setCreator("webcapture")
    canvas.setViewerPreference("PrintScaling", "None")  # else many programs shrink the page to the printer's margins
    return canvas


def put_card(canvas: Canvas, card: CardLayout, more: Iterable[Text] = ()) -> None:
    """Draw the card on the canvas's page, and ``more`` text that must lie where the card has none."""
    for shape in (*card_shapes(card), *more):
        _put(canvas, shape, card.page_mm[1])


def put_text(canvas: Canvas, text: Text, page_height: float) -> None:
    """Draw a line of text, in millimetres from the page's top-left corner."""
    _put(canvas, text, page_height)


def card_png(card: CardLayout, dpi: int) -> bytes:
    """The card as a grey PNG covering exactly the page; raises UsageError for a dpi out of range."""
    file = io.BytesIO()
    Image.fromarray(card_png_array(card, dpi)).save(file, "PNG", dpi=(dpi, dpi))
    return file.getvalue()


def geometry_json(card: CardLayout) -> str:
    """The card's geometry as JSON text, millimetres to a thousandth."""
    return json.dumps(json.loads(json.dumps(geometry(card)), parse_float=lambda text: round(float(text), 3)), indent=1)


def card_png_array(card: CardLayout, dpi: int) -> Bytes8:
    """The printed page as grey levels (sRGB), shape (height, width), covering exactly the page.

    Pixel (row, col) covers the square from (col, row) to (col + 1, row + 1) in units of 25.4 / dpi millimetres. Its level is
    the mean over that square, so that an edge between pixels keeps its place. Raises UsageError for a dpi out of range.
    """
    if not DPI_RANGE[0] <= dpi <= DPI_RANGE[1]:
        raise UsageError(f"A card cannot be drawn at {dpi} dpi.", f"Choose {DPI_RANGE[0]} to {DPI_RANGE[1]} dpi.")
    _register_typefaces()
    width, height = (round(side / MM_PER_INCH * dpi) for side in card.page_mm)
    page = np.full((height, width), WHITE, np.float32)
    for shape in card_shapes(card):
        _paint(page, shape, dpi / MM_PER_INCH)
    return np.rint(page).astype(np.uint8)


def text_width_mm(text: Text) -> float:
    """How wide a line of text is printed, millimetres."""
    _register_typefaces()
    return float(pdfmetrics.stringWidth(text.text, TYPEFACES[text.bold], text.size_pt)) * POINT_MM


# --- typefaces


@lru_cache(maxsize=1)
def _register_typefaces() -> None:
    for name in TYPEFACES.values():
        pdfmetrics.registerFont(TTFont(name, str(_typeface_file(name))))


def _typeface_file(name: str) -> Path:
    return Path(reportlab.__file__).parent / "fonts" / f"{name}.ttf"


def _start_x(text: Text) -> float:
    """Where the line of text begins, millimetres."""
    share = {"left": 0.0, "middle": 0.5, "right": 1.0}[text.anchor]
    return text.x - share * text_width_mm(text)


# --- PDF


def _put(canvas: Canvas, shape: Shape, page_height: float) -> None:
    if isinstance(shape, Tiles):
        for level in dict.fromkeys(cell.level for cell in shape.cells):
            # One path for all of a level: drawn one by one, touching tiles show hairlines on many screens.
            rects = [cell.rect for cell in shape.cells if cell.level == level]
            outlines = [((r.x, r.y), (r.right, r.y), (r.right, r.bottom), (r.x, r.bottom)) for r in rects]
            _fill(canvas, outlines, level, page_height)
    elif isinstance(shape, Polygon):
        _fill(canvas, [shape.points], shape.level, page_height)
    else:
        canvas.setFillGray(0)
        canvas.setFont(TYPEFACES[shape.bold], shape.size_pt)
        canvas.drawString(_start_x(shape) * POINTS_PER_MM, (page_height - shape.y) * POINTS_PER_MM, shape.text)


def _fill(canvas: Canvas, outlines: Iterable[tuple[tuple[float, float], ...]], level: int, page_height: float) -> None:
    """Fills closed outlines (millimetres, y down) as one path."""
    path = canvas.beginPath()
    for outline in outlines:
        for n, (x, y) in enumerate(outline):
            step = path.moveTo if n == 0 else path.lineTo
            step(x * POINTS_PER_MM, (page_height - y) * POINTS_PER_MM)
        path.close()
    canvas.setFillGray(level / WHITE)
    canvas.drawPath(path, stroke=0, fill=1)


# --- pixels


def _paint(page: Floats32, shape: Shape, px_per_mm: float) -> None:
    if isinstance(shape, Tiles):
        _paint_tiles(page, shape, px_per_mm)
    elif isinstance(shape, Polygon):
        _paint_polygon(page, shape, px_per_mm)
    else:
        _paint_text(page, shape, px_per_mm)


def _paint_tiles(page: Floats32, tiles: Tiles, px_per_mm: float) -> None:
    """Adds each tile's difference to the ground by the share of each pixel it covers: exact where tiles touch."""
    for cell in tiles.cells:
        rows, columns, share = _coverage(cell.rect, px_per_mm, page.shape)
        page[rows, columns] += share * np.float32(cell.level - tiles.ground)


def _coverage(rect: Rect, px_per_mm: float, shape: tuple[int, ...]) -> tuple[slice, slice, Floats32]:
    """(rows, columns, share): the pixels a rectangle touches and the share of each that it covers."""
    rows, down = _coverage_1d(rect.y * px_per_mm, rect.bottom * px_per_mm, shape[0])
    columns, across = _coverage_1d(rect.x * px_per_mm, rect.right * px_per_mm, shape[1])
    return rows, columns, np.outer(down, across)


def _coverage_1d(start: float, stop: float, count: int) -> tuple[slice, NDArray[np.float32]]:
    """The pixels from ``start`` to ``stop`` and the share of each inside: (0.5, 2.25) gives pixels 0 to 2, 0.5, 1, 0.25."""
    first, last = max(int(start), 0), min(int(np.ceil(stop)), count)
    edges = np.arange(first, last + 1)
    inside = np.minimum(edges[1:], stop) - np.maximum(edges[:-1], start)
    return slice(first, last), inside.astype(np.float32)


def _paint_polygon(page: Floats32, polygon: Polygon, px_per_mm: float) -> None:
    xs, ys = zip(*polygon.points, strict=True)
    box = Rect(min(xs), min(ys), max(xs) - min(xs), max(ys) - min(ys))

    def draw(pen: ImageDraw.ImageDraw, scale: float, x0: float, y0: float) -> None:
        pen.polygon([((x - x0) * scale - 0.5, (y - y0) * scale - 0.5) for x, y in polygon.points], fill=255)

    _paint_drawn(page, box, polygon.level, px_per_mm, draw)


def _paint_text(page: Floats32, text: Text, px_per_mm: float) -> None:
    """Letter by letter at the PDF's own spacing, so that both agree."""
    size_mm = text.size_pt * POINT_MM
    start = _start_x(text)
    box = Rect(start - size_mm, text.y - size_mm, text_width_mm(text) + 2 * size_mm, 1.5 * size_mm)

    def draw(pen: ImageDraw.ImageDraw, scale: float, x0: float, y0: float) -> None:
        name = TYPEFACES[text.bold]
        font = ImageFont.truetype(str(_typeface_file(name)), size_mm * scale, layout_engine=ImageFont.Layout.BASIC)
        for n, letter in enumerate(text.text):
            x = start + pdfmetrics.stringWidth(text.text[:n], name, text.size_pt) * POINT_MM
            pen.text(((x - x0) * scale, (text.y - y0) * scale), letter, fill=255, font=font, anchor="ls")

    _paint_drawn(page, box, BLACK, px_per_mm, draw)


def _paint_drawn(
    page: Floats32,
    box: Rect,
    level: int,
    px_per_mm: float,
    draw: Callable[[ImageDraw.ImageDraw, float, float, float], None],
) -> None:
    """Paints what ``draw(pen, scale, x0, y0)`` draws: ``FINE`` times finer, then averaged over each pixel.

    The pen's picture begins at the page's (x0, y0) millimetres and has ``scale`` pixels a millimetre.
    """
    left, top = max(int(box.x * px_per_mm), 0), max(int(box.y * px_per_mm), 0)
    right = min(int(np.ceil(box.right * px_per_mm)), page.shape[1])
    bottom = min(int(np.ceil(box.bottom * px_per_mm)), page.shape[0])
    picture = Image.new("L", ((right - left) * FINE, (bottom - top) * FINE), 0)
    draw(ImageDraw.Draw(picture), px_per_mm * FINE, left / px_per_mm, top / px_per_mm)
    share = np.asarray(picture.reduce(FINE), np.float32) / 255
    page[top:bottom, left:right] += share * (level - page[top:bottom, left:right])
