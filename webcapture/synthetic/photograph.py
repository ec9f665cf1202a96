"""Take the photo: lay everything on the table, light it, look at it through the camera, write the file."""

from __future__ import annotations

import math

import numpy as np

from webcapture.card.layout import card_layout
from webcapture.model import Bytes8, Floats, Floats32, Point
from webcapture.synthetic import light as lighting
from webcapture.synthetic.camera import Pinhole, aim
from webcapture.synthetic.chromatogram import Painted, Run, paint, run
from webcapture.synthetic.development import blurred, developed, jpeg, noisy, shaken, tone_table
from webcapture.synthetic.known import truth_of
from webcapture.synthetic.layers import NODE_PX, PIXEL_SIGMA_PX, Layer, Nodes, OnPlane, Window, place_over, softened
from webcapture.synthetic.pencil import Grid
from webcapture.synthetic.scene import CameraSetup, LoosePaper, PaperStrip, Scene, Thing
from webcapture.synthetic.surroundings import (
    BENCH_MM,
    BENCH_PX_PER_MM,
    CARD_PX_PER_MM,
    CARD_WHITE,
    PAPER_PX_PER_MM,
    PEN_MM,
    bench,
    loose_paper,
    printed_card,
    thing,
)
from webcapture.synthetic.truth import Photograph, Truth

BAND_PX = 512
"""Rows developed at a time: bounds the memory, also for 108 MP."""
STRIP_PX_PER_MM = (12.0, 22.0)
"""Least and greatest scale at which strips are painted."""


def render(scene: Scene) -> Photograph:
    """The photo of ``scene`` and what is known of it; the same scene gives the same bytes."""
    page = card_layout(scene.layout, scene.paper).page_mm
    camera = aim(scene.camera, page)
    scale = float(np.clip(1.6 * camera.px_per_mm((page[0] / 2, page[1] / 2)), *STRIP_PX_PER_MM))
    runs = _runs(scene)
    painted = [paint(s, r, scale, _rng(scene, 50 + n)) for n, (s, r) in enumerate(zip(scene.strips, runs, strict=True))]
    below, above = _layers(scene, painted, page)
    pixels = _exposed(scene, camera, [softened(x, camera) for x in below], [softened(x, camera) for x in above], page)
    return Photograph(jpeg(pixels, scene.camera), truth_of(scene, runs, camera, page))


def foretell(scene: Scene) -> Truth:
    """What is known of ``scene``, without taking the photo: the same truth that ``render`` gives."""
    page = card_layout(scene.layout, scene.paper).page_mm
    return truth_of(scene, _runs(scene), aim(scene.camera, page), page)


def _runs(scene: Scene) -> list[Run]:
    return [run(strip, _rng(scene, 10 + n)) for n, strip in enumerate(scene.strips)]


def _rng(scene: Scene, stream: int) -> np.random.Generator:
    return np.random.default_rng([scene.seed, stream])


def _layers(scene: Scene, painted: list[Painted], page: tuple[float, float]) -> tuple[list[Layer], list[Layer]]:
    """What lies under the strips' shadows, and what over them; each from the bottom up."""
    below = [_bench_layer(scene)]
    papers = [(p, _paper_layer(p, _rng(scene, 100 + n))) for n, p in enumerate(scene.surroundings.papers)]
    below += [layer for paper, layer in papers if not paper.over_card]
    if scene.card_shown:
        below.append(_card_layer(scene, page))
    above = [_strip_layer(scene, s, p, page) for s, p in zip(scene.strips, painted, strict=True)]
    above += [layer for paper, layer in papers if paper.over_card]
    above += [_thing_layer(t, _rng(scene, 200 + n)) for n, t in enumerate(scene.surroundings.things)]
    return below, above


def _bench_layer(scene: Scene) -> Layer:
    rng = _rng(scene, 1)
    scale = BENCH_PX_PER_MM
    turn = rng.uniform(-0.6, 0.6)
    matrix = scale * np.array([[math.cos(turn), -math.sin(turn)], [math.sin(turn), math.cos(turn)]])
    shift = rng.uniform(0, BENCH_MM, 2) * scale
    pixels = bench(scene.surroundings.bench, rng)
    return Layer(pixels, np.column_stack([matrix, shift]), scale, None, None, mirrored=True)


