"""Seeded photos of each class: ``typical``, ``hard`` and ``tray``. The same seed gives the same scene."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from webcapture.card.layout import Bay, card_layout
from webcapture.model import Point
from webcapture.synthetic.scene import (
    CameraSetup,
    Crease,
    Curve,
    Dye,
    Finger,
    Front,
    Glare,
    Lane,
    Lift,
    Light,
    LoosePaper,
    OriginLine,
    PaperStrip,
    Scene,
    ShadowEdge,
    Spot,
    Stock,
    Surroundings,
    Triple,
    Writing,
)

Rng = np.random.Generator

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
    tone: float
    defocus_px: tuple[float, float]
    motion_px: float
    shot_noise: tuple[float, float]
    quality: tuple[int, int]
    shadows: tuple[float, ...]
    """Chances of no, one, two shadow edges."""
    shadow_depth: tuple[float, float]
    lift_mm: float
    tails: float
    """Share of spots with a tail."""
    ragged_mm: tuple[float, float]
    ripple_mm: float
    slant_mm: float
    """± over the strip's width, per 20 mm of it; at most 4 mm in all."""
    bow_mm: float
    """±."""
    peak: tuple[float, float]
    resolution: float
    """Least resolution between the spots of a lane."""
    mess: float
    """Chance of each of: finger marks, creases, loose papers."""


TYPICAL = Class(
    tilt_deg=(0, 14), fill=(0.78, 0.82), k1=0.012, roll_deg=5, aligned=0.8, gradient=(0.0, 0.15), colour_gradient=0.03,
    cast=0.07, exposure=(0.68, 0.88), tone=0.0, defocus_px=(0.6, 0.9), motion_px=0.0, shot_noise=(0.004, 0.010),
    quality=(88, 95), shadows=(1.0,), shadow_depth=(0.0, 0.0), lift_mm=0.0, tails=0.1, ragged_mm=(0.05, 0.2),
    ripple_mm=0.0, slant_mm=0.3, bow_mm=0.3, peak=(0.07, 0.8), resolution=1.25, mess=0.15,
)  # fmt: skip

HARD = Class(
    tilt_deg=(12, 32), fill=(0.62, 0.90), k1=0.05, roll_deg=14, aligned=0.65, gradient=(0.1, 0.5), colour_gradient=0.12,
    cast=0.18, exposure=(0.5, 0.95), tone=0.2, defocus_px=(0.8, 2.0), motion_px=2.0, shot_noise=(0.008, 0.022),
    quality=(60, 80), shadows=(0.45, 0.4, 0.15), shadow_depth=(0.12, 0.45), lift_mm=2.0, tails=0.35,
    ragged_mm=(0.15, 0.6), ripple_mm=0.25, slant_mm=0.8, bow_mm=0.9, peak=(0.045, 0.9), resolution=1.1, mess=0.4,
)  # fmt: skip


def typical(seed: int) -> Scene:
    """A careful person's photo of a strip or a sheet on the sheet card."""
    return _on_sheet(seed, TYPICAL)


def hard(seed: int) -> Scene:
    """A hurried person's photo in poor light."""
    return _on_sheet(seed, HARD)


def tray(seed: int, hard: bool = False) -> Scene:
    """A full tray: a strip in every bay."""
    kind = HARD if hard else TYPICAL
    rng = np.random.default_rng([seed, 7001 if hard else 7000])
    paper = _paper(rng)
    strips = tuple(narrow_strip(rng, kind, bay) for bay in card_layout("tray", paper).bays)
    return _scene(rng, kind, "tray", paper, strips, seed)


def _on_sheet(seed: int, kind: Class) -> Scene:
    rng = np.random.default_rng([seed, 8001 if kind is HARD else 8000])
    paper = _paper(rng)
    bay = card_layout("sheet", paper).bays[0]
    strip = narrow_strip(rng, kind, bay) if rng.random() < 0.55 else wide_sheet(rng, kind, bay)
    return _scene(rng, kind, "sheet", paper, (strip,), seed)


def _paper(rng: Rng) -> str:
    return "letter" if rng.random() < 0.25 else "a4"


