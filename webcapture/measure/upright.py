"""Which way up a strip lies: the card's arrow, weighed against what the lines, the writing and the spots show."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from webcapture.measure.curves import polynomial_at
from webcapture.measure.field import Field
from webcapture.measure.landmarks import Candidate
from webcapture.measure.lanes import Track
from webcapture.measure.reading import Reading
from webcapture.measure.spots import Blob
from webcapture.measure.traits import bend_of, is_brown, slope_of
from webcapture.model import Floats, Line, StripCells
from webcapture.settings import DEFAULTS, Settings, UprightSettings


@dataclass(frozen=True, slots=True)
class Trails:
    """What the spots of a strip show of the way they ran."""

    widening: Floats
    """(lanes,) ln odds from the widths of each lane's spots."""
    tails: Floats
    """(n,) ln of the tailing of each clear spot."""
    covers: bool
    """Whether one of them lies on a line, whose straightness then cannot be judged."""
    middles: tuple[float, ...] = ()
    """t of each lane's axis, millimetres."""


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


def trails_of(
    tracks: Sequence[Track],
    blobs: Sequence[Sequence[Blob]],
    origin: Line | None,
    front: Line | None,
    rule: UprightSettings,
) -> Trails:
    """What the spots of all lanes show; ``blobs`` lane by lane, as ``tracks``."""
    # Of spots that overlap, the assumed shape decides which side trails.
    alone = [b for found in blobs for b in found if "merged" not in b.codes and b.signal_to_noise > rule.widths_sd]
    widening, covers = [], False
    if origin is not None and front is not None:
        for track, found in zip(tracks, blobs, strict=True):
            o, f = (float(polynomial_at(track.middle_mm, line.coefficients)) for line in (origin, front))
            widening.append(_widening(found, o, f, rule))
            covers |= any(low < at < high for low, high in (b.edges_mm for b in found) for at in (o, f))
    middles = tuple(track.middle_mm for track in tracks)
    return Trails(np.array(widening), np.log([blob.tailing for blob in alone]), covers, middles)


def _widening(blobs: Sequence[Blob], origin_mm: float, front_mm: float, rule: UprightSettings) -> float:
    """ln odds, from the widths of a lane's clear round spots, that they ran this way.

    A tail is as long as the load is large; and so, in part, is the width of a band, which was applied as a streak.
    """
    clear = [b for b in blobs if not {"merged", "tailing"} & set(b.codes) and b.signal_to_noise > rule.widths_sd]
    ratio = np.array([(b.centre_mm - origin_mm) / (front_mm - origin_mm) for b in clear])
    odds = widening_odds(ratio, np.log([b.width_mm for b in clear]), rule)
    most = rule.most_band if any(b.fill >= rule.band_fill for b in clear) else rule.most_widening
    return float(np.clip(odds, -most, most))


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


def odds_upright(reading: Reading, trails: Trails, settings: Settings) -> tuple[float, float]:
    """(ln odds that the strip lies this way up rather than the other, what of them marks and spots alone say)."""
    rule = settings.upright
    length = reading.field.length_mm
    reach = settings.landmark.origin_range * length
    other = [c for c in reading.thin if length - c.middle_mm < reach]
    far = max(other, key=lambda c: c.coverage, default=None)
    tailing = float(np.clip(trails.tails, -rule.most_tail, rule.most_tail).sum())
    spots = rule.widths * float(trails.widening.sum()) + rule.tail * tailing
    shown = _line_odds(reading.origin, reading.field, settings) - _line_odds(far, reading.field, settings)
    shown += float(np.clip(spots, -rule.most_spots, rule.most_spots))
    habits = rule.arrow if not reading.strip.turned else -rule.arrow
    if reading.origin is not None and far is not None:
        habits += _layout_odds(reading, far, trails.middles, settings)
        habits += 0.0 if trails.covers else ruled_odds(reading.origin, far, reading.field, rule)
    return habits + shown, shown


