"""What a look at one frame of the live view costs, and how far its hint agrees with what measuring the photo says."""

from __future__ import annotations

import io
import time
from collections import Counter
from statistics import median

import numpy as np
from PIL import Image, ImageOps

import webcapture
from tests.benchmark.photos import CLASSES, photograph
from tests.benchmark.table import aligned
from webcapture.errors import WebcaptureError
from webcapture.imaging.glance import glance
from webcapture.settings import DEFAULTS

LIMIT_MS = 30
QUALITY = {"out-of-focus", "too-dark", "glare", "card-bent", "card-incomplete"}
"""Flags that a hint should have prevented; a shadow is not looked for."""


def quick_table(seed: int, photos: int) -> str:
    """Processor time a frame, and what became of the photos by their hint."""
    spent: list[float] = []
    hints: dict[str, Counter[str]] = {}
    for name, build in CLASSES.items():
        for number in range(photos):
            data = photograph(build(seed + number)).data
            frame = _frame(data)
            begun = time.process_time()
            hint = glance(frame, DEFAULTS).hint
            spent.append(1e3 * (time.process_time() - begun))
            hints.setdefault(hint, Counter())[_fate(data)] += 1
            hints.setdefault(f"{name}: hint", Counter())[hint] += 1
    bare = [_bare(seed + number) for number in range(photos)]
    rows = [["a look at a frame, ms of processor time", "median", "95th percentile", "target"]]
    for what, times in (("with a card", spent), ("without", bare)):
        rows.append([what, f"{median(times):.1f}", f"{np.percentile(times, 95):.1f}", f"≤ {LIMIT_MS}"])
    fates = [["hint or class", "photos"]]
    fates += [[hint, ", ".join(f"{n} {what}" for what, n in found.most_common())] for hint, found in hints.items()]
    return aligned(rows) + "\n\n" + aligned(fates)


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


def _fate(data: bytes) -> str:
    try:
        found = {flag.code for flag in webcapture.measure_photo(data).flags} & QUALITY
    except WebcaptureError as error:
        return error.code
    return " + ".join(sorted(found)) or "measured without a flag of the photo's quality"
