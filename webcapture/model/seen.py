"""Records of what is seen: the photo, the card, the light on it, its strips."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from webcapture.flags import Flag
from webcapture.model.arrays import Bytes8, Floats, Floats32, Point


@dataclass(frozen=True, slots=True)
class Rounding:
    """How coarsely a file keeps brightness and colour: block by block."""

    levels: tuple[float, float, float]
    """Standard deviation of a block's mean Y, Cb and Cr, levels of 255."""
    side_px: tuple[float, float]
    """Side of a block of brightness and of one of colour, pixels of the file."""


@dataclass(frozen=True, slots=True, eq=False)
class Blotches:
    """What the photo's compression leaves on bare paper: pale blotches as large as its blocks."""

    absorbance: Floats
    """(3, 3) what one standard deviation of a block's Y, Cb and Cr is in R, G and B."""
    side_mm: tuple[float, float, float]
    """Side of a block of Y, Cb and Cr."""


@dataclass(frozen=True, slots=True, eq=False)
class Photo:
    """A decoded photo: the camera's pixels as they were stored, and how to turn them upright."""

    stored: Bytes8
    """(rows, cols, 3 or 4), R, G, B and perhaps padding, contiguous, in the file's own colour space (see ``icc``)."""
    icc: bytes | None
    """The embedded colour profile, or None where the file has none or it is plain sRGB."""
    original_size_px: tuple[int, int]
    """(width, height) of the upright picture before the working image was capped."""
    format: str
    """The file format's name: JPEG, PNG or WEBP."""
    orientation: int = 1
    """Exif orientation, 1 to 8, of ``stored``; 1 where it is upright."""
    rounding: Rounding | None = None
    """How coarsely the file keeps it; None where it is not known."""

    @property
    def reduction(self) -> float:
        """How many of the file's pixels go into one of ``stored``, along a side."""
        return float(max(self.original_size_px) / max(self.stored.shape[:2]))

    @property
    def swapped(self) -> bool:
        """Whether rows and columns of ``stored`` are to be swapped; then come the flips."""
        return self.orientation >= 5

    @property
    def flipped(self) -> tuple[bool, bool]:
        """Whether, after any swap, the picture is to be flipped left to right, and top to bottom."""
        return self.orientation in (2, 3, 6, 7), self.orientation in (3, 4, 7, 8)

    @property
    def pixels(self) -> Bytes8:
        """(height, width, 3), RGB, upright: a view of ``stored``, because turning twelve megapixels costs as much as finding the card."""
        view = self.stored[..., :3]
        view = view.swapaxes(0, 1) if self.swapped else view
        across, down = self.flipped
        return view[:: -1 if down else 1, :: -1 if across else 1]


@dataclass(frozen=True, slots=True, eq=False)
class CardSighting:
    """Which card was seen, and its points in the photo."""

    layout: str
    """``sheet`` or ``tray``."""
    paper: str
    """``a4`` or ``letter``."""
    tags_seen: int
    """How many of the card's tags were read; told for the tests, since enough of them is asked for before there is a sighting."""
    points_mm: Floats
    """(n, 2) saddles of the chequered frame, card millimetres."""
    points_px: Floats
    """(n, 2) the same saddles in the photo."""
    tags_elsewhere: int = 0
    """How many tags of another card were read."""


@dataclass(frozen=True, slots=True, eq=False)
class Mapping:
    """From card millimetres to photo pixels: a homography and radial distortion, fitted together."""

    homography: Floats
    """(3, 3) card millimetres to undistorted, normalised photo coordinates."""
    k1: float
    """Radial distortion, 1 / normalised radius squared."""
    k2: float
    """Radial distortion, 1 / normalised radius to the fourth."""
    centre_px: Point
    """The distortion centre, photo pixels."""
    scale_px: float
    """Photo pixels for one normalised unit (half the photo's diagonal)."""


@dataclass(frozen=True, slots=True, eq=False)
class View:
    """How the camera saw the card."""

    mapping: Mapping
    """Card millimetres to photo pixels."""
    residual_mm: float
    """Root mean square distance of the saddles from the fit, card millimetres."""
    bend_mm: float
    """The largest systematic deviation of the frame from the fitted plane, as seen in the card, millimetres."""
    tilt_deg: float
    """Angle between the card's normal and the direction to the camera, at the card's middle."""
    px_per_mm: float
    """Photo pixels per card millimetre at the card's middle (geometric mean of both directions)."""
    camera_mm: tuple[float, float, float]
    """The camera's place over the card: x, y and height, millimetres."""


@dataclass(frozen=True, slots=True, eq=False)
class Picture:
    """The card, or a part of it, as seen from straight above: for people to look at."""

    pixels: Bytes8
    """(height, width, 3), RGB, sRGB."""
    to_card: Floats
    """(2, 3) takes (col, row, 1), pixels counted by their centres, to card millimetres."""

    @staticmethod
    def of_page(pixels: Bytes8, px_per_mm: float) -> Picture:
        """The whole page at that scale."""
        return Picture(pixels, page_grid(px_per_mm))


