"""What is photographed, and how: frozen descriptions, nothing drawn yet.

*card* millimetres as everywhere; *strip* millimetres ``s`` along the strip from its origin end towards the front end and
``t`` across it from its left edge, as in :mod:`webcapture.model`. Angles are degrees, clockwise as seen on the page.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from webcapture.model import Floats, Point

Triple = tuple[float, float, float]


@dataclass(frozen=True, slots=True)
class Curve:
    """A line drawn or left across a strip: its place ``s`` at each ``t``."""

    level_mm: float
    """``s`` at ``mid_mm``."""
    slope: float = 0.0
    """Rise along ``s`` per millimetre of ``t``."""
    bow: float = 0.0
    """Quadratic term, 1/mm: positive where the ends are higher than the middle."""
    mid_mm: float = 0.0
    """The ``t`` about which ``slope`` and ``bow`` turn."""
    ripple: tuple[Triple, ...] = ()
    """Waves on top: (amplitude mm, wavelength mm, phase rad)."""

    def at(self, t_mm: Floats) -> Floats:
        """``s`` at each ``t_mm``, any shape."""
        u = np.asarray(t_mm, dtype=float) - self.mid_mm
        s = self.level_mm + self.slope * u + self.bow * u * u
        for amplitude, wavelength, phase in self.ripple:
            s = s + amplitude * np.sin(2 * np.pi * u / wavelength + phase)
        return np.asarray(s)

    def mean_at(self, t_mm: float, half_mm: float) -> float:
        """Mean of ``s`` within ``half_mm`` of ``t_mm``: the line's place for a lane that wide."""
        return float(self.at(t_mm + np.linspace(-half_mm, half_mm, 41)).mean())


@dataclass(frozen=True, slots=True)
class Dye:
    """An invented dye: absorption per unit of load in R, G, B, the strongest channel being 1."""

    name: str
    absorption: Triple


@dataclass(frozen=True, slots=True)
class Spot:
    """One dye of a lane and how it travels."""

    dye: Dye
    rf: float
    """Nominal: that of a vanishing load. The truth follows the load's centroid."""
    peak: float
    """Absorbance at the densest place, in the dye's strongest channel."""
    applied_mm: float = 1.2
    """Standard deviation of the spot as applied."""
    plate_mm: float = 0.08
    """Variance added along the flow per millimetre travelled."""
    overload: float = 0.0
    """Langmuir load of the applied spot; above about 0.3 a tail towards the origin."""
    drag_mm: float = 0.0
    """Length of the exponential tail left by slow release."""
    drift_mm: float = 0.0
    """Sideways drift of the centre on the way."""


@dataclass(frozen=True, slots=True)
class Lane:
    """One application and what became of it."""

    t_mm: float
    spots: tuple[Spot, ...] = ()
    mark: str = "none"
    """``cross``, ``tick``, ``dot`` or ``none``, in pencil on the origin line."""
    band: bool = False
    """Applied as a streak over the whole width: bands across the strip instead of spots."""
    width_mm: float = 8.0
    """Width over which the lane's lines are averaged for the truth."""


@dataclass(frozen=True, slots=True)
class OriginLine:
    """The line of application."""

    curve: Curve
    kind: str = "pencil"
    """``pencil``, ``ink`` or ``none``."""
    thickness_mm: float = 0.45
    absorbance: float = 0.3
    inks: tuple[Spot, ...] = ()
    """Dyes of an ink line that ran; each makes a band over the whole width."""


@dataclass(frozen=True, slots=True)
class Front:
    """How far the solvent went, and what shows it. The solvent follows ``curve`` whether it shows or not."""

    curve: Curve
    kind: str = "pencil"
    """``pencil``, ``wet-edge``, ``stain`` or ``none``."""
    strength: float = 0.3
    """Absorbance of the line or stain; for a wet edge, of the wet paper."""
    width_mm: float = 0.45
    """Thickness of the line; of the step, for a wet edge."""
    fade_mm: float = 0.0
    """Length over which a wet edge dries out towards the origin; 0: wet all the way. Of a stain, over which it fades there; 0: it is a ridge."""
    spans_mm: tuple[tuple[float, float], ...] = ()
    """The parts of the width a pencil line covers; none given: all of it."""


@dataclass(frozen=True, slots=True)
class Stock:
    """The paper of the strip."""

    scatter: float = 3.5
    """Kubelka–Munk scattering power S·X of the sheet."""
    own: Triple = (0.012, 0.014, 0.022)
    """Absorption of the bare paper, K·X in R, G, B."""
    grain: float = 0.012
    """Relative standard deviation of its texture."""


