"""Settings of reading a strip: which line is the origin, which the front, and which way up the strip lies."""

from __future__ import annotations

from dataclasses import dataclass

from webcapture.settings.knob import knob


@dataclass(frozen=True, slots=True)
class ReadingSettings:
    """Which line is the origin and which the front."""

    usual_origin_mm: float = knob(
        40.0, "mm", "Origins are drawn 1 to 4 cm from the paper's end (rules of thumb; common practice, no source)."
    )
    high_origin: float = knob(
        0.05,
        "/mm",
        "What each millimetre beyond takes from a line as the origin; a clear straight one is worth 6 to 8.",
    )
    marks_most: float = knob(8.0, "sd", "Among lines that may be the origin, clearer marks say no more.")
    marks_sd: float = knob(4.0, "sd", "Less is the paper's grain.")
    marks_least: float = knob(0.001, "absorbance", "And grain is never taken for less than this.")
    marks_mm: tuple[float, float] = knob(
        (0.9, 2.1), "mm", "Marks are looked for between these, on both sides of a line: clear of its blur."
    )
    dots_mm: tuple[float, float] = knob(
        (0.5, 1.0), "mm", "And dots between these: thicker than the line, and no further from it."
    )
    dots_sd: float = knob(8.0, "sd", "So near to the line its own wavering shows, and less is none.")
    marks_inset_mm: float = knob(0.5, "mm", "Left out at both ends of a line, where it fades.")
    marks_columns: int = knob(12, "cell", "A line seen over less cannot show what stands out along it.")
    marks_wide: int = knob(8, "cell", "A pencil stroke with its blur is narrower than this.")
    marks_thin: float = knob(0.5, "", "And most of its darkness is; of a spot's, less than a third.")
    marks_grey: float = knob(0.5, "", "Its palest channel stands out by at least this share of the darkest.")
    marks_smooth: float = knob(1.0, "cell", "Half a tick's width with its blur.")
    whole_coverage: float = knob(0.97, "", "Seen in every bin, from edge to edge: words end before that.")
    wavering_mm: tuple[float, float] = knob(
        (0.45, 0.25),
        "mm",
        "Scatter of a line drawn freehand, in haste, on wet paper: without, and with what may be a letter's stems.",
    )
    marks_tell: float = knob(
        3.0, "sd", "Of two lines, the one whose marks stand out by so much more is the origin beyond doubt."
    )
    drawn_spread_mm: float = knob(0.2, "mm", "A line drawn by hand wavers less; a row of letters more.")
    straight_mm: float = knob(
        0.1,
        "mm",
        "What wavers less is straight; and of lines that may be the origin, one that wavers so much counts 1/e of a straight one.",
    )
    drawn_coverage: float = knob(0.85, "", "What runs right across was drawn as a line.")
    staple_slope: float = knob(0.12, "", "A short line that leans more was not drawn at a front: seven degrees.")
    staple_steep: float = knob(0.18, "", "And no line that leans more than this, ten degrees, over whatever width.")
    staple_end_mm: float = knob(6.0, "mm", "Nor was a short line as near to the paper's end as this.")
    shown_coverage: float = knob(
        0.9, "", "A front that the paper itself shows over so much of the width counts before such a line."
    )
    staple_mm: float = knob(15.0, "mm", "Nearer to the paper's end a short line may be what held the paper.")
    drawn_share: float = knob(
        0.2,
        "",
        "A front drawn over part of the width is at least this share as dark as the origin line: one pencil drew both.",
    )
    drawn_least: float = knob(0.035, "absorbance", "And no drawn line is paler, even blurred.")
    drawn_alike: float = knob(
        0.6, "", "Unless it runs right across, and is at least this share as dark as the origin line."
    )
    inked_least: float = knob(
        0.12, "absorbance", "A front drawn in ink is darker than this; what a solvent sweeps along rarely is."
    )
    inked_thin: float = knob(
        0.85, "", "Share of its darkness that is gone at its flanks: of a band of a dye at most half."
    )
    drawn_clear: float = knob(
        0.6, "", "Of several drawn lines the uppermost counts, if it is at least this clear relative to the clearest."
    )
    unbroken: tuple[float, float, float] = knob(
        (6.8, 0.78, 0.6),
        "sd, share of the width, mm",
        "A line as clear as this in the mean of all bins, over so much of the width, was drawn, even if a hand wavered by so much.",
    )
    clean_spread_mm: float = knob(
        0.05, "mm", "A line so straight over most of the width was drawn, whatever crosses it."
    )
    clean_coverage: tuple[float, float] = knob(
        (0.5, 0.6), "", "Half of the width; with what may be a letter's stems, more."
    )
    letter_mm: float = knob(6.5, "mm", "A stroke without a gap for so long is no letter's bar.")
    word_mm: float = knob(
        30.0,
        "mm",
        "And one without a gap for so long is no row of letters, however it wavers: a hand's line over a part.",
    )
    letter_bins: int = knob(
        4, "", "And seen in at least so many bins, since on a wide sheet one bin is as wide as a letter."
    )
    word_above_mm: tuple[float, float] = knob(
        (1.5, 7.0), "mm", "Above a line under a word, between these, stand its letters."
    )
    word_share: float = knob(0.6, "", "Over more of such a line than this: between letters and words is paper.")
    stop_line_mm: float = knob(
        4.0, "mm", "A wet edge further below a drawn line than this: the solvent may have stopped short of it."
    )
    step_row_mm: float = knob(0.5, "mm", "Rows that tell whether a search for such an edge is worth while.")
    step_share: float = knob(0.3, "", "Of the width, the palest: spots leave so much of it free.")
    step_least: float = knob(0.7, "", "Share of the least step of a wet edge that the rows must show.")
    front_share: float = knob(
        0.6, "", "Of several faint fronts the uppermost counts, if it is at least this clear relative to the clearest."
    )
    faint_front_sd: float = knob(
        1.8, "sd", "A wet edge or stain less clear than this in the mean of all bins is hardly seen, and may be none."
    )
    faint_front: tuple[float, float] = knob(
        (0.02, 0.6),
        "absorbance, share of the width",
        "So is one that is paler than the first and seen over less than the second.",
    )
    pale_front: float = knob(
        0.3,
        "",
        "A drawn front is hardly ever so much paler than the origin line, drawn with the same pencil; a fold is.",
    )
    stain_place: float = knob(0.5, "strip length", "A stain further down is a band of colour, no front.")
    stems: float = knob(
        0.05, "", "Share of the paper just beside a short line that lies under strokes; more are the stems of letters."
    )
    stems_mm: tuple[float, float] = knob(
        (1.1, 2.6), "mm", "Above and below the line, between these, stems would stand."
    )
    stems_reach_mm: float = knob(1.0, "mm", "And so far beyond the line's ends.")
    stems_usual: float = knob(
        2.0, "", "Strokes so many times as dense as elsewhere on the strip are still the paper's own texture."
    )
    stems_outer: float = knob(
        0.25, "strip length", "Left out at both ends where that texture is judged: lines and writing are there."
    )
    local_mm: float = knob(3.0, "mm", "Reach within which a line's own places count in a lane: a spot's width.")
    local_hold: float = knob(
        0.5, "bin", "The fitted curve counts as much as so many bins there: where few are seen, it decides."
    )
    u_pencil_mm: float = knob(0.015, "mm", "Where within a pencil line its middle lies.")
    u_wet_mm: float = knob(
        0.65, "mm", "Softness of a wet edge: its place is uncertain by this over its clearness in standard deviations."
    )
    u_stain_mm: float = knob(0.55, "mm", "The same for a stain, in whose width the front stopped.")
    u_beyond: float = knob(
        3.0,
        "",
        "How many times its own uncertainty a front gains for each of its seen spans beyond them: a straight line through even points gains 3.5.",
    )
    bend_beyond: float = knob(
        0.025,
        "",
        "And how far, for each millimetre, a front leaves the line that it follows where it was seen: one bowed by 1 mm over a sheet leaves it by 0.04.",
    )
    slant: float = knob(
        1.0, "mm", "Difference of the front's height across the strip, or between lanes, that people should know of."
    )
    rim_mm: float = knob(
        1.5, "mm", "Left out along both long edges where colour and slant are judged: blur, and frayed paper."
    )
    colour_sd: float = knob(8.0, "sd", "Chroma beyond a line that counts as colour, over that of the paper there.")
    colour_least: float = knob(0.025, "absorbance", "And at least so much.")
    colour_gap_mm: float = knob(5.0, "mm", "Nearer to the line, colour is that of a spot which ran with the front.")
    colour_mm2: float = knob(8.0, "mm²", "Less is no spot.")
    spot_mm: float = knob(25.0, "mm", "A piece longer or broader than this is no spot but a stain or a tide mark.")
    colour_room: float = knob(2.0, "", "Paper free beyond the line must be so many times as much, or it shows nothing.")
    colour_smooth: int = knob(7, "cell", "Chroma is averaged over a square of so many cells: 2 mm, less than a spot.")
    colour_stroke: int = knob(5, "cell", "Around pencil, a square of so many is left out: its blur may have a colour.")
    ink_share: float = knob(
        0.42,
        "",
        "Of a word's height less is left over a square of the smallest spot's size; of a spot of 5 mm at its base half.",
    )
    ink_smooth: tuple[int, int] = knob((3, 3), "cell", "Over a stroke's width, so that grain does not look like one.")
    one_front_mm: float = knob(
        2.5, "mm", "A wet edge and a stain so near to each other are one front; the box that finds a step is as long."
    )
    front_own_mm: float = knob(
        2.5, "mm", "So near to the front, a faint line right across the strip is the front's own."
    )
    front_own_absorbance: float = knob(0.12, "absorbance", "And it is faint.")
    strong_absorbance: float = knob(
        0.2, "absorbance", "Or up to this where the stain is narrow: much colour ran ahead of all spots."
    )
    strong_mm: float = knob(1.7, "mm", "Full width at half height of such a one; bands are wider, 2.4 mm as applied.")
    front_own_grey: float = knob(0.8, "", "Or it is grey, as wet paper is: weakest channel over strongest.")
    front_own_width_mm: float = knob(5.0, "mm", "And narrow, at its base.")
    front_own_coverage: float = knob(
        0.7, "", "And right across, over this share of the width, where the front was drawn."
    )
    wash_mm: tuple[float, float] = knob(
        (1.2, 4.5), "mm", "Paper above and below the origin line, clear of its blur, that is compared for ink that ran."
    )
    wash_least: float = knob(0.028, "absorbance", "By so much it is darker above where ink ran.")
    wash_share: float = knob(0.85, "", "Over so much of the width: a spot that stayed or tails covers less.")
    band_least: float = knob(0.05, "absorbance", "A paler band from edge to edge may be a front's or a tide's.")
    band_outer: float = knob(0.05, "", "Share of the width that may be paler: frayed edges.")
    band_even: float = knob(
        0.6, "", "The rest is at least this share as dark as its middle: a round spot falls off to its sides."
    )
    smear_mm: float = knob(6.0, "mm", "Ink that ran reaches further up from its line; a spot that stayed does not.")
    lent_share: float = knob(
        0.3,
        "",
        "Of a coloured line's own colour: a spot on it with less did not lend it that, but is what filling the line in has left.",
    )
    smear_fill: float = knob(0.7, "", "And covers more of the lane's width than spots do.")
    smear_least: float = knob(0.1, "absorbance", "And is darker than a finger's mark.")
    smear_grey: float = knob(
        0.8, "", "Black ink is as grey: weakest channel over strongest. Coloured ink shows by its colour."
    )
    rim_reach_mm: float = knob(1.5, "mm", "So near to the front, what dries at the wet paper's rim is darkest.")
    rim_absorbance: float = knob(0.075, "absorbance", "And no darker: a spot that ran with the front is.")
    rim_brown: float = knob(0.7, "", "Its weakest channel, red, is below this share of its strongest, blue.")
    rim_pale: float = knob(0.025, "absorbance", "Paler than this, and its colour is mostly chance.")
    rest_mm: float = knob(
        1.0,
        "mm",
        "So near to a front's stain, what is densest is the fringe of the part of the stain that was filled in.",
    )
    rest_share: float = knob(
        0.75, "", "And paler than this share of the stain: a fringe has less than half of it, a spot on top adds to it."
    )


