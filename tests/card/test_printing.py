"""The printed card, measured from its own PDF and PNG: what a ruler and a scanner would see."""

from __future__ import annotations

import io
import re
import subprocess
import sys
from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray
from PIL import Image

from webcapture.card.drawing import Text, card_shapes
from webcapture.card.layout import LAYOUTS, PAPERS_MM, TINT, CardLayout, Rect, card_layout
from webcapture.card.printing import DPI_RANGE, card_pdf, card_png, card_png_array, text_width_mm
from webcapture.errors import UsageError

CARDS = [(layout, paper) for layout in LAYOUTS for paper in PAPERS_MM]
DPI = 300
Grey = NDArray[np.uint8]

each_card = pytest.mark.parametrize(("layout", "paper"), CARDS)


@cache
def rasterised(layout: str, paper: str, dpi: int = DPI) -> Grey:
    """The PDF as an independent program (poppler) draws it."""
    with TemporaryDirectory() as folder:
        pdf = Path(folder) / "card.pdf"
        pdf.write_bytes(card_pdf(card_layout(layout, paper)))
        subprocess.run(
            ["pdftoppm", "-r", str(dpi), "-gray", "-singlefile", pdf, pdf.with_suffix("")], check=True, timeout=60
        )
        return np.asarray(Image.open(pdf.with_suffix(".pgm")).convert("L"))


@cache
def drawn(layout: str, paper: str, dpi: int = DPI) -> Grey:
    return card_png_array(card_layout(layout, paper), dpi)


def pixels(picture: Grey, rect: Rect, dpi: int = DPI) -> Grey:
    """The pixels wholly inside a rectangle of millimetres."""
    k = dpi / 25.4
    return picture[
        int(np.ceil(rect.y * k)) : int(rect.bottom * k),
        int(np.ceil(rect.x * k)) : int(rect.right * k),
    ]


def found_saddles(picture: Grey, card: CardLayout, dpi: int = DPI) -> NDArray[np.float64]:
    """Saddles as OpenCV finds them, millimetres, from starting points deliberately off by 0.3 mm each way."""
    k = dpi / 25.4
    start = ((np.array(card.saddles) + (0.3, -0.3)) * k - 0.5).astype(np.float32).reshape(-1, 1, 2)
    criteria = (cv2.TERM_CRITERIA_EPS + cv2.TERM_CRITERIA_MAX_ITER, 60, 1e-4)
    found = cv2.cornerSubPix(picture.copy(), start, (14, 14), (-1, -1), criteria)
    return np.asarray((found.reshape(-1, 2) + 0.5) / k, dtype=np.float64)


def ruler_ticks(picture: Grey, card: CardLayout, dpi: int = DPI) -> NDArray[np.float64]:
    """Middles of the ruler's ticks at every ten millimetres, millimetres from the page's left edge."""
    k = dpi / 25.4
    below = Rect(card.ruler.x - 1, card.ruler.y + 2.3, card.ruler.width + 2, 0.4)
    darkness = 255.0 - pixels(picture, below, dpi).mean(axis=0)
    dark = np.concatenate([[False], darkness > 0.15 * darkness.max(), [False]])
    runs = np.flatnonzero(np.diff(dark)).reshape(-1, 2) + (-2, 2)  # with the faint pixels at either edge
    middles = [np.average(np.arange(a, b) + 0.5, weights=darkness[a:b]) for a, b in runs]
    return (np.array(middles) + np.ceil(below.x * k)) / k


@each_card
def test_the_pdf_ruler_is_100_mm(layout: str, paper: str) -> None:
    card = card_layout(layout, paper)
    ticks = ruler_ticks(rasterised(layout, paper), card)
    assert len(ticks) == 11
    assert ticks[-1] - ticks[0] == pytest.approx(100.0, abs=0.1)
    assert ticks == pytest.approx(card.ruler.x + np.arange(0, 101, 10), abs=0.05)


