"""Photos that go wrong in one known way each, and what the tool has to say about them."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from webcapture.card.layout import card_layout
from webcapture.synthetic.classes import DYES, TYPICAL
from webcapture.synthetic.papers import narrow_strip, wide_sheet
from webcapture.synthetic.scene import (
    Crease,
    Curve,
    Front,
    Glare,
    Lane,
    OriginLine,
    PaperStrip,
    Scene,
    ShadowEdge,
    Spot,
)
from webcapture.synthetic.scenes import paper_size, photographed
from webcapture.synthetic.shots import scrap_over_tag

Rng = np.random.Generator


@dataclass(frozen=True, slots=True)
class Adverse:
    """One way to go wrong; call it with a seed for a scene."""

    build: Callable[[int], Scene]
    codes: tuple[str, ...]
    """Codes of which at least one must come back, as error or flag; empty: it must simply be measured right."""
    level: str
    """Where the code belongs: ``error``, ``either`` (error or flag), ``photo``, ``strip``, ``lane``, ``spot`` or ``none``."""
    measured: bool
    """Whether Rf of the spots that have one in the truth must be right all the same."""

    def __call__(self, seed: int) -> Scene:
        return self.build(seed)


def _rng(seed: int, name: str) -> Rng:
    return np.random.default_rng([seed, *name.encode()])


def _careful(seed: int, name: str, wide: bool = False, spots: tuple[float, ...] | None = (0.3, 0.55, 0.8)) -> Scene:
    """A typical photo to spoil: spots at those Rf in every lane, or as they come for None; a pencil front."""
    rng = _rng(seed, name)
    paper = paper_size(rng)
    bay = card_layout("sheet", paper).bays[0]
    strip = (wide_sheet if wide else narrow_strip)(rng, TYPICAL, bay)
    curve = strip.front.curve
    strip = replace(strip, front=Front(curve, "pencil", 0.3, 0.45), creases=(), fingers=())
    if spots is not None:
        strip = replace(strip, lanes=tuple(replace(lane, spots=_dyed(rng, spots)) for lane in strip.lanes))
    return photographed(rng, TYPICAL, "sheet", paper, (strip,), seed)


def _dyed(rng: Rng, places: tuple[float, ...]) -> tuple[Spot, ...]:
    dyes = rng.permutation(len(DYES))
    return tuple(
        Spot(DYES[dyes[n]], rf, rng.uniform(0.2, 0.6), rng.uniform(0.9, 1.2), rng.uniform(0.02, 0.04))
        for n, rf in enumerate(places)
    )


def _with_strip(scene: Scene, change: Callable[[PaperStrip], PaperStrip]) -> Scene:
    return replace(scene, strips=tuple(change(strip) for strip in scene.strips))


def _with_front(scene: Scene, change: Callable[[PaperStrip], Front]) -> Scene:
    return _with_strip(scene, lambda strip: replace(strip, front=change(strip)))


def no_front(seed: int) -> Scene:
    """The front was not marked and has dried."""
    return _with_front(_careful(seed, "no_front"), lambda s: replace(s.front, kind="none"))


def front_off_the_top(seed: int) -> Scene:
    """The solvent ran to the paper's end and would have run on."""

    def run_over(strip: PaperStrip) -> Front:
        return Front(Curve(strip.length_mm + 6.0, mid_mm=strip.width_mm / 2), "none")

    return _with_front(_careful(seed, "front_off", spots=(0.25, 0.5, 0.75)), run_over)


def crease_no_front(seed: int) -> Scene:
    """No front, but a fold and finger marks that could be taken for one."""

    def folded(strip: PaperStrip) -> PaperStrip:
        level = 0.5 * (strip.front.curve.level_mm + strip.length_mm)
        fold = Crease(Curve(level, 0.05, mid_mm=strip.width_mm / 2), 0.03, 0.5)
        return replace(strip, front=replace(strip.front, kind="none"), creases=(fold,))

    return _with_strip(_careful(seed, "crease"), folded)


def no_origin(seed: int) -> Scene:
    """Nobody drew an origin line."""

    def bare(strip: PaperStrip) -> PaperStrip:
        lanes = tuple(replace(lane, mark="none") for lane in strip.lanes)
        return replace(strip, origin=replace(strip.origin, kind="none"), lanes=lanes)

    return _with_strip(_careful(seed, "no_origin"), bare)


