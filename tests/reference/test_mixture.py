"""A lane as a whole, and mixed spots."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from tests.reference.classes import METHOD, spot
from tests.reference.values import PAPERS, PHASES, VALUES
from webcapture.reference.compare import CANNOT_TELL, SheetReference
from webcapture.reference.library import Library, Value
from webcapture.reference.match import CONSISTENT, NONE_FITS, NOTHING
from webcapture.reference.method import method_of
from webcapture.reference.mixture import LANE_REASONS, MIXED_REASONS, SINGLE, SPLITS, account, mixed_spot
from webcapture.reference.observed import Observed
from webcapture.settings import DEFAULTS

EMPTY = Library.of([])


def lane(
    number: int, *places: float, codes: tuple[str, ...] = (), colours: tuple[str, ...] = ()
) -> tuple[Observed, ...]:
    shades = (*colours, *[""] * len(places))
    return tuple(spot(number, n, mm, 100.0, codes, shades[n - 1]) for n, mm in enumerate(places, 1))


def references(**places: float) -> list[SheetReference]:
    return [SheetReference(name, lane(n, mm)) for n, (name, mm) in enumerate(places.items(), 2)]


def table(**places: float) -> Library:
    return Library.of(Value(name, METHOD, rf, "published", "a test") for name, rf in places.items())


ABC = references(A=20.0, B=40.0, C=60.0)


def test_one_set_accounts_for_a_lane() -> None:
    found = account(lane(1, 20.3, 59.8), METHOD, EMPTY, ABC)
    assert (found.outcome, found.reason) == (CONSISTENT, "one-set")
    assert found.accounts[0].assigned == ((1, "A"), (2, "C"))
    assert found.at_least == 2
    assert (found.unaccounted, found.silent, found.unseen) == ((), (), ())


def test_a_spot_of_something_else_is_left_unaccounted_for() -> None:
    found = account(lane(1, 20.0, 50.0), METHOD, EMPTY, ABC)
    assert (found.outcome, found.reason, found.unaccounted) == (NONE_FITS, "some-unaccounted", (2,))
    assert [one.substances for one in found.accounts] == [("A",)]


def test_what_was_expected_and_not_seen() -> None:
    found = account(lane(1, 20.0), METHOD, EMPTY, ABC, expected=("a", "B"))
    assert found.unseen == ("B",)
    assert found.outcome == CONSISTENT


def test_a_reference_that_shows_more_spots_than_the_lane() -> None:
    double = SheetReference("D", lane(5, 20.0, 80.0))
    found = account(lane(1, 20.0), METHOD, EMPTY, [double])
    assert found.accounts[0].not_seen == ("D",)
    both = account(lane(1, 20.0, 80.0), METHOD, EMPTY, [double])
    assert both.accounts[0].substances == ("D",)
    assert both.accounts[0].not_seen == ()


def test_two_sets_that_fit_are_both_told() -> None:
    found = account(lane(1, 20.0, 40.5), METHOD, EMPTY, references(A=20.0, B=40.0, E=41.0))
    assert (found.outcome, found.reason) == (CANNOT_TELL, "several-sets")
    assert {frozenset(one.substances) for one in found.accounts} == {frozenset("AB"), frozenset("AE")}


def test_two_spots_are_never_the_same_reference() -> None:
    found = account(lane(1, 39.5, 40.5), METHOD, EMPTY, ABC)
    assert (found.outcome, found.reason) == (CANNOT_TELL, "crowded")
    assert found.accounts == ()


def test_spots_close_together_take_the_references_in_their_order() -> None:
    found = account(lane(1, 40.3, 42.4), METHOD, EMPTY, references(A=40.0, B=42.0))
    assert found.outcome == CONSISTENT
    assert found.accounts[0].assigned == ((1, "A"), (2, "B"))


@pytest.mark.parametrize("code", ["merged", "did-not-move", "near-front"])
def test_a_spot_that_names_nothing_leaves_the_lane_open(code: str) -> None:
    spots = (*lane(1, 20.0), replace(spot(1, 2, 60.0, 100.0), codes=(code,)))
    found = account(spots, METHOD, EMPTY, ABC)
    assert (found.outcome, found.reason, found.silent) == (CANNOT_TELL, "silent-spots", (2,))
    assert found.at_least == (3 if code == "merged" else 2)
    assert [one.substances for one in found.accounts] == [("A",)]


def test_without_references_or_spots_there_is_nothing_to_say() -> None:
    assert account(lane(1, 20.0), METHOD, EMPTY).outcome == NOTHING
    elsewhere = method_of("water", METHOD.paper)
    assert account(lane(1, 20.0), elsewhere, table(A=0.2)).outcome == NOTHING
    empty = account((), METHOD, table(A=0.2), expected=("A",))
    assert (empty.outcome, empty.reason, empty.at_least, empty.unseen) == (CANNOT_TELL, "no-spots", 0, ("A",))


def test_the_reference_beside_counts_before_the_tables_value_of_it() -> None:
    library = table(A=0.30, B=0.60)
    found = account(lane(1, 20.0, 60.0), METHOD, library, references(A=20.0))
    assert found.accounts[0].substances == ("A", "B")
    assert account(lane(1, 30.0), METHOD, library, references(A=20.0)).outcome == NONE_FITS


def test_colour_that_speaks_against_a_reference_keeps_it_out() -> None:
    blue, yellow = "#0000ff", "#ffff00"
    two = [SheetReference("A", lane(2, 40.0, colours=(blue,))), SheetReference("B", lane(3, 40.6, colours=(yellow,)))]
    found = account(lane(1, 40.3, colours=(yellow,)), METHOD, EMPTY, two)
    assert found.accounts[0].substances == ("B",)
    assert account(lane(1, 40.3), METHOD, EMPTY, two).reason == "several-sets"


def test_without_a_front_lanes_beside_still_account() -> None:
    def blind(spots: tuple[Observed, ...]) -> tuple[Observed, ...]:
        return tuple(replace(s, rf=None, U_rf=None, run_mm=None, reach_mm=120.0) for s in spots)

    beside = [SheetReference(r.substance, blind(r.spots)) for r in ABC]
    found = account(blind(lane(1, 20.4, 59.5)), METHOD, EMPTY, beside)
    assert found.accounts[0].substances == ("A", "C")
    lost = account(blind(lane(1, 80.0)), METHOD, table(Z=0.8), beside)
    assert (lost.outcome, lost.reason) == (CANNOT_TELL, "no-rf")


def test_a_crowd_of_candidates_is_not_tried_out() -> None:
    crowd = table(**{f"S{n}": 0.30 + 0.0001 * n for n in range(60)})
    found = account(lane(1, 30.0), METHOD, crowd)
    assert (found.outcome, found.reason, found.accounts) == (CANNOT_TELL, "too-many", ())


def test_the_joint_test_refuses_the_right_set_as_often_as_stated() -> None:
    # Spots that repeat with exactly the stated spread and nothing else: d' V⁻¹ d follows χ², so p is uniform (scipy's Kolmogorov-Smirnov)
    rng = np.random.default_rng(21)
    sd = DEFAULTS.compare.repeat_rf * 100
    p = []
    for _ in range(400):
        beside = [
            SheetReference(name, (exact(n, mm + rng.normal(0, sd)),))
            for n, (name, mm) in enumerate({"A": 20, "B": 45, "C": 70}.items(), 2)
        ]
        spots = [replace(exact(1, mm + rng.normal(0, sd)), spot=n) for n, mm in enumerate((20, 45, 70), 1)]
        found = account(spots, METHOD, EMPTY, beside)
        p.append(found.accounts[0].p if found.accounts else 0.0)
    refused = np.mean(np.array(p) == 0.0)
    # Three spots, each kept while within three standard uncertainties, and the joint test at 1 %
    assert refused <= 0.01 + 3 * 2 * stats.norm.sf(3) + 3 * np.sqrt(0.018 / len(p))
    kept = np.array(p)[np.array(p) > 0]
    assert stats.kstest(kept, "uniform").pvalue > 0.001


def exact(number: int, mm: float) -> Observed:
    return replace(spot(number, 1, mm, 100.0), U_rf=1e-6, u_centre_mm=0.0, u_origin_mm=0.0, u_front_mm=0.0)


@given(
    VALUES,
    st.sampled_from(PHASES),
    st.sampled_from(PAPERS),
    st.lists(st.floats(3, 94), min_size=1, max_size=3),
    st.floats(0.01, 2),
)
def test_a_value_of_another_mobile_phase_or_paper_never_accounts_for_a_spot(
    values: list[Value], phase: str, paper: str, places: list[float], window: float
) -> None:
    method = method_of(phase, paper)
    found = account(
        lane(1, *sorted(places)), method, Library.of(values), settings=replace(DEFAULTS.compare, window_rf=window)
    )
    allowed = {v.substance for v in values if v.method.conditions == method.conditions}
    assert {name for one in found.accounts for name in one.substances} <= allowed
    assert found.at_least == len(places)
    if not allowed:
        assert found.outcome == NOTHING


# ---- mixed spots: "one spot may or may not be pure" is the trade's caution; USP <621> asks that the mixed spot stays single (A)


def test_a_mixed_spot_that_stays_single() -> None:
    found = mixed_spot(lane(1, 40.2)[0], lane(2, 40.0)[0], lane(3, 39.9))
    assert (found.outcome, found.reason, found.spots) == (SINGLE, "single", (1,))
    assert found.would_split_mm == 6.0


def test_a_mixed_spot_that_splits() -> None:
    found = mixed_spot(lane(1, 40.0)[0], lane(2, 43.5)[0], lane(3, 40.1, 43.4))
    assert (found.outcome, found.spots) == (SPLITS, (1, 2))


def test_the_samples_other_spots_do_not_split_it() -> None:
    sample = lane(1, 40.0, 42.6)
    found = mixed_spot(sample[0], lane(2, 40.0)[0], lane(3, 40.1, 42.7), others=sample[1:])
    assert (found.outcome, found.spots) == (SINGLE, (1,))
    assert (
        mixed_spot(sample[0], lane(2, 40.0)[0], lane(3, 40.1, 42.7)).outcome == SPLITS
    )  # were it not known to be there


@pytest.mark.parametrize(
    ("sample", "reference", "mixed", "reason"),
    [
        (40.0, 40.0, (), "none"),
        (40.0, 40.0, (70.0,), "none"),
        (40.0, 50.0, (40.0,), "one-missing"),  # two places, one spot: the other was not seen, which says nothing
        (0.2, 0.3, (0.2,), "silent"),
        (98.0, 98.0, (98.0,), "silent"),
    ],
)
def test_a_mixed_spot_that_says_nothing(sample: float, reference: float, mixed: tuple[float, ...], reason: str) -> None:
    found = mixed_spot(lane(1, sample)[0], lane(2, reference)[0], lane(3, *mixed))
    assert (found.outcome, found.reason) == (CANNOT_TELL, reason)


def test_a_mixed_spot_that_does_not_part_says_nothing() -> None:
    found = mixed_spot(lane(1, 40.0)[0], lane(2, 41.0)[0], lane(3, 40.5, codes=("merged",)))
    assert (found.outcome, found.reason) == (CANNOT_TELL, "merged")


@pytest.mark.parametrize("text", [*LANE_REASONS.values(), *MIXED_REASONS.values()])
def test_no_reason_says_more_than_consistent(text: str) -> None:
    assert not any(word in text.casefold().split() for word in ("pure", "absent", "identified", "proves", "certainly"))