def _card_layer(scene: Scene, page: tuple[float, float]) -> Layer:
    pixels = printed_card(scene.layout, scene.paper, scene.screened)
    scale = CARD_PX_PER_MM
    to_px = np.array([[scale, 0, -0.5], [0, scale, -0.5]])
    height = _card_height(scene, page) if scene.card_bend_mm else None
    return Layer(pixels, to_px, scale, _rectangle(page), _outline(page), height, _tilt_light(scene))


def _outline(page: tuple[float, float]) -> Floats:
    """(n, 2) places along the page's edges."""
    along = np.linspace(0, 1, 9)
    sides = [(along, 0 * along), (along, 1 + 0 * along), (0 * along, along), (1 + 0 * along, along)]
    return np.vstack([np.column_stack(side) for side in sides]) * page


def _rectangle(size: tuple[float, float]) -> OnPlane:
    def inside(x: Floats, y: Floats) -> Floats:
        return np.asarray(np.minimum(np.minimum(x, size[0] - x), np.minimum(y, size[1] - y)))

    return inside


def _card_height(scene: Scene, page: tuple[float, float]) -> OnPlane:
    """The bent card: an arch between left and right edge, or edges that curl up."""
    bend = scene.card_bend_mm

    def height(x: Floats, y: Floats) -> Floats:
        u = np.clip(2 * x / page[0] - 1, -1.05, 1.05)
        return np.asarray(bend * (1 - u * u) if bend > 0 else -bend * u * u) + 0.0 * y

    return height


def _tilt_light(scene: Scene) -> tuple[float, float]:
    """Light from ``lamp_deg`` falls more squarely on slopes that face it: those that rise away from the lamp."""
    lamp = math.radians(scene.light.lamp_deg)
    return -scene.light.slant * math.cos(lamp), -scene.light.slant * math.sin(lamp)


def _strip_layer(scene: Scene, strip: PaperStrip, painted: Painted, page: tuple[float, float]) -> Layer:
    """The strip's picture, its place on the card, its outline and its height."""
    (ux, uy), (rx, ry), base = strip.up, strip.right, np.array(strip.base)
    to_strip = np.array([[rx, ry], [ux, uy]])
    grid: Grid = painted.grid
    scale = grid.px_per_mm
    to_px = np.column_stack([scale * to_strip, scale * (grid.margin_mm - to_strip @ base) - 0.5])
    card_height = _card_height(scene, page)

    def own(x: Floats, y: Floats) -> tuple[Floats, Floats]:
        dx, dy = x - base[0], y - base[1]
        return dx * ux + dy * uy, dx * rx + dy * ry

    def inside(x: Floats, y: Floats) -> Floats:
        s, t = own(x, y)
        left, right = strip.edges(s)
        return np.asarray(np.minimum(np.minimum(s, strip.length_mm - s), np.minimum(t - left, right - t)))

    def height(x: Floats, y: Floats) -> Floats:
        return np.asarray(strip.lift.height(own(x, y)[0] / strip.length_mm) + card_height(x, y))

    bent = strip.lift.kind != "flat" or scene.card_bend_mm != 0
    edge = np.array([strip.on_card(s, t) for s in np.linspace(0, strip.length_mm, 15) for t in (0.0, strip.width_mm)])
    pixels = np.ascontiguousarray(painted.pixels)
    return Layer(pixels, to_px, scale, inside, edge, height if bent else None, _tilt_light(scene))


def _paper_layer(paper: LoosePaper, rng: np.random.Generator) -> Layer:
    return _lying(loose_paper(paper, rng), paper.centre_mm, paper.size_mm, paper.turn_deg, _rectangle(paper.size_mm))


def _thing_layer(what: Thing, rng: np.random.Generator) -> Layer:
    if what.kind == "pen":
        size = (what.size_mm, PEN_MM)
        return _lying(thing(what, rng), what.centre_mm, size, what.turn_deg, _rectangle(size))
    radius = what.size_mm / 2

    def inside(x: Floats, y: Floats) -> Floats:
        return np.asarray(radius - np.hypot(x - radius, y - radius))

    return _lying(thing(what, rng), what.centre_mm, (what.size_mm, what.size_mm), what.turn_deg, inside)


