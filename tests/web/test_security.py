"""What every answer carries, who may send, and that nothing of the inside gets out.

Item numbers are those of the OWASP Application Security Verification Standard 5.0, chapters 3 and 5.
"""

from __future__ import annotations

import io
import re

import pytest
from flask import Flask
from flask.testing import FlaskClient

from tests.web.conftest import Bench, jpeg
from webcapture.settings import DEFAULTS, Settings, WebSettings
from webcapture.web import WebConfig, create_app
from webcapture.web.measuring import tidy_name
from webcapture.web.security import POLICY, same_origin

EVERY_KIND = ["/", "/nothing-here", "/card/sheet-a4.pdf", "/pictures/gone.jpg", "/examples/leaf-dyes.jpg"]


def photo(name: str = "strip.jpg", data: bytes | None = None) -> tuple[io.BytesIO, str]:
    return io.BytesIO(jpeg() if data is None else data), name


@pytest.mark.parametrize("address", EVERY_KIND)
def test_every_answer_carries_the_headers(client: FlaskClient, address: str) -> None:
    headers = client.get(address).headers
    assert headers["Content-Security-Policy"] == POLICY
    assert headers["X-Content-Type-Options"] == "nosniff"
    assert headers["X-Frame-Options"] == "DENY"
    assert headers["Referrer-Policy"] == "same-origin"
    assert headers["Cross-Origin-Resource-Policy"] == "same-origin"
    assert "Cache-Control" in headers
    assert "Set-Cookie" not in headers


def test_static_files_and_failed_posts_carry_them_too(client: FlaskClient) -> None:
    style = re.search(r'href="(/static/[^"]+\.css)"', client.get("/").text)
    assert style
    for answer in (client.get(style[1]), client.post("/measure"), client.post("/api/measure")):
        assert answer.headers["Content-Security-Policy"] == POLICY


def test_policy_allows_nothing_inline_and_nothing_from_elsewhere() -> None:
    rules = dict(rule.split(" ", 1) for rule in POLICY.split("; "))
    assert rules["default-src"] == "'none'"
    assert rules["frame-ancestors"] == "'none'"
    assert rules["base-uri"] == "'none'"
    assert "unsafe" not in POLICY
    assert "http" not in POLICY
    assert "*" not in POLICY


HOST = "192.168.1.20:8000"


@pytest.mark.parametrize(
    ("fetch_site", "origin", "allowed"),
    [
        ("same-origin", None, True),
        ("none", None, True),
        ("cross-site", None, False),
        ("same-site", None, False),
        ("cross-site", f"http://{HOST}", False),
        (None, f"http://{HOST}", True),
        (None, "http://192.168.1.20:8000", True),
        (None, "http://192.168.1.20", False),
        (None, "http://elsewhere.example", False),
        (None, "null", False),
        (None, "", False),
        (None, "http://[", False),
        (None, None, True),
    ],
)
def test_only_our_own_page_may_send(fetch_site: str | None, origin: str | None, allowed: bool) -> None:
    assert same_origin(fetch_site, origin, HOST) is allowed


@pytest.mark.parametrize("address", ["/measure", "/api/measure"])
@pytest.mark.parametrize(
    "given", [{"Sec-Fetch-Site": "cross-site"}, {"Origin": "http://elsewhere.example"}, {"Origin": "null"}]
)
def test_foreign_form_is_refused_before_anything_is_measured(
    client: FlaskClient, bench: Bench, address: str, given: dict[str, str]
) -> None:
    answer = client.post(address, data={"photo": photo()}, headers=given)
    assert answer.status_code == 403
    assert bench.seen == []
    assert "another web page" in answer.text


def test_own_form_is_accepted(client: FlaskClient, bench: Bench) -> None:
    assert client.post("/measure", data={"photo": photo()}, headers={"Origin": "http://localhost"}).status_code == 200
    assert [name for name, _ in bench.seen] == ["strip.jpg"]


def test_too_large_a_request_is_refused_unread(bench: Bench) -> None:
    """ASVS 5.2.1: only files of a size the application can process are taken in."""
    web = WebSettings(max_request_bytes=20_000)
    client = create_app(WebConfig(Settings(web=web), measure=bench)).test_client()
    for address in ("/measure", "/api/measure"):
        answer = client.post(address, data={"photo": photo(data=b"x" * 30_000)})
        assert answer.status_code == 413
        assert bench.seen == []
        assert "Send fewer photos at a time" in answer.text


