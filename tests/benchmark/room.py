"""A class set at once: stations that each send one 12 MP photo to a served tool, and how long until each is measured."""

from __future__ import annotations

import http.client
import json
import re
import subprocess
import sys
import tempfile
import time
import uuid
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from statistics import median, quantiles

from tests.benchmark.photos import CLASSES, ROOT, photograph
from tests.benchmark.table import aligned
from webcapture.store import photos, practicals, stations
from webcapture.store.records import LaneRole, Method, PracticalPlan
from webcapture.store.store import Store

WITHIN_S = 10.0
"""Over so long the stations press the button."""
PATIENCE_S = 180.0
PAGE = "/work"
"""A station's own page."""


@dataclass(frozen=True)
class Sent:
    """One station's photo."""

    status: int
    accepted_s: float
    """From the first byte to the answer."""
    measured_s: float | None
    """From the first byte until the station sees its result; None where that never came."""


def room_table(seed: int, count: int = 30, kinds: tuple[str, ...] = ("typical", "hard")) -> str:
    """Send, wait, count: a table for people."""
    pictures = [photograph(CLASSES[kinds[n % len(kinds)]](seed + n % 6)).data for n in range(count)]
    with tempfile.TemporaryDirectory() as folder:
        data = Path(folder)
        practical, tokens = _joined(data, count)
        with _served(data) as port, ThreadPoolExecutor(count) as pool:
            sent = list(pool.map(lambda n: _send(port, tokens[n], pictures[n], n * WITHIN_S / count), range(count)))
        store = Store(data)
        with store.database.reading() as session:
            kept = photos.of_practical(session, practical)
        store.close()
    return _told(sent, [photo.state for photo in kept])


def _joined(data: Path, count: int) -> tuple[str, list[str]]:
    """A practical and its stations' tokens, put into the records before the tool is started."""
    store, now = Store(data), datetime.now(UTC)
    plan = PracticalPlan("Load", Method("", "", None, ""), "sheet", "a4", (LaneRole(1, "sample", "A"),), "", 1)
    with store.database.writing() as session:
        practical = practicals.create(session, plan, now, timedelta(hours=1))
        tokens = [stations.join(session, practical.id, f"Station {n + 1}", now)[1] for n in range(count)]
    store.close()
    return practical.id, tokens


class _served:  # noqa: N801 -- reads as what it does in a with statement
    """The tool in a process of its own."""

    def __init__(self, data: Path) -> None:
        command = [sys.executable, "-m", "webcapture", "serve", "--port", "0", "--data", str(data)]
        self._process = subprocess.Popen(command, cwd=ROOT, stdout=subprocess.PIPE, text=True)

    def __enter__(self) -> int:
        for line in self._process.stdout or ():
            if found := re.search(r"http://127\.0\.0\.1:(\d+)/", line):
                return int(found[1])
        raise RuntimeError("the tool did not start")

    def __exit__(self, *_: object) -> None:
        self._process.terminate()
        self._process.wait(30)


def _send(port: int, token: str, data: bytes, after_s: float) -> Sent:
    time.sleep(after_s)
    photo, head = str(uuid.uuid4()), {"Cookie": f"station={token}", "Content-Type": "image/jpeg", "X-Name": "photo.jpg"}
    began = time.perf_counter()
    status, _ = _ask(port, "PUT", f"{PAGE}/photos/{photo}", head, data)
    accepted = time.perf_counter() - began
    while time.perf_counter() - began < PATIENCE_S:
        time.sleep(0.5)
        _, answer = _ask(port, "GET", f"{PAGE}/photos", head)
        if json.loads(answer)[0]["state"] in {"measured", "refused"}:
            return Sent(status, accepted, time.perf_counter() - began)
    return Sent(status, accepted, None)


def _ask(port: int, method: str, path: str, head: dict[str, str], body: bytes | None = None) -> tuple[int, bytes]:
    connection = http.client.HTTPConnection("127.0.0.1", port, timeout=PATIENCE_S)
    try:
        connection.request(method, path, body, head)
        answer = connection.getresponse()
        return answer.status, answer.read()
    finally:
        connection.close()


def _told(sent: list[Sent], states: list[str]) -> str:
    waits = [one.measured_s for one in sent if one.measured_s is not None]
    rows = [
        [f"{len(sent)} stations, one photo each within {WITHIN_S:.0f} s", "", "target"],
        ["accepted", f"{sum(one.status == 201 for one in sent)}", "all"],
        ["measured", f"{states.count('measured')}", "all"],
        ["records of photos", f"{len(states)}", f"{len(sent)}"],
        ["accepted after, median s", f"{median(one.accepted_s for one in sent):.2f}", ""],
        ["seen as measured after, median s", f"{median(waits):.1f}" if waits else "never", ""],
        ["… 95th percentile s", f"{quantiles(waits, n=20)[-1]:.1f}" if len(waits) > 1 else "never", ""],
    ]
    return aligned(rows)
