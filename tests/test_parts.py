"""Parts of a photo, and photos drawn over: each is measured, or refused with a reason; none fails, none gives what is no number."""

from __future__ import annotations

import io
import json
from functools import cache

import numpy as np
import pytest
from PIL import Image, ImageDraw

from webcapture import WebcaptureError, annotated_jpeg, as_dict, measure_photo
from webcapture.synthetic import render, scenes
from webcapture.synthetic.scene import Scene

pytestmark = pytest.mark.filterwarnings("error::RuntimeWarning")


@cache
def photo(number: int) -> Image.Image:
    """A tray, a strip, a bent tray: each reduced to what an old phone gives."""
    scene: Scene = (scenes.tray(5), scenes.typical(9), scenes.tray(5, hard=True))[number]
    picture = Image.open(io.BytesIO(render(scene).data)).convert("RGB")
    picture.thumbnail((2000, 2000))
    return picture


def part(seed: int) -> Image.Image:
    """Cut off at some of its sides, with a few shapes drawn over it."""
    rng = np.random.default_rng(seed)
    whole = photo(seed % 3)
    low, high = rng.uniform(-0.25, 0.4, 2), rng.uniform(0.6, 1.25, 2)
    corner, far = np.clip(low, 0, 1) * whole.size, np.clip(high, 0, 1) * whole.size
    picture = whole.crop((*np.rint(corner).astype(int).tolist(), *np.rint(far).astype(int).tolist()))
    draw, size = ImageDraw.Draw(picture), np.array(picture.size)
    for _ in range(int(rng.integers(0, 6))):
        colour = tuple(rng.integers(0, 256, 3).tolist())
        corners = (rng.uniform(0, 1, 2) + rng.normal(0, 0.15, (4, 2))) * size
        if rng.random() < 0.5:
            draw.polygon([(x, y) for x, y in corners.tolist()], fill=colour)
        else:
            draw.line([(x, y) for x, y in corners[:2].tolist()], fill=colour, width=int(rng.integers(2, 40)))
    return picture


@pytest.mark.parametrize("seed", range(60))
def test_a_part_is_measured_or_refused(seed: int) -> None:
    file = io.BytesIO()
    part(seed).save(file, "JPEG", quality=80)
    try:
        result = measure_photo(file.getvalue())
    except WebcaptureError as error:
        assert error.code
        return
    json.dumps(as_dict(result), allow_nan=False)
    assert annotated_jpeg(result)[:2] == b"\xff\xd8"
