"""Measured values compared with references."""

from __future__ import annotations

from dataclasses import dataclass

from webcapture.settings.knob import knob
from webcapture.settings.spots import SpotSettings


@dataclass(frozen=True, slots=True)
class CompareSettings:
    """What agrees with what, and how much that says."""

    temperature_k: float = knob(
        3.0,
        "K",
        "Temperatures further apart are remarked on: a room changes so much in a day; common practice, no source.",
    )
    repeat_rf: float = knob(
        0.007,
        "Rf",
        "Standard deviation of one substance from lane to lane of one sheet, beside what the photo is uncertain by: values of one sheet "
        "repeat to about 0.02 (a student report), and 2 · √2 · 0.007 = 0.02. Own runs replace it where there are enough.",
    )
    repeat_freedom: int = knob(
        6, "", "Repeats beyond the first, over all sheets, from which own runs' spread within a sheet counts."
    )
    few_practicals: int = knob(
        3,
        "",
        "Own runs of fewer practicals do not show how far days differ: they are taken to spread by half the window at least. Set by judgement.",
    )
    window_rf: float = knob(
        0.05,
        "Rf",
        "The lead's own window for values whose source gives no uncertainty; no pharmacopoeia states one. Sources differ by 0.1 to 0.4.",
    )
    e_doubtful: float = knob(
        1.5,
        "",
        "E_n above 1 up to this is doubtful: three standard uncertainties, where ISO 13528 turns from warning to action (from memory).",
    )
    set_risk: float = knob(
        0.01, "", "Risk that the right set of references is refused for a lane: one joint test a lane, not one a spot."
    )
    least_rf: float = knob(0.02, "Rf", "A reference that hardly leaves the origin names nothing.")
    most_rf: float = knob(
        SpotSettings().near_front,
        "Rf",
        "A reference beyond ran with the front and names nothing: the figure of `spot.near_front`, which says so of measured spots.",
    )
    unseen_front: float = knob(
        0.01,
        "",
        "Where no front is seen its slant is not either: lanes of one sheet may differ in run by so large a share of it.",
    )
    listed: int = knob(12, "", "Candidates listed a spot; the others are counted.")
    listed_out: int = knob(5, "", "Substances ruled out that are listed a spot, the nearest; the others are counted.")
    compared: int = knob(
        16,
        "",
        "Of the substances whose Rf fits, the nearest so many have their colours compared, and may account for a spot of a lane; more at one place say nothing anyway.",
    )
    assignments: int = knob(
        2000,
        "",
        "Ways of assigning a lane's spots to references that are tried; with more, the lane says it cannot tell.",
    )
    colour_depth: float = knob(
        0.5,
        "absorbance",
        "Two colours are brought to this depth before they are compared: more of a dye is darker, not another colour.",
    )
    colour_least: float = knob(
        0.08, "absorbance", "Paler spots tell no colour: a level of 255 is then a twentieth of it."
    )
    colour_agrees: float = knob(
        10.0,
        "ΔE00",
        "Colours at most so far apart agree: light and a phone's own processing leave so much; set by judgement.",
    )
    colour_differs: float = knob(
        20.0, "ΔE00", "Colours further apart speak against each other; in between nothing is said. Set by judgement."
    )
    grey_chroma: float = knob(7.0, "C*", "Below it a colour has no hue that people would name.")
    black_l: float = knob(28.0, "L*", "A grey darker than this is called black.")
    white_l: float = knob(93.0, "L*", "A grey lighter than this is called white.")
    hues: tuple[tuple[float, str], ...] = knob(
        (
            *((20.0, "pink"), (48.0, "red"), (80.0, "orange"), (113.0, "yellow"), (172.0, "green")),
            *((222.0, "turquoise"), (302.0, "blue"), (335.0, "violet"), (360.0, "pink")),
        ),
        "°",
        "Hue angle of L*a*b* up to which a word holds.",
    )
    blue_tilt: float = knob(
        0.08, "°", "So much further a unit of chroma blue reaches: strong blues lie at higher hue angles in L*a*b*."
    )
    light_red_l: float = knob(65.0, "L*", "Red lighter than this is called pink.")
    dark_red_l: float = knob(42.0, "L*", "Red darker than this is called brown, pink darker than this red.")
    brown_l: float = knob(58.0, "L*", "Orange and yellow darker than this are called brown.")
    brown_chroma: float = knob(26.0, "C*", "Orange duller than this is called brown, unless it is very light.")
    alike_phases: float = knob(
        0.9, "", "Mobile phases whose Rf correlate so closely over the library tell the same again, and count as one."
    )
    alike_least: int = knob(
        5, "", "Substances with values in both mobile phases from which a correlation is worth looking at."
    )
    outlying_sheets: float = knob(
        0.2,
        "",
        "Of the sheets of one unknown under one mobile phase that tell, so large a share may be of the other mind without overturning "
        "the rest: in a class a sheet in ten is mixed up, and fewer than five sheets must not contradict each other. Set by judgement.",
    )
    advised: int = knob(
        30,
        "",
        "Candidates up to which all their pairs are worked out for what to run next; with more, for the first so many.",
    )
    csv_bytes: int = knob(2_000_000, "byte", "A file of references: 5,000 values take some 600 kB; more is a mistake.")
