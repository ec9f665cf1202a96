"""The library and the pooling of own runs."""

from dataclasses import replace

import numpy as np
import pytest
from scipy import stats

from tests.reference.classes import spot
from webcapture.errors import UsageError
from webcapture.reference.library import OWN_RUNS, PUBLISHED, Library, Run, Value, accepted, own_values, pooled
from webcapture.reference.method import method_of

M = method_of("water", "paper for tests", 20.0)
OTHER = method_of("ethanol", "paper for tests", 20.0)


def value(**changes: object) -> Value:
    return replace(Value("A", M, 0.5, PUBLISHED, "somewhere"), **changes)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    "changes",
    [
        {"rf": 1.05}, {"rf": -0.1}, {"rf": float("nan")}, {"mark": "guessed"}, {"source": " "}, {"substance": ""}, {"sd": 0.0, "n": 3}, {"sd": 0.1},
        {"n": 0}, {"sd": float("inf"), "n": 3}, {"sd_within": 0.1}, {"freedom_within": 3}, {"hex": "red"}, {"hex": "#12345"},
    ],
)  # fmt: skip
def test_values_that_cannot_be_are_refused(changes: dict[str, object]) -> None:
    with pytest.raises(UsageError):
        value(**changes)


def test_all_that_is_wrong_with_a_value_is_told_at_once() -> None:
    with pytest.raises(UsageError) as refusal:
        value(rf=1.05, mark="guessed", source="")
    assert all(word in refusal.value.message for word in ("1.05", "guessed", "source"))


def test_values_stand_under_their_mobile_phase_and_paper_only() -> None:
    library = Library.of([value(), value(method=OTHER, rf=0.2)])
    assert [v.rf for v in library.under(M)] == [0.5]
    assert library.under(method_of("water", "another paper")) == ()
    assert [v.rf for v in library.under(method_of("WATER", "Paper  for Tests", 30.0))] == [0.5]


def test_nothing_is_overwritten_without_a_word() -> None:
    library = Library.of([value()])
    with pytest.raises(UsageError, match="are there already for A"):
        library.added([value(rf=0.6)])
    assert library.added([value()]) == library
    assert len(library.added([value(source="elsewhere", rf=0.6)]).values) == 2
    with pytest.raises(UsageError):
        Library.of([value(), value(substance="a ")])


def test_values_are_changed_and_retired_on_purpose() -> None:
    library = Library.of([value(), value(substance="B")])
    assert [v.rf for v in library.replaced(value(), value(rf=0.6)).values] == [0.5, 0.6]
    assert [v.substance for v in library.replaced(value(), None).values] == ["B"]
    with pytest.raises(UsageError):
        library.replaced(value(rf=0.7), None)


def runs(table: dict[str, list[float]], practical: str = "first") -> list[Run]:
    return [Run("A", M, rf, sheet, practical) for sheet, rfs in table.items() for rf in rfs]


def test_spread_within_and_between_is_that_of_the_analysis_of_variance() -> None:
    # One-way analysis of variance, balanced: F = size · var(means) / within²; scipy's own F from the same numbers
    rng = np.random.default_rng(5)
    table = {f"s{i}": list(0.5 + rng.normal(0, 0.03) + rng.normal(0, 0.01, 4)) for i in range(6)}
    found = pooled(runs(table))
    assert found.sheets == 6
    assert found.n == 24
    assert found.freedom_within == 18
    assert found.mean == pytest.approx(np.mean(list(table.values())))
    F = stats.f_oneway(*table.values()).statistic
    within2 = found.sd_within**2
    means2 = np.var([np.mean(rfs) for rfs in table.values()], ddof=1)
    assert pytest.approx(4 * means2 / within2) == F
    assert found.sd_between**2 == pytest.approx(means2 - within2 / 4)
    assert found.sd_new**2 == pytest.approx(found.sd_between**2 + within2)


