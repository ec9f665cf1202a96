"""From the file to the strips: reading, finding the card, light, quality, strips."""

from __future__ import annotations

from dataclasses import dataclass

from webcapture.settings.knob import knob


@dataclass(frozen=True, slots=True)
class PhotoSettings:
    """Reading the file."""

    max_bytes: int = knob(64_000_000, "byte", "A 108 MP phone JPEG is 20 to 45 MB; more is not a phone photo.")
    max_pixels: int = knob(
        130_000_000, "px", "Covers 108 MP phones; a small file can expand to far more and fill the memory."
    )
    max_pixels_whole: int = knob(
        50_000_000,
        "px",
        "PNG and progressive JPEG cannot be decoded piecemeal: the whole picture stands in memory, some 8 byte/px.",
    )
    max_pixels_webp: int = knob(
        30_000_000, "px", "WebP's decoder holds several copies of the picture, some 17 byte/px."
    )
    enough_pixels: int = knob(
        3_000_000,
        "px",
        "Big JPEGs are decoded at 1/2, 1/4 or 1/8 scale if so many pixels are left: a card that fills the frame then has 6 px/mm, and Rf on photos with known truth is as exact as at full scale.",
    )
    working_pixels: int = knob(
        14_000_000,
        "px",
        "A card at 12 MP has 9 to 13 px/mm, ample for a 0.4 mm pencil line; more only costs time and memory.",
    )
    least_side: int = knob(600, "px", "Below, a tag of the card is smaller than its modules can be told apart.")


@dataclass(frozen=True, slots=True)
class MarkerSettings:
    """Finding the card's tags and saddles."""

    tag_searches: tuple[tuple[int, tuple[int, int, int], float], ...] = knob(
        (
            (1000, (9, 9, 1), 0.05),
            (1500, (21, 21, 1), 0.03),
            (1500, (7, 27, 10), 0.03),
            (2800, (7, 27, 10), 0.03),
            (750, (7, 27, 10), 0.03),
        ),
        "px; px; of the longer side",
        "Each search's reduced copy (its longer side), the windows in which a tag's border is told from its surroundings (smallest, largest, step), and the least perimeter of a tag. The first is quick and reads six tags in 99 of 100 photos; then for a steeply tilted card, for shadows, for a small card and for a blurred one.",
    )
    enough_tags: int = knob(6, "", "Half of the twelve: with these the search stops.")
    least_tags: int = knob(3, "", "Fewer could be chance, and leave the first guess of the geometry too loose.")
    correctable_bits: int = knob(
        2, "bit", "The 48 words used differ in at least 11 bits; 2 forgives a speck and keeps clutter out."
    )
    most_tag_perimeter: float = knob(0.4, "", "Of the copy's longer side: larger is not a whole card.")
    tag_agreement: float = knob(
        0.15, "tag side", "Tags of one flat card agree within a tenth even through a strong lens; more is another card."
    )
    tag_corner_u_px: float = knob(0.7, "px", "A corner located on the reduced copy, in pixels of the full picture.")
    saddle_reach: float = knob(
        0.3, "chequer", "Half-width of the window a saddle is located in: ample edge, and nothing of the neighbour."
    )
    saddle_shift: float = knob(0.35, "chequer", "A saddle further from its prediction is another corner.")
    saddle_rounds: int = knob(
        12, "", "How often those found predict the others; a covered side needs one, a bent card one for each step."
    )
    tile_reach: float = knob(
        0.75, "chequer", "Half-width of the picture cut out around a saddle: shift and window, or shift and probe."
    )
    quadrant_probe: float = knob(0.3, "chequer", "How far from the saddle its four quadrants are probed.")
    saddle_contrast: float = knob(
        0.25, "", "Light less dark quadrants, relative to the lightest: a printed chequer gives 0.7, a blurred one 0.4."
    )
    least_contrast: float = knob(12.0, "sRGB level", "Less is lost in the noise of a dark photo.")
    least_saddles: int = knob(
        24, "", "A quarter of a frame: one and a half sides, the least that fixes plane and lens."
    )
    least_spread_mm: float = knob(
        10.0,
        "mm",
        "Standard deviation of the saddles' places across their longest direction: along one side of the frame it is 3 mm, and the other side then lies anywhere.",
    )
    judged_side_px: int = knob(
        750,
        "px",
        "Longer side of the copy on which darkness and blur are judged where no card was found: small, so without noise.",
    )
    dark_level: float = knob(40.0, "sRGB level", "98 % of the picture darker than this: black.")
    sharpness: float = knob(
        0.35,
        "",
        "Steepest edges of that copy relative to its highest steps: 0.6 and more where anything is sharp, 0.1 to 0.2 where nothing is.",
    )


