"""Processor time, and a piece of work to hold it against: how long something takes is never asserted in seconds."""

from __future__ import annotations

import json
import time
from collections.abc import Callable, Iterator


def seconds(do: Callable[[], object], rounds: int) -> Iterator[float]:
    """Processor time that each round took of this thread: what threads of earlier tests still do is not the round's."""
    for _ in range(rounds):
        start = time.thread_time()
        do()
        yield time.thread_time() - start


def yardsticks(do: Callable[[], object], rounds: int = 3) -> float:
    """How many times as long the quickest of so many rounds takes as writing and reading 20,000 numbers as JSON does."""
    return min(seconds(do, rounds)) / min(seconds(lambda: json.loads(json.dumps(_NUMBERS)), 5))


_NUMBERS = {f"{n}": [n / 7] for n in range(20_000)}
