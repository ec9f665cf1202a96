"""Which of the spots found in a lane are kept: not writing, not what the origin's pencil left, and not what belongs to the front."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from webcapture.measure.beneath import is_beneath_marks
from webcapture.measure.curves import polynomial_at
from webcapture.measure.drawn import rubbed_out
from webcapture.measure.field import Field
from webcapture.measure.landmarks import Candidate
from webcapture.measure.lanes import Track
from webcapture.measure.paper import Stain
from webcapture.measure.patch import WIDTH_SD
from webcapture.measure.reading import Reading
from webcapture.measure.spots import Blob, find_spots, is_round, is_written
from webcapture.measure.traits import is_brown
from webcapture.model import Line
from webcapture.settings import ReadingSettings, Settings, SpotSettings


def lane_spots(
    reading: Reading, stain: Stain, track: Track, origin: Line | None, front: Line | None, settings: Settings
) -> list[Blob]:
    """The lane's spots that are kept, from the origin upwards."""
    start = None if origin is None else float(polynomial_at(track.middle_mm, origin.coefficients))
    end = None if front is None else float(polynomial_at(track.middle_mm, front.coefficients))
    rule, field = settings.spot, reading.field
    found = [
        blob
        for blob in _found_between(start, end, field, stain, track, settings)
        if not _is_writing(blob, origin, field, stain, settings)
    ]
    ghosts = rubbed_out(reading.thin, reading.origin, settings.reading)
    found = [blob for blob in found if not any(_is_left_of(line, blob, field, settings) for line in ghosts)]
    if not track.marked and _is_a_word(found, field, stain, rule):
        return []
    if start is not None:
        found = _that_ran(found, start, field, stain, rule)
    if front is None or end is None:
        # Beyond a front nothing is looked for; where none is seen, a label at the paper's end lies among the spots.
        least = settings.landmark.least_run_mm + (start or 0.0)
        found = [b for b in found if b.centre_mm < least or not _may_be_a_label(b, field, stain, rule)]
    else:
        found = _without_the_front(found, end, front, reading.front, settings)
    return [_less_sure(blob, [line for line in (start, end) if line is not None], settings) for blob in found]


def _found_between(
    start: float | None, end: float | None, field: Field, stain: Stain, track: Track, settings: Settings
) -> list[Blob]:
    """What looks like spots from a little below the origin to a little beyond the front, or all along where these are not known."""
    rule = settings.spot
    low = rule.end_mm if start is None else start - settings.lane.below_mm
    if end is None:
        return find_spots(field, stain, track, (low, field.length_mm - rule.end_mm), rule)
    high = end + rule.beyond_mm
    found = find_spots(field, stain, track, (low, high), rule)
    if all(blob.edges_mm[1] < high - rule.cut_cells * field.cell_mm for blob in found):
        return found
    # Cut off, a spot that ran with the front would lie too low: it is measured on to its own end.
    longer = find_spots(field, stain, track, (low, high + rule.further_mm), rule)
    return [*found[:-1], _as_among(longer, found[-1], high, rule)]


def _as_among(others: list[Blob], blob: Blob, high_mm: float, rule: SpotSettings) -> Blob:
    """The same spot among others below ``high_mm``, or itself where it is not among them."""

    def away(other: Blob) -> float:
        return abs(other.densest_mm - blob.densest_mm)

    same = (other for other in others if away(other) < rule.same_mm and other.centre_mm < high_mm)
    return min(same, key=away, default=blob)


def _is_writing(blob: Blob, origin: Line | None, field: Field, stain: Stain, settings: Settings) -> bool:
    """Whether a "spot" is what is left of writing along the run, and neither a small round spot nor one beneath the origin's marks."""
    rule = settings.spot
    # Not what covers the lane: ink that ran all along its line.
    if blob.fill >= rule.compact_fill or not is_written(blob, field, stain, rule.thin_share, rule):
        return False
    if is_round(blob, field, stain, rule) or _lies_beneath(blob, field, stain, rule):
        return False
    if origin is None or abs(blob.centre_mm - polynomial_at(blob.t_mm, origin.coefficients)) >= rule.origin_mm:
        return True
    return not is_beneath_marks(blob, field, origin.coefficients, rule.round_mm, settings.beneath)