@each_card
def test_pdf_saddles_lie_where_the_layout_says(layout: str, paper: str) -> None:
    card = card_layout(layout, paper)
    error = found_saddles(rasterised(layout, paper), card) - np.array(card.saddles)
    assert np.abs(error).max() < 0.05


@each_card
def test_png_saddles_lie_where_the_layout_says(layout: str, paper: str) -> None:
    card = card_layout(layout, paper)
    error = found_saddles(drawn(layout, paper), card) - np.array(card.saddles)
    assert np.abs(error).max() < 0.01
    assert ruler_ticks(drawn(layout, paper), card) == pytest.approx(card.ruler.x + np.arange(0, 101, 10), abs=0.01)


@each_card
def test_edges_are_true_to_a_hundredth_of_a_millimetre_even_when_coarse(layout: str, paper: str) -> None:
    card, dpi = card_layout(layout, paper), 100
    k = dpi / 25.4
    picture = drawn(layout, paper, dpi)
    for tag in card.tags:  # the top border is a solid bar: its ink and the ink's middle say where it ends
        row = (255.0 - picture[int((tag.rect.y + 0.6) * k)]) / 255
        window = slice(int(tag.rect.x * k) - 3, int(tag.rect.right * k) + 4)
        ink = row[window]
        assert ink.sum() / k == pytest.approx(tag.rect.width, abs=0.01)
        middle = (np.arange(window.start, window.stop) + 0.5) @ ink / ink.sum() / k
        assert middle == pytest.approx(tag.rect.centre[0], abs=0.01)


@each_card
def test_png_and_pdf_agree(layout: str, paper: str) -> None:
    png, pdf = drawn(layout, paper).astype(float), rasterised(layout, paper).astype(float)
    assert abs(pdf.shape[0] - png.shape[0]) <= 1 and abs(pdf.shape[1] - png.shape[1]) <= 1
    rows, columns = png.shape
    rows, columns = min(rows, pdf.shape[0]), min(columns, pdf.shape[1])
    difference = np.abs(png[:rows, :columns] - pdf[:rows, :columns])
    assert difference.mean() < 1.0
    assert (difference > 100).mean() < 0.001  # letters: poppler rounds their place to a part of a pixel


@each_card
def test_pages_have_their_papers_size(layout: str, paper: str) -> None:
    card = card_layout(layout, paper)
    box = re.search(rb"/MediaBox\s*\[\s*0 0 ([\d.]+) ([\d.]+)\s*\]", card_pdf(card))
    assert box is not None
    # ISO 216 (A4: 210 × 297 mm) and ANSI/ASME Y14.1 (letter: 8.5 × 11 in), in points of 1/72 inch; both from memory.
    sizes = {"a4": (210 / 25.4 * 72, 297 / 25.4 * 72), "letter": (612.0, 792.0)}
    assert [float(side) for side in box.groups()] == pytest.approx(sizes[paper], abs=0.001)


@pytest.mark.parametrize("dpi", [72, 150, 301])
def test_png_covers_exactly_the_page(dpi: int) -> None:
    card = card_layout("tray", "letter")
    picture = Image.open(io.BytesIO(card_png(card, dpi)))
    assert picture.size == (round(8.5 * dpi), round(11 * dpi))
    assert picture.info["dpi"] == pytest.approx((dpi, dpi), abs=0.02)


@pytest.mark.parametrize("dpi", [DPI_RANGE[0] - 1, DPI_RANGE[1] + 1])
def test_senseless_resolutions_are_refused(dpi: int) -> None:
    with pytest.raises(UsageError, match=str(dpi)):
        card_png(card_layout(), dpi)


