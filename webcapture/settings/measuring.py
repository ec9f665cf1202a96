"""From a strip to Rf: field, lines, paper, lanes, spots, reading, flatness."""

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
class TraceSettings:
    """Tracing a line across the strip."""

    most_lines: int = knob(6, "", "Origin, front, bands of colour, a crease, and one to spare.")
    most_faint: int = knob(9, "", "Faint lines compete with the edges of every spot.")
    cap: float = knob(8.0, "sd", "A dark spot must not outweigh a thin line that runs right across.")
    floor: float = knob(-1.0, "sd", "Where there is no line, a path loses a little.")
    slope_most: float = knob(
        0.25, "", "Steepest line, rise over run: 14°, beyond any drawn origin and most slanted fronts."
    )
    turn_cost: float = knob(0.15, "sd/row", "A path that wriggles must gain by it.")
    least_clear: float = knob(
        2.0,
        "sd",
        "Mean response of a path that may be a drawn line: a quarter of the width at full clearness; chance paths through grain reach 1.8.",
    )
    least_faint: float = knob(1.4, "sd", "The same of a wet edge or a stain, whose length proves it.")
    straight_mm: float = knob(0.06, "mm", "Scatter about a straight line that leaves nothing for a bow to explain.")
    apart: float = knob(4.0, "width", "A second line nearer than this is the same line.")
    seen_least: float = knob(2.5, "sd", "Response at which one bin counts as showing the line.")
    bow_bins: int = knob(8, "", "A curve through fewer places would follow their scatter.")
    bow_coverage: float = knob(0.6, "", "A bow is believed only of a line seen over most of the width.")
    bow_gain: float = knob(0.5, "", "And only where it leaves less than this share of the straight line's spread.")
    strong_share: float = knob(0.3, "", "Share of a line's own response below which a bin shows only noise.")
    on_line_mm: float = knob(
        0.25, "mm", "Bins this near to the fitted line lie on it; a hand-drawn line wavers so much."
    )


