"""The live view's quick check: its hints on photos drawn for them, its outline against the drawn truth, and that it is quick."""

from __future__ import annotations

import io
import time
from dataclasses import replace

import numpy as np
import pytest
from PIL import Image

from webcapture.card.layout import card_layout
from webcapture.errors import NotAnImage, TooLarge
from webcapture.imaging.glance import CLOSER, GOOD, HINTS, LEVEL, LIGHT, NO_CARD, STILL, WHOLE, Glance, glance
from webcapture.settings import DEFAULTS
from webcapture.synthetic import Photograph, render
from webcapture.synthetic.scene import Scene
from webcapture.synthetic.scenes import demo

SIDE = DEFAULTS.glance.most_side
GOOD_VIEW = {"tilt_deg": 6.0, "azimuth_deg": 40.0, "fill": 0.8, "exposure": 0.8, "defocus_px": 0.7, "orientation": 1}


def scene(**changed: object) -> Scene:
    """A demonstration's strip, photographed well but for what is changed."""
    first = demo()[0][1]
    return replace(first, camera=replace(first.camera, **{**GOOD_VIEW, **changed}))


def frame(photo: Photograph, side: int = SIDE) -> bytes:
    """As a phone's page makes one: reduced, compressed again."""
    picture = Image.open(io.BytesIO(photo.data)).convert("RGB")
    picture.thumbnail((side, side))
    out = io.BytesIO()
    picture.save(out, "JPEG", quality=70)
    return out.getvalue()


def seen(**changed: object) -> Glance:
    return glance(frame(render(scene(**changed))), DEFAULTS)


@pytest.fixture(scope="module")
def good() -> Photograph:
    return render(scene())


@pytest.mark.parametrize(
    ("changed", "hint"),
    [
        ({}, GOOD),
        ({"exposure": 0.12}, LIGHT),
        ({"fill": 0.45}, CLOSER),
        ({"fill": 1.06}, WHOLE),
        ({"tilt_deg": 30.0, "fill": 0.75}, LEVEL),
        ({"defocus_px": 2.8}, STILL),
        ({"defocus_px": 22.0}, STILL),
        ({"motion_px": 12.0, "motion_deg": 20.0}, STILL),
        ({"fill": 0.12}, NO_CARD),
    ],
)
def test_the_hint_says_what_stands_in_the_way(changed: dict[str, object], hint: str) -> None:
    assert seen(**changed).hint == hint


def test_the_outline_lies_on_the_cards_frame(good: Photograph) -> None:
    found = glance(frame(good), DEFAULTS)
    rect = card_layout(good.truth.layout, good.truth.paper).frame
    corners = np.array([(rect.x, rect.y), (rect.right, rect.y), (rect.right, rect.bottom), (rect.x, rect.bottom)])
    full = Image.open(io.BytesIO(good.data)).size
    drawn = good.truth.camera.project(corners) * found.size_px[0] / full[0]
    assert np.abs(np.array(found.outline_px) - drawn).max() < 0.01 * SIDE


def test_without_a_card_there_is_no_outline() -> None:
    out = io.BytesIO()
    Image.effect_noise((640, 480), 60).convert("RGB").save(out, "JPEG")
    assert glance(out.getvalue(), DEFAULTS) == Glance(NO_CARD, (640, 480), ())


def test_every_hint_has_its_place() -> None:
    assert sorted({NO_CARD, WHOLE, LIGHT, CLOSER, LEVEL, STILL, GOOD}) == sorted(HINTS)


@pytest.mark.parametrize("data", [b"", b"no picture", b"\xff\xd8\xff\xe0 broken", b"\x89PNG\r\n\x1a\n"])
def test_what_is_no_frame_is_said(data: bytes) -> None:
    with pytest.raises(NotAnImage):
        glance(data, DEFAULTS)


def test_a_frame_cut_short_is_said(good: Photograph) -> None:
    with pytest.raises(NotAnImage):
        glance(frame(good)[:-2000], DEFAULTS)


def test_a_large_one_is_refused_before_it_is_decoded() -> None:
    out = io.BytesIO()
    Image.new("L", (SIDE + 1, 8)).save(out, "JPEG")
    with pytest.raises(TooLarge):
        glance(out.getvalue(), DEFAULTS)


def test_one_frame_costs_a_fraction_of_decoding_a_photo(good: Photograph) -> None:
    """Processor time in the same run; the figure in milliseconds is printed by the benchmark."""

    def spent(work: object) -> float:
        begun = time.process_time()
        work()  # type: ignore[operator]
        return time.process_time() - begun

    small = frame(good)
    looks = [spent(lambda: glance(small, DEFAULTS)) for _ in range(9)]
    decodes = [spent(lambda: Image.open(io.BytesIO(good.data)).load()) for _ in range(9)]
    assert np.median(looks) < 0.6 * np.median(decodes)
