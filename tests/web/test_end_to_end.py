"""Photo in, Rf out: the real measurement behind the real server, in a real browser, against the drawn truth."""

from __future__ import annotations

import http.client
import json
import re
import signal
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

import jsonschema
import pytest
from playwright.sync_api import Browser, expect

from tests.web.running import WITH_GUNICORN, Running
from webcapture.errors import Truncated
from webcapture.report.export import schema
from webcapture.synthetic import Photograph, render
from webcapture.synthetic.scenes import demo

SHOWN = re.compile(r"^(\d\.\d\d) ± (\d\.\d\d)$")
ROUNDING = 0.005


@pytest.fixture(scope="module")
def strip() -> Photograph:
    """The first photo of the shipped scenario: one strip, four dyes."""
    return render(demo()[0][1])


@pytest.fixture(scope="module")
def server() -> Iterator[Running]:
    running = Running(WITH_GUNICORN)
    yield running
    running.stop(signal.SIGTERM)


def post(server: Running, data: bytes, name: str = "strip.jpg") -> list[dict[str, Any]]:
    """Send one photo to the JSON interface."""
    head = f'--edge\r\nContent-Disposition: form-data; name="photo"; filename="{name}"\r\n\r\n'.encode()
    connection = http.client.HTTPConnection("127.0.0.1", server.port, timeout=120)
    form = {"Content-Type": "multipart/form-data; boundary=edge"}
    connection.request("POST", "/api/measure", head + data + b"\r\n--edge--\r\n", form)
    answer = connection.getresponse()
    assert answer.status == 200
    return json.loads(answer.read())


@pytest.mark.browser
def test_page_shows_the_rf_that_was_drawn(browser: Browser, server: Running, strip: Photograph, tmp_path: Path) -> None:
    photo = tmp_path / "strip.jpg"
    photo.write_bytes(strip.data)
    page = browser.new_context(viewport={"width": 360, "height": 800}).new_page()
    page.goto(f"http://lan.test:{server.port}/")
    page.set_input_files("#take", photo)
    result = page.locator("#results article:not(.job)")
    expect(result).to_have_count(1, timeout=60_000)
    found = [SHOWN.match(text) for text in result.locator("tbody tr td:nth-child(2)").all_inner_texts()]
    true = [spot.rf for spot in strip.truth.strips[0].lanes[0].spots]
    assert len(found) == len(true)
    assert all(abs(float(f[1]) - rf) <= float(f[2]) + ROUNDING for f, rf in zip(found, true, strict=True))
    picture = result.locator("figure img")
    assert picture.evaluate("async (img) => { await img.decode(); return img.naturalWidth; }") > 400
    assert page.evaluate("document.documentElement.scrollWidth") == 360
    page.context.close()


def test_json_keeps_the_contract(server: Running, strip: Photograph) -> None:
    entries = post(server, strip.data)
    address = entries[0].pop("picture")
    jsonschema.validate(entries, schema())
    answer, picture = server.get(address)
    assert answer.headers["Content-Type"] == "image/jpeg"
    assert picture.startswith(b"\xff\xd8")


def test_cut_off_upload_says_what_to_do(server: Running, strip: Photograph) -> None:
    error = post(server, strip.data[: len(strip.data) // 2])[0]["error"]
    assert (error["code"], error["hint"]) == (Truncated.code, Truncated.default_hint)


def test_a_group_sends_at_once_and_all_get_the_same_numbers(server: Running, strip: Photograph) -> None:
    with ThreadPoolExecutor(8) as group:
        answers = list(group.map(lambda n: post(server, strip.data, f"{n}.jpg")[0], range(8)))
    assert [answer["photo"] for answer in answers] == [f"{n}.jpg" for n in range(8)]
    assert all(answer["strips"] == answers[0]["strips"] != [] for answer in answers)
