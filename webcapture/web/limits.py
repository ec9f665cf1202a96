"""How often one client may ask for what costs: counted in this process, which is the only one that serves.

A station counts by itself, so that thirty phones behind one address do not stand in each other's way; who has not joined counts by
address. Wrong codes and passphrases have a limit of their own, kept with the records (:mod:`webcapture.store.lead`).
"""

from __future__ import annotations

import math
import time

from flask import Flask, current_app, request
from limits import RateLimitItem, RateLimitItemPerMinute
from limits.storage import MemoryStorage
from limits.strategies import SlidingWindowCounterRateLimiter
from werkzeug.exceptions import TooManyRequests

from webcapture.settings import RateSettings
from webcapture.web.identity import current_station
from webcapture.web.security import SAFE_METHODS

COUNTED = {
    "api.measure": "measure",
    "pages.measure": "measure",
    "station.put": "send",
    "station.post": "send",
    "lead.sign_in": "sign_in",
    "lead.setup": "sign_in",
    "join.start": "join",
    "join.label": "join",
}
"""Endpoints by what they cost; every other change counts as ``change``."""


class Limits:
    """The counters of one running tool."""

    def __init__(self, settings: RateSettings) -> None:
        self._counter = SlidingWindowCounterRateLimiter(MemoryStorage())
        rates = {
            "measure": settings.measure,
            "send": settings.send,
            "sign_in": settings.sign_in,
            "join": settings.join,
            "change": settings.change,
        }
        self._items = {kind: RateLimitItemPerMinute(rate) for kind, rate in rates.items()}

    def wait_s(self, kind: str, client: str) -> int:
        """Count one request; 0 where it may go on, else the seconds after which to try again."""
        item: RateLimitItem = self._items[kind]
        if self._counter.hit(item, kind, client):
            return 0
        again = self._counter.get_window_stats(item, kind, client).reset_time - time.time()
        return max(math.ceil(again), 1)


def init_app(app: Flask, settings: RateSettings) -> None:
    """Refuse, before a body is read, whoever asks too often."""
    app.extensions["limits"] = Limits(settings)
    app.before_request(_count)


def _count() -> None:
    if request.method in SAFE_METHODS or request.endpoint is None:
        return
    counters: Limits = current_app.extensions["limits"]
    wait = counters.wait_s(COUNTED.get(request.endpoint, "change"), _client())
    if wait:
        raise TooManyRequests(retry_after=wait)


def _client() -> str:
    station = current_station()
    return f"station {station.id}" if station is not None else f"address {request.remote_addr}"
