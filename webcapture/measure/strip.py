"""One strip, from its picture to Rf."""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import compress

import numpy as np

from webcapture.flags import flags
from webcapture.measure.beneath import is_beneath_marks, spots_beneath
from webcapture.measure.channels import in_planes, palest
from webcapture.measure.curves import polynomial_at
from webcapture.measure.field import Field, field_of
from webcapture.measure.flatness import Rise, rise_of
from webcapture.measure.landmarks import Candidate, as_line
from webcapture.measure.lanes import Track, find_lanes, without_stains
from webcapture.measure.paper import Stain, stain_on
from webcapture.measure.reading import Reading, read_lines
from webcapture.measure.relate import Placement, is_slanted, lane_of, without_ratios
from webcapture.measure.seam import has_seam
from webcapture.measure.smooth import smoothed
from webcapture.measure.spots import Blob, find_spots, is_round, is_written
from webcapture.measure.traits import is_brown
from webcapture.measure.upright import odds_upright, trails_of, turned_round
from webcapture.model import Floats, Lane, Line, Point, Strip, StripCells, View
from webcapture.robust import median, quantile
from webcapture.settings import ReadingSettings, Settings, SpotSettings, UprightSettings


@dataclass(frozen=True, slots=True, eq=False)
class Attempt:
    """Everything found on a strip, read one way up."""

    reading: Reading
    stain: Stain
    origin: Line | None
    front: Line | None
    tracks: list[Track]
    blobs: list[list[Blob]]
    """The spots of each track."""
    odds: float
    """ln odds that the strip lies the way it was read."""
    shown: float
    """What of them its marks and spots say: the rest is the card's arrow, and how people usually draw and write."""

    @property
    def turned(self) -> bool:
        """Whether it was read with its upper end as the origin end."""
        return self.reading.strip.turned


def measure_strip(strip: StripCells, view: View, settings: Settings) -> Strip:
    """Lines, lanes, spots and Rf of one strip; read the other way up where what is on it says so, or this way shows no origin."""
    attempt = _attempt(strip, settings)
    if attempt.odds < 0 or attempt.origin is None:
        other = _attempt(turned_round(strip), settings)
        likelier = other.odds > max(attempt.odds, 0.0)
        attempt = other if likelier and _shows_its_way(other, settings.reading) else attempt
    rise = rise_of(attempt.reading.strip, view, settings.flatness)
    placed = Placement(attempt.reading.strip, view, rise)
    lanes = tuple(
        lane_of(n + 1, track, blobs, attempt.origin, attempt.front, _profile(attempt, track), placed, settings)
        for n, (track, blobs) in enumerate(zip(attempt.tracks, attempt.blobs, strict=True))
    )
    decided = _is_decided(attempt, settings.upright)
    return Strip(
        bay=strip.outline.bay,
        corners_mm=_corners(strip.outline.corners_mm),
        upright=not attempt.turned,
        origin=attempt.origin,
        front=attempt.front,
        lanes=lanes if decided else tuple(without_ratios(lane) for lane in lanes),
        flags=flags(*_codes(attempt, lanes, rise, decided, settings)),
        decided=decided,
    )


def _shows_its_way(attempt: Attempt, rule: ReadingSettings) -> bool:
    """Whether a strip read the other way up has what it takes: an origin with a front beyond it, or with marks on it.

    A line near the top alone is a front whose origin was never drawn.
    """
    origin = attempt.reading.origin
    if origin is None:
        return False
    return attempt.front is not None or origin.marks > rule.marks_tell


def _attempt(strip: StripCells, settings: Settings) -> Attempt:
    field = field_of(strip, settings.profile)
    reading = read_lines(strip, field, settings)
    rule = settings.reading
    origin = as_line(reading.origin, field, rule.u_pencil_mm, settings.landmark) if reading.origin else None
    front = as_line(reading.front, field, _u_meaning(reading.front, rule), settings.landmark) if reading.front else None
    lines = tuple(line.coefficients for line in (origin, front) if line is not None)
    swept = front.coefficients if front is not None and reading.front is not None and reading.front.swept else None
    # Beyond a stain the paper is as pale as below it, or there would be a wet edge: it may tell the level where bands leave none.
    # Not so where the stain goes on towards the origin.
    top = front.coefficients if front is not None and front.kind != "stain" else swept
    strokes = strip.strokes
    if origin is not None:
        strokes = strokes & ~spots_beneath(field, origin.coefficients, settings.beneath)
    stain = stain_on(field, strokes, lines, top, settings.paper, swept)
    tracks = find_lanes(field, stain, origin, front, settings.lane)
    blobs = [_spots(reading, stain, track, origin, front, settings) for track in tracks]
    lanes = without_stains(tracks, [bool(found) for found in blobs])
    tracks, blobs = list(compress(tracks, lanes)), list(compress(blobs, lanes))
    odds, shown = odds_upright(reading, trails_of(tracks, blobs, origin, front, settings.upright), settings)
    return Attempt(reading, stain, origin, front, tracks, blobs, odds, shown)