@pytest.mark.parametrize("dpi", [60, 100, 300])
@each_card
def test_opencv_reads_every_tag(layout: str, paper: str, dpi: int) -> None:
    detector = cv2.aruco.ArucoDetector(cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_APRILTAG_36h11))
    card = card_layout(layout, paper)
    corners, ids, _ = detector.detectMarkers(drawn(layout, paper, dpi))
    assert sorted(ids.ravel().tolist()) == [tag.id for tag in card.tags]
    places = dict(zip(ids.ravel().tolist(), corners, strict=True))
    for tag in card.tags:  # the first corner is the upright tag's top left: none is turned
        first = (places[tag.id][0, 0] + 0.5) * 25.4 / dpi
        assert first == pytest.approx([tag.rect.x, tag.rect.y], abs=0.6)


@each_card
def test_nothing_on_the_tint_is_lighter_than_the_tint(layout: str, paper: str) -> None:
    card = card_layout(layout, paper)
    panel = pixels(drawn(layout, paper), card.panel)
    assert panel.max() == TINT
    for bay in card.bays:
        assert np.all(pixels(drawn(layout, paper), bay.rect) == TINT), "a bay's inside is plain tint"


@each_card
def test_what_the_detector_takes_for_white_is_unprinted(layout: str, paper: str) -> None:
    card = card_layout(layout, paper)
    picture = drawn(layout, paper)
    for x, y in card.whites:
        assert np.all(pixels(picture, Rect(x - 1.4, y - 1.4, 2.8, 2.8)) == 255)
    quiet = 1.5
    for tag in card.tags:
        r = tag.rect
        around = Rect(r.x - quiet, r.y - quiet, r.width + 2 * quiet, r.height + 2 * quiet)
        with_tag = pixels(picture, around).astype(int)
        inside = pixels(picture, Rect(r.x - 0.1, r.y - 0.1, r.width + 0.2, r.height + 0.2)).astype(int)
        assert (255 - with_tag).sum() == (255 - inside).sum()


@each_card
def test_every_line_of_text_has_room(layout: str, paper: str) -> None:
    card = card_layout(layout, paper)
    texts = [shape for shape in card_shapes(card) if isinstance(shape, Text)]
    assert len(texts) > 20
    for text in texts:
        width = text_width_mm(text)
        left = text.x - {"left": 0.0, "middle": width / 2, "right": width}[text.anchor]
        assert card.panel.x - 1.0 <= left and left + width <= card.panel.right, text.text
        places = (card.header, card.panel, card.footer)
        assert any(place.y <= text.y - text.size_pt * 0.25 and text.y <= place.bottom for place in places), text.text


@each_card
def test_the_card_says_what_to_do(layout: str, paper: str) -> None:
    card = card_layout(layout, paper)
    words = " ".join(shape.text for shape in card_shapes(card) if isinstance(shape, Text))
    for needed in (
        "100 %",
        "check: 100 mm",
        "origin end",
        "even light",
        "Caution",
        "ventilated",
        "local rules",
        layout,
    ):
        assert needed in words
    assert all(str(bay.bay) in words.split() for bay in card.bays)


def test_typefaces_are_embedded_and_text_can_be_searched(tmp_path: Path) -> None:
    pdf = tmp_path / "card.pdf"
    pdf.write_bytes(card_pdf(card_layout()))
    rows = subprocess.run(["pdffonts", pdf], capture_output=True, text=True, check=True).stdout.splitlines()[2:]
    assert rows and all(re.search(r"\byes\s+(yes|no)\s+(yes|no)\s+\d+\s+\d+$", row) for row in rows), rows
    words = subprocess.run(["pdftotext", pdf, "-"], capture_output=True, text=True, check=True).stdout
    assert "Calibration card" in words and "responsible person" in words


def test_printing_programs_are_asked_not_to_scale() -> None:
    assert b"/PrintScaling /None" in card_pdf(card_layout())


def test_the_same_card_gives_the_same_bytes() -> None:
    assert card_pdf(card_layout()) == card_pdf(card_layout())


def test_printing_does_not_wait_for_the_image_libraries() -> None:
    program = "import sys, webcapture.card.printing; print([m for m in ('cv2', 'scipy', 'flask') if m in sys.modules])"
    printed = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, check=True).stdout
    assert printed.strip() == "[]"
