"""What spots are consistent with, as JSON and as text: same-sheet references first, never more than “consistent with”."""

from __future__ import annotations

import json
import re
from dataclasses import replace

import jsonschema
import pytest

from tests.reference.values import shipped_library
from tests.report.factory import SpotSpec, StripSpec, make_result
from webcapture import as_dict
from webcapture.reference.library import Library
from webcapture.reference.plan import read_plan
from webcapture.report.export import schema
from webcapture.report.names import names_dict, names_text

WORKSHOP = '{"mobile_phase": "salt water", "paper": "workshop paper", "lanes": %s}'
LANES = '{"1": "reference: Marl red", "2": "sample: vat 7", "3": "reference: Tarn blue"}'


def lanes_of(
    *lanes: tuple[float, ...], layout: str = "sheet", told: str = LANES, library: Library | None = None
) -> dict:
    spots = [tuple(SpotSpec(rf) for rf in lane) for lane in lanes]
    specs = [StripSpec(width_mm=100.0, lanes=tuple(spots))]
    if layout == "tray":
        specs = [StripSpec(width_mm=20.0, lanes=(lane,), bay=n) for n, lane in enumerate(spots, 1)]
    result = make_result(*specs, layout=layout)
    names = names_dict(result, read_plan(WORKSHOP % told), library or shipped_library("workshop"))
    jsonschema.validate([{**as_dict(result), "names": names}], schema())
    return names


def test_a_reference_beside_counts_before_the_table() -> None:
    names = lanes_of((0.44,), (0.44, 0.87), (0.87,))  # the whole sheet ran farther than the table says
    mixture = names["lanes"][1]
    assert [spot["candidates"][0]["substance"] for spot in mixture["spots"]] == ["Marl red", "Tarn blue"]
    assert {one["evidence"] for spot in mixture["spots"] for one in spot["candidates"]} == {"same sheet"}
    assert mixture["sets"][0]["substances"] == ["Marl red", "Tarn blue"]


def test_a_reference_lane_is_not_compared_with_itself() -> None:
    first = lanes_of((0.38,), (0.38,), (0.81,))["lanes"][0]
    assert first["role"] == "reference"
    assert all(
        one["evidence"] != "same sheet" or one["substance"] != "Marl red" for one in first["spots"][0]["candidates"]
    )


def test_on_a_tray_the_bays_are_the_lanes() -> None:
    names = lanes_of((0.38,), (0.81,), (0.5,), layout="tray")
    assert [(lane["bay"], lane["role"], lane["label"]) for lane in names["lanes"]] == [
        (1, "reference", "Marl red"), (2, "sample", "vat 7"), (3, "reference", "Tarn blue"),
    ]  # fmt: skip


def named(*specs: StripSpec, layout: str) -> list[tuple[int, int, int, str, str]]:
    result = make_result(*specs, layout=layout)
    names = names_dict(result, read_plan(WORKSHOP % LANES), shipped_library("workshop"))
    jsonschema.validate([{**as_dict(result), "names": names}], schema())
    return [tuple(lane[part] for part in ("bay", "strip", "lane", "role", "label")) for lane in names["lanes"]]


def test_strips_side_by_side_on_a_sheet_card_are_its_lanes() -> None:
    one = StripSpec(lanes=((SpotSpec(0.38),),))
    assert named(one, one, one, layout="sheet") == [
        (1, 1, 1, "reference", "Marl red"), (1, 2, 2, "sample", "vat 7"), (1, 3, 3, "reference", "Tarn blue"),
    ]  # fmt: skip


def test_of_two_strips_in_one_bay_of_a_tray_nobody_knows_which_was_planned() -> None:
    one = StripSpec(lanes=((SpotSpec(0.38),),))
    assert named(one, one, replace(one, bay=2), layout="tray") == [
        (1, 1, 1, "sample", ""), (1, 2, 2, "sample", ""), (2, 1, 1, "sample", "vat 7"),
    ]  # fmt: skip


