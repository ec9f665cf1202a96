"""A strip's field, paper and lanes."""

from __future__ import annotations

from dataclasses import dataclass

from webcapture.settings.knob import knob


@dataclass(frozen=True, slots=True)
class FieldSettings:
    """The strip as a field of absorbance."""

    wide_mm: float = knob(40.0, "mm", "Across more than this, the card beside does not tell the light in the middle.")
    slow_mm: float = knob(20.0, "mm", "On such a sheet only changes slower than this are taken from the card.")
    calm_mm: float = knob(3.0, "mm", "Reach over which the print's grain beside a narrow strip is averaged.")
    grain_sd: float = knob(4.0, "sd", "What stands out of that grain by more is a shadow's edge.")
    uneven: float = knob(0.05, "log10", "Difference of the light at the two sides that some shadow must have made.")
    clipped: float = knob(
        -0.02,
        "log10",
        "Lighter than this, five levels below white, the camera's scale may have ended: no colour can be told.",
    )
    clipped_share: float = knob(
        0.1, "", "Where so much of the strip is as light, that channel cannot tell wet paper from dry."
    )
    split: float = knob(
        0.1,
        "log10",
        "Difference of the paper at its two sides, over most of its length, that a shadow's edge along the strip must have made: no gradient is as steep.",
    )
    side_share: float = knob(0.25, "width", "Of the paper, what is taken for its left and its right side.")
    edge_least: float = knob(
        0.03, "log10", "Change of light along the card beside a strip that may be a shadow's edge."
    )
    edge_reach_mm: float = knob(
        40.0, "mm", "How far along the strip an edge may run while it crosses: 60° on a wide strip."
    )
    edge_overlap: int = knob(
        3, "", "One part in so many of the strip's length must show both sides where an edge is followed."
    )
    edge_differs: float = knob(
        0.008, "log10", "Where the light at the two sides differs by less, there is nothing for a slant to explain."
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
    known_share: float = knob(0.5, "", "Share of a block that must be free of pencil and rims to be known.")
    fill_mm: float = knob(0.8, "mm", "Reach from which a stroke's cells are filled in.")
    bridge_mm: float = knob(
        0.7, "mm", "Reach from which the flank of a spot is followed under a line: about its half width."
    )
    bridge_least: float = knob(
        0.003, "absorbance", "What a flank falls below its surroundings' mean by less is the paper's grain."
    )
    shade_block_mm: float = knob(2.0, "mm", "A shadow's edge is as soft.")
    shade_mm: float = knob(22.0, "mm", "More than twice a spot's width, so that the median passes over spots.")
    shade_spot: float = knob(
        0.12,
        "absorbance",
        "A grey place so much darker than its neighbourhood is a spot, not a shadow within a shadow.",
    )
    shade_rounds: int = knob(
        2,
        "",
        "How often spots are replaced by what lies around them, lest they tip the balance beside a shadow's edge; then half the reach passes over them.",
    )
    level_mm: float = knob(
        5.0, "mm", "The paper's level is followed over this reach: longer than grain, shorter than shadows."
    )
    block_mm: float = knob(1.2, "mm", "Side of the blocks in which the paper's level is followed.")
    block_share: float = knob(0.3, "", "Share of such a block that must be usable for its mean to count.")
    level_rounds: int = knob(3, "", "How often what stands out is left out and the level taken anew.")
    bare_least: int = knob(50, "cell", "With less bare paper its noise is taken from all that is usable.")
    stained_sd: float = knob(3.0, "sd", "A square millimetre this far off the level is not bare paper.")
    pale_percentile: float = knob(30.0, "%", "Paler part of a row, where a spot fills most of a narrow strip.")
    first_percentile: float = knob(
        40.0, "%", "Of these, along the window: a little paler than their middle, as spots darken some."
    )
    first_window_mm: float = knob(
        41.0, "mm", "Window of the first guess of the level along the strip: longer than twice any spot."
    )
    damp_clear_mm: float = knob(0.8, "mm", "So near to the front its own line or edge shows.")
    tail_mm: float = knob(
        20.0,
        "mm",
        "A stain that fades slowly behind its front has faded so far off: over 2 to 5 mm it falls to a third.",
    )
    tail_base: float = knob(
        0.1, "", "Of those rows this share, the palest, show none of it, though a large spot may lie close."
    )
    damp_share: float = knob(0.4, "", "Share of a row, the palest, that spots leave free: damp is as dark beside them.")
    damp_smooth_mm: float = knob(1.0, "mm", "Along the strip, that is averaged over so much.")
    damp_least: float = knob(0.012, "absorbance", "Less is the paper's own unevenness.")
    damp_most: float = knob(0.1, "absorbance", "Damp paper is hardly darker; a band that ran with the front is.")
    damp_mm: float = knob(
        4.0, "mm", "Damp fades to half over so much and more; a band that ran with the front is higher."
    )


@dataclass(frozen=True, slots=True)
class LaneSettings:
    """Finding lanes."""

    sheet_mm: float = knob(
        32.0,
        "mm",
        "A narrower strip has one lane: two would run into each other (spots at least 3 cm apart: BP 2010, App. III E; schools use 1.5 cm, and two such lanes fit on 36 mm).",
    )
    below_mm: float = knob(3.0, "mm", "Colour so far below the origin line still counts: a spot left on it.")
    front_mm: float = knob(2.0, "mm", "Colour nearer to the front may be the front's own.")
    colour_sd: float = knob(2.5, "sd", "Smoothed absorbance beyond which a cell counts as colour.")
    colour_cap: float = knob(12.0, "sd", "One dark spot must not hide a pale lane.")
    colour_smooth: int = knob(5, "cell", "Absorbance is averaged over a square of so many cells: less than a spot.")
    least_rows: int = knob(8, "cell", "A run with fewer rows holds no colour that could be told from noise.")
    column_smooth_mm: float = knob(1.5, "mm", "Columns of colour are smoothed so far: less than a spot's width.")
    column_least: float = knob(3.0, "sd mm", "Least colour of a column: one faint spot.")
    column_share: float = knob(0.04, "", "Of the strongest column: less is its fringe.")
    prominence: float = knob(0.5, "", "Share of the least height by which a column or a mark rises above its sides.")
    rim_mm: float = knob(
        3.0,
        "mm",
        "Nobody applies a sample so near to the paper's edge; colour there belongs to a neighbour or to the light.",
    )
    apart_mm: float = knob(9.0, "mm", "Lanes nearer than this run into each other.")
    reach_mm: float = knob(15.0, "mm", "Half the width of a lane without neighbours.")
    axis_sd: float = knob(100.0, "sd", "Clearer spots count no more for where a lane's axis runs.")
    mark_mm: float = knob(1.6, "mm", "Up to here above and below the origin line, a cross, tick or dot adds to it.")
    mark_flank_mm: tuple[float, float] = knob(
        (3.2, 6.4), "mm", "Between these, above and below the line, lies the paper that a mark is compared with."
    )
    mark_smooth_mm: float = knob(0.5, "mm", "Width of a pencil tick with its blur.")
    mark_sd: float = knob(6.0, "sd", "How far a mark stands out of the paper along the line.")
    mark_weak_sd: float = knob(
        4.0,
        "sd",
        "Right below a column of colour a fainter mark is believed: the unevenness of a ruled line reaches 3.",
    )
    mark_beside_mm: float = knob(1.6, "mm", "So far from its column's middle lies a lane's mark at most.")
    arm_mm: tuple[float, float] = knob(
        (0.9, 1.6),
        "mm",
        "Between these, above and below the origin line, a cross has two arms, a line ruled along one.",
    )
    ruled_wide_mm: float = knob(3.4, "mm", "A ruled line with its blur and its lean is no wider; a cross's arms are.")
    ruled_lean_mm: float = knob(2.0, "mm", "A line ruled between lanes leans by no more, from one end to the other.")
    ruled_share: float = knob(0.5, "", "Share of the paper's length that such a line runs along at least.")
    least_marks: int = knob(2, "", "Where there are columns of colour, one mark alone may be a speck or a letter.")
