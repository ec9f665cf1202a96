"""What is said of poor photos, and that nothing is said of good ones."""

from dataclasses import replace
from io import BytesIO

import numpy as np
import pytest
from PIL import Image

from tests.imaging.shots import PLAIN, Shot, lay, page_of, sheet_of, shoot, sighting_of, strip_corners
from webcapture.card.layout import card_layout
from webcapture.errors import WebcaptureError
from webcapture.imaging.light import rectified_sheet
from webcapture.imaging.markers import find_card
from webcapture.imaging.papers import papers_on
from webcapture.imaging.photo import read_photo
from webcapture.imaging.quality import judge
from webcapture.imaging.rectify import fit_view
from webcapture.imaging.strips import find_strips
from webcapture.model import Quality, StripOutline
from webcapture.settings import DEFAULTS
from webcapture.synthetic import Scene, render, scenes
from webcapture.synthetic.adverse import ADVERSE

SHEET = card_layout()


def judged(data: bytes) -> tuple[Quality, tuple[StripOutline, ...]]:
    """All stages up to the judgement."""
    photo = read_photo(data, DEFAULTS.photo)
    sighting = find_card(photo, DEFAULTS.marker, DEFAULTS.view)
    card = card_layout(sighting.layout, sighting.paper)
    view = fit_view(sighting, card, photo.pixels.shape, DEFAULTS.view)
    sheet = rectified_sheet(photo, view, card, DEFAULTS.light)
    outlines = find_strips(photo, view.mapping, papers_on(sheet, card, DEFAULTS.strip), card, DEFAULTS.strip)
    return judge(photo, sighting, view, sheet, outlines, card, DEFAULTS.quality), outlines


def smaller(scene: Scene, factor: float = 0.6) -> Scene:
    """The same scene by a camera of fewer pixels: quicker to take; blur stays the same on the card."""
    camera = scene.camera
    width, height = (round(side * factor) for side in camera.size_px)
    return replace(scene, camera=replace(camera, size_px=(width, height), defocus_px=factor * camera.defocus_px))


def codes(scene: Scene) -> list[str]:
    """Flags of the photo, or the error's code."""
    try:
        quality, _ = judged(render(scene).data)
    except WebcaptureError as error:
        return [error.code]
    return [flag.code for flag in quality.flags]


CASES = {
    "glare": {"glare"},
    "shadow": {"shadow"},
    "bent card": {"card-bent"},
    "out of focus": {"out-of-focus"},
    "too dark": {"too-dark"},
    "no card": {"no-card"},
    "half the card out of the frame": {"card-incomplete"},
    "covered tags": set(),
    "half the tags covered": set(),
    "an empty card": set(),
}


@pytest.mark.filterwarnings("error::RuntimeWarning")
@pytest.mark.parametrize("name", CASES)
def test_each_trouble_and_no_other_is_named(name: str) -> None:
    assert set(codes(smaller(ADVERSE[name](11)))) == CASES[name]


@pytest.mark.slow
@pytest.mark.filterwarnings("error::RuntimeWarning")
@pytest.mark.parametrize("name", CASES)
def test_each_trouble_at_full_size(name: str) -> None:
    for seed in (20, 21):
        assert set(codes(ADVERSE[name](seed))) == CASES[name]


@pytest.mark.parametrize("seed", range(30, 33))
def test_nothing_is_said_of_a_careful_photo(seed: int) -> None:
    assert codes(smaller(scenes.typical(seed))) == []


@pytest.mark.slow
def test_every_strip_is_found_and_none_invented() -> None:
    """Full size, all classes; on hard photos nothing but a shadow may be named, and only where there is one."""
    drawn = [*map(scenes.typical, range(40, 45)), *map(scenes.hard, range(40, 46))]
    drawn += [scenes.tray(40), scenes.tray(41, hard=True)]
    for scene in drawn:
        photograph = render(scene)
        quality, outlines = judged(photograph.data)
        assert [outline.bay for outline in outlines] == [strip.bay for strip in photograph.truth.strips]
        assert {flag.code for flag in quality.flags} <= ({"shadow"} if scene.light.shadows else set())
        for outline, strip, laid in zip(outlines, photograph.truth.strips, scene.strips, strict=True):
            off = np.linalg.norm(outline.corners_mm - np.array(strip.corners_mm), axis=1).max()
            # Scissors leave a corner off the straight sides that are looked for, by what they are off at most. A strip that is
            # bent up is seen elsewhere than it lies: some three quarters of its height at 45 degrees.
            crooked = max((abs(away) for cut in laid.cuts for _, away in cut), default=0.0)
            assert off < (0.15 + crooked if laid.lift.kind == "flat" else 3.0)


# ---- measures