def test_limits_come_from_the_settings(app: Flask) -> None:
    assert app.config["MAX_CONTENT_LENGTH"] == DEFAULTS.web.max_request_bytes


def test_too_many_photos_are_refused_together(client: FlaskClient, bench: Bench) -> None:
    photos = [photo(f"{n}.jpg", b"x") for n in range(DEFAULTS.web.max_photos + 1)]
    answer = client.post("/api/measure", data={"photo": photos})
    assert answer.status_code == 400
    assert answer.json["error"]["code"] == "too-many-photos"
    assert bench.seen == []


def test_a_form_of_countless_parts_is_refused(client: FlaskClient, bench: Bench) -> None:
    answer = client.post("/api/measure", data={"photo": photo(), **{f"f{n}": "x" for n in range(500)}})
    assert answer.status_code == 413
    assert bench.seen == []


@pytest.mark.parametrize("sent", ["../../etc/passwd", "/etc/passwd", "..\\\\passwd"])
def test_file_names_are_only_ever_words(client: FlaskClient, sent: str) -> None:
    """ASVS 5.3.2: a submitted file name never makes a path."""
    assert client.post("/api/measure", data={"photo": photo(sent)}).json[0]["photo"] == "passwd"


@pytest.mark.parametrize(
    ("sent", "read"),
    [
        ("C:\\phone\\strip 1.jpg", "strip 1.jpg"),
        ("a\x00b\n\u202e.jpg", "ab.jpg"),
        ("folder/", "photo"),
        (None, "photo"),
        ("Papier-Nr. 3 (außen).jpg", "Papier-Nr. 3 (außen).jpg"),
        ("x" * 500, "x" * 120),
    ],
)
def test_tidy_names(sent: str | None, read: str) -> None:
    assert tidy_name(sent, 120) == read


def test_a_name_with_markup_is_shown_as_text(client: FlaskClient) -> None:
    page = client.post("/measure", data={"photo": photo("<img src=x onerror=alert(1)>.jpg")}).text
    assert "<img src=x" not in page
    assert "&lt;img src=x onerror=alert(1)&gt;.jpg" in page


@pytest.mark.parametrize("name", ["../notes.txt", "notes.txt", "..%2f..%2fetc%2fpasswd", "/etc/passwd", ""])
def test_only_offered_examples_are_served(client: FlaskClient, bench: Bench, name: str) -> None:
    assert client.get(f"/examples/{name}").status_code in {400, 404}
    assert client.post("/measure", data={"example": name}).status_code == 400
    assert bench.seen == []


@pytest.mark.parametrize("name", ["../webcapture/settings.py", "css/../../requirements.txt", "css", ""])
def test_static_addresses_reach_nothing_but_static_files(client: FlaskClient, name: str) -> None:
    version = re.search(r"/static/(\w+)/", client.get("/").text)
    assert version
    assert client.get(f"/static/{version[1]}/{name}").status_code == 404


def test_what_nobody_expected_tells_the_person_nothing_of_the_inside(
    client: FlaskClient, caplog: pytest.LogCaptureFixture
) -> None:
    answer = client.post("/api/measure", data={"photo": [photo("crash.jpg"), photo("fine.jpg")]})
    assert answer.status_code == 200
    crashed, fine = answer.json
    assert crashed["error"]["code"] == "unexpected"
    assert crashed["picture"] is None
    assert fine["error"] is None
    assert "secret" not in answer.text
    assert "Traceback" not in answer.text
    assert "a secret of the inside" in caplog.text


def test_a_failing_page_tells_nothing_of_the_inside(app: Flask) -> None:
    app.add_url_rule("/failing", view_func=lambda: 1 // 0)
    answer = app.test_client().get("/failing")
    assert answer.status_code == 500
    assert "ZeroDivision" not in answer.text
    assert "Traceback" not in answer.text
    assert "Try again" in answer.text
    assert answer.headers["Content-Security-Policy"] == POLICY
