"""Strips' outlines against where they were laid, what is not a strip, and the strip cut out in its own frame."""

from dataclasses import replace

import cv2
import numpy as np
import pytest

from tests.imaging.shots import PLAIN, SCALE, Shot, lay, page_of, sheet_of, shoot, strip_corners
from webcapture.card.layout import card_layout
from webcapture.imaging.papers import papers_on, unread_paper
from webcapture.imaging.strips import cut_strip, find_strips
from webcapture.model import Bytes8, Floats, StripImage, StripOutline
from webcapture.settings import DEFAULTS

SHEET, TRAY = card_layout(), card_layout("tray")
PANEL = SHEET.panel
WET = 182
"""Grey, in sRGB, of paper that reflects half of what it does when dry."""


def found(shot: Shot) -> tuple[StripOutline, ...]:
    view, sheet = sheet_of(shot)
    return find_strips(shot.photo, view.mapping, papers_on(sheet, shot.card, DEFAULTS.strip), shot.card, DEFAULTS.strip)


def outlines_on(page: Bytes8, **how: object) -> tuple[StripOutline, ...]:
    return found(shoot(SHEET, page, **how))  # type: ignore[arg-type]


def error_mm(outline: StripOutline, corners_mm: Floats) -> float:
    return float(np.linalg.norm(outline.corners_mm - corners_mm, axis=1).max())


STRIPS = {
    "usual": ((95.0, 150.0), 25.0, 180.0, 3.0),
    "narrow": ((120.0, 160.0), 9.0, 150.0, -2.0),
    "very wide": ((104.0, 148.0), 145.0, 200.0, 1.0),
    "short": ((70.0, 180.0), 20.0, 60.0, 0.0),
    "turned right": ((100.0, 148.0), 22.0, 180.0, 10.0),
    "turned left": ((100.0, 148.0), 15.0, 200.0, -10.0),
    "at the bay's left edge": ((SHEET.bays[0].rect.x + 12.5, 150.0), 25.0, 170.0, 0.0),
    "over the bay's right edge": ((SHEET.bays[0].rect.right - 6.0, 150.0), 25.0, 170.0, 0.0),
    "a turned sheet": ((105.0, 148.0), 110.0, 150.0, 8.0),
}


ON_THE_LINE = ("very wide", "at the bay's left edge", "over the bay's right edge")


@pytest.mark.parametrize("name", STRIPS)
def test_the_outline_lies_where_the_strip_was_laid(name: str) -> None:
    laid = strip_corners(*STRIPS[name])
    page = page_of(SHEET)
    lay(page, laid)
    (outline,) = outlines_on(page, camera=replace(PLAIN, tilt_deg=18, azimuth_deg=100, k1=0.03))
    # At 6 px/mm; where the bay's black line runs along the edge instead of the tint, the middle level lies elsewhere.
    assert error_mm(outline, laid) < (0.15 if name in ON_THE_LINE else 0.08)
    _, width, length, turn = STRIPS[name]
    assert (outline.width_mm, outline.length_mm) == pytest.approx((width, length), abs=0.12)
    assert np.degrees(np.arctan2(outline.axis[0], -outline.axis[1])) == pytest.approx(turn, abs=0.05)
    assert outline.bay == 1
    assert outline.u_edge_mm < 0.05
    assert not outline.cut_off
    for points, n in ((outline.left_edge_mm, 0), (outline.right_edge_mm, 1)):
        along = (laid[3] - laid[0]) / length
        off = (points - laid[n]) @ (-along[1], along[0])
        assert np.abs(off).max() < 0.15
        assert np.all(np.diff(points @ along) > 0)


def test_a_full_tray_in_the_order_of_its_bays() -> None:
    rng = np.random.default_rng(3)
    page = page_of(TRAY)
    laid = []
    for bay in TRAY.bays:
        width = rng.uniform(10, 23)
        x, y = bay.rect.centre
        at = (x + rng.uniform(-1, 1) * (12 - width / 2), y + rng.uniform(-8, 8))
        laid.append(strip_corners(at, width, rng.uniform(150, 195), rng.uniform(-1.0, 1.0)))
        lay(page, laid[-1], int(rng.integers(225, 250)))
    outlines = found(shoot(TRAY, page))
    assert [outline.bay for outline in outlines] == [1, 2, 3, 4, 5, 6]
    assert [outline.strip for outline in outlines] == [1] * 6
    assert max(error_mm(outline, corners) for outline, corners in zip(outlines, laid, strict=True)) < 0.1


