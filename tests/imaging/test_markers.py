"""Finding the card: every card, every turn, half covered, beside others; and the right refusal where there is none."""

from dataclasses import replace

import cv2
import numpy as np
import pytest

from tests.imaging.shots import PLAIN, SCALE, Shot, lay, page_of, shoot, strip_corners
from webcapture.card.layout import CELL_MM, LAYOUTS, PAPERS_MM, TAG_MM, TAG_MODULES, card_layout
from webcapture.errors import CardIncomplete, NoCard, OutOfFocus, TooDark
from webcapture.imaging.markers import find_card
from webcapture.model import Bytes8, CardSighting, Photo
from webcapture.settings import DEFAULTS

SHEET = card_layout()


def found(photo: Photo) -> CardSighting:
    return find_card(photo, DEFAULTS.marker, DEFAULTS.view)


def photo_of(pixels: Bytes8) -> Photo:
    return Photo(pixels, None, (pixels.shape[1], pixels.shape[0]), "JPEG")


def errors_px(shot: Shot) -> np.ndarray:
    sighting = found(shot.photo)
    return np.linalg.norm(sighting.points_px - shot.camera.project(sighting.points_mm), axis=1)


# ---- which card, and where


@pytest.mark.parametrize("layout", LAYOUTS)
@pytest.mark.parametrize("paper", PAPERS_MM)
def test_each_card_is_known_for_what_it_is(layout: str, paper: str) -> None:
    card = card_layout(layout, paper)
    sighting = found(shoot(card).photo)
    assert (sighting.layout, sighting.paper) == (layout, paper)
    assert sighting.tags_seen >= 10
    assert len(sighting.points_mm) == len(card.saddles)


@pytest.mark.parametrize("roll", [0, 37, 90, 140, 180, 270, 315])
def test_from_any_side(roll: int) -> None:
    shot = shoot(SHEET, camera=replace(PLAIN, roll_deg=roll, size_px=(1800, 1800), fill=0.95))
    errors = errors_px(shot)
    assert len(errors) == len(SHEET.saddles)
    assert errors.max() < 0.5


@pytest.mark.parametrize("tilt", [0, 15, 32])
@pytest.mark.parametrize("k1", [-0.05, 0.05])
def test_saddles_lie_where_the_camera_has_them(tilt: int, k1: float) -> None:
    errors = errors_px(shoot(SHEET, camera=replace(PLAIN, tilt_deg=tilt, k1=k1)))
    assert len(errors) == len(SHEET.saddles)
    assert np.median(errors) < 0.05
    assert errors.max() < 0.25


def test_saddles_have_no_bias() -> None:
    shot = shoot(SHEET, blur_px=1.5)
    sighting = found(shot.photo)
    off = sighting.points_px - shot.camera.project(sighting.points_mm)
    assert np.abs(off.mean(axis=0)).max() < 0.02


def test_each_exif_orientation_gives_the_same_places() -> None:
    upright = shoot(SHEET)
    expected = found(upright.photo)
    for orientation, stored in enumerate(_as_stored(upright.photo.stored), start=1):
        photo = replace(upright.photo, stored=np.ascontiguousarray(stored), orientation=orientation)
        np.testing.assert_array_equal(photo.pixels, upright.photo.stored)
        sighting = found(photo)
        assert np.abs(sighting.points_px - expected.points_px).max() < 0.05


def _as_stored(upright: Bytes8) -> list[Bytes8]:
    """What a camera stores so that orientations 1 to 8 of the Exif standard (CIPA DC-008) turn it upright."""
    turned = upright.swapaxes(0, 1)
    return [
        upright, upright[:, ::-1], upright[::-1, ::-1], upright[::-1],
        turned, turned[::-1], turned[::-1, ::-1], turned[:, ::-1],
    ]  # fmt: skip


def test_padded_pixels_are_the_same_photo() -> None:
    shot = shoot(SHEET)
    padded = np.dstack([shot.photo.stored, np.full(shot.photo.stored.shape[:2], 255, np.uint8)])
    sighting, expected = found(replace(shot.photo, stored=padded)), found(shot.photo)
    np.testing.assert_array_equal(sighting.points_px, expected.points_px)