@dataclass(frozen=True, slots=True)
class ViewSettings:
    """Fitting plane and lens."""

    prior_k1: float = knob(
        0.06, "", "Standard deviation expected of a phone's first distortion term, at half the diagonal."
    )
    prior_k2: float = knob(0.02, "", "The second term is smaller; the frame alone hardly tells it from the first.")
    outlier: float = knob(
        4.0,
        "MAD",
        "A saddle whose misfit differs more from its neighbours' lies under something; with them, the card is bent.",
    )
    saddle_u_px: float = knob(0.05, "px", "A saddle located in the full picture.")
    focal_typical: float = knob(
        1.2, "half diagonal", "A phone's main camera: 26 mm equivalent; counts where the view does not tell."
    )
    focal_spread: float = knob(0.2, "", "Relative spread of that among phones.")


@dataclass(frozen=True, slots=True)
class LightSettings:
    """Evening out the light."""

    sheet_px_per_mm: float = knob(
        2.0,
        "px/mm",
        "The rectified page shows where paper lies; halved, the field of light: shadows of a hand have edges of some millimetres.",
    )
    least_level: float = knob(0.002, "", "Linear intensity below which a logarithm would show only noise.")
    usual_spread: float = knob(
        0.03, "ln", "How far white places lie from a smooth field of light in an ordinary photo."
    )
    trend_scales: tuple[float, ...] = knob(
        (0.3, 0.2, 0.13, 0.09, 0.06, 0.06),
        "ln",
        "White places further than this from the field lose their weight, in ever stricter rounds: they are shaded or covered.",
    )
    trend_reach: float = knob(0.2, "ln", "White places this near to the field are in full light.")
    tint_beside_mm: float = knob(
        1.4,
        "mm",
        "How far inside the panel's border its tint is compared with the white ring outside: no print lies there.",
    )
    tint_typical: float = knob(0.26, "", "The panel's level relative to white as designed, where none is seen.")
    tint_least: float = knob(
        0.06, "", "Tint as a heavy printer makes it, in a shadow of a half; less is ink or nothing."
    )
    tint_most: float = knob(
        0.42, "", "Tint as a weak printer makes it, in the smooth light; paper lies above 0.45 even in shadow."
    )
    deepest_shade: float = knob(-0.8, "ln", "Tint this far below its usual level is in a deep shadow; below is ink.")
    usual_tint: float = knob(
        0.2, "", "Tint up to this share of the way to white is tint; paper is as dark in a shadow of two thirds only."
    )
    brightest_tint: float = knob(
        0.4,
        "",
        "And up to this share it lies in a bright place, if it brightens gently from such; above is paper, in a shadow perhaps.",
    )
    bright_mm2: float = knob(30.0, "mm²", "Less of that is blur along edges.")
    paper_edge: float = knob(
        0.4, "ln", "Change of light from one pixel of the field to the next but one: only edges are so steep."
    )
    gentle_share: float = knob(0.1, "", "Share of what hangs together gently that is tint beyond doubt.")
    panel_inset_mm: float = knob(1.0, "mm", "Along the panel's border lies the blur of the white ring.")
    reaches_mm: tuple[float, ...] = knob(
        (2.0, 6.0, 15.0),
        "mm",
        "Neighbourhoods for filling in the light: the nearest that shows enough bare card counts.",
    )
    known_share: float = knob(0.2, "", "Share of a neighbourhood that must be bare card to be believed fully.")


