"""Records of what is measured: lines, spots, lanes, strips, and all of a photo."""

from __future__ import annotations

from dataclasses import dataclass

from webcapture.flags import Flag
from webcapture.model.arrays import Floats, Point
from webcapture.model.seen import Picture


@dataclass(frozen=True, slots=True)
class Component:
    """One line of an uncertainty budget (JCGM 100:2008)."""

    name: str
    """What contributes: origin, front, centre, rectification, flatness."""
    kind: str
    """``A``, evaluated from repeated observation, or ``B``, from other knowledge."""
    u_mm: float
    """Standard uncertainty of the input, millimetres on the card."""
    sensitivity: float
    """Change of Rf per millimetre of the input."""
    reason: str
    """Where the figure comes from, in plain words."""


@dataclass(frozen=True, slots=True, eq=False)
class Line:
    """A line across a strip: origin line or solvent front."""

    kind: str
    """``pencil``, ``wet-edge``, ``stain`` or ``coloured``; ``by-hand`` where a correction drew it anew."""
    t_mm: Floats
    """(n,) places across the strip at which the line was located."""
    s_mm: Floats
    """(n,) its place along the strip at each of them."""
    coefficients: Floats
    """Polynomial in t, lowest power first, of the fitted line."""
    u_mm: float
    """Standard uncertainty of the fitted line within the span of ``t_mm``."""
    strength: float
    """Contrast against the paper's own noise, in standard deviations."""


@dataclass(frozen=True, slots=True)
class Spot:
    """One spot of a lane. Lengths in card millimetres."""

    spot: int
    """Number within the lane, from 1, counted from the origin upwards."""
    position_mm: Point
    """Its centre: the absorbance-weighted mean."""
    densest_mm: Point
    """Its point of maximum intensity."""
    distance_mm: float
    """From the origin line to the centre, along the lane; from the paper's end where no origin was seen (``Lane.origin_mm``)."""
    densest_distance_mm: float
    """The same to the point of maximum intensity."""
    edges_mm: tuple[float, float]
    """The same to its lower and upper edge."""
    width_mm: float
    """Width along the flow at the base (four standard deviations of the equivalent Gaussian)."""
    absorbance: tuple[float, float, float]
    """Absorbance at the densest point, R, G, B."""
    colour: str
    """``#rrggbb`` in sRGB as the spot would look in even white light on this paper, at its densest."""
    rf: float | None
    """distance / run, to the centre; None where the front is not known."""
    u_rf: float | None
    """Combined standard uncertainty of ``rf``; None where ``rf`` is."""
    U_rf: float | None
    """Expanded uncertainty of ``rf``, k = 2; None where ``rf`` is."""
    resolution: float | None
    """Resolution to the next spot above in the same lane; None for the uppermost."""
    tailing: float
    """Ratio of the half-widths at 10 % of the maximum: origin side over front side."""
    signal_to_noise: float
    """Height over the noise of this paper at this spot's width."""
    u_centre_mm: float
    """Standard uncertainty of the centre, before anything is related to it."""
    budget: tuple[Component, ...]
    """The uncertainty's components; empty where origin or front is not known."""
    flags: tuple[Flag, ...] = ()


@dataclass(frozen=True, slots=True, eq=False)
class Lane:
    """One lane of a strip."""

    lane: int
    """Number within the bay, from 1, from the left as seen with the origin end at the bottom; the next strip of the bay goes on."""
    origin_mm: Point | None
    """Where the lane's axis meets the origin line; None where no line was seen."""
    front_mm: Point | None
    """Where the lane's axis meets the solvent front; None where no front was seen."""
    run_mm: float | None
    """Distance from origin to front; None where either is not known."""
    t_range_mm: tuple[float, float]
    """The lane's span across the strip."""
    profile_s_mm: Floats
    """(n,) places along the strip, millimetres from the origin end."""
    profile: Floats
    """(n, 3) mean absorbance across the lane at ``profile_s_mm``, R, G, B, above the paper's."""
    spots: tuple[Spot, ...]
    flags: tuple[Flag, ...] = ()


@dataclass(frozen=True, slots=True, eq=False)
class Strip:
    """One strip, measured."""

    bay: int
    corners_mm: tuple[Point, Point, Point, Point]
    """Card millimetres: bottom left, bottom right, top right, top left, as it lies on the page."""
    upright: bool
    """True where the origin end lies towards the bottom of the page."""
    origin: Line | None
    front: Line | None
    lanes: tuple[Lane, ...]
    flags: tuple[Flag, ...] = ()
    decided: bool = True
    """False where it cannot be told which end is the origin's: there is no Rf then, and distances are from the end taken for it."""
    strip: int = 1
    """Its number within the bay, from 1, from the left of the page."""
    shared: bool = False
    """True where other strips lie in the same bay."""

    @property
    def place(self) -> str:
        """Which strip of the photo it is: ``5``, the bay; ``5-2``, the second strip of that bay."""
        return str(self.bay) if self.strip == 1 else f"{self.bay}-{self.strip}"


@dataclass(frozen=True, slots=True)
class CardSeen:
    """What the result says of the card."""

    layout: str
    paper: str
    residual_mm: float
    tilt_deg: float
    px_per_mm: float
    """The file's own pixels per card millimetre at the card's middle."""


@dataclass(frozen=True, slots=True, eq=False)
class PhotoResult:
    """All that one photo gave."""

    card: CardSeen
    strips: tuple[Strip, ...]
    flags: tuple[Flag, ...]
    pictures: tuple[Picture, ...] = ()
    """What shows each strip, in the same order."""
    page: Picture | None = None
    """The whole page; made where there is no strip to show, or on request."""
    photo: str = ""
    """The file's name, where one was given."""
