"""What lies where, and what must not stand in a file."""

from __future__ import annotations

import re

import pytest
from PIL import Image

from tests.house import readme_pictures
from tests.house.source import ROOT, tracked
from webcapture.web.assets import TYPES

TOP_LEVEL = {"README.md", "DEVELOPERS.md", "requirements.txt", "webcapture", "static", "templates", "tests"}

INLINE = {
    "a style element": r"<style\b",
    "a style attribute": r"\sstyle\s*=",
    "an event handler": r"<[^>]*\son[a-z]+\s*=",
    "a script inside": r"<script\b(?![^>]*\bsrc=)",
    "a javascript: address": r"javascript:",
    "something from elsewhere": r"https?://(?!www\.w3\.org/2000/svg)",
}
"""What the pages' security policy forbids or nobody should ask a phone to fetch."""

MACHINE_PATHS = re.compile(r"(?<![\w.}])/(?:" + "|".join(["work", "tmp", "home", "root", "Users", "farm"]) + r")/\w")
OWN_ADDRESS = re.compile("/" + "work/(photos|glance)")
"""Of the web tool, which only looks like such a path: the description of its addresses has to name it."""


def test_top_level_is_as_listed() -> None:
    found = {path.relative_to(ROOT).parts[0] for path in tracked()}
    assert {name for name in found if not name.startswith(".")} == TOP_LEVEL


@pytest.mark.parametrize("what", INLINE)
def test_pages_hold_no(what: str) -> None:
    pages = tracked("templates/*.html", "static/*.css", "static/*.js", "static/*.svg")
    assert len(pages) > 10
    hits = [p.name for p in pages if re.search(INLINE[what], p.read_text(encoding="utf-8"), re.I)]
    assert hits == []


@pytest.mark.parametrize(
    ("what", "example"),
    [
        ("a style element", "<style>"),
        ("a style attribute", '<p style="x">'),
        ("an event handler", '<b onclick="x">'),
        ("a script inside", "<script>"),
        ("something from elsewhere", 'src="https://elsewhere.example/x.js"'),
    ],
)
def test_the_rules_would_find(what: str, example: str) -> None:
    assert re.search(INLINE[what], example)


def test_no_file_names_a_path_of_one_machine() -> None:
    texts = [p for p in tracked() if p.suffix not in {".png", ".jpg", ".jpeg", ".webp", ".pdf", ".icc"}]
    hits = [
        f"{path.relative_to(ROOT)}:{number}"
        for path in texts
        for number, line in enumerate(path.read_text(encoding="utf-8", errors="replace").splitlines(), 1)
        if MACHINE_PATHS.search(OWN_ADDRESS.sub("", line))
    ]
    assert hits == []
    assert MACHINE_PATHS.search("see /" + "home/someone/x")


def test_pictures_of_the_readme_are_small_and_tell_nothing_but_their_pixels() -> None:
    pictures = tracked("static/readme/*")
    text = (ROOT / "README.md").read_text(encoding="utf-8")
    assert len(pictures) >= 5
    assert [p.name for p in pictures if p.stat().st_size > readme_pictures.MOST_BYTES] == []
    assert [p.name for p in pictures if p.relative_to(ROOT).as_posix() not in text] == []
    assert [p.name for p in pictures if Image.open(p).getexif() or "icc_profile" in Image.open(p).info] == []


def test_pages_are_made_of_no_file_but_theirs() -> None:
    """Everything else below static/ is for readers of the project, and no phone fetches it."""
    files = {p.relative_to(ROOT / "static").parts[0] for p in tracked("static/*")}
    assert files == {"css", "img", "js", "readme"}
    assert [p.name for p in tracked("static/readme/*") if p.suffix in TYPES] == []
