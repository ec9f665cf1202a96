"""A web tool with an invented measurement, a client for it, and a real browser in front of it."""

from __future__ import annotations

import io
import threading
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import pytest
from flask import Flask
from flask.testing import FlaskClient
from PIL import Image, ImageDraw
from playwright.sync_api import Browser, BrowserContext, Page, Playwright, expect, sync_playwright
from werkzeug.serving import make_server

from webcapture.errors import ALL_ERRORS
from webcapture.flags import REGISTRY
from webcapture.report.export import error_dict
from webcapture.web import WebConfig, create_app
from webcapture.web.measuring import Entry, Outcome

PATIENCE_MS = 30_000
"""How long browser tests wait for what must come: on a machine with other work Playwright's five seconds are too few."""
expect.set_options(timeout=PATIENCE_MS)

QUIET_BROWSER = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--no-first-run",
    # A name that is not "localhost", so that the page is as untrusted as on a classroom's network.
    "--host-resolver-rules=MAP lan.test 127.0.0.1",
]


def jpeg(size: tuple[int, int] = (900, 1200), colour: str = "#d9d4c4") -> bytes:
    """A plain JPEG."""
    out = io.BytesIO()
    Image.new("RGB", size, colour).save(out, "JPEG")
    return out.getvalue()


def annotated() -> bytes:
    """A picture with some lines and spots, standing in for the annotated one."""
    picture = Image.new("RGB", (1050, 1485), "#f3efe4")
    pen = ImageDraw.Draw(picture)
    pen.rectangle((200, 150, 850, 1350), outline="#333333", width=4)
    pen.line((200, 1250, 850, 1250), fill="#333333", width=4)
    pen.line((200, 330, 850, 330), fill="#333333", width=4)
    for y, colour in ((1000, "#b04a5a"), (760, "#2f7fa0"), (520, "#c98a1b")):
        pen.ellipse((460, y - 45, 590, y + 45), fill=colour)
    out = io.BytesIO()
    picture.save(out, "JPEG", quality=85)
    return out.getvalue()


def flag(code: str) -> dict[str, str]:
    """A registered flag in the contract's form."""
    known = REGISTRY[code]
    return {"code": known.code, "text": known.text, "advice": known.advice}


def spot(number: int, rf: float | None, u_rf: float | None, colour: str = "#b04a5a", *codes: str) -> dict[str, Any]:
    """A spot in the contract's form, on a run of 90.2 mm."""
    distance = 40.4 if rf is None else round(rf * 90.2, 2)
    return {
        "spot": number,
        "position_mm": [51.1, 230.4 - distance],
        "densest_mm": [51.1, 230.2 - distance],
        "distance_mm": distance,
        "width_mm": 5.13,
        "rf": rf,
        "u_rf": u_rf,
        "U_rf": None if u_rf is None else 2 * u_rf,
        "colour": colour,
        "flags": [flag(code) for code in codes],
    }


def lane(number: int, *spots: dict[str, Any], flags: tuple[str, ...] = ()) -> dict[str, Any]:
    """A lane in the contract's form."""
    return {
        "lane": number,
        "origin_mm": [51.2, 230.4],
        "front_mm": [51.0, 140.2],
        "run_mm": 90.2,
        "spots": list(spots),
        "flags": [flag(code) for code in flags],
    }


def entry(name: str, *lanes: dict[str, Any], flags: tuple[str, ...] = (), strip_flags: tuple[str, ...] = ()) -> Entry:
    """A whole photo in the contract's form: one strip of those lanes."""
    strip = {
        "bay": 1,
        "strip": 1,
        "corners_mm": [[38.0, 250.0], [64.0, 250.0], [64.0, 120.0], [38.0, 120.0]],
        "lanes": list(lanes),
        "flags": [flag(code) for code in strip_flags],
    }
    card = {"layout": "sheet", "paper": "a4", "residual_mm": 0.04, "tilt_deg": 7.1, "px_per_mm": 12.8}
    return {
        "photo": name,
        "card": card,
        "strips": [strip],
        "flags": [flag(code) for code in flags],
        "error": None,
    }


def two_lanes(name: str) -> Entry:
    """Two lanes, a doubtful spot in each, a reflection on the card."""
    first = lane(1, spot(1, 0.2781, 0.0019), spot(2, 0.448, 0.0021, "#2f7fa0", "faint"))
    second = lane(2, spot(1, 0.6104, 0.0034, "#c98a1b"), spot(2, 0.9712, 0.0151, "#5a4a8a", "faint", "near-front"))
    return entry(name, first, second, flags=("glare",), strip_flags=("front-slanted",))