def _scene(rng: Rng, kind: Class, layout: str, paper: str, strips: tuple[PaperStrip, ...], seed: int) -> Scene:
    page = card_layout(layout, paper).page_mm
    return Scene(
        layout=layout,
        paper=paper,
        strips=strips,
        camera=camera(rng, kind),
        light=light(rng, kind, page),
        surroundings=surroundings(rng, kind, page),
        seed=seed,
    )


# Paper objects


def narrow_strip(rng: Rng, kind: Class, bay: Bay) -> PaperStrip:
    """A strip with one lane."""
    tray_bay = bay.rect.width < 40
    width = rng.uniform(15, 21) if tray_bay else rng.uniform(15, 30)
    length = rng.uniform(100, min(205, bay.rect.height - 4))
    origin, front = lines(rng, kind, width, length)
    banded = rng.random() < 0.4
    lane = Lane(
        t_mm=width / 2 + (0 if banded else rng.uniform(-0.06, 0.06) * width),
        spots=spots(rng, kind, front.curve.level_mm - origin.curve.level_mm, wide=banded),
        mark="none" if banded else str(rng.choice(["none", "cross", "dot", "tick"])),
        band=banded,
        width_mm=min(10.0, 0.5 * width),
    )
    return _laid(rng, kind, bay, width, length, origin, front, (lane,))


def wide_sheet(rng: Rng, kind: Class, bay: Bay) -> PaperStrip:
    """A sheet with several lanes."""
    width = rng.uniform(80, bay.rect.width - 5)
    length = rng.uniform(110, min(208, bay.rect.height - 4))
    count = int(rng.integers(2, min(6, int(width / 18)) + 1))
    origin, front = lines(rng, kind, width, length)
    mark = str(rng.choice(["cross", "cross", "tick", "dot"]))
    pitch = width / count
    run = front.curve.level_mm - origin.curve.level_mm
    lanes = tuple(
        Lane((n + 0.5) * pitch + rng.uniform(-0.06, 0.06) * pitch, spots(rng, kind, run, wide=False), mark, False, 8.0)
        for n in range(count)
    )
    return _laid(rng, kind, bay, width, length, origin, front, lanes)


def lines(rng: Rng, kind: Class, width: float, length: float) -> tuple[OriginLine, Front]:
    """Origin line and front of a paper of that size."""
    origin_level = rng.uniform(10, 0.5 * (10 + min(35, 0.22 * length)) + 8)
    origin = OriginLine(
        Curve(origin_level, slope=rng.normal(0, 0.004), mid_mm=width / 2, ripple=_waver(rng)),
        thickness_mm=rng.uniform(0.3, 0.6),
        absorbance=rng.uniform(0.15, 0.5),
    )
    level = origin_level + rng.uniform(0.68, 0.93) * (length - origin_level - 4)
    slant = float(np.clip(rng.normal(0, 0.5) * kind.slant_mm * width / 20, -4, 4))
    bow = rng.uniform(-1, 1) * kind.bow_mm * min(1.0, width / 40)
    curve = Curve(level, slant / width, bow / (width / 2) ** 2, width / 2, _ripple(rng, kind))
    return origin, _front(rng, curve, width)


def _waver(rng: Rng) -> tuple[Triple, ...]:
    """A ruled pencil line is not quite straight."""
    return ((rng.uniform(0, 0.04), rng.uniform(15, 60), rng.uniform(0, 6.3)),)


def _ripple(rng: Rng, kind: Class) -> tuple[Triple, ...]:
    if kind.ripple_mm <= 0:
        return ()
    return tuple(
        (kind.ripple_mm * rng.uniform(0, 1) * share, wavelength * rng.uniform(0.8, 1.25), rng.uniform(0, 6.3))
        for share, wavelength in ((1.0, 14.0), (0.5, 6.0))
    )


