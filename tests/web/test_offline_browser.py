"""A phone that loses the tool: what waits is seen, added to and sent exactly once, also when the page was closed meanwhile.

The tool itself is switched off and on again, as when a phone leaves the network and comes back.
"""

from __future__ import annotations

import socket
import threading
from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, BrowserContext, Page, expect
from werkzeug.serving import BaseWSGIServer, make_server

from tests.web.conftest import PATIENCE_MS, jpeg
from tests.web.records import WORK, Room, close_room, open_room
from tests.web.test_browser import axe_violations, overflow
from webcapture.store import photos

pytestmark = pytest.mark.browser


class Switch:
    """The tool on one port, which can be reached or not.

    A socket that does not listen keeps the port meanwhile: nobody else's connection gets it.
    """

    def __init__(self, room: Room) -> None:
        self._room = room
        self._server: BaseWSGIServer | None = None
        self._kept = socket.socket()
        self._kept.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        self._kept.bind(("127.0.0.1", 0))
        self.port = self._kept.getsockname()[1]
        self.on()

    def on(self) -> None:
        self._server = make_server("127.0.0.1", self.port, self._room.app, threaded=True)
        self._thread = threading.Thread(target=self._server.serve_forever)
        self._thread.start()

    def off(self) -> None:
        if self._server is not None:
            self._server.shutdown()
            self._thread.join()
            self._server.server_close()
            self._server = None

    def leave(self) -> None:
        self.off()
        self._kept.close()


@pytest.fixture
def room(tmp_path: Path) -> Iterator[Room]:
    opened = open_room(tmp_path / "data")
    yield opened
    close_room(opened)


@pytest.fixture
def tool(room: Room) -> Iterator[Switch]:
    switch = Switch(room)
    yield switch
    switch.leave()


@pytest.fixture
def two_photos(tmp_path: Path) -> list[Path]:
    paths = [tmp_path / f"strip {n}.jpg" for n in (1, 2)]
    for n, path in enumerate(paths):
        path.write_bytes(jpeg() + b"\0" * n)
    return paths


def phone(
    browser: Browser, room: Room, tool: Switch, name: str = "localhost", label: str = "Bench 1"
) -> BrowserContext:
    """A browser that has joined, for an address that browsers trust, or for one that they do not."""
    if label not in room.cookies:
        room.join(label)
    context = browser.new_context(base_url=f"http://{name}:{tool.port}", viewport={"width": 360, "height": 800})
    context.add_cookies([{"name": "station", "value": room.cookies[label], "domain": name, "path": "/"}])
    return context


def sent(room: Room, label: str = "Bench 1") -> int:
    with room.store.database.reading() as session:
        return len(photos.of_station(session, room.ids[label]))


def at_work(context: BrowserContext) -> Page:
    page = context.new_page()
    page.set_default_timeout(PATIENCE_MS)
    page.goto(WORK)
    return page


def guarded(page: Page) -> Page:
    """Once the worker answers for it."""
    page.evaluate("async () => { await navigator.serviceWorker.ready; }")
    page.wait_for_function("() => navigator.serviceWorker.controller !== null")
    return page


def waiting(page: Page, words: str) -> None:
    expect(page.locator("#waiting")).to_contain_text(words)


def test_two_photos_outlive_the_page_and_arrive_exactly_once(
    browser: Browser, room: Room, tool: Switch, two_photos: list[Path]
) -> None:
    context = phone(browser, room, tool)
    page = guarded(at_work(context))
    tool.off()
    page.set_input_files("#choose", two_photos)
    waiting(page, "2 photos wait on this phone.")
    page.close()
    again = at_work(context)  # from the phone's own cache
    expect(again.get_by_role("heading", level=1)).to_have_text("No connection")
    waiting(again, "2 photos wait on this phone.")
    assert sent(room) == 0
    tool.on()
    expect(again.locator("#sent .measured")).to_have_count(2)  # it came back by itself
    waiting(again, "No photo waits on this phone.")
    again.reload()
    expect(again.locator("#sent .measured")).to_have_count(2)
    assert sent(room) == 2
    context.close()


def test_photos_chosen_on_the_page_without_a_network_are_sent_later(
    browser: Browser, room: Room, tool: Switch, two_photos: list[Path]
) -> None:
    context = phone(browser, room, tool)
    guarded(at_work(context)).close()
    tool.off()
    page = at_work(context)
    page.set_input_files("#choose", two_photos[0])
    waiting(page, "1 photo waits on this phone.")
    assert overflow(page) == 0
    assert axe_violations(page) == []
    tool.on()
    expect(page.locator("#sent .measured")).to_have_count(1)
    assert sent(room) == 1
    context.close()


def test_over_plain_http_the_open_page_keeps_them(
    browser: Browser, room: Room, tool: Switch, two_photos: list[Path]
) -> None:
    context = phone(browser, room, tool, "lan.test")
    page = at_work(context)
    assert not page.evaluate("isSecureContext")
    tool.off()
    page.set_input_files("#choose", two_photos)
    waiting(page, "2 photos wait on this phone.")
    page.close()
    tool.on()
    back = at_work(context)
    expect(back.locator("#sent .measured")).to_have_count(2)
    assert sent(room) == 2
    context.close()


def test_what_is_kept_tells_nothing_of_any_station(browser: Browser, room: Room, tool: Switch) -> None:
    context = phone(browser, room, tool)
    page = guarded(at_work(context))
    assert "Bench 1" in page.content()
    kept = page.evaluate(
        """async () => {
          const texts = [];
          for (const name of await caches.keys()) {
            const cache = await caches.open(name);
            for (const request of await cache.keys()) texts.push(request.url + await (await cache.match(request)).text());
          }
          return texts.join("\\n");
        }"""
    )
    assert "/offline" in kept
    assert "Bench 1" not in kept
    assert WORK not in kept.replace("/static/", "")
    context.close()
