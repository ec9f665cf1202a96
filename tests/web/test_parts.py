"""The page of all parts: it shows them all, fits, and is accessible in both colour schemes."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from flask import Flask
from flask.testing import FlaskClient

from tests.web.conftest import OpenPage
from tests.web.records import Room, close_room, open_room
from tests.web.test_browser import axe_violations, overflow
from webcapture.flags import REGISTRY
from webcapture.web.errors import TROUBLES
from webcapture.web.station import WORDS

ROOT = Path(__file__).resolve().parents[2]
PARTS = "/help/parts"


@pytest.fixture
def room(tmp_path: Path) -> Iterator[Room]:
    opened = open_room(tmp_path / "data")
    yield opened
    close_room(opened)


@pytest.fixture
def app(room: Room) -> Flask:
    return room.app


def test_every_state_and_every_doubt_is_there(client: FlaskClient) -> None:
    page = client.get(PARTS).text
    assert [words for words in WORDS.values() if str(words) not in page] == []
    assert [flag.code for flag in REGISTRY.values() if flag.text.replace("'", "&#39;") not in page] == []
    assert [trouble.code for trouble in TROUBLES.values() if f'data-code="{trouble.code}"' not in page] == []


def test_pupils_are_not_sent_there() -> None:
    linking = [
        p.name for p in (ROOT / "templates").rglob("*.html") if re.search(r"parts\.show|help/parts", p.read_text())
    ]
    assert linking == []


@pytest.mark.browser
@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("width", [320, 360, 1280])
def test_it_fits_and_is_accessible(open_page: OpenPage, width: int, scheme: str) -> None:
    page = open_page(width, 800, PARTS, color_scheme=scheme)
    assert overflow(page) == 0
    assert axe_violations(page) == []
