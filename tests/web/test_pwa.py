"""Installing: the manifest and its icons, what the worker keeps and what it never keeps, the page without a network.

Required members of an installable manifest (name, icons of 192 and 512 px, start_url, display): web.dev, "What does it take to
be installable?", from memory. 180 px for the apple-touch icon: common practice, no source. The maskable icon's safe zone, a
circle of 40 % of the side: Web Application Manifest, W3C, "Icon masks and safe zone", from memory.
"""

from __future__ import annotations

import io
import json
import math
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from flask.testing import FlaskClient
from PIL import Image
from playwright.sync_api import Browser, BrowserContext, Page, expect

from tests.web.conftest import PATIENCE_MS, OpenPage, jpeg
from tests.web.test_browser import axe_violations
from webcapture.web.security import POLICY

ROOT = Path(__file__).resolve().parents[2]
PAGES = ["/offline", "/help/install", "/help/https"]
CACHED = """async () => {
  const found = {};
  for (const name of await caches.keys()) {
    const cache = await caches.open(name);
    found[name] = (await cache.keys()).map((request) => new URL(request.url).pathname);
  }
  return found;
}"""


def shell(client: FlaskClient) -> dict[str, Any]:
    found = re.search(r"const SHELL = (\{.*\});", client.get("/sw.js").text)
    assert found
    return dict(json.loads(found[1]))


def picture(client: FlaskClient, address: str) -> Image.Image:
    answer = client.get(address)
    assert (answer.status_code, answer.content_type) == (200, "image/png")
    return Image.open(io.BytesIO(answer.data))


def test_manifest_names_what_installing_needs(client: FlaskClient) -> None:
    answer = client.get("/manifest.webmanifest")
    assert answer.content_type == "application/manifest+json"
    about = answer.get_json(force=True)
    assert about["name"]
    assert len(about["short_name"]) <= 12
    assert about["display"] == "standalone"
    assert client.get(about["start_url"]).status_code == 200
    for colour in (about["background_color"], about["theme_color"]):
        assert colour in (ROOT / "static/css/site.css").read_text(encoding="utf-8")
    icons = {(icon["sizes"], icon["purpose"]) for icon in about["icons"]}
    assert icons == {("192x192", "any"), ("512x512", "any"), ("512x512", "maskable")}


def test_icons_have_the_sizes_they_claim(client: FlaskClient) -> None:
    for icon in client.get("/manifest.webmanifest").get_json(force=True)["icons"]:
        width, height = picture(client, icon["src"]).size
        assert f"{width}x{height}" == icon["sizes"]
    touch = re.search(r'rel="apple-touch-icon" href="([^"]+)"', client.get("/").text)
    assert touch
    assert picture(client, touch[1]).size == (180, 180)


def test_maskable_icon_is_plain_outside_the_safe_zone(client: FlaskClient) -> None:
    icons = client.get("/manifest.webmanifest").get_json(force=True)["icons"]
    icon = picture(client, next(i["src"] for i in icons if i["purpose"] == "maskable"))
    rgb, ground = icon.convert("RGB"), (0x17, 0x57, 0x66)
    places = [(x, y) for x in range(0, 512, 4) for y in range(0, 512, 4)]
    outside = [p for p in places if math.dist(p, (256, 256)) > 0.4 * 512 + 1]
    assert [p for p in outside if rgb.getpixel(p) != ground] == []
    assert rgb.getpixel((256, 256)) != ground


def test_worker_stands_at_the_root_and_is_asked_for_anew(client: FlaskClient) -> None:
    answer = client.get("/sw.js")
    assert answer.content_type == "text/javascript; charset=utf-8"
    assert answer.headers["Service-Worker-Allowed"] == "/"
    assert answer.headers["Cache-Control"] == "no-cache"
    assert "the shell" not in answer.text.split("const SHELL")[1].split("\n")[0]
    assert {"worker-src 'self'", "manifest-src 'self'"} <= set(POLICY.split("; "))


def test_shell_is_every_file_of_the_pages_and_one_page(client: FlaskClient) -> None:
    listed = shell(client)["files"]
    assert all(client.get(address).status_code == 200 for address in listed)
    names = {re.sub(r"^/static/\w+/", "", address) for address in listed}
    wanted = {
        p.relative_to(ROOT / "static").as_posix() for d in ("css", "js", "img") for p in (ROOT / "static" / d).iterdir()
    }
    assert names == (wanted - {"js/sw.js"}) | {"/offline"}
    assert len(listed) == len(names)


