"""Photos of each class by seed, kept in ``.cache/`` so that a second run only measures."""

from __future__ import annotations

import hashlib
import os
import pickle
from collections.abc import Callable
from dataclasses import replace
from functools import cache
from pathlib import Path

from webcapture.synthetic import Photograph, Scene, render, scenes
from webcapture.synthetic.adverse import ADVERSE

ROOT = Path(__file__).resolve().parents[2]
KEPT = ROOT / ".cache" / "photos"

# These only describe a scene, and the key holds the whole description already.
DESCRIBING = {"__init__", "scenes", "classes", "papers", "shots", "adverse", "workshop"}

CLASSES: dict[str, Callable[[int], Scene]] = {
    "typical": scenes.typical,
    "hard": scenes.hard,
    "tray": scenes.tray,
    "hard tray": lambda seed: scenes.tray(seed, hard=True),
}

SENT: dict[str, Callable[[int], Scene]] = {
    "sent": scenes.sent,
    "hard sent": lambda seed: scenes.sent(seed, hard=True),
}
"""The same as a messenger hands them on: nothing is promised of these but that they are honest."""


def scene_of(group: str, seed: int) -> Scene:
    """The scene of a class, or of a case of ADVERSE."""
    return {**CLASSES, **SENT, **ADVERSE}[group](seed)


def sized(scene: Scene, megapixels: float) -> Scene:
    """The same scene with as many pixels, in the picture's own proportions."""
    width, height = scene.camera.size_px
    factor = (megapixels * 1e6 / (width * height)) ** 0.5
    return replace(scene, camera=replace(scene.camera, size_px=(round(width * factor), round(height * factor))))


def photograph(scene: Scene) -> Photograph:
    """The photo of ``scene``: the one rendered before, where neither scene nor the sources that draw it have changed."""
    kept = KEPT / f"{hashlib.sha256((repr(scene) + _sources()).encode()).hexdigest()[:24]}.pickle"
    if kept.exists():
        photo: Photograph = pickle.loads(kept.read_bytes())
        return photo
    photo = render(scene)
    KEPT.mkdir(parents=True, exist_ok=True)
    fresh = kept.with_suffix(f".{os.getpid()}")
    fresh.write_bytes(pickle.dumps(photo))
    fresh.replace(kept)
    return photo


@cache
def _sources() -> str:
    """Digest of the code that turns a scene into a photo."""
    drawing = [p for p in sorted((ROOT / "webcapture/synthetic").glob("*.py")) if p.stem not in DESCRIBING]
    digest = hashlib.sha256()
    for path in [*drawing, *sorted((ROOT / "webcapture/card").glob("*.py"))]:
        digest.update(path.read_bytes())
    return digest.hexdigest()