def _u_meaning(line: Candidate, rule: ReadingSettings) -> float:
    """Standard uncertainty, in millimetres, of where within such a line its place is meant to be."""
    soft = {"wet-edge": rule.u_wet_mm, "stain": rule.u_stain_mm}.get(line.kind)
    return rule.u_pencil_mm if soft is None else soft / max(line.trace.score, 1.0)


def _spots(
    reading: Reading, stain: Stain, track: Track, origin: Line | None, front: Line | None, settings: Settings
) -> list[Blob]:
    """The lane's spots, without what belongs to the front itself."""
    rule, field = settings.spot, reading.field
    low = float(polynomial_at(track.middle_mm, origin.coefficients)) - settings.lane.below_mm if origin else rule.end_mm
    high = (
        float(polynomial_at(track.middle_mm, front.coefficients)) + rule.beyond_mm
        if front
        else field.length_mm - rule.end_mm
    )
    found = find_spots(field, stain, track, (low, high), rule)
    # Not what covers the lane: ink that ran all along its line.
    at = float(polynomial_at(track.middle_mm, origin.coefficients)) if origin else None
    found = [blob for blob in found if not _is_writing(blob, origin, field, stain, settings)]
    if (
        not track.marked
        and len(found) == 1
        and is_written(found[0], field, stain, rule.word_share, rule, rule.word_share)
    ):
        return []  # a word where nothing was applied
    if at is not None:
        # Nothing runs the other way: what lies below the origin is a label's pencil, or dirt.
        found = [
            _less_sure(blob, at, rule)
            for blob in found
            if blob.centre_mm > at - rule.origin_mm and not _pencils_own(blob, at, field, rule)
        ]
    if front is None:
        # Beyond a front nothing is looked for; where none is seen, a label at the paper's end lies among the spots.
        least = settings.landmark.least_run_mm + (low + settings.lane.below_mm if origin else 0.0)
        return [
            blob
            for blob in found
            if blob.centre_mm < least or not is_written(blob, field, stain, rule.written_share, rule, rule.inked_share)
        ]
    at = float(polynomial_at(track.middle_mm, front.coefficients))
    drawn = front.kind == "pencil"
    found = [blob for blob in found if not _fronts_own(blob, at, drawn, settings.reading)]
    if front.kind != "stain" or reading.front is None:
        return found
    return [blob for blob in found if not _stains_rest(blob, at, reading.front, settings)]


def _is_writing(blob: Blob, origin: Line | None, field: Field, stain: Stain, settings: Settings) -> bool:
    """Whether a "spot" is what is left of writing along the run, and neither a small round spot nor one beneath the origin's marks."""
    rule = settings.spot
    if blob.fill >= rule.compact_fill or not is_written(blob, field, stain, rule.thin_share, rule):
        return False
    if is_round(blob, field, stain, rule):
        return False
    if origin is None or abs(blob.centre_mm - polynomial_at(blob.t_mm, origin.coefficients)) >= rule.origin_mm:
        return True
    return not is_beneath_marks(blob, field, origin.coefficients, rule.round_mm, settings.beneath)


def _pencils_own(blob: Blob, origin_mm: float, field: Field, rule: SpotSettings) -> bool:
    """Whether a "spot" on the origin line is what blur left of the pencil marks there."""
    height = float(blob.absorbance.max())
    grey = float(blob.absorbance.min()) > rule.grey * height
    pale = height < (rule.mark_absorbance if grey else rule.mark_colour)
    near = abs(blob.centre_mm - origin_mm) < rule.mark_reach_mm and blob.width_mm < rule.mark_width_mm
    return pale and near and _tinge_at(blob.t_mm, origin_mm, field, rule) < rule.mark_tinge


def _less_sure(blob: Blob, origin_mm: float, rule: SpotSettings) -> Blob:
    """A spot on the origin line with what the line hides of it: the paler it is, the more of its place is that of what was filled in."""
    if abs(blob.centre_mm - origin_mm) > rule.origin_mm:
        return blob
    hidden = rule.hidden_mm * min(rule.mark_colour / max(float(blob.absorbance.max()), 1e-9), 1.0)
    return replace(blob, u_centre_mm=float(np.hypot(blob.u_centre_mm, hidden)))


