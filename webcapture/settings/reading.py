"""Settings of reading a strip: which line is the origin, and which the front."""

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
    marks_even: float = knob(
        0.2, "", "And on the paler side by so much of what it does on the other: a spot that ran up to a front is not."
    )
    marks_smooth: float = knob(1.0, "cell", "Half a tick's width with its blur.")
    whole_coverage: float = knob(0.97, "", "Seen in every bin, from edge to edge: words end before that.")
    under_mm: float = knob(12.0, "mm", "So far under the origin line its lane is labelled.")
    under_paler: float = knob(0.6, "", "The bars of a word together are paler than this share of a ruled line.")
    under_coverage: float = knob(0.9, "", "And a word hardly reaches from edge to edge.")
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
    erased: float = knob(
        0.35,
        "",
        "Of a line that was rubbed out a tenth to a quarter of its darkness is left; light and firm strokes of one pencil differ less.",
    )
    shadow_mm: float = knob(
        8.0, "mm", "So far around a step the card is asked whether a shadow ends there, however slanted."
    )
    shadow_share: float = knob(
        0.5, "", "Change of the light there, over the step's height, from which on it may be the shadow's."
    )
    anew_mm: float = knob(
        12.0, "mm", "Nobody draws a line anew further off; another line, as a label's or the front's, is as far away."
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
    nearly_whole: tuple[float, float] = knob(
        (0.75, 0.07), "share of the width, mm", "Over so much of it, it may waver by so much, crosses or not."
    )
    skip_mm: float = knob(6.0, "mm", "Gaps no wider than this are a skipping pencil's: the line runs on.")
    lettered_spread_mm: float = knob(0.1, "mm", "What wavers less is no row of letters.")
    lettered_mm: tuple[float, float] = knob((0.8, 2.0), "mm", "Above or below the line, between these, stand letters.")
    lettered_share: float = knob(
        0.8,
        "",
        "Strokes stand on more of a row of letters, or hang on it: of 97 in 100 origin lines on less than 0.57, crosses and all.",
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
    words_coverage: float = knob(0.9, "", "Hardly a word is longer than this share of the width.")
    words_share: float = knob(
        0.55, "", "And strokes stand on more of it, or hang on it: of fronts drawn over a part of the width on 0.33."
    )
    word_above_mm: tuple[float, float, float] = knob(
        (1.0, 1.5, 7.0),
        "mm",
        "Above a line under a word, between the last two, stand its letters; what is nearer than the first is the line's own.",
    )
    word_share: float = knob(0.6, "", "Over more of such a line than this: between letters and words is paper.")
    word_foot: float = knob(0.1, "", "Share of the width of a word over which its letters reach down to its foot.")
    underline_mm: float = knob(
        2.8, "mm", "A line is drawn nearer to the word that it underlines; a front's label stands further off."
    )
    amid_mm: tuple[float, float] = knob(
        (-3.0, 0.5), "mm", "A faint line with strokes between these beside it lies amid writing, or at its upper end."
    )
    amid_share: float = knob(0.4, "", "Over more of the width than this.")
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
        3.7,
        "sd",
        "A wet edge or stain less clear than this in the mean of all bins is hardly seen, and may be none: of 140 strips without a front one showed an edge of 3.6, of 28 wet fronts five are paler.",
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
    u_outer: float = knob(
        0.58,
        "",
        "Share of a stain's outer half by which its place is uncertain: the solvent stopped anywhere between its darkest place and where it has faded by half, and its shape tells little more (1/√3 of it, a rectangle's from its end).",
    )
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
    ink_steep: float = knob(
        1.1,
        "of the height per mm",
        "Ink ends more sharply, blur included; of spots one in a hundred rises by more than 0.9.",
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
    joined_lanes: int = knob(2, "", "On a sheet of so many lanes paper is left between what was applied to each.")
    joined: float = knob(
        0.97,
        "",
        "Share of a sheet's width that a band of ink covers; of four hands' 290 sheets without one, one with applied streaks was so covered, the next to 0.91.",
    )
    joined_share: float = knob(0.15, "", "So pale, beside its dark places, may be what joins them.")
    joined_least: float = knob(0.04, "absorbance", "And so pale, whatever they are.")
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
        1.6,
        "mm",
        "So near to a front's stain, what is densest is the fringe of the part of the stain that was filled in.",
    )
    rest_alike: float = knob(
        0.2, "", "And of its colour: each channel's share of the darkest differs by less from the stain's own."
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
class SeamSettings:
    """A line along the whole strip, as between two papers side by side."""

    least_mm: float = knob(24.0, "mm", "Two of the narrowest strips are as wide.")
    edge_mm: float = knob(2.0, "mm", "Nearer to the long edges lies their own shade.")
    stretches: int = knob(6, "", "The length in so many parts: lanes and lines lie in some of them only.")
    thin_mm: float = knob(1.6, "mm", "A gap or a pencil line with its blur is no wider; a streak is.")
    least: float = knob(
        0.008, "absorbance", "By so much it is darker than beside it; paper's own grain reaches half of that."
    )
