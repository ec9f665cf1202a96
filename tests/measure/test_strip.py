"""One strip from its cells to Rf: values, flags, and nothing invented."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from tests.measure.drawn import cross, drawn, from_above, pencil, spot, stain, wet
from webcapture.measure.strip import measure_strip
from webcapture.measure.upright import turned_round
from webcapture.settings import DEFAULTS

RED, BLUE, GREEN = (0.05, 0.4, 0.3), (0.4, 0.2, 0.03), (0.3, 0.05, 0.25)
PLAIN = (
    pencil(20),
    cross(20, 10),
    pencil(120),
    spot(45, 10, 1.6, RED),
    spot(70, 10.5, 1.8, BLUE),
    spot(100, 9.8, 2.0, GREEN),
)


def codes(strip):
    lanes = [flag.code for lane in strip.lanes for flag in lane.flags]
    spots = [flag.code for lane in strip.lanes for s in lane.spots for flag in s.flags]
    return {*(flag.code for flag in strip.flags), *lanes, *spots}


def measured(*things, **how):
    return measure_strip(drawn(*things, **how), from_above(), DEFAULTS)


def test_rf_is_distance_over_run():
    """25, 50 and 80 mm of 100 mm (IUPAC Gold Book R05353: to the centre of the spot)."""
    strip = measured(*PLAIN)
    assert [s.rf for s in strip.lanes[0].spots] == pytest.approx([0.25, 0.50, 0.80], abs=0.001)
    assert strip.lanes[0].run_mm == pytest.approx(100, abs=0.05)
    assert codes(strip) == set()


def test_places_on_the_card():
    lane = measured(*PLAIN).lanes[0]
    assert lane.origin_mm == pytest.approx((50, 230), abs=0.6)
    assert lane.spots[1].position_mm == pytest.approx((50.5, 180), abs=0.15)


def test_turned_round_gives_the_same_ratios():
    """A strip with its origin marked by a cross is measured the right way round, and says so."""
    strip = measure_strip(turned_round(drawn(*PLAIN)), from_above(), DEFAULTS)
    assert [s.rf for s in strip.lanes[0].spots] == pytest.approx([0.25, 0.50, 0.80], abs=0.001)


def test_upside_down_is_said():
    cells = turned_round(drawn(*PLAIN))
    strip = measure_strip(replace(cells, turned=False), from_above(), DEFAULTS)
    assert "upside-down" in codes(strip)
    assert not strip.upright
    assert [s.rf for s in strip.lanes[0].spots] == pytest.approx([0.25, 0.50, 0.80], abs=0.001)


def upside_down(*things):
    return measure_strip(replace(turned_round(drawn(*things)), turned=False), from_above(), DEFAULTS)


NARROWING = spot(45, 10, 1.4, RED), spot(75, 10, 1.8, BLUE), spot(105, 10, 2.2, GREEN)
"""Zones disperse on their way: laid upside down, these narrow away from the arrow, and ran towards it."""


def test_widths_and_a_front_of_part_of_the_width_tell_which_way_up():
    strip = upside_down(pencil(25), pencil(125, span=(8, 99)), *NARROWING)
    assert codes(strip) == {"upside-down"}
    assert [s.rf for s in strip.lanes[0].spots] == pytest.approx([0.20, 0.50, 0.80], abs=0.002)
    upright = measured(pencil(25), pencil(125, span=(8, 99)), *NARROWING)
    assert upright.upright
    assert "upside-down" not in codes(upright)


def test_where_the_arrow_and_the_strip_disagree_and_neither_prevails_there_is_no_rf():
    """Widths alone outweigh the arrow, but not so that they are to be believed. What lies where is still told."""
    strip = upside_down(pencil(25), pencil(125), *NARROWING)
    assert codes(strip) == {"upside-down", "ends-undecided"}
    assert not strip.decided
    assert strip.upright, "few lie upside down: its lines are told as it was laid"
    lane = strip.lanes[0]
    assert [(s.rf, s.u_rf, s.U_rf) for s in lane.spots] == [(None, None, None)] * 3
    assert all(s.budget for s in lane.spots), "for whoever says which end it is"
    assert [s.distance_mm for s in lane.spots] == pytest.approx([20, 50, 80], abs=0.2)
    upright = measured(pencil(25), pencil(125), *NARROWING)
    assert upright.decided
    assert [s.rf for s in upright.lanes[0].spots] == pytest.approx([0.20, 0.50, 0.80], abs=0.002)


def test_a_front_that_is_hardly_seen_is_said_to_be():
    """Where "hardly" is set between a pale wet edge in grainy paper and a clear one."""
    between = replace(DEFAULTS, reading=replace(DEFAULTS.reading, faint_front_sd=5.0))

    def said(depth, noise):
        things = pencil(20), cross(20, 10), spot(50, 10, 1.6, RED), wet(110, depth)
        return codes(measure_strip(drawn(*things, noise=noise), from_above(), between))

    assert "front-faint" in said(0.013, 0.02)
    assert "front-faint" not in said(0.03, 0.008)


def test_two_steps_in_the_paper_are_said_to_be_two():
    """The upper one is where the solvent came to, if it is no shadow's: it is taken, and doubted. One with its stain is one."""
    ground = pencil(20), cross(20, 10), spot(50, 10, 1.6, RED)
    two = measured(*ground, wet(70), wet(110))
    assert two.front.s_mm.mean() == pytest.approx(110, abs=0.3)
    assert "two-fronts" in codes(two)
    assert "two-fronts" not in codes(measured(*ground, wet(110)))
    assert "two-fronts" not in codes(measured(*ground, wet(110), stain(109.5)))