@dataclass(frozen=True, slots=True)
class QualitySettings:
    """Judging the photo."""

    other_tags: int = knob(2, "", "So many tags of another card show it; nothing else is taken for a tag.")
    blur_flag_mm: float = knob(0.4, "mm", "A pencil line is as wide: it fades.")
    blur_error_mm: float = knob(0.9, "mm", "Spots of 2 mm run into each other and lines are gone.")
    px_per_mm: float = knob(
        4.5,
        "px/mm",
        "A pencil line is two pixels wide, and a block of a JPEG's colour as large as a spot. Of 1600 pixels, as messengers send, a card has 3 to 4.5, of 12 megapixels 8 and more.",
    )
    dark_flag: float = knob(0.12, "", "Linear intensity of white: an eighth of full; noise grows visibly.")
    dark_error: float = knob(0.025, "", "Below, 8 bits leave a handful of levels for all absorbances.")
    shade: float = knob(
        0.12,
        "ln",
        "Parts this much darker than the field are in a shadow; the field's own flaws reach 0.05.",
    )
    shade_span: float = knob(
        0.22,
        "ln",
        "From dark to bright parts, where no reflection makes the bright ones: nearly all of the card is in shadow.",
    )
    panel_inset_mm: float = knob(1.0, "mm", "Along the panel's border lies the blur of the white ring.")
    glare_level: float = knob(0.95, "", "Linear intensity that a camera clips; a reflection does so in all channels.")
    bright_share: float = knob(
        0.3, "", "Where so much of the paper's area is clipped in some channel, it is no reflection but the exposure."
    )
    glare_mm2: float = knob(30.0, "mm²", "A reflection smaller than a spot hides nothing.")
    glare_range: tuple[float, float] = knob(
        (0.22, 0.55), "", "Between tint (0) and white (1): a veil of light on the tint."
    )
    bend_mm: float = knob(0.3, "mm", "The frame's misfit from a plane: ten times that of a flat card.")
    span_flag: float = knob(
        0.85, "", "Share of the frame's width and height that the seen saddles span; beyond them the fit extrapolates."
    )
    span_error: float = knob(0.55, "", "With half the card unseen, nothing of the rest is certain.")


