"""Numbers and flags as people read them."""

from __future__ import annotations

import doctest
import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.report.factory import SpotSpec, StripSpec, make_result
from webcapture.flags import REGISTRY
from webcapture.measure.ratios import rounded
from webcapture.report import marks, wording
from webcapture.report.export import as_dict
from webcapture.report.table import spot_rows
from webcapture.report.wording import (
    badge_text,
    distance_text,
    hrf_text,
    rf_text,
    rounded_up,
    two_decimals,
    u_text,
    with_uncertainty,
)
from webcapture.web.contexts import rf_text as page_text


@pytest.mark.parametrize("module", [wording, marks])
def test_examples_in_the_docstrings(module: object) -> None:
    outcome = doctest.testmod(module)  # type: ignore[arg-type]
    assert outcome.attempted > 0 and outcome.failed == 0


# Worked examples, distances in cm or mm and the Rf their sources print: International Baccalaureate Chemistry, May 2010,
# Paper 3 TZ2, A3 (3.0/5.7); Cambridge IGCSE (5.4/6.0); Edexcel IGCSE (1.3/6.0, where 0.2 and 0.217 are accepted as well);
# tutoring pages, as arithmetic only (11.2/13.4, 3.1/13.4, 33/55).
@pytest.mark.parametrize(
    ("distance", "run", "printed"),
    [(3.0, 5.7, "0.53"), (5.4, 6.0, "0.90"), (1.3, 6.0, "0.22"), (11.2, 13.4, "0.84"), (3.1, 13.4, "0.23"), (33, 55, "0.60")],
)  # fmt: skip
def test_rf_is_rounded_as_published(distance: float, run: float, printed: str) -> None:
    assert two_decimals(distance / run) == printed


# Published slips: figures that were cut off, not rounded (19/48 as 0.39, 2.9/5.3 as 0.54).
@pytest.mark.parametrize(("distance", "run", "right"), [(19, 48, "0.40"), (2.9, 5.3, "0.55")])
def test_rf_is_rounded_not_cut_off(distance: float, run: float, right: str) -> None:
    assert two_decimals(distance / run) == right


def test_there_is_no_minus_zero() -> None:
    assert two_decimals(-0.001) == "0.00"


@pytest.mark.parametrize("u", [0.0001, 0.0042, 0.0099, 0.01, 0.010001, 0.02, 0.03, 0.07, 0.11, 0.29])
def test_uncertainty_is_never_understated(u: float) -> None:
    said = float(two_decimals(rounded_up(u)))
    assert said >= u - 1e-6
    assert said - u < 0.01


def test_unknown_numbers_have_no_words() -> None:
    known = make_result(StripSpec(lanes=((SpotSpec(0.448),),))).strips[0].lanes[0].spots[0]
    unknown = make_result(StripSpec(has_front=False)).strips[0].lanes[0].spots[0]
    assert (rf_text(known), u_text(known)) == ("0.45", "0.01")
    assert (rf_text(unknown), u_text(unknown)) == (None, None)
    assert distance_text(40.44) == "40.4 mm"
    assert distance_text(math.nan) is None


def test_every_flag_has_a_short_badge() -> None:
    for flag in REGISTRY.values():
        assert 0 < len(badge_text(flag)) <= 18 and "-" not in badge_text(flag)


@pytest.mark.parametrize("rf", [0.68497, 0.684951, 0.12496, 0.005, 0.34501, 0.99996])
def test_what_is_said_of_a_photo_is_what_is_said_of_its_record(rf: float) -> None:
    """The picture is drawn from the measurement, the table beside it from the record, which has four decimals."""
    recorded = round(rf, 4)
    assert two_decimals(rf) == two_decimals(recorded)
    assert hrf_text(rf) == hrf_text(recorded) == f"{100 * float(two_decimals(rf)):.0f}"


@pytest.mark.parametrize(("rf", "said"), [(0.685, "0.69"), (0.125, "0.13"), (0.345, "0.35"), (0.6849, "0.68")])
def test_a_half_is_rounded_away_from_zero(rf: float, said: str) -> None:
    assert two_decimals(rf) == said


@pytest.mark.parametrize("u", [0.010003, 0.0200049, 0.00999])
def test_an_uncertainty_is_said_alike_from_photo_and_record(u: float) -> None:
    assert rounded_up(u) == rounded_up(round(u, 5))


@pytest.mark.parametrize("rf", [0.68497, 0.34496, 0.12495])
def test_one_rule_for_picture_table_and_page(rf: float) -> None:
    """The picture takes the measurement's 0.68497, table and page the record's 0.6850: all say 0.69."""
    result = make_result(StripSpec(lanes=((SpotSpec(rf),),)))
    spot, recorded = result.strips[0].lanes[0].spots[0], as_dict(result)["strips"][0]["lanes"][0]["spots"][0]
    said = rounded(rf)
    assert float(said) == pytest.approx(math.floor(round(rf, 4) * 100 + 0.5) / 100)
    assert rf_text(spot) == said
    assert spot_rows(as_dict(result))[0][5] == said
    assert page_text(recorded["rf"], recorded["U_rf"]) == f"{said} ± 0.01"


@pytest.mark.parametrize(
    ("ratio", "U", "text"),
    [
        (0.448, 0.0042, "0.45 ± 0.01"),
        (0.448, 0.0, "0.45 ± 0.01"),
        (0.448, 0.01, "0.45 ± 0.01"),
        (0.448, 0.3 - 0.29, "0.45 ± 0.01"),  # 0.010000000000000009 is 0.01
        (0.448, 0.0101, "0.45 ± 0.02"),
        (0.07, 0.2, "0.07 ± 0.20"),
    ],
)
def test_rf_with_its_uncertainty(ratio: float, U: float, text: str) -> None:
    assert with_uncertainty(ratio, U) == text


@given(st.floats(0, 1), st.floats(0, 0.5).map(lambda u: round(u, 5)))
def test_a_printed_uncertainty_is_never_too_small(ratio: float, U: float) -> None:
    printed = float(with_uncertainty(ratio, U).split(" ± ")[1])
    assert printed >= max(U - 1e-12, 0.01)
    assert printed < U + 0.01 + 1e-9 or printed == 0.01
