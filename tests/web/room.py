"""A tool with records for tests of the lead's side: its lead, practicals, stations and measured photos, all made up."""

from __future__ import annotations

import io
import uuid
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

from flask import Flask
from flask.testing import FlaskClient
from PIL import Image

from tests.report.factory import SpotSpec, StripSpec, make_result
from webcapture.model import PhotoResult
from webcapture.settings import DEFAULTS
from webcapture.store import lead as leads
from webcapture.store import photos, practicals, stations
from webcapture.store.codec import dumped
from webcapture.store.records import LaneRole, Method, PracticalInfo, PracticalPlan, StationInfo
from webcapture.store.store import Store
from webcapture.web import WebConfig, create_app
from webcapture.web.identity import LEAD_COOKIE, STATION_COOKIE

WORDS = "seven quiet herons"
KEY = "a-key-for-tests"
START = datetime(2026, 3, 2, 9, 0, tzinfo=UTC)


@dataclass
class Clock:
    """The time, as the test sets it."""

    at: datetime = field(default=START)

    def __call__(self) -> datetime:
        return self.at


class Room:
    """A tool, its store and its clock."""

    def __init__(self, folder: Path, host: str = "192.0.2.7", **given: Any) -> None:
        self.app: Flask = create_app(WebConfig(data=folder, setup_key=KEY, host=host, **given))
        self.store: Store = self.app.extensions["store"]
        self.clock = Clock()
        self.app.config["CLOCK"] = self.clock

    def set_passphrase(self) -> None:
        with self.store.database.writing() as session:
            leads.set_passphrase(session, WORDS)

    def lead_token(self) -> str:
        with self.store.database.writing() as session:
            return leads.sign_in(session, self.clock(), timedelta(hours=DEFAULTS.room.session_hours))

    def lead(self) -> FlaskClient:
        """A client of a signed-in lead."""
        client = self.app.test_client()
        client.set_cookie(LEAD_COOKIE, self.lead_token())
        return client

    def practical(
        self, title: str = "Dyes of the market", layout: str = "sheet", numbers: tuple[int, ...] = (1, 2),
        phase: str = "water : ethanol 4 : 1", paper: str = "filter paper", lanes: tuple[LaneRole, ...] | None = None,
    ) -> PracticalInfo:  # fmt: skip
        """A practical with something in the lanes of those numbers, or with ``lanes``."""
        method = Method(phase, paper, 21.0, "")
        known = (("sample", "Mixture M"), ("reference", "Saffron yellow"), ("reference", "Walnut brown"))
        usual = tuple(LaneRole(number, *what) for number, what in zip(numbers, known, strict=False))
        lanes = usual if lanes is None else lanes
        plan = PracticalPlan(title, method, layout, "a4", lanes, "", 30)
        with self.store.database.writing() as session:
            made = practicals.create(session, plan, self.clock(), timedelta(hours=12))
        self.clock.at += timedelta(minutes=1)
        return made

    def practical_of(self, lanes: tuple[tuple[str, str], ...], layout: str = "sheet") -> PracticalInfo:
        """A practical in the workshop of the demonstration, with those (role, label) from the left."""
        roles = tuple(LaneRole(number, *what) for number, what in enumerate(lanes, 1))
        plan = PracticalPlan("Dye vats", Method("salt water", "workshop paper", 20.0, ""), layout, "a4", roles, "", 30)
        with self.store.database.writing() as session:
            return practicals.create(session, plan, self.clock(), timedelta(hours=12))

    def look(self, practical: PracticalInfo) -> PracticalInfo | None:
        with self.store.database.reading() as session:
            return practicals.find(session, practical.id)

    def station(self, practical: PracticalInfo, label: str) -> tuple[StationInfo, str]:
        with self.store.database.writing() as session:
            return stations.join(session, practical.id, label, self.clock())

    def station_client(self, token: str) -> FlaskClient:
        client = self.app.test_client()
        client.set_cookie(STATION_COOKIE, token)
        return client

    def photo(self, station: StationInfo, name: str = "bench.jpg") -> str:
        """A photo that waits."""
        photo_id = str(uuid.uuid4())
        digest = self.store.vault.put(f"bytes of {photo_id}".encode())
        self.clock.at += timedelta(seconds=1)
        with self.store.database.writing() as session:
            photos.accept(session, photo_id, station.id, name, digest, 9, self.clock())
        return photo_id

    def measured(
        self, station: StationInfo, *lanes: tuple[float, ...], flags: tuple[str, ...] = (), layout: str = "sheet",
        spot_flags: tuple[str, ...] = (), strip_flags: tuple[str, ...] = (),
    ) -> str:  # fmt: skip
        """A photo measured with spots at these Rf: lane by lane of a sheet, or bay by bay of a tray."""
        spots = [tuple(SpotSpec(rf, flags=spot_flags) for rf in lane) for lane in lanes]
        specs = [StripSpec(width_mm=100.0, lanes=tuple(spots), flags=strip_flags)]
        if layout == "tray":
            specs = [StripSpec(width_mm=20.0, lanes=(lane,), bay=n) for n, lane in enumerate(spots, 1) if lane]
        return self.kept(station, make_result(*specs, photo_flags=flags, layout=layout))

    def kept(self, station: StationInfo, result: PhotoResult) -> str:
        """A photo measured with that result."""
        photo_id = self.photo(station)
        picture = io.BytesIO()
        Image.fromarray(result.page.pixels).save(picture, "JPEG")
        page = self.store.vault.put(picture.getvalue())
        with self.store.database.writing() as session:
            photos.finish(session, photo_id, "tests", dumped(result), page, self.clock())
        return photo_id

    def refused(self, station: StationInfo, message: str) -> str:
        photo_id = self.photo(station)
        with self.store.database.writing() as session:
            photos.refuse(session, photo_id, {"code": "no-card", "message": message, "hint": "Get the card in."})
        return photo_id
