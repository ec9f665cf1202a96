"""How far a strip stands off the card."""

from __future__ import annotations

from dataclasses import dataclass

from webcapture.settings.knob import knob


@dataclass(frozen=True, slots=True)
class FlatnessSettings:
    """How far a strip stands off the card."""

    rises_mm: tuple[float, ...] = knob(
        (0.2, 0.7, 2.0),
        "mm",
        "Standard deviations of the rise of a strip that somebody laid on the card: flat, as paper does, and bent. Of 301 spots on bent strips of the sixteenth generator, whose bend the edges often cannot tell, 241 lay inside ± U with half as much, 265 with this; in typical photos U grew by a tenth.",
    )
    skewed: float = knob(0.4, "", "The same for an uneven rise, as a share.")
    shape_share: float = knob(
        0.9, "", "Share of its rise by which a bent strip departs from an even arch: ends curl, wet paper cockles."
    )
    cuts_mm: tuple[float, ...] = knob(
        (0.01, 0.03, 0.1, 0.2, 0.4),
        "mm",
        "How far edges are cut from straight: by a guillotine, a knife along a ruler, scissors.",
    )
    snip_mm: float = knob(25.0, "mm", "Length over which scissors keep their way.")
    cut_mm: float = knob(0.06, "mm", "How far even a ruler's edge is bowed all along.")
    u_edge_least_mm: float = knob(0.03, "mm", "Edge points are not independent: fibres, blur.")
    edge_points: int = knob(
        20, "", "More points of an edge than so many tell no more: neighbours share fibres and blur."
    )
    flag_mm: float = knob(1.0, "mm", "A rise that shifts a spot by 0.005 in Rf at a tilt of 30°.")
    flag_u: float = knob(2.0, "standard uncertainties", "A smaller rise may be none.")