def _front(rng: Rng, curve: Curve, width: float) -> Front:
    kind = str(rng.choice(["pencil", "pencil", "pencil", "wet-edge", "stain"]))
    if kind == "wet-edge":
        fade = 0.0 if rng.random() < 0.5 else rng.uniform(60, 200)
        return Front(curve, kind, rng.uniform(0.012, 0.03), rng.uniform(0.4, 0.9), fade)
    if kind == "stain":
        return Front(curve, kind, rng.uniform(0.05, 0.14), rng.uniform(0.25, 0.5))
    # A pencil line is ruled: it follows the front's slant and bow, not its ripple.
    ruled = Curve(curve.level_mm, curve.slope, curve.bow, curve.mid_mm, _waver(rng))
    span = None
    if rng.random() < 0.3:
        start = rng.uniform(0.0, 0.3) * width
        span = (start, start + rng.uniform(0.5, 0.9) * (width - start))
    return Front(ruled, kind, rng.uniform(0.15, 0.45), rng.uniform(0.3, 0.6), 0.0, span)


def spots(rng: Rng, kind: Class, run_mm: float, wide: bool) -> tuple[Spot, ...]:
    """Up to five spots a lane, apart enough to be told apart."""
    wanted = int(rng.integers(1, 6))
    order = rng.permutation(len(DYES))
    placed: list[Spot] = []
    for _ in range(60):
        if len(placed) == wanted:
            break
        new = _spot(rng, kind, DYES[order[len(placed)]], run_mm)
        if all(_resolved(new, old, run_mm, kind.resolution) for old in placed) and _clear(new, run_mm):
            placed.append(new)
    return tuple(placed)


def _spot(rng: Rng, kind: Class, dye: Dye, run_mm: float) -> Spot:
    tail = rng.random() < kind.tails
    peak = math.exp(rng.uniform(math.log(kind.peak[0]), math.log(kind.peak[1])))
    return Spot(
        dye=dye,
        rf=rng.uniform(0.08, 0.92),
        peak=max(peak, 0.15) if tail else peak,
        applied_mm=rng.uniform(0.8, 1.4),
        plate_mm=rng.uniform(0.02, 0.08),
        overload=rng.uniform(0.1, 0.6) if tail and rng.random() < 0.6 else 0.0,
        drag_mm=rng.uniform(0.4, 1.6) if tail else 0.0,
        drift_mm=rng.normal(0, 0.6),
    )


def _sigma(spot: Spot, run_mm: float) -> float:
    return math.sqrt(spot.applied_mm**2 + spot.plate_mm * spot.rf * run_mm) + 0.8 * spot.drag_mm + 2.5 * spot.overload


def _resolved(a: Spot, b: Spot, run_mm: float, least: float) -> bool:
    # An overloaded spot runs ahead of its nominal Rf by up to some millimetres.
    apart = abs(a.rf - b.rf) * run_mm - 3 * max(a.overload, b.overload)
    return apart > least * 2 * (_sigma(a, run_mm) + _sigma(b, run_mm))


def _clear(spot: Spot, run_mm: float) -> bool:
    """Neither on the origin nor at the front: those are adverse cases of their own."""
    reach = 2.5 * _sigma(spot, run_mm)
    return spot.rf * run_mm > reach + 1 and (1 - spot.rf) * run_mm > reach + 1 + 6 * spot.overload


def _laid(
    rng: Rng, kind: Class, bay: Bay, width: float, length: float, origin: OriginLine, front: Front,
    lanes: tuple[Lane, ...],
) -> PaperStrip:  # fmt: skip
    """The paper laid into its bay, with the marks of use on it."""
    turn = _turn(rng, bay, width, length)
    hard = kind is HARD
    return PaperStrip(
        bay=bay.bay,
        centre_mm=_centre(rng, bay, width, length, turn),
        width_mm=width,
        length_mm=length,
        origin=origin,
        front=front,
        lanes=lanes,
        turn_deg=turn,
        taper_mm=rng.normal(0, 0.4),
        stock=_stock(rng),
        lift=_lift(rng, kind),
        ragged_mm=rng.uniform(*kind.ragged_mm),
        streaks=rng.uniform(0.05, 0.3 if hard else 0.2),
        writings=_writings(rng, width, length, origin, front, lanes),
        creases=_creases(rng, kind, width, length),
        fingers=_fingers(rng, kind, width, length),
    )


def _extent(width: float, length: float, turn_deg: float) -> tuple[float, float]:
    """Width and height of the box around a turned paper."""
    c, s = abs(math.cos(math.radians(turn_deg))), abs(math.sin(math.radians(turn_deg)))
    return width * c + length * s, length * c + width * s