def test_offline_page_is_the_same_for_everybody(client: FlaskClient) -> None:
    answer = client.get("/offline")
    assert "outbox" in answer.text
    assert "Set-Cookie" not in answer.headers
    client.set_cookie("station", "somebody")
    assert client.get("/offline").text == answer.text


@pytest.fixture
def trusted(browser: Browser, site: str) -> Iterator[BrowserContext]:
    """A browser's context for this machine's own name, which browsers trust."""
    context = browser.new_context(base_url=site.replace("lan.test", "localhost"))
    yield context
    context.close()


def ready(context: BrowserContext) -> Page:
    """A page that the worker answers for."""
    page = context.new_page()
    page.set_default_timeout(PATIENCE_MS)
    page.goto("/")
    page.evaluate("async () => { await navigator.serviceWorker.ready; }")
    page.wait_for_function("() => navigator.serviceWorker.controller !== null")
    return page


def test_without_a_network_the_offline_page_stands_in(trusted: BrowserContext) -> None:
    page = ready(trusted)
    trusted.set_offline(True)
    page.goto("/card-that-was-never-seen")
    assert page.get_by_role("heading", level=1).inner_text() == "No connection"
    assert page.evaluate("getComputedStyle(document.body).margin") == "0px", "the style sheet is missing"
    with page.expect_navigation():  # it goes back by itself: a navigation of the test's own would run against that one
        trusted.set_offline(False)
    expect(page.get_by_role("heading", level=1)).not_to_have_text("No connection")
    page.goto("/")
    expect(page.get_by_role("heading", level=1)).not_to_have_text("No connection")


def test_nothing_but_the_shell_is_kept(trusted: BrowserContext, client: FlaskClient) -> None:
    page = ready(trusted)
    page.evaluate("async () => { await caches.open('shell-of-old'); await caches.open('of-something-else'); }")
    photo = {"name": "strip.jpg", "mimeType": "image/jpeg", "buffer": jpeg()}
    answer = trusted.request.post("/api/measure", multipart={"photo": photo})
    assert answer.ok
    sent = page.evaluate(
        """async (bytes) => {
          const form = new FormData();
          form.append("photo", new Blob([new Uint8Array(bytes)], { type: "image/jpeg" }), "strip.jpg");
          const shown = await (await fetch("/measure", { method: "POST", body: form })).text();
          const picture = shown.match(/\\/pictures\\/[^"]+\\.jpg/)[0];
          const seen = await Promise.all([picture, "/manifest.webmanifest", "/help/install"].map((a) => fetch(a)));
          return seen.map((one) => one.status);
        }""",
        list(jpeg()),
    )
    assert sent == [200, 200, 200]
    page.goto("/help/install")
    kept, listed = page.evaluate(CACHED), shell(client)
    assert set(kept) == {listed["cache"], "shell-of-old", "of-something-else"}
    assert sorted(kept[listed["cache"]]) == sorted(listed["files"])
    assert kept["shell-of-old"] == kept["of-something-else"] == []


def test_older_shells_go_when_a_worker_starts(trusted: BrowserContext, client: FlaskClient) -> None:
    page = ready(trusted)
    page.evaluate("""async () => {
      await caches.open("shell-of-old");
      await caches.open("of-something-else");
      await (await navigator.serviceWorker.ready).unregister();
    }""")
    page.goto("/help/install")
    page.evaluate("async () => { await navigator.serviceWorker.ready; }")
    page.wait_for_function("async () => !(await caches.keys()).includes('shell-of-old')")
    assert set(page.evaluate(CACHED)) == {shell(client)["cache"], "of-something-else"}


def test_over_plain_http_nothing_is_registered_and_nothing_complains(open_page: OpenPage) -> None:
    page = open_page(address="/help/install")
    assert page.evaluate("window.isSecureContext") is False
    assert page.evaluate("'serviceWorker' in navigator") is False
    assert page.get_by_role("button", name="Install now").is_hidden()


def test_the_button_shows_when_the_browser_offers(open_page: OpenPage) -> None:
    page = open_page(address="/help/install")
    page.evaluate("""() => {
      const offer = new Event("beforeinstallprompt", { cancelable: true });
      offer.prompt = async () => { window.prompted = (window.prompted || 0) + 1; };
      window.dispatchEvent(offer);
    }""")
    page.get_by_role("button", name="Install now").click()
    assert page.evaluate("window.prompted") == 1
    assert page.get_by_role("button", name="Install now").is_hidden()


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("address", PAGES)
def test_pages_fit_and_are_accessible(open_page: OpenPage, address: str, scheme: str) -> None:
    page = open_page(width=320, address=address, color_scheme=scheme)
    assert page.evaluate("document.documentElement.scrollWidth") == 320
    assert axe_violations(page) == []
