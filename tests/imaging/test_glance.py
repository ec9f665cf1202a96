"""The live view's quick check: its hints on photos drawn for them, its outline against the drawn truth, and that it is quick."""

from __future__ import annotations

import io
import time
from dataclasses import replace

import numpy as np
import pytest
from PIL import Image, ImageFilter

from webcapture.card.layout import card_layout
from webcapture.errors import NotAnImage, TooLarge
from webcapture.imaging.glance import CLOSER, GOOD, HINTS, LEVEL, LIGHT, NO_CARD, STILL, WHOLE, Glance, glance
from webcapture.imaging.markers import Look, tags_on
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


def off(photo: Photograph, found: Glance) -> float:
    """How far the outline's corners lie from the drawn ones, pixels of the frame."""
    rect = card_layout(photo.truth.layout, photo.truth.paper).frame
    corners = np.array([(rect.x, rect.y), (rect.right, rect.y), (rect.right, rect.bottom), (rect.x, rect.bottom)])
    full = Image.open(io.BytesIO(photo.data)).size
    drawn = photo.truth.camera.project(corners) * found.size_px[0] / full[0]
    return float(np.abs(np.array(found.outline_px) - drawn).max())


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
    assert off(good, glance(frame(good), DEFAULTS)) < 0.01 * SIDE


@pytest.mark.parametrize(
    ("changed", "hint"),
    [
        ({"defocus_px": 5.6}, STILL),
        ({"fill": 0.34}, CLOSER),
        ({"tilt_deg": 33.0, "fill": 0.65, "defocus_px": 3.5}, LEVEL),
    ],
)
def test_what_a_quick_look_misses_a_patient_one_sees(changed: dict[str, object], hint: str) -> None:
    photo = render(scene(**changed))
    limits, small = DEFAULTS.glance, np.asarray(Image.open(io.BytesIO(frame(photo))).convert("L"))
    quick = tags_on(
        small,
        small.shape,
        Look(limits.windows_px, limits.least_perimeter, DEFAULTS.marker.correctable_bits),
        DEFAULTS.marker,
    )
    assert quick is None or len(quick.ids) < DEFAULTS.marker.least_tags
    found = glance(frame(photo), DEFAULTS)
    assert found.hint == hint
    assert off(photo, found) < 0.01 * SIDE


def test_squares_that_look_like_tags_are_none() -> None:
    """Sixty squares a frame as our tags are built, eight cells a side and a black border, with cells drawn at random."""
    rng = np.random.default_rng(3)
    for _ in range(20):
        grey = np.full((840, 1120), 200, np.uint8)
        for _ in range(60):
            cells = (rng.random((8, 8)) < 0.5).astype(np.uint8) * 230
            cells[[0, -1], :] = cells[:, [0, -1]] = 10
            square = np.kron(cells, np.ones((2 * [int(rng.integers(3, 7))]), np.uint8))
            y, x = (int(rng.integers(0, room - len(square))) for room in grey.shape)
            grey[y : y + len(square), x : x + len(square)] = square
        out = io.BytesIO()
        Image.fromarray(grey).filter(ImageFilter.GaussianBlur(rng.uniform(0.3, 1.5))).save(out, "JPEG", quality=70)
        assert glance(out.getvalue(), DEFAULTS).outline_px == ()


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