@dataclass(frozen=True, slots=True)
class Lift:
    """How the strip rises above the card."""

    kind: str = "flat"
    """``flat``, ``arch`` (its middle), ``end`` (one end) or ``curl`` (both ends)."""
    height_mm: float = 0.0
    at: float = 0.5
    """Where the arch is highest, or the end begins to lift, as a fraction of the length from the origin end."""

    def height(self, fraction: Floats) -> Floats:
        """Millimetres above the card at each ``fraction`` of the length; smooth."""
        x = np.clip(fraction, 0.0, 1.0)
        if self.kind == "arch":
            side = np.where(x < self.at, x / self.at, (1 - x) / (1 - self.at))
            return np.asarray(self.height_mm * (0.5 - 0.5 * np.cos(np.pi * side)))
        if self.kind == "end":
            return np.asarray(self.height_mm * (np.maximum(x - self.at, 0.0) / (1 - self.at)) ** 2)
        if self.kind == "curl":
            return np.asarray(self.height_mm * np.abs(2 * x - 1) ** 3)
        return np.zeros_like(x)


@dataclass(frozen=True, slots=True)
class Writing:
    """Letters on the strip, in pencil or ink; ``s``, ``t`` is the middle of the word."""

    text: str
    s_mm: float
    t_mm: float
    size_mm: float = 4.0
    turn_deg: float = 0.0
    absorbance: float = 0.3
    ink: Triple | None = None
    """Its share of the absorbance in R, G, B; None: pencil."""


@dataclass(frozen=True, slots=True)
class Crease:
    """A fold across the strip: a bright side and a dark side."""

    curve: Curve
    depth: float = 0.03
    width_mm: float = 0.5


@dataclass(frozen=True, slots=True)
class Finger:
    """A faint greasy mark."""

    s_mm: float
    t_mm: float
    size_mm: float = 9.0
    absorbance: float = 0.015


@dataclass(frozen=True, slots=True)
class PaperStrip:
    """One paper object lying in a bay. ``centre_mm`` is the middle of the paper on the card."""

    bay: int
    centre_mm: Point
    width_mm: float
    length_mm: float
    origin: OriginLine
    front: Front
    lanes: tuple[Lane, ...] = ()
    turn_deg: float = 0.0
    upright: bool = True
    taper_mm: float = 0.0
    """How much wider the front end was cut than the origin end."""
    cuts: tuple[tuple[Point, ...], tuple[Point, ...]] = ((), ())
    """(s, departure from straight) of the places where scissors were set anew, along the left and the right long edge; none: cut in one go."""
    stock: Stock = Stock()
    lift: Lift = Lift()
    ragged_mm: float = 0.1
    """Standard deviation of the uneven flow across the width, at the front."""
    streaks: float = 0.1
    """Relative standard deviation of the load from streak to streak."""
    writings: tuple[Writing, ...] = ()
    creases: tuple[Crease, ...] = ()
    fingers: tuple[Finger, ...] = ()

    @property
    def up(self) -> Point:
        """Unit vector on the card towards the front end."""
        angle = math.radians(self.turn_deg + (0 if self.upright else 180))
        return math.sin(angle), -math.cos(angle)

    @property
    def right(self) -> Point:
        """Unit vector on the card along ``t``."""
        return -self.up[1], self.up[0]

    @property
    def base(self) -> Point:
        """The card place of ``s`` = ``t`` = 0."""
        (ux, uy), (rx, ry) = self.up, self.right
        half_l, half_w = self.length_mm / 2, self.width_mm / 2
        return self.centre_mm[0] - half_l * ux - half_w * rx, self.centre_mm[1] - half_l * uy - half_w * ry

    def on_card(self, s_mm: float, t_mm: float) -> Point:
        """Card millimetres of a place on the strip, seen straight from above."""
        (ux, uy), (rx, ry), (x, y) = self.up, self.right, self.base
        return x + s_mm * ux + t_mm * rx, y + s_mm * uy + t_mm * ry

    def edges(self, s_mm: Floats) -> tuple[Floats, Floats]:
        """``t`` of the left and the right long edge at each ``s_mm``."""
        half = self.width_mm / 2 + self.taper_mm / 2 * (np.asarray(s_mm) / self.length_mm - 0.5)
        left, right = (_snipped(np.asarray(s_mm, float), cut) for cut in self.cuts)
        return np.asarray(self.width_mm / 2 - half + left), np.asarray(self.width_mm / 2 + half + right)


def _snipped(s_mm: Floats, cut: tuple[Point, ...]) -> Floats:
    """How far an edge departs from straight: it runs straight from snip to snip."""
    if not cut:
        return np.zeros_like(s_mm)
    places, off = np.array(cut).T
    return np.asarray(np.interp(s_mm, places, off))


