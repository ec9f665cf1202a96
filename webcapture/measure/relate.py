"""From places on a strip to distances and Rf, with the uncertainty of each."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from webcapture.appearance import encoded
from webcapture.flags import flags
from webcapture.measure.curves import polynomial_at
from webcapture.measure.flatness import Rise
from webcapture.measure.landmarks import line_at
from webcapture.measure.lanes import Track
from webcapture.measure.ratios import resolution
from webcapture.measure.spots import Blob
from webcapture.measure.uncertainty import expanded, rf_budget
from webcapture.model import Component, Floats, Lane, Line, Point, Spot, StripCells, View
from webcapture.settings import LaneSettings, ReadingSettings, Settings

PLACES = 9
"""Across a strip, at which its lines are compared or taken over: they tell how far a parabola reaches to within 2 %."""


@dataclass(frozen=True, slots=True, eq=False)
class Placement:
    """Where a strip's places lie on the card."""

    strip: StripCells
    view: View
    rise: Rise

    def on_card(self, s_mm: float, t_mm: float) -> Point:
        """Card millimetres of a place on the strip."""
        axis = np.array(self.strip.axis)
        place = np.array(self.strip.start_mm) + s_mm * axis + t_mm * np.array([-axis[1], axis[0]])
        return float(place[0]), float(place[1])

    def flat(self, s_mm: float) -> float:
        """Where along the strip a place would be seen if it lay flat."""
        return s_mm - self.rise.shift(s_mm)


@dataclass(frozen=True, slots=True)
class _Run:
    """A lane's two ends along the strip, as seen (for uncertainties) and as if flat (for distances)."""

    origin_mm: float | None
    front_mm: float | None
    u_origin_mm: float
    u_front_mm: float
    t_mm: float

    @property
    def length_mm(self) -> float | None:
        if self.origin_mm is None or self.front_mm is None:
            return None
        return self.front_mm - self.origin_mm


def lane_of(
    number: int,
    track: Track,
    blobs: list[Blob],
    origin: Line | None,
    front: Line | None,
    profile: tuple[Floats, Floats],
    placed: Placement,
    settings: Settings,
) -> Lane:
    """The lane with its spots related to origin and front, both taken where this lane's axis meets them."""
    rule = settings.reading
    t = _axis(track, blobs, settings.lane)
    run = _Run(
        origin_mm=placed.flat(line_at(origin, t, rule.local_mm, rule.local_hold)) if origin else None,
        front_mm=placed.flat(line_at(front, t, rule.local_mm, rule.local_hold)) if front else None,
        u_origin_mm=origin.u_mm if origin else 0.0,
        u_front_mm=_u_at(front, t, rule) if front else 0.0,
        t_mm=t,
    )
    colours = _colours_of([blob.absorbance for blob in blobs])
    spots = [_spot(n + 1, blob, _next(blobs, n), colours[n], run, placed, settings) for n, blob in enumerate(blobs)]
    return Lane(
        lane=number,
        origin_mm=placed.on_card(run.origin_mm, t) if run.origin_mm is not None else None,
        front_mm=placed.on_card(run.front_mm, t) if run.front_mm is not None else None,
        run_mm=run.length_mm,
        t_range_mm=(track.low_mm, track.high_mm),
        profile_s_mm=profile[0],
        profile=profile[1],
        spots=tuple(spots),
        flags=() if spots else flags("no-spots"),
    )


def without_ratios(lane: Lane) -> Lane:
    """The lane of a strip whose origin end is not known: where things lie, told from the end taken for it, without ratios.

    The budgets stay for whoever says later which end it is.
    """
    told = {"did-not-move", "near-front"}
    return replace(
        lane,
        spots=tuple(
            replace(
                spot,
                rf=None,
                u_rf=None,
                U_rf=None,
                flags=tuple(flag for flag in spot.flags if flag.code not in told),
            )
            for spot in lane.spots
        ),
    )


def is_slanted(origin: Line | None, front: Line | None, width_mm: float, rule: ReadingSettings) -> bool:
    """Whether the run differs across the strip, between its rims, by more than people should overlook."""
    if front is None:
        return False
    t = np.linspace(rule.rim_mm, width_mm - rule.rim_mm, PLACES)
    run = polynomial_at(t, front.coefficients) - (polynomial_at(t, origin.coefficients) if origin is not None else 0.0)
    return float(np.ptp(run)) > rule.slant