def test_a_clear_wet_edge_counts_where_only_a_tint_lies_beyond_it():
    """Something yellow on the paper's upper corner is no spot; a spot there says that the edge is no front."""

    def tint(s, t):
        return (0.15 / (1 + np.exp(-(s - 130) / 2.0)) / (1 + np.exp(-(t - 13) / 0.8)))[..., None] * np.array(
            [0.1, 0.4, 1.0]
        )

    ground = pencil(20), cross(20, 10), spot(60, 10, 1.6, RED), wet(110, 0.03)
    strip = measured(*ground, tint)
    assert strip.front is not None and strip.front.kind == "wet-edge"
    assert "colour-beyond" in codes(strip)
    assert measured(*ground, spot(125, 10, 1.6, BLUE)).front is None


def leaning(s0, sd, colour):
    """A spot a little wider towards the front, as overload makes it."""

    def draw(s, t):
        along = np.exp(-0.5 * ((s - s0) / np.where(s > s0, 1.3 * sd, sd)) ** 2)
        return (along * np.exp(-0.5 * ((t - 10) / sd) ** 2))[..., None] * np.array(colour)

    return draw


def test_without_an_origin_this_way_the_other_is_tried():
    """Turned over, the origin line is far from the arrow, and near it lies the wet paper's edge; the spots lean as if upright."""
    strip = upside_down(pencil(20), wet(120), leaning(45, 1.3, RED), leaning(75, 1.7, BLUE), leaning(100, 2.1, GREEN))
    assert "upside-down" in codes(strip)
    assert [s.rf for s in strip.lanes[0].spots] == pytest.approx([0.25, 0.55, 0.80], abs=0.01)


def test_two_like_lines_are_said_to_be_alike():
    strip = measured(pencil(25), pencil(125), spot(75, 10, 1.6, RED))
    assert "ends-alike" in codes(strip)


@pytest.mark.parametrize("seed", range(6))
def test_bare_paper_gives_nothing(seed):
    """No origin, no front, no spot: never a guess."""
    strip = measured(seed=seed, noise=0.006)
    assert strip.origin is None
    assert strip.front is None
    assert strip.lanes[0].spots == ()
    assert {"origin-missing", "front-missing", "no-spots"} <= codes(strip)


