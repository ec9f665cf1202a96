"""Draw at random what lies in a bay: narrow strips and sheets with several lanes, with their lines, spots and marks of use."""

from __future__ import annotations

import math

import numpy as np

from webcapture.card.layout import Bay
from webcapture.model import Point
from webcapture.synthetic.classes import DYES, HARD, Class
from webcapture.synthetic.scene import (
    Crease,
    Curve,
    Dye,
    Finger,
    Front,
    Lane,
    Lift,
    OriginLine,
    PaperStrip,
    Spot,
    Stock,
    Triple,
    Writing,
)

Rng = np.random.Generator


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
    spans: tuple[tuple[float, float], ...] = ()
    if rng.random() < 0.3:
        start = rng.uniform(0.0, 0.3) * width
        spans = ((start, start + rng.uniform(0.5, 0.9) * (width - start)),)
    return Front(ruled, kind, rng.uniform(0.15, 0.45), rng.uniform(0.3, 0.6), 0.0, spans)


def spots(rng: Rng, kind: Class, run_mm: float, wide: bool) -> tuple[Spot, ...]:
    """Up to five spots a lane, apart enough to be told apart."""
    wanted = int(rng.integers(1, 6))
    order = rng.permutation(len(DYES))
    placed: list[Spot] = []
    for _ in range(60):
        if len(placed) == wanted:
            break
        new = _spot(rng, kind, DYES[order[len(placed)]], run_mm)
        if all(_resolved(new, old, run_mm, kind.resolution) for old in placed) and _clear(
            new, run_mm, kind.clearance_mm
        ):
            placed.append(new)
    return tuple(placed)


def _spot(rng: Rng, kind: Class, dye: Dye, run_mm: float) -> Spot:
    tail = rng.random() < kind.tails
    peak = math.exp(rng.uniform(math.log(kind.peak[0]), math.log(kind.peak[1])))
    overloaded = tail and rng.random() < 0.6
    return Spot(
        dye=dye,
        rf=rng.uniform(0.06, 0.94),
        peak=max(peak, rng.uniform(0.15, 0.5)) if tail else peak,
        applied_mm=rng.uniform(0.8, 1.4),
        plate_mm=rng.uniform(0.02, 0.08),
        overload=rng.uniform(0.15, 0.9) if overloaded else 0.0,
        drag_mm=rng.uniform(*kind.drag_mm) if tail and not (overloaded and rng.random() < 0.5) else 0.0,
        drift_mm=rng.normal(0, 0.6),
    )


def _reach(spot: Spot, run_mm: float) -> tuple[float, float]:
    """Standard deviations below and above the nominal place, roughly: a tail below, a head start above."""
    sigma = math.sqrt(spot.applied_mm**2 + spot.plate_mm * spot.rf * run_mm)
    return math.hypot(sigma, 1.3 * spot.drag_mm), sigma + 1.6 * spot.overload


def _resolved(a: Spot, b: Spot, run_mm: float, least: float) -> bool:
    low, high = (a, b) if a.rf < b.rf else (b, a)
    return (high.rf - low.rf) * run_mm > least * 2 * (_reach(low, run_mm)[1] + _reach(high, run_mm)[0])


def _clear(spot: Spot, run_mm: float, margin: float) -> bool:
    """Neither on the origin nor at the front: those are adverse cases of their own."""
    below, above = _reach(spot, run_mm)
    return spot.rf * run_mm > 2.5 * below + margin and (1 - spot.rf) * run_mm > 2.5 * above + margin


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
        cuts=_cuts(length, kind),
        stock=_stock(rng),
        lift=_lift(rng, kind),
        ragged_mm=rng.uniform(*kind.ragged_mm),
        streaks=rng.uniform(0.05, 0.3 if hard else 0.2),
        writings=_writings(rng, width, length, origin, front, lanes),
        creases=_creases(rng, kind, width, length),
        fingers=_fingers(rng, kind, width, length),
    )


def _cuts(length: float, kind: Class) -> tuple[tuple[Point, ...], tuple[Point, ...]]:
    """Both long edges as scissors cut them, snip by snip; a part of the papers is cut in one go.

    From chances of their own, told by the length, so that all else of a seed stays as it was.
    """
    rng = np.random.default_rng(int(1e9 * length))
    if rng.random() > kind.snipped:
        return (), ()
    off = math.exp(rng.uniform(*np.log(kind.snip_mm)))

    def edge() -> tuple[Point, ...]:
        places = [-5.0]
        while places[-1] < length + 5:
            places.append(places[-1] + rng.uniform(20, 60))
        return tuple((s, rng.normal(0, off)) for s in places)

    return edge(), edge()


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


INKS: tuple[Triple, ...] = ((1.0, 0.8, 0.3), (1.0, 0.75, 0.2), (0.15, 1.0, 0.8), (1.0, 0.95, 0.9))
"""Two blue biros, a red and a black one: shares of the absorbance in R, G, B. Invented."""
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
    turn, absorbance = rng.normal(0, 3), rng.uniform(0.15, 0.45)
    # Every fourth in biro; told from what is drawn already, so that all else of a seed stays as it was.
    inked = 1000 * abs(turn) % 1 < 0.25
    return Writing(text, s, t, size, turn, absorbance, INKS[int(1e4 * absorbance) % len(INKS)] if inked else None)


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