def page_grid(px_per_mm: float) -> Floats:
    """(2, 3) takes (col, row, 1) of a picture of the whole page to card millimetres."""
    return np.array([[1, 0, 0.5], [0, 1, 0.5]]) / px_per_mm


@dataclass(frozen=True, slots=True, eq=False)
class Sheet:
    """The rectified page, for the light on it and for finding strips."""

    pixels: Bytes8
    """(rows, cols, 3), RGB, sRGB; pixel (row, col) is centred on card mm ((col + 0.5), (row + 0.5)) / px_per_mm."""
    level: Floats32
    """(rows, cols): 0 where the panel is as bright as its tint, 1 as white paper, logarithmic in between; 0 off the panel."""
    px_per_mm: float
    """Scale of ``pixels`` and ``level``."""
    light: Floats32
    """(rows, cols) of the field of illumination: linear intensity a white page would show, 0 to 1."""
    light_px_per_mm: float
    """Scale of ``light``; told for the tests, since judging a photo takes all of the field and no place in it."""
    white: tuple[float, float, float]
    """Colour of the light: linear intensity of white paper in R, G, B, relative to their mean."""
    tint: float
    """Linear intensity of the printed tint relative to the white page."""
    shade: tuple[float, float]
    """How far light and shadow on the card fall below, and rise above, a smooth field: natural logarithm, 2nd and 98th percentile."""


@dataclass(frozen=True, slots=True)
class Quality:
    """How good the photo is."""

    blur_mm: float
    """Standard deviation of the blur, on the card."""
    white: float
    """Linear intensity of the white page, 0 to 1."""
    flags: tuple[Flag, ...]


@dataclass(frozen=True, slots=True, eq=False)
class StripOutline:
    """A strip as found in its bay."""

    bay: int
    """The bay it lies in, from 1."""
    corners_mm: Floats
    """(4, 2) card millimetres: origin end left, origin end right, front end right, front end left, as laid."""
    width_mm: float
    """Distance of the long edges."""
    length_mm: float
    """Distance of the ends."""
    axis: Point
    """Unit vector in card millimetres from the origin end towards the front end."""
    u_edge_mm: float
    """Standard uncertainty of one edge point, from their scatter about a smooth line."""
    left_edge_mm: Floats
    """(n, 2) card millimetres of points along the left edge, from the origin end."""
    right_edge_mm: Floats
    """(m, 2) the same along the right edge."""
    cut_off: bool = False
    """True where the photo or the card's panel ends before the strip does."""
    strip: int = 1
    """Its number within the bay, from 1, from the left of the page."""


@dataclass(frozen=True, slots=True, eq=False)
class StripImage:
    """A strip cut out of the photo at full resolution, turned into its own frame.

    Row i is at s = (i + 0.5) / px_per_mm − margin_mm, column j at t = (j + 0.5) / px_per_mm − margin_mm; so the first row
    lies beyond the origin end. A place (s, t) is at start_mm + s · axis + t · side on the card.
    """

    outline: StripOutline
    logs: Floats32
    """(rows, cols, 3) log10 of the linear intensity, R, G, B."""
    px_per_mm: float
    """Scale of ``logs``."""
    margin_mm: float
    """Border around the strip that belongs to the card, on all four sides."""
    start_mm: Point
    """Card millimetres of s = 0, t = 0."""
    axis: Point
    """Unit vector in card millimetres along s."""
    light: Floats32
    """(rows, 2) log10 of the light along the left and right side, as the card's tint there shows it, about its median."""
    picture: Picture
    """The same before the logarithm."""
    blotches: Blotches | None = None
    """What compression left on its paper; None where that is not known."""


@dataclass(frozen=True, slots=True, eq=False)
class StripCells:
    """A strip's paper, averaged in the two ways that measuring needs; the same frame as its image, without the margin."""

    outline: StripOutline
    cells: Floats32
    """(rows, cols, 3) mean log10 intensity in even cells of about ``cell_mm``; the first row is at the origin end.

    In memory channel after channel: arithmetic along rows of three takes several times as long.
    """
    cell_mm: float
    """Side of a cell."""
    strokes: NDArray[np.bool_]
    """(rows, cols) which cells lie under a pencil stroke: a line, a mark, a letter."""
    bins: Floats32
    """(fine rows, bins, 3) the same at full resolution along the strip, averaged over bins across it, its edges left out."""
    rim_mm: float
    """Width at both long edges where card and paper mix, or a bent edge runs; left out by ``bins``."""
    light: Floats32
    """(fine rows, 2) log10 of the light along the left and right side, as the card's tint there shows it."""
    length_mm: float
    width_mm: float
    start_mm: Point
    """Card millimetres of s = 0, t = 0."""
    axis: Point
    """Unit vector in card millimetres along s."""
    turned: bool
    """True where it was turned round, because the origin end lies at the top of the page."""
    blotches: Blotches | None = None
    """What the photo's compression left on its paper; None where that is not known."""
