"""What a solvent swept along to its front and left there, across the line it makes: a narrow ridge, or an edge with a long tail."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from webcapture.measure.field import Field
from webcapture.measure.tracing import Trace
from webcapture.measure.traits import BINOMIAL, offsets_of, rows_along, rows_at
from webcapture.model import Floats
from webcapture.robust import median
from webcapture.settings import LandmarkSettings

BLUE = 2
"""The channel that shows what is brown best."""
NEARLY = 0.8
"""Share of the way to where a stain has faded by half, at which its colour is taken."""


@dataclass(frozen=True, slots=True, eq=False)
class Edge:
    """How a stain ends on the dry side."""

    at_mm: float
    """Half-way from its darkest place to the dry paper, from where it was traced."""
    height: Floats
    """(3,) absorbance of its darkest place above that paper."""
    fall_mm: float
    """Over how much it falls from eight tenths of that to two."""
    above_mm: float
    """From the darkest place to half of its height on the dry side."""
    below_mm: float
    """The same on the other side, as far as it was looked at."""
    behind: Floats
    """(3,) absorbance above the dry paper where it has faded by nearly half."""
    channel: int = BLUE
    """The channel in which its shape was taken."""

    def is_sharp(self, rule: LandmarkSettings) -> bool:
        """Whether it ends as no band of a dye does, and fades slowly the other way: then it ends where the solvent stopped."""
        lopsided = self.below_mm >= rule.swept_lopsided * self.above_mm
        return lopsided and self.fall_mm <= rule.swept_fall_mm and self.height[self.channel] <= rule.swept_most

    def lift_mm(self, rule: LandmarkSettings) -> float:
        """How far beyond its darkest place the solvent stopped: not at all where it fades alike on both sides, at its edge where it fades slowly behind it."""
        low, high = rule.edge_lopsided
        share = (self.below_mm / max(self.above_mm, 1e-6) - low) / (high - low)
        return self.above_mm * float(np.clip(share, 0.0, 1.0))

    def is_thread(self, rule: LandmarkSettings) -> bool:
        """Whether it is faint and coloured, ends as sharply as no band of a dye does, and is wider behind than before."""
        sharp = self.above_mm <= rule.thread_above_mm and self.fall_mm <= rule.thread_fall_mm
        short = self.below_mm <= rule.thread_below_mm
        lopsided = self.below_mm >= rule.thread_lopsided * self.above_mm
        coloured = _greyness(self.height) < rule.thread_grey
        return (
            sharp
            and short
            and lopsided
            and coloured
            and rule.thread_least <= self.height[self.channel] <= rule.swept_most
        )

    def fades_behind(self, rule: LandmarkSettings) -> bool:
        """Whether what looks like a pencil line fades towards the origin as no pencil line does, which is as wide there as the photo blurs it."""
        ratio = self.below_mm / max(self.above_mm, 1e-6)
        broad = self.below_mm >= rule.grey_stain_mm and ratio >= rule.grey_stain_lopsided
        # A line drawn on the edge of a band of colour is grey, and what lies behind it is not.
        alike = _greyness(self.behind) >= rule.grey_stain_alike * _greyness(self.height)
        return broad and alike and self.height[BLUE] >= rule.stain_least


def edge_of(
    trace: Trace, field: Field, rule: LandmarkSettings, among: np.ndarray | None = None, channel: int = BLUE
) -> Edge | None:
    """The dry side of a stain, its places laid on one another; None where nothing rises above the paper there.

    among: (bins,) which to take it from, instead of all; channel: in which its shape is taken.
    """
    step = rule.profile_mm
    offsets = offsets_of(rule.swept_reach_mm, step)
    places = field.fine_s_mm[0] + trace.rows * field.row_mm
    # What runs right across shows in most places; a spot that ran close to the front, in some.
    bins = np.arange(len(places)) if among is None or not among.any() else np.flatnonzero(among)
    profile = np.asarray(median(field.fine[rows_at(places[bins], field, offsets), bins[:, None]], axis=0))
    shown = np.convolve(np.pad(profile[:, channel], 1, mode="edge"), BINOMIAL, mode="valid")
    near = np.flatnonzero(np.abs(offsets) <= rule.swept_peak_mm)
    peak = int(near[np.argmax(shown[near])])
    low, high = rule.swept_dry_mm
    dry = (offsets > offsets[peak] + low) & (offsets < offsets[peak] + high)
    height = profile[peak] - median(profile[dry], axis=0)
    paper = float(median(shown[dry]))
    if height[channel] <= 0 or shown[peak] <= paper:
        return None
    share = (shown - paper) / (shown[peak] - paper)
    below = _fallen(share[peak::-1], 0.5)
    falls = [_fallen(share[peak:], level) * step for level in (0.8, 0.5, 0.2)]
    return Edge(
        at_mm=float(offsets[peak]) + falls[1],
        height=np.asarray(height, float),
        fall_mm=falls[2] - falls[0],
        above_mm=falls[1],
        below_mm=below * step,
        behind=np.asarray(profile[max(peak - round(NEARLY * below), 0)] - median(profile[dry], axis=0), float),
        channel=channel,
    )


def _greyness(colour: Floats) -> float:
    """Least of a colour's (3,) channels over the most: 1 of a grey one."""
    return float(colour.min() / max(colour.max(), 1e-6))


def _fallen(share: Floats, level: float) -> float:
    """After how many places a profile first lies below a level, between places; all of them where it never does."""
    below = np.flatnonzero(share < level)
    if not len(below) or below[0] == 0:
        return float(len(share) if not len(below) else 0)
    after = int(below[0])
    before, at = float(share[after - 1]), float(share[after])
    return after - (level - at) / max(before - at, 1e-9)


def densest_offset(trace: Trace, field: Field, rule: LandmarkSettings, channel: int = BLUE) -> float:
    """How far from its traced middle a stain is darkest: it fades slowly behind the front and ends sharply before it."""
    step = rule.profile_mm
    offsets = offsets_of(rule.densest_reach_mm, step)
    profile = field.fine[rows_along(trace, field, offsets), np.arange(len(trace.seen))[:, None], channel].mean(axis=0)
    smooth = np.convolve(profile, BINOMIAL, mode="valid")
    peak = int(np.clip(np.argmax(smooth), 1, len(smooth) - 2))
    before, at, after = smooth[peak - 1 : peak + 2]
    bend = before - 2 * at + after
    return float(offsets[peak + 1] + (step * 0.5 * (before - after) / bend if bend < 0 else 0.0))