@dataclass(frozen=True, slots=True)
class StripSettings:
    """Finding strips in the bays and cutting them out."""

    paper_least: float = knob(0.55, "", "Where between tint (0) and white (1), on a logarithmic scale, paper begins.")
    wet_least: float = knob(0.35, "", "And where paper begins that is still wet, half as light.")
    wet_share: float = knob(0.2, "", "Of a wet strip at least this share is darker than dry paper.")
    wet_fill: float = knob(0.85, "", "Such a strip fills the rectangle around it; an ellipse fills 0.79 of its own.")
    panel_inset_mm: float = knob(0.7, "mm", "Along the panel's border lies the blur of the white ring.")
    bridge_mm: float = knob(14.0, "mm", "Dark bands across a strip up to this long do not divide it.")
    least_width_mm: float = knob(8.0, "mm", "Narrower is not a strip.")
    least_length_mm: float = knob(45.0, "mm", "Shorter cannot hold a run.")
    least_fill: float = knob(0.7, "", "Share of its outline that a strip fills; less is a scrap or a shape.")
    end_slant: float = knob(
        0.3, "", "An end that slants more is cut to a point, or notched; a careless cut slants less."
    )
    end_broad: float = knob(0.95, "", "Such a strip begins where it has this share of its width.")
    end_taper: tuple[float, float] = knob((0.8, 0.2), "", "Between these shares of its width a point tapers evenly.")
    turn_limit_deg: float = knob(20.0, "deg", "More turned than this, it is not laid in its bay.")
    edge_step_mm: float = knob(1.0, "mm", "An edge is located at this spacing.")
    edge_search_mm: float = knob(2.5, "mm", "How far from the coarse outline an edge is looked for.")
    edge_bow_mm: float = knob(1.0, "mm", "A bent strip's edge bows this far from its line as the camera sees it.")
    edge_seen: float = knob(
        0.4,
        "",
        "Share of each long side on which paper must end near its line: a bulging reflection has no such sides.",
    )
    border_mm: float = knob(1.5, "mm", "A side this near to the panel's border is where the panel ends, not the paper.")
    hanging_mm: tuple[float, float] = knob(
        (12.0, 100.0),
        "mm",
        "What runs on past the left or right border of the panel is a strip if it shows so much width and length; less is a corner of another paper.",
    )
    edge_power: float = knob(
        0.6,
        "",
        "Exponent of linear light for the half-way level of an edge: the lens blurs light, the camera's sharpening and the resampling work on encoded levels. With 1 edges lie 0.02 mm too far in, with sRGB's 0.42 as far out.",
    )
    edge_fall: float = knob(0.15, "", "Least fall of that level from paper to tint, share of the paper's.")
    px_per_mm: float = knob(8.0, "px/mm", "The strip's image: a 0.4 mm pencil line is 3 px.")
    most_pixels: int = knob(
        800_000, "px", "The image of a wide sheet is coarser, down to 4.75 px/mm: its lines are longer, so as certain."
    )
    least_px_per_mm: float = knob(
        3.0,
        "px/mm",
        "A photo with fewer is spread over so many, so that a 0.4 mm line has a row of its own; as with every scale, whole pixels go into the margin.",
    )
    margin_mm: float = knob(4.0, "mm", "Card around the strip kept in its image, to see the light on it.")
    side_range: tuple[float, float] = knob(
        (-0.4, 0.28),
        "log10",
        "Beside the strip, darker or lighter than this is not tint in light or shadow but ink or other paper: half in a shadow of 45 % leaves the rest 0.26 above the usual.",
    )
    side_smooth_mm: float = knob(0.7, "mm", "Shadows have softer edges; the print's grain is averaged out.")
    side_gap_mm: float = knob(0.8, "mm", "Next to the edge the tint lies in the strip's own shadow and in blur.")


@dataclass(frozen=True, slots=True)
class GlanceSettings:
    """The quick check of a live view's small frames."""

    most_bytes: int = knob(400_000, "byte", "Such a frame takes a quarter of this as a JPEG.")
    most_side: int = knob(1120, "px", "What the page sends: a tag then has 25 to 40 px.")
    windows_px: tuple[int, int, int] = knob((13, 13, 1), "px", "As in the first search of a whole photo.")
    least_perimeter: float = knob(0.05, "", "Of the frame's longer side: a card that fills a third of the frame.")
    patient_windows_px: tuple[int, int, int] = knob(
        (17, 17, 1), "px", "Where the quick look sees no card a patient one follows, on a sharpened copy."
    )
    patient_perimeter: float = knob(0.03, "", "Of the longer side: a tag of 8 px, a pixel a cell.")
    patient_bits: int = knob(
        4,
        "bit",
        "A blurred tag is read with so many of its 36 wrong. The words differ in 11, three tags have to agree on one plane, and nothing is measured here: of the 1,200 random squares of a test none becomes a tag.",
    )
    light_level: float = knob(
        105.0,
        "sRGB level",
        "White paper darker than this makes a photo that is flagged too dark, or blurred by a long exposure.",
    )
    fill: float = knob(0.6, "", "Share of the frame's tighter side that the card fills: 0.62 and more measure well.")
    tilt_deg: float = knob(20.0, "°", "Above, what lies not quite flat is seen shifted; photos to 30° are measured.")
    blur_px: float = knob(
        2.3,
        "px",
        "Width of the chequers' edges in the frame: 1.5 where all is sharp, 2.1 in photos that still measure well.",
    )
    rim: float = knob(0.005, "", "Share of the frame's longer side that stays free around the card.")
    wait_s: float = knob(0.25, "s", "A frame that cannot be looked at so soon is of no use any more.")
    at_once: int = knob(1, "", "So many are looked at together; the processors belong to the photos that were taken.")