@dataclass
class Bench:
    """A measurement whose result follows from the file's name; records what it was given."""

    seen: list[tuple[str, int]] = field(default_factory=list)
    hold: threading.Event | None = None
    """While set to an event, measuring waits for it."""

    def __call__(self, data: bytes, name: str) -> Outcome:
        self.seen.append((name, len(data)))
        if self.hold is not None:
            assert self.hold.wait(60)
        if name.startswith("crash"):
            raise ZeroDivisionError("a secret of the inside")
        for error in ALL_ERRORS:
            if name.startswith(error.code):
                return Outcome(error_dict(name, error(f"Seen: {error.code}.")), None)
        if name.startswith("no-front"):
            no_rf = lane(1, spot(1, None, None), flags=("front-missing",))
            return Outcome(entry(name, {**no_rf, "front_mm": None, "run_mm": None}), annotated())
        return Outcome(two_lanes(name), annotated())


@pytest.fixture
def bench() -> Bench:
    return Bench()


@pytest.fixture
def example_folder(tmp_path: Path) -> Path:
    folder = tmp_path / "examples"
    folder.mkdir()
    (folder / "leaf-dyes.jpg").write_bytes(jpeg())
    (folder / "no-card-forgotten.jpg").write_bytes(jpeg(colour="#886644"))
    (folder / "notes.txt").write_text("not a photo")
    return folder


@pytest.fixture
def app(bench: Bench, example_folder: Path) -> Flask:
    return create_app(WebConfig(measure=bench, examples=example_folder))


@pytest.fixture
def client(app: Flask) -> FlaskClient:
    return app.test_client()


@pytest.fixture
def site(app: Flask) -> Iterator[str]:
    """The web tool on a port of this machine, under a name that browsers do not trust more than any other."""
    server = make_server("127.0.0.1", 0, app, threaded=True)
    thread = threading.Thread(target=server.serve_forever)
    thread.start()
    yield f"http://lan.test:{server.server_port}"
    server.shutdown()
    thread.join()
    server.server_close()


@pytest.fixture(scope="session")
def playwright() -> Iterator[Playwright]:
    """One for all tests: a second one beside it refuses to start."""
    with sync_playwright() as started:
        yield started


@pytest.fixture(scope="session")
def browser(playwright: Playwright, chromium: str) -> Iterator[Browser]:
    started = playwright.chromium.launch(executable_path=chromium, args=QUIET_BROWSER)
    yield started
    started.close()


@dataclass
class Watched:
    """What a browser did besides showing the page."""

    complaints: list[str] = field(default_factory=list)
    """Errors and warnings of the console, and scripts that failed."""
    elsewhere: list[str] = field(default_factory=list)
    """Requests to any other host."""
    foretold: list[str] = field(default_factory=list)
    """Parts of complaints that belong to what the test does, whenever they come."""

    def foretell(self, *parts: str) -> None:
        """Allow complaints that hold one of these: said beforehand, so that one which comes late is no surprise."""
        self.foretold.extend(parts)

    def unforeseen(self) -> list[str]:
        return [text for text in self.complaints if not any(part in text for part in self.foretold)]


OpenPage = Callable[..., Page]


@pytest.fixture
def watched() -> Iterator[Watched]:
    """At the end of every browser test: nothing complained, nothing was asked of another host."""
    seen = Watched()
    yield seen
    assert seen.unforeseen() == []
    assert seen.elsewhere == []


@pytest.fixture
def open_page(browser: Browser, site: str, watched: Watched) -> Iterator[OpenPage]:
    """Opens the start page in a fresh browser context; takes Playwright's context options."""
    contexts: list[BrowserContext] = []

    def opened(width: int = 360, height: int = 800, address: str = "/", **options: Any) -> Page:
        context = browser.new_context(viewport={"width": width, "height": height}, **options)
        contexts.append(context)
        page = context.new_page()
        page.set_default_timeout(PATIENCE_MS)
        _watch(page, site, watched)
        page.goto(site + address)
        return page

    yield opened
    for context in contexts:
        context.close()


def _watch(page: Page, site: str, watched: Watched) -> None:
    home = urlsplit(site).netloc

    def console(message: Any) -> None:
        if message.type in {"error", "warning"}:
            watched.complaints.append(message.text)

    def request(sent: Any) -> None:
        if urlsplit(sent.url).scheme not in {"data", "blob"} and urlsplit(sent.url).netloc != home:
            watched.elsewhere.append(sent.url)

    page.on("console", console)
    page.on("pageerror", lambda error: watched.complaints.append(str(error)))
    page.on("request", request)
