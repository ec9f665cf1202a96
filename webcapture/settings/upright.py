"""Which way up a strip lies."""

from __future__ import annotations

from dataclasses import dataclass

from webcapture.settings.knob import knob


@dataclass(frozen=True, slots=True)
class UprightSettings:
    """Which way up the strip lies: evidence in natural logarithms of odds."""

    arrow: float = knob(
        1.0,
        "ln odds",
        "The card shows where the origin end goes. More lie right than that says, but to hold an upright one costs a look, to believe a turned one a wrong result: before widths counted less, 12 of 104 plain strips turned over on purpose went unnoticed with 2, with 1 three; of 972 upright ones 3 and 4 were held.",
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
    most_widening: float = knob(
        3.0, "ln odds", "One lane's widths say no more: three spots may lie on a line by chance."
    )
    widths: float = knob(
        0.7,
        "",
        "What widths say counts so much: drops differ from spot to spot, too. Of 255 upright strips of a generator whose spots are of any size 24 were held with 1, 17 with this; of ours 131 and 123 of 200 are told when turned over, as few unnoticed.",
    )
    widths_sd: float = knob(20.0, "sd", "Clearer spots than this show their width and tail well enough to count.")
    band_fill: float = knob(0.8, "", "What fills more of its lane is a band.")
    most_band: float = knob(
        2.8, "ln odds", "Of a lane with bands, whose widths follow their loads, too: alone they leave it open."
    )
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
    labels: float = knob(
        0.8,
        "ln odds",
        "Lanes are labelled under the origin: for each lane with writing at one end more than at the other. One may hold a name.",
    )
    most_labels: float = knob(3.0, "ln odds", "All labels together: they are written by one hand.")
    label_mm: float = knob(7.0, "mm", "So far to either side of its lane's axis a label reaches.")
    label_mm2: float = knob(1.5, "mm²", "Less pencil than this is no letter.")
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
