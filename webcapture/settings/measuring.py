"""From a strip to Rf: cells, field, paper, lanes, spots, flatness."""

from __future__ import annotations

from dataclasses import dataclass

from webcapture.settings.knob import knob


@dataclass(frozen=True, slots=True)
class CellSettings:
    """Averaging a strip's image."""

    cell_mm: float = knob(0.3, "mm", "Spots are 3 mm and more; finer cells only cost time.")
    sheet_mm: float = knob(40.0, "mm", "From this width on the cells are larger, lest a sheet take seconds.")
    sheet_cell_mm: float = knob(0.4, "mm", "On a sheet spots are rounder and larger than bands on a strip are high.")
    bin_mm: float = knob(
        1.5,
        "mm",
        "Least width over which a line is averaged before it is traced: a pencil line slants little within it.",
    )
    most_bins: int = knob(28, "", "Ample for a slant and a bow on a wide sheet.")
    edge_mm: float = knob(0.8, "mm", "Left out along the long edges, where blur mixes paper and card.")
    stroke_mm: float = knob(1.0, "mm", "A pencil stroke is thinner than this, a spot nowhere.")
    stroke_sd: float = knob(5.0, "sd", "How far a stroke stands out of the paper's grain.")
    stroke_least: float = knob(
        0.02, "absorbance", "No pencil stroke is paler; in a blurred photo, without noise, the rims of spots are."
    )
    stroke_share: float = knob(
        0.45, "", "Share of its darkness a stroke loses when thin things are taken away; a small spot loses a quarter."
    )
    stroke_smooth_mm: float = knob(0.15, "mm", "Half a stroke: the photo's noise is smoothed, the stroke is not.")


@dataclass(frozen=True, slots=True)
class FieldSettings:
    """The strip as a field of absorbance."""

    wide_mm: float = knob(40.0, "mm", "Across more than this, the card beside does not tell the light in the middle.")
    slow_mm: float = knob(20.0, "mm", "On such a sheet only changes slower than this are taken from the card.")
    calm_mm: float = knob(3.0, "mm", "Reach over which the print's grain beside a narrow strip is averaged.")
    grain_sd: float = knob(4.0, "sd", "What stands out of that grain by more is a shadow's edge.")
    uneven: float = knob(0.05, "log10", "Difference of the light at the two sides that some shadow must have made.")
    edge_least: float = knob(
        0.03, "log10", "Change of light along the card beside a strip that may be a shadow's edge."
    )
    edge_reach_mm: float = knob(
        40.0, "mm", "How far along the strip an edge may run while it crosses: 60° on a wide strip."
    )
    edge_gain: float = knob(
        0.5,
        "",
        "A slanting edge is believed where following it leaves less than this share of the difference between the sides.",
    )
    paper_percentile: float = knob(75.0, "%", "Of the strip's brightness: bare paper, beyond its own grain.")


@dataclass(frozen=True, slots=True)
class PaperSettings:
    """Telling paper from what is on it."""

    edge_mm: float = knob(0.8, "mm", "Left out along all edges, where blur mixes paper and card.")
    line_half_mm: float = knob(
        0.75, "mm", "Half the width of a pencil line with its blur, filled in where it crosses a spot."
    )
    fill_mm: float = knob(0.8, "mm", "Reach from which a stroke's cells are filled in.")
    shade_block_mm: float = knob(2.0, "mm", "A shadow's edge is as soft.")
    shade_mm: float = knob(22.0, "mm", "More than twice a spot's width, so that the median passes over spots.")
    shade_spot: float = knob(
        0.12,
        "absorbance",
        "A grey place so much darker than its neighbourhood is a spot, not a shadow within a shadow.",
    )
    level_mm: float = knob(
        5.0, "mm", "The paper's level is followed over this reach: longer than grain, shorter than shadows."
    )
    block_mm: float = knob(1.2, "mm", "Side of the blocks in which the paper's level is followed.")
    stained_sd: float = knob(3.0, "sd", "A square millimetre this far off the level is not bare paper.")
    pale_percentile: float = knob(30.0, "%", "Paler part of a row, where a spot fills most of a narrow strip.")
    first_window_mm: float = knob(
        41.0, "mm", "Window of the first guess of the level along the strip: longer than twice any spot."
    )


@dataclass(frozen=True, slots=True)
class LaneSettings:
    """Finding lanes."""

    sheet_mm: float = knob(
        40.0,
        "mm",
        "A narrower strip has one lane: two would run into each other (spots at least 3 cm apart: BP 2010, App. III E; schools use 1.5 cm).",
    )
    below_mm: float = knob(3.0, "mm", "Colour so far below the origin line still counts: a spot left on it.")
    front_mm: float = knob(2.0, "mm", "Colour nearer to the front may be the front's own.")
    colour_sd: float = knob(2.5, "sd", "Smoothed absorbance beyond which a cell counts as colour.")
    colour_cap: float = knob(12.0, "sd", "One dark spot must not hide a pale lane.")
    column_smooth_mm: float = knob(1.5, "mm", "Columns of colour are smoothed so far: less than a spot's width.")
    column_least: float = knob(3.0, "sd mm", "Least colour of a column: one faint spot.")
    column_share: float = knob(0.04, "", "Of the strongest column: less is its fringe.")
    rim_mm: float = knob(
        3.0,
        "mm",
        "Nobody applies a sample so near to the paper's edge; colour there belongs to a neighbour or to the light.",
    )
    apart_mm: float = knob(9.0, "mm", "Lanes nearer than this run into each other.")
    reach_mm: float = knob(15.0, "mm", "Half the width of a lane without neighbours.")
    axis_sd: float = knob(100.0, "sd", "Clearer spots count no more for where a lane's axis runs.")
    mark_mm: float = knob(1.6, "mm", "Up to here above and below the origin line, a cross, tick or dot adds to it.")
    mark_smooth_mm: float = knob(0.5, "mm", "Width of a pencil tick with its blur.")
    mark_sd: float = knob(6.0, "sd", "How far a mark stands out of the paper along the line.")


