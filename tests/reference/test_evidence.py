"""Several mobile phases: the table, the verdicts, and how much agreement says."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.reference.classes import spot
from tests.reference.libraries import run, world
from tests.reference.values import PAPERS, PHASES, VALUES
from webcapture.reference.compare import SheetReference
from webcapture.reference.evidence import (
    AGREES,
    CANNOT_TELL,
    CONSISTENT,
    DISAGREES,
    NOT_RUN,
    RULED_OUT,
    Evidence,
    Row,
    UnknownRun,
    alike_methods,
    evidence,
)
from webcapture.reference.library import Library, Value
from webcapture.reference.method import method_of
from webcapture.reference.observed import Observed

W, X, Y = (method_of(phase, "paper for tests", 20.0) for phase in ("water", "ethanol", "propanone"))


def library(**rows: tuple[float | None, float | None, float | None]) -> Library:
    return Library.of(
        Value(name, method, rf, "published", "a test")
        for name, rfs in rows.items()
        for method, rf in zip((W, X, Y), rfs, strict=True)
        if rf is not None
    )


def lane(*places: float) -> tuple[Observed, ...]:
    return tuple(spot(1, n, 100 * rf, 100.0) for n, rf in enumerate(places, 1))


LIBRARY = library(A=(0.3, 0.7, 0.5), B=(0.3, 0.2, 0.5), C=(0.8, 0.7, 0.5), D=(0.3, None, 0.9))


def row(found: Evidence, name: str) -> Row:
    return next(r for r in found.rows if r.substance == name)


def test_the_table_of_an_unknown() -> None:
    found = evidence([UnknownRun(W, lane(0.31)), UnknownRun(X, lane(0.69))], LIBRARY)
    assert [m.mobile_phase.text for m in found.methods] == ["water", "ethanol", "propanone"]
    assert found.run == 2
    table = {r.substance: ([c.outcome for c in r.cells], r.verdict, r.agreements) for r in found.rows}
    assert table == {
        "A": ([AGREES, AGREES, NOT_RUN], CONSISTENT, 2),
        "D": ([AGREES, CANNOT_TELL, NOT_RUN], CONSISTENT, 1),
        "B": ([AGREES, DISAGREES, NOT_RUN], RULED_OUT, 1),
        "C": ([DISAGREES, AGREES, NOT_RUN], RULED_OUT, 1),
    }
    assert [r.substance for r in found.rows] == ["A", "D", "B", "C"]
    assert found.standing == ("A", "D")
    assert row(found, "B").reason.startswith("ethanol: ")
    assert "0.69 against 0.20" in row(found, "B").reason


def test_one_mobile_phase_never_counts_twice() -> None:
    twice = evidence([UnknownRun(W, lane(0.31)), UnknownRun(W, lane(0.30))], LIBRARY)
    assert twice.run == 1
    assert row(twice, "A").agreements == 1


def test_runs_that_contradict_each_other_tell_nothing() -> None:
    found = evidence([UnknownRun(W, lane(0.31)), UnknownRun(W, lane(0.80))], LIBRARY)
    assert row(found, "A").cells[0].outcome == CANNOT_TELL
    assert "contradict" in row(found, "A").cells[0].reason
    assert found.standing == ("A", "B", "C", "D")


def test_in_a_mixture_any_spot_may_be_the_substance() -> None:
    found = evidence([UnknownRun(W, lane(0.31, 0.79)), UnknownRun(X, lane(0.20, 0.70))], LIBRARY)
    assert {r.substance for r in found.rows if r.verdict == CONSISTENT} == {"A", "B", "C", "D"}


@pytest.mark.parametrize("code", ["did-not-move", "near-front", "merged"])
def test_a_spot_that_names_nothing_agrees_with_nothing(code: str) -> None:
    silent = (replace(spot(1, 1, 30.0, 100.0), codes=(code,)),)
    found = evidence([UnknownRun(W, silent)], LIBRARY)
    assert {r.substance: r.cells[0].outcome for r in found.rows} == {
        "A": CANNOT_TELL,
        "B": CANNOT_TELL,
        "C": DISAGREES,
        "D": CANNOT_TELL,
    }
    assert found.consistent == ()


def test_a_reference_beside_decides_before_the_table() -> None:
    beside = SheetReference("A", (spot(2, 1, 36.0, 100.0),))
    found = evidence([UnknownRun(W, lane(0.31), (beside,))], LIBRARY)
    assert row(found, "A").verdict == RULED_OUT
    shifted = evidence([UnknownRun(W, lane(0.36), (beside,))], LIBRARY)
    assert row(shifted, "A").cells[0].outcome == AGREES
    assert row(shifted, "A").cells[0].nearest.evidence == "same sheet"  # type: ignore[union-attr]


def test_colour_against_it_leaves_a_substance_open() -> None:
    yellow = Library.of([Value("A", W, 0.3, "published", "a test", hex="#ffff00")])
    blue = (replace(spot(1, 1, 30.0, 100.0), colour="#0000ff"),)
    cell = evidence([UnknownRun(W, blue)], yellow).rows[0].cells[0]
    assert cell.outcome == CANNOT_TELL
    assert "colour" in cell.reason


def test_without_runs_or_library_nothing_is_claimed() -> None:
    assert evidence([], LIBRARY).consistent == ()
    assert evidence([], LIBRARY).standing == ("A", "B", "C", "D")
    empty = evidence([UnknownRun(W, lane(0.3))], Library.of([]))
    assert (empty.rows, empty.by_chance) == ((), 0)


@given(VALUES, st.sampled_from(PHASES), st.sampled_from(PAPERS), st.floats(0, 1))
def test_only_values_of_the_run_mobile_phase_and_paper_agree_or_disagree(
    values: list[Value], phase: str, paper: str, rf: float
) -> None:
    method = method_of(phase, paper)
    found = evidence([UnknownRun(method, lane(rf))], Library.of(values))
    allowed = {v.substance for v in values if v.method.conditions == method.conditions}
    told = {r.substance for r in found.rows if r.cells[0].outcome in (AGREES, DISAGREES)}
    assert told <= allowed
    assert all(cell.outcome == NOT_RUN for r in found.rows for cell in r.cells[1:])
    assert {r.substance for r in found.rows} == {v.substance for v in values}


# ---- independent mobile phases


def test_mobile_phases_that_order_the_library_alike_count_as_one() -> None:
    rng = np.random.default_rng(3)
    rf = rng.uniform(0.1, 0.9, 12)
    rows = {
        f"S{n}": (float(r), float(0.95 - r), float(other))
        for n, (r, other) in enumerate(zip(rf, rng.uniform(0.1, 0.9, 12), strict=True))
    }
    alike = library(**rows)
    assert alike_methods((W, X, Y), alike) == ((0, 1), (2,))
    rf_w, rf_x, _ = rows["S0"]
    found = evidence([UnknownRun(W, lane(rf_w)), UnknownRun(X, lane(rf_x))], alike)
    assert row(found, "S0").agreements == 1


def test_too_few_substances_in_common_say_nothing_of_likeness() -> None:
    few = library(**{f"S{n}": (0.2 * n, 0.2 * n, None) for n in range(1, 5)})
    assert alike_methods((W, X), few) == ((0,), (1,))


def test_agreement_by_chance_is_what_simulation_finds() -> None:
    # Mobile phases 0 and 3 of these worlds are drawn independently; counted over many worlds, others agree as often as was expected
    expected, counted = [], []
    for seed in range(60):
        made = world(seed, substances=40, phases=4)
        rng = np.random.default_rng([seed, 7])
        unknown = int(rng.integers(40))
        found = evidence([run(made, unknown, phase, rng) for phase in (0, 3)], made.library)
        full = [r.substance for r in found.rows if r.verdict == CONSISTENT and r.agreements == 2]
        expected.append(found.by_chance)
        counted.append(len(set(full) - {made.names[unknown]}))
    assert np.mean(counted) == pytest.approx(np.mean(expected), abs=3 * np.std(counted) / np.sqrt(len(counted)))
    assert np.mean(expected) > 0.1


def test_where_nothing_was_told_nothing_agreed_by_chance() -> None:
    found = evidence([UnknownRun(W, (spot(1, 1, 96.0, 100.0),))], library(A=(0.97, None, None), B=(0.96, None, None)))
    assert (found.by_chance, found.consistent) == (0, ())


def test_by_chance_counts_what_could_be_told() -> None:
    # One mobile phase, five substances with a value there, three of which agree: two beside the unknown's own; the sixth could not be told
    rows = {"A": 0.30, "B": 0.31, "C": 0.29, "D": 0.7, "E": 0.8}
    found = evidence(
        [UnknownRun(W, lane(0.30))], library(**{n: (rf, None, None) for n, rf in rows.items()}, F=(None, 0.5, None))
    )
    assert found.by_chance == pytest.approx(2)
    assert found.others == 4  # B to E; F has no value there


def test_chance_has_to_do_no_more_than_the_best_candidate_did() -> None:
    # A agrees under W and has no value under the other: B and C agree under W just as well, though the other rules them out
    rows = {"A": (0.30, None, None), "B": (0.31, 0.9, None), "C": (0.29, 0.9, None), "D": (0.7, 0.9, None)}
    found = evidence([UnknownRun(W, lane(0.30)), UnknownRun(X, lane(0.2))], library(**rows))
    assert (found.consistent, found.others) == (("A",), 3)
    assert found.by_chance == pytest.approx(2)


def test_components_of_a_mixture_are_no_rivals() -> None:
    """Two spots, two substances each: no run has to tell apart what accounts for different spots, and neither agrees in the other's place."""
    known = {
        "A": (0.30, 0.20, None),
        "A2": (0.31, 0.21, None),
        "B": (0.70, 0.60, None),
        "B2": (0.71, 0.61, None),
        "C": (0.5, 0.9, None),
    }
    found = evidence([UnknownRun(W, lane(0.30, 0.70)), UnknownRun(X, lane(0.20, 0.60))], library(**known))
    assert sorted(map(sorted, found.rivals)) == [["A", "A2"], ["B", "B2"]]
    # Beside A there are A2, which agrees, and C, which does not: B and B2 are not counted.
    assert (found.others, found.by_chance) == (2, pytest.approx(0.5))


