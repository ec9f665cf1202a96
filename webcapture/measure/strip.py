"""One strip, from its picture to Rf."""

from __future__ import annotations

import numpy as np

from webcapture.flags import flags
from webcapture.measure.attempt import Attempt, attempted
from webcapture.measure.channels import in_planes
from webcapture.measure.flatness import Rise, rise_of
from webcapture.measure.ink import bands_among_spots, ink_ran
from webcapture.measure.landmarks import Candidate
from webcapture.measure.lanes import Track
from webcapture.measure.relate import Placement, is_slanted, lane_of, without_ratios
from webcapture.measure.seam import has_seam
from webcapture.measure.upright import turned_round
from webcapture.model import Floats, Lane, Point, Strip, StripCells, View
from webcapture.settings import FlatnessSettings, ReadingSettings, Settings, UprightSettings


def measure_strip(strip: StripCells, view: View, settings: Settings) -> Strip:
    """Lines, lanes, spots and Rf of one strip; read the other way up where what is on it says so, or this way shows no origin."""
    attempt, decided = _read(strip, settings)
    rise = rise_of(attempt.reading.strip, view, settings.flatness)
    placed = Placement(attempt.reading.strip, view, rise)
    lanes = tuple(
        lane_of(n + 1, track, blobs, attempt.origin, attempt.front, _profile(attempt, track), placed, settings)
        for n, (track, blobs) in enumerate(zip(attempt.tracks, attempt.blobs, strict=True))
    )
    return Strip(
        bay=strip.outline.bay,
        corners_mm=_corners(strip.outline.corners_mm),
        upright=not attempt.turned,
        origin=attempt.origin,
        front=attempt.front,
        lanes=lanes if decided else tuple(without_ratios(lane) for lane in lanes),
        flags=flags(*_codes(attempt, lanes, rise, decided, settings)),
        decided=decided,
        strip=strip.outline.strip,
    )


def _read(strip: StripCells, settings: Settings) -> tuple[Attempt, bool]:
    """The strip read the way up that is likelier, and whether what is on it leaves that believable; against the arrow it takes more.

    Where neither way is believed, its lines are told as it was laid: few lie upside down.
    """
    laid = attempted(strip, settings)
    if laid.odds >= 0 and laid.origin is not None:
        return laid, True
    other = attempted(turned_round(strip), settings)
    if other.odds <= max(laid.odds, 0.0) or not _shows_its_way(other, settings.reading):
        return laid, laid.odds >= 0 or not _drawn_twice(laid)
    if other.odds >= settings.upright.turned:
        return other, True
    return laid if laid.origin is not None else other, False


def _shows_its_way(attempt: Attempt, rule: ReadingSettings) -> bool:
    """Whether a strip read the other way up has what it takes: an origin with a front beyond it, or with marks on it.

    A line near the top alone is a front whose origin was never drawn.
    """
    origin = attempt.reading.origin
    if origin is None:
        return False
    return attempt.front is not None or origin.marks > rule.marks_tell


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
        "front-under-word": attempt.reading.front is not None and attempt.reading.front.under_word,
        "front-inked": attempt.reading.front is not None and attempt.reading.front.inked,
        "colour-beyond": attempt.reading.front is not None and attempt.reading.front.colour_beyond,
        "front-slanted": is_slanted(attempt.origin, attempt.front, attempt.reading.field.width_mm, settings.reading),
        "ink-line": ink_ran(attempt, settings) or bands_among_spots(attempt, settings),
        "seam": has_seam(attempt.reading.field, settings.seam),
        "strip-cut-off": attempt.reading.strip.outline.cut_off,
        "strip-bent": _is_bent(rise, settings.flatness),
    }
    return [code for code, holds in checks.items() if holds]


def _is_bent(rise: Rise, rule: FlatnessSettings) -> bool:
    """Whether it stands off the card by more than people should overlook, and surely does."""
    most, u = rise.most_mm
    return abs(most) > max(rule.flag_mm, rule.flag_u * u)


def _ends_alike(attempt: Attempt, rule: UprightSettings) -> bool:
    """Whether of two lines only the card's arrow and people's habits tell which is the origin; where more was heeded than that, another flag says so."""
    front = attempt.reading.front
    alike = _drawn_twice(attempt) and front is not None and front.coverage >= rule.partial_coverage
    return alike and not attempt.turned and attempt.shown < rule.plain


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
    if front.amid_writing:
        return True
    return front.trace.score < rule.faint_front_sd or (max(front.colour) < pale and front.coverage < part)


def _marked_afar(attempt: Attempt, far_mm: float) -> bool:
    """Whether a drawn front was marked so far from some lane that its height there is a guess."""
    if attempt.front is None or attempt.front.kind != "pencil":
        return False
    marked = attempt.front.t_mm
    return any(float(np.abs(marked - track.middle_mm).min()) > far_mm for track in attempt.tracks)
