"""The printed handout, as an independent program (poppler) draws it."""

from __future__ import annotations

import subprocess
from pathlib import Path

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray
from PIL import Image

from webcapture.card.layout import LAYOUTS, PAPERS_MM, card_layout
from webcapture.card.printing import card_pdf
from webcapture.imaging.markers import find_card
from webcapture.imaging.photo import Photo
from webcapture.report.handout import handout_pdf
from webcapture.settings import DEFAULTS

DPI = 150
ADDRESS = "http://192.168.1.20:8000/join/ABQ7RT"


@pytest.fixture(params=[(layout, paper) for layout in LAYOUTS for paper in PAPERS_MM], ids="-".join)
def kind(request: pytest.FixtureRequest) -> tuple[str, str]:
    found: tuple[str, str] = request.param
    return found


def rasterised(pdf: bytes, folder: Path) -> list[NDArray[np.uint8]]:
    """Every page, grey levels."""
    folder.mkdir()
    (folder / "it.pdf").write_bytes(pdf)
    subprocess.run(["pdftoppm", "-r", str(DPI), "-gray", folder / "it.pdf", folder / "page"], check=True, timeout=60)
    return [np.asarray(Image.open(path).convert("L")) for path in sorted(folder.glob("page*.pgm"))]


@pytest.fixture
def pages(kind: tuple[str, str], tmp_path: Path) -> list[NDArray[np.uint8]]:
    """Poster and one card."""
    return rasterised(handout_pdf("Dyes of the market", "ABQ7RT", ADDRESS, *kind, 1, "noon"), tmp_path / "handout")


def test_posters_square_is_read_by_a_reader_of_codes(pages: list[NDArray[np.uint8]]) -> None:
    text, _, _ = cv2.QRCodeDetector().detectAndDecode(pages[0])
    assert text == ADDRESS


def test_card_with_a_label_is_the_card_and_nothing_more(
    kind: tuple[str, str], pages: list[NDArray[np.uint8]], tmp_path: Path
) -> None:
    """To the last pixel, but for the label, which lies between panel and ruler."""
    card = card_layout(*kind)
    plain = rasterised(card_pdf(card), tmp_path / "plain")[0]
    rows, columns = np.nonzero(plain != pages[1])
    assert len(rows) > 50
    scale = DPI / 25.4
    assert rows.min() >= card.panel.bottom * scale
    assert rows.max() <= card.ruler.y * scale
    assert columns.min() >= (card.ruler.right - 25) * scale
    assert columns.max() <= card.ruler.right * scale + 1


def test_card_with_a_label_is_found(kind: tuple[str, str], pages: list[NDArray[np.uint8]]) -> None:
    pixels = np.repeat(pages[1][..., None], 3, axis=2)
    size = (pixels.shape[1], pixels.shape[0])
    seen = find_card(Photo(np.ascontiguousarray(pixels), None, size, "PNG"), DEFAULTS.marker, DEFAULTS.view)
    assert (seen.layout, seen.paper, seen.tags_seen) == (*kind, 12)
