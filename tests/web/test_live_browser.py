"""The live view in a real Chromium, whose camera is a file: an outline and hints, a picture, and what is said where there is none.

Chromium's flags for a made-up camera: chromium.org, "Testing" of WebRTC; from memory.
"""

from __future__ import annotations

import io
import re
import threading
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from flask import Flask
from PIL import Image
from playwright.sync_api import Browser, Page, Playwright, expect
from werkzeug.serving import make_server

from tests.web.conftest import PATIENCE_MS, QUIET_BROWSER, OpenPage, Watched, _watch
from tests.web.records import WORK, Room, close_room, open_room
from tests.web.test_browser import OFFLINE, axe_violations, overflow
from tests.web.test_station_browser import joined
from webcapture.store import photos
from webcapture.synthetic import Photograph, render
from webcapture.synthetic.scenes import demo

pytestmark = pytest.mark.browser

GOOD = "All good: take the picture."
FOUR_CORNERS = re.compile(r"^\S+( \S+){3}$")


@pytest.fixture(scope="module")
def strip() -> Photograph:
    return render(demo()[0][1])


def film(path: Path, data: bytes, side: int = 1280) -> Path:
    """A film of one photo, as motion JPEG: pictures one after the other."""
    picture = Image.open(io.BytesIO(data)).convert("RGB")
    picture.thumbnail((side, side))
    frame = io.BytesIO()
    picture.crop((0, 0, picture.width // 2 * 2, picture.height // 2 * 2)).save(frame, "JPEG", quality=90)
    path.write_bytes(frame.getvalue() * 10)
    return path


@pytest.fixture
def room(tmp_path: Path) -> Iterator[Room]:
    opened = open_room(tmp_path / "data")
    yield opened
    close_room(opened)


@pytest.fixture
def app(room: Room) -> Flask:
    return room.app


@pytest.fixture
def secure_site(app: Flask) -> Iterator[str]:
    """The same tool under a name that browsers trust: localhost."""
    server = make_server("127.0.0.1", 0, app, threaded=True)
    thread = threading.Thread(target=server.serve_forever)
    thread.start()
    yield f"http://localhost:{server.server_port}"
    server.shutdown()
    thread.join()
    server.server_close()


class Phones:
    """Browsers with a made-up camera."""

    def __init__(self, playwright: Playwright, chromium: str, site: str, room: Room, watched: Watched) -> None:
        self._chromium, self._site, self._room, self._watched = chromium, site, room, watched
        self._playwright = playwright
        self._open: list[Browser] = []

    def at_work(self, *camera: str, allowed: bool = True, **options: Any) -> Page:
        """A station's page on a phone whose browser was started with those flags."""
        flags = [*QUIET_BROWSER, *camera]
        browser = self._playwright.chromium.launch(executable_path=self._chromium, args=flags)
        self._open.append(browser)
        state = joined(self._room)["storage_state"]
        state["cookies"][0]["domain"] = "localhost"
        given = {"viewport": {"width": 360, "height": 800}, **options}
        context = browser.new_context(storage_state=state, permissions=["camera"] if allowed else [], **given)
        page = context.new_page()
        page.set_default_timeout(PATIENCE_MS)
        _watch(page, self._site, self._watched)
        page.goto(self._site + WORK)
        return page

    def close(self) -> None:
        for browser in self._open:
            browser.close()


@pytest.fixture
def phones(playwright: Playwright, chromium: str, secure_site: str, room: Room, watched: Watched) -> Iterator[Phones]:
    made = Phones(playwright, chromium, secure_site, room, watched)
    yield made
    made.close()


def filmed(path: Path) -> tuple[str, ...]:
    return ("--use-fake-device-for-media-stream", f"--use-file-for-fake-video-capture={path}")


@pytest.fixture
def filming(tmp_path: Path, strip: Photograph) -> tuple[str, ...]:
    return filmed(film(tmp_path / "good.mjpeg", strip.data))


def sent(room: Room) -> list[Any]:
    with room.store.database.reading() as session:
        return photos.of_station(session, room.ids["Bench 1"])


def opened(page: Page) -> Page:
    page.get_by_role("button", name="Live view").click()
    return page


def test_the_view_shows_the_card_and_says_when_all_is_good(phones: Phones, filming: tuple[str, ...]) -> None:
    page = opened(phones.at_work(*filming))
    expect(page.locator(".live-hint")).to_have_text(GOOD)
    expect(page.locator(".live-picture .line")).to_have_attribute("points", FOUR_CORNERS)
    expect(page.locator("#live")).to_have_class(re.compile(r"\bgood\b"))
    page.get_by_role("button", name="Close the live view").click()
    expect(page.locator("#live")).to_be_hidden()
    assert page.evaluate("document.querySelector('#live video').srcObject") is None
    expect(page.get_by_role("button", name="Live view")).to_be_focused()


def test_the_picture_goes_the_way_of_every_photo(phones: Phones, filming: tuple[str, ...], room: Room) -> None:
    page = opened(phones.at_work(*filming))
    expect(page.locator(".live-hint")).to_have_text(GOOD)
    page.get_by_role("button", name="Take the picture").click()
    expect(page.locator("#sent .measured")).to_have_count(1)
    (photo,) = sent(room)
    assert photo.name.startswith("live ")
    width, height = Image.open(io.BytesIO(room.store.vault.read(photo.digest))).size
    assert max(width, height) >= 1200  # the camera's own resolution, not the frame's
    expect(page.locator("#live")).to_be_hidden()


def test_by_the_keyboard_alone(phones: Phones, filming: tuple[str, ...], room: Room) -> None:
    page = phones.at_work(*filming)
    page.get_by_role("button", name="Live view").focus()
    page.keyboard.press("Enter")
    expect(page.get_by_role("button", name="Take the picture")).to_be_focused()
    expect(page.locator(".live-hint")).to_have_text(GOOD)
    page.keyboard.press("Enter")
    expect(page.locator("#sent .measured")).to_have_count(1)
    page.get_by_role("button", name="Live view").focus()
    page.keyboard.press("Enter")
    expect(page.get_by_role("button", name="Take the picture")).to_be_focused()
    page.keyboard.press("Escape")
    expect(page.locator("#live")).to_be_hidden()


SLOW_CAMERA = """() => {
  const media = navigator.mediaDevices;
  const ask = media.getUserMedia.bind(media);
  media.getUserMedia = async (wanted) => {
    await new Promise((resolve) => setTimeout(resolve, 1000));
    window.given = await ask(wanted);
    return window.given;
  };
}"""


def test_closed_while_the_browser_still_asks_the_camera_stays_off(phones: Phones, filming: tuple[str, ...]) -> None:
    page = phones.at_work(*filming)
    page.evaluate(SLOW_CAMERA)
    opened(page).get_by_role("button", name="Close the live view").click()
    page.wait_for_function(
        "() => window.given && window.given.getTracks().every((track) => track.readyState === 'ended')"
    )
    expect(page.locator("#live")).to_be_hidden()


def test_out_of_sight_the_camera_stops(phones: Phones, filming: tuple[str, ...]) -> None:
    page = opened(phones.at_work(*filming))
    expect(page.locator(".live-hint")).to_have_text(GOOD)
    page.evaluate("window.given = document.querySelector('#live video').srcObject")
    page.evaluate(
        """() => {
          Object.defineProperty(document, "hidden", { value: true, configurable: true });
          document.dispatchEvent(new Event("visibilitychange"));
        }"""
    )
    page.wait_for_function("() => window.given.getTracks().every((track) => track.readyState === 'ended')")
    expect(page.locator("#live")).to_be_hidden()


def test_a_camera_that_is_lost_is_said(phones: Phones, filming: tuple[str, ...]) -> None:
    page = opened(phones.at_work(*filming))
    expect(page.locator(".live-hint")).to_have_text(GOOD)
    page.evaluate(
        "document.querySelector('#live video').srcObject.getVideoTracks()[0].dispatchEvent(new Event('ended'))"
    )
    expect(page.locator("#live-trouble")).to_contain_text("The camera stopped")


def test_without_a_card_it_says_so(phones: Phones, tmp_path: Path) -> None:
    bench = io.BytesIO()
    Image.effect_noise((1280, 960), 50).convert("RGB").save(bench, "JPEG")
    page = opened(phones.at_work(*filmed(film(tmp_path / "bench.mjpeg", bench.getvalue()))))
    expect(page.locator(".live-hint")).to_contain_text("No card seen")
    expect(page.locator(".live-picture .line")).to_have_attribute("points", "")


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("size", [(320, 640), (360, 800), (800, 360), (1280, 800)])
def test_it_fits_and_is_accessible(
    phones: Phones, filming: tuple[str, ...], scheme: str, size: tuple[int, int]
) -> None:
    viewport = {"width": size[0], "height": size[1]}
    page = opened(phones.at_work(*filming, viewport=viewport, color_scheme=scheme))
    expect(page.locator(".live-hint")).to_have_text(GOOD)
    assert overflow(page) == 0
    assert axe_violations(page) == []


def test_a_camera_that_is_refused_leaves_the_other_ways(phones: Phones) -> None:
    page = opened(phones.at_work("--use-fake-device-for-media-stream", "--deny-permission-prompts", allowed=False))
    expect(page.locator("#live-trouble")).to_contain_text("may not use the camera")
    expect(page.locator("#live")).to_be_hidden()
    expect(page.get_by_text("Take a photo").first).to_be_visible()


def test_without_a_camera_it_says_so(phones: Phones) -> None:
    page = opened(phones.at_work())
    expect(page.locator("#live-trouble")).to_contain_text("no camera")


def test_a_tool_out_of_reach_does_not_stop_the_camera(
    phones: Phones, filming: tuple[str, ...], watched: Watched
) -> None:
    watched.foretell(OFFLINE)
    page = opened(phones.at_work(*filming))
    expect(page.locator(".live-hint")).to_have_text(GOOD)
    page.context.set_offline(True)
    expect(page.locator(".live-hint")).to_contain_text("cannot be reached")
    page.get_by_role("button", name="Take the picture").click()
    expect(page.locator("#waiting")).to_contain_text("1 photo waits on this phone.")
    page.context.set_offline(False)
    expect(page.locator("#sent .measured")).to_have_count(1)


def test_over_plain_http_there_is_no_live_view_and_nothing_is_missing(open_page: OpenPage, room: Room) -> None:
    page = open_page(360, 800, WORK, **joined(room))
    assert not page.evaluate("isSecureContext")
    expect(page.get_by_role("button", name="Live view")).to_be_hidden()
    expect(page.get_by_text("Take a photo").first).to_be_visible()
    expect(page.get_by_text("Choose photos").first).to_be_visible()
