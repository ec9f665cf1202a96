"""The method file of the command line: what it means, and that what is unclear is said and never guessed."""

from __future__ import annotations

import json
from typing import Any

import pytest

from webcapture.errors import UsageError
from webcapture.reference.method import method_of
from webcapture.reference.plan import EXAMPLE, read_plan

GOOD: dict[str, Any] = {"mobile_phase": "water : ethanol 4 : 1", "paper": "Filter Paper", "temperature_c": 21}


def with_(**changed: Any) -> str:
    return json.dumps({**GOOD, **changed})


def test_method_and_lanes_are_read() -> None:
    plan = read_plan(with_(lanes={"2": "Reference:  Marl red ", "3": "sample: vat 7"}))
    assert plan.method == method_of("20 mL ethanol + 80 mL water", "filter paper", 21.0)
    assert plan.of(2) == ("reference", "Marl red")
    assert plan.of(3) == ("sample", "vat 7")
    assert plan.of(1) == ("sample", "")


def test_a_mixed_lane_names_what_was_mixed() -> None:
    assert read_plan(with_(lanes={"3": "Mixed: vat 7 + Marl red"})).of(3) == ("mixed", "vat 7 + Marl red")


def test_the_example_that_errors_show_can_be_read() -> None:
    assert read_plan(EXAMPLE).of(1) == ("reference", "Marl red")


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "no JSON"),
        ("[]", "no JSON object"),
        ("{}", "mobile_phase"),
        (with_(paper=""), "paper"),
        (with_(paper=7), "paper"),
        (with_(temperature_c="warm"), "temperature"),
        (with_(temperature_c=True), "temperature"),
        (with_(locating=3), "locating"),
        (with_(lanes=[]), "lanes"),
        (with_(lanes={"one": "sample"}), "“one”"),
        (with_(lanes={"0": "sample"}), "“0”"),
        (with_(lanes={"1": "reference"}), "lane 1"),
        (with_(lanes={"1": "blank: x"}), "lane 1"),
        (with_(lanes={"1": 5}), "lane 1"),
        (with_(lanes={"1": "mixed"}), "lane 1"),
        (with_(lanes={"1": "mixed: Marl red"}), "lane 1"),
        (with_(moblie="x"), "moblie"),
        (with_(mobile_phase="butanol 4 : 1 : 5"), ""),
    ],
)
def test_what_is_unclear_is_said_with_a_remedy(text: str, said: str) -> None:
    with pytest.raises(UsageError) as caught:
        read_plan(text)
    assert said in caught.value.message
    assert caught.value.hint
