"""Ratios against worked examples and published numbers.

Each source stands beside its numbers with a mark: A standard, recommendation or published mark scheme; B textbook; C tutoring page or
student report, good as arithmetic only.
"""

import math
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from webcapture.errors import UsageError
from webcapture.measure import ratios

WORKED = [
    # distance, run, Rf as printed, source
    (3.0, 5.7, "0.53", "International Baccalaureate Chemistry, May 2010, Paper 3 TZ2, A3 (A)"),
    (5.4, 6.0, "0.90", "Cambridge IGCSE mark scheme (A)"),
    (1.3, 6.0, "0.22", "Edexcel IGCSE mark scheme (A)"),
    (11.2, 13.4, "0.84", "tutoring page (C)"),
    (3.1, 13.4, "0.23", "tutoring page (C)"),
    (15.8, 18.4, "0.86", "student report (C)"),
    (12.1, 18.4, "0.66", "student report (C)"),
    (5.9, 18.4, "0.32", "student report (C)"),
    (33, 55, "0.60", "tutoring page (C)"),
    # five cations on filter paper, front 10.0 cm: after McCullough and Curlee 1993, in a published test passage (B)
    (0.8, 10.0, "0.08", "nickel (B)"),
    (3.5, 10.0, "0.35", "cobalt (B)"),
    (6.0, 10.0, "0.60", "copper (B)"),
    (7.8, 10.0, "0.78", "cadmium (B)"),
    (9.5, 10.0, "0.95", "mercury (B)"),
]


@pytest.mark.parametrize(("distance", "run", "printed", "source"), WORKED)
def test_worked_examples(distance: float, run: float, printed: str, source: str) -> None:
    assert ratios.rounded(ratios.rf(distance, run)) == printed, source


def test_an_answer_may_be_given_to_other_decimals() -> None:
    # Edexcel IGCSE: 0.2 and 0.217 accepted beside 0.22 (A)
    value = ratios.rf(1.3, 6.0)
    assert [ratios.rounded(value, n) for n in (1, 3)] == ["0.2", "0.217"]


def test_inverse_question() -> None:
    # Cambridge IGCSE: Rf 0.44 on a run of 6.0 cm is a distance of 2.64 cm (A)
    assert ratios.rf(2.64, 6.0) == pytest.approx(0.44, abs=1e-12)


PUBLISHED_SLIPS = [
    # distance, run, decimals, the slip as published, right; all student reports or tutoring pages (C)
    (19, 48, 2, "0.39", "0.40"),
    (2.9, 5.3, 2, "0.54", "0.55"),
    (2.7, 8.8, 3, "0.306", "0.307"),
    (2.45, 4.63, 3, "0.536", "0.529"),
]


@pytest.mark.parametrize(("distance", "run", "decimals", "slip", "right"), PUBLISHED_SLIPS)
def test_published_slips_are_not_repeated(distance: float, run: float, decimals: int, slip: str, right: str) -> None:
    said = ratios.rounded(ratios.rf(distance, run), decimals)
    assert said == right
    assert said != slip


def test_measured_from_the_papers_edge_is_another_number() -> None:
    # Line 1.0, spot 7.3, front 9.0 cm above the edge: 6.3 / 8.0 = 0.7875; the naive 7.3 / 9.0 = 0.81 is the trap (C)
    assert ratios.rf(7.3 - 1.0, 9.0 - 1.0) == pytest.approx(0.7875)
    assert ratios.rounded(ratios.rf(7.3, 9.0)) == "0.81"


@pytest.mark.parametrize(
    ("distance", "run"),
    [(4.1, 3.9), (1, 0), (1, -5), (-0.1, 5), (math.nan, 5), (1, math.nan), (1, math.inf), (math.inf, math.inf)],
)
def test_impossible_distances_are_refused(distance: float, run: float) -> None:
    # 4.1 / 3.9 = 1.05 was published by a student report (C); Rf is always below one (IUPAC R05353, A)
    with pytest.raises(UsageError) as refusal:
        ratios.rf(distance, run)
    assert refusal.value.message
    assert refusal.value.hint


def test_the_refusal_shows_the_arithmetic() -> None:
    with pytest.raises(UsageError, match=r"4\.1 / 3\.9 = 1\.05 is impossible"):
        ratios.rf(4.1, 3.9)


def test_hrf_is_a_hundred_times_rf() -> None:
    assert ratios.hrf(0.35) == pytest.approx(35)  # IUPAC R05353 (A)


@given(st.floats(0, 1), st.floats(0.01, 1), st.floats(10, 300))
def test_relative_rf_does_not_need_the_front(a: float, b: float, run: float) -> None:
    # R_rel = Rf(i) / Rf(st) = b_i / b_st (IUPAC R05276, A)
    of_distances = ratios.r_rel(a * run, b * run)
    assert of_distances == pytest.approx(ratios.rf(a * run, run) / ratios.rf(b * run, run), rel=1e-9, abs=1e-12)


@pytest.mark.parametrize(("distance", "reference"), [(3, 0), (3, -1), (-1, 3), (math.nan, 1)])
def test_relative_rf_refuses_what_cannot_be(distance: float, reference: float) -> None:
    with pytest.raises(UsageError):
        ratios.r_rel(distance, reference)


