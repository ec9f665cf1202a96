"""Draw at random how the card is photographed: camera, light and what lies around."""

from __future__ import annotations

import math

import numpy as np

from webcapture.synthetic.classes import Class
from webcapture.synthetic.scene import CameraSetup, Light, LoosePaper, ShadowEdge, Surroundings, Triple

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