@pytest.mark.parametrize("paper", ["filter paper", "chromatography paper"])
def test_values_of_another_paper_are_never_named(paper: str) -> None:
    result = make_result(StripSpec(width_mm=100.0, lanes=((SpotSpec(0.38),),)))
    plan = read_plan(json.dumps({"mobile_phase": "salt water", "paper": paper}))
    names = names_dict(result, plan, shipped_library("workshop"))
    assert names["library"] == 0
    assert names["lanes"][0]["spots"][0]["candidates"] == []
    assert names["lanes"][0]["outcome"] == "nothing to compare"


def test_the_text_says_consistent_with_and_nothing_more() -> None:
    text = names_text(lanes_of((0.38,), (0.3, 0.38), (0.81,)))
    assert "consistent with Marl red" in text
    assert "E_n" in text
    assert "necessary, not sufficient" in text
    assert re.search(r"spot 1: none fits.*Nearest: ", text)
    assert not re.search(r"\bis (?:Marl|Tarn)|\bpure\b|\babsent\b|identified", text)
    assert "your own window counts" in text


MIXED = '{"1": "sample: vat 7", "2": "mixed: vat 7 + Marl red", "3": "reference: Marl red"}'


def test_a_mixed_spot_that_stays_single_is_evidence_and_no_proof() -> None:
    names = lanes_of((0.38, 0.81), (0.38, 0.81), (0.38,), told=MIXED)
    mixed = names["lanes"][1]["mixed"]
    assert (mixed["sample"], mixed["reference"], mixed["outcome"]) == ("vat 7", "Marl red", "stays single")
    assert mixed["places"][0]["spots"] == [1]
    text = names_text(names)
    assert "mixed spot: stays single (evidence for it, no proof: Marl red in vat 7)" in text
    assert "mm apart or more" in text
    assert "mixed" not in names["lanes"][0]


def test_a_mixed_spot_that_splits_is_evidence_against() -> None:
    names = lanes_of((0.48,), (0.38, 0.48), (0.38,), told=MIXED)
    assert names["lanes"][1]["mixed"]["outcome"] == "splits"
    assert "evidence against it, no proof" in names_text(names)


def test_on_a_tray_nothing_lies_beside_the_mixed_spot() -> None:
    names = lanes_of((0.38,), (0.38,), (0.38,), layout="tray", told=MIXED)
    assert names["lanes"][1]["mixed"]["outcome"] == "cannot tell"
    assert "run it beside" in names_text(names)


def test_what_a_lane_leaves_open_is_said() -> None:
    told = '{"1": "sample: Marl red + Tarn blue and something", "2": "reference: Marl red"}'
    names = lanes_of((0.38, 0.52), (0.38,), told=told)
    lane = names["lanes"][0]
    assert (lane["unseen"], lane["unaccounted"], lane["silent"], lane["at_least"]) == (["Tarn blue"], [2], [], 2)
    text = names_text(names)
    for words in ("components at least: 2", "not accounted for: spot 2", "expected and not seen: Tarn blue"):
        assert words in text
    silent = make_result(StripSpec(width_mm=100.0, lanes=((SpotSpec(0.0, flags=("did-not-move",)),),)))
    assert "names nothing: spot 1" in names_text(
        names_dict(silent, read_plan(WORKSHOP % "{}"), shipped_library("workshop"))
    )


def test_a_reference_lane_with_further_spots_is_told() -> None:
    names = lanes_of((0.38, 0.9), (0.38,), told='{"1": "reference: Marl red", "2": "sample: vat 7"}')
    assert names["lanes"][1]["sets"][0]["not_seen"] == ["Marl red"]
    assert "Marl red's own lane shows further spots" in names_text(names)


def test_a_label_that_names_no_substance_expects_none() -> None:
    assert lanes_of((0.38,), (0.38,), (0.81,))["lanes"][1]["unseen"] == []
