"""One photo measured and held against what is known of it, as rows of plain numbers."""

from __future__ import annotations

import math
import traceback
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from scipy.optimize import linear_sum_assignment

from webcapture import WebcaptureError, as_dict, measure_photo
from webcapture.model import Point
from webcapture.synthetic.scene import PaperStrip, Scene
from webcapture.synthetic.truth import LaneTruth, Photograph, SpotTruth, StripTruth

Json = dict[str, Any]
REACH_MM = 4.0
"""A reported spot within this distance of a true one is that spot."""
LANE_REACH_MM = 8.0
"""A reported lane within this distance of a true one's axis is that lane."""


@dataclass(frozen=True)
class SpotRow:
    """A true spot (found or missed), or a reported one that is not real."""

    where: str
    kind: str
    """``found``, ``missed`` or ``false``."""
    note: str
    """What is known of it, for people."""
    tags: frozenset[str]
    """What it has in common with others, for finding causes."""
    true_rf: float | None = None
    rf: float | None = None
    U_rf: float | None = None
    along_mm: float | None = None
    """Found minus true place, along the lane."""
    flags: tuple[str, ...] = ()
    """Codes on the spot itself, its lane and its strip."""
    around: tuple[str, ...] = ()
    """Codes on other spots and lanes of the strip, and on the photo."""

    @property
    def error(self) -> float | None:
        """Found minus true Rf; None where either is not given."""
        return None if self.rf is None or self.true_rf is None else self.rf - self.true_rf


@dataclass(frozen=True)
class LineRow:
    """Origin line or front of one lane."""

    where: str
    line: str
    note: str
    tags: frozenset[str]
    error_mm: float | None
    """Found minus true place along the lane; None where not reported."""
    flags: tuple[str, ...] = ()


@dataclass(frozen=True)
class StripRow:
    """One strip in its bay."""

    where: str
    note: str
    kind: str
    """``found``, ``missed`` or ``false``."""


@dataclass
class PhotoScore:
    """All rows of one photo."""

    where: str
    spots: list[SpotRow] = field(default_factory=list)
    lines: list[LineRow] = field(default_factory=list)
    strips: list[StripRow] = field(default_factory=list)
    codes: list[tuple[str, str]] = field(default_factory=list)
    """(level, code) of every error and flag; levels ``error``, ``photo``, ``strip``, ``lane``, ``spot``."""
    crash: str = ""
    """The traceback of an exception that is none of ours."""
    blank_rf: int = 0
    """Rf reported in lanes in which nothing shows where origin or front are."""


def measured(data: bytes) -> tuple[Json | None, str, str]:
    """(result, error code, traceback): exactly one of them is given."""
    try:
        return as_dict(measure_photo(data)), "", ""
    except WebcaptureError as error:
        return None, error.code, ""
    except Exception:  # the benchmark goes on and reports it
        return None, "", traceback.format_exc()


def score(where: str, scene: Scene, photo: Photograph) -> PhotoScore:
    """Measure ``photo`` and compare; strips that were not reported count with all that was on them."""
    found, error, crash = measured(photo.data)
    total = PhotoScore(where, crash=crash)
    strips: list[Json] = found["strips"] if found else []
    total.codes = [("error", error)] if error else _codes(found) if found else []
    by_place = {(strip["bay"], strip["strip"]): strip for strip in strips}
    outside = tuple(f["code"] for f in found["flags"]) if found else (error or "crash",)
    for known, made in zip(photo.truth.strips, scene.strips, strict=True):
        _strip(total, known, made, _Circumstances(scene, made), by_place.pop((known.bay, known.strip), None), outside)
    for strip in by_place.values():
        total.strips.append(StripRow(f"{where} bay {strip['bay']}", "", "false"))
        for _, spot in _spots(strip):
            total.spots.append(SpotRow(where, "false", "on a strip that does not exist", frozenset(), rf=spot["rf"]))
    return total


def _codes(found: Json) -> list[tuple[str, str]]:
    """(level, code) of every flag of a result."""
    holders: list[tuple[str, Json]] = [("photo", found)]
    for strip in found["strips"]:
        holders.append(("strip", strip))
        for lane in strip["lanes"]:
            holders.append(("lane", lane))
            holders += [("spot", spot) for spot in lane["spots"]]
    return [(level, f["code"]) for level, holder in holders for f in holder["flags"]]