def test_a_row_of_strips_in_one_bay_is_counted_from_the_left() -> None:
    """Whatever order they were found in: the third hangs lower than the first, the second stands higher."""
    page = page_of(SHEET)
    laid = [strip_corners((x, y), 22, 150, 0.5) for x, y in ((55, 150), (90, 140), (125, 160), (160, 150))]
    for corners in laid:
        lay(page, corners, 238)
    outlines = found(shoot(SHEET, page))
    assert [(outline.bay, outline.strip) for outline in outlines] == [(1, 1), (1, 2), (1, 3), (1, 4)]
    assert max(error_mm(outline, corners) for outline, corners in zip(outlines, laid, strict=True)) < 0.1


def test_on_a_blurred_grey_photo_in_a_shadow() -> None:
    page = page_of(SHEET)
    laid = strip_corners((95, 150), 25, 180, 3)
    lay(page, laid, 225)
    shadow = lambda x, y: 0.5 - 0.22 * np.tanh((y - 140 + 0.5 * x) / 4)  # noqa: E731
    (outline,) = outlines_on(page, blur_px=1.2, noise=5, light=shadow)
    assert error_mm(outline, laid) < 0.25


@pytest.mark.parametrize("depth", [0.45, 0.5, 0.55])
def test_in_the_shadow_of_a_hand(depth: float) -> None:
    """Five soft fingers over half of a sheet: what they shade is as dark as the card's tint under a lamp."""
    page = page_of(SHEET)
    laid = strip_corners((100, 150), 100, 180, 2)
    lay(page, laid, 225)

    def hand(x: Floats, y: Floats) -> Floats:
        fingers = sum(0.5 - 0.5 * np.tanh((np.abs(y - at) - 7) / 3) for at in (90, 112, 134, 156))
        reach = 0.5 - 0.5 * np.tanh((x - 120) / 4)
        palm = (0.5 - 0.5 * np.tanh((np.abs(y - 123) - 40) / 4)) * (0.5 - 0.5 * np.tanh((x - 60) / 4))
        return 0.85 * (1 - depth * np.clip(np.maximum(fingers * reach, palm), 0, 1))

    shot = shoot(SHEET, page, light=hand)
    (outline,) = found(shot)
    assert error_mm(outline, laid) < 0.4
    _, sheet = sheet_of(shot)
    assert not unread_paper(papers_on(sheet, SHEET, DEFAULTS.strip), (outline,), DEFAULTS.strip)


@pytest.mark.parametrize("brighter", [0.3, 0.5, 0.6])
def test_a_lamp_on_the_tint_makes_no_paper_of_it(brighter: float) -> None:
    lamp = lambda x, y: 0.5 * (1 + brighter * np.exp(-(((x - 70) / 25) ** 2) - ((y - 120) / 30) ** 2))  # noqa: E731
    shot = shoot(SHEET, light=lamp)
    assert found(shot) == ()
    _, sheet = sheet_of(shot)
    assert not unread_paper(papers_on(sheet, SHEET, DEFAULTS.strip), (), DEFAULTS.strip)


@pytest.mark.parametrize("colour", [(200, 60, 110), (70, 90, 190), (90, 90, 90), (40, 40, 40)])
def test_dark_bands_do_not_divide_a_strip(colour: tuple[int, int, int]) -> None:
    page = page_of(SHEET)
    laid = strip_corners((95, 150), 25, 180, 3)
    lay(page, laid)
    for y in (90, 130, 190):
        lay(page, strip_corners((95 + (150 - y) * 0.05, y), 25, 10, 3), colour)
    (outline,) = outlines_on(page)
    assert error_mm(outline, laid) < 0.15


# ---- what disturbs


def test_an_empty_card() -> None:
    assert outlines_on(page_of(SHEET)) == ()
    assert found(shoot(TRAY)) == ()


def test_what_is_no_strip() -> None:
    page = page_of(SHEET)
    round_ = np.linspace(0, 2 * np.pi, 90)[:, None]
    lay(page, np.array([80.0, 100.0]) + 30 * np.hstack([np.cos(round_), np.sin(round_)]))  # a filter paper
    lay(page, strip_corners((150, 100), 20, 30, 0))  # a label
    lay(page, np.array([(60.0, 180.0), (110.0, 180.0), (60.0, 240.0)]))  # a corner torn off
    lay(page, strip_corners((150, 200), 25, 90, 40))  # a strip thrown down askew
    lay(page, strip_corners((130, 225), 4, 60, 0))  # a sliver
    assert outlines_on(page) == ()


