"""Settings of lines on a strip: tracing them, and what makes one a candidate for origin or front."""

from __future__ import annotations

from dataclasses import dataclass

from webcapture.settings.knob import knob


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
    degree: int = knob(
        2, "", "Lines slant and bow; what wriggles more is followed by the line's own places, where they are needed."
    )
    peak_reach: float = knob(
        3.0,
        "width",
        "Window about the path in which a bin's own place is looked for; its peak lies in the middle half.",
    )
    settle: int = knob(
        5,
        "",
        "Steps in which a bin's place comes to rest: each halves what is left where a line is as wide as expected.",
    )
    seen_least: float = knob(2.5, "sd", "Response at which one bin counts as showing the line.")
    bow_bins: int = knob(8, "", "A curve through fewer places would follow their scatter.")
    bow_coverage: float = knob(0.6, "", "A bow is believed only of a line seen over most of the width.")
    bow_gain: float = knob(0.5, "", "And only where it leaves less than this share of the straight line's spread.")
    strong_share: float = knob(0.3, "", "Share of a line's own response below which a bin shows only noise.")
    strong_quantile: float = knob(
        0.8, "", "A line's own response is the one that this share of its bins stay below: in gaps only noise shows."
    )
    off_sd: float = knob(3.0, "sd", "A bin further from the fitted line does not lie on it.")
    on_line_mm: float = knob(
        0.25, "mm", "Bins this near to the fitted line lie on it; a hand-drawn line wavers so much."
    )
    fit_rounds: int = knob(6, "", "Turns of fitting and leaving out, at most; they end where nothing changes any more.")


