"""What a look at one frame of the live view costs, and how far its hint agrees with what measuring the photo says."""

from __future__ import annotations

import io
import math
import sys
import time
from collections import Counter
from collections.abc import Callable, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace
from multiprocessing import get_context

import numpy as np
from PIL import Image, ImageOps

import webcapture
from tests.benchmark.photos import CLASSES, photograph
from tests.benchmark.table import aligned
from webcapture.errors import WebcaptureError
from webcapture.imaging.glance import GOOD, NO_CARD, glance
from webcapture.settings import DEFAULTS
from webcapture.synthetic import Scene

LIMIT_MS = 30
QUALITY = {"out-of-focus", "too-dark", "glare", "card-bent", "card-incomplete"}
"""Flags that a hint should have prevented; a shadow is not looked for."""
CLEAN = "measured without a flag of the photo's quality"

WIDE = "wide"
CHANCE = 0.3
"""Of each trait of a wide view to be drawn from its range below; otherwise it stays as the photo's class has it."""
TRAITS: dict[str, Callable[[np.random.Generator], float]] = {
    "tilt_deg": lambda rng: rng.uniform(0, 40),
    "fill": lambda rng: rng.uniform(0.3, 1.1),
    "exposure": lambda rng: math.exp(rng.uniform(math.log(0.1), math.log(0.9))),
    "defocus_px": lambda rng: math.exp(rng.uniform(math.log(0.6), math.log(10))),
    "motion_px": lambda rng: rng.uniform(0, 12),
}


@dataclass(frozen=True)
class Look:
    """One photo: what its frame was said to be, and what became of the photo itself."""

    kind: str
    hint: str
    fate: str
    shadow: bool
    spent_ms: float


def wide(seed: int) -> Scene:
    """A card held before the camera as people do while they still look for it: from a good view to a hopeless one."""
    rng = np.random.default_rng([seed, 112])
    scene = tuple(CLASSES.values())[int(rng.integers(len(CLASSES)))](seed)
    drawn = {name: draw(rng) for name, draw in TRAITS.items()}
    held = {name: value for name, value in drawn.items() if rng.random() < CHANCE}
    return replace(scene, camera=replace(scene.camera, **held))


def quick_table(seed: int, photos: int, jobs: int) -> str:
    """Processor time a frame, and what became of the photos by their hint: of each class, and of as many wide views."""
    tasks = [(kind, seed + n) for kind in (*CLASSES, WIDE) for n in range(_count(kind, photos))]
    with ProcessPoolExecutor(jobs, mp_context=get_context("spawn")) as pool:
        looks = []
        for look in pool.map(_look, tasks):
            looks.append(look)
            print(f"\r{len(looks)} of {len(tasks)}", end="", file=sys.stderr, flush=True)
    print(file=sys.stderr)
    return "\n\n".join((_cost(looks, seed), _agreement(looks), _fates(looks)))


def _count(kind: str, photos: int) -> int:
    return max(photos // 4, 1) if "tray" in kind else photos


def _look(task: tuple[str, int]) -> Look:
    kind, seed = task
    data = photograph(wide(seed) if kind == WIDE else CLASSES[kind](seed)).data
    frame = _frame(data)
    glance(frame, DEFAULTS)  # warm
    begun = time.process_time()
    hint = glance(frame, DEFAULTS).hint
    spent = 1e3 * (time.process_time() - begun)
    fate, shadow = _fate(data)
    return Look(kind, hint, fate, shadow, spent)


def _cost(looks: Sequence[Look], seed: int) -> str:
    bare = [_bare(seed + number) for number in range(max(len(looks) // 4, 9))]
    by_what = {
        "all frames": [look.spent_ms for look in looks],
        "no card seen": [look.spent_ms for look in looks if look.hint == NO_CARD],
        "clutter, no card there": bare,
    }
    rows = [["a look at a frame, ms of processor time", "frames", "median", "95th percentile", "target"]]
    for what, spent in by_what.items():
        told = [f"{np.percentile(spent, q):.1f}" for q in (50, 95)] if spent else ["–", "–"]
        rows.append([what, str(len(spent)), *told, f"≤ {LIMIT_MS}"])
    return aligned(rows)


def _agreement(looks: Sequence[Look]) -> str:
    """How often a hint told the truth: good photos called good, and photos sent back that would have measured cleanly."""
    rows = [
        ["photos", "", "hinted good", "· clean", "· of these a shadow", "no card seen", "· clean", "other", "· clean"]
    ]
    for kind in (*CLASSES, WIDE, "all"):
        mine = [look for look in looks if kind in {look.kind, "all"}]
        good = [look for look in mine if look.hint == GOOD]
        unseen = [look for look in mine if look.hint == NO_CARD]
        other = [look for look in mine if look.hint not in {GOOD, NO_CARD}]
        counts = [mine, good, _clean(good), [look for look in _clean(good) if look.shadow]]
        counts += [unseen, _clean(unseen), other, _clean(other)]
        rows.append([kind, *(str(len(count)) for count in counts)])
    return aligned(rows)


def _clean(looks: Sequence[Look]) -> list[Look]:
    return [look for look in looks if look.fate == CLEAN]


def _fates(looks: Sequence[Look]) -> str:
    rows = [["hint", "photos"]]
    for hint in dict.fromkeys(look.hint for look in looks):
        found = Counter(look.fate for look in looks if look.hint == hint)
        rows.append([hint, ", ".join(f"{n} {what}" for what, n in found.most_common())])
    return aligned(rows)


def _frame(data: bytes) -> bytes:
    picture = ImageOps.exif_transpose(Image.open(io.BytesIO(data))).convert("RGB")
    picture.thumbnail((DEFAULTS.glance.most_side, DEFAULTS.glance.most_side))
    out = io.BytesIO()
    picture.save(out, "JPEG", quality=70)
    return out.getvalue()


def _bare(seed: int) -> float:
    """Milliseconds for a frame of clutter."""
    rng = np.random.default_rng(seed)
    small = Image.fromarray(rng.integers(0, 255, (60, 80, 3), np.uint8)).resize((1120, 840), Image.Resampling.BICUBIC)
    out = io.BytesIO()
    small.save(out, "JPEG", quality=70)
    begun = time.process_time()
    glance(out.getvalue(), DEFAULTS)
    return 1e3 * (time.process_time() - begun)


def _fate(data: bytes) -> tuple[str, bool]:
    """(what became of the photo, whether a shadow was seen on it)."""
    try:
        codes = {flag.code for flag in webcapture.measure_photo(data).flags}
    except WebcaptureError as error:
        return error.code, False
    return " + ".join(sorted(codes & QUALITY)) or CLEAN, "shadow" in codes