@pytest.mark.parametrize("side", [-1, 1])
def test_papers_that_reach_onto_the_panel_are_none(side: int) -> None:
    page = page_of(SHEET)
    laid = strip_corners((105, 150), 25, 180, 3)
    lay(page, laid)
    lay(page, strip_corners((105 + side * 105, 130), 60, 80, 15), 235)
    (outline,) = outlines_on(page)
    assert error_mm(outline, laid) < 0.06


def test_a_paper_that_touches_the_strip() -> None:
    page = page_of(SHEET)
    laid = strip_corners((120, 150), 60, 180, 3)
    lay(page, laid)
    lay(page, strip_corners((185, 190), 80, 50, 25), 235)
    (outline,) = outlines_on(page)
    assert error_mm(outline, laid) < 0.1


def test_a_reflection_beside_and_over_the_strip() -> None:
    page = page_of(SHEET)
    laid = strip_corners((105, 150), 25, 180, 3)
    lay(page, laid)
    y, x = np.mgrid[: page.shape[0], : page.shape[1]] / SCALE
    shine = 150 * np.exp(-(((x - 120) / 25) ** 2) - ((y - 140) / 18) ** 2)
    page = np.clip(page + shine[..., None], 0, 255).astype(np.uint8)
    (outline,) = outlines_on(page)
    assert error_mm(outline, laid) < 0.3


# ---- cut off


def test_a_strip_past_the_foot_of_the_panel() -> None:
    page = page_of(SHEET)
    laid = strip_corners((105, PANEL.bottom - 70), 25, 180, 2)
    lay(page, laid)
    (outline,) = outlines_on(page)
    assert outline.cut_off
    assert np.linalg.norm(outline.corners_mm - laid, axis=1)[2:].max() < 0.06
    assert outline.corners_mm[:2, 1] == pytest.approx(PANEL.bottom, abs=2.0)


def test_a_strip_past_the_side_of_a_tray() -> None:
    page = page_of(TRAY)
    laid = strip_corners((TRAY.panel.x + 8, 150), 24, 180, 0)
    lay(page, laid)
    (outline,) = found(shoot(TRAY, page))
    assert (outline.cut_off, outline.bay) == (True, 1)
    assert np.linalg.norm(outline.corners_mm - laid, axis=1)[1:3].max() < 1.0


@pytest.mark.parametrize("width", [24.0, 25.0, 26.0])
def test_strips_wider_than_the_outer_bays(width: float) -> None:
    """Between them and the panel's border are left 1.5 to 2.5 mm of tint."""
    page, wide = page_of(TRAY), (TRAY.bays[0], TRAY.bays[-1])
    laid = [strip_corners((bay.rect.centre[0], 150), width, 170, 0) for bay in wide]
    for corners in laid:
        lay(page, corners)
    outlines = found(shoot(TRAY, page))
    assert [outline.bay for outline in outlines] == [1, 6]
    assert max(error_mm(*pair) for pair in zip(outlines, laid, strict=True)) < 0.15


def test_a_strip_past_the_edge_of_the_photo() -> None:
    page = page_of(SHEET)
    laid = strip_corners((105, 160), 25, 180, 2)
    lay(page, laid)
    (outline,) = outlines_on(page, camera=replace(PLAIN, offset=(0.0, 0.22)))
    assert outline.cut_off
    assert np.linalg.norm(outline.corners_mm - laid, axis=1)[2:].max() < 0.06


# ---- the strip's own picture


def cut(page: Bytes8, **how: object) -> StripImage:
    shot = shoot(SHEET, page, **how)  # type: ignore[arg-type]
    view, sheet = sheet_of(shot)
    (outline,) = find_strips(
        shot.photo, view.mapping, papers_on(sheet, shot.card, DEFAULTS.strip), shot.card, DEFAULTS.strip
    )
    return cut_strip(shot.photo, view, outline, DEFAULTS.strip)