class _Circumstances:
    """What was on a strip and in its photo, in words and as tags."""

    def __init__(self, scene: Scene, strip: PaperStrip) -> None:
        camera, front, lift = scene.camera, strip.front, strip.lift
        partial = front.kind == "pencil" and bool(front.spans_mm)
        self.front = f"front {front.kind}{' partial' if partial else ''}"
        words = [
            f"{self.front} {front.strength:.3f}",
            "wide" if len(strip.lanes) > 1 else f"narrow {strip.width_mm:.0f} mm",
        ]
        if any(lane.band for lane in strip.lanes):
            words.append("band")
        if lift.kind != "flat":
            words.append(f"{lift.kind} {lift.height_mm:.1f} mm")
        words += [f"{len(items)} {name}" for name, items in _things(scene, strip).items() if items]
        words.append(
            f"tilt {camera.tilt_deg:.0f}° blur {camera.defocus_px:.1f}+{camera.motion_px:.1f} px q{camera.quality}"
        )
        words.append(f"ragged {strip.ragged_mm:.2f} grain {strip.stock.grain:.3f} turn {strip.turn_deg:+.1f}°")
        self.note = ", ".join(words)
        self.tags = frozenset(
            [
                self.front,
                "band" if any(lane.band for lane in strip.lanes) else "spots",
                "wide" if len(strip.lanes) > 1 else "narrow",
                "flat" if lift.kind == "flat" else f"lift {lift.kind}",
                *(name for name, items in _things(scene, strip).items() if items),
            ]
        )


def _things(scene: Scene, strip: PaperStrip) -> dict[str, Sequence[object]]:
    return {
        "creases": strip.creases,
        "finger marks": strip.fingers,
        "writings": strip.writings,
        "shadow edges": scene.light.shadows,
        "loose papers": scene.surroundings.papers,
    }


def _spots(strip: Json) -> list[tuple[Json, Json]]:
    """(lane, spot) of a reported strip."""
    return [(lane, spot) for lane in strip["lanes"] for spot in lane["spots"]]


def _strip(
    total: PhotoScore, known: StripTruth, made: PaperStrip, what: _Circumstances, strip: Json | None, outside: tuple[str, ...]
) -> None:  # fmt: skip
    where = f"{total.where} bay {known.bay}"
    total.strips.append(StripRow(where, what.note, "missed" if strip is None else "found"))
    reported = _spots(strip) if strip else []
    true = [(lane, spot) for lane in known.lanes for spot in lane.spots]
    pairs = paired([s.position_mm for _, s in true], [s["position_mm"] for _, s in reported], REACH_MM)
    used = set(pairs.values())
    for n, (lane, spot) in enumerate(true):
        place = f"{where} lane {lane.lane}"
        if n in pairs:
            row = _found(place, lane, spot, made, what, strip, reported[pairs[n]], outside)
        else:
            nearest = _nearest(spot.position_mm, [s["position_mm"] for _, s in reported])
            note = f"{_about(lane, spot)}; nearest reported {nearest}"
            around = outside if strip is None else (*outside, *_own(strip))
            row = SpotRow(place, "missed", f"{note} | {what.note}", what.tags, true_rf=spot.rf, flags=around)
        total.spots.append(row)
    for m, (seen_lane, seen) in enumerate(reported):
        if m not in used:
            total.spots.append(_false(where, known, made, what, seen_lane, seen))
    total.lines += _lines(where, known, made, what, strip)
    total.blank_rf += _blank_rf(known, made, strip)


def paired(true: Sequence[Point], found: Sequence[Point], reach: float) -> dict[int, int]:
    """Which true place is which found one: the closest pairing, none further apart than ``reach``."""
    if not true or not found:
        return {}
    apart = np.hypot(*(np.subtract.outer([p[i] for p in true], [p[i] for p in found]) for i in (0, 1)))
    rows, columns = linear_sum_assignment(np.where(apart <= reach, apart, 1e6))
    return {int(r): int(c) for r, c in zip(rows, columns, strict=True) if apart[r, c] <= reach}


def _nearest(place: Point, others: Iterable[Point]) -> str:
    distances = [math.dist(place, other) for other in others]
    return f"{min(distances):.1f} mm away" if distances else "none"


def _about(lane: LaneTruth, spot: SpotTruth) -> str:
    """A true spot in a few words."""
    apart = "alone" if spot.resolution is None else f"Rs {spot.resolution:.2f}"
    tail = " tailing" if spot.tailing else ""
    return f"{spot.dye} Rf {spot.rf:.3f} A {max(spot.peak_absorbance):.3f} {spot.width_mm:.1f} mm wide, {apart}{tail}"