def _axis(track: Track, blobs: list[Blob], rule: LaneSettings) -> float:
    """t of the lane's axis: where its spots lie, the clear ones counting more; its middle where it has none."""
    if not blobs:
        return track.middle_mm
    weight = np.array([min(blob.signal_to_noise, rule.axis_sd) for blob in blobs])
    return float(weight @ [blob.t_mm for blob in blobs] / weight.sum())


def _u_at(line: Line, t_mm: float, rule: ReadingSettings) -> float:
    """Standard uncertainty of a line at t, millimetres: its own where it was seen; beyond it grows, and the line may bend."""
    low, high = float(line.t_mm.min()), float(line.t_mm.max())
    beyond = max(low - t_mm, t_mm - high, 0.0)
    grown = line.u_mm * (1 + rule.u_beyond * beyond / max(high - low, 1.0))
    return float(np.hypot(grown, rule.bend_beyond * beyond))


def _next(blobs: list[Blob], n: int) -> Blob | None:
    return blobs[n + 1] if n + 1 < len(blobs) else None


def _spot(
    number: int, blob: Blob, above: Blob | None, colour: str, run: _Run, placed: Placement, settings: Settings
) -> Spot:
    centre, densest = placed.flat(blob.centre_mm), placed.flat(blob.densest_mm)
    base = run.origin_mm if run.origin_mm is not None else 0.0
    rf, u, budget = _ratio(centre, blob, run, placed)
    return Spot(
        spot=number,
        position_mm=placed.on_card(centre, blob.t_mm),
        densest_mm=placed.on_card(densest, blob.t_mm),
        distance_mm=centre - base,
        densest_distance_mm=densest - base,
        edges_mm=(placed.flat(blob.edges_mm[0]) - base, placed.flat(blob.edges_mm[1]) - base),
        width_mm=blob.width_mm,
        absorbance=(float(blob.absorbance[0]), float(blob.absorbance[1]), float(blob.absorbance[2])),
        colour=colour,
        rf=rf,
        u_rf=u,
        U_rf=expanded(u) if u is not None else None,
        resolution=resolution(blob.centre_mm, blob.width_mm, above.centre_mm, above.width_mm) if above else None,
        tailing=blob.tailing,
        signal_to_noise=blob.signal_to_noise,
        u_centre_mm=blob.u_centre_mm,
        budget=budget,
        flags=flags(*blob.codes, *place_codes(centre - base if run.origin_mm is not None else None, rf, settings)),
    )


def _ratio(
    centre: float, blob: Blob, run: _Run, placed: Placement
) -> tuple[float | None, float | None, tuple[Component, ...]]:
    """(Rf, its standard uncertainty, the budget), or Nones where origin or front is not known."""
    if run.origin_mm is None or run.front_mm is None or run.length_mm is None or run.length_mm <= 0:
        return None, None, ()
    view = placed.view
    u, budget = rf_budget(
        centre,
        run.origin_mm,
        run.front_mm,
        u_centre_mm=blob.u_centre_mm,
        u_origin_mm=run.u_origin_mm,
        u_front_mm=run.u_front_mm,
        u_rectification_mm=float(np.hypot(view.residual_mm, view.bend_mm)),
        u_flatness_mm=placed.rise.u_shift(centre, run.origin_mm, run.front_mm),
    )
    # What stayed on the origin may be found a hair below it; a ratio below nothing is none.
    return max((centre - run.origin_mm) / run.length_mm, 0.0), u, budget


def place_codes(distance: float | None, rf: float | None, settings: Settings) -> list[str]:
    """Codes that follow from where a spot lies; ``distance`` from the origin line, None where that is not known."""
    codes = []
    if distance is not None and abs(distance) < settings.spot.origin_mm:
        codes.append("did-not-move")
    if rf is not None and rf > settings.spot.near_front:
        codes.append("near-front")
    return codes


def colour_of(absorbance: Floats) -> str:
    """``#rrggbb`` of the spot on white paper under even light, after IEC 61966-2-1."""
    (colour,) = _colours_of([absorbance])
    return colour


def _colours_of(absorbances: Sequence[Floats]) -> list[str]:
    """``colour_of`` several at once."""
    light = np.minimum(10.0 ** -np.array(absorbances, float), 1).reshape(-1, 3)
    return [f"#{r:02x}{g:02x}{b:02x}" for r, g, b in np.rint(255 * encoded(light)).astype(int).tolist()]
