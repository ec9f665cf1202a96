"""What to run next, against published figures, simulation, and a random choice."""

import numpy as np
import pytest
from scipy import stats

from tests.reference.classes import METHOD
from tests.reference.libraries import runs_needed
from webcapture.reference.advise import still_standing, what_next
from webcapture.reference.library import OWN_RUNS, Library, Value
from webcapture.reference.method import method_of

SPREADS = [
    ((0.1, 0.2, 0.25, 0.3), 0.4835, 0.4066),
    ((0.0, 0.2, 0.2, 0.3), 0.0, 0.3609),
    ((0.25, 0.5, 0.75), 1.0, 1.0),
]
"""Rf, R_D, R_U: published check numbers of Komsta, Markowski and Misztal 2007 (B, recomputed to 1e-4); R_U of the last by its definition."""


def under(phase: str, **rf: float) -> list[Value]:
    method = method_of(phase, METHOD.paper, 20.0)
    return [Value(name, method, value, OWN_RUNS, "a test", sd=0.02, n=10) for name, value in rf.items()]


@pytest.mark.parametrize(("rf", "rd", "ru"), SPREADS)
def test_the_trades_figures_of_spread(rf: tuple[float, ...], rd: float, ru: float) -> None:
    names = [f"S{n}" for n in range(len(rf))]
    (advice,) = what_next(names, Library.of(under("water", **dict(zip(names, rf, strict=True)))))
    assert advice.rd == pytest.approx(rd, abs=1e-4)
    assert advice.ru == pytest.approx(ru, abs=1e-4)


def test_the_mobile_phase_that_separates_those_left_comes_first() -> None:
    library = Library.of(
        [
            *under("water", A=0.2, B=0.5, C=0.8),
            *under("ethanol", A=0.2, B=0.22, C=0.8),
            *under("propanone", A=0.5, B=0.5, C=0.5),
        ]
    )
    first, second, third = what_next(["A", "B", "C"], library)
    assert [a.method.mobile_phase.text for a in (first, second, third)] == ["water", "ethanol", "propanone"]
    assert first.left == pytest.approx(1, abs=0.01)
    assert second.left == pytest.approx(5 / 3, abs=0.1)
    assert third.left == pytest.approx(3, abs=0.05)
    assert (second.pairs[0].first, second.pairs[0].second) == ("A", "B")
    assert "The closest, A and B" in second.reason
    # between A and C alone ethanol does as well as water
    again = what_next(["A", "C"], library)
    assert again[0].left == pytest.approx(again[1].left, abs=1e-3)


def test_what_was_run_is_not_advised_again() -> None:
    library = Library.of([*under("water", A=0.2), *under("ethanol", A=0.2)])
    assert [a.method.mobile_phase.text for a in what_next(["A"], library, [method_of("water", METHOD.paper)])] == [
        "ethanol"
    ]


def test_what_is_not_known_or_says_nothing_separates_nothing() -> None:
    library = Library.of([*under("water", A=0.2, B=0.8), *under("ethanol", A=0.0, B=0.97), *under("propanone", C=0.5)])
    found = {a.method.mobile_phase.text: a for a in what_next(["A", "B"], library)}
    assert found["ethanol"].left == 2
    assert found["ethanol"].silent == ("A", "B")
    assert found["propanone"].left == 2
    assert (found["propanone"].unknown, found["propanone"].rd, found["propanone"].pairs) == (("A", "B"), None, ())
    half = {a.method.mobile_phase.text: a for a in what_next(["A", "C"], library)}["water"]
    assert half.left == 2  # one value alone separates nothing


def test_references_beside_separate_what_single_runs_do_not() -> None:
    library = Library.of(under("water", A=0.50, B=0.56))
    alone, beside = (what_next(["A", "B"], library, same_sheet=same)[0] for same in (False, True))
    assert alone.left > 1.5
    assert beside.left < 1.1
    assert beside.pairs[0].separation > 1 > alone.pairs[0].separation


def test_the_chance_to_stay_standing_is_what_simulation_finds() -> None:
    rng = np.random.default_rng(4)
    rf, U = np.array([0.30, 0.36, 0.50]), np.array([0.04, 0.06, 0.08])
    p = still_standing(rf, U, np.zeros(3, bool), False, 1.5)
    for i in range(3):
        new = rng.normal(rf[i], U[i] / 2, 200_000)
        within = [np.mean(np.abs(new - rf[j]) <= 1.5 * U[j]) for j in range(3)]
        within[i] = 1.0
        assert p[i] == pytest.approx(within, abs=0.004)


def test_nothing_standing_needs_nothing() -> None:
    assert what_next([], Library.of(under("water", A=0.2)))[0].left == 0


def test_following_the_advice_needs_fewer_runs_than_a_random_choice() -> None:
    # Twenty-four substances, eight mobile phases, spread of 0.02 from sheet to sheet; seeds 500 to 539, the same unknowns both ways
    advised, random = ([runs_needed(seed, way) for seed in range(500, 540)] for way in (True, False))
    runs = [np.array([needed for needed, _, _ in found]) for found in (advised, random)]
    assert stats.wilcoxon(runs[0], runs[1], alternative="less").pvalue < 0.001
    assert (runs[0] <= 3).mean() > (runs[1] <= 3).mean()
    for found in (advised, random):  # and the unknown itself is hardly ever ruled out on the way
        assert np.mean([stands for _, stands, _ in found]) >= 0.92
