"""How well an R_rel is known: from the two spots' own budgets, with what they share counted once.

In one lane origin and geometry are shared, and :func:`r_rel_budget` holds the sums. From lane to lane it is a ratio of two Rf whose
lines are the same two lines, as :func:`webcapture.reference.observed.covariance` has them.
"""

from __future__ import annotations

from collections.abc import Callable

from webcapture.measure.uncertainty import COVERAGE, r_rel_budget, u_quotient
from webcapture.model import Lane, Spot, Strip
from webcapture.reference.observed import covariance, observed

Place = tuple[Lane, Spot]


def u_r_rel(strip: Strip, here: Place, there: Place, residual_mm: float) -> float | None:
    """Standard uncertainty of R_rel of the spot ``here`` to the spot ``there``, both on ``strip``.

    ``residual_mm`` is the card's: what stands for the geometry where a strip without a front has no budget. None where there is no
    R_rel to be uncertain of; 0 of the reference spot itself, whose R_rel is 1 by definition.
    """
    (lane, spot), (other_lane, reference) = here, there
    if lane is other_lane and spot is reference:
        return 0.0
    if lane is other_lane:
        return _within_a_lane(strip, spot, reference, residual_mm) if reference.distance_mm > 0 else None
    return _between_lanes(strip, here, there) if reference.rf else None


def _within_a_lane(strip: Strip, spot: Spot, reference: Spot, residual_mm: float) -> float:
    of_spot, of_reference = _input_of(spot), _input_of(reference)
    ratio = spot.distance_mm / reference.distance_mm
    u, _ = r_rel_budget(
        spot.distance_mm,
        0.0,
        reference.distance_mm,
        u_centre_mm=of_spot("centre", spot.u_centre_mm),
        u_origin_mm=of_spot("origin", strip.origin.u_mm if strip.origin is not None else 0.0),
        u_reference_mm=of_reference("centre", reference.u_centre_mm),
        u_rectification_mm=of_spot("rectification", residual_mm),
        # One bend shifts both spots, as covariance_of_ratios has it: only what it does to one more than to the other counts.
        u_flatness_mm=abs(of_spot("flatness", 0.0) - ratio * of_reference("flatness", 0.0)),
    )
    return u


def _input_of(spot: Spot) -> Callable[[str, float], float]:
    """A lookup of what its budget says of an input, in millimetres; what the budget leaves out is nothing, and without one the other value stands."""
    told = {part.name: part.u_mm for part in spot.budget}
    return lambda name, without: told.get(name, 0.0) if told else without


def _between_lanes(strip: Strip, here: Place, there: Place) -> float | None:
    """Of the quotient of two Rf; None where either is not known."""
    found = {(one.lane, one.spot): one for one in observed(strip)}
    first, second = (found.get((lane.lane, spot.spot)) for lane, spot in (here, there))
    if first is None or second is None or first.rf is None or second.rf is None:
        return None
    u1, u2 = ((one.U_rf or 0.0) / COVERAGE for one in (first, second))
    return u_quotient(first.rf, second.rf, u1, u2, covariance(first, second))
