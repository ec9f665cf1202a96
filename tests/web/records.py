"""A web tool with records, a practical and stations, for tests."""

from __future__ import annotations

import time
import uuid
from collections.abc import Callable
from concurrent.futures import Executor, Future
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta
from functools import cache
from pathlib import Path
from typing import Any
from urllib.parse import quote

from flask import Flask
from flask.testing import FlaskClient

import webcapture
from webcapture.flags import flags
from webcapture.settings import DEFAULTS, Settings
from webcapture.store import lead as leads
from webcapture.store import practicals, stations
from webcapture.store.codec import dumped, loaded
from webcapture.store.records import LaneRole, Method, PracticalPlan
from webcapture.store.store import Store
from webcapture.web import WebConfig, create_app
from webcapture.web.foreman import Declined, Done, Foreman, measure

ROOT = Path(__file__).resolve().parents[2]
WORK = "/work"
"""The address of a station's page."""
PHOTO = ROOT / "static" / "readme" / "photo.jpg"
"""Six strips on a tray, drawn by this program."""
PLAN = PracticalPlan(
    "Leaf dyes", Method("water", "filter paper", 21.0, ""), "tray", "a4", (LaneRole(1, "sample", "Unknown A"),), "", 60
)


@cache
def measured() -> Done:
    """The photo's result, measured once for all tests."""
    done = measure(PHOTO.read_bytes(), PHOTO.name, DEFAULTS)
    assert isinstance(done, Done)
    return done


class Inline(Executor):
    """Does the work at once, in the same thread."""

    def submit(self, work: Callable[..., Any], /, *given: Any, **named: Any) -> Future[Any]:
        future: Future[Any] = Future()
        try:
            future.set_result(work(*given, **named))
        except BaseException as error:
            future.set_exception(error)
        return future


def known_work(data: bytes, name: str, settings: Settings) -> Done | Declined:
    """Stands in for the measurement: the one photo's result, or what the name asks for."""
    del settings
    if name.startswith("no-card"):
        return Declined("no-card", "No calibration card was recognised.", "Photograph the whole card.")
    if name.startswith("crash"):
        raise ZeroDivisionError("a secret of the inside")
    assert data
    if name.startswith("empty-card"):
        whole = loaded(measured().result)
        return replace(measured(), result=dumped(replace(whole, strips=(), flags=flags("no-strip"))))
    return measured()


@dataclass
class Room:
    """A running installation: its application, its practical, and what its stations hold."""

    app: Flask
    practical: str
    cookies: dict[str, str] = field(default_factory=dict)
    ids: dict[str, str] = field(default_factory=dict)

    @property
    def store(self) -> Store:
        found = self.app.extensions["store"]
        assert isinstance(found, Store)
        return found

    @property
    def foreman(self) -> Foreman:
        found = self.app.extensions["foreman"]
        assert isinstance(found, Foreman)
        return found

    def join(self, label: str) -> FlaskClient:
        """A client with a new station's cookie."""
        with self.store.database.writing() as session:
            info, token = stations.join(session, self.practical, label, datetime.now(UTC))
        self.cookies[label], self.ids[label] = token, info.id
        client = self.app.test_client()
        client.set_cookie("station", token)
        return client

    def lead(self) -> FlaskClient:
        """A client that is signed in as the lead."""
        with self.store.database.writing() as session:
            token = leads.sign_in(session, datetime.now(UTC), timedelta(hours=1))
        client = self.app.test_client()
        client.set_cookie("lead", token)
        return client


def open_room(folder: Path, work: Any = known_work, start: bool = True, **changed: Any) -> Room:
    """An installation in ``folder`` whose foreman works in its own thread; ``changed`` are settings of the room."""
    settings = replace(DEFAULTS, room=replace(DEFAULTS.room, **{"look_s": 0.05, **changed}))
    app = create_app(WebConfig(settings=settings, data=folder, work=work))
    app.extensions["foreman"] = Foreman(app.extensions["store"], settings, work, Inline)
    with app.extensions["store"].database.writing() as session:
        practical = practicals.create(session, PLAN, datetime.now(UTC), timedelta(hours=1))
    room = Room(app, practical.id)
    if start:
        room.foreman.start()
    return room


def close_room(room: Room) -> None:
    """Stop what runs."""
    room.foreman.stop()
    room.store.close()


def send(client: FlaskClient, data: bytes = b"photo", name: str = "strip 1.jpg", photo_id: str | None = None) -> Any:
    """Send a photo as the page's script does."""
    address = f"{WORK}/photos/{photo_id or uuid.uuid4()}"
    return client.put(address, data=data, content_type="image/jpeg", headers={"X-Name": quote(name)})


def wait_until(what: Callable[[], bool], seconds: float = 30.0) -> None:
    """Until it is so, or the test has failed."""
    end = time.monotonic() + seconds
    while not what():
        assert time.monotonic() < end, "it did not come about in time"
        time.sleep(0.02)


def finished(client: FlaskClient) -> bool:
    """Whether nothing of that station waits."""
    return all(photo["state"] in {"measured", "refused"} for photo in client.get(f"{WORK}/photos").json)


def send_and_wait(client: FlaskClient, name: str = "strip 1.jpg") -> str:
    """Send a photo, wait until it is done; its id."""
    sent = send(client, name.encode(), name)
    assert sent.status_code == 201, sent.text
    wait_until(lambda: finished(client))
    return str(sent.json["id"])


def software() -> str:
    """The version that measures."""
    return webcapture.__version__