@pytest.mark.parametrize("turn", [-8.0, 0.0, 5.0])
def test_a_mark_lies_where_the_frame_says(turn: float) -> None:
    page = page_of(SHEET)
    laid = strip_corners((100, 150), 30, 180, turn)
    lay(page, laid)
    along, across = (laid[3] - laid[0]) / 180, (laid[1] - laid[0]) / 30
    marks = [(20.0, 7.0), (90.0, 15.0), (160.0, 24.0)]
    for s, t in marks:
        lay(page, strip_corners(tuple(laid[0] + s * along + t * across), 3, 3, turn), 60)  # type: ignore[arg-type]
    image = cut(page)
    paper = float(np.median(image.logs[..., 1]))
    rows, cols = (np.arange(n) for n in image.logs.shape[:2])
    for s, t in marks:
        place = (image.margin_mm + np.array([s, t])) * image.px_per_mm - 0.5
        window = tuple(slice(round(p) - 20, round(p) + 21) for p in place)
        depth = np.clip(paper - image.logs[window][..., 1], 0, None)
        centre = (depth.sum(axis=1) @ rows[window[0]], depth.sum(axis=0) @ cols[window[1]]) / depth.sum()
        assert np.abs(centre - place).max() / image.px_per_mm < 0.05
    at = np.array(image.start_mm) + 90.0 * np.array(image.axis) + 15.0 * np.array((-image.axis[1], image.axis[0]))
    assert np.abs(at - (laid[0] + 90 * along + 15 * across)).max() < 0.05


def test_the_scale_leaves_whole_pixels_to_the_margin() -> None:
    for width, length in ((25, 180), (60, 170), (145, 205)):
        page = page_of(SHEET)
        lay(page, strip_corners((104, 148), width, length, 0))
        image = cut(page, camera=replace(PLAIN, size_px=(2250, 3000)))
        assert (image.margin_mm * image.px_per_mm) % 1 == 0
        assert image.px_per_mm <= DEFAULTS.strip.px_per_mm
        assert image.logs.shape[0] * image.logs.shape[1] <= DEFAULTS.strip.most_pixels * 1.01
        assert image.logs.shape[:2] == pytest.approx(
            ((length + 8) * image.px_per_mm, (width + 8) * image.px_per_mm), abs=1.5
        )


def test_a_coarse_photo_is_spread_over_more_pixels() -> None:
    page = page_of(SHEET)
    lay(page, strip_corners((104, 148), 25, 180, 0))
    image = cut(page, camera=replace(PLAIN, size_px=(630, 840)))
    assert image.px_per_mm == DEFAULTS.strip.least_px_per_mm
    assert (image.margin_mm * image.px_per_mm) % 1 == 0


def test_light_beside_the_strip_follows_a_gradient_and_a_shadow() -> None:
    page = page_of(SHEET)
    lay(page, strip_corners((100, 150), 25, 180, 0))
    image = cut(page, light=lambda x, y: 0.7 * (1 - 0.3 * (np.tanh((y - 140) / 2) + 1) / 2) * (1 + 0.001 * (150 - y)))
    s = (np.arange(image.logs.shape[0]) + 0.5) / image.px_per_mm - image.margin_mm
    y = 240 - s
    true = np.log10((1 - 0.3 * (np.tanh((y - 140) / 2) + 1) / 2) * (1 + 0.001 * (150 - y)))
    inner = (s > 3) & (s < 177)
    for side in image.light.T:
        off = side[inner] - true[inner]
        assert np.std(off) < 0.01


# ---- cut to a point


@pytest.mark.parametrize("turn", [0.0, -4.0])
@pytest.mark.parametrize(("foot", "head"), [(8.0, 0.0), (0.0, 6.0), (12.0, -6.0)])
def test_a_pointed_or_notched_end_begins_where_the_strip_is_broad(foot: float, head: float, turn: float) -> None:
    """A foot cut to a point, so that its tip alone is dipped; a head cut to a point, or notched: one flank is no end."""
    width, length = 16.0, 150.0
    whole = strip_corners((130, 140), width, length, turn)
    left, right, top_right, top_left = whole
    up = (top_left - left) / length
    tip, crown = (left + right) / 2 - foot * up, (top_left + top_right) / 2 + head * up
    page = page_of(SHEET)
    lay(page, np.array([left, tip, right, top_right, crown, top_left]))
    (outline,) = outlines_on(page, camera=replace(PLAIN, tilt_deg=12, azimuth_deg=40))
    broad = outline.corners_mm
    ends = np.array([(broad[n] - whole[n]) @ up for n in range(4)])  # a notch ends where the strip is broad below it
    # It counts as broad from 19 of 20 parts of its width on: 0.4 mm from the corner on each flank, times its slope.
    assert ends[:2] == pytest.approx([0.0, 0.0], abs=1.0)
    assert ends[2:] == pytest.approx([min(head, 0.0)] * 2, abs=1.0)
    across = np.array([up[1], -up[0]])
    assert [(broad[n] - whole[n]) @ across for n in range(4)] == pytest.approx([0.0] * 4, abs=0.1)
    assert outline.length_mm == pytest.approx(length + min(head, 0.0), abs=1.5)