def _lying(pixels: Floats32, centre_mm: Point, size_mm: Point, turn_deg: float, shape: OnPlane) -> Layer:
    """A picture of that size lying about; ``shape`` in its own millimetres."""
    scale = PAPER_PX_PER_MM
    turn = math.radians(turn_deg)
    to_own = np.array([[math.cos(turn), math.sin(turn)], [-math.sin(turn), math.cos(turn)]])
    shift = np.array(size_mm) / 2 - to_own @ np.array(centre_mm)

    def inside(x: Floats, y: Floats) -> Floats:
        return shape(*(to_own[i, 0] * x + to_own[i, 1] * y + shift[i] for i in (0, 1)))

    corners = (_outline(size_mm) - shift) @ to_own
    return Layer(pixels, np.column_stack([scale * to_own, scale * shift - 0.5]), scale, inside, corners)


def _exposed(
    scene: Scene, camera: Pinhole, below: list[Layer], above: list[Layer], page: tuple[float, float]
) -> Bytes8:
    """The developed picture (rows, columns, 3), band by band."""
    nodes = Nodes(camera)
    shadows = _shadow_layer(scene, page)
    lit, shine = _light_at_nodes(scene, nodes, page)
    table = tone_table(scene.camera.tone)
    rng = _rng(scene, 2)
    width, height = camera.size_px
    pad = _reach(scene.camera)
    out = np.empty((height, width, 3), np.uint8)
    for top in range(0, height, BAND_PX):
        bottom = min(top + BAND_PX, height)
        window = Window(max(0, top - pad), min(height, bottom + pad), 0, width)
        canvas: Floats32 = np.empty((*window.shape, 3), np.float32)
        for layer in below:
            place_over(canvas, layer, nodes, window)
        if shadows is not None:
            _darken(canvas, shadows, nodes, window)
        for layer in above:
            place_over(canvas, layer, nodes, window)
        rows, columns = nodes.within(window)
        canvas *= nodes.spread(lit[rows, columns], window)
        if scene.light.glares or scene.camera.veil:
            canvas += nodes.spread(shine[rows, columns], window)[..., None]
        kept = slice(top - window.top, bottom - window.top)
        out[top:bottom] = _developed(canvas, scene.camera, table, rng)[kept]
    return out


def _reach(setup: CameraSetup) -> int:
    """How far blur carries light, in whole nodes, pixels."""
    return math.ceil((4 * setup.defocus_px + setup.motion_px + 8) / NODE_PX) * NODE_PX


def _developed(canvas: Floats32, setup: CameraSetup, table: Floats32, rng: np.random.Generator) -> Bytes8:
    canvas = blurred(canvas, math.sqrt(max(0.0, setup.defocus_px**2 - PIXEL_SIGMA_PX**2)))
    canvas = shaken(canvas, setup.motion_px, setup.motion_deg)
    return developed(noisy(canvas, setup, rng), setup, table)


def _shadow_layer(scene: Scene, page: tuple[float, float]) -> Layer | None:
    if not scene.strips:
        return None
    scale = lighting.SHADOW_PX_PER_MM
    to_px = np.array([[scale, 0, -0.5], [0, scale, -0.5]])
    pixels = lighting.cast_shadows(scene.strips, scene.light, page)
    return Layer(pixels, to_px, scale, None, _outline(page))


def _darken(canvas: Floats32, shadows: Layer, nodes: Nodes, window: Window) -> None:
    """Take away the light that strips keep from the card."""
    shade = np.ones((*window.shape, 1), np.float32)
    place_over(shade, shadows, nodes, window)
    canvas *= shade


def _light_at_nodes(scene: Scene, nodes: Nodes, page: tuple[float, float]) -> tuple[Floats, Floats]:
    """Factor from reflectance to linear picture values (…, 3), and the glare to add (…)."""
    setup, camera = scene.camera, nodes.camera
    off = (nodes.pixels - np.array(camera.centre_px)) / camera.half_diagonal_px
    corner = (off**2).sum(axis=-1)
    lens = setup.exposure * (1 - setup.vignetting * corner * (0.5 + 0.5 * corner))
    lit = lighting.illumination(scene.light, nodes.plane_mm, page) * np.array(setup.cast) / CARD_WHITE
    shine = lighting.glare(scene.light.glares, nodes.plane_mm) * lens + setup.veil * setup.exposure
    return lit * lens[..., None], shine