@dataclass(frozen=True, slots=True)
class LandmarkSettings:
    """Origin line and solvent front."""

    line_mm: float = knob(0.4, "mm", "Half the width over which a pencil line responds, blur included.")
    wet_mm: float = knob(1.2, "mm", "The same for a wet edge: half the span of the paper compared.")
    stain_mm: float = knob(0.8, "mm", "The same for a stain.")
    core_mm: float = knob(0.2, "mm", "Half a pencil line's width, where it is darkest.")
    flank_mm: tuple[float, float] = knob(
        (0.6, 1.5),
        "mm",
        "Paper beside a pencil line, clear of its blur, against which it is found. How dark it is, is told against paper further off by the second of these: from 2.1 to 3.0 mm.",
    )
    thin: float = knob(
        0.65,
        "",
        "Share of a line's darkness gone at its flanks: a blurred pencil line loses nine tenths, a 2 mm band two fifths.",
    )
    on_band: float = knob(
        0.16,
        "",
        "A line on a band of colour is this share of both together: a band's own fall beside its middle, 4 mm wide, comes to an eighth.",
    )
    on_band_least: float = knob(0.05, "absorbance", "And no fainter than a pencil's line is.")
    band_mm: tuple[float, float] = knob(
        (0.8, 1.6), "mm", "Where a band is looked at beside a line on it: clear of the line's blur, and twice as far."
    )
    thin_far_mm: float = knob(3.75, "mm", "Paper beside line and flanks that both are compared with.")
    crease: float = knob(
        0.5, "", "A crease has a bright side: it is paler than the paper by more than this share of its darkness."
    )
    step_near_mm: float = knob(0.4, "mm", "The edge of the wet zone is this soft.")
    step_far_mm: float = knob(2.5, "mm", "Paper compared on both sides of a wet edge.")
    step_trend_mm: float = knob(
        4.5, "mm", "How far off the same difference is taken, so that an even gradient gives nothing."
    )
    stain_core_mm: float = knob(0.6, "mm", "Half the width of the line that a solvent leaves where it dries.")
    stain_flank_mm: tuple[float, float] = knob(
        (1.8, 3.5), "mm", "Paper beside such a line; how dark it is, is told against paper from 5.3 to 7.0 mm off."
    )
    sample_mm: float = knob(0.25, "mm", "Spacing at which paper beside a faint line is sampled: two rows of the image.")
    profile_mm: float = knob(0.125, "mm", "The same across a stain: every row of the image at 8 px/mm.")
    alike_bins: float = knob(
        2.0, "bin", "So many neighbours count as one place: a hand wavers, and a front ripples, over more than a bin."
    )
    end_mm: float = knob(3.0, "mm", "Nothing is a line nearer to the paper's end.")
    origin_coverage: float = knob(
        0.5, "", "Share of the width over which an origin line is seen; spots hide some of it."
    )
    whole_line: float = knob(
        0.9,
        "",
        "Over so much of the width, what is thin towards the origin end is a line of ink that ran the other way.",
    )
    front_coverage: float = knob(0.25, "", "A front is often marked with a short stroke.")
    wet_coverage: float = knob(0.7, "", "A wet edge runs right across the paper.")
    ragged_sd: float = knob(
        5.0,
        "sd",
        "A wet edge or stain this clear shows its place in every bin with the two beside it; a fainter one takes the mean of five.",
    )
    ragged_mm: float = knob(
        0.8,
        "mm",
        "By so much a ragged front departs from its mean over five bins; what lies further off is something else's.",
    )
    wet_clear: tuple[float, float] = knob(
        (4.0, 0.65),
        "sd, share of the width",
        "An edge this clear is seen over so much of the width, or a spot's rim made it.",
    )
    wet_grey: float = knob(0.55, "", "Wet paper is darker in all channels alike, but its step is faint and noisy.")
    clipped_share: float = knob(
        0.2, "", "Where so much of the paper above is as light as the camera can tell, that channel shows no true step."
    )
    neutral: float = knob(0.72, "", "Pencil is grey: its weakest channel is at least this share of its strongest.")
    beside_mm: tuple[float, float] = knob(
        (1.0, 2.2), "mm", "Close to a line, clear of its blur: a spot there reaches over it."
    )
    beside_share: float = knob(0.15, "", "Share of the width that no spot covers, on the fullest of sheets.")
    beside_clear: float = knob(
        0.35, "", "Share of a line's darkness up to which the paper beside it lends it no colour that would tell."
    )
    beside_hides: float = knob(0.7, "", "And from which on it may hide the line: as much as a faint line's own.")
    beside_spots: float = knob(
        0.35, "", "Share of the width that a spot which ran close to a wet edge leaves free of its colour."
    )
    beside_bins: int = knob(3, "", "Fewer bins without a spot beside them do not show what colour a line has.")
    beside_alike: float = knob(0.5, "", "There it must be as dark, by this share, as it is over all.")
    origin_range: float = knob(0.45, "", "The origin lies in this share of the strip's length at its end.")
    least_run_mm: float = knob(20.0, "mm", "A front nearer to the origin is not one that anybody measures.")
    least_step: float = knob(0.009, "absorbance", "Less than this is paper's own unevenness.")
    lasting_share: tuple[float, float] = knob(
        (0.5, 2.0),
        "",
        "Share of the step that lasts, least and most: it may dry out towards the origin or have grown slowly; a band of colour ends.",
    )
    height_mm: tuple[float, float] = knob(
        (0.4, 3.0), "mm", "Paper on both sides of a wet edge, between these, from which its height is taken."
    )
    pale_share: float = knob(0.25, "", "This share of the paper, the palest, tells what lasts: colour does not count.")
    lasting_near_mm: float = knob(1.5, "mm", "Nearer to the edge its own softness shows, and what dried on it.")
    lasting_least_mm: float = knob(3.0, "mm", "So much paper above the edge is compared even near the paper's end.")
    lasting_step_mm: float = knob(0.5, "mm", "Spacing at which that paper is sampled.")
    stain_grey: float = knob(
        0.62,
        "",
        "A stain has a colour: its weakest channel is below this share of its strongest. Creases and shadows are grey.",
    )
    warm: tuple[float, float] = knob(
        (0.85, 1.1),
        "share of blue, mm",
        "A line drawn right across with less than that in red, and wider at half its height, is a stain after all: of 295 drawn ones of the sixteenth generator none, of 10 stains that passed for such nine.",
    )
    stain_least: float = knob(
        0.01, "absorbance", "Of a stain in blue: those that people see have 0.03 and more, chance in bare paper 0.005."
    )
    faint_seen: float = knob(
        1.2, "sd", "Response at which one bin shows a faint line; it is its length that proves it."
    )
    faint_reach_mm: float = knob(0.5, "mm", "A response this near to the fitted curve is the line's own.")
    faint_share: float = knob(
        0.1,
        "",
        "And at least this share of what most bins show: beside a clear line over half the width, chance is no line.",
    )
    faint_spread_mm: float = knob(0.5, "mm", "Scatter of a faint line's places about its curve; more is chance.")
    stain_spread_mm: float = knob(
        0.25, "mm", "Scatter of a stain's places about its curve; a row of letters scatters more."
    )
    stain_clear: tuple[float, float, float] = knob(
        (7.5, 0.95, 0.5),
        "sd, share of the width, mm",
        "One so clear, over so much of the width, may scatter by so much: a front runs ahead here and there.",
    )
    narrow_least: float = knob(
        0.025, "absorbance", "The same where bands hide it, and chance and the bands' own edges have more to offer."
    )
    gap_share: float = knob(
        0.15,
        "",
        "Of its usual height a stain has this share all along; between the strokes of letters there is nothing.",
    )
    stain_coverage: float = knob(0.9, "", "A stain runs right across, too.")
    stain_width_mm: float = knob(2.4, "mm", "Full width at half height of a stain; bands of colour are wider.")
    width_reach_mm: float = knob(6.0, "mm", "How far the profile reaches from which that width is taken.")
    width_base_mm: float = knob(3.0, "mm", "At both ends of that profile, so much is taken for paper.")
    width_peak_mm: float = knob(1.0, "mm", "And so near to where the stain was traced it is darkest.")
    densest_reach_mm: float = knob(
        2.0, "mm", "How far from its traced middle a stain's darkest place is looked for: most of its width."
    )
    swept_reach_mm: float = knob(
        8.0, "mm", "How far a stain's profile is looked at: what it leaves behind fades over 2 to 5 mm."
    )
    swept_peak_mm: float = knob(
        1.5, "mm", "Where a long tail draws the traced line down, its darkest place lies so far off."
    )
    swept_dry_mm: tuple[float, float] = knob((2.5, 6.0), "mm", "Dry paper beyond the darkest place, clear of its edge.")
    dull_grey: float = knob(
        1.1,
        "",
        "A grey or brownish line that ends so is a stain, too, if it is at most so much darker in red or green than in blue.",
    )
    swept_fall_mm: float = knob(
        0.75,
        "mm",
        "From eight tenths of its height to two: edges blurred by the photo fall in 0.4 to 0.7, sharp bands in 0.9.",
    )
    swept_lopsided: float = knob(
        1.9,
        "",
        "Below its darkest place it is so much wider than above; our ridges are up to 1.7, edges with tails 3.5 and more, another generator's from 2.",
    )
    edge_lopsided: tuple[float, float] = knob(
        (1.2, 1.6),
        "",
        "A ridge that is no wider below its darkest place than so many times as above tells nothing of where in it the solvent stopped; from the second on, it stopped at its edge.",
    )
    grey_stain_mm: float = knob(
        0.7,
        "mm",
        "A grey line that has faded by half only so far below its darkest place was not drawn: of 339 drawn fronts of another generator's none over 0.55, its grey stains from 0.76.",
    )
    grey_stain_lopsided: float = knob(1.6, "", "So many times as wide as above it, lest blur makes stains of lines.")
    grey_stain_alike: float = knob(
        0.6,
        "",
        "What fades behind such a line is at least by so much as grey as it is; what a dye's band leaves is not.",
    )
    thread_clear: tuple[float, float] = knob(
        (3.3, 0.85),
        "sd, share",
        "A line of another colour is as clear as this, and seen over so much of the width; spots may cover the rest.",
    )
    thread_spread_mm: float = knob(0.3, "mm", "Scatter of its places about its curve; ragged fronts have .29.")
    thread_above_mm: float = knob(
        1.15, "mm", "From its darkest place to half of that on the dry side: half of a narrow band's width is 1.2."
    )
    thread_fall_mm: float = knob(
        0.8,
        "mm",
        "And from eight tenths of its height to two it falls over no more; a band of .8 mm standard deviation over .9.",
    )
    thread_even: float = knob(
        0.2,
        "",
        "Half of its bins differ from the median by a smaller share: clear ones by up to .16, words in ink by .27 and more.",
    )
    thread_below_mm: float = knob(
        3.0,
        "mm",
        "From its darkest place to half of that behind: of what was left there 2.7, of bands with sharp heads 4.4.",
    )
    thread_lopsided: float = knob(1.2, "", "So many times as wide behind as before; a band is even.")
    thread_grey: float = knob(
        0.8, "", "Least of its channels over the most is less: a row of letters is grey, what solvents carry is not."
    )
    thread_least: float = knob(0.03, "absorbance", "Of it in the channel that shows it best: people see no less.")
    swept_most: float = knob(
        0.27,
        "absorbance",
        "No darker: stains that people call faint have up to 0.2, at their darkest place a little more, tailing bands with sharp heads 0.3 and more.",
    )
    rim_far_mm: float = knob(5.0, "mm", "How far below and above a wet edge wet and dry paper are looked at.")
    rim_near_mm: float = knob(2.0, "mm", "Nearer to it lies what dried at its rim.")
    rim_dry: float = knob(
        0.3, "", "Share of the rows beyond it that are palest, to tell the dry paper, between letters too."
    )
    rim_share: float = knob(0.25, "", "A rim stands above the wet paper by this share of the step and more.")
    rim_least: float = knob(0.003, "absorbance", "And by so much besides.")
    shade_share: float = knob(0.5, "", "An edge is a shadow's where the tint beside shows this share of it.")
    shade_mm: tuple[float, float] = knob(
        (1.0, 4.0), "mm", "Card beside both ends of the edge, between these above and below, whose light is compared."
    )
    most_lasting_mm: float = knob(
        14.0, "mm", "Below a wet edge the paper stays darker at least so far; a band of colour ends sooner."
    )
    dark_step: float = knob(
        0.05, "absorbance", "Paper that has dried is hardly darker; wet paper is, and so is the end of a grey band."
    )
    dark_lasting_mm: float = knob(
        28.0,
        "mm",
        "Below such an edge it must stay darker at least so far: no grey band is as wide, and wet paper reaches down to the origin.",
    )
