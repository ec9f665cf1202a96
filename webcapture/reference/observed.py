"""A measured spot as comparisons need it, and how the Rf of two spots of one sheet hang together."""

from __future__ import annotations

import math
from dataclasses import dataclass

from webcapture.measure.uncertainty import COVERAGE, covariance_of_ratios
from webcapture.model import Lane, Spot, Strip

SILENT = ("did-not-move", "near-front")
"""Flags of spots that name nothing: any insoluble or unretained substance lies there."""


@dataclass(frozen=True, slots=True)
class Observed:
    """One spot. Lengths in card millimetres."""

    strip: str
    """The strip's place: spots of one strip share origin line and front, those of two in one bay do not."""
    lane: int
    spot: int
    rf: float | None
    """None where the front is not known."""
    U_rf: float | None
    """Expanded, k = 2; None where ``rf`` is."""
    distance_mm: float
    """From the origin line to the centre."""
    width_mm: float
    """At the base, along the flow."""
    run_mm: float | None
    """From origin line to front in this lane; None where either is not known."""
    reach_mm: float
    """The longest run that the strip allows."""
    u_centre_mm: float
    u_origin_mm: float = 0.0
    u_front_mm: float = 0.0
    u_rectification_mm: float = 0.0
    u_flatness_mm: float = 0.0
    colour: str = ""
    """``#rrggbb`` under even light, at the densest place."""
    codes: tuple[str, ...] = ()
    """Of its flags."""
    parted: bool = False
    """Overlaps a neighbour of its lane and was parted from it by a fit: its centre is its own, and less certain."""

    @property
    def place(self) -> tuple[str, int, int]:
        """Which spot it is: strip, lane, number."""
        return self.strip, self.lane, self.spot

    @property
    def of_several(self) -> bool:
        """Whether it seems to be more than one, so that its centre is that of none of them."""
        return "merged" in self.codes and not self.parted

    @property
    def silent(self) -> str:
        """The flag for which it names nothing, or ``""``."""
        return next((code for code in SILENT if code in self.codes), "")


def observed(strip: Strip) -> tuple[Observed, ...]:
    """The spots of a measured strip that has an origin line; without one nothing can be compared."""
    if strip.origin is None:
        return ()
    corners = strip.corners_mm
    length = max(math.dist(corners[0], corners[3]), math.dist(corners[1], corners[2]))
    return tuple(
        _spot(strip, lane, spot, length) for lane in strip.lanes for spot in lane.spots if lane.origin_mm is not None
    )


def _spot(strip: Strip, lane: Lane, spot: Spot, length_mm: float) -> Observed:
    parts = {part.name: part for part in spot.budget}
    u = {name: part.u_mm for name, part in parts.items()}
    line = strip.origin.u_mm if strip.origin is not None else 0.0
    return Observed(
        strip=strip.place, lane=lane.lane, spot=spot.spot, rf=spot.rf, U_rf=spot.U_rf, distance_mm=spot.distance_mm,
        width_mm=spot.width_mm, run_mm=lane.run_mm, reach_mm=lane.run_mm or length_mm, u_centre_mm=u.get("centre", spot.u_centre_mm),
        u_origin_mm=u.get("origin", line), u_front_mm=u.get("front", 0.0), u_rectification_mm=u.get("rectification", 0.0),
        u_flatness_mm=u.get("flatness", 0.0), colour=spot.colour, codes=_codes(spot), parted=_parted(spot, lane),
    )  # fmt: skip


def _codes(spot: Spot) -> tuple[str, ...]:
    return tuple(flag.code for flag in spot.flags)


def _parted(spot: Spot, lane: Lane) -> bool:
    """Whether a neighbour that it overlaps was found as well: then both are parts of one fit, each with its own place."""
    if "merged" not in _codes(spot):
        return False
    others = (other for other in lane.spots if other.spot != spot.spot and "merged" in _codes(other))
    return any(abs(o.distance_mm - spot.distance_mm) <= (o.width_mm + spot.width_mm) / 2 for o in others)


def covariance(first: Observed, second: Observed) -> float:
    """Covariance of two Rf, from what their spots share; 0 for different strips, the variance for one and the same spot.

    In one lane that is :func:`covariance_of_ratios`. From lane to lane of one strip the two lines are still the same, but not the places at
    which they are met: the smaller of the two uncertainties of each line counts as shared, and nothing of geometry and bend.
    """
    a, b = first.rf, second.rf
    if a is None or b is None or first.run_mm is None or second.run_mm is None or first.strip != second.strip:
        return 0.0
    if first.place == second.place:
        return ((first.U_rf or 0.0) / COVERAGE) ** 2
    alike = first.lane == second.lane
    return covariance_of_ratios(
        a, b, math.sqrt(first.run_mm * second.run_mm),
        u_origin_mm=min(first.u_origin_mm, second.u_origin_mm), u_front_mm=min(first.u_front_mm, second.u_front_mm),
        u_rectification_mm=min(first.u_rectification_mm, second.u_rectification_mm) if alike else 0.0,
        u_flatness_mm=(first.u_flatness_mm, second.u_flatness_mm) if alike else (0.0, 0.0),
    )  # fmt: skip


def u_apart_mm(first: Observed, second: Observed, slant: float) -> float:
    """Standard uncertainty of the difference of two distances of one strip, where the front is not known.

    Both count from one origin line, whose own error is shared and cancels. ``slant``: share of the run by which lanes may differ.
    """
    own = [(2 * spot.u_rectification_mm**2 + spot.u_centre_mm**2 + spot.u_flatness_mm**2) for spot in (first, second)]
    slanted = 0.0 if first.lane == second.lane else slant * max(first.distance_mm, second.distance_mm)
    return math.sqrt(sum(own) + slanted**2)
