"""Who asks too often, and under which name the tool may be asked for.

Item numbers are those of the OWASP Application Security Verification Standard 5.0.
"""

from __future__ import annotations

import io
from collections.abc import Iterator
from dataclasses import fields
from pathlib import Path

import pytest
from flask.testing import FlaskClient

from tests.web.conftest import Bench, jpeg
from tests.web.records import WORK
from tests.web.room import Room
from webcapture.settings import DEFAULTS, RateSettings, Settings
from webcapture.web import WebConfig, create_app
from webcapture.web.limits import COUNTED

FEW = RateSettings(measure=3, send=4, sign_in=5, join=6, change=7)


@pytest.fixture
def room(tmp_path: Path) -> Iterator[Room]:
    made = Room(tmp_path, settings=Settings(rate=FEW))
    yield made
    made.store.close()


def put(client: FlaskClient, number: int) -> int:
    address = f"{WORK}/photos/00000000-0000-4000-8000-{number:012d}"
    return client.put(address, data=b"no photo", headers={"Accept": "application/json"}).status_code


def test_a_client_that_asks_too_often_is_told_when_to_try_again(bench: Bench) -> None:
    """ASVS 2.4.1: what costs cannot be called endlessly."""
    client = create_app(WebConfig(Settings(rate=FEW), measure=bench)).test_client()
    statuses = [client.post("/api/measure", data={"photo": (_file(), "a.jpg")}).status_code for _ in range(5)]
    assert statuses == [200, 200, 200, 429, 429]
    assert len(bench.seen) == 3
    refused = client.post("/api/measure")
    assert refused.json["error"]["code"] == "too-often"
    assert 1 <= int(refused.headers["Retry-After"]) <= 120
    page = client.post("/measure")
    assert page.status_code == 429
    assert "too often" in page.text
    assert "Content-Security-Policy" in page.headers


def _file() -> io.BytesIO:
    return io.BytesIO(jpeg((20, 20)))


def test_reading_is_never_counted(bench: Bench) -> None:
    client = create_app(WebConfig(Settings(rate=FEW), measure=bench)).test_client()
    assert {client.get("/").status_code for _ in range(30)} == {200}


def test_addresses_count_by_themselves(bench: Bench) -> None:
    app = create_app(WebConfig(Settings(rate=FEW), measure=bench))
    one, other = ({"REMOTE_ADDR": f"192.168.1.{n}"} for n in (5, 6))
    assert [app.test_client().post("/measure", environ_overrides=one).status_code for _ in range(4)][-1] == 429
    assert app.test_client().post("/measure", environ_overrides=other).status_code == 400


def test_stations_behind_one_address_do_not_stand_in_each_others_way(room: Room) -> None:
    practical = room.practical()
    clients = [room.station_client(room.station(practical, f"Bench {n}")[1]) for n in range(3)]
    for client in clients:
        assert [put(client, n) == 429 for n in range(5)] == [False] * 4 + [True]


def test_a_made_up_station_counts_by_its_address(room: Room) -> None:
    statuses = [put(room.station_client(f"made up {n}"), n) for n in range(5)]
    assert statuses[-1] == 429


@pytest.mark.parametrize(
    ("address", "most"), [("/lead/sign-in", FEW.sign_in), ("/join", FEW.join), ("/measure", FEW.measure)]
)
def test_every_kind_has_its_limit(room: Room, address: str, most: int) -> None:
    client = room.app.test_client()
    statuses = [client.post(address).status_code for _ in range(most + 1)]
    assert statuses[-1] == 429
    assert 429 not in statuses[:-1]


def test_counted_endpoints_exist_and_have_a_setting(room: Room) -> None:
    assert set(COUNTED) <= {rule.endpoint for rule in room.app.url_map.iter_rules()}
    assert set(COUNTED.values()) | {"change"} == {f.name for f in fields(RateSettings)}


def test_a_class_at_once_is_within_the_limits() -> None:
    """Thirty phones behind one address, each mistyping once; each sending five photos; each mark moved five times a second."""
    assert DEFAULTS.rate.join >= 30 * (1 + 2)
    assert DEFAULTS.rate.send >= 5
    assert DEFAULTS.rate.change >= 60 * 5


# --- names


@pytest.mark.parametrize("name", ["elsewhere.example", "elsewhere.example:8000", "localhost.elsewhere.example"])
@pytest.mark.parametrize("address", ["/", "/lead/sign-in", "/work", "/card/sheet-a4.pdf", "/sw.js", "/nothing"])
def test_other_names_are_refused_everywhere(tmp_path: Path, name: str, address: str) -> None:
    """DNS rebinding: a page elsewhere makes its own name lead here, and would read the answers as its own."""
    app = create_app(WebConfig(data=tmp_path, trusted_hosts=("lab.example",)))
    client = app.test_client()
    answer = client.get(address, headers={"Host": name})
    assert answer.status_code == 421
    assert "--trusted-host" in answer.text
    assert client.get(address, headers={"Host": "lab.example:8000"}).status_code != 421
    assert client.get(address, headers={"Host": "192.168.1.20:8000"}).status_code != 421
    assert client.get(address, headers={"Host": "[fe80::1]:8000"}).status_code != 421
    app.extensions["store"].close()


@pytest.mark.parametrize("host", ["", "a b", "x@y", "[", "[::1", "1.2.3.4.5:99999999"])
def test_broken_names_are_no_crash(host: str) -> None:
    client = create_app(WebConfig(trusted_hosts=())).test_client()
    assert client.get("/", headers={"Host": host}).status_code in {400, 421}


# --- behind a proxy

FORWARDED = {"X-Forwarded-For": "203.0.113.9", "X-Forwarded-Proto": "https", "X-Forwarded-Host": "lab.example"}


def test_a_proxy_is_believed_where_there_is_one(tmp_path: Path) -> None:
    app = create_app(WebConfig(data=tmp_path, trusted_hosts=("lab.example",), behind_proxy=True))
    client = app.test_client()
    sent = client.post("/join", data={"code": ""}, headers={**FORWARDED, "Origin": "https://lab.example"})
    assert sent.status_code == 400  # our own form, without a code
    assert client.get("/", headers={**FORWARDED, "X-Forwarded-Host": "elsewhere.example"}).status_code == 421
    app.extensions["store"].close()


def test_cookies_are_secure_where_the_address_is(tmp_path: Path) -> None:
    """ASVS 3.3.1: over https, cookies never travel in the clear; HttpOnly and SameSite in every mode."""
    room = Room(tmp_path, behind_proxy=True)
    practical = room.practical()
    for headers, secure in (({}, False), (FORWARDED, True)):
        answer = room.app.test_client().post(f"/join/{practical.join_code}", data={"label": ""}, headers=headers)
        cookie = answer.headers["Set-Cookie"]
        assert ("Secure" in cookie) is secure
        assert "HttpOnly" in cookie
        assert "SameSite=Lax" in cookie
    room.store.close()


def test_without_one_its_headers_are_anybodys_words(tmp_path: Path) -> None:
    app = create_app(WebConfig(Settings(rate=FEW), data=tmp_path, trusted_hosts=("lab.example",)))
    client = app.test_client()
    assert client.get("/", headers={"Host": "elsewhere.example", "X-Forwarded-Host": "lab.example"}).status_code == 421
    told = [client.post("/measure", headers={"X-Forwarded-For": f"203.0.113.{n}"}).status_code for n in range(4)]
    assert told[-1] == 429  # counted by where it came from, whatever it says
    app.extensions["store"].close()