def _tinge_at(t_mm: float, s_mm: float, field: Field, rule: SpotSettings) -> float:
    """By how much the channels differ around a place, under the pencil too, where what is filled in shows little of a small spot."""
    rows, columns = np.abs(field.s_mm - s_mm) < rule.mark_box_mm, np.abs(field.t_mm - t_mm) < rule.mark_box_mm
    box = field.absorbance[np.ix_(rows, columns)].reshape(-1, 3)
    return float(np.ptp(box.mean(axis=0))) if len(box) else 0.0


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

    Densest right beside the front, brown as the stain is, and much paler, however far it fades down. A spot that ran with the
    front has a colour of its own, or adds to the stain's.
    """
    rule, blue = settings.reading, float(blob.absorbance[2])
    brown = is_brown(blob.absorbance, settings.landmark.stain_grey)
    return brown and abs(blob.densest_mm - front_mm) < rule.rest_mm and blue < rule.rest_share * max(stain.colour)


def _profile(attempt: Attempt, track: Track) -> tuple[Floats, Floats]:
    """(n,) places and (n, 3) mean absorbance across the lane."""
    field = attempt.reading.field
    among = ((field.t_mm >= track.low_mm) & (field.t_mm <= track.high_mm)).astype(np.float32)
    return field.s_mm, (in_planes(attempt.stain.absorbance) @ among / max(among.sum(), 1)).T.astype(float)


def _corners(corners: Floats) -> tuple[Point, Point, Point, Point]:
    a, b, c, d = ((float(x), float(y)) for x, y in corners)
    return a, b, c, d


def _codes(attempt: Attempt, lanes: tuple[Lane, ...], rise: Rise, decided: bool, settings: Settings) -> list[str]:
    """The flags that concern the strip as a whole."""
    checks = {
        "upside-down": attempt.turned or not decided,
        "ends-undecided": not decided,
        "ends-alike": decided and _ends_alike(attempt, settings.upright),
        "origin-missing": attempt.origin is None,
        "front-missing": attempt.front is None,
        "two-lines": attempt.reading.doubled,
        "two-fronts": attempt.reading.fronts > 1,
        "front-faint": _is_hardly_seen(attempt.reading.front, attempt.reading.origin, settings.reading),
        "front-short": attempt.reading.front is not None
        and (attempt.reading.front.by_few or _marked_afar(attempt, settings.tick.far_mm)),
        "front-inked": attempt.reading.front is not None and attempt.reading.front.inked,
        "colour-beyond": attempt.reading.front is not None and attempt.reading.front.colour_beyond,
        "front-slanted": is_slanted(attempt.origin, attempt.front, attempt.reading.field.width_mm, settings.reading),
        "ink-line": _ink_ran(attempt, settings) or _bands_among_spots(attempt, settings),
        "seam": has_seam(attempt.reading.field, settings.seam),
        "strip-cut-off": attempt.reading.strip.outline.cut_off,
        "strip-bent": abs(rise.arch_mm) > max(settings.flatness.flag_mm, settings.flatness.flag_u * rise.u_arch_mm),
    }
    return [code for code, holds in checks.items() if holds]


def _ends_alike(attempt: Attempt, rule: UprightSettings) -> bool:
    """Whether of two lines only the card's arrow and people's habits tell which is the origin; where more was heeded than that, another flag says so."""
    front = attempt.reading.front
    alike = _drawn_twice(attempt) and front is not None and front.coverage >= rule.partial_coverage
    return alike and not attempt.turned and attempt.shown < rule.plain


def _is_decided(attempt: Attempt, rule: UprightSettings) -> bool:
    """Whether what is on the strip leaves it believable that it lies as it was read; against the arrow it takes more."""
    if attempt.turned:
        return attempt.odds >= rule.turned
    return attempt.odds >= 0 or not _drawn_twice(attempt)


def _drawn_twice(attempt: Attempt) -> bool:
    """Whether origin and front are both drawn, so that each could be the other."""
    front = attempt.reading.front
    return attempt.reading.origin is not None and front is not None and front.kind == "pencil"


def _is_hardly_seen(front: Candidate | None, origin: Candidate | None, rule: ReadingSettings) -> bool:
    """Whether a front is so unclear, or so pale and seen over so little of the width, that it may be none.

    A drawn one much paler than the origin line may be a fold.
    """
    if front is None:
        return False
    if front.kind == "pencil":
        return origin is not None and max(front.colour) < rule.pale_front * max(origin.colour)
    pale, part = rule.faint_front
    return front.trace.score < rule.faint_front_sd or (max(front.colour) < pale and front.coverage < part)


def _marked_afar(attempt: Attempt, far_mm: float) -> bool:
    """Whether a drawn front was marked so far from some lane that its height there is a guess."""
    if attempt.front is None or attempt.front.kind != "pencil":
        return False
    marked = attempt.front.t_mm
    return any(float(np.abs(marked - track.middle_mm).min()) > far_mm for track in attempt.tracks)


def _ink_ran(attempt: Attempt, settings: Settings) -> bool:
    """Whether the origin line is not pencil: it has a colour of its own, and not from a spot that stayed on it."""
    line = attempt.reading.origin
    if line is None:
        return False
    if line.kind != "coloured":
        return _grey_ink_ran(attempt, line.middle_mm, settings.reading) or _wash_above(attempt, settings.reading)
    over = [b for blobs in attempt.blobs for b in blobs if b.edges_mm[0] < line.middle_mm < b.edges_mm[1]]
    # A spot left behind lies on a part of the line and lends it its colour; what covers all of it came from the line.
    least = settings.reading.lent_share * float(np.ptp(line.colour))
    return not any(b.fill < settings.spot.compact_fill and float(np.ptp(b.absorbance)) >= least for b in over)


def _grey_ink_ran(attempt: Attempt, line_mm: float, rule: ReadingSettings) -> bool:
    """Whether in most lanes a grey smear begins below the line, covers all of it and runs on: black ink did, pencil and spots do not."""
    smears = [any(_is_smear(blob, line_mm, rule) for blob in blobs) for blobs in attempt.blobs]
    return bool(smears) and sum(smears) > len(smears) / 2


def _wash_above(attempt: Attempt, rule: ReadingSettings) -> bool:
    """Whether the paper right above the origin line is darker than right below it nearly all along: what ran from all of it did, no spot does."""
    field, line = attempt.reading.field, attempt.origin
    if line is None:
        return False
    columns = np.flatnonzero(_clear_of_edges(field, rule))
    if not len(columns):
        return False
    (near, far), last = rule.wash_mm, len(field.s_mm) - 1
    at = (polynomial_at(field.t_mm[columns], line.coefficients) - field.s_mm[0]) / field.cell_mm
    away = np.arange(near, far, field.cell_mm)[:, None] / field.cell_mm
    above, below = (
        median(
            palest(field.absorbance[np.minimum(np.maximum(np.rint(at + side * away).astype(int), 0), last), columns]),
            axis=0,
        )
        for side in (1, -1)
    )
    return bool((above - below > rule.wash_least).mean() >= rule.wash_share)


def _clear_of_edges(field: Field, rule: ReadingSettings) -> np.ndarray:
    """(cols,) which columns lie clear of both long edges and what blurs or frays there."""
    return np.asarray(np.abs(field.t_mm - field.width_mm / 2) < field.width_mm / 2 - field.rim_mm - rule.rim_mm)


def _bands_among_spots(attempt: Attempt, settings: Settings) -> bool:
    """Whether there are even bands from edge to edge and compact spots as well: the spots were applied, the bands came from the line.

    Where all of them are bands, the sample was applied as one.
    """
    if attempt.origin is None:
        return False
    blobs = [blob for found in attempt.blobs for blob in found]
    least = settings.reading.smear_least
    compact = any(blob.fill < settings.spot.compact_fill and blob.absorbance.max() > least for blob in blobs)
    line = polynomial_at(attempt.reading.field.width_mm / 2, attempt.origin.coefficients)
    ran = [blob for blob in blobs if blob.centre_mm > line + settings.spot.origin_mm]
    return compact and any(_is_band(blob, attempt, settings) for blob in ran)


def _is_band(blob: Blob, attempt: Attempt, settings: Settings) -> bool:
    """Whether colour lies as dark along both long edges of the paper as in the middle, at the height of a spot that ran."""
    rule, field = settings.reading, attempt.reading.field
    rows = (field.s_mm >= blob.edges_mm[0]) & (field.s_mm <= blob.edges_mm[1])
    columns = _clear_of_edges(field, rule)
    dark = blob.absorbance.max() >= rule.band_least and blob.fill >= settings.spot.compact_fill
    if not dark or not rows.any() or not columns.any():
        return False
    channel = int(np.argmax(blob.absorbance))
    peaks = smoothed(attempt.stain.absorbance[np.ix_(rows, columns)][None, ..., channel], 1.0)[0].max(axis=0)
    least = rule.band_even * blob.absorbance[channel]
    return bool(quantile(peaks, rule.band_outer) > least)


def _is_smear(blob: Blob, line_mm: float, rule: ReadingSettings) -> bool:
    low, high = blob.edges_mm
    runs = low < line_mm and high > line_mm + rule.smear_mm and blob.fill > rule.smear_fill
    height = float(blob.absorbance.max())
    return runs and height > rule.smear_least and float(blob.absorbance.min()) > rule.smear_grey * height