def test_without_a_front_there_is_no_rf():
    lane = measured(pencil(20), cross(20, 10), spot(60, 10, 1.6, RED)).lanes[0]
    assert lane.front_mm is None
    assert lane.run_mm is None
    assert lane.spots[0].rf is None
    assert lane.spots[0].distance_mm == pytest.approx(40, abs=0.05)


def test_a_wet_edge_is_a_front():
    strip = measured(pencil(20), cross(20, 10), wet(120), spot(70, 10, 1.6, RED))
    assert strip.front is not None
    assert strip.front.kind == "wet-edge"
    assert strip.lanes[0].spots[0].rf == pytest.approx(0.5, abs=0.003)


def test_half_a_line_is_a_front():
    strip = measured(pencil(20), cross(20, 10), pencil(120, span=(9, 21)), spot(70, 10, 1.6, RED))
    assert strip.lanes[0].spots[0].rf == pytest.approx(0.5, abs=0.002)


def test_a_slanted_front_counts_where_the_lane_meets_it():
    strip = measured(pencil(20), cross(20, 10), pencil(120, slope=0.1), spot(70, 10, 1.6, RED))
    assert "front-slanted" in codes(strip)
    assert strip.lanes[0].spots[0].rf == pytest.approx(50 / 101, abs=0.002)


@pytest.mark.parametrize(
    ("thing", "code"),
    [
        (spot(20.3, 10, 1.8, (0.1, 0.5, 0.4)), "did-not-move"),
        (spot(117.5, 10, 1.4, (0.1, 0.5, 0.4)), "near-front"),
        (spot(70, 10, 1.6, (0.005, 0.03, 0.022)), "faint"),
    ],
)
def test_flags_on_a_spot(thing, code):
    assert code in codes(measured(pencil(20), cross(20, 10), pencil(120), thing))


def test_a_tail_is_flagged():
    def tailed(s, t):
        below = np.where(s < 80, np.exp((s - 80) / 7), np.exp(-0.5 * ((s - 80) / 1.5) ** 2))
        return (below * np.exp(-0.5 * ((t - 10) / 2) ** 2))[..., None] * np.array(RED)

    assert "tailing" in codes(measured(pencil(20), cross(20, 10), pencil(120), tailed))


def test_an_ink_line_is_told_from_pencil():
    def ink(s, t):
        return (np.exp(-0.5 * ((s - 20) / 0.3) ** 2) + 0 * t)[..., None] * np.array([0.5, 0.35, 0.1])

    assert "ink-line" in codes(measured(ink, pencil(120), spot(70, 10, 1.6, RED)))
    assert "ink-line" not in codes(measured(*PLAIN))


def test_lanes_of_a_sheet_by_colour_and_by_marks():
    """Three crosses, two lanes with colour: the empty lane is there and says so."""
    marks = [cross(20, t) for t in (20, 50, 80)]
    spots = [spot(60, 20, 1.6, RED), spot(80, 80, 1.8, BLUE)]
    strip = measured(pencil(20), pencil(120), *marks, *spots, width=100)
    assert [len(lane.spots) for lane in strip.lanes] == [1, 0, 1]
    assert [flag.code for flag in strip.lanes[1].flags] == ["no-spots"]
    assert [lane.lane for lane in strip.lanes] == [1, 2, 3]


@pytest.mark.parametrize("gap", [3.0, 4.0])
def test_two_dyes_that_overlap_are_told_apart(gap):
    """Centres 3 and 4 mm apart, standard deviation 1.6 mm, different colours."""
    pair = spot(70, 10, 1.6, (0.45, 0.05, 0.02)), spot(70 + gap, 10, 1.6, (0.02, 0.05, 0.45))
    found = measured(pencil(20), cross(20, 10), pencil(120), *pair).lanes[0].spots
    assert len(found) == 2
    assert [s.distance_mm for s in found] == pytest.approx([50, 50 + gap], abs=0.3)


