"""The JSON object against the shipped schema, and against what was promised to other programs."""

from __future__ import annotations

import json
import math
from dataclasses import replace
from functools import cache
from typing import Any

import jsonschema
import pytest

from tests.report.factory import SpotSpec, StripSpec, full_tray, make_result, sheet_of_lanes
from webcapture.errors import ALL_ERRORS, NoCard
from webcapture.model import PhotoResult
from webcapture.report.export import as_dict, error_dict, r_rel, schema

# The keys that other programs rely on; nothing of this may change or go.
PROMISED = {
    "photo": {"photo", "card", "strips", "flags", "error"},
    "card": {"layout", "paper", "residual_mm", "tilt_deg", "px_per_mm"},
    "strip": {"bay", "corners_mm", "lanes", "flags"},
    "lane": {"lane", "origin_mm", "front_mm", "run_mm", "spots", "flags"},
    "spot": {
        "spot", "position_mm", "densest_mm", "distance_mm", "width_mm", "rf", "u_rf", "U_rf", "colour", "flags",
    },
    "flag": {"code", "text", "advice"},
    "error": {"code", "message", "hint"},
}  # fmt: skip


def validate(*photos: dict[str, Any]) -> None:
    jsonschema.Draft202012Validator(schema()).validate(list(photos))


@cache
def results() -> list[PhotoResult]:
    return [
        make_result(StripSpec()),
        make_result(*full_tray(), layout="tray", photo_flags=("shadow", "glare")),
        make_result(sheet_of_lanes(), paper="letter"),
        make_result(photo_flags=("no-strip",)),
        make_result(StripSpec(has_origin=False, has_front=False, flags=("origin-missing", "front-missing"))),
    ]


def walk(value: Any) -> Any:
    yield value
    for part in value.values() if isinstance(value, dict) else value if isinstance(value, list) else ():
        yield from walk(part)


def test_the_schema_is_a_schema() -> None:
    jsonschema.Draft202012Validator.check_schema(schema())


def test_every_field_is_described() -> None:
    for node in walk(schema()):
        if isinstance(node, dict) and isinstance(node.get("properties"), dict) and "required" in node:
            for name, field in node["properties"].items():
                assert len(field.get("description", "")) > 10, name


def test_the_schema_requires_what_was_promised() -> None:
    for kind, keys in PROMISED.items():
        assert keys <= set(schema()["$defs"][kind]["required"]), kind


@pytest.mark.parametrize("n", range(len(results())))
def test_results_obey_the_schema_and_are_plain_json(n: int) -> None:
    found = as_dict(results()[n])
    validate(found)
    assert json.loads(json.dumps(found, allow_nan=False)) == found


@pytest.mark.parametrize("n", range(len(results())))
def test_no_field_is_missing_from_the_schema(n: int) -> None:
    known = schema()["$defs"]

    def check(value: Any, node: dict[str, Any]) -> None:
        while "$ref" in node:
            node = known[node["$ref"].rpartition("/")[2]]
        if "oneOf" in node and value is not None:
            return check(value, node["oneOf"][0])
        if isinstance(value, dict):
            for key, part in value.items():
                assert key in node["properties"], key
                check(part, node["properties"][key])
        if isinstance(value, list):
            for part in value:
                check(part, node["items"])
        return None

    result = results()[n]
    check(as_dict(result, relative_to=(1, 1, 1)), {"$ref": "#/$defs/photo"})


@pytest.mark.parametrize(
    "spoil",
    [
        lambda photo: photo["strips"][0]["lanes"][0]["spots"][0].pop("U_rf"),
        lambda photo: photo["strips"][0].update(bay=0),
        lambda photo: photo["strips"][0]["corners_mm"].pop(),
        lambda photo: photo.update(card=None),
        lambda photo: photo.update(error={"code": "no-card", "message": "No card.", "hint": ""}),
        lambda photo: photo["strips"][0]["lanes"][0]["spots"][0].update(rf="0.45"),
        lambda photo: photo["flags"].append("glare"),
    ],
)
def test_the_schema_refuses_what_is_wrong(spoil: Any) -> None:
    photo = as_dict(make_result(StripSpec()))
    validate(photo)
    spoil(photo)
    with pytest.raises(jsonschema.ValidationError):
        validate(photo)


