"""A mixed lane, given the lanes of sample and reference beside it. USP <621> asks that a mixed spot of one substance stays single (A)."""

from __future__ import annotations

import pytest

from tests.reference.test_mixture import lane
from webcapture.reference.compare import CANNOT_TELL, SheetReference
from webcapture.reference.mixed import mixed_lane
from webcapture.reference.mixture import MIXED_REASONS, SINGLE, SPLITS
from webcapture.reference.plan import mixed_parts

SAMPLES = {"vat 7": lane(1, 40.0, 70.0)}
REFERENCES = [SheetReference("A", lane(2, 40.2)), SheetReference("B", lane(4, 62.0))]


@pytest.mark.parametrize(
    ("label", "parts"),
    [
        ("vat 7 + A", ("vat 7", "A")),
        ("vat 7+A", ("vat 7", "A")),
        ("A + B + C", ("A + B", "C")),
        ("Unknown + Cu2+", ("Unknown", "Cu2+")),
        ("Unknown+Cu2+", ("Unknown", "Cu2+")),
        ("vat 7", None),
        ("+ A", None),
        ("vat 7 +", None),
        ("", None),
    ],
)
def test_the_label_names_sample_and_reference(label: str, parts: tuple[str, str] | None) -> None:
    assert mixed_parts(label) == parts


def test_same_substance_stays_single_whatever_else_the_sample_holds() -> None:
    found = mixed_lane("VAT 7 + a", lane(3, 40.1, 70.2), SAMPLES, REFERENCES)
    assert (found.outcome, found.reason) == (SINGLE, "single")
    assert [(one.sample_spot, one.reference_spot, one.found.spots) for one in found.places] == [(1, 1, (1,))]


def test_another_substance_splits() -> None:
    found = mixed_lane("vat 7 + B", lane(3, 40.1, 62.1, 70.1), SAMPLES, REFERENCES)
    assert found.outcome == SPLITS
    assert found.places[0].sample_spot == 2  # the nearest of the sample's two


def test_a_reference_of_several_spots_tells_only_where_they_agree() -> None:
    double = [SheetReference("D", lane(2, 40.0, 62.0))]
    found = mixed_lane("vat 7 + D", lane(3, 40.0, 62.0, 70.0), SAMPLES, double)
    assert [one.found.outcome for one in found.places] == [SINGLE, SPLITS]
    assert (found.outcome, found.reason) == (CANNOT_TELL, "several-places")


@pytest.mark.parametrize(
    ("label", "reason"),
    [("vat 7", "label"), ("vat 8 + A", "no-sample"), ("vat 7 + C", "no-reference"), ("vat 7 + A", "none")],
)
def test_what_is_missing_is_said_and_nothing_is_guessed(label: str, reason: str) -> None:
    found = mixed_lane(label, (), SAMPLES, REFERENCES)
    assert (found.outcome, found.reason) == (CANNOT_TELL, reason)
    assert MIXED_REASONS[reason]


def test_a_lane_without_a_spot_is_as_good_as_none() -> None:
    assert mixed_lane("vat 7 + A", lane(3, 40.0), {"vat 7": ()}, REFERENCES).reason == "no-sample"