def test_expanded_uncertainty_covers_the_truth():
    """Over 60 strips with grain, ± U (k = 2) holds the true Rf in at least nine cases of ten, and is no larger than useful."""
    inside, widths = [], []
    for seed in range(60):
        rng = np.random.default_rng(seed)
        s0 = rng.uniform(40, 100)
        strip = measured(
            pencil(20), cross(20, 10), pencil(120), spot(s0, 10, rng.uniform(1.2, 2.4), RED), seed=seed, noise=0.01
        )
        found = strip.lanes[0].spots[0]
        inside.append(abs(found.rf - (s0 - 20) / 100) <= found.U_rf)
        widths.append(found.U_rf)
    assert np.mean(inside) >= 0.9
    assert np.median(widths) <= 0.006


@pytest.mark.parametrize(("colour", "seen"), [((0.003, 0.020, 0.006), True), ((0.019, 0.020, 0.018), False)])
def test_a_very_pale_spot_is_believed_for_its_colour(colour, seen):
    """Paper's own unevenness is grey."""
    strip = measured(pencil(20), cross(20, 10), pencil(120), spot(70, 10, 1.6, colour), noise=0.003)
    assert [round(s.rf, 2) for s in strip.lanes[0].spots] == ([0.5] if seen else [])


def band(s0, sd, colour):
    return spot(s0, 10, sd, colour, sd_t=40)


def test_lines_under_bands_are_lines():
    """A band that stayed where it was applied, and one that ran with the front, both right across the strip."""
    dyes = band(20.3, 1.2, (0.54, 0.31, 0.50)), band(70, 1.6, BLUE), band(118.5, 1.2, (0.04, 0.31, 0.41))
    strip = measured(pencil(20), pencil(120), *dyes)
    assert strip.origin.kind == strip.front.kind == "pencil"
    assert [s.rf for s in strip.lanes[0].spots] == pytest.approx([0.003, 0.5, 0.985], abs=0.008)
    assert "ink-line" not in codes(strip)


@pytest.mark.parametrize("sd", [1.0, 1.5, 2.5])
def test_a_grey_band_is_no_line(sd):
    strip = measured(pencil(20), cross(20, 10), band(70, 1.6, RED), band(120, sd, (0.50, 0.46, 0.48)))
    assert strip.front is None


def test_a_shadows_edge_along_the_strip_hides_no_spot():
    """The card beside shows how light changes along either side, not that one side lies in shade all along."""

    def shade(s, t):
        return (0.25 / (1 + np.exp(-(t - 11 + (s - 75) / 10) / 0.8)))[..., None] * np.ones(3)

    spots = (
        spot(45, 10, 1.6, (0.02, 0.20, 0.15)),
        spot(70, 10, 1.8, (0.2, 0.1, 0.02)),
        spot(100, 10, 2.0, (0.02, 0.2, 0.3)),
    )
    found = measured(pencil(20), cross(20, 10), pencil(120), *spots, shade).lanes[0].spots
    assert len(found) == 3
    assert all(abs(s.rf - true) < s.U_rf < 0.02 for s, true in zip(found, (0.25, 0.50, 0.80), strict=True))


def test_a_lane_within_the_bent_edge_is_empty_and_can_be_kept():
    """Its mark lies where card and paper mix: there is no column to read, and nothing that a record could not hold."""
    marks = (2, 12, 45, 75)
    sheet = drawn(
        pencil(20), *[cross(20, t) for t in marks], *[spot(60, t, 1.6, RED) for t in marks[1:]], pencil(120), width=90.0
    )
    strip = measure_strip(replace(sheet, rim_mm=8.0), from_above(), DEFAULTS)
    assert len(strip.lanes) == len(marks)
    assert strip.lanes[0].spots == ()
    assert not strip.lanes[0].profile.any()