@dataclass(frozen=True, slots=True)
class SpotSettings:
    """Finding and measuring spots."""

    smooth_mm: float = knob(
        0.5, "mm", "Profiles are smoothed so far before peaks are looked for: less than any spot's width."
    )
    window_mm: float = knob(5.0, "mm", "Width of the windows across a lane that spots are looked for in: about a spot.")
    noise_least: float = knob(0.0005, "absorbance", "Noise is never taken for less: a photo's own steps of brightness.")
    touching_sd: float = knob(4.0, "sd", "A valley above this is not bare paper: the spots beside it touch.")
    region_sd: float = knob(2.0, "sd", "A spot's region ends where it no longer stands out.")
    channel_sd: float = knob(8.0, "sd", "A channel that shows a spot less clearly says nothing of its place.")
    better_share: float = knob(0.6, "", "Two peaks must leave less than this share of one's misfit.")
    meaning: float = knob(
        0.0015,
        "width",
        "Standard uncertainty of a clear round spot's centre: paper is not even, and darkens less the more it holds. This and the next two from the scatter on photos with known truth.",
    )
    skewed: float = knob(
        0.4,
        "",
        "The same for each millimetre between centre and densest place, up to 0.08 of the width: the foot of a skewed spot is lost in the paper.",
    )
    level_share: float = knob(
        0.5, "width", "The same over the signal-to-noise ratio: the paper's level decides over a faint spot's foot."
    )
    shared_share: float = knob(
        0.15, "sd of the spot", "Uncertainty of an overlapped centre that the assumed shape brings in, at no distance."
    )
    least_sd: float = knob(9.5, "sd", "Height of a spot over the noise of this very paper's smoothed profile.")
    least_absorbance: float = knob(0.015, "absorbance", "Less is paper's own unevenness, whatever its noise.")
    bare_mm: float = knob(
        8.0,
        "mm",
        "Bare paper along the lane from which its noise is taken; with less, from the quietest quarter of all.",
    )
    least_width_mm: float = knob(
        1.3, "mm", "Narrower at its base is a speck or what is left of a stroke; the smallest spot is 2 mm."
    )
    most_width_mm: float = knob(45.0, "mm", "Wider at the base is a cloud: a finger mark or the paper's own colour.")
    valley_share: float = knob(0.93, "", "Between two spots the profile falls below this share of the smaller.")
    apart_share: float = knob(0.05, "", "Where it falls below this share, the two are measured each for itself.")
    edge_share: float = knob(0.02, "", "A spot ends where its profile falls to this share of its height.")
    edge_sd: float = knob(1.0, "sd", "And not below the noise.")
    grey: float = knob(
        0.62,
        "",
        "A stain whose weakest channel has more than this share of its strongest is grey, as shadows, finger marks and pencil are.",
    )
    grey_least: float = knob(0.05, "absorbance", "A grey spot paler than this cannot be told from a shadow.")
    compact_mm: float = knob(10.0, "mm", "A round spot is no wider at its base.")
    compact_fill: float = knob(0.7, "", "And leaves paper beside it: it fills less of the lane's width.")
    compact_least: float = knob(0.022, "absorbance", "Such a grey spot is believed from here on.")
    grey_broad: tuple[float, float] = knob(
        (0.12, 12.0), "absorbance, mm", "Nor can a grey one that is paler than the first and broader than the second."
    )
    cloud: tuple[float, float] = knob(
        (0.03, 14.0),
        "absorbance, mm",
        "Whatever its colour, what is paler than the first and broader than the second is a cloud: tinted shadow, a finger's mark.",
    )
    mark_absorbance: float = knob(
        0.2, "absorbance", "A grey stain on the origin line paler than this is what is left of the pencil marks."
    )
    mark_colour: float = knob(0.05, "absorbance", "Paler than this, its colour is the photo's compression.")
    mark_width_mm: float = knob(10.0, "mm", "And so narrow at its base.")
    faint_sd: float = knob(12.0, "sd", "Weaker spots are flagged faint.")
    faint_absorbance: float = knob(0.035, "absorbance", "The same, for a paper without noise: hardly seen by eye.")
    tailing: float = knob(
        2.0, "", "Half-width at a tenth of the height, origin side over front side, beyond which a spot tails."
    )
    merged_resolution: float = knob(
        0.8, "", "Resolution below which a neighbour's share in a spot is a guess; 1.5 is full separation."
    )
    split_share: float = knob(0.25, "width", "Channels whose centres differ by more belong to two dyes.")
    origin_mm: float = knob(1.6, "mm", "A spot whose centre lies this near to the origin line did not move.")
    near_front: float = knob(0.95, "Rf", "Beyond, a spot ran with the front.")


@dataclass(frozen=True, slots=True)
class FlatnessSettings:
    """How far a strip stands off the card."""

    prior_mm: float = knob(0.5, "mm", "Standard deviation of the rise of a strip that somebody laid flat.")
    prior_skew_mm: float = knob(0.2, "mm", "The same for an uneven rise.")
    cut_mm: float = knob(0.06, "mm", "How far a cut edge is from straight.")
    u_edge_least_mm: float = knob(0.03, "mm", "Edge points are not independent: fibres, blur.")
    flag_mm: float = knob(1.0, "mm", "A rise that shifts a spot by 0.005 in Rf at a tilt of 30°.")
