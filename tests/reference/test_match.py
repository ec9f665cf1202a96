"""Candidates for a spot, against published keys and tables, outside arithmetic, and by property."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from uncertainties import ufloat

from tests.reference.classes import METHOD, spot
from tests.reference.values import PAPERS, PHASES, VALUES, shipped_library
from webcapture.measure.ratios import r_rel
from webcapture.measure.uncertainty import e_n
from webcapture.reference.compare import AGREES, CANNOT_TELL, DISAGREES, DOUBTFUL, SheetReference, u_difference_beside
from webcapture.reference.exchange import shipped
from webcapture.reference.library import INVENTED, OWN_RUNS, PUBLISHED, Library, Value
from webcapture.reference.match import CONSISTENT, NONE_FITS, NOTHING, REASONS, Match, alike_under, candidates
from webcapture.reference.method import method_of
from webcapture.reference.observed import Observed
from webcapture.settings import DEFAULTS

SETTINGS = DEFAULTS.compare


def window(rf: float) -> object:
    return replace(SETTINGS, window_rf=rf)


def seen(rf: float, U: float, colour: str = "", lane: int = 1) -> Observed:
    return replace(spot(lane, 1, 100 * rf, 100.0), rf=rf, U_rf=U, colour=colour)


def known(substance: str, rf: float, **more: object) -> Value:
    return Value(
        substance, METHOD, rf, *(("published",) if "mark" not in more else (more.pop("mark"),)), "a test", **more
    )  # type: ignore[arg-type]


def names(comparisons: tuple[object, ...]) -> list[str]:
    return [c.substance for c in comparisons]  # type: ignore[attr-defined]


def one(found: tuple[Match, ...]) -> Match:
    (match,) = found
    return match


# ---- published keys and tables

KEYS = [
    ([(6.0, "blue"), (7.8, "yellow")], ["copper(II)", "cadmium(II)"]),
    ([(3.5, "brown-black"), (9.5, "brown-black")], ["cobalt(II)", "mercury(II)"]),
    ([(0.8, "pink"), (7.8, "yellow"), (9.5, "brown-black")], ["nickel(II)", "cadmium(II)", "mercury(II)"]),
]
"""Distances in cm over a front at 10.0 cm, colours, and the keyed answers: after McCullough and Curlee 1993, in a published test passage (B)."""
LOOK = {"pink": "#ffc0cb", "blue": "#0000ff", "yellow": "#ffff00", "brown-black": "#2b1d17"}
"""CSS named colors of those words; brown-black by judgement."""


def key_spots(rows: list[tuple[float, str]], colours: bool) -> list[Observed]:
    """Read with a ruler to half a millimetre: U = 0.012 (JCGM 100:2008, half-width 0.5 mm of 100 mm, k = 2)."""
    return [seen(cm / 10.0, 0.012, LOOK[word] if colours else "") for cm, word in rows]


@pytest.mark.parametrize("lead_window", [0.05, 0.15])
@pytest.mark.parametrize(("rows", "answer"), KEYS)
def test_the_published_key_of_the_five_cations(
    rows: list[tuple[float, str]], answer: list[str], lead_window: float
) -> None:
    found = candidates(
        key_spots(rows, True), shipped("cations")[0].method, shipped_library(), settings=window(lead_window)
    )
    assert [names(match.candidates) for match in found] == [[name] for name in answer]
    assert all(match.candidates[0].colour == AGREES for match in found)


def test_of_the_two_cations_of_one_colour_rf_tells_which() -> None:
    method, library = shipped("cations")[0].method, shipped_library()
    for rf, right, other in ((0.35, "cobalt(II)", "mercury(II)"), (0.95, "mercury(II)", "cobalt(II)")):
        match = one(candidates([seen(rf, 0.012, LOOK["brown-black"])], method, library))
        assert names(match.candidates) == [right]
        against = next(c for c in match.ruled_out if c.substance == other)
        assert against.e_n == pytest.approx(0.60 / np.hypot(0.05, 0.012))


def test_without_colour_the_cations_that_a_window_spans_are_not_told_apart() -> None:
    # Between sources Rf differ by 0.1 to 0.4 (calculated from the tables); with a window of 0.2 only colour tells copper from cadmium
    method, library = shipped("cations")[0].method, shipped_library()
    plain = one(candidates([seen(0.60, 0.012)], method, library, settings=window(0.2)))
    assert set(names(plain.candidates)) == {"copper(II)", "cadmium(II)"}
    assert plain.groups == (("copper(II)", "cadmium(II)"),)
    assert {c.colour for c in plain.candidates} == {CANNOT_TELL}
    blue = one(candidates([seen(0.60, 0.012, LOOK["blue"])], method, library, settings=window(0.2)))
    assert names(blue.candidates) == ["copper(II)"]
    assert names(blue.colour_against) == ["cadmium(II)"]


@pytest.mark.parametrize("lead_window", [0.02, 0.05])
def test_no_single_name_comes_out_of_the_twenty_amino_acids(lead_window: float) -> None:
    # AAindex WEBA780101, Weber and Lacey 1978 (A): 0.89 ± 0.02 lies at Ala .89, Asn .89, Arg .88, Asp .87 at least
    match = one(
        candidates(
            [seen(0.89, 0.02)], shipped("amino-acids-salt")[0].method, shipped_library(), settings=window(lead_window)
        )
    )
    least = {"alanine", "asparagine", "arginine", "aspartic acid"}
    assert match.outcome == CONSISTENT
    assert set(names(match.candidates)) >= least
    assert set(match.groups[0]) >= least
    assert all(c.window for c in match.candidates)
    wide = np.hypot(0.02, lead_window)
    expected = {v.substance for v in shipped("amino-acids-salt") if abs(v.rf - 0.89) <= wide and v.rf <= 0.95}
    assert set(names(match.candidates)) == expected


def test_glycine_and_serine_are_reported_as_not_to_be_told_apart() -> None:
    # Complete Chemistry for Cambridge IGCSE, pp. 25-26 (B): 0.26 and 0.27
    method, library = shipped("amino-acids")[0].method, shipped_library()
    assert alike_under(method, library, window(0.02)) == (("glycine", "serine"),)
    match = one(candidates([seen(0.262, 0.006)], method, library, settings=window(0.02)))
    assert match.groups == (("glycine", "serine"),)


def test_two_states_of_iron_are_told_apart() -> None:
    # Fe(II) 0.07 and Fe(III) 0.92 in one solvent: Poonia, J. Chem. Educ. (A)
    library = Library.of([known("iron(II)", 0.07), known("iron(III)", 0.92)])
    assert [names(m.candidates) for m in candidates([seen(0.08, 0.01), seen(0.90, 0.01)], METHOD, library)] == [
        ["iron(II)"],
        ["iron(III)"],
    ]


# ---- the same mobile phase and paper only


@given(VALUES, st.sampled_from(PHASES), st.sampled_from(PAPERS), st.floats(0, 1), st.floats(0, 2), st.floats(0.001, 2))
def test_a_value_of_another_mobile_phase_or_paper_is_never_a_candidate(
    values: list[Value], phase: str, paper: str, rf: float, U: float, lead_window: float
) -> None:
    method = method_of(phase, paper)
    match = one(candidates([seen(rf, U)], method, Library.of(values), settings=window(lead_window)))
    allowed = {
        (v.substance, v.rf) for v in values if v.method.mobile_phase == method.mobile_phase and v.method.paper == paper
    }
    told = [*match.candidates, *match.doubtful, *match.colour_against, *match.ruled_out]
    assert {(c.substance, c.known) for c in told} <= allowed
    mentioned = {name for group in match.groups for name in group}
    assert mentioned <= {name for name, _ in allowed}
    if not allowed and not match.spot.silent:
        assert match.outcome == NOTHING


@given(st.floats(0, 1), st.sampled_from(["did-not-move", "near-front"]), VALUES)
def test_what_did_not_move_or_ran_with_the_front_names_nothing(rf: float, code: str, values: list[Value]) -> None:
    silent = replace(seen(rf, 0.5), codes=(code,))
    reference = SheetReference("A", (replace(spot(2, 1, 100 * rf, 100.0), codes=()),))
    match = one(candidates([silent], method_of("water", "paper a"), Library.of(values), [reference]))
    assert (match.outcome, match.reason) == (CANNOT_TELL, code)
    assert (match.candidates, match.groups, match.doubtful, match.ruled_out) == ((), (), (), ())


@pytest.mark.parametrize("rf", [0.0, 0.01, 0.97, 1.0])
def test_a_reference_at_either_end_names_nothing(rf: float) -> None:
    near = min(max(rf, 0.03), 0.95)
    match = one(candidates([replace(seen(near, 0.01), codes=())], METHOD, Library.of([known("A", rf)])))
    assert match.candidates == ()
    assert (match.outcome, match.reason) == (CANNOT_TELL, "silent-reference")
    far = one(candidates([seen(0.5, 0.01)], METHOD, Library.of([known("A", rf)])))
    assert (far.outcome, names(far.ruled_out)) == (NONE_FITS, ["A"])


# ---- agreement by numbers


def test_agreement_is_e_n_of_both_uncertainties() -> None:
    # E_n = |x1 − x2| / √(U1² + U2²), at most 1 agrees: ISO 13528, ISO/IEC 17043 (from memory)
    library = Library.of([known("A", 0.50)])
    for off, said in ((0.0499, AGREES), (0.0501, DOUBTFUL), (0.0749, DOUBTFUL), (0.0751, DISAGREES)):
        match = one(candidates([seen(0.50 + off, 0.03)], METHOD, library, settings=window(0.04)))
        (comparison,) = (*match.candidates, *match.doubtful, *match.ruled_out)
        assert comparison.agreement == said
        assert comparison.e_n == pytest.approx(e_n(0.50 + off, 0.03, 0.50, 0.04))
        assert match.outcome == {AGREES: CONSISTENT, DOUBTFUL: CANNOT_TELL, DISAGREES: NONE_FITS}[said]


def test_a_new_run_lies_within_what_own_runs_predict() -> None:
    # Means and standard deviations of 8 sheets, and one new sheet each: k = 2 stands for 95.45 %, and E_n ≤ 1 must hold so often
    rng = np.random.default_rng(12)
    agree = []
    for _ in range(1500):
        runs = 0.5 + rng.normal(0, 0.03, 9)
        value = known("A", float(runs[:8].mean()), mark=OWN_RUNS, sd=float(runs[:8].std(ddof=1)), n=8)
        agree.append(one(candidates([seen(float(runs[8]), 0.0)], METHOD, Library.of([value]))).outcome == CONSISTENT)
    assert np.mean(agree) == pytest.approx(0.9545, abs=3 * np.sqrt(0.9545 * 0.0455 / len(agree)))


def test_where_a_source_gives_no_uncertainty_the_window_is_the_leads() -> None:
    library = Library.of([known("A", 0.5), known("B", 0.5, sd=0.01, n=10), known("C", 0.5, mark=INVENTED)])
    match = one(candidates([seen(0.5, 0.01)], METHOD, library, settings=window(0.03)))
    assert {c.substance: (c.window, c.U_known == 0.03) for c in match.candidates} == {
        "A": (True, True),
        "B": (False, False),
        "C": (True, True),
    }


def test_the_best_evidence_decides_and_comes_first() -> None:
    values = [
        known("A", 0.50),
        known("A", 0.60, mark=OWN_RUNS, sd=0.01, n=20),
        known("B", 0.51),
        known("C", 0.5, mark=INVENTED),
    ]
    match = one(candidates([seen(0.50, 0.01)], METHOD, Library.of(values)))
    assert [(c.substance, c.evidence) for c in match.candidates] == [("B", PUBLISHED), ("C", INVENTED)]
    assert [(c.substance, c.evidence) for c in match.ruled_out] == [("A", OWN_RUNS)]
    beside = SheetReference("a", (spot(2, 1, 50.2, 100.0),))
    match = one(candidates([spot(1, 1, 50.0, 100.0)], METHOD, Library.of(values), [beside]))
    assert (match.candidates[0].substance, match.candidates[0].evidence) == ("a", "same sheet")
    assert names(match.ruled_out) == []


def test_beside_a_reference_the_shift_of_the_sheet_does_not_matter() -> None:
    library = Library.of([known("A", 0.40), known("B", 0.50)])
    shifted = [SheetReference("A", (spot(2, 1, 50.0, 100.0),)), SheetReference("B", (spot(3, 1, 60.0, 100.0),))]
    unknown = spot(1, 1, 50.3, 100.0)
    assert names(one(candidates([unknown], METHOD, library)).candidates) == ["B"]  # what the table alone would say
    assert names(one(candidates([unknown], METHOD, library, shifted)).candidates) == ["A"]


def test_what_two_lanes_share_is_left_out_of_their_difference() -> None:
    # The package uncertainties propagates the same two lines through both ratios
    o, f = ufloat(0, 0.10), ufloat(100, 0.15)
    a, b = ufloat(50, 0.08), ufloat(46, 0.08)
    difference = (a - o) / (f - o) - (b - o) / (f - o)
    first, second = spot(1, 1, 50.0, 100.0), spot(2, 1, 46.0, 100.0)
    assert u_difference_beside(first, second) == pytest.approx(difference.std_dev, rel=1e-3)
    apart = replace(second, strip="2")
    assert u_difference_beside(first, apart) == pytest.approx(np.hypot(first.U_rf / 2, apart.U_rf / 2))
    assert u_difference_beside(first, second) < 0.8 * u_difference_beside(first, apart)


def test_own_runs_say_how_a_substance_repeats_on_one_sheet() -> None:
    unknown, beside = spot(1, 1, 50.0, 100.0), SheetReference("A", (spot(2, 1, 52.5, 100.0),))
    assert (
        one(candidates([unknown], METHOD, Library.of([]), [beside])).outcome == CANNOT_TELL
    )  # E_n 1.2 with the settings' spread
    for sd, outcome in ((0.012, CONSISTENT), (0.002, NONE_FITS)):
        own = known("A", 0.9, mark=OWN_RUNS, sd=0.03, n=9, sd_within=sd, freedom_within=9)
        assert one(candidates([unknown], METHOD, Library.of([own]), [beside])).outcome == outcome


def test_a_reference_of_another_strip_or_the_own_lane_is_none() -> None:
    unknown = spot(1, 1, 50.0, 100.0)
    for elsewhere in (replace(spot(2, 1, 50.0, 100.0), strip="2"), spot(1, 2, 50.0, 100.0)):
        match = one(candidates([unknown], METHOD, Library.of([]), [SheetReference("A", (elsewhere,))]))
        assert match.candidates == ()


def test_without_a_front_the_reference_beside_still_compares() -> None:
    def no_front(lane: int, mm: float) -> Observed:
        return replace(spot(lane, 1, mm, 100.0), rf=None, U_rf=None, run_mm=None, reach_mm=130.0)

    near, far = SheetReference("A", (no_front(2, 41.0),)), SheetReference("B", (no_front(3, 52.0),))
    match = one(candidates([no_front(1, 40.0)], METHOD, Library.of([known("C", 0.4)]), [near, far]))
    assert names(match.candidates) == ["A"]
    assert names(match.ruled_out) == ["B"]
    assert match.candidates[0].quantity == "R_rel"
    assert match.candidates[0].seen == pytest.approx(r_rel(40.0, 41.0))  # IUPAC Gold Book R05276 (A)
    close = SheetReference("D", (no_front(3, 38.5),))
    assert one(candidates([no_front(1, 40.0)], METHOD, Library.of([]), [near, close])).groups == (("D", "A"),)
    alone = one(candidates([no_front(1, 40.0)], METHOD, Library.of([known("C", 0.4)])))
    assert (alone.outcome, alone.reason) == (CANNOT_TELL, "no-rf")


def test_a_merged_spot_is_not_told() -> None:
    match = one(candidates([replace(seen(0.5, 0.01), codes=("merged",))], METHOD, Library.of([known("A", 0.5)])))
    assert (match.outcome, match.reason) == (CANNOT_TELL, "merged")


def test_colour_supports_and_does_not_name() -> None:
    library = Library.of([known("A", 0.52, hex="#0000ff"), known("B", 0.50), known("C", 0.50, hex="#ffff00")])
    match = one(candidates([seen(0.50, 0.01, "#4169e1")], METHOD, library))
    assert names(match.candidates) == ["A", "B"]  # what agrees in colour before what shows none
    assert names(match.colour_against) == ["C"]
    only = one(candidates([seen(0.50, 0.01, "#4169e1")], METHOD, Library.of([known("C", 0.50, hex="#ffff00")])))
    assert (only.outcome, only.reason) == (NONE_FITS, "colour")


def test_another_locating_agent_makes_colours_incomparable_and_is_remarked_on() -> None:
    other = method_of(METHOD.mobile_phase.text, METHOD.paper, 30.0, "iodine")
    library = Library.of([Value("A", other, 0.5, "published", "x", hex="#ffff00")])
    match = one(candidates([seen(0.50, 0.01, "#0000ff")], METHOD, library))
    assert names(match.candidates) == ["A"]
    assert match.candidates[0].colour == CANNOT_TELL
    assert {remark.code for remark in match.candidates[0].remarks} == {"temperature-differs", "locating-differs"}


def test_more_than_can_be_listed_is_counted() -> None:
    library = Library.of([known(f"S{n}", 0.5) for n in range(40)] + [known(f"T{n}", 0.9) for n in range(30)])
    match = one(candidates([seen(0.5, 0.01)], METHOD, library))
    assert len(match.candidates) + match.more == 40
    assert len(match.ruled_out) + match.more_ruled_out == 30


@pytest.mark.parametrize("sources", [1, 3])
def test_of_a_crowded_library_the_nearest_are_listed(sources: int) -> None:
    """Against all of 300 substances put in order one by one; with one value each, and with three of which the nearest counts."""
    rng = np.random.default_rng(5)
    values = [replace(known(f"S{n}", round(float(rng.uniform(0.05, 0.95)), 4)), source=f"{k}") for n in range(300) for k in range(sources)]  # fmt: skip
    for rf in (0.06, 0.41, 0.93):
        spread = {name: min(e_n(rf, 0.004, v.rf, SETTINGS.window_rf) for v in values if v.substance == name) for name in {v.substance for v in values}}  # fmt: skip
        ordered = sorted(spread.values())
        out = [e for e in ordered if e > SETTINGS.e_doubtful]
        match = one(candidates([seen(rf, 0.004)], METHOD, Library.of(values)))
        listed = [c.e_n for c in (*match.candidates, *match.doubtful, *match.colour_against)]
        assert listed == pytest.approx(ordered[: len(listed)]) and len(listed) >= SETTINGS.listed
        assert [c.e_n for c in match.ruled_out] == pytest.approx(out[: SETTINGS.listed_out])
        assert match.more_ruled_out == len(out) - SETTINGS.listed_out


@pytest.mark.parametrize("text", REASONS.values())
def test_no_reason_says_more_than_consistent(text: str) -> None:
    lower = text.casefold()
    assert not any(word in lower.split() for word in ("pure", "absent", "identified", "proves", "certainly"))


@given(VALUES, st.floats(0.03, 0.94), st.floats(0.001, 0.1))
def test_every_substance_of_the_mobile_phase_is_accounted_for_once(values: list[Value], rf: float, U: float) -> None:
    method = method_of("water", "paper a")
    match = one(candidates([seen(rf, U)], method, Library.of(values)))
    told = names((*match.candidates, *match.doubtful, *match.colour_against, *match.ruled_out))
    assert len(told) == len(set(told))
    assert set(told) <= {v.substance for v in values if v.method.conditions == method.conditions}
