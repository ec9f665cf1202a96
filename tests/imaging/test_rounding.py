"""How coarsely a JPEG keeps brightness and colour: as its tables say, and as Pillow's own codec does it."""

from __future__ import annotations

from io import BytesIO
from typing import Any

import numpy as np
import pytest
from PIL import Image

from webcapture.imaging.photo import read_photo
from webcapture.imaging.rounding import blotches_of, rounding_of
from webcapture.model import Floats, Rounding

SIDE = 1280


def saved(picture: Image.Image, kind: str = "JPEG", **how: Any) -> Image.Image:
    file = BytesIO()
    picture.save(file, kind, **how)
    return Image.open(file)


def even_blocks(side: int, seed: int = 1) -> Image.Image:
    """A picture of even blocks of that side, each of its own brightness and colour, as Y, Cb and Cr."""
    rng = np.random.default_rng(seed)
    count = SIDE // side
    levels = rng.integers([60, 80, 80], [200, 176, 176], (count, count, 3)).astype(np.uint8)
    return Image.fromarray(levels.repeat(side, axis=0).repeat(side, axis=1), "YCbCr")


def block_means(picture: Image.Image, side: int) -> Floats:
    """(blocks, 3) mean Y, Cb and Cr of their middles: a decoder smooths colour from block to block."""
    picture.draft("YCbCr", None)
    levels = np.asarray(picture, float).reshape(SIDE // side, side, SIDE // side, side, 3)
    return levels[:, 2:-2, :, 2:-2].mean(axis=(1, 3)).reshape(-1, 3)


@pytest.mark.parametrize(("sampling", "side"), [(0, 8), (1, 16), (2, 16)])
@pytest.mark.parametrize("quality", [10, 20, 30])
def test_blocks_are_off_by_as_much_as_is_said(sampling: int, side: int, quality: int) -> None:
    """Pillow's encoder and decoder are the judge, at qualities whose steps are large beside those of its bytes.

    A block of 16 pixels holds four of brightness, which here all err alike.
    """
    before = even_blocks(side)
    after = saved(before, quality=quality, subsampling=sampling)
    rounding = rounding_of(after)
    assert rounding is not None
    off = block_means(after, side) - block_means(before, side)
    assert np.sqrt((off**2).mean(axis=0)) == pytest.approx(np.array(rounding.levels), rel=0.1)


@pytest.mark.parametrize(("sampling", "colour_px"), [(0, 8.0), (1, 8 * 2**0.5), (2, 16.0)])
def test_blocks_of_colour_are_as_large_as_it_is_sampled(sampling: int, colour_px: float) -> None:
    rounding = rounding_of(saved(even_blocks(16), subsampling=sampling))
    assert rounding is not None
    assert rounding.side_px == pytest.approx((8.0, colour_px))


@pytest.mark.parametrize(
    ("mode", "kind", "how"),
    [("RGB", "PNG", {}), ("RGB", "WEBP", {}), ("L", "JPEG", {}), ("CMYK", "JPEG", {}), ("RGB", "JPEG", {"keep_rgb": True})],
)  # fmt: skip
def test_nothing_is_said_of_other_files(mode: str, kind: str, how: dict[str, Any]) -> None:
    assert rounding_of(saved(even_blocks(16).convert(mode), kind, **how)) is None


def test_a_photo_carries_it() -> None:
    file = BytesIO()
    even_blocks(16).convert("RGB").save(file, "JPEG", quality=60)
    photo = read_photo(file.getvalue())
    assert photo.rounding == rounding_of(Image.open(file))


def test_it_is_told_in_absorbance_on_this_paper_and_in_millimetres() -> None:
    """Against Pillow's own conversion of a grey paper and of one a little more blue."""
    paper, more = (Image.new("YCbCr", (1, 1), (170, cb, 128)).convert("RGB") for cb in (128, 138))
    levels = np.stack([np.asarray(picture, float)[0, 0] for picture in (paper, more)])
    # IEC 61966-2-1, above its straight part
    logs = 2.4 * np.log10((levels / 255 + 0.055) / 1.055)
    blotches = blotches_of(Rounding((1.0, 10.0, 1.0), (8, 16)), logs[0], px_per_mm=4.0)
    assert blotches is not None
    assert blotches.absorbance[1] == pytest.approx(logs[1] - logs[0], rel=0.1, abs=0.004)
    assert blotches.side_mm == (2.0, 4.0, 4.0)


def test_nothing_known_is_nothing_said() -> None:
    assert blotches_of(None, np.zeros(3), 10.0) is None