@dataclass(frozen=True, slots=True)
class LandmarkSettings:
    """Origin line and solvent front."""

    line_mm: float = knob(0.4, "mm", "Half the width over which a pencil line responds, blur included.")
    wet_mm: float = knob(1.2, "mm", "The same for a wet edge: half the span of the paper compared.")
    stain_mm: float = knob(0.8, "mm", "The same for a stain.")
    core_mm: float = knob(0.2, "mm", "Half a pencil line's width, where it is darkest.")
    flank_mm: tuple[float, float] = knob((0.6, 1.5), "mm", "Paper beside a pencil line, clear of its blur.")
    thin: float = knob(
        0.65,
        "",
        "Share of a line's darkness gone at its flanks: a blurred pencil line loses nine tenths, a 2 mm band two fifths.",
    )
    step_near_mm: float = knob(0.4, "mm", "The edge of the wet zone is this soft.")
    step_far_mm: float = knob(2.5, "mm", "Paper compared on both sides of a wet edge.")
    step_trend_mm: float = knob(
        4.5, "mm", "How far off the same difference is taken, so that an even gradient gives nothing."
    )
    stain_core_mm: float = knob(0.6, "mm", "Half the width of the line that a solvent leaves where it dries.")
    stain_flank_mm: tuple[float, float] = knob((1.8, 3.5), "mm", "Paper beside such a line.")
    end_mm: float = knob(3.0, "mm", "Nothing is a line nearer to the paper's end.")
    origin_coverage: float = knob(
        0.5, "", "Share of the width over which an origin line is seen; spots hide some of it."
    )
    front_coverage: float = knob(0.25, "", "A front is often marked with a short stroke.")
    wet_coverage: float = knob(0.7, "", "A wet edge runs right across the paper.")
    wet_grey: float = knob(0.55, "", "Wet paper is darker in all channels alike, but its step is faint and noisy.")
    neutral: float = knob(0.72, "", "Pencil is grey: its weakest channel is at least this share of its strongest.")
    origin_range: float = knob(0.45, "", "The origin lies in this share of the strip's length at its end.")
    least_run_mm: float = knob(20.0, "mm", "A front nearer to the origin is not one that anybody measures.")
    least_step: float = knob(0.009, "absorbance", "Less than this is paper's own unevenness.")
    lasting_share: tuple[float, float] = knob(
        (0.5, 2.0),
        "",
        "Share of the step that lasts, least and most: it may dry out towards the origin or have grown slowly; a band of colour ends.",
    )
    stain_grey: float = knob(
        0.62,
        "",
        "A stain has a colour: its weakest channel is below this share of its strongest. Creases and shadows are grey.",
    )
    faint_seen: float = knob(
        1.2, "sd", "Response at which one bin shows a faint line; it is its length that proves it."
    )
    faint_spread_mm: float = knob(0.5, "mm", "Scatter of a faint line's places about its curve; more is chance.")
    stain_spread_mm: float = knob(
        0.25, "mm", "Scatter of a stain's places about its curve; a row of letters scatters more."
    )
    stain_coverage: float = knob(0.9, "", "So does a stain.")
    stain_width_mm: float = knob(2.4, "mm", "Full width at half height of a stain; bands of colour are wider.")
    shade_share: float = knob(0.5, "", "An edge is a shadow's where the tint beside shows this share of it.")
    most_lasting_mm: float = knob(
        14.0, "mm", "Below a wet edge the paper stays darker at least so far; a band of colour ends sooner."
    )


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
class ReadingSettings:
    """Which line is the origin, which the front, and which way up the strip lies: evidence in natural logarithms of odds."""

    arrow: float = knob(3.0, "ln odds", "The card shows where the origin end goes: 19 of 20 strips lie right.")
    marks: float = knob(4.0, "ln odds", "Crosses or ticks stand on the origin line.")
    line: float = knob(3.0, "ln odds", "A full pencil line near the end is where an origin is.")
    plain: float = knob(
        1.0, "ln odds", "Less than this besides the arrow, and nothing on the strip shows which way up it lies."
    )
    partial: float = knob(1.5, "ln odds", "A line over part of the width is a front; origin lines run across.")
    widths: float = knob(
        3.0,
        "ln odds",
        "For each unit of growth of ln(width) over the run: spots widen by about 0.6 on their way, but dyes and loads differ as much.",
    )
    tail: float = knob(1.5, "ln odds", "A tail points to the origin.")
    usual_front: tuple[float, float] = knob(
        (0.6, 0.9),
        "strip length",
        "Where a front is marked: two thirds to nine tenths of the paper (rules of thumb; common practice, no source).",
    )
    places: float = knob(1.2, "ln odds", "Two lines of which only one way up puts the front there.")
    writing: float = knob(1.0, "ln odds", "A label stands under the origin more often than beyond the front.")
    writing_mm2: float = knob(3.0, "mm²", "Less pencil than this is no label.")
    most_spots: float = knob(3.0, "ln odds", "All that spots say together is worth no more: they share their causes.")
    drawn_spread_mm: float = knob(0.2, "mm", "A line drawn by hand wavers less; a row of letters more.")
    drawn_coverage: float = knob(0.85, "", "What runs right across was drawn as a line.")
    drawn_share: float = knob(
        0.2,
        "",
        "A front drawn over part of the width is at least this share as dark as the origin line: one pencil drew both.",
    )
    drawn_least: float = knob(0.035, "absorbance", "And no drawn line is paler, even blurred.")
    drawn_clear: float = knob(
        0.6, "", "Of several drawn lines the uppermost counts, if it is at least this clear relative to the clearest."
    )
    clean_spread_mm: float = knob(
        0.05, "mm", "A line so straight over most of the width was drawn, whatever crosses it."
    )
    clean_coverage: float = knob(0.6, "", "Most of the width.")
    letter_mm: float = knob(6.5, "mm", "A stroke without a gap for so long is no letter's bar.")
    letter_bins: int = knob(
        4, "", "And seen in at least so many bins, since on a wide sheet one bin is as wide as a letter."
    )
    front_share: float = knob(
        0.6, "", "Of several faint fronts the uppermost counts, if it is at least this clear relative to the clearest."
    )
    stems: float = knob(
        0.05, "", "Share of the paper just beside a short line that lies under strokes; more are the stems of letters."
    )
    local_mm: float = knob(3.0, "mm", "Reach within which a line's own places count in a lane: a spot's width.")
    u_pencil_mm: float = knob(0.015, "mm", "Where within a pencil line its middle lies.")
    u_wet_mm: float = knob(
        0.65, "mm", "Softness of a wet edge: its place is uncertain by this over its clearness in standard deviations."
    )
    u_stain_mm: float = knob(0.4, "mm", "The same for a stain, in whose width the front stopped.")
    slant: float = knob(
        1.0, "mm", "Difference of the front's height across the strip, or between lanes, that people should know of."
    )
    colour_sd: float = knob(8.0, "sd", "Chroma beyond a line that counts as colour, over that of the paper there.")
    colour_least: float = knob(0.025, "absorbance", "And at least so much.")
    colour_gap_mm: float = knob(5.0, "mm", "Nearer to the line, colour is that of a spot which ran with the front.")
    colour_mm2: float = knob(8.0, "mm²", "Less is no spot.")
    front_own_mm: float = knob(
        2.5, "mm", "So near to the front, a faint line right across the strip is the front's own."
    )
    front_own_absorbance: float = knob(0.12, "absorbance", "And it is faint.")
    front_own_grey: float = knob(0.8, "", "Or it is grey, as wet paper is: weakest channel over strongest.")
    front_own_width_mm: float = knob(5.0, "mm", "And narrow, at its base.")


@dataclass(frozen=True, slots=True)
class FlatnessSettings:
    """How far a strip stands off the card."""

    prior_mm: float = knob(0.5, "mm", "Standard deviation of the rise of a strip that somebody laid flat.")
    prior_skew_mm: float = knob(0.2, "mm", "The same for an uneven rise.")
    cut_mm: float = knob(0.06, "mm", "How far a cut edge is from straight.")
    u_edge_least_mm: float = knob(0.03, "mm", "Edge points are not independent: fibres, blur.")
    flag_mm: float = knob(1.0, "mm", "A rise that shifts a spot by 0.005 in Rf at a tilt of 30°.")