@dataclass(frozen=True, slots=True)
class TickSettings:
    """Fronts marked by short strokes: at the paper's edge, over each lane, or by one alone."""

    rim_mm: float = knob(0.9, "mm", "Nearer to the edge the edge itself looks like a stroke.")
    long_mm: tuple[float, float] = knob((2.5, 16.0), "mm", "People mark a front by a stroke of 3 to 12 mm.")
    within_mm: float = knob(
        4.0, "mm", "Clear of the paper's edges a stroke over a lane is as long as its spots are wide."
    )
    single_mm: float = knob(6.0, "mm", "And one or two alone are longer than a letter's bar or a dash between words.")
    row_mm: float = knob(1.5, "mm", "Strokes in a row over the lanes differ in height by no more than a hand errs.")
    row_lean: float = knob(0.08, "", "Or by so much of their distance, as a front leans and bows.")
    word_mm: float = knob(8.0, "mm", "So near to a blank or a dash stands the word that it belongs to.")
    clear_mm: float = knob(4.0, "mm", "Beside one alone no colour lies so near: it would mark a spot's edge or middle.")
    clear_least: float = knob(
        0.05, "absorbance", "Less, over a square of three by three cells, is paper's grain or damp; any spot has more."
    )
    long_share: float = knob(0.55, "width", "A longer one is followed as a line.")
    high_mm: float = knob(1.3, "mm", "A pencil stroke with its blur is no higher; a letter is.")
    lean: float = knob(0.18, "", "And leans by no more than ten degrees.")
    alone_mm: float = knob(2.5, "mm", "Nothing else is written so near: letters stand beside each other.")
    beside_mm: float = knob(2.0, "mm", "Paper below and above, from which its darkness is taken.")
    grain_least: float = knob(0.002, "absorbance", "The paper's grain is never taken for less.")
    least_sd: float = knob(8.0, "sd", "Of the paper's grain, averaged along it: no tuft or crumb is as clear.")
    most: int = knob(2, "", "More on one side are a scale; more in a row stand over lanes.")
    facing_mm: float = knob(4.0, "mm", "Two from opposite edges at nearly the same height mark one front.")
    far_mm: float = knob(20.0, "mm", "Lanes so far from a front's mark have it by its supposed level, which is told.")


