"""Numbers to names: which set of references is found, what to run next, and how long candidates take."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from statistics import median

import numpy as np

from tests.benchmark.table import aligned
from tests.reference.classes import METHOD, NAMES, Model, class_set, counted, spot, table, verdict
from tests.reference.libraries import runs_needed
from tests.yardstick import seconds
from webcapture import measure_photo
from webcapture.card.layout import card_layout
from webcapture.reference.compare import SheetReference
from webcapture.reference.library import Library, Value
from webcapture.reference.match import candidates
from webcapture.reference.method import method_of
from webcapture.reference.mixture import account
from webcapture.reference.observed import Observed, observed
from webcapture.synthetic import render
from webcapture.synthetic.classes import DYES
from webcapture.synthetic.scene import (  # fmt: skip
    CameraSetup,
    Curve,
    Front,
    Lane,
    Light,
    OriginLine,
    PaperStrip,
    Scene,
    Spot,
    Stock,
    Surroundings,
)

WAYS = ("beside", "table", "own", "nearest")
WAY_NAMES = ("references beside", "table, lead's window", "own runs, 10 sheets", "nearest in the table")
MODELS = (
    ("as asked: shift 0.03, repeats to 0.007, references 0.06 apart at least", Model()),
    ("references 0.04 apart at least", Model(gap=0.04)),
    ("references anywhere", Model(gap=0.0)),
    ("half of the unknowns hold something else", Model(foreign=0.5)),
    ("repeats to 0.010, worse than the settings say", Model(repeat=0.010)),
    ("shift 0.06", Model(shift=0.06)),
)
VALUES = 5000
SHARE = 1 / 20
"""Of the photo's analysis: what candidates for five lanes may take."""


def names_table(seed: int, photos: int) -> str:
    """All figures of the comparison; ``photos``: sheets photographed and measured whole, besides those drawn as numbers."""
    parts = [_sets(seed), _advice(seed), _speed(seed)]
    if photos:
        parts.append(_photographed(seed, photos))
    return "\n\n".join(parts)


def _shares(tally: Counter[str]) -> str:
    whole = sum(tally.values())
    return " / ".join(f"{100 * tally[word] / whole:.1f}" for word in ("right", "cannot tell", "wrong"))


def _sets(seed: int, classes: int = 20) -> str:
    """Sets found on class sets of thirty sheets, four references, unknowns of one to three."""
    head = [f"{30 * classes} sheets, % right / cannot tell / wrong (target ≥ 97 / rest / ≤ 1 beside)", *WAY_NAMES]
    seeds = range(seed, seed + classes)
    rows = [[name, *(_shares(counted(seeds, model, way)) for way in WAYS)] for name, model in MODELS]
    return aligned([head, *rows])


def _advice(seed: int, libraries: int = 100) -> str:
    head = [f"{libraries} libraries, 24 substances, 8 mobile phases", "runs until one stands", "within three", "standing after three", "unknown stands"]  # fmt: skip
    rows = []
    for name, advised in (("as advised", True), ("at random", False)):
        found = [runs_needed(s, advised) for s in range(seed, seed + libraries)]
        needed = np.array([one[0] for one in found])
        after = np.mean([counts[min(2, len(counts) - 1)] for _, _, counts in found])
        stands = np.mean([one[1] for one in found])
        rows.append([name, f"{needed.mean():.2f}", f"{100 * np.mean(needed <= 3):.0f} %", f"{after:.2f}", f"{100 * stands:.0f} %"])  # fmt: skip
    return aligned([head, *rows])


# ---- how long


def crowded_library(phases: int, seed: int = 0) -> Library:
    """5,000 values spread over so many mobile phases, each with a colour."""
    rng = np.random.default_rng(seed)
    shades = rng.integers(0, 256, (VALUES, 3))
    methods = [METHOD, *(method_of(f"propanone : water {n} : 7", METHOD.paper, 20.0) for n in range(1, phases))]
    return Library.of(
        Value(f"S{n}", methods[n % phases], float(rng.uniform(0.05, 0.95)), "published", "drawn", hex="#{:02x}{:02x}{:02x}".format(*shades[n]))
        for n in range(VALUES)
    )  # fmt: skip


def five_lanes(each: int = 5) -> tuple[list[Observed], list[SheetReference]]:
    """A sheet of five lanes with so many spots each; the first is the sample, the others are reference lanes."""
    shades = ("#b04a5a", "#3f6fb0", "#d0b030", "#3d8f63", "#7a4fa0")
    spots = [spot(lane, n, 8 + 84 / each * n + lane, 100.0, colour=shades[(lane + n) % 5]) for lane in range(1, 6) for n in range(each)]  # fmt: skip
    return spots, [SheetReference(f"S{lane}", tuple(s for s in spots if s.lane == lane)[:1]) for lane in range(2, 6)]


