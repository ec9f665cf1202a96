"""Draw at random how the card is photographed: camera, light and what lies around."""

from __future__ import annotations

import math

import numpy as np

from webcapture.card.layout import CardLayout
from webcapture.synthetic.classes import Class
from webcapture.synthetic.scene import CameraSetup, Light, LoosePaper, ShadowEdge, Surroundings, Thing, Triple

Rng = np.random.Generator


def camera(rng: Rng, kind: Class) -> CameraSetup:
    """A phone of 12 MP in somebody's hand."""
    portrait = rng.random() < 0.7
    aligned = rng.random() < kind.aligned
    quarter = (0 if portrait == aligned else 90) + float(rng.choice([0, 0, 180]))
    plain = rng.random() < 0.8
    return CameraSetup(
        size_px=(3000, 4000) if portrait else (4000, 3000),
        fov_deg=rng.uniform(60, 75),
        tilt_deg=rng.uniform(*kind.tilt_deg),
        azimuth_deg=rng.uniform(0, 360),
        roll_deg=quarter + rng.uniform(-1, 1) * kind.roll_deg,
        fill=rng.uniform(*kind.fill),
        offset=(rng.uniform(-0.03, 0.03), rng.uniform(-0.03, 0.03)),
        k1=rng.uniform(-1, 1) * kind.k1,
        k2=rng.uniform(-0.2, 0.2) * kind.k1,
        vignetting=rng.uniform(0.05, 0.25),
        veil=rng.uniform(0, kind.veil),
        exposure=rng.uniform(*kind.exposure),
        cast=_cast(rng, kind),
        tone=rng.uniform(0, 1) * kind.tone,
        defocus_px=rng.uniform(*kind.defocus_px),
        motion_px=max(0.0, rng.uniform(-1, 1)) * kind.motion_px,
        motion_deg=rng.uniform(0, 180),
        shot_noise=rng.uniform(*kind.shot_noise),
        read_noise=rng.uniform(0.0008, 0.003),
        sharpening=rng.uniform(0.1, 0.6),
        quality=int(rng.integers(kind.quality[0], kind.quality[1] + 1)),
        orientation=int(rng.choice([1, 3, 6, 8])) if plain else int(rng.integers(1, 9)),
        display_p3=rng.random() < 0.3,
    )


def _cast(rng: Rng, kind: Class) -> Triple:
    """A wrong white balance: warm or cold, and a little green or pink."""
    warm, green = rng.uniform(-1, 1) * kind.cast, rng.uniform(-0.4, 0.4) * kind.cast
    brightest = max(1 + warm, 1 + green, 1 - warm)
    return (1 + warm) / brightest, (1 + green) / brightest, (1 - warm) / brightest


def light(rng: Rng, kind: Class, page: tuple[float, float]) -> Light:
    """Lamps and windows, and what stands before them."""
    count = int(rng.choice(len(kind.shadows), p=kind.shadows))
    return Light(
        gradient=rng.uniform(*kind.gradient),
        gradient_deg=rng.uniform(0, 360),
        bowl=rng.uniform(0, 0.3) * kind.gradient[1],
        colour_gradient=rng.uniform(-1, 1) * kind.colour_gradient,
        lamp_deg=rng.uniform(0, 360),
        slant=rng.uniform(0.3, 1.3),
        shadows=tuple(_shadow(rng, kind, page) for _ in range(count)),
        glares=(),
    )


def _shadow(rng: Rng, kind: Class, page: tuple[float, float]) -> ShadowEdge:
    return ShadowEdge(
        at_mm=(rng.uniform(0.15, 0.85) * page[0], rng.uniform(0.15, 0.85) * page[1]),
        turn_deg=rng.uniform(0, 360),
        depth=rng.uniform(*kind.shadow_depth),
        softness_mm=rng.uniform(3, 30),
        width_mm=rng.uniform(25, 70) if rng.random() < 0.3 else None,
    )


def surroundings(rng: Rng, kind: Class, page: tuple[float, float]) -> Surroundings:
    """A bench, and papers lying about beside the card."""
    bench = str(rng.choice(["wood", "wood", "stone", "slate", "mat", "white"]))
    count = int(rng.integers(1, 4)) if rng.random() < 2 * kind.mess else 0
    return Surroundings(bench, tuple(_beside(rng, page) for _ in range(count)))


def _beside(rng: Rng, page: tuple[float, float]) -> LoosePaper:
    """A paper beside the card, perhaps reaching under it."""
    angle = rng.uniform(0, 2 * math.pi)
    size = (rng.uniform(80, 210), rng.uniform(100, 297))
    reach = 0.5 * math.hypot(*size) * rng.uniform(0.7, 1.1)
    x = page[0] / 2 + math.cos(angle) * (page[0] / 2 + reach)
    y = page[1] / 2 + math.sin(angle) * (page[1] / 2 + reach)
    return LoosePaper((x, y), size, rng.uniform(-180, 180), rng.random() < 0.8, False, rng.uniform(0.7, 0.88))


def clutter(rng: Rng, kind: Class, card: CardLayout, around: Surroundings) -> Surroundings:
    """Pens and lids beside the card, and in poor photos a scrap of paper over one of its tags."""
    things = tuple(_thing(rng, card.page_mm) for _ in range(int(rng.integers(1, 3))) if rng.random() < 2 * kind.mess)
    scraps: tuple[LoosePaper, ...] = ()
    if rng.random() < 0.5 * kind.mess:
        scraps = (scrap_over_tag(rng, card, int(rng.integers(len(card.tags)))),)
    return Surroundings(around.bench, around.papers + scraps, things)


def _thing(rng: Rng, page: tuple[float, float]) -> Thing:
    """A pen along one side of the card, or a lid at one of its corners."""
    if rng.random() < 0.5:
        side = float(rng.choice([-1, 1]))
        x = page[0] / 2 + side * (page[0] / 2 + rng.uniform(20, 45))
        colour = ((0.05, 0.07, 0.3), (0.4, 0.04, 0.05), (0.04, 0.04, 0.04), (0.6, 0.5, 0.08))[int(rng.integers(4))]
        return Thing("pen", (x, rng.uniform(0.2, 0.8) * page[1]), rng.uniform(130, 150), 90 + rng.normal(0, 12), colour)
    diameter = rng.uniform(40, 80)
    apart = 0.36 * diameter + 2
    x, y = (-apart if rng.random() < 0.5 else side + apart for side in page)
    level = rng.uniform(0.3, 0.8)
    return Thing("lid", (x, y), diameter, 0.0, (level, level, 0.97 * level))


def scrap_over_tag(rng: Rng, card: CardLayout, number: int) -> LoosePaper:
    """A scrap of paper that covers one tag from outside the card and stays off the panel."""
    x, y = card.tags[number].rect.centre
    # The page's side the tag is nearest to; the scrap reaches in from there.
    ways = {(-1, 0): x, (1, 0): card.page_mm[0] - x, (0, -1): y, (0, 1): card.page_mm[1] - y}
    dx, dy = min(ways, key=lambda way: ways[way])
    deep, wide = rng.uniform(50, 90), rng.uniform(22, 40)
    size = (deep, wide) if dx else (wide, deep)
    reach = deep / 2 - 7.0
    centre = (x + dx * reach, y + dy * reach)
    return LoosePaper(centre, size, rng.uniform(-3, 3), True, True, rng.uniform(0.7, 0.88))