@dataclass(frozen=True, slots=True)
class BeneathSettings:
    """Spots beneath the origin line's pencil."""

    close_mm: tuple[float, float] = knob(
        (0.7, 1.15), "mm", "Between these, to both sides of the line, clear of its blur, a small spot still shows."
    )
    apart_mm: tuple[float, float] = knob(
        (1.0, 1.5), "mm", "Between these there is paper between strokes that meet on the line."
    )
    width_mm: tuple[float, float] = knob(
        (1.7, 6.0), "mm", "A stroke with its blur is narrower than the first, a shadow wider than the second."
    )
    close_least: float = knob(
        0.1,
        "absorbance",
        "So dark close to the line, over all of the lesser width: black spots of 3 mm reach 0.11, crosses of pencil 0.07.",
    )
    apart_least: float = knob(
        0.048, "absorbance", "And so dark further off: black spots of 3 mm reach 0.05, four strokes that meet 0.043."
    )
    between_least: float = knob(
        0.07,
        "absorbance",
        "And so dark there in its middle: between the arms of a slanting cross, however blurred, 0.06.",
    )
    seen: tuple[float, float] = knob(
        (0.8, 0.28),
        "absorbance",
        "As dark as this at its darkest, and as this over such a square, a place may be a spot's: crosses reach 1.0 and 0.21.",
    )
    seen_close: float = knob(
        0.07, "absorbance", "And so dark close to the line: thick slanting crosses, as dark over a square, reach 0.035."
    )
    around_mm: float = knob(0.9, "mm", "To both sides, such a spot goes on, though paler.")
    reach_mm: float = knob(2.2, "mm", "And so far above and below the line.")


