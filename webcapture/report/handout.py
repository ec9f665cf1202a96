"""What is printed for a practical: the poster that tells how to join, and the cards, each with its station's label."""

from __future__ import annotations

import io

import segno
from reportlab.lib.utils import simpleSplit
from reportlab.pdfgen.canvas import Canvas

from webcapture.card.drawing import Text
from webcapture.card.layout import CardLayout, card_layout
from webcapture.card.printing import POINTS_PER_MM, TYPEFACES, card_canvas, put_card, put_text

QR_MM = 90.0
QUIET = 4
"""Modules left white around the code (ISO/IEC 18004; from memory)."""
TITLE_PT, TITLE_LINES = 22.0, 3


def handout_pdf(title: str, code: str, address: str | None, layout: str, page: str, cards: int, until: str) -> bytes:
    """The poster and so many cards as a PDF in exact millimetres.

    ``address`` is where phones join, or None where no phone reaches the tool: the poster then has the code alone. ``until`` says
    when joining ends. Raises UsageError for a layout or page that does not exist.
    """
    card = card_layout(layout, page)
    file = io.BytesIO()
    canvas = card_canvas(file, card, f"{title}: poster and cards")
    _poster(canvas, card, title, code, address, until)
    canvas.showPage()
    for n in range(1, cards + 1):
        put_card(canvas, card, (station_label(card, f"Station {n}"),))
        canvas.showPage()
    canvas.save()
    return file.getvalue()


def station_label(card: CardLayout, label: str) -> Text:
    """The label in the one white place below the panel that holds nothing: above the right end of the ruler."""
    return Text(card.ruler.right, card.ruler.y - 0.9, label, 8.0, bold=True, anchor="right")


def _poster(canvas: Canvas, card: CardLayout, title: str, code: str, address: str | None, until: str) -> None:
    width, height = card.page_mm
    middle = width / 2
    lines = simpleSplit(title, TYPEFACES[True], TITLE_PT, (width - 40) * POINTS_PER_MM)[:TITLE_LINES]
    for n, line in enumerate(lines):
        _say(canvas, height, middle, 30 + 10 * n, line, TITLE_PT, True)
    top = 30.0 + 10 * len(lines)
    if address is not None:
        _qr(canvas, address, middle - QR_MM / 2, height - top - QR_MM)
    top += QR_MM + 12 if address is not None else 30
    _say(canvas, height, middle, top, "Code", 14)
    _say(canvas, height, middle, top + 18, " ".join(code), 44, True)
    steps = [
        "Join the same wireless network as this tool.",
        "Scan the square above with the phone's camera, or type the address below it."
        if address is not None
        else "Open the tool's address and type the code.",
        "Choose a label for your station, then photograph your card.",
    ]
    if address is not None:
        _say(canvas, height, middle, top + 30, address, 13)
    for n, step in enumerate(steps):
        y = top + 48 + 10 * n
        canvas.setFont(TYPEFACES[True], 13)
        put_text(canvas, Text(25, y, f"{n + 1}", 13, bold=True), height)
        put_text(canvas, Text(33, y, step, 10.5), height)
    _say(canvas, height, middle, height - 18, f"Joining is open until {until}, or until the lead closes it.", 9)


def _say(canvas: Canvas, height: float, x: float, y: float, words: str, size: float, bold: bool = False) -> None:
    put_text(canvas, Text(x, y, words, size, bold=bold, anchor="middle"), height)


def _qr(canvas: Canvas, address: str, x: float, y: float) -> None:
    """The code as filled squares; its lower left corner at (x, y) millimetres, y up."""
    rows = list(segno.make(address, error="m", micro=False).matrix_iter(border=QUIET))
    module = QR_MM / len(rows)
    path = canvas.beginPath()
    for i, row in enumerate(rows):
        for j, dark in enumerate(row):
            if dark:
                corner = (x + j * module, y + (len(rows) - 1 - i) * module)
                path.rect(*(v * POINTS_PER_MM for v in (*corner, module, module)))
    canvas.setFillGray(0)
    canvas.drawPath(path, stroke=0, fill=1)
