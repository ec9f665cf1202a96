"""Processor time, and a piece of work to hold it against: how long something takes is never asserted in seconds."""

from __future__ import annotations

import json
import time
from collections.abc import Callable, Iterator


def seconds(do: Callable[[], object], rounds: int) -> Iterator[float]:
    """Processor time of each round."""
    for _ in range(rounds):
        start = time.process_time()
        do()
        yield time.process_time() - start


def yardsticks(do: Callable[[], object], rounds: int = 1) -> float:
    """How many times as long the quickest of so many rounds takes as writing and reading 20,000 numbers as JSON does."""
    return min(seconds(do, rounds)) / min(seconds(lambda: json.loads(json.dumps(_NUMBERS)), 5))


_NUMBERS = {f"{n}": [n / 7] for n in range(20_000)}
