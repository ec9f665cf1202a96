"""How long a photo takes against its bare decode, stage by stage, and how much memory."""

from __future__ import annotations

import io
import subprocess
import sys
import tempfile
import time
from collections import defaultdict
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from functools import partial
from pathlib import Path
from statistics import median
from typing import Any

from PIL import Image

from tests.benchmark.photos import CLASSES, ROOT, photograph, sized
from tests.benchmark.table import aligned
from webcapture import annotated_jpeg, pipeline
from webcapture.measure import attempt, kept, strip

STAGES = (
    "read_photo",
    "find_card",
    "fit_view",
    "rectified_sheet",
    "papers_on",
    "find_strips",
    "judge",
    "cut_strip",
    "measure_strip",
)
STRIP_STAGES = ("field_of", "read_lines", "stain_on", "find_lanes", "find_spots", "rise_of", "lane_of")
RATIO = 4.0
MEMORY_MB = {12: 400, 108: 700}

ONE_PHOTO = """
import sys
from pathlib import Path
import webcapture
webcapture.annotated_jpeg(webcapture.measure_photo(Path(sys.argv[1]).read_bytes()))
print(next(line.split()[1] for line in open("/proc/self/status") if line.startswith("VmHWM")))
"""


def speed_table(seed: int, rounds: int) -> str:
    """Medians of interleaved rounds on one 12 MP photo of each class, by the clock and by processor time.

    The clock's ratio is the figure asked for; the processor's tells whether other work on the machine disturbed it.
    """
    head = ["12 MP photo", "decode ms", "measure ms", "annotate ms", "ratio", "target", "ratio, processor time"]
    rows = [[*head, *STAGES, *(f"· {name}" for name in STRIP_STAGES)]]
    for name in CLASSES:
        rows.append([name, *_timed(photograph(CLASSES[name](seed)).data, rounds)])
    columns = list(zip(*rows, strict=True))
    return aligned([list(column) for column in columns])


def _timed(data: bytes, rounds: int) -> list[str]:
    for _ in range(2):  # warm
        _whole(data)
    decoded, measured, annotated = [], [], []
    for _ in range(rounds):
        decoded.append(_spent(lambda: Image.open(io.BytesIO(data)).load())[1])
        result, spent = _spent(lambda: pipeline.measure_photo(data))
        measured.append(spent)
        annotated.append(_spent(partial(annotated_jpeg, result))[1])
    stages = [stage_times(data) for _ in range(3)]
    clock, processor = (_ratio(decoded, measured, annotated, which) for which in (0, 1))
    told = [f"{1e3 * median(seconds for seconds, _ in part):.0f}" for part in (decoded, measured, annotated)]
    split = [f"{1e3 * median(stage.get(name, 0.0) for stage in stages):.0f}" for name in (*STAGES, *STRIP_STAGES)]
    return [*told, f"{clock:.1f}", f"≤ {RATIO:.0f}", f"{processor:.1f}", *split]


Seconds = tuple[float, float]
"""By the clock, and of the processor's time on all threads."""


def _ratio(decoded: list[Seconds], measured: list[Seconds], annotated: list[Seconds], which: int) -> float:
    whole = median(m[which] + a[which] for m, a in zip(measured, annotated, strict=True))
    return whole / median(d[which] for d in decoded)


def _spent(work: Callable[[], Any]) -> tuple[Any, Seconds]:
    """What ``work`` returned, and how long it took."""
    clock, processor = time.perf_counter(), time.process_time()
    made = work()
    return made, (time.perf_counter() - clock, time.process_time() - processor)


def _whole(data: bytes) -> None:
    annotated_jpeg(pipeline.measure_photo(data))


def stage_times(data: bytes) -> dict[str, float]:
    """Seconds of each stage, all its calls together."""
    spent: dict[str, float] = defaultdict(float)
    with ExitStack() as watches:
        watches.enter_context(_watched(pipeline, STAGES, spent))
        for part in (attempt, kept, strip):
            watches.enter_context(_watched(part, STRIP_STAGES, spent))
        pipeline.measure_photo(data)
    return spent


@contextmanager
def _watched(module: Any, names: tuple[str, ...], spent: dict[str, float]) -> Iterator[None]:
    """Each named function of ``module`` timed while this lasts."""
    plain = {name: getattr(module, name) for name in names if hasattr(module, name)}

    def timed(name: str) -> Callable[..., Any]:
        def call(*args: Any, **words: Any) -> Any:
            start = time.perf_counter()
            try:
                return plain[name](*args, **words)
            finally:
                spent[name] += time.perf_counter() - start

        return call

    try:
        for name in plain:
            setattr(module, name, timed(name))
        yield
    finally:
        for name, function in plain.items():
            setattr(module, name, function)


def memory_table(seed: int) -> str:
    """Peak memory of a fresh process that measures one photo and draws its picture."""
    rows = [["one photo, fresh process", "peak MB", "target"]]
    for megapixels, most in MEMORY_MB.items():
        for name in ("typical", "tray"):
            photo = photograph(sized(CLASSES[name](seed), megapixels))
            rows.append([f"{name} {megapixels} MP", peak_mb(photo.data), f"≤ {most}"])
    return aligned(rows)


def peak_mb(data: bytes) -> str:
    """VmHWM of the process, megabytes, or what went wrong."""
    with tempfile.NamedTemporaryFile(suffix=".jpg") as file:
        file.write(data)
        file.flush()
        command = [sys.executable, "-c", ONE_PHOTO, str(Path(file.name))]
        run = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=False)
    if run.returncode != 0:
        return f"failed: {run.stderr.strip().splitlines()[-1]}"
    return f"{int(run.stdout) * 1024 / 1e6:.0f}"
