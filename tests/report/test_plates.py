"""What is drawn on a strip and where it goes, before anything is painted."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import isotonic_regression

from tests.report.factory import RUN_MM, SpotSpec, StripSpec, full_tray, make_result, sheet_of_lanes
from webcapture.measure.frame import strip_frame
from webcapture.model import PhotoResult
from webcapture.report.marks import labels, spread, strokes, zero_of_scale
from webcapture.report.pen import Pen
from webcapture.report.plates import (
    ROWS,
    Plate,
    arrange,
    form_for,
    header_badges,
    label_height,
    label_room,
    place_labels,
    row_width,
)
from webcapture.settings import DEFAULTS

TALL = StripSpec(length_mm=200, lanes=(tuple(SpotSpec(0.06 + 0.08 * k, width_mm=3.0) for k in range(12)),))
RESULTS: dict[str, PhotoResult] = {
    "one strip": make_result(StripSpec(turn_deg=4)),
    "two strips": make_result(*full_tray()[1:3], layout="tray"),
    "four strips": make_result(*full_tray()[:4], layout="tray"),
    "a full tray": make_result(*full_tray(), layout="tray"),
    "two lanes": make_result(StripSpec(width_mm=40, lanes=((SpotSpec(0.3),), (SpotSpec(0.31), SpotSpec(0.7))))),
    "many spots": make_result(TALL),
    "many doubts": make_result(StripSpec(bay=1, lanes=((SpotSpec(0.5, flags=("tailing", "merged", "faint", "near-front")),),))),
    "a sheet": make_result(sheet_of_lanes(5)),
    "a full sheet": make_result(sheet_of_lanes(9)),
    "one lane on a sheet": make_result(sheet_of_lanes(1)),
    "letter": make_result(*full_tray(), layout="tray", paper="letter"),
}  # fmt: skip
each_result = pytest.mark.parametrize("name", RESULTS)


def arranged(result: PhotoResult) -> tuple[list[Plate], int, int, Pen]:
    form = form_for(result.strips, DEFAULTS.report)
    pen = Pen(form.letter)
    return *arrange(result.strips, form, pen, 0.0, DEFAULTS.report), pen


@pytest.mark.parametrize("upright", [True, False])
@pytest.mark.parametrize("turn", [0.0, 7.0, -10.0])
def test_a_strips_frame_is_its_own(upright: bool, turn: float) -> None:
    spec = StripSpec(upright=upright, turn_deg=turn, width_mm=22, length_mm=150)
    strip = make_result(spec).strips[0]
    frame = strip_frame(strip)
    lane = strip.lanes[0]
    assert lane.origin_mm is not None and lane.front_mm is not None
    assert (frame.length, frame.width) == pytest.approx((150, 22))
    assert frame.on_strip(lane.origin_mm) == pytest.approx((spec.origin_s, 11.0))
    assert frame.on_strip(lane.front_mm) == pytest.approx((spec.origin_s + RUN_MM, 11.0))
    assert zero_of_scale(strip, frame) == pytest.approx(spec.origin_s)


def test_marks_lie_at_edges_and_centre() -> None:
    strip = make_result(StripSpec(turn_deg=5, lanes=((SpotSpec(0.5, width_mm=6.0),),))).strips[0]
    found = list(strokes(strip, strip_frame(strip)))
    heights = sorted({round(s, 6) for stroke in found if stroke.kind == "spot" for s, _ in stroke.points})
    centre = 22.0 + 0.5 * RUN_MM
    assert heights[0] == pytest.approx(centre - 3) and heights[-1] == pytest.approx(centre + 3)
    crosses = [np.mean(stroke.points, axis=0) for stroke in found if stroke.kind == "centre"]
    assert all(cross == pytest.approx([centre, 10.0]) for cross in crosses)
    assert [stroke.kind for stroke in found][:2] == ["outline", "axis"]


def test_lines_are_drawn_only_where_they_were_seen() -> None:
    strip = make_result(StripSpec(slant=0.05)).strips[0]
    front = next(stroke for stroke in strokes(strip, strip_frame(strip)) if stroke.kind == "front")
    assert front.points[0] == pytest.approx((22 + RUN_MM + 0.05 * 0.5, 0.5))
    assert front.points[-1] == pytest.approx((22 + RUN_MM + 0.05 * 19.5, 19.5))
    blind = make_result(StripSpec(has_origin=False, has_front=False)).strips[0]
    kinds = {stroke.kind for stroke in strokes(blind, strip_frame(blind))}
    assert kinds == {"outline", "axis", "spot", "centre"}


def test_labels_say_what_the_table_says() -> None:
    strip = make_result(StripSpec(lanes=((SpotSpec(0.448, flags=("tailing",)),), (SpotSpec(0.7),)))).strips[0]
    frame = strip_frame(strip)
    first, second = labels(strip, frame, with_lane=True)
    assert (first.number, first.text, first.detail, first.badges) == ("1.1", "0.45", "± 0.01", ("tailing",))
    assert second.number == "2.1"
    assert [label.number for label in labels(strip, frame, with_lane=False)] == ["1", "1"]
    no_front = make_result(StripSpec(has_front=False)).strips[0]
    assert [label.text for label in labels(no_front, strip_frame(no_front), False)] == ["22.5 mm", "54.0 mm", "73.8 mm"]
    no_origin = make_result(StripSpec(has_origin=False)).strips[0]
    assert {label.text for label in labels(no_origin, strip_frame(no_origin), False)} == {"no Rf"}


@each_result
def test_plates_neither_overlap_nor_leave_the_picture(name: str) -> None:
    plates, width, height, _ = arranged(RESULTS[name])
    assert 700 <= width <= 1400 and height <= 3000
    for n, plate in enumerate(plates):
        left, top, wide, high = plate.box
        assert min(left, top) >= 0 and left + wide <= width and top + high <= height
        for other in plates[n + 1 :]:
            apart = abs(plate.x - other.x) >= plate.column - 1 or abs(plate.y - other.y) >= min(
                plate.box[3], other.box[3]
            )
            assert apart
    assert len({plate.px_per_mm for plate in plates}) == 1, "strips in one picture can be compared by eye"


@each_result
def test_every_spot_has_its_label_inside_the_picture(name: str) -> None:
    plates, width, height, pen = arranged(RESULTS[name])
    for plate in plates:
        placed = place_labels(plate, pen)
        spots = [spot for lane in plate.strip.lanes for spot in lane.spots]
        assert sum(1 for label in placed if label.label.number) == len(spots)
        for label in placed:
            assert plate.y < label.y < height
            longest = max(row_width(label.label, pen, row) for row in label.rows)
            limit = width if plate.wide or label.label.text.endswith("mm") else plate.x + plate.column
            # A distance without Rf is written smaller where it has no room: see the painting.
            assert label.label.text.endswith("mm") or label.x + longest <= limit + 1


@each_result
def test_labels_keep_their_order_and_do_not_overlap(name: str) -> None:
    plates, _, _, pen = arranged(RESULTS[name])
    for plate in plates:
        if plate.wide:
            continue
        placed = place_labels(plate, pen)
        starts = [label.start[1] for label in placed]
        assert starts == sorted(starts)
        for above, below in pairwise(placed):
            assert below.y - above.y >= label_height(above.label, pen, above.rows, label_room(plate, pen)) - 0.5


def test_labels_say_less_where_there_is_less_room() -> None:
    def rows(name: str) -> object:
        plates, _, _, pen = arranged(RESULTS[name])
        return place_labels(plates[0], pen)[0].rows

    assert rows("one strip") == ROWS[0], "number, Rf and uncertainty in a row"
    assert rows("a full tray") == ROWS[1], "the uncertainty below"
    assert rows("a full sheet") == ROWS[4], "numbers only"
    assert rows("a sheet") == ROWS[1]
    assert rows("one lane on a sheet") == ROWS[0]


def test_a_lane_near_the_edge_takes_no_ratios_from_the_others() -> None:
    """Its labels stand beside the sheet, and every spot has its Rf."""
    near_edge = sheet_of_lanes(5, width_mm=118.0)
    strip = make_result(near_edge).strips[0]
    last = max(lane.t_range_mm[1] for lane in strip.lanes)
    assert strip_frame(strip).width - last < 20
    plates, width, _, pen = arranged(make_result(near_edge))
    placed = place_labels(plates[0], pen)
    assert all("text" in sum(label.rows, ()) for label in placed)
    assert max(label.x for label in placed) < width


def test_one_spot_without_room_leaves_its_lane_the_ratios() -> None:
    """A spot off its lane's middle stands near the next lane: it alone is told by its number."""
    strip = make_result(sheet_of_lanes(5)).strips[0]
    lane = strip.lanes[1]
    x, y = lane.spots[0].position_mm
    along = strip_frame(strip).across
    astray = replace(lane.spots[0], position_mm=(x + 12 * along[0], y + 12 * along[1]))
    moved = replace(lane, spots=(astray, *lane.spots[1:]))
    changed = replace(strip, lanes=(strip.lanes[0], moved, *strip.lanes[2:]))
    plates, _, _, pen = arranged(replace(make_result(sheet_of_lanes(5)), strips=(changed,)))
    rows = [label.rows for label in place_labels(plates[0], pen) if label.label.lane == 2]
    assert len(rows) == len(moved.spots) > 2
    assert rows.count(ROWS[4]) == 1
    assert rows.count(ROWS[1]) == len(rows) - 1