def no_card(seed: int) -> Scene:
    """The strip lies on the bare bench."""
    return replace(_careful(seed, "no_card"), card_shown=False)


def half_out(seed: int) -> Scene:
    """Half the card lies outside the frame."""
    scene = _careful(seed, "half_out")
    rng = _rng(seed, "half_out_where")
    shift = [float(rng.uniform(-0.05, 0.05)), float(rng.choice([-0.5, 0.5]))]
    if rng.random() < 0.5:
        shift.reverse()
    return replace(scene, camera=replace(scene.camera, offset=(shift[0], shift[1]), fill=0.95))


def empty_card(seed: int) -> Scene:
    """A card with nothing on it."""
    return replace(_careful(seed, "empty"), strips=())


def covered_tags(seed: int) -> Scene:
    """Written papers lie over some of the card's tags."""
    return _covered(seed, "covered", 2)


def half_the_tags(seed: int) -> Scene:
    """Half the tags are covered."""
    return _covered(seed, "half_tags", 6)


def _covered(seed: int, name: str, count: int) -> Scene:
    scene = _careful(seed, name)
    rng = _rng(seed, name + "_which")
    card = card_layout(scene.layout, scene.paper)
    chosen = rng.permutation(len(card.tags))[:count]
    papers = tuple(scrap_over_tag(rng, card, int(n)) for n in chosen)
    return replace(scene, surroundings=replace(scene.surroundings, papers=papers))


def insoluble(seed: int) -> Scene:
    """One spot stayed on the origin line."""
    return _careful(seed, "insoluble", spots=(0.004, 0.5, 0.75))


def at_the_front(seed: int) -> Scene:
    """One spot ran with the front."""
    return _careful(seed, "at_front", spots=(0.35, 0.6, 0.985))


def tailing(seed: int) -> Scene:
    """Far too much was applied: one spot drags a long tail."""

    def heavy(strip: PaperStrip) -> PaperStrip:
        spot = Spot(DYES[0], 0.55, 0.8, 1.4, 0.05, 0.6, 4.0)
        return replace(strip, lanes=tuple(replace(lane, spots=(spot,)) for lane in strip.lanes))

    return _with_strip(_careful(seed, "tailing"), heavy)


def faint(seed: int) -> Scene:
    """Far too little was applied of one dye."""

    def thin(strip: PaperStrip) -> PaperStrip:
        spots = (Spot(DYES[3], 0.4, 0.03, 1.2, 0.03), Spot(DYES[1], 0.7, 0.4, 1.2, 0.03))
        return replace(strip, lanes=tuple(replace(lane, spots=spots) for lane in strip.lanes))

    return _with_strip(_careful(seed, "faint"), thin)


def blank(seed: int) -> Scene:
    """A strip on which nothing shows."""
    return _careful(seed, "blank", spots=())


def one_empty_lane(seed: int) -> Scene:
    """A sheet on which one lane stayed empty."""
    scene = _careful(seed, "empty_lane", wide=True)
    chosen = int(_rng(seed, "which_lane").integers(len(scene.strips[0].lanes)))

    def emptied(strip: PaperStrip) -> PaperStrip:
        lanes = tuple(replace(lane, spots=()) if n == chosen else lane for n, lane in enumerate(strip.lanes))
        return replace(strip, lanes=lanes)

    return _with_strip(scene, emptied)


def out_of_focus(seed: int) -> Scene:
    """The camera focused on something else."""
    scene = _careful(seed, "focus")
    return replace(scene, camera=replace(scene.camera, defocus_px=float(_rng(seed, "focus_by").uniform(9, 16))))


def too_dark(seed: int) -> Scene:
    """Photographed in the evening without a lamp."""
    scene = _careful(seed, "dark")
    dim = float(_rng(seed, "dark_by").uniform(0.008, 0.02))
    return replace(scene, camera=replace(scene.camera, exposure=dim, shot_noise=0.05, read_noise=0.004))


def upside_down(seed: int) -> Scene:
    """The strip's origin end lies at the top of the card."""
    return _with_strip(_careful(seed, "upside"), lambda strip: replace(strip, upright=False))