@dataclass(frozen=True, slots=True)
class SeamSettings:
    """A line along the whole strip, as between two papers side by side."""

    least_mm: float = knob(24.0, "mm", "Two of the narrowest strips are as wide.")
    edge_mm: float = knob(2.0, "mm", "Nearer to the long edges lies their own shade.")
    stretches: int = knob(6, "", "The length in so many parts: lanes and lines lie in some of them only.")
    thin_mm: float = knob(1.6, "mm", "A gap or a pencil line with its blur is no wider; a streak is.")
    least: float = knob(
        0.008, "absorbance", "By so much it is darker than beside it; paper's own grain reaches half of that."
    )


@dataclass(frozen=True, slots=True)
class UprightSettings:
    """Which way up the strip lies: evidence in natural logarithms of odds."""

    arrow: float = knob(
        1.0,
        "ln odds",
        "The card shows where the origin end goes. More lie right than that says, but to hold an upright one costs a look, to believe a turned one a wrong result: with 2, of 104 plain strips turned over on purpose 12 went unnoticed, with 1 three; of 972 upright ones 3 and 4 were held.",
    )
    marks: float = knob(4.0, "ln odds", "Crosses or ticks stand on the origin line.")
    marks_clear: float = knob(6.0, "sd", "Marks this clear count fully; what is less clear counts in proportion.")
    line: float = knob(3.0, "ln odds", "A full pencil line near the end is where an origin is.")
    plain: float = knob(
        2.0,
        "ln odds",
        "Less than this by marks and spots, and only the arrow and habits tell which of two lines is the origin: spots alone have said nearly as much of a sheet that lay the other way.",
    )
    turned: float = knob(
        2.75,
        "ln odds",
        "Less than this for a strip upside down, and no Rf is given: few lie so, and among strips that say so little of it as many lie right.",
    )
    partial: float = knob(
        2.5,
        "ln odds",
        "A line over part of the width is a front; origin lines run across: of 1240 upright strips three seemed not to.",
    )
    partial_coverage: float = knob(0.8, "", "Share of the width below which a line counts as such.")
    growth: float = knob(
        0.6,
        "",
        "Growth of ln(width) for each unit of Rf: as the root of the way run, by which zones disperse, it would be 1 from Rf 0.3 to 0.8; less, because spots are not points when they start.",
    )
    growth_sd: float = knob(0.25, "", "Standard deviation of that growth from lane to lane.")
    growth_most: float = knob(
        1.0, "", "Widths that differ by more differ for another reason, and tell no more than this."
    )
    width_sd: float = knob(
        0.15, "ln", "Scatter of the widths about it: loads and dyes differ; more where three spots or more show more."
    )
    widths_sd: float = knob(20.0, "sd", "Clearer spots than this show their width and tail well enough to count.")
    tail: float = knob(1.5, "ln odds", "A tail points to the origin.")
    most_tail: float = knob(1.0, "ln", "One spot's tail counts no more than this, lest one smear decide.")
    usual_front: tuple[float, float] = knob(
        (0.55, 0.96),
        "strip length",
        "Where a front is marked: two thirds to nine tenths of the paper (rules of thumb; common practice, no source), and a little less or more.",
    )
    places: float = knob(1.2, "ln odds", "Two lines of which only one way up puts the front there.")
    height: float = knob(
        0.8,
        "ln odds",
        "Of two lines the one nearer to its end of the paper is rather the origin: drawn 1 to 4 cm up, most often low (common practice, no source). For each unit of ln(distance over distance).",
    )
    most_height: float = knob(1.0, "ln", "Distances that differ by more tell no more: some leave much paper free.")
    writing: float = knob(
        0.7, "ln odds", "A label stands under the origin twice as often as beyond the front, or people differ."
    )
    writing_mm2: float = knob(3.0, "mm²", "Less pencil than this is no label.")
    writing_edge_mm: float = knob(
        2.5, "mm", "So near to the paper's ends, and half as near to its sides, edges look like strokes."
    )
    writing_mm: float = knob(3.0, "mm", "Nearer to a line, pencil belongs to the line and its marks.")
    most_spots: float = knob(
        3.0,
        "ln odds",
        "All that spots say together is worth no more, for they share their causes: enough to outweigh the arrow, not to be believed against it alone.",
    )
    ruled: float = knob(
        1.0,
        "ln odds",
        "An origin is ruled beforehand; a front is marked by hand where the solvent stood. For each unit of ln(how much less straight).",
    )
    ruled_scatter_mm: float = knob(0.01, "mm", "A ruled line may scatter so much.")
    ruled_slant: float = knob(0.01, "", "And lean so far: half a degree.")
    ruled_bow_mm: float = knob(
        0.02, "mm", "And bow so far, as the standard deviation of what is left of a straight line."
    )
    most_ruled: float = knob(
        1.0,
        "ln odds",
        "All that two lines' straightness says is worth no more: some draw the origin by hand and rule the front.",
    )