@pytest.mark.parametrize(
    ("ratio", "expected"), [(0.10, 0.9542), (0.25, 0.4771), (0.50, 0.0), (0.75, -0.4771), (0.90, -0.9542)]
)
def test_r_m(ratio: float, expected: float) -> None:
    # IUPAC R05359 (A) for the formula; the numbers are log10 of 9, 3, 1, 1/3, 1/9, calculated by hand
    assert ratios.r_m(ratio) == pytest.approx(expected, abs=5e-5)


@pytest.mark.parametrize("ratio", [0, 1, -0.1, 1.1, math.nan])
def test_r_m_is_declined_where_it_has_no_value(ratio: float) -> None:
    with pytest.raises(UsageError):
        ratios.r_m(ratio)


def test_resolution() -> None:
    # Two spots 30 and 36 mm up, 4 mm wide each: 2 · 6 / 8 = 1.5, the usual criterion (C)
    assert ratios.resolution(30, 4, 36, 4) == pytest.approx(1.5)
    assert ratios.resolution(36, 4, 30, 4) == pytest.approx(-1.5)
    with pytest.raises(UsageError):
        ratios.resolution(30, 0, 36, 0)


SPREADS = [
    # Komsta, Markowski and Misztal, J. Planar Chromatogr. 2007, 20, 27-37: published check numbers (B, recomputed)
    ((0, 0.2, 0.2, 0.3), 0.0, 0.3609),
    ((0.1, 0.2, 0.25, 0.3), 0.4835, 0.4066),
]


@pytest.mark.parametrize(("values", "rd", "ru"), SPREADS)
def test_spread_of_a_set(values: tuple[float, ...], rd: float, ru: float) -> None:
    for order in (values, values[::-1]):
        assert ratios.spread_rd(order) == pytest.approx(rd, abs=1e-4)
        assert ratios.spread_ru(order) == pytest.approx(ru, abs=1e-4)


@pytest.mark.parametrize("n", [1, 2, 3, 7])
def test_an_even_spread_is_one(n: int) -> None:
    # (0.25, 0.5, 0.75) gives RD 1 in the same paper (B); evenly spread sets give 1 by construction
    even = [(i + 1) / (n + 1) for i in range(n)]
    assert ratios.spread_rd(even) == pytest.approx(1)
    assert ratios.spread_ru(even) == pytest.approx(1)


@given(st.lists(st.floats(0, 1), min_size=1, max_size=12))
def test_spreads_stay_between_zero_and_one(values: list[float]) -> None:
    assert -1e-12 <= ratios.spread_rd(values) <= 1 + 1e-9
    assert -1e-9 <= ratios.spread_ru(values) <= 1 + 1e-12


@pytest.mark.parametrize("values", [(), (0.2, 1.2), (-0.1,), (math.nan,)])
def test_spreads_refuse_what_is_no_set_of_rf(values: tuple[float, ...]) -> None:
    for spread in (ratios.spread_rd, ratios.spread_ru):
        with pytest.raises(UsageError):
            spread(values)


def test_mark_scheme_window() -> None:
    # International Baccalaureate Chemistry, May 2010, Paper 3 TZ2, A3 (A): 30/57 mm, accept 0.5 to 0.55, ± 1 mm on the measurements.
    # The corner cases are 29/58 and 31/56.
    low, high = ratios.reading_window(30, 57, 1)
    assert (low, high) == (29 / 58, 31 / 56)
    assert ratios.accepted(low, 0.5, 0.55)
    assert ratios.accepted(high, 0.5, 0.55)
    assert ratios.accepted(0.53, 0.5, 0.55)
    assert not ratios.accepted(0.49, 0.5, 0.55)
    assert not ratios.accepted(0.56, 0.5, 0.55)


def test_a_window_stays_within_what_can_be() -> None:
    assert ratios.reading_window(0.5, 60, 1)[0] == 0
    assert ratios.reading_window(60, 60, 1)[1] == 1
    with pytest.raises(UsageError):
        ratios.reading_window(1, 1, 1)


@pytest.mark.parametrize(
    ("value", "text"),
    [
        (0.545, "0.55"),
        (0.575, "0.58"),  # in binary a little below the half
        (1.005, "1.01"),  # the same
        ((7.3 - 1.0) / (9.0 - 1.0), "0.79"),
        (0.1 + 0.2 + 0.505, "0.81"),  # 0.8049999999999999 or 0.805, by the order of the sum
        (0.5, "0.50"),
        (0.0, "0.00"),
        (-0.001, "0.00"),
        (-0.005, "-0.01"),
        (0.99494, "0.99"),
        (0.994999, "1.00"),  # recorded as 0.9950
        (0.995, "1.00"),
        (12.345, "12.35"),  # an R_rel
    ],
)
def test_rounding_as_people_do(value: float, text: str) -> None:
    assert ratios.rounded(value) == text


@given(st.integers(-2000, 2000))
def test_every_half_goes_away_from_zero(thousandths: int) -> None:
    exact = Decimal(thousandths).scaleb(-3)
    by_hand = (abs(thousandths) + 5) // 10 * (-1 if thousandths < 0 else 1)
    assert Decimal(ratios.rounded(float(exact))) == Decimal(by_hand).scaleb(-2)


@given(st.floats(-20, 20))
def test_what_people_read_follows_from_the_record(ratio: float) -> None:
    assert ratios.rounded(ratio) == ratios.rounded(round(ratio, ratios.RECORDED_DECIMALS))
    assert abs(float(ratios.rounded(ratio)) - ratio) <= 0.005 + 0.00005 + 1e-12