def _is_left_of(line: Candidate, blob: Blob, field: Field, settings: Settings) -> bool:
    """Whether a "spot" is what is left of a line that somebody rubbed out: on it, as grey, and hardly higher than it was wide."""
    rule, height = settings.spot, float(blob.absorbance.max())
    alike = float(blob.absorbance.min()) > rule.grey * height and height < rule.ghost_darker * max(line.colour)
    away = abs(blob.centre_mm - float(polynomial_at(blob.t_mm, line.trace.coefficients)))
    return (
        alike
        and blob.width_mm < rule.ghost_mm
        and away < settings.paper.line_half_mm
        and _runs_beside(line, blob, field, rule)
    )


def _runs_beside(line: Candidate, blob: Blob, field: Field, rule: SpotSettings) -> bool:
    """Whether a line is seen right beside a spot, over most of the paper there on at least one side of it."""
    low, high = blob.spread_t_mm
    sides = (low - field.bin_t_mm, field.bin_t_mm - high)
    near = [line.trace.seen[(away > 0) & (away < rule.ghost_beside_mm)] for away in sides]
    return any(seen.size > 0 and seen.mean() > rule.ghost_seen for seen in near)


def _is_a_word(found: list[Blob], field: Field, stain: Stain, rule: SpotSettings) -> bool:
    """Whether all that lies in a lane to which nothing was applied is a word."""
    if len(found) != 1 or not is_written(found[0], field, stain, rule.word_share, rule, rule.word_share):
        return False
    return not is_round(found[0], field, stain, rule)


def _may_be_a_label(blob: Blob, field: Field, stain: Stain, rule: SpotSettings) -> bool:
    written = is_written(blob, field, stain, rule.written_share, rule, rule.inked_share)
    return written and not is_round(blob, field, stain, rule)


def _that_ran(found: list[Blob], origin_mm: float, field: Field, stain: Stain, rule: SpotSettings) -> list[Blob]:
    """Those on the origin line or above it.

    Nothing runs the other way: what lies below the origin is a label's pencil, or dirt.
    """
    return [
        blob
        for blob in found
        if blob.centre_mm > origin_mm - rule.origin_mm
        and (_lies_beneath(blob, field, stain, rule) or not _pencils_own(blob, origin_mm, field, rule))
    ]


def _lies_beneath(blob: Blob, field: Field, stain: Stain, rule: SpotSettings) -> bool:
    """Whether its middle is that of a spot which was told beneath the origin's marks."""
    if stain.beneath is None:
        return False
    rows, columns = (
        np.abs(axis - middle) < rule.mark_box_mm / 2
        for axis, middle in ((field.s_mm, blob.densest_mm), (field.t_mm, blob.t_mm))
    )
    return bool(stain.beneath[np.ix_(rows, columns)].any())


def _pencils_own(blob: Blob, origin_mm: float, field: Field, rule: SpotSettings) -> bool:
    """Whether a "spot" on the origin line is what blur left of the pencil marks there."""
    height = float(blob.absorbance.max())
    grey = float(blob.absorbance.min()) > rule.grey * height
    pale = height < (rule.mark_absorbance if grey else rule.mark_colour)
    near = abs(blob.centre_mm - origin_mm) < rule.mark_reach_mm and blob.width_mm < rule.mark_width_mm
    return pale and near and _tinge_at(blob.t_mm, origin_mm, field, rule) < rule.mark_tinge


