"""What colour lies beyond a line: a spot there says that the line is no front; a stain, tape or a name in ink does not."""

from __future__ import annotations

import numpy as np
from scipy.ndimage import find_objects, label

from webcapture.measure.channels import chroma, in_planes, of_planes
from webcapture.measure.curves import polynomial_at
from webcapture.measure.field import Field
from webcapture.measure.landmarks import Candidate
from webcapture.measure.windows import running_mean, widened
from webcapture.measure.writing import filled_share
from webcapture.model import Floats32
from webcapture.robust import NEVER_NONE, median, spread
from webcapture.settings import ReadingSettings, Settings
from webcapture.slopes import steepness_of


def colour_beyond(line: Candidate, field: Field, strokes: np.ndarray, settings: Settings) -> set[str]:
    """What colour lies beyond the line, more than its fringe and not around writing: ``spot``, ``stain``, both or nothing."""
    rule = settings.reading
    curve = polynomial_at(field.t_mm, line.trace.coefficients)
    part = slice(int(np.searchsorted(field.s_mm, curve.min() + rule.colour_gap_mm)), None)
    s_mm = field.s_mm[part, None]
    zone = (s_mm - curve > rule.colour_gap_mm) & (s_mm < field.length_mm - settings.landmark.end_mm)
    zone &= (field.t_mm > rule.rim_mm) & (field.t_mm < field.width_mm - rule.rim_mm)
    inner = _bounds(zone)
    zone &= ~widened(strokes[part] | field.clipped[part].any(axis=2), rule.colour_stroke)
    if np.count_nonzero(zone) * field.cell_mm**2 < rule.colour_room * rule.colour_mm2:
        return set()
    planes = in_planes(field.absorbance[part])
    smooth = running_mean(running_mean(planes, rule.colour_smooth, 1), rule.colour_smooth, 2)
    smooth -= median(smooth[:, zone], axis=1)[:, None, None]
    tinge = chroma(of_planes(smooth))
    inside = tinge[zone]
    grain = float(spread(inside)) + NEVER_NONE
    limit = float(median(inside)) + max(rule.colour_sd * grain, rule.colour_least)
    above = zone & (tinge > limit)
    if np.count_nonzero(above) * field.cell_mm**2 <= rule.colour_mm2:
        return set()
    coloured, count = label(above)
    # A spot is in one piece; specks here and there are not, nor are the strokes of a name in ink.
    sizes = np.bincount(coloured.ravel(), minlength=count + 1)[1:] * field.cell_mm**2
    return {
        "spot" if _may_be_a_spot(piece, inner, field.cell_mm, rule) else "stain"
        for size, piece in zip(sizes, find_objects(coloured), strict=True)
        if size > rule.colour_mm2 and not _is_inked(planes[:, *piece], field.cell_mm, settings)
    }


def _bounds(zone: np.ndarray) -> tuple[slice, slice]:
    """The smallest rows and columns that hold a region; none where it is empty."""
    rows, columns = np.flatnonzero(zone.any(axis=1)), np.flatnonzero(zone.any(axis=0))
    if not len(rows):
        return slice(0, 0), slice(0, 0)
    return slice(int(rows[0]), int(rows[-1]) + 1), slice(int(columns[0]), int(columns[-1]) + 1)


def _may_be_a_spot(
    piece: tuple[slice, slice], inner: tuple[slice, slice], cell_mm: float, rule: ReadingSettings
) -> bool:
    """Whether a piece is no larger than a spot and clear of the paper's edges: tape, clips, torn corners and tide marks are not."""
    large = any((side.stop - side.start) * cell_mm > rule.spot_mm for side in piece)
    at_end = piece[0].stop >= inner[0].stop
    at_side = piece[1].start <= inner[1].start or piece[1].stop >= inner[1].stop
    return not (large or at_end or at_side)


def _is_inked(planes: Floats32, cell_mm: float, settings: Settings) -> bool:
    """Whether colour (3, rows, cols) was written: thin strokes, or such that end sharply, as no spot that has run is."""
    rule = settings.spot
    down, across = settings.reading.ink_smooth
    tinge = chroma(of_planes(running_mean(running_mean(planes, down, 1), across, 2)))
    thin = filled_share(tinge, cell_mm, rule.written_mm) < settings.reading.ink_share
    return thin or steepness_of(planes, cell_mm) > settings.reading.ink_steep