def test_pooling_finds_the_spreads_that_were_drawn() -> None:
    rng = np.random.default_rng(8)
    table = {f"s{i}": list(0.5 + rng.normal(0, 0.03) + rng.normal(0, 0.007, 2)) for i in range(2000)}
    found = pooled(runs(table))
    assert found.sd_between == pytest.approx(0.03, rel=0.05)
    assert found.sd_within == pytest.approx(0.007, rel=0.05)
    assert found.sd_new == pytest.approx(np.hypot(0.03, 0.007), rel=0.05)


def test_few_runs_claim_nothing_they_cannot_know() -> None:
    alone = pooled(runs({"s1": [0.5]}))
    assert (alone.sd_between, alone.sd_within, alone.sd_new) == (None, None, None)
    one_sheet = pooled(runs({"s1": [0.50, 0.52]}))
    assert one_sheet.sd_within == pytest.approx(0.0141421, abs=1e-6)
    assert one_sheet.sd_new is None
    two = pooled(runs({"s1": [0.50], "s2": [0.52]}))
    assert two.sd_new == pytest.approx(0.0141421, abs=1e-6)
    assert two.sd_within is None


def test_runs_of_other_substances_or_conditions_do_not_pool() -> None:
    for other in (Run("B", M, 0.5, "s2", "first"), Run("A", OTHER, 0.5, "s2", "first")):
        with pytest.raises(UsageError):
            pooled([*runs({"s1": [0.5]}), other])
    with pytest.raises(UsageError):
        pooled([])


def test_batches_by_practical() -> None:
    found = pooled([*runs({"s1": [0.50, 0.52]}, "May"), *runs({"s2": [0.60]}, "June")])
    assert [(b.practical, b.n) for b in found.batches] == [("May", 2), ("June", 1)]
    assert found.batches[1].sd is None
    assert found.mean == pytest.approx(0.555)  # of 0.51 and 0.60: each sheet counts once


def test_a_reference_lanes_spot_becomes_a_run() -> None:
    run = accepted(replace(spot(2, 1, 40.0, 100.0), colour="#0000ff"), "A", M, "sheet 1", "May")
    assert run == Run("A", M, 0.4, "sheet 1", "May", "#0000ff")


@pytest.mark.parametrize(
    "changes", [{"rf": None}, {"codes": ("did-not-move",)}, {"codes": ("near-front",)}, {"codes": ("merged",)}]
)
def test_a_spot_that_says_nothing_of_its_substance_is_not_taken(changes: dict[str, object]) -> None:
    with pytest.raises(UsageError) as refusal:
        accepted(replace(spot(2, 1, 40.0, 100.0), **changes), "A", M, "sheet 1", "May")  # type: ignore[arg-type]
    assert refusal.value.hint


def test_own_runs_become_values() -> None:
    table = runs({"s1": [0.50, 0.52], "s2": [0.55, 0.55]})
    values = own_values([*table, Run("a", OTHER, 0.1, "s3", "first", "#ff0000")], "our bench")
    assert [(v.substance, v.mark, v.n, v.freedom_within) for v in values] == [
        ("A", OWN_RUNS, 2, 2),
        ("a", OWN_RUNS, 1, 0),
    ]
    assert values[0].sd is not None
    assert values[1].sd is None
    assert values[1].hex == "#ff0000"
    assert Library.of(values).under(M) == (values[0],)


def test_few_practicals_do_not_show_how_far_days_differ() -> None:
    runs = [Run("a", OTHER, rf, f"s{n}", "one day") for n, rf in enumerate((0.300, 0.301, 0.302))]
    assert own_values(runs)[0].sd == pytest.approx(0.001)
    assert own_values(runs, few=2, least_sd=0.025)[0].sd == 0.025
    assert own_values([*runs, Run("a", OTHER, 0.4, "s9", "another")], few=2, least_sd=0.025)[0].sd == pytest.approx(
        0.0495, abs=1e-3  # of 0.300, 0.301, 0.302, 0.400: by hand
    )  # fmt: skip
    assert own_values(runs[:1], few=2, least_sd=0.025)[0].sd is None