def _less_sure(blob: Blob, lines_mm: list[float], settings: Settings) -> Blob:
    """A spot with what lines hide of it."""
    hidden = [_hidden(blob, abs(blob.centre_mm - line), settings) for line in lines_mm]
    return replace(blob, u_centre_mm=math.hypot(blob.u_centre_mm, *hidden))


def _hidden(blob: Blob, away_mm: float, settings: Settings) -> float:
    """Standard uncertainty of a centre, millimetres, from a line so far from it.

    What lies under the line was filled in, and pulls by its distance; as much as a Gaussian has there. Close to the centre
    much of what is seen may be the line's own, the more the paler the spot.
    """
    rule, sd = settings.spot, blob.width_mm / WIDTH_SD
    under = 2 * settings.paper.line_half_mm * math.exp(-0.5 * (away_mm / sd) ** 2) / (sd * math.sqrt(2 * math.pi))
    flank = rule.bridged_share * under * away_mm
    if away_mm > rule.origin_mm:
        return flank
    return math.hypot(flank, rule.hidden_mm * min(rule.mark_colour / max(float(blob.absorbance.max()), 1e-9), 1.0))


def _tinge_at(t_mm: float, s_mm: float, field: Field, rule: SpotSettings) -> float:
    """By how much the channels differ around a place, under the pencil too, where what is filled in shows little of a small spot."""
    rows, columns = np.abs(field.s_mm - s_mm) < rule.mark_box_mm, np.abs(field.t_mm - t_mm) < rule.mark_box_mm
    box = field.absorbance[np.ix_(rows, columns)].reshape(-1, 3)
    return float(np.ptp(box.mean(axis=0))) if len(box) else 0.0


def _without_the_front(
    found: list[Blob], front_mm: float, front: Line, seen: Candidate | None, settings: Settings
) -> list[Blob]:
    """Those that neither are the front's own band nor, where it is a stain, that stain's fringe."""
    found = [b for b in found if not _fronts_own(b, front_mm, front.kind == "pencil", settings.reading)]
    if front.kind != "stain" or seen is None:
        return found
    return [b for b in found if not _stains_rest(b, front_mm, seen, settings)]


def _fronts_own(blob: Blob, front_mm: float, drawn: bool, rule: ReadingSettings) -> bool:
    """Whether a "spot" is the front's own faint, narrow band; at a drawn front only what runs right across the lane can be."""
    height = float(blob.absorbance.max())
    near = abs(blob.densest_mm - front_mm) < rule.front_own_mm and height < rule.front_own_absorbance
    if near and float(blob.absorbance.min()) > rule.front_own_grey * height:
        return True  # wet paper's own edge
    brownish = is_brown(blob.absorbance, rule.rim_brown) or height < rule.rim_pale
    if blob.densest_mm > front_mm - rule.rim_reach_mm and height < rule.rim_absorbance and brownish:
        return True  # what dried there, wherever along the front it lies thickest; and nothing so pale ran ahead of it
    return near and blob.width_mm < rule.front_own_width_mm and (blob.fill > rule.front_own_coverage or not drawn)


def _stains_rest(blob: Blob, front_mm: float, stain: Candidate, settings: Settings) -> bool:
    """Whether a "spot" is the fringe of the front's stain, which reaches further than what was filled in.

    Densest right beside the front, brown or as the stain is, and much paler, however far it fades down. A spot that ran with the
    front has a colour of its own, or adds to the stain's.
    """
    rule, blue = settings.reading, float(blob.absorbance[2])
    own, other = (
        blob.absorbance / max(float(blob.absorbance.max()), 1e-6),
        np.array(stain.colour) / max(*stain.colour, 1e-6),
    )
    alike = (
        is_brown(blob.absorbance, settings.landmark.stain_grey) or float(np.abs(own - other).max()) < rule.rest_alike
    )
    return alike and abs(blob.densest_mm - front_mm) < rule.rest_mm and blue < rule.rest_share * max(stain.colour)