def ink_line(seed: int) -> Scene:
    """The origin line was drawn with a pen, and ran."""

    def inked(strip: PaperStrip) -> PaperStrip:
        bands = (Spot(DYES[1], 0.42, 0.25, 0.8, 0.06, 0.0, 1.5), Spot(DYES[3], 0.68, 0.18, 0.8, 0.06, 0.0, 2.0))
        return replace(strip, origin=OriginLine(strip.origin.curve, "ink", 0.6, 0.55, bands))

    return _with_strip(_careful(seed, "ink", spots=(0.25, 0.85)), inked)


def slanted_front(seed: int) -> Scene:
    """The paper hung askew: the front rises by several millimetres from side to side."""
    rise = float(_rng(seed, "slant_by").choice([-1, 1])) * float(_rng(seed, "slant").uniform(4, 8))

    def tilted(strip: PaperStrip) -> Front:
        return replace(strip.front, curve=replace(strip.front.curve, slope=rise / strip.width_mm))

    return _with_front(_careful(seed, "slanted", wide=True), tilted)


def fading_stain(seed: int) -> Scene:
    """What the solvent swept along ends sharply where it stopped, and fades slowly behind."""
    rng = _rng(seed, "fading_by")
    depth, width, fade = rng.uniform(0.05, 0.12), rng.uniform(0.3, 0.6), rng.uniform(2, 5)

    def swept(strip: PaperStrip) -> Front:
        return replace(strip.front, kind="stain", strength=depth, width_mm=width, fade_mm=fade, spans_mm=())

    return _with_front(_careful(seed, "fading"), swept)


def still_wet(seed: int) -> Scene:
    """The strip was photographed before it dried: up to the front it is a third darker."""
    rng = _rng(seed, "wet_by")
    depth, width = rng.uniform(0.17, 0.21), rng.uniform(0.3, 0.8)

    def damp(strip: PaperStrip) -> Front:
        return replace(strip.front, kind="wet-edge", strength=depth, width_mm=width, spans_mm=())

    return _with_front(_careful(seed, "wet"), damp)


def front_by_strokes(seed: int) -> Scene:
    """The front was marked by a short stroke over each lane."""
    rng = _rng(seed, "strokes_where")

    def marked(strip: PaperStrip) -> Front:
        return _stroked(strip.front, [_stroke(rng, lane.t_mm + rng.normal(0, 1)) for lane in strip.lanes])

    return _with_front(_careful(seed, "strokes", wide=True), marked)


def front_by_one_stroke(seed: int) -> Scene:
    """The front was marked by one short stroke somewhere on the sheet."""
    rng = _rng(seed, "stroke_where")

    def marked(strip: PaperStrip) -> Front:
        return _stroked(strip.front, [_stroke(rng, rng.uniform(5, strip.width_mm - 5))])

    return _with_front(_careful(seed, "stroke", wide=True), marked)


def _stroke(rng: Rng, middle_mm: float) -> tuple[float, float]:
    half = rng.uniform(3.5, 6)
    return middle_mm - half, middle_mm + half


def _stroked(front: Front, spans: list[tuple[float, float]]) -> Front:
    """Marked in a hurry: the solvent's own front is not straight, and the strokes follow it."""
    curve = replace(front.curve, ripple=((0.15, 14.0, 0.0),))
    return replace(front, curve=curve, spans_mm=tuple(spans))


def glare(seed: int) -> Scene:
    """A lamp is reflected on the strip."""
    scene = _careful(seed, "glare")
    rng = _rng(seed, "glare_where")
    x, y = scene.strips[0].centre_mm
    at = (x + rng.uniform(-10, 10), y + rng.uniform(-30, 30))
    spot = Glare(at, (rng.uniform(18, 30), rng.uniform(12, 25)), rng.uniform(0.5, 1.0))
    return replace(scene, light=replace(scene.light, glares=(spot,)))


def shadow(seed: int) -> Scene:
    """A hard, deep shadow crosses the strip."""
    scene = _careful(seed, "shadow")
    rng = _rng(seed, "shadow_where")
    x, y = scene.strips[0].centre_mm
    edge = ShadowEdge((x, y + rng.uniform(-25, 25)), rng.uniform(0, 360), rng.uniform(0.35, 0.5), rng.uniform(2, 6))
    return replace(scene, light=replace(scene.light, shadows=(edge,)))