def test_one_spot_at_which_two_agree_makes_them_rivals_whatever_lies_beside() -> None:
    found = evidence(
        [UnknownRun(W, lane(0.30, 0.70))], library(A=(0.30, None, None), A2=(0.31, None, None), B=(0.70, None, None))
    )
    assert sorted(map(sorted, found.rivals)) == [["A", "A2"], ["B"]]


# ---- a class: many sheets of one unknown under one mobile phase


def sheets(*rfs: float) -> list[UnknownRun]:
    return [UnknownRun(W, lane(rf)) for rf in rfs]


def test_a_cell_counts_the_sheets_of_a_class() -> None:
    cell = row(evidence(sheets(*[0.31] * 27, 0.80, 0.36, 0.36), LIBRARY), "A").cells[0]
    assert (cell.outcome, cell.agree, cell.disagree, cell.open) == (AGREES, 27, 1, 2)
    assert cell.reason.startswith("Of 30 runs 27 agree, 1 disagrees, 2 cannot tell. In the middle of them: Consistent")


def test_a_few_outlying_sheets_neither_rule_out_nor_bring_in() -> None:
    found = evidence(sheets(*[0.31] * 27, *[0.80] * 3), LIBRARY)
    assert row(found, "A").verdict == CONSISTENT
    assert row(found, "C").verdict == RULED_OUT
    assert "3 agree, 27 disagree" in row(found, "C").reason