def test_a_careless_cut_keeps_its_slant() -> None:
    """Ten degrees off square, as scissors leave it."""
    corners = strip_corners((130, 140), 16, 150, 0)
    corners[1] += (0.0, 2.8)
    page = page_of(SHEET)
    lay(page, corners)
    (outline,) = outlines_on(page)
    assert error_mm(outline, corners) < 0.15


# ---- still wet


@pytest.mark.parametrize("dry", [0.0, 0.15, 0.45, 0.7])
@pytest.mark.parametrize("turn", [0.0, 3.0])
def test_a_strip_that_is_still_wet_is_found_whole(dry: float, turn: float) -> None:
    """Wet paper is half as light as dry; its dry end alone is no strip."""
    page = page_of(SHEET)
    lay(page, strip_corners((80, 130), 20, 150, 0))
    whole = strip_corners((130, 130), 18, 140, turn)
    lay(page, whole, WET)
    if dry:
        bottom, top = whole[:2], whole[[3, 2]]
        edge = top + dry * (bottom - top)
        lay(page, np.array([edge[0], edge[1], top[1], top[0]]))
    shot = shoot(SHEET, page)
    assert unread(shot) == (2, False)
    assert error_mm(found(shot)[1], whole) < 0.15


def test_a_reflection_as_pale_as_wet_paper_is_no_strip() -> None:
    page = page_of(SHEET)
    lay(page, strip_corners((80, 130), 20, 150, 0))
    middle, axes = (round(130 * SCALE), round(130 * SCALE)), (round(14 * SCALE), round(60 * SCALE))
    cv2.ellipse(page, middle, axes, 0, 0, 360, (WET,) * 3, -1)
    assert unread(shoot(SHEET, page)) == (1, False)


# ---- what is left unread


def unread(shot: Shot) -> tuple[int, bool]:
    """(how many strips were found, whether something else of their size lies there)."""
    view, sheet = sheet_of(shot)
    outlines = find_strips(
        shot.photo, view.mapping, papers_on(sheet, shot.card, DEFAULTS.strip), shot.card, DEFAULTS.strip
    )
    return len(outlines), unread_paper(papers_on(sheet, shot.card, DEFAULTS.strip), outlines, DEFAULTS.strip)


def test_a_strip_over_the_border_between_two_bays_is_measured() -> None:
    page = page_of(TRAY)
    between = (TRAY.bays[1].rect.right + TRAY.bays[2].rect.x) / 2
    lay(page, strip_corners((between, 150), 20, 150, 0))
    lay(page, strip_corners((TRAY.bays[4].rect.centre[0], 150), 20, 150, 0))
    assert unread(shoot(TRAY, page)) == (2, False)


@pytest.mark.parametrize(
    "other",
    [strip_corners((150, 200), 25, 90, 40), strip_corners((110, 225), 100, 20, 0)],
    ids=["askew", "lying across"],
)
def test_paper_that_was_not_read_is_told(other: Floats) -> None:
    page = page_of(SHEET)
    lay(page, strip_corners((80, 130), 20, 150, 0))
    assert unread(shoot(SHEET, page)) == (1, False)
    lay(page, other)
    assert unread(shoot(SHEET, page)) == (1, True)


def test_wet_paper_that_was_not_read_is_told() -> None:
    page = page_of(SHEET)
    lay(page, strip_corners((80, 130), 20, 150, 0))
    lay(page, strip_corners((150, 200), 25, 90, 40), WET)
    assert unread(shoot(SHEET, page)) == (1, True)


def test_an_empty_card_and_scraps_leave_nothing_unread() -> None:
    page = page_of(SHEET)
    lay(page, strip_corners((150, 100), 15, 25, 0))
    assert unread(shoot(SHEET, page)) == (0, False)
    assert unread(shoot(TRAY)) == (0, False)