@dataclass(frozen=True, slots=True)
class CameraSetup:
    """The phone: where it is held, its lens, its sensor and what it writes."""

    size_px: tuple[int, int] = (3000, 4000)
    """(width, height) of the upright picture."""
    fov_deg: float = 68.0
    """Field of view along the diagonal."""
    tilt_deg: float = 0.0
    """Angle between the card's normal and the direction to the camera, at the card's middle."""
    azimuth_deg: float = 0.0
    """The side the phone leans to: 0 right of the card, 90 towards its bottom."""
    roll_deg: float = 0.0
    fill: float = 0.8
    """Share of the frame the card takes, along the side where it is tighter."""
    offset: Point = (0.0, 0.0)
    """Where the card's middle lies off the frame's middle, as a share of the frame."""
    k1: float = 0.0
    k2: float = 0.0
    """Radial distortion about the middle, radius in halves of the diagonal."""
    vignetting: float = 0.1
    """Loss of light in the corners."""
    veil: float = 0.0
    """Stray light in the lens, as a share of the card's white."""
    exposure: float = 0.8
    """Linear value of the card's white where it is brightest, 1 being full scale."""
    cast: Triple = (1.0, 1.0, 1.0)
    tone: float = 0.0
    """Strength of the camera's contrast curve; 0 is plain sRGB."""
    defocus_px: float = 0.7
    """Standard deviation of the blur."""
    motion_px: float = 0.0
    motion_deg: float = 0.0
    shot_noise: float = 0.008
    """Relative noise of a pixel at full scale."""
    read_noise: float = 0.0015
    sharpening: float = 0.4
    quality: int = 92
    orientation: int = 1
    """EXIF orientation, 1 to 8."""
    display_p3: bool = False
    sent: tuple[int, int] | None = None
    """What a messenger makes of the photo on its way: (longer side in pixels, JPEG quality); None where it comes as it was taken."""


@dataclass(frozen=True, slots=True)
class ShadowEdge:
    """The straight, soft edge of a shadow; it lies on the side ``turn_deg`` points to."""

    at_mm: Point
    turn_deg: float
    depth: float
    softness_mm: float = 8.0
    width_mm: float | None = None
    """None: everything beyond the edge; else a bar of shadow that wide."""


@dataclass(frozen=True, slots=True)
class Glare:
    """A reflection of a lamp."""

    at_mm: Point
    size_mm: Point
    strength: float


@dataclass(frozen=True, slots=True)
class Light:
    """How the card is lit."""

    gradient: float = 0.1
    """Relative change from the card's middle to its corner."""
    gradient_deg: float = 0.0
    bowl: float = 0.0
    """Further loss from the middle to the corner, as under a near lamp."""
    colour_gradient: float = 0.0
    """Relative change of red against blue from the middle to the corner."""
    lamp_deg: float = 225.0
    """Where the light comes from."""
    slant: float = 0.8
    """Tangent of the light's angle from the vertical: how far a raised strip throws its shadow."""
    shadows: tuple[ShadowEdge, ...] = ()
    glares: tuple[Glare, ...] = ()


@dataclass(frozen=True, slots=True)
class LoosePaper:
    """A written or printed piece of paper lying about, under or over the card."""

    centre_mm: Point
    size_mm: Point
    turn_deg: float
    lines: bool = True
    over_card: bool = False
    tone: float = 0.85


@dataclass(frozen=True, slots=True)
class Thing:
    """A pen, or the lid of a dish."""

    kind: str
    """``pen`` or ``lid``."""
    centre_mm: Point
    size_mm: float
    """Length of the pen, diameter of the lid."""
    turn_deg: float = 0.0
    colour: Triple = (0.1, 0.1, 0.3)


@dataclass(frozen=True, slots=True)
class Surroundings:
    """What lies under and around the card."""

    bench: str = "wood"
    """``wood``, ``stone``, ``slate``, ``mat`` or ``white``."""
    papers: tuple[LoosePaper, ...] = ()
    things: tuple[Thing, ...] = ()
    """Over everything else."""


@dataclass(frozen=True, slots=True)
class Scene:
    """One photo to be taken."""

    layout: str
    paper: str
    strips: tuple[PaperStrip, ...]
    camera: CameraSetup
    light: Light = Light()
    surroundings: Surroundings = Surroundings()
    card_bend_mm: float = 0.0
    """Height of the card's arch between its left and right edges; negative: its two side edges curl up."""
    card_shown: bool = True
    screened: bool = False
    """Whether the printer made the card's greys out of dots."""
    seed: int = 0
