"""Draw and measure many photos, in several processes."""

from __future__ import annotations

import sys
from collections.abc import Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from multiprocessing import get_context

from tests.benchmark.photos import photograph, scene_of
from tests.benchmark.score import PhotoScore, score

Task = tuple[str, int]
"""A class, or a case of ADVERSE, and a seed."""


def score_of(task: Task) -> PhotoScore:
    """Draw and measure one photo."""
    name, seed = task
    scene = scene_of(name, seed)
    return score(f"{name} {seed}", scene, photograph(scene))


def scored(tasks: Sequence[Task], jobs: int) -> Iterator[PhotoScore]:
    """Scores in the order of the tasks, with progress on standard error."""
    if not tasks:
        return
    # Spawned, not forked: a forked child inherits OpenCV's threads in a state it cannot use.
    with ProcessPoolExecutor(jobs, mp_context=get_context("spawn")) as pool:
        for n, found in enumerate(pool.map(score_of, tasks)):
            print(f"\r{n + 1} of {len(tasks)}  {found.where:40}", end="", file=sys.stderr, flush=True)
            yield found
    print(file=sys.stderr)
