"""The classes of photos as ranges to draw from, and the invented dyes."""

from __future__ import annotations

from dataclasses import dataclass

from webcapture.synthetic.scene import Dye

DYES = (
    Dye("Marl red", (0.10, 1.00, 0.62)),
    Dye("Tarn blue", (1.00, 0.48, 0.10)),
    Dye("Gorse yellow", (0.04, 0.22, 1.00)),
    Dye("Fell violet", (0.62, 1.00, 0.30)),
    Dye("Moss green", (1.00, 0.35, 0.85)),
    Dye("Clay orange", (0.05, 0.62, 1.00)),
    Dye("Peat brown", (0.45, 0.75, 1.00)),
    Dye("Slate grey", (0.90, 1.00, 0.95)),
    Dye("Heather pink", (0.06, 1.00, 0.38)),
    Dye("Beck turquoise", (1.00, 0.28, 0.22)),
)
"""Invented dyes; none exists under these names."""


@dataclass(frozen=True, slots=True)
class Class:
    """Ranges (low, high) from which a class of photos draws; signed where it says ±."""

    tilt_deg: tuple[float, float]
    fill: tuple[float, float]
    k1: float
    """±."""
    roll_deg: float
    """± about a quarter turn."""
    aligned: float
    """Share of photos in which the card's long side lies along the frame's."""
    gradient: tuple[float, float]
    colour_gradient: float
    """±."""
    cast: float
    """± per channel."""
    exposure: tuple[float, float]
    veil: float
    tone: float
    defocus_px: tuple[float, float]
    motion_px: float
    shot_noise: tuple[float, float]
    quality: tuple[int, int]
    shadows: tuple[float, ...]
    """Chances of no, one, two shadow edges."""
    shadow_depth: tuple[float, float]
    lift_mm: float
    snipped: float
    """Share of papers cut with scissors."""
    snip_mm: tuple[float, float]
    """Standard deviation of where scissors were set anew from a straight edge."""
    tails: float
    """Share of spots with a tail."""
    drag_mm: tuple[float, float]
    ragged_mm: tuple[float, float]
    ripple_mm: float
    slant_mm: float
    """± over the strip's width, per 20 mm of it; at most 4 mm in all."""
    bow_mm: float
    """±."""
    peak: tuple[float, float]
    resolution: float
    """Least resolution between the spots of a lane."""
    clearance_mm: float
    """Least distance of a spot's edge from origin line and front."""
    mess: float
    """Chance of each of: finger marks, creases, loose papers."""


TYPICAL = Class(
    tilt_deg=(0, 14), fill=(0.78, 0.82), k1=0.012, roll_deg=5, aligned=0.8, gradient=(0.0, 0.15), colour_gradient=0.03,
    cast=0.07, exposure=(0.68, 0.88), veil=0.008, tone=0.0, defocus_px=(0.6, 0.9), motion_px=0.0, shot_noise=(0.004, 0.010),
    quality=(88, 95), shadows=(1.0,), shadow_depth=(0.0, 0.0), lift_mm=0.0, snipped=0.6, snip_mm=(0.03, 0.2), tails=0.12, drag_mm=(0.5, 1.8), ragged_mm=(0.05, 0.2),
    ripple_mm=0.0, slant_mm=0.3, bow_mm=0.3, peak=(0.07, 0.8), resolution=1.3, clearance_mm=2.5, mess=0.15,
)  # fmt: skip

HARD = Class(
    tilt_deg=(12, 32), fill=(0.62, 0.90), k1=0.05, roll_deg=14, aligned=0.65, gradient=(0.1, 0.5), colour_gradient=0.12,
    cast=0.18, exposure=(0.5, 0.95), veil=0.03, tone=0.2, defocus_px=(0.8, 2.0), motion_px=2.0, shot_noise=(0.008, 0.022),
    quality=(60, 80), shadows=(0.45, 0.4, 0.15), shadow_depth=(0.12, 0.45), lift_mm=2.0, snipped=0.6, snip_mm=(0.04, 0.3), tails=0.4, drag_mm=(0.8, 3.5),
    ragged_mm=(0.15, 0.6), ripple_mm=0.25, slant_mm=0.8, bow_mm=0.9, peak=(0.045, 0.9), resolution=1.15, clearance_mm=1.0, mess=0.4,
)  # fmt: skip