@pytest.mark.parametrize(
    ("right", "wrong", "outcome"),
    [(1, 1, CANNOT_TELL), (3, 1, CANNOT_TELL), (4, 1, AGREES), (8, 2, AGREES), (7, 2, CANNOT_TELL), (1, 4, DISAGREES)],
)
def test_a_fifth_of_the_sheets_may_be_of_the_other_mind(right: int, wrong: int, outcome: str) -> None:
    assert row(evidence(sheets(*[0.31] * right, *[0.80] * wrong), LIBRARY), "A").cells[0].outcome == outcome


def test_where_most_sheets_lie_at_the_edge_nothing_is_said() -> None:
    cell = row(evidence(sheets(0.31, 0.36, 0.36), LIBRARY), "A").cells[0]
    assert (cell.outcome, cell.agree, cell.open) == (CANNOT_TELL, 1, 2)


def test_thirty_sheets_of_one_mobile_phase_are_one_agreement() -> None:
    assert row(evidence(sheets(*[0.31] * 30), LIBRARY), "A").agreements == 1


def test_the_order_of_the_sheets_changes_no_outcome() -> None:
    rng = np.random.default_rng(5)
    rfs = [*(0.3 + rng.normal(0, 0.02, 20)), 0.8, 0.79]
    one, other = (evidence(sheets(*list(some)), LIBRARY) for some in (rfs, rng.permutation(rfs)))
    assert [(r.substance, r.cells, r.verdict) for r in one.rows] == [
        (r.substance, r.cells, r.verdict) for r in other.rows
    ]


def test_a_class_with_one_sheet_in_ten_mixed_up_keeps_the_right_one_and_drops_what_lies_far() -> None:
    # Thirty sheets that scatter by what the library says, each mixed up with a chance of one in ten: then it shows another place.
    # More than six mixed up (binomially in 3 % of classes) may leave it open; it is never ruled out.
    rng, verdicts = np.random.default_rng(11), []
    for _ in range(60):
        mixed_up = rng.uniform(size=30) < 0.1
        rfs = np.clip(np.where(mixed_up, rng.uniform(0.05, 0.9, 30), 0.3 + rng.normal(0, 0.025, 30)), 0, 1)
        found = evidence(sheets(*rfs.tolist()), LIBRARY)
        verdicts.append((int(mixed_up.sum()), row(found, "A").verdict, row(found, "C").verdict))
    assert {one for few, one, _ in verdicts if few <= 5} == {CONSISTENT}
    assert sum(one != CONSISTENT for _, one, _ in verdicts) <= 60 * 0.0732  # binomial, six mixed up or more of thirty
    assert {one for _, one, _ in verdicts} <= {CONSISTENT, CANNOT_TELL}
    assert {other for *_, other in verdicts} == {RULED_OUT}
    assert sum(few > 0 for few, *_ in verdicts) > 30


def test_each_sheet_says_what_the_comparison_of_its_own_spots_says() -> None:
    # The table of many sheets goes by arrays; one sheet at a time must count to the same
    rng = np.random.default_rng(8)
    runs = [UnknownRun(W, lane(*sorted(rng.uniform(0.1, 0.9, 2)))) for _ in range(12)]
    together = evidence(runs, LIBRARY)
    alone = [evidence([one], LIBRARY) for one in runs]
    for name in LIBRARY.columns(W).names:
        outcomes = [row(one, name).cells[0].outcome for one in alone]
        cell = row(together, name).cells[0]
        assert (cell.agree, cell.disagree) == (outcomes.count(AGREES), outcomes.count(DISAGREES))