def bent_card(seed: int) -> Scene:
    """The card arches or curls by many millimetres."""
    scene = _careful(seed, "bent")
    rng = _rng(seed, "bent_by")
    return replace(scene, card_bend_mm=float(rng.choice([-1, 1]) * rng.uniform(5, 12)))


def overlapping_same_colour(seed: int) -> Scene:
    """Two dyes of nearly one colour that were hardly parted."""
    return _overlapping(seed, "same", (0, 8), 0.75)


def overlapping_other_colour(seed: int) -> Scene:
    """A yellow and a blue dye that were hardly parted."""
    return _overlapping(seed, "other", (2, 1), 0.6)


def weak_beside_strong(seed: int) -> Scene:
    """A little of a pink dye touches much of a grey one."""
    return _overlapping(seed, "weak", (8, 7), 0.6, (0.18, 0.4))


def _overlapping(
    seed: int, name: str, dyes: tuple[int, int], resolution: float, amounts: tuple[float, float] = (0.35, 0.35)
) -> Scene:
    scene = _careful(seed, "overlap_" + name)

    def paired(strip: PaperStrip) -> PaperStrip:
        run = strip.front.curve.level_mm - strip.origin.curve.level_mm
        apart = resolution * 4 * (1.1**2 + 0.03 * 0.5 * run) ** 0.5 / run
        places = zip(dyes, (0.5, 0.5 + apart), amounts, strict=True)
        pair = [Spot(DYES[dye], rf, amount, 1.1, 0.03) for dye, rf, amount in places]
        lanes: tuple[Lane, ...] = tuple(replace(lane, spots=tuple(pair)) for lane in strip.lanes)
        return replace(strip, lanes=lanes)

    return _with_strip(scene, paired)


ADVERSE: dict[str, Adverse] = {
    "no front": Adverse(no_front, ("front-missing",), "lane", False),
    "front off the top": Adverse(front_off_the_top, ("front-missing",), "lane", False),
    "a crease and no front": Adverse(crease_no_front, ("front-missing",), "lane", False),
    "no origin line": Adverse(no_origin, ("origin-missing",), "lane", False),
    "no card": Adverse(no_card, ("no-card",), "error", False),
    "half the card out of the frame": Adverse(half_out, ("card-incomplete", "no-card"), "either", False),
    "an empty card": Adverse(empty_card, ("no-strip",), "photo", False),
    "covered tags": Adverse(covered_tags, (), "none", True),
    "half the tags covered": Adverse(half_the_tags, (), "none", True),
    "insoluble spot": Adverse(insoluble, ("did-not-move",), "spot", True),
    "spot at the front": Adverse(at_the_front, ("near-front",), "spot", True),
    "a long tail": Adverse(tailing, ("tailing",), "spot", False),
    "a faint spot": Adverse(faint, ("faint",), "spot", False),
    "blank strip": Adverse(blank, ("no-spots",), "lane", False),
    "one lane empty": Adverse(one_empty_lane, ("no-spots",), "lane", True),
    "out of focus": Adverse(out_of_focus, ("out-of-focus",), "either", False),
    "too dark": Adverse(too_dark, ("too-dark",), "either", False),
    "upside down": Adverse(upside_down, ("upside-down",), "strip", True),
    "a line that ran": Adverse(ink_line, ("ink-line",), "strip", False),
    "slanted front": Adverse(slanted_front, ("front-slanted",), "strip", True),
    "a front's stain that fades slowly": Adverse(fading_stain, (), "none", True),
    "a strip still wet": Adverse(still_wet, (), "none", True),
    "front marked over each lane": Adverse(front_by_strokes, (), "none", True),
    "front marked by one stroke": Adverse(front_by_one_stroke, ("front-short",), "strip", False),
    "glare": Adverse(glare, ("glare",), "photo", False),
    "shadow": Adverse(shadow, ("shadow",), "photo", True),
    "bent card": Adverse(bent_card, ("card-bent",), "photo", False),
    "overlapping pair, same colour": Adverse(overlapping_same_colour, ("merged",), "spot", False),
    "overlapping pair, different colours": Adverse(overlapping_other_colour, (), "spot", True),
    "a weak spot touching a strong one": Adverse(weak_beside_strong, (), "spot", True),
}