def _own(strip: Json, lane: Json | None = None, spot: Json | None = None) -> tuple[str, ...]:
    """Codes on a strip, one lane and one spot."""
    holders = [holder for holder in (strip, lane, spot) if holder is not None]
    return tuple(f["code"] for holder in holders for f in holder["flags"])


def _found(
    where: str, lane: LaneTruth, spot: SpotTruth, made: PaperStrip, what: _Circumstances,
    strip: Json | None, reported: tuple[Json, Json], outside: tuple[str, ...],
) -> SpotRow:  # fmt: skip
    found_lane, found = reported
    assert strip is not None
    own = _own(strip, found_lane, found)
    others = [
        f["code"]
        for ln in strip["lanes"]
        for h in (ln, *ln["spots"])
        if h is not found and h is not found_lane
        for f in h["flags"]
    ]
    tags = what.tags | ({"tailing"} if spot.tailing else set()) | {_crowding(spot)}
    return SpotRow(
        where=where,
        kind="found",
        note=f"{_about(lane, spot)} | {what.note}",
        tags=frozenset(tags),
        true_rf=spot.rf if lane.run_mm is not None else None,
        rf=found["rf"],
        U_rf=found["U_rf"],
        along_mm=_along(made, spot.position_mm, found["position_mm"]),
        flags=own,
        around=(*outside, *others),
    )


def _crowding(spot: SpotTruth) -> str:
    if spot.resolution is None:
        return "alone"
    return "Rs < 1.5" if spot.resolution < 1.5 else "Rs ≥ 1.5"


def _along(made: PaperStrip, true: Point, found: Point) -> float:
    """Found minus true along the strip, millimetres."""
    return (found[0] - true[0]) * made.up[0] + (found[1] - true[1]) * made.up[1]


def _false(where: str, known: StripTruth, made: PaperStrip, what: _Circumstances, lane: Json, spot: Json) -> SpotRow:
    """A reported spot that is none, told by its place on the strip."""
    x, y = (spot["position_mm"][i] - made.base[i] for i in (0, 1))
    s, t = x * made.up[0] + y * made.up[1], x * made.right[0] + y * made.right[1]
    origin, front = (float(curve.at(np.array(t))) for curve in (made.origin.curve, made.front.curve))
    nearest = _nearest(spot["position_mm"], [sp.position_mm for ln in known.lanes for sp in ln.spots])
    note = (
        f"at s {s:.1f} t {t:.1f} of {made.length_mm:.0f} × {made.width_mm:.0f} mm, origin {origin:.1f}, front {front:.1f}, "
        f"A {max(spot['absorbance']):.3f} {spot['width_mm']:.1f} mm wide S/N {spot['signal_to_noise']:.0f}, "
        f"nearest true {nearest} | {what.note}"
    )
    flags = tuple(f["code"] for f in spot["flags"])
    return SpotRow(
        f"{where} lane {lane['lane']}", "false", note, what.tags, rf=spot["rf"], U_rf=spot["U_rf"], flags=flags
    )


def _lane_of(known: LaneTruth, made: PaperStrip, strip: Json) -> Json | None:
    """The reported lane that runs where the true one does."""
    base = np.array(made.base)

    def away(lane: Json) -> float:
        places = [p for p in (lane["origin_mm"], lane["front_mm"], *(s["position_mm"] for s in lane["spots"])) if p]
        return min((abs(float((np.array(p) - base) @ made.right) - known.t_mm) for p in places), default=1e6)

    nearest = min(strip["lanes"], key=away, default=None)
    return nearest if nearest is not None and away(nearest) <= LANE_REACH_MM else None


def _lines(where: str, known: StripTruth, made: PaperStrip, what: _Circumstances, strip: Json | None) -> list[LineRow]:
    rows = []
    for lane in known.lanes:
        found = _lane_of(lane, made, strip) if strip else None
        for line, true in (("origin", lane.origin_mm), ("front", lane.front_mm)):
            if true is None:
                continue
            place = found[f"{line}_mm"] if found else None
            error = None if place is None else _along(made, true, place)
            flags = _own(strip, found) if strip else ()
            seen = strip[f"{line}_line"] if strip else None
            note = f"seen as {seen['kind']}, {what.note}" if seen else what.note
            rows.append(LineRow(f"{where} lane {lane.lane}", line, note, what.tags, error, flags))
    return rows


def _blank_rf(known: StripTruth, made: PaperStrip, strip: Json | None) -> int:
    """How many Rf were made up where origin or front are not to be seen."""
    if strip is None or (made.origin.kind != "none" and made.front.kind != "none"):
        return 0
    return sum(spot["rf"] is not None for _, spot in _spots(strip))