@pytest.mark.parametrize("blur_px", [1.5, 3.0, 5.0])
@pytest.mark.parametrize("noise", [1.0, 8.0])
def test_blur_is_measured_on_the_card(blur_px: float, noise: float) -> None:
    shot = shoot(SHEET, blur_px=blur_px, noise=noise, light=lambda x, y: np.full_like(x, 0.8))
    assert _judge(shot).blur_mm == pytest.approx(blur_px / shot.camera.px_per_mm(SHEET.panel.centre), rel=0.2, abs=0.05)


def _judge(shot: Shot) -> Quality:
    view, sheet = sheet_of(shot)
    outlines = find_strips(shot.photo, view.mapping, papers_on(sheet, SHEET, DEFAULTS.strip), SHEET, DEFAULTS.strip)
    return judge(shot.photo, sighting_of(shot), view, sheet, outlines, SHEET, DEFAULTS.quality)


@pytest.mark.parametrize("white", [0.7, 0.2])
def test_white_is_the_light_on_the_page(white: float) -> None:
    quality = _judge(shoot(SHEET, light=lambda x, y: np.full_like(x, white)))
    assert quality.white == pytest.approx(white, rel=0.05)
    assert quality.flags == ()


def test_dim_light_is_flagged_before_it_is_refused() -> None:
    assert [f.code for f in _judge(shoot(SHEET, light=lambda x, y: np.full_like(x, 0.07))).flags] == ["too-dark"]


def test_paper_lighter_than_the_camera_can_tell_is_no_reflection() -> None:
    """The exposure, not a lamp, is at fault: in all channels or in one alone."""
    page = page_of(SHEET)
    lay(page, strip_corners((104, 148), 60, 180, 1), 255)
    assert [f.code for f in _judge(shoot(SHEET, page, light=lambda x, y: np.full_like(x, 1.02))).flags] == [
        "too-bright"
    ]
    lay(page, strip_corners((104, 148), 60, 180, 1), (250, 255, 235))
    assert [f.code for f in _judge(shoot(SHEET, page, light=lambda x, y: np.full_like(x, 0.97))).flags] == [
        "too-bright"
    ]
    assert _judge(shoot(SHEET, page, light=lambda x, y: np.full_like(x, 0.9))).flags == ()


def test_a_reflection_on_a_well_exposed_sheet_is_one() -> None:
    page = page_of(SHEET)
    lay(page, strip_corners((104, 148), 60, 180, 1), 255)
    lamp = lambda x, y: 0.7 + 0.5 * np.exp(-(((x - 104) / 9) ** 2) - ((y - 120) / 9) ** 2)  # noqa: E731
    assert [f.code for f in _judge(shoot(SHEET, page, light=lamp)).flags] == ["glare"]


def test_a_strip_over_most_of_the_panel_is_no_glare() -> None:
    page = page_of(SHEET)
    lay(page, strip_corners((104, 148), 148, 208, 1), 255)
    assert _judge(shoot(SHEET, page, light=lambda x, y: np.full_like(x, 0.9))).flags == ()


def test_a_side_of_the_card_out_of_the_photo_is_flagged() -> None:
    shot = shoot(SHEET, camera=replace(PLAIN, offset=(0.3, 0.0)))
    sighting = find_card(shot.photo, DEFAULTS.marker, DEFAULTS.view)
    view = fit_view(sighting, SHEET, shot.photo.pixels.shape, DEFAULTS.view)
    sheet = rectified_sheet(shot.photo, view, SHEET, DEFAULTS.light)
    quality = judge(shot.photo, sighting, view, sheet, (), SHEET, DEFAULTS.quality)
    assert [f.code for f in quality.flags] == ["card-incomplete"]


@pytest.mark.parametrize("other", ["sheet", "tray"])
def test_another_card_in_the_picture_is_said(other: str) -> None:
    """Of the same kind or the other one, beside the card that is measured."""
    small = {"sheet": scenes.typical(4003), "tray": scenes.tray(4003)}[other]
    shots = [
        np.asarray(Image.open(BytesIO(render(smaller(scene)).data)).convert("RGB"))
        for scene in (scenes.typical(4001), small)
    ]
    height = min(len(shot) for shot in shots)
    both = BytesIO()
    Image.fromarray(np.concatenate([shot[:height] for shot in shots], axis=1)).save(both, "JPEG", quality=92)
    assert "another-card" in [flag.code for flag in judged(both.getvalue())[0].flags]


@pytest.mark.parametrize("seed", range(2))
def test_a_photo_that_a_messenger_shrank_has_few_pixels(seed: int) -> None:
    """So small on the card that the blocks of its compression are as large as spots."""
    assert codes(scenes.sent(seed)) == ["few-pixels"]