def ruled_odds(low: Candidate, far: Candidate, field: Field, rule: UprightSettings = DEFAULTS.upright) -> float:
    """ln odds, from how straight and level two lines are, that the lower one is the origin.

    An origin is ruled on dry paper; a front is marked by hand along where the solvent stood, which leans and bows.
    """
    may = np.array([rule.ruled_scatter_mm, rule.ruled_slant, rule.ruled_bow_mm])
    more = np.log((_waywardness(far, field) + may) / (_waywardness(low, field) + may))
    return float(np.clip(rule.ruled * more.sum(), -rule.most_ruled, rule.most_ruled))


def _waywardness(line: Candidate, field: Field) -> Floats:
    """(3,) what a line has that a ruled one has not: scatter (mm), slant, and bow (mm, standard deviation from straight)."""
    # A parabola over the width w departs from its straight line by bend · w² / √180, as a standard deviation.
    bow = abs(bend_of(line.trace)) * field.width_mm**2 / np.sqrt(180)
    return np.array([line.trace.spread_mm, slope_of(line.trace, field), bow])


def _layout_odds(reading: Reading, far: Candidate, middles: Sequence[float], settings: Settings) -> float:
    """What the places of two lines and of the writing say for the lower one being the origin; ``middles``: t of the lanes."""
    rule, length = settings.upright, reading.field.length_mm
    low, high = rule.usual_front
    fits = low <= far.middle_mm / length <= high
    other_fits = low <= 1 - reading.origin.middle_mm / length <= high if reading.origin else fits
    odds = rule.places * (int(fits) - int(other_fits))
    lowest = reading.origin.middle_mm - rule.writing_mm if reading.origin else 0.0
    highest = far.middle_mm + rule.writing_mm
    below, above = (_written(reading, *ends, rule) > rule.writing_mm2 for ends in ((0.0, lowest), (highest, length)))
    odds += rule.writing * (below - above)
    if len(middles) > 1:
        under, over = (_lanes_written(reading, middles, *ends, rule) for ends in ((0.0, lowest), (highest, length)))
        odds += float(np.clip(rule.labels * (max(under, 1) - max(over, 1)), -rule.most_labels, rule.most_labels))
    nearer = np.log((length - far.middle_mm) / reading.origin.middle_mm) if reading.origin else 0.0
    return odds + rule.height * float(np.clip(nearer, -rule.most_height, rule.most_height))


def _lanes_written(
    reading: Reading, middles: Sequence[float], low_mm: float, high_mm: float, rule: UprightSettings
) -> int:
    """In how many lanes something is written between two places along the strip."""
    half = min(float(np.diff(np.sort(middles)).min()) / 2, rule.label_mm)
    spans = ((t - half, t + half) for t in middles)
    return sum(_written(reading, low_mm, high_mm, rule, span) > rule.label_mm2 for span in spans)


def _written(
    reading: Reading, low_mm: float, high_mm: float, rule: UprightSettings, span_mm: tuple[float, float] = (0.0, np.inf)
) -> float:
    """Square millimetres under pencil strokes between two places along the strip, and two across; the paper's own edges look like strokes."""
    field, edge = reading.field, rule.writing_edge_mm
    along = np.searchsorted(field.s_mm, (max(low_mm, edge), min(high_mm, field.length_mm - edge)))
    side = field.rim_mm + edge / 2
    across = np.searchsorted(field.t_mm, (max(side, span_mm[0]), min(field.width_mm - side, span_mm[1])))
    return float(np.count_nonzero(reading.strip.strokes[slice(*along), slice(*across)])) * field.cell_mm**2


def _line_odds(line: Candidate | None, field: Field, settings: Settings) -> float:
    """What a line near an end says for that end being the origin's."""
    rule = settings.upright
    if line is None or (line.marks <= 0 and _is_left_by_solvent(line, settings)):
        return 0.0
    marks = rule.marks * min(line.marks / rule.marks_clear, 1.0)
    full = line.coverage >= settings.landmark.origin_coverage
    partial = line.reach(field, settings.reading.skip_mm) < rule.partial_coverage
    return rule.line * full + marks - rule.partial * partial


def _is_left_by_solvent(line: Candidate, settings: Settings) -> bool:
    return line.kind == "coloured" and is_brown(np.array(line.colour), settings.landmark.stain_grey)