def test_numbers_are_the_results_own_to_sensible_digits() -> None:
    result = make_result(StripSpec(lanes=((SpotSpec(0.448123456),),)))
    spot = as_dict(result)["strips"][0]["lanes"][0]["spots"][0]
    assert spot["rf"] == 0.4481
    assert spot["hrf"] == 44.81  # hRf = 100 Rf: IUPAC Gold Book R05353
    assert (spot["u_rf"], spot["U_rf"]) == (0.0021, 0.0042)
    assert spot["distance_mm"] == round(0.448123456 * 90, 3)
    assert as_dict(result)["rf_follows"] == "centre"


def test_absent_knowledge_is_null() -> None:
    strip = as_dict(make_result(StripSpec(has_front=False)))["strips"][0]
    lane = strip["lanes"][0]
    assert strip["front_line"] is None and lane["front_mm"] is None and lane["run_mm"] is None
    assert lane["origin_mm"] is not None
    for spot in lane["spots"]:
        assert [spot[key] for key in ("rf", "u_rf", "U_rf", "hrf")] == [None] * 4
        assert spot["budget"] == []
        assert spot["distance_mm"] > 0, "distances stay"


@pytest.mark.parametrize("distance", [math.nan, 61.5])
def test_without_an_origin_line_there_are_no_distances(distance: float) -> None:
    result = make_result(StripSpec(has_origin=False))
    lane = result.strips[0].lanes[0]
    spots = tuple(replace(spot, distance_mm=distance, edges_mm=(distance, distance)) for spot in lane.spots)
    told = replace(result, strips=(replace(result.strips[0], lanes=(replace(lane, spots=spots),)),))
    photo = as_dict(told, relative_to=(1, 1, 1))
    validate(photo)
    for spot in photo["strips"][0]["lanes"][0]["spots"]:
        assert spot["distance_mm"] is None and spot["edges_mm"] == [None, None] and spot["r_rel"] is None
        assert None not in spot["position_mm"], "where it lies on the card is known"


def test_numbers_that_are_no_numbers_are_null() -> None:
    result = make_result(StripSpec())
    odd = replace(result, card=replace(result.card, tilt_deg=-0.0))
    lane = odd.strips[0].lanes[0]
    spots = (replace(lane.spots[0], tailing=math.nan, signal_to_noise=math.inf),)
    strip = replace(odd.strips[0], lanes=(replace(lane, spots=spots),))
    photo = as_dict(replace(odd, strips=(strip,)))
    validate(photo)
    spot = photo["strips"][0]["lanes"][0]["spots"][0]
    assert spot["tailing"] is None and spot["signal_to_noise"] is None
    assert math.copysign(1, photo["card"]["tilt_deg"]) == 1


def test_flags_sit_where_they_were_put() -> None:
    photo = as_dict(make_result(*full_tray(), layout="tray", photo_flags=("shadow",)))
    assert [flag["code"] for flag in photo["flags"]] == ["shadow"]
    assert [flag["code"] for flag in photo["strips"][4]["flags"]] == ["upside-down"]
    assert [flag["code"] for flag in photo["strips"][3]["lanes"][0]["flags"]] == ["no-spots"]
    assert [flag["code"] for flag in photo["strips"][1]["lanes"][0]["spots"][1]["flags"]] == ["tailing", "faint"]
    assert all(flag["text"] and flag["advice"] for flag in photo["strips"][0]["flags"])


@pytest.mark.parametrize("kind", ALL_ERRORS)
def test_a_photo_that_failed_says_why(kind: type) -> None:
    photo = error_dict("blurred.jpg", kind("What was seen."))
    validate(photo)
    assert photo["photo"] == "blurred.jpg" and photo["card"] is None and photo["strips"] == [] and photo["flags"] == []
    assert photo["error"] == {"code": kind.code, "message": "What was seen.", "hint": kind.default_hint}


def test_failed_and_measured_photos_stand_in_one_list() -> None:
    validate(as_dict(make_result(StripSpec())), error_dict("x.jpg", NoCard("No card was found.")))


