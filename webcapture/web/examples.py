"""Example photos to try the tool with, offered when it is started with a folder of them."""

from __future__ import annotations

import io
from dataclasses import dataclass
from pathlib import Path
from threading import Lock

from PIL import Image, ImageOps

from webcapture.settings import WebSettings
from webcapture.web.errors import NoExample

ENDINGS = {".jpg", ".jpeg", ".png", ".webp"}


@dataclass(frozen=True, slots=True)
class Example:
    """One photo that is offered."""

    name: str
    """Its file name, which is also its address."""
    title: str
    """Its name in words."""
    path: Path


class Examples:
    """The photos of one folder, found once; none where there is no folder."""

    def __init__(self, folder: Path | None, settings: WebSettings) -> None:
        found = sorted(folder.iterdir()) if folder and folder.is_dir() else []
        self._by_name = {p.name: Example(p.name, _title(p), p) for p in found if p.suffix.lower() in ENDINGS}
        self._side = settings.thumbnail_px
        self._thumbnails: dict[str, bytes] = {}
        self._lock = Lock()

    def all(self) -> list[Example]:
        """Every example, by name."""
        return list(self._by_name.values())

    def get(self, name: str) -> Example:
        """The example of that file name; raises NoExample for any other name, so no path is ever made of it."""
        if name not in self._by_name:
            raise NoExample("There is no such example photo.")
        return self._by_name[name]

    def thumbnail(self, name: str) -> bytes:
        """A small JPEG of that example, made once."""
        example = self.get(name)
        with self._lock:
            if name not in self._thumbnails:
                self._thumbnails[name] = _thumbnail(example.path, self._side)
            return self._thumbnails[name]


def _title(path: Path) -> str:
    words = path.stem.replace("-", " ").replace("_", " ").strip()
    return words[:1].upper() + words[1:]


def _thumbnail(path: Path, side: int) -> bytes:
    with Image.open(path) as picture:
        picture.draft("RGB", (side, side))
        small = ImageOps.exif_transpose(picture).convert("RGB")
    small.thumbnail((side, side))
    out = io.BytesIO()
    small.save(out, "JPEG", quality=80)
    return out.getvalue()
