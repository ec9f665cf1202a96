"""The strip averaged into cells, with its strokes and holes."""

from __future__ import annotations

from dataclasses import dataclass

from webcapture.settings.knob import knob


@dataclass(frozen=True, slots=True)
class CellSettings:
    """Averaging a strip's image."""

    cell_mm: float = knob(0.35, "mm", "Spots are 3 mm and more; finer cells only cost time.")
    sheet_mm: float = knob(40.0, "mm", "From this width on the cells are larger, lest a sheet take seconds.")
    sheet_cell_mm: float = knob(0.4, "mm", "On a sheet spots are rounder and larger than bands on a strip are high.")
    bin_mm: float = knob(
        1.5,
        "mm",
        "Least width over which a line is averaged before it is traced: a pencil line slants little within it.",
    )
    most_bins: int = knob(28, "", "Ample for a slant and a bow on a wide sheet.")
    edge_mm: float = knob(0.8, "mm", "Left out along the long edges, where blur mixes paper and card.")
    edge_share: float = knob(
        0.25,
        "width",
        "But never more than this of either side: the edges of a strip that the photo cuts off run anywhere.",
    )
    stroke_mm: float = knob(1.0, "mm", "A pencil stroke is thinner than this, a spot nowhere.")
    opening_mm: float = knob(
        1.1, "mm", "Three cells of either size: what is thinner is taken away to tell it from spots."
    )
    stroke_sd: float = knob(5.0, "sd", "How far a stroke stands out of the paper's grain.")
    stroke_least: float = knob(
        0.02, "absorbance", "No pencil stroke is paler; in a blurred photo, without noise, the rims of spots are."
    )
    stroke_share: float = knob(
        0.45, "", "Share of its darkness a stroke loses when thin things are taken away; a small spot loses a quarter."
    )
    patch_mm: float = knob(
        1.5, "mm", "A dark square of this side is in no letter, whose strokes meet in less, and in every spot."
    )
    patch_share: float = knob(
        0.55, "", "Share of what is dark that such squares cover: of a small steep spot three fifths, of a letter half."
    )
    largest_mm: float = knob(15.0, "mm", "A spot's width and height; what is larger is a shade, or hangs on a line.")
    small_mm: tuple[float, float] = knob(
        (1.2, 6.0),
        "mm",
        "A spot that may pass for strokes is so large, as far as it is clearly dark; larger ones lose little.",
    )
    small_fill: float = knob(0.55, "", "Share of its box that it fills: of a disc 0.79, of letters half.")
    small_steep: float = knob(
        1.0,
        "of the height per mm",
        "And so steep at most: ink and pencil are steeper, but for the most blurred photos.",
    )
    patch_grey: float = knob(
        0.75, "", "Palest over darkest channel: pencil has 0.9, red and blue dyes a fifth, brown a half."
    )
    stroke_smooth_mm: float = knob(0.15, "mm", "Half a stroke: the photo's noise is smoothed, the stroke is not.")
    hole_like: float = knob(0.12, "log10", "Through a punched hole the card's tint shows: in each channel within this.")
    hole_mm: tuple[float, float] = knob((2.5, 9.0), "mm", "Punches make holes of 3 to 8 mm.")
    hole_round: float = knob(1.5, "", "Longer side over shorter: beyond, it is none.")
    hole_rim_mm: float = knob(1.5, "mm", "Around a hole, so far out, lies the blur of its rim.")
    hole_flat: float = knob(
        0.55, "", "Share of what is a quarter as dark that is three quarters as dark; of a spot a fifth."
    )
    hole_sharp: float = knob(
        1.4,
        "",
        "The rim of a hole is as wide as the paper's edge in the photo, give or take; that of black spots twice and more.",
    )
    hole_sharp_mm: float = knob(
        0.3,
        "mm",
        "However sharp the photo: a hole's rim in cells comes to 0.23 to 0.28 mm, a small steep spot's to 0.34.",
    )
    hole_deep: float = knob(
        0.2, "", "Share of the way from paper to tint by which its bottom may be darker, for the paper's own shadow."
    )
    hole_edge: float = knob(
        0.9, "", "From the tint's level, 0, to the paper's, 1: darker than this around it is the hole's."
    )