class TestRelativeToASpot:
    """R_rel = Rf(i) / Rf(st) = b_i / b_st (IUPAC Gold Book R05276)."""

    def test_in_the_same_lane_the_front_is_not_needed(self) -> None:
        for has_front in (True, False):
            photo = as_dict(make_result(StripSpec(has_front=has_front)), relative_to=(1, 1, 2))
            values = [spot["r_rel"] for spot in photo["strips"][0]["lanes"][0]["spots"]]
            assert values == pytest.approx([0.25 / 0.6, 1.0, 0.82 / 0.6], abs=5e-5)
            assert photo["relative_to"] == {"bay": 1, "lane": 1, "spot": 2}
            validate(photo)

    def test_between_lanes_it_is_the_ratio_of_the_rf(self) -> None:
        lanes = ((SpotSpec(0.5),), (SpotSpec(0.25),))
        slanted = StripSpec(width_mm=60, lanes=lanes, slant=0.1)
        photo = as_dict(make_result(slanted), relative_to=(1, 1, 1))
        assert photo["strips"][0]["lanes"][1]["spots"][0]["r_rel"] == 0.5
        without = as_dict(make_result(replace(slanted, has_front=False)), relative_to=(1, 1, 1))
        assert without["strips"][0]["lanes"][1]["spots"][0]["r_rel"] is None

    def test_other_strips_and_missing_spots_give_null(self) -> None:
        tray = make_result(StripSpec(bay=1), StripSpec(bay=2), layout="tray")
        photo = as_dict(tray, relative_to=(2, 1, 1))
        assert [spot["r_rel"] for spot in photo["strips"][0]["lanes"][0]["spots"]] == [None] * 3
        assert photo["strips"][1]["lanes"][0]["spots"][0]["r_rel"] == 1.0
        lost = as_dict(tray, relative_to=(2, 1, 9))
        assert {spot["r_rel"] for s in lost["strips"] for lane in s["lanes"] for spot in lane["spots"]} == {None}
        validate(photo, lost)

    def test_strips_of_one_bay_were_run_apart(self) -> None:
        photo = as_dict(make_result(StripSpec(), StripSpec()), relative_to=(1, 2, 1))
        values = [[spot["r_rel"] for spot in strip["lanes"][0]["spots"]] for strip in photo["strips"]]
        assert values == [[None] * 3, pytest.approx([1.0, 0.6 / 0.25, 0.82 / 0.25], abs=5e-5)]
        assert [(strip["bay"], strip["strip"], strip["lanes"][0]["lane"]) for strip in photo["strips"]] == [
            (1, 1, 1), (1, 2, 2),
        ]  # fmt: skip
        validate(photo)

    def test_which_end_is_the_origins_must_be_known(self) -> None:
        """Where it is not, distances are from the end taken for it, and there is no Rf either."""
        result = make_result(StripSpec())
        (strip,) = result.strips
        for decided, values in ((True, [1.0, 2.4, 3.28]), (False, [None] * 3)):
            undecided = replace(result, strips=(replace(strip, decided=decided),))
            photo = as_dict(undecided, relative_to=(1, 1, 1))
            assert [spot["r_rel"] for spot in photo["strips"][0]["lanes"][0]["spots"]] == values

    def test_a_spot_a_hair_below_the_origin_line_is_at_zero_as_its_rf_is(self) -> None:
        lane = make_result(StripSpec(lanes=((SpotSpec(0.0), SpotSpec(0.5)),))).strips[0].lanes[0]
        below = replace(lane.spots[0], distance_mm=-0.08, rf=0.0)
        assert r_rel(lane, below, lane, lane.spots[1]) == 0.0
        assert r_rel(replace(lane, lane=2), replace(below, rf=-0.001), lane, lane.spots[1]) == 0.0

    def test_a_reference_that_did_not_move_divides_nothing(self) -> None:
        lane = make_result(StripSpec(lanes=((SpotSpec(0.0), SpotSpec(0.5)),))).strips[0].lanes[0]
        assert r_rel(lane, lane.spots[1], lane, lane.spots[0]) is None

    def test_it_is_only_there_when_asked_for(self) -> None:
        photo = as_dict(make_result(StripSpec()))
        assert "relative_to" not in photo
        assert "r_rel" not in photo["strips"][0]["lanes"][0]["spots"][0]