def _speed(seed: int) -> str:
    data = render(sheet_scene(seed)[2]).data
    measure_photo(data)
    whole = median(seconds(lambda: measure_photo(data), 5))
    head = [f"candidates, {VALUES} values, five lanes (photo {1000 * whole:.0f} ms)", "ms", "of the photo", "target"]
    rows = []
    for phases, each in ((1, 5), (50, 5), (1, 2), (50, 2)):
        library = crowded_library(phases)
        spots, references = five_lanes(each)
        spent = median(seconds(lambda s=spots, lib=library, r=references: candidates(s, METHOD, lib, r), 9))  # type: ignore[misc]
        name = f"{5 * each} spots, {VALUES // phases} values under this mobile phase"
        rows.append([name, f"{1000 * spent:.1f}", f"1/{whole / spent:.0f}", f"≤ 1/{1 / SHARE:.0f}"])
    return aligned([head, *rows])


# ---- the same through the camera

COLOURS = dict(zip(NAMES, ("Fell violet", "Marl red", "Gorse yellow", "Tarn blue"), strict=True))


def _photographed(seed: int, photos: int) -> str:
    """Sheets drawn, photographed and measured whole; the first lane is the unknown's. Colours count here."""
    tallies: dict[str, Counter[str]] = {"beside": Counter(), "beside, colours unknown": Counter(), "table": Counter()}
    for number in range(photos):
        rf, truth, scene = sheet_scene(seed + number)
        spots = [s for strip in measure_photo(render(scene).data).strips for s in observed(strip)]
        plain = [replace(s, colour="") for s in spots]
        tallies["beside"][_found(spots, Library.of(()), True, truth)] += 1
        tallies["beside, colours unknown"][_found(plain, Library.of(()), True, truth)] += 1
        tallies["table"][_found(plain, table(rf), False, truth)] += 1
    head = [f"{photos} sheets photographed and measured, % right / cannot tell / wrong", ""]
    return aligned([head, *([name, _shares(tally)] for name, tally in tallies.items())])


def _found(spots: list[Observed], library: Library, beside: bool, truth: frozenset[str]) -> str:
    lanes = sorted({s.lane for s in spots})
    if len(lanes) != len(NAMES) + 1:
        return "cannot tell"  # a lane was not seen: whoever looks at the picture sees that
    references = [SheetReference(n, tuple(s for s in spots if s.lane == lane)) for n, lane in zip(NAMES, lanes[1:], strict=True)]  # fmt: skip
    sample = [s for s in spots if s.lane == lanes[0]]
    return verdict(account(sample, METHOD, library, references if beside else ()), truth)


def sheet_scene(seed: int) -> tuple[np.ndarray, frozenset[str], Scene]:
    """One sheet of a class set in front of a camera: the references' mean Rf, what is in the unknown, and the scene."""
    rng = np.random.default_rng([seed, 3])
    rf, _ = class_set(seed // 30, Model(), 0)
    inside = rng.choice(len(NAMES), rng.integers(1, 4), replace=False)
    shift = rng.normal(0, 0.03)
    lanes = [_lane(n, contents, rf + shift, rng) for n, contents in enumerate([list(inside), [0], [1], [2], [3]])]
    x, y = card_layout("sheet", "a4").bays[0].rect.centre
    front = Front(Curve(131.0, float(rng.normal(0, 0.008)), 0.0, 65.0), "pencil", 0.28, 0.4)
    paper = PaperStrip(
        bay=1, centre_mm=(x, y), width_mm=130.0, length_mm=155.0, origin=OriginLine(Curve(20.0, 0.002, mid_mm=65.0), "pencil", 0.4, 0.32),
        front=front, lanes=tuple(lanes), turn_deg=float(rng.normal(0, 2)), stock=Stock(3.6, (0.008, 0.009, 0.014), 0.009), ragged_mm=0.12, streaks=0.1,
    )  # fmt: skip
    camera = CameraSetup(
        tilt_deg=float(rng.uniform(0, 14)), azimuth_deg=float(rng.uniform(0, 360)), roll_deg=float(rng.normal(0, 2)), fill=0.8, k1=-0.008,
        vignetting=0.12, exposure=0.8, cast=(1.0, 0.985, 0.95), defocus_px=0.7, shot_noise=0.006, quality=88, orientation=6,
    )  # fmt: skip
    return rf, frozenset(NAMES[n] for n in inside), Scene("sheet", "a4", (paper,), camera, Light(0.1, 200, 0.02), Surroundings("wood"), seed=seed)  # fmt: skip


def _lane(number: int, contents: list[int], rf: np.ndarray, rng: np.random.Generator) -> Lane:
    dyes = {dye.name: dye for dye in DYES}
    spots = tuple(
        Spot(dyes[COLOURS[NAMES[n]]], float(rf[n] + rng.normal(0, 0.007)), float(rng.uniform(0.25, 0.5)), 1.4, 0.03)
        for n in sorted(contents, key=lambda n: rf[n])
    )
    return Lane(13.0 + 26.0 * number, spots, "cross", width_mm=8.0)
