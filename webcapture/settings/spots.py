"""How spots are found, measured and kept, and which of them are two."""

from __future__ import annotations

from dataclasses import dataclass

from webcapture.settings.knob import knob


@dataclass(frozen=True, slots=True)
class SpotSettings:
    """Finding and measuring spots."""

    smooth_mm: float = knob(
        0.5, "mm", "Profiles are smoothed so far before peaks are looked for: less than any spot's width."
    )
    window_mm: float = knob(5.0, "mm", "Width of the windows across a lane that spots are looked for in: about a spot.")
    least_rows: int = knob(8, "cell", "A lane with fewer rows holds no spot with paper around it.")
    least_columns: int = knob(3, "cell", "Nor one with fewer columns.")
    bare_share: float = knob(0.5, "", "A row of a window shows bare paper if so much of it is bare.")
    end_mm: float = knob(2.0, "mm", "Without origin or front, spots are looked for up to here from the paper's end.")
    beyond_mm: float = knob(2.0, "mm", "So far beyond the front lies the rest of a spot that ran with it.")
    further_mm: float = knob(
        3.0, "mm", "A spot that reaches as far is measured on over as much more paper: half of what spots are wide."
    )
    cut_cells: float = knob(
        2.0, "cell", "A spot that ends so near to where nothing more is looked for was cut off there."
    )
    same_mm: float = knob(1.5, "mm", "With more paper beyond, a spot's densest place moves by less.")
    noise_least: float = knob(0.0005, "absorbance", "Noise is never taken for less: a photo's own steps of brightness.")
    blotch: float = knob(
        0.75,
        "",
        "What compression may leave of bare paper counts so much of its standard deviation: steps have no tails as noise has. Of 1600 pixels to a side, as messengers send, two hands' sheets had 78 false spots of 567 with 0, 12 of 501 with this.",
    )
    touching_sd: float = knob(4.0, "sd", "A valley above this is not bare paper: the spots beside it touch.")
    region_sd: float = knob(2.0, "sd", "A spot's region ends where it no longer stands out.")
    channel_sd: float = knob(8.0, "sd", "A channel that shows a spot less clearly says nothing of its place.")
    flank_mm: float = knob(2.0, "mm", "Bare paper at a spot's ends from which its own level is taken.")
    flank_rows: int = knob(3, "cell", "With fewer rows of it at either end, the lane's level stands.")
    across_smooth: float = knob(1.5, "cell", "A spot's profile across is smoothed so far before its sides are told.")
    across_share: float = knob(0.15, "", "Across the lane a spot ends where it falls to this share of its height.")
    core_share: float = knob(0.6, "", "Where it exceeds this share, its colour is taken.")
    veil: float = knob(3.0, "", "Across, what lies below one part in so many of the height may be a veil beside it.")
    bare_columns: float = knob(0.8, "", "A row shows the paper's noise if so much of it is bare.")
    bare_rows: int = knob(12, "cell", "With fewer such rows the noise is taken from the palest.")
    palest_share: float = knob(0.4, "", "And these are so many of all: more would take in the feet of spots.")
    top_smooth: float = knob(1.0, "cell", "Along the flow, a profile is smoothed so far before its summit is taken.")
    free_sd_mm: tuple[float, float] = knob(
        (0.5, 4.0), "mm", "Standard deviations, least and most, that an overlapped spot is first given."
    )
    shape_hold: float = knob(
        3.0,
        "",
        "Weight of what is assumed of overlapping spots' shapes against the misfit: that of about ten rows at one standard deviation.",
    )
    sd_hold: float = knob(0.2, "ln", "How well the free side of an overlapped spot tells its width.")
    sd_range: float = knob(1.6, "", "And its width is that within this factor.")
    tail_hold: float = knob(0.7, "sd of the spot", "A tail's length, as expected: a longer one must earn its place.")
    tail_start: float = knob(0.15, "sd of the spot", "Where the search for it begins.")
    tail_range: tuple[float, float] = knob(
        (0.02, 1.5), "sd of the spot", "The least is as good as none; with more the peak is a smear."
    )
    most_steps: int = knob(40, "", "A search that takes longer gains nothing that the uncertainties would show.")
    split_colour: float = knob(
        0.1, "", "By so much, as shares of their strongest channel, the colours of two dyes under one maximum differ."
    )
    split_unlike: float = knob(0.5, "", "By more than this they are no one dye's: its tail looks purer by up to .4.")
    better_share: tuple[float, float] = knob(
        (0.35, 0.6),
        "share of the misfit",
        "Two peaks must leave less than this of one's; the second where they are unlike.",
    )
    rim_level: float = knob(
        0.9,
        "",
        "Two maxima are a spot's rim where they, and the least between them over its breadth, are level to this share.",
    )
    rim_colour: float = knob(0.05, "", "And their colours, as shares of the strongest channel, differ by no more.")
    rim_sides: float = knob(
        0.8,
        "",
        "And between them its sides, a standard deviation away, have this share of its middle; a Gaussian has .6.",
    )
    meaning: float = knob(
        0.001,
        "width",
        "Standard uncertainty of a clear round spot's centre: paper is not even, and darkens less the more it holds. This, skewed, level_share, level_noise and light_share are from the scatter on photos of several hands, with known truth.",
    )
    fronting_chi2: float = knob(
        2.0, "", "Misfit of overlapped spots, noise being 1, beyond which tails towards the front are tried too."
    )
    fronting_tail: float = knob(
        0.1,
        "sd of the spot",
        "Where every one of them has a longer tail towards the origin, none points the other way.",
    )
    skewed: float = knob(
        0.33,
        "",
        "The same for each millimetre between centre and densest place: the foot of a skewed spot is lost in the paper. 0.27 suits our tails; another generator's, longer ones, were 1.2 times as far off.",
    )
    level_share: float = knob(
        0.17,
        "width",
        "Divided by the signal-to-noise ratio, the same for a faint spot: the paper's level decides over its foot.",
    )
    level_noise: float = knob(
        1.7,
        "noise of a row",
        "Of the paper's level at a spot's ends: neighbouring rows lie in the same clouds of the paper.",
    )
    light_share: float = knob(
        0.17, "width", "Of a centre where the light changes over the spot by as much as the spot darkens the paper."
    )
    skewed_most: float = knob(0.08, "width", "Distance of centre and densest place beyond which this grows no more.")
    level_sd: float = knob(5.0, "sd", "Signal-to-noise ratio, at least, that this is divided by.")
    ragged_parts: int = knob(6, "", "Slices across a spot whose centres show how ragged it is.")
    ragged: float = knob(
        0.5, "", "Parts of a ragged spot differ, and their mean is what is wanted: half of what independent parts give."
    )
    shared_share: float = knob(
        0.15, "sd of the spot", "Uncertainty of an overlapped centre that the assumed shape brings in, at no distance."
    )
    least_sd: float = knob(9.5, "sd", "Height of a spot over the noise of this very paper's smoothed profile.")
    least_absorbance: float = knob(0.015, "absorbance", "Less is paper's own unevenness, whatever its noise.")
    least_colour: float = knob(
        0.006,
        "absorbance",
        "Unless its channels differ by as much where it is looked for, averaged over a window: unevenness is grey.",
    )
    tinge_least: float = knob(
        0.04,
        "absorbance",
        "By so much the channels of a spot differ that its colour alone parts from the paper's unevenness.",
    )
    veil_share: float = knob(
        0.6, "", "Where its colour fills less than this share of what is darker, a spot lies in a shade."
    )
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
    tail_reach: tuple[tuple[float, float], ...] = knob(
        ((0.1, 1.5), (0.25, 6.0)),
        "share of the height, times",
        "Nor further beyond where it has fallen to that share than so many times the way there from half; exponential tails reach a fiftieth at 1 and 3.6 times.",
    )
    edge_sd: float = knob(0.5, "sd", "And not below the noise, as far as smoothing leaves it.")
    fitted_edge_sd: float = knob(
        2.2,
        "sd of the spot",
        "Where an overlapped spot's edge is drawn: a Gaussian has fallen to an eleventh of its height.",
    )
    prominence: float = knob(0.5, "", "Share of the least height by which a maximum rises above its sides.")
    grey: float = knob(
        0.62,
        "",
        "A stain whose weakest channel has more than this share of its strongest is grey, as shadows, finger marks and pencil are.",
    )
    grey_least: float = knob(0.05, "absorbance", "A grey spot paler than this cannot be told from a shadow.")
    written_mm: float = knob(
        2.0, "mm", "The smallest spot is as wide, before it has run; a pencil's stroke is half as wide, blur included."
    )
    written_share: float = knob(
        0.35,
        "",
        "Share of its height that a spot has left over such a square: at 4 mm at its base a third; letters have less.",
    )
    thin_share: float = knob(
        0.19, "", "The same along the run, where a small spot may stand, too: those that have hardly run keep a fifth."
    )
    soft: float = knob(
        1.0,
        "of the height per mm",
        "A spot is no steeper: of a standard deviation of 0.7 mm 0.87; pencil is, blur included.",
    )
    round_mm: float = knob(1.4, "mm", "A lesser square: a stroke with its blur is as wide, a letter is no square.")
    round_least_mm: float = knob(2.8, "mm", "A dot of pencil is narrower at its base than the least spot.")
    round_share: float = knob(
        0.38,
        "",
        "Of a round spot 3 mm wide so much is left over it, of a stroke a quarter, of two that cross a third.",
    )
    word_share: float = knob(
        0.25,
        "",
        "A lone spot where nothing was applied is a word, in whatever colour, if less than this is left of it.",
    )
    inked_share: float = knob(
        0.06,
        "",
        "Of coloured strokes even less is left, far up a strip that shows no front; of the smallest spots a tenth.",
    )
    written_least: float = knob(0.035, "absorbance", "No pencil is paler, even blurred; grain breaks up a paler spot.")
    compact_mm: float = knob(10.0, "mm", "A round spot is no wider at its base.")
    compact_fill: float = knob(0.7, "", "And leaves paper beside it: it fills less of the lane's width.")
    compact_least: float = knob(
        0.03,
        "absorbance",
        "Such a grey spot is believed from here on: of those from 0.022 to this, on six hands' photos and ours, 4 were spots and 62 finger marks and shadows.",
    )
    ghost_darker: float = knob(2.0, "", "What a rubber smeared of a line is at most so many times as dark as its rest.")
    ghost_beside_mm: float = knob(5.0, "mm", "So far to its sides such a line goes on.")
    ghost_seen: float = knob(0.5, "", "Share of that over which it is seen, on the better side.")
    ghost_mm: float = knob(3.2, "mm", "And no wider than a blurred stroke and a half at its base.")
    grey_broad: tuple[float, float] = knob(
        (0.12, 12.0), "absorbance, mm", "Nor can a grey one that is paler than the first and broader than the second."
    )
    cloud: tuple[float, float] = knob(
        (0.03, 14.0),
        "absorbance, mm",
        "Whatever its colour, what is paler than the first and broader than the second is a cloud: tinted shadow, a finger's mark.",
    )
    mark_absorbance: float = knob(
        0.145,
        "absorbance",
        "A grey stain on the origin line paler than this is what is left of the pencil marks; a darker one, if all of it is thin.",
    )
    mark_colour: float = knob(0.05, "absorbance", "Paler than this, its colour is the photo's compression.")
    mark_box_mm: float = knob(
        1.5, "mm", "Within so far of its middle, line and cross included, its colour is averaged."
    )
    mark_tinge: float = knob(
        0.042,
        "absorbance",
        "By more than this the channels of a spot that stayed on the line differ there; those of pencil hardly do.",
    )
    bridged_share: float = knob(
        0.2,
        "",
        "Of a spot's part that a line crosses, so much may be more or less than what was filled in: it pulls the centre by its distance.",
    )
    hidden_mm: float = knob(
        0.6,
        "mm",
        "Standard uncertainty of the place of so pale a spot under the line, whose middle is filled in; less for darker ones.",
    )
    mark_reach_mm: float = knob(3.2, "mm", "And so near to the line.")
    mark_width_mm: float = knob(10.0, "mm", "And so narrow at its base.")
    faint_sd: float = knob(12.0, "sd", "Weaker spots are flagged faint.")
    faint_absorbance: float = knob(0.035, "absorbance", "The same, for a paper without noise: hardly seen by eye.")
    tailing: float = knob(
        2.0, "", "Half-width at a tenth of the height, origin side over front side, beyond which a spot tails."
    )
    tail_slope: float = knob(
        1.5,
        "",
        "Tailing given to an overlapped spot is 1 and so many times its tail's share of its standard deviation: a rough and high figure (a peak with a share of 0.7 has 1.4).",
    )
    merged_resolution: float = knob(
        0.8, "", "Resolution below which a neighbour's share in a spot is a guess; 1.5 is full separation."
    )
    second_colour: float = knob(
        0.08,
        "share of the first",
        "Second singular value of the profiles in the three channels from which they may be two dyes'. One dye's long tail reaches .05, as paper darkens less the more it holds.",
    )
    second_sd: float = knob(15.0, "sd", "So much it must be, too: less is noise, and not worth two fits.")
    split_apart: float = knob(0.25, "width", "The two must lie so far apart, of what was taken for one spot's width.")
    split_least: float = knob(0.03, "absorbance", "Less is a shadow's edge or a tail's tint, no spot beside another.")
    split_out: float = knob(
        0.1, "width", "So far outside of where the channels place it the search for the two begins."
    )
    split_sd: float = knob(0.75, "", "Each of the two is narrower than both together, by this factor.")
    beside_mm: float = knob(1.2, "mm", "A spot's middle so near to the next lane is that lane's.")
    print_mm: float = knob(
        2.2, "mm", "Grey that reaches no further in from the paper's edge is the card's print, seen past or through it."
    )
    origin_mm: float = knob(1.6, "mm", "A spot whose centre lies this near to the origin line did not move.")
    near_front: float = knob(0.95, "Rf", "Beyond, a spot ran with the front.")


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
    ring: float = knob(
        0.9,
        "",
        "And there no darker further off, by more than this, than close to the line: a pencilled ring is, by half and more.",
    )
    soft_least: float = knob(0.055, "absorbance", "A soft one may be as pale as this close to the line.")
    soft_mm: tuple[float, float] = knob(
        (1.42, 5.0),
        "mm",
        "Its width there at half its height: strokes that meet, however blurred, reached 1.40, and of 800 places without a spot one passes.",
    )
    soft_fades: tuple[float, float] = knob(
        (0.1, 1.08), "", "Further off it has such a share of that; what is darker there is a ring, or ran."
    )
    soft_middle: float = knob(0.9, "", "And is darkest there in its middle, to this share.")
    soft_breadths: tuple[float, float] = knob(
        (0.82, 1.35),
        "",
        "And such a share of its width: of a slanting cross, an arm of 0.35 to 0.5 is left in its place.",
    )
    seen: tuple[float, float] = knob(
        (0.8, 0.28),
        "absorbance",
        "As dark as this at its darkest, and as this over such a square, a place may be a spot's: crosses reach 1.0 and 0.21.",
    )
    seen_close: float = knob(
        0.07, "absorbance", "And so dark close to the line: thick slanting crosses, as dark over a square, reach 0.035."
    )
    tinge_mm: float = knob(1.2, "mm", "So far to both sides of the line a coloured one is looked for.")
    tinge_far_mm: float = knob(3.0, "mm", "And so far off it has ended.")
    tinge_least: float = knob(
        0.045,
        "absorbance",
        "By so much its channels differ, averaged over that: where no spot is, on 354 strips of two hands, 0.028 at most.",
    )
    tinge_width_mm: tuple[float, float] = knob(
        (1.2, 5.0), "mm", "Its width along the line at half its height: a stroke is narrower, a band wider."
    )
    tinge_off_mm: float = knob(
        0.6, "mm", "Its colour balances so near to the line; what ran, or lies below, is further off."
    )
    around_mm: float = knob(0.9, "mm", "To both sides, such a spot goes on, though paler.")
    reach_mm: float = knob(2.2, "mm", "And so far above and below the line.")
