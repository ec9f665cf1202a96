"""What is known of a synthetic photo. All places are card millimetres, seen straight from above."""

from __future__ import annotations

from dataclasses import dataclass

from webcapture.model import Point
from webcapture.synthetic.camera import Pinhole
from webcapture.synthetic.scene import Triple


@dataclass(frozen=True, slots=True)
class SpotTruth:
    """One spot."""

    dye: str
    position_mm: Point
    """The centroid of its load."""
    densest_mm: Point
    """The maximum of its load."""
    distance_mm: float
    """From the origin line to the centroid, along the lane's axis."""
    densest_distance_mm: float
    rf: float
    """``distance_mm`` over the run; for a front off the top or unseen, over the run the solvent really had."""
    width_mm: float
    """Along the flow: four standard deviations of the load."""
    colour: str
    """``#rrggbb`` of its densest place in even white light, the card's white being full scale."""
    peak_absorbance: Triple
    """Against bare paper at its densest place, R, G, B, of this dye alone."""
    tailing: bool
    """True where its lower half-width at 10 % of the maximum is more than 1.5 times the upper one."""
    resolution: float | None
    """2 Δs / (sum of the widths) to the nearest other spot of the lane; None where it is alone."""


@dataclass(frozen=True, slots=True)
class LaneTruth:
    """One lane, numbered from the left as seen with the origin end at the bottom, through all strips of a bay; spots from the origin upwards."""

    lane: int
    t_mm: float
    origin_mm: Point | None
    """Where the lane's axis meets the origin line; None where none was drawn."""
    front_mm: Point | None
    """Where it meets the visible front, averaged over the lane's width; None where none shows."""
    run_mm: float | None
    """From origin to front; None where either is None."""
    spots: tuple[SpotTruth, ...]


@dataclass(frozen=True, slots=True)
class StripTruth:
    """One strip."""

    bay: int
    corners_mm: tuple[Point, Point, Point, Point]
    """Bottom left, bottom right, top right, top left, as it lies on the page."""
    upright: bool
    front_kind: str
    front_slant_mm: float
    """Difference of the front's height between the strip's long edges (or its middle and edges, if more)."""
    lanes: tuple[LaneTruth, ...]
    strip: int = 1
    """Its number within the bay, from the left of the page."""


@dataclass(frozen=True, slots=True, eq=False)
class Truth:
    """Everything known of one photo."""

    layout: str
    paper: str
    strips: tuple[StripTruth, ...]
    camera: Pinhole
    """Projects card millimetres into the upright photo."""
    tilt_deg: float
    px_per_mm: float
    k1: float


@dataclass(frozen=True, slots=True, eq=False)
class Photograph:
    """A photo file and what is known of it."""

    data: bytes
    """JPEG."""
    truth: Truth
