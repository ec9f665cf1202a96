"""Which way up a strip lies: the card's arrow, weighed against what the lines, the writing and the spots show."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from webcapture.measure.field import Field
from webcapture.measure.landmarks import Candidate
from webcapture.measure.reading import Reading
from webcapture.measure.traits import slope_of
from webcapture.model import Floats, StripCells
from webcapture.settings import DEFAULTS, Settings, UprightSettings


def turned_round(strip: StripCells) -> StripCells:
    """The same strip seen with its other end as the origin end."""
    axis = np.array(strip.axis)
    far = np.array(strip.start_mm) + strip.length_mm * axis + strip.width_mm * np.array([-axis[1], axis[0]])
    return replace(
        strip,
        cells=strip.cells[::-1, ::-1],
        strokes=strip.strokes[::-1, ::-1],
        bins=strip.bins[::-1, ::-1],
        light=strip.light[::-1, ::-1],
        start_mm=(float(far[0]), float(far[1])),
        axis=(float(-axis[0]), float(-axis[1])),
        outline=replace(
            strip.outline,
            left_edge_mm=strip.outline.right_edge_mm[::-1],
            right_edge_mm=strip.outline.left_edge_mm[::-1],
        ),
        turned=not strip.turned,
    )


def widening_odds(ratio: Floats, ln_width: Floats, rule: UprightSettings = DEFAULTS.upright) -> float:
    """ln odds that a lane's spots widen on their way in the direction of increasing Rf, rather than in the other.

    Two hypotheses of equal spread and opposite growth about the slope of (n,) ln(width) over (n,) Rf; 0 for fewer than two.
    """
    if len(ratio) < 2:
        return 0.0
    off = ratio - ratio.mean()
    apart = max(float(off @ off), 1e-6)
    slope = float(off @ ln_width) / apart
    rest = ln_width - ln_width.mean() - slope * off
    # Two spots alone cannot show how far they scatter about a line.
    scatter = (
        (2 * rule.width_sd) ** 2 if len(ratio) == 2 else max(rule.width_sd**2, float(rest @ rest) / (len(ratio) - 2))
    )
    believed = float(np.clip(slope, -rule.growth_most, rule.growth_most))
    return 2 * rule.growth * believed / (rule.growth_sd**2 + scatter / apart)


def odds_upright(reading: Reading, widening: Floats, tails: Floats, settings: Settings) -> float:
    """ln odds that the strip lies this way up rather than the other.

    widening: what each lane's widths say; tails: ln of each spot's tailing.
    """
    rule = settings.upright
    length = reading.field.length_mm
    reach = settings.landmark.origin_range * length
    other = [c for c in reading.thin if length - c.middle_mm < reach]
    far = max(other, key=lambda c: c.coverage, default=None)
    odds = rule.arrow if not reading.strip.turned else -rule.arrow
    odds += _line_odds(reading.origin, settings) - _line_odds(far, settings)
    if reading.origin is not None and far is not None:
        odds += _layout_odds(reading, far, settings) + ruled_odds(reading.origin, far, reading.field, rule)
    tailing = float(np.clip(tails, -rule.most_tail, rule.most_tail).sum())
    spots = float(widening.sum()) + rule.tail * tailing
    return odds + float(np.clip(spots, -rule.most_spots, rule.most_spots))


def ruled_odds(low: Candidate, far: Candidate, field: Field, rule: UprightSettings = DEFAULTS.upright) -> float:
    """ln odds, from how straight and level two lines are, that the lower one is the origin.

    An origin is ruled on dry paper; a front is marked by hand along where the solvent stood, which leans and bows.
    """
    may = np.array([rule.ruled_scatter_mm, rule.ruled_slant, rule.ruled_bow_mm])
    more = np.log((_waywardness(far, field) + may) / (_waywardness(low, field) + may))
    return float(np.clip(rule.ruled * more.sum(), -rule.most_ruled, rule.most_ruled))


def _waywardness(line: Candidate, field: Field) -> Floats:
    """(3,) what a line has that a ruled one has not: scatter (mm), slant, and bow (mm, standard deviation from straight)."""
    bend = np.pad(line.trace.coefficients, (0, 2))[2]
    # A parabola over the width w departs from its straight line by bend · w² / √180, as a standard deviation.
    bow = abs(bend) * field.width_mm**2 / np.sqrt(180)
    return np.array([line.trace.spread_mm, slope_of(line.trace, field), bow])


def _layout_odds(reading: Reading, far: Candidate, settings: Settings) -> float:
    """What the places of two lines and of the writing say for the lower one being the origin."""
    rule, length = settings.upright, reading.field.length_mm
    low, high = rule.usual_front
    fits = low <= far.middle_mm / length <= high
    other_fits = low <= 1 - reading.origin.middle_mm / length <= high if reading.origin else fits
    odds = rule.places * (int(fits) - int(other_fits))
    lowest = reading.origin.middle_mm - rule.writing_mm if reading.origin else 0.0
    below = _written(reading, 0.0, lowest, rule)
    above = _written(reading, far.middle_mm + rule.writing_mm, length, rule)
    return odds + rule.writing * ((below > rule.writing_mm2) - (above > rule.writing_mm2))


def _written(reading: Reading, low_mm: float, high_mm: float, rule: UprightSettings) -> float:
    """Square millimetres under pencil strokes between two places along the strip; the paper's own edges look like strokes."""
    field, edge = reading.field, rule.writing_edge_mm
    along = (field.s_mm > max(low_mm, edge)) & (field.s_mm < min(high_mm, field.length_mm - edge))
    side = field.rim_mm + edge / 2
    across = (field.t_mm > side) & (field.t_mm < field.width_mm - side)
    return float(reading.strip.strokes[np.ix_(along, across)].sum()) * field.cell_mm**2


def _line_odds(line: Candidate | None, settings: Settings) -> float:
    """What a line near an end says for that end being the origin's."""
    rule = settings.upright
    if line is None:
        return 0.0
    marks = rule.marks * min(line.marks / rule.marks_clear, 1.0)
    full, partial = line.coverage >= settings.landmark.origin_coverage, line.coverage < rule.partial_coverage
    return rule.line * full + marks - rule.partial * partial