def test_every_flag_is_written_once() -> None:
    spec = StripSpec(
        lanes=((SpotSpec(0.4, flags=("tailing",)),), ()), flags=("front-slanted",), lane_flags={2: ("no-spots",)}
    )
    strip = make_result(spec).strips[0]
    assert header_badges(strip, wide=False) == ("front slanted", "lane 2: no spots")
    assert header_badges(strip, wide=True) == ("front slanted", "1.1: tailing", "lane 2: no spots")
    single = make_result(replace(spec, lanes=((SpotSpec(0.4, flags=("faint",)),),), lane_flags={})).strips[0]
    assert header_badges(single, wide=True) == ("front slanted", "spot 1: faint")


numbers = st.floats(-200, 1200)
blocks = st.lists(st.tuples(numbers, st.floats(1, 90)), min_size=1, max_size=12)


@given(blocks)
def test_spread_never_overlaps(given_blocks: list[tuple[float, float]]) -> None:
    given_blocks.sort()
    wanted, heights = map(list, zip(*given_blocks, strict=True))
    found = spread(wanted, heights, 0.0, 1100.0)
    for k in range(len(found) - 1):
        assert found[k + 1] - found[k] >= (heights[k] + heights[k + 1]) / 2 - 1e-6
    if sum(heights) <= 1100:
        assert found[0] - heights[0] / 2 >= -1e-6 and found[-1] + heights[-1] / 2 <= 1100 + 1e-6


@given(blocks)
def test_spread_moves_as_little_as_can_be(given_blocks: list[tuple[float, float]]) -> None:
    # Outside check: scipy.optimize.isotonic_regression on the same problem.
    given_blocks.sort()
    wanted, heights = map(np.array, zip(*given_blocks, strict=True))
    offsets = np.cumsum(heights) - heights / 2
    expected = isotonic_regression(wanted - offsets).x + offsets
    assert spread(list(wanted), list(heights), -1e6, 1e6) == pytest.approx(list(expected), abs=1e-6)


def test_badges_fold_instead_of_running_over() -> None:
    pen = Pen(34)
    room = 150.0
    assert pen.badges_height(room, ("did not move",)) > pen.badges_height(500.0, ("did not move",))
    assert pen.badges_height(room, ()) == 0.0
    assert pen.badges_height(500.0, ("faint", "merged")) == pen.badges_height(500.0, ("faint",))
    assert pen.badges_height(room, ("faint", "merged")) == pytest.approx(2 * pen.badges_height(room, ("faint",)))