# ---- what covers it, what lies about


def covered(page: Bytes8, tags: list[int], level: int = 225) -> None:
    for n in tags:
        x, y = SHEET.tags[n].rect.centre
        lay(page, strip_corners((x, y), 16, 16, 20), level)


@pytest.mark.parametrize("seed", range(4))
def test_half_its_tags_covered(seed: int) -> None:
    page = page_of(SHEET)
    covered(page, np.random.default_rng(seed).permutation(12)[:6].tolist())
    shot = shoot(SHEET, page, camera=replace(PLAIN, tilt_deg=20, k1=0.04, azimuth_deg=90 * seed))
    errors = errors_px(shot)
    assert len(errors) > 0.75 * len(SHEET.saddles)
    assert errors.max() < 0.3


def specked(page: Bytes8, count: int) -> None:
    """So many of each tag's 36 cells turned from black to white or the other way."""
    cell = TAG_MM / TAG_MODULES * SCALE
    for n, tag in enumerate(SHEET.tags):
        for bit in np.random.default_rng(n).permutation(36)[:count].tolist():
            left, top = (round(c * SCALE + (1 + k) * cell) for c, k in ((tag.rect.x, bit % 6), (tag.rect.y, bit // 6)))
            part = page[top : top + round(cell), left : left + round(cell)]
            part[:] = 255 - part


def test_as_many_specks_are_forgiven_as_the_settings_say() -> None:
    most = DEFAULTS.marker.correctable_bits
    page = page_of(SHEET)
    specked(page, most)
    assert found(shoot(SHEET, page).photo).tags_seen == len(SHEET.tags)
    page = page_of(SHEET)
    specked(page, most + 1)
    with pytest.raises(NoCard):
        found(shoot(SHEET, page).photo)


def test_tags_of_one_end_alone_lead_to_all_saddles() -> None:
    """Half of the tags all at one end predict the other end badly; the saddles lead there."""
    page = page_of(SHEET)
    low = [n for n, tag in enumerate(SHEET.tags) if tag.rect.y > SHEET.page_mm[1] / 2 + 10]
    covered(page, low)
    shot = shoot(SHEET, page, camera=replace(PLAIN, tilt_deg=25, k1=0.05, azimuth_deg=90))
    sighting = found(shot.photo)
    assert np.ptp(sighting.points_mm[:, 1]) == np.ptp(np.array(SHEET.saddles)[:, 1])
    assert errors_px(shot).max() < 0.3


def test_papers_over_the_frame_give_no_wrong_saddles() -> None:
    page = page_of(SHEET)
    rng = np.random.default_rng(4)
    for _ in range(6):
        angle = rng.uniform(0, 2 * np.pi)
        centre = (105 + 100 * np.cos(angle), 148 + 145 * np.sin(angle))
        lay(page, strip_corners(centre, rng.uniform(12, 35), rng.uniform(20, 60), rng.uniform(-90, 90)), 235)
    assert errors_px(shoot(SHEET, page)).max() < 0.5


def test_the_better_seen_of_two_cards() -> None:
    """Whether it is another card or a second copy of the same."""
    page = page_of(SHEET)
    covered(page, [0, 3, 5, 7])
    poorer = _with_lens(SHEET, page)
    for other in (card_layout("tray"), card_layout("sheet", "letter"), SHEET):
        better = shoot(other)
        sighting = found(photo_of(np.hstack([poorer.photo.stored, better.photo.stored])))
        assert (sighting.layout, sighting.paper) == (other.layout, other.paper)
        expected = better.camera.project(sighting.points_mm) + (PLAIN.size_px[0], 0)
        # The wide picture's lens is fitted about its own middle, so only the coarse place is compared.
        assert np.median(np.linalg.norm(sighting.points_px - expected, axis=1)) < 0.1


def _with_lens(card: object, page: Bytes8) -> Shot:
    return shoot(SHEET, page, camera=replace(PLAIN, tilt_deg=12, azimuth_deg=200))


def test_a_halftone_screen_and_noise() -> None:
    page = page_of(SHEET)
    y, x = np.mgrid[: page.shape[0], : page.shape[1]] / SCALE
    dots = np.cos(2 * np.pi * (x + y) / 0.5) * np.cos(2 * np.pi * (x - y) / 0.5)
    tint = (page > 100) & (page < 180)
    page = np.where(tint, np.where(dots[..., None] > 0.12, 250, 60), page).astype(np.uint8)
    assert errors_px(shoot(SHEET, page, noise=6)).max() < 0.5


# ---- where there is none


def clutter(seed: int) -> Bytes8:
    """A table with papers, writing, chequers and squares of other kinds, but no card."""
    rng = np.random.default_rng(seed)
    picture = np.full((1500, 2000), rng.integers(60, 140), np.uint8)
    for _ in range(25):
        corners = strip_corners(
            tuple(rng.uniform(0, 1) * n for n in (2000, 1500)), *rng.uniform(40, 500, 2), rng.uniform(0, 90)
        )  # type: ignore[arg-type]
        cv2.fillPoly(picture, [corners.astype(np.int32)], int(rng.integers(20, 250)))
    for _ in range(12):
        cells = (rng.random((8, 8)) > 0.5).astype(np.uint8) * 210 + 20
        cells[[0, -1]] = cells[:, [0, -1]] = 20
        side = int(rng.integers(40, 120))
        x, y = rng.integers(0, 1300, 2)
        picture[y : y + side, x : x + side] = cv2.resize(cells, (side, side), interpolation=cv2.INTER_NEAREST)
    chequers = np.indices((40, 40)).sum(axis=0) % 2 * 200 + 30
    picture[100:900, 1100:1900] = cv2.resize(chequers.astype(np.uint8), (800, 800), interpolation=cv2.INTER_NEAREST)
    noisy = cv2.GaussianBlur(picture, (0, 0), 0.8) + rng.normal(0, 2, picture.shape)
    return np.repeat(np.clip(noisy, 0, 255).astype(np.uint8)[..., None], 3, axis=2)


@pytest.mark.parametrize("seed", range(5))
def test_clutter_is_no_card(seed: int) -> None:
    with pytest.raises(NoCard, match="No calibration card"):
        found(photo_of(clutter(seed)))


@pytest.mark.parametrize("kept", [[4], [1, 8]])
def test_too_few_tags(kept: list[int]) -> None:
    page = page_of(SHEET)
    covered(page, [n for n in range(12) if n not in kept])
    with pytest.raises(CardIncomplete, match=f"Only {len(kept)} of the card's twelve"):
        found(shoot(SHEET, page).photo)


@pytest.mark.parametrize("k1", [0.0, 0.04])
def test_one_side_of_the_frame_is_too_little(k1: float) -> None:
    """Three tags and many saddles, but all beside one line: how the card lies is left open."""
    page = page_of(SHEET)
    page[:, round((SHEET.frame.x + 3 * CELL_MM) * SCALE) :] = 225
    with pytest.raises(CardIncomplete, match="one side"):
        found(shoot(SHEET, page, camera=replace(PLAIN, k1=k1)).photo)


def test_tags_without_their_frame() -> None:
    """A card cut out along its frame's inner edge but for some tags: nothing carries the geometry."""
    page = page_of(SHEET)
    for x, y in SHEET.saddles[::1]:
        lay(page, strip_corners((x, y), 4, 4, 0), 250)
    with pytest.raises(CardIncomplete, match=r"Only \d+ of the 98 corners"):
        found(shoot(SHEET, page).photo)


def test_blurred_beyond_recognition() -> None:
    with pytest.raises(OutOfFocus):
        found(shoot(SHEET, blur_px=9).photo)


def test_clutter_in_focus_is_not_called_blurred_nor_night_a_missing_card() -> None:
    with pytest.raises(NoCard):
        found(photo_of(clutter(7)))
    with pytest.raises(TooDark):
        found(photo_of((clutter(7) * 0.08).astype(np.uint8)))
    with pytest.raises(OutOfFocus):
        found(photo_of(np.asarray(cv2.GaussianBlur(clutter(7), (0, 0), 9), np.uint8)))
