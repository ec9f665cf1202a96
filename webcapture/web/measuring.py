"""From an uploaded file to its entry of the contract: a bounded number at once, the last pictures kept in memory.

Results live in the page that shows them; only the annotated pictures stay here, so that a page or a program can fetch them
by link. They are kept in memory, not on disk: writing is the business of the store, and a picture that is gone is made
again from the photo. So there is one worker process, with threads.
"""

from __future__ import annotations

import logging
import math
import secrets
from collections import OrderedDict
from collections.abc import Callable
from dataclasses import dataclass
from threading import BoundedSemaphore, Lock
from typing import IO, Any

from werkzeug.exceptions import ServiceUnavailable

import webcapture
from webcapture.errors import Unexpected, WebcaptureError
from webcapture.report.export import error_dict
from webcapture.settings import WebSettings
from webcapture.web.errors import TROUBLES

LOG = logging.getLogger("webcapture.web")

Entry = dict[str, Any]
"""One photo's object of the contract, in plain JSON types."""


@dataclass(frozen=True, slots=True)
class Outcome:
    """What one photo gave."""

    entry: Entry
    picture: bytes | None
    """The annotated JPEG, or None where the photo could not be measured."""


Measure = Callable[[bytes, str], Outcome]
"""(the file's bytes, its name) to what it gave."""


@dataclass(frozen=True, slots=True)
class Shown:
    """An entry and where its picture can be fetched."""

    entry: Entry
    token: str | None
    """Names the kept picture; None where there is none."""


def measure(data: bytes, name: str) -> Outcome:
    """Measure one photo; what cannot be measured becomes an entry that says why, never an exception."""
    try:
        result = webcapture.measure_photo(data, name=name)
    except WebcaptureError as error:
        return Outcome(error_dict(name, error), None)
    return Outcome(webcapture.as_dict(result), webcapture.annotated_jpeg(result))


def warm_up() -> None:
    """Load the image libraries now, so that the first photo does not wait for them."""
    for name in ("measure_photo", "as_dict", "annotated_jpeg"):
        getattr(webcapture, name)


def tidy_name(name: str | None, longest: int) -> str:
    """A file name as a person reads it: without its folder and control characters, at most ``longest`` characters.

    >>> tidy_name("C:\\\\phone\\\\strip 1.jpg", 40)
    'strip 1.jpg'
    >>> tidy_name(None, 40)
    'photo'
    """
    last = (name or "").replace("\\", "/").rsplit("/", 1)[-1]
    return "".join(c for c in last if c.isprintable()).strip()[:longest] or "photo"


class Shelf:
    """The last pictures, by token; at most so many, and at most so many bytes together."""

    def __init__(self, most: int, most_bytes: int) -> None:
        self._most, self._most_bytes = most, most_bytes
        self._pictures: OrderedDict[str, bytes] = OrderedDict()
        self._lock = Lock()

    def put(self, picture: bytes) -> str:
        """Keep a picture; returns the token that fetches it, which cannot be guessed."""
        token = secrets.token_urlsafe(16)
        with self._lock:
            self._pictures[token] = picture
            while self._too_full():
                self._pictures.popitem(last=False)
        return token

    def get(self, token: str) -> bytes | None:
        """The picture, or None where it was never kept or is kept no longer."""
        with self._lock:
            return self._pictures.get(token)

    def _too_full(self) -> bool:
        total = sum(map(len, self._pictures.values()))
        return len(self._pictures) > self._most or (total > self._most_bytes and len(self._pictures) > 1)


class Desk:
    """Where photos are taken in: measures a bounded number at once and keeps the pictures."""

    def __init__(self, measure: Measure, settings: WebSettings) -> None:
        self._measure, self._settings = measure, settings
        self._gate = BoundedSemaphore(settings.measuring_at_once)
        self.shelf = Shelf(settings.pictures_kept, settings.pictures_bytes)

    def take(self, stream: IO[bytes], name: str | None) -> Shown:
        """Measure one file; raises ServiceUnavailable where its turn does not come in time."""
        if not self._gate.acquire(timeout=self._settings.wait_s):
            raise ServiceUnavailable(retry_after=math.ceil(self._settings.wait_s))
        try:
            # Read only now: a class set of waiting photos must not sit in memory together.
            outcome = self._outcome(stream.read(), tidy_name(name, self._settings.name_length))
        finally:
            self._gate.release()
        return Shown(outcome.entry, None if outcome.picture is None else self.shelf.put(outcome.picture))

    def _outcome(self, data: bytes, name: str) -> Outcome:
        """What the measurement gave; what nobody expected spoils this photo only, and the log says more."""
        try:
            return self._measure(data, name)
        except Exception:
            LOG.exception("measuring failed unexpectedly")
            words = TROUBLES[500]
            return Outcome(error_dict(name, Unexpected(words.message, words.hint)), None)