def _turn(rng: Rng, bay: Bay, width: float, length: float) -> float:
    """As asked for, as far as the bay has room."""
    turn = float(np.clip(rng.normal(0, 4), -10, 10))
    while abs(turn) > 0.05:
        box = _extent(width, length, turn)
        if box[0] <= bay.rect.width - 0.5 and box[1] <= bay.rect.height - 0.5:
            return turn
        turn *= 0.8
    return 0.0


def _centre(rng: Rng, bay: Bay, width: float, length: float, turn: float) -> Point:
    """Somewhere in the bay; now and then pushed against one of its sides."""
    box = _extent(width, length, turn)
    slack = (bay.rect.width - box[0]) / 2, (bay.rect.height - box[1]) / 2
    share = [float(rng.uniform(-0.9, 0.9)), float(rng.uniform(-0.9, 0.9))]
    if rng.random() < 0.25:
        share[int(rng.integers(2))] = float(rng.choice([-1.0, 1.0]))
    x, y = bay.rect.centre
    return x + share[0] * slack[0], y + share[1] * slack[1]


def _stock(rng: Rng) -> Stock:
    base = rng.uniform(0.004, 0.03)
    return Stock(
        scatter=rng.uniform(2.5, 5.0),
        own=(base, base * rng.uniform(1.0, 1.3), base * rng.uniform(1.1, 2.2)),
        grain=rng.uniform(0.006, 0.016),
    )


def _lift(rng: Rng, kind: Class) -> Lift:
    if kind.lift_mm <= 0 or rng.random() < 0.4:
        return Lift()
    form = str(rng.choice(["arch", "end", "curl"]))
    return Lift(form, rng.uniform(0.3, kind.lift_mm), rng.uniform(0.3, 0.7))


_WORDS = ("A", "B", "C", "D", "S1", "S2", "R1", "X", "Mk 3", "12.4", "T7", "Fd", "Wn", "ref", "dye 2", "K", "N4")


def _writings(
    rng: Rng, width: float, length: float, origin: OriginLine, front: Front, lanes: tuple[Lane, ...]
) -> tuple[Writing, ...]:
    found = []
    below = origin.curve.level_mm / 2
    if rng.random() < 0.7 and below > 5:
        size = min(rng.uniform(2.5, 4.5), 0.8 * below)
        s = min(below, origin.curve.level_mm - size / 2 - 2.5)
        found += [_word(rng, s, lane.t_mm, size, width / max(1, len(lanes))) for lane in lanes]
    room = length - front.curve.level_mm
    if rng.random() < 0.5 and room > 9:
        s = length - min(room, 12) / 2 + 0.5
        found.append(_word(rng, s, width / 2, min(4.0, room / 3), 0.9 * width))
    return tuple(found)


def _word(rng: Rng, s: float, t: float, size: float, room: float) -> Writing:
    text = str(rng.choice(_WORDS))
    size = min(size, room / (len(text) * 0.95))
    return Writing(text, s, t, size, rng.normal(0, 3), rng.uniform(0.15, 0.45))


def _creases(rng: Rng, kind: Class, width: float, length: float) -> tuple[Crease, ...]:
    if rng.random() > 0.6 * kind.mess:
        return ()
    slope = float(rng.choice([-1, 1])) * rng.uniform(0.06, 0.35)
    curve = Curve(rng.uniform(0.25, 0.85) * length, slope, 0.0, width / 2)
    return (Crease(curve, rng.uniform(0.01, 0.035), rng.uniform(0.3, 0.7)),)


def _fingers(rng: Rng, kind: Class, width: float, length: float) -> tuple[Finger, ...]:
    if rng.random() > kind.mess:
        return ()
    return tuple(
        Finger(rng.uniform(0, length), rng.uniform(0, width), rng.uniform(7, 11), rng.uniform(0.003, 0.012))
        for _ in range(int(rng.integers(1, 4)))
    )


# Camera, light, surroundings


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


def glare_at(rng: Rng, at_mm: Point) -> Glare:
    """A lamp's reflection."""
    return Glare(at_mm, (rng.uniform(20, 40), rng.uniform(15, 30)), rng.uniform(0.4, 0.9))
