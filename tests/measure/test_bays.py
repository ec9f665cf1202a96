"""Several strips in one bay: each has a number, their lanes are counted through, and what happens to one leaves the others alone."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace

import pytest

from tests.pairs import photographed
from tests.report.factory import SpotSpec, StripSpec, make_result
from webcapture import as_dict, measure_photo
from webcapture.errors import UsageError
from webcapture.measure.bays import numbered_through, tells_lanes
from webcapture.measure.correct import Change, corrected
from webcapture.settings import DEFAULTS

THREE = ((SpotSpec(0.3),), (SpotSpec(0.4),), (SpotSpec(0.5),))


@pytest.fixture(scope="module")
def sheet():
    return measure_photo(photographed("sheet").data)


@pytest.fixture(scope="module")
def tray():
    return measure_photo(photographed("tray").data)


def numbers(strips):
    return [(strip.place, [lane.lane for lane in strip.lanes]) for strip in strips]


def codes(strip):
    return [flag.code for flag in strip.flags]


def after(result, *changes):
    """The photo with those changes, as numbers."""
    kept = [corrected(strip, changes, DEFAULTS, residual_mm=result.card.residual_mm).strip for strip in result.strips]
    return as_dict(replace(result, strips=tuple(kept)))["strips"]


# --- how they are counted


def test_strips_side_by_side_are_counted_from_the_left(sheet):
    """They were drawn from right to left."""
    assert numbers(sheet.strips) == [("1", [1]), ("1-2", [2])]
    assert sheet.strips[0].corners_mm[0][0] < sheet.strips[1].corners_mm[0][0]


@pytest.mark.parametrize("layout", ["sheet", "tray"])
def test_bay_lane_and_spot_name_one_spot_of_the_photo(layout, request):
    result = request.getfixturevalue(layout)
    places = Counter((s.bay, lane.lane, spot.spot) for s in result.strips for lane in s.lanes for spot in lane.spots)
    assert len(places) >= 7 and set(places.values()) == {1}


def test_what_was_drawn_is_counted_alike(sheet):
    """The truth of the photo names the same lanes, so that each spot is found where it was drawn."""
    drawn = {
        (strip.bay, strip.strip, lane.lane): [spot.rf for spot in lane.spots]
        for strip in photographed("sheet").truth.strips
        for lane in strip.lanes
    }
    found = {
        (s.bay, s.strip, lane.lane): [spot.rf for spot in lane.spots] for s in sheet.strips for lane in s.lanes
    }  # fmt: skip
    assert found == {place: pytest.approx(rf, abs=0.01) for place, rf in drawn.items()}


def test_the_next_strip_of_a_bay_goes_on_where_the_last_one_stopped():
    strips = make_result(StripSpec(lanes=THREE), StripSpec(), StripSpec(lanes=THREE[:2])).strips
    assert numbers(strips) == [("1", [1, 2, 3]), ("1-2", [4]), ("1-3", [5, 6])]
    assert all(strip.shared and tells_lanes(strip) for strip in strips)


def test_a_strip_without_a_lane_takes_a_number_too():
    first, second = make_result(StripSpec(), StripSpec()).strips
    assert numbers(numbered_through((replace(first, lanes=()), second), "sheet")) == [("1", []), ("1-2", [2])]


def test_each_bay_counts_for_itself_and_a_strip_alone_stays_as_it_is():
    strips = make_result(StripSpec(bay=2), StripSpec(bay=2), StripSpec(bay=4, lanes=THREE[:1]), layout="tray").strips
    assert numbers(strips) == [("2", [1]), ("2-2", [2]), ("4", [1])]
    assert not strips[2].shared and not tells_lanes(strips[2])
    assert numbered_through(strips, "tray")[2] is strips[2]


def test_counting_again_changes_nothing(tray):
    again = numbered_through(tray.strips, "tray")
    assert numbers(again) == numbers(tray.strips)
    assert [codes(strip) for strip in again] == [codes(strip) for strip in tray.strips]


# --- on a tray it is a doubt, on the wide bay of a sheet card none


def test_a_tray_says_that_a_bay_is_shared(sheet, tray):
    assert [(strip.place, "bay-shared" in codes(strip)) for strip in tray.strips] == [
        ("2", True), ("2-2", True), ("4", False),
    ]  # fmt: skip
    assert not any("bay-shared" in codes(strip) for strip in sheet.strips)


# --- corrections


@pytest.mark.parametrize(
    "kind",
    [
        {"kind": "front", "s_mm": 110.0},
        {"kind": "origin", "s_mm": 21.0},
        {"kind": "remove", "key": "2"},
        {"kind": "spot", "key": "1", "s_mm": 44.0},
        {"kind": "add", "key": "new", "s_mm": 80.0},
        {"kind": "turn"},
        {"kind": "follow", "label": "densest"},
    ],
    ids=lambda kind: kind["kind"],
)
@pytest.mark.parametrize("number", [1, 2])
def test_correcting_one_strip_leaves_the_other_as_it_was(sheet, number, kind):
    lane = None if kind["kind"] in ("turn", "follow") else number
    before, now = after(sheet), after(sheet, Change(bay=1, strip=number, lane=lane, **kind))
    assert now[number - 1] != before[number - 1]
    assert now[2 - number] == before[2 - number]


def test_a_name_is_given_to_one_strip_alone(sheet):
    change = Change("name", 1, 2, label="Marl red", strip=2)
    assert [corrected(strip, [change], DEFAULTS).labels for strip in sheet.strips] == [{}, {2: "Marl red"}]


def test_a_change_that_names_no_strip_means_the_first(sheet):
    """As the records hold them from before strips were told apart."""
    before, now = after(sheet), after(sheet, Change("front", 1, 1, s_mm=110.0))
    assert [one != other for one, other in zip(before, now, strict=True)] == [True, False]


def test_another_strips_lane_is_none_of_ones_own(sheet):
    with pytest.raises(UsageError, match="no lane 1"):
        corrected(sheet.strips[1], [Change("front", 1, 1, s_mm=110.0, strip=2)], DEFAULTS)


def test_a_strip_that_is_turned_keeps_its_numbers_among_those_of_its_bay():
    """Its lanes are counted from its other side then: 4 and 5 change places, what lies left and right of them does not."""
    lanes = ((SpotSpec(0.3),), (SpotSpec(0.5), SpotSpec(0.7)))
    left, middle, right = make_result(StripSpec(lanes=THREE), StripSpec(lanes=lanes), StripSpec()).strips
    assert [numbers([s])[0][1] for s in (left, middle, right)] == [[1, 2, 3], [4, 5], [6]]
    named = [Change("name", 1, 4, label="Vat 7", strip=2), Change("front", 1, 5, s_mm=110.0, only=True, strip=2)]
    turn = Change("turn", 1, strip=2)
    once = corrected(middle, [*named, turn], DEFAULTS)
    assert [(lane.lane, len(lane.spots)) for lane in once.strip.lanes] == [(4, 2), (5, 1)]
    assert once.labels == {5: "Vat 7"}
    assert [(lane.lane, lane.flags != ()) for lane in once.strip.lanes] == [(4, True), (5, False)]
    twice = corrected(middle, [*named, turn, replace(turn, turned=True)], DEFAULTS)
    assert [(lane.lane, len(lane.spots)) for lane in twice.strip.lanes] == [(4, 1), (5, 2)]
    assert twice.labels == {4: "Vat 7"}
    for strip in (left, right):
        assert numbers([corrected(strip, [*named, turn], DEFAULTS).strip]) == numbers([strip])
