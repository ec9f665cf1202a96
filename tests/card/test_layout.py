"""The card's geometry against OpenCV's own tag table and against what was promised to other programs."""

from __future__ import annotations

import json

import cv2
import numpy as np
import pytest

from webcapture.card.layout import (
    LAYOUTS,
    PAPERS_MM,
    TAG_MODULES,
    TAG_WORDS,
    TAGS_PER_CARD,
    card_layout,
    geometry,
    layout_of_tag,
)
from webcapture.card.printing import geometry_json
from webcapture.errors import UsageError

CARDS = [(layout, paper) for layout in LAYOUTS for paper in PAPERS_MM]


def test_tag_words_are_those_of_the_published_family() -> None:
    # Source: the table of the family 36h11 as distributed with OpenCV (DICT_APRILTAG_36h11).
    family = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_APRILTAG_36h11)
    for tag_id, word in enumerate(TAG_WORDS):
        modules = family.generateImageMarker(tag_id, TAG_MODULES) > 127
        assert not modules[0].any() and not modules[:, 0].any()
        bits = "".join("1" if white else "0" for white in modules[1:-1, 1:-1].ravel())
        assert int(bits, 2) == word, f"tag {tag_id}"


@pytest.mark.parametrize(("layout", "paper"), CARDS)
def test_each_tag_belongs_to_one_card(layout: str, paper: str) -> None:
    card = card_layout(layout, paper)
    assert len(card.tags) == TAGS_PER_CARD
    assert {layout_of_tag(tag.id) for tag in card.tags} == {(layout, paper)}
    assert layout_of_tag(len(CARDS) * TAGS_PER_CARD) is None


@pytest.mark.parametrize(("layout", "paper"), CARDS)
def test_bays_have_the_promised_size(layout: str, paper: str) -> None:
    height = 215.0 if paper == "a4" else 200.0
    width, count = (145.0, 1) if layout == "sheet" else (22.0, 6)
    bays = json.loads(geometry_json(card_layout(layout, paper)))["bays"]
    assert len(bays) >= count
    assert [bay["bay"] for bay in bays] == list(range(1, len(bays) + 1))
    assert all(bay["width_mm"] >= width and bay["height_mm"] >= height for bay in bays)


@pytest.mark.parametrize(("layout", "paper"), CARDS)
def test_geometry_is_rounded_and_says_the_same(layout: str, paper: str) -> None:
    card = card_layout(layout, paper)
    text = geometry_json(card)
    written, exact = json.loads(text), geometry(card)
    assert set(written) == {"layout", "paper", "version", "page_mm", "bays"}
    assert (written["layout"], written["paper"], written["version"]) == (layout, paper, card.version)
    assert written["page_mm"] == list(PAPERS_MM[paper])
    assert isinstance(exact["bays"], list)
    for bay, exact_bay in zip(written["bays"], exact["bays"], strict=True):
        assert bay == pytest.approx(exact_bay, abs=0.0005)
    assert all(len(number.partition(".")[2]) <= 3 for number in text.replace(",", " ").split() if "." in number)


@pytest.mark.parametrize(("layout", "paper"), CARDS)
def test_nothing_overlaps_and_all_is_on_the_page(layout: str, paper: str) -> None:
    card = card_layout(layout, paper)
    lefts = [bay.rect.x for bay in card.bays]
    assert lefts == sorted(lefts)
    for before, after in zip(card.bays, card.bays[1:], strict=False):
        assert before.rect.right < after.rect.x
    for bay in card.bays:
        assert card.panel.x < bay.rect.x and bay.rect.right < card.panel.right
        assert card.panel.y < bay.rect.y and bay.rect.bottom < card.panel.bottom
    assert card.frame.x > 0 and card.frame.right < card.page_mm[0]
    assert card.frame.y > 0 and card.frame.bottom < card.page_mm[1]
    saddles = np.array(card.saddles)
    assert len(np.unique(saddles.round(3), axis=0)) == len(saddles)


@pytest.mark.parametrize(("layout", "paper", "word"), [("wall", "a4", "layout"), ("sheet", "a3", "paper")])
def test_unknown_names_are_refused(layout: str, paper: str, word: str) -> None:
    with pytest.raises(UsageError, match=word) as caught:
        card_layout(layout, paper)
    assert "Choose one of" in caught.value.hint
