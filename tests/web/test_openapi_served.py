"""The document against served instances: over a socket, through gunicorn with the real measurement, and by malformed requests."""

from __future__ import annotations

import http.client
import json
import threading
import uuid
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from werkzeug.datastructures import FileStorage
from werkzeug.serving import make_server
from werkzeug.test import stream_encode_multipart
from werkzeug.wrappers import Response

from tests.web import calls
from tests.web.contract import Document, Operation, check, template
from tests.web.records import PHOTO, WORK, close_room, finished, wait_until
from tests.web.running import WITH_GUNICORN, Running
from webcapture.web import WebConfig, create_app

CLIENT = create_app(WebConfig()).test_client()
DOCUMENT = Document(
    json.loads(CLIENT.get("/api/openapi.json").data), json.loads(CLIENT.get("/api/result.schema.json").data)
)
OPERATIONS = list(DOCUMENT.operations())
DELETING = {"deletePractical", "deleteStation", "purge", "joining", "newCode"}
"""Left out of the malformed requests: they take away what the others are tried on, and have no field to get wrong."""


@dataclass
class Wire:
    """A client over a socket."""

    port: int
    cookies: Mapping[str, str] = field(default_factory=dict)

    def open(self, address: str, method: str, headers: Mapping[str, str] | None = None, data: Any = None) -> Response:
        """The answer, as the tests' own client gives it."""
        cookies = "; ".join(f"{name}={value}" for name, value in self.cookies.items())
        connection = http.client.HTTPConnection("127.0.0.1", self.port, timeout=60)
        connection.request(method, address, data, {**(headers or {}), **({"Cookie": cookies} if cookies else {})})
        answer = connection.getresponse()
        response = Response(answer.read(), answer.status, answer.getheaders())
        connection.close()
        return response

    def use(self, name: str, status: int, values: Mapping[str, object] | None = None, **given: Any) -> Response:
        """Use an operation; the answer is as documented."""
        operation = DOCUMENT.operation(name)
        answer = self.open(operation.address(values or {}), operation.method.upper(), **given)
        assert (answer.status_code, check(DOCUMENT, operation, answer)[1]) == (status, [])
        return answer


def multipart(*names: str) -> dict[str, Any]:
    """The photo of the read-me, under those names, as headers and body."""
    values = {"photo": [FileStorage(PHOTO.open("rb"), name) for name in names]}
    stream, length, boundary = stream_encode_multipart(values)
    kind = f'multipart/form-data; boundary="{boundary}"'
    return {"data": stream.read(length), "headers": {"Content-Type": kind}}


# --- gunicorn, as users start it, and the real measurement


def test_programs_are_served_as_documented_by_gunicorn() -> None:
    server = Running(WITH_GUNICORN)
    try:
        wire = Wire(server.port)
        assert wire.use("openapi", 200).get_json() == DOCUMENT.raw
        wire.use("resultSchema", 200)
        found = wire.use("measure", 200, **multipart("strip.jpg")).get_json()
        assert [len(one["strips"]) for one in found] == [6]
        wire.use("picture", 200, {"token": found[0]["picture"].split("/")[-1].removesuffix(".jpg")})
        wire.use("card", 200, {"layout": "tray", "paper": "a4"})
        wire.use("measure", 415, data=b"{}", headers={"Content-Type": "application/json"})
        wire.use("measure", 403, data=b"", headers={"Origin": "http://elsewhere.example"})
        wire.use("picture", 404, {"token": "none"}, headers=calls.JSON)
    finally:
        server.stop()


# --- records over a socket


@pytest.fixture(scope="module")
def world(tmp_path_factory: pytest.TempPathFactory) -> Iterator[calls.World]:
    opened = calls.World.open(DOCUMENT, tmp_path_factory.mktemp("served"))
    opened.room.app.config["PROPAGATE_EXCEPTIONS"] = False
    yield opened
    close_room(opened.room)


@pytest.fixture
def wire(world: calls.World) -> Iterator[Wire]:
    """A station's client of the served world."""
    server = make_server("127.0.0.1", 0, world.room.app, threaded=True)
    thread = threading.Thread(target=server.serve_forever)
    thread.start()
    yield Wire(server.server_port, {"station": world.room.cookies["Bench 1"]})
    server.shutdown()
    thread.join()
    server.server_close()


def test_a_station_sends_and_reads_as_documented(wire: Wire, world: calls.World) -> None:
    one = {"photo_id": str(uuid.uuid4())}
    kind = {"Content-Type": "image/jpeg", "X-Name": "strip%201.jpg"}
    first = wire.use("putPhoto", 201, one, data=b"photo", headers=kind).get_json()
    assert (first["id"], first["name"]) == (one["photo_id"], "strip 1.jpg")
    wire.use("putPhoto", 200, one, data=b"photo", headers=kind)
    wire.use("putPhoto", 409, one, data=b"other", headers=kind)
    wait_until(lambda: finished(world.bench))
    listed = {photo["id"]: photo for photo in wire.use("listPhotos", 200).get_json()}
    assert listed[one["photo_id"]]["address"] == f"/results/{one['photo_id']}"
    wire.use("resultNumbers", 200, one)
    wire.use("resultPicture", 200, one)
    stranger = Wire(wire.port)
    stranger.use("resultNumbers", 404, one)
    stranger.use("putPhoto", 403, one, data=b"photo", headers=kind)


# --- rules for all addresses


@pytest.mark.parametrize("path", DOCUMENT.raw["paths"])
def test_other_methods_are_refused_and_the_right_ones_named(world: calls.World, path: str) -> None:
    known = {operation.method.upper() for operation in OPERATIONS if operation.path == path}
    address = Operation("", "", path, {}).address(world.values)
    allowed = known | {"OPTIONS"} | ({"HEAD"} if "GET" in known else set())
    for method in {"GET", "PUT", "POST", "DELETE", "PATCH"} - known:
        answer = world.everyone.open(address, method=method, headers=calls.JSON)
        assert (answer.status_code, answer.json["error"]["code"]) == (405, "method-not-allowed"), method
        assert set(answer.headers["Allow"].split(", ")) == allowed
    asked = world.everyone.options(address)
    assert (asked.status_code, set(asked.headers["Allow"].split(", "))) == (200, allowed)


def test_every_get_answers_head(world: calls.World) -> None:
    queries = {"setupForm": {"key": world.room.app.extensions["setup_key"]}}
    for operation in OPERATIONS:
        if operation.method == "get":
            address, query = operation.address(world.values), queries.get(operation.id)
            whole, head = (world.everyone.open(address, method=m, query_string=query) for m in ("GET", "HEAD"))
            assert (head.status_code, head.mimetype, head.data) == (whole.status_code, whole.mimetype, b""), address


@pytest.mark.parametrize(
    "address", ["/nothing", f"{WORK}/photos/no-uuid", "/results/no-uuid.json", "/card/x-a4.pdf", "/join/"]
)
def test_programs_are_told_that_nothing_is_there(world: calls.World, address: str) -> None:
    answer = world.everyone.get(address, headers=calls.JSON)
    assert (answer.status_code, answer.json["error"]["code"]) == (404, "not-found")


# --- malformed requests

RUBBISH = st.text(min_size=1, max_size=20).filter(lambda text: "/" not in text and text.strip("."))
FIELDS = sorted(
    {
        name
        for operation in OPERATIONS
        for media in operation.about.get("requestBody", {}).get("content", {}).values()
        for name in media["schema"].get("properties", {})
    }
)
FORMS = st.dictionaries(st.sampled_from([*FIELDS, "spot-1", "was-front"]), st.text(max_size=30), max_size=6)
BODIES = st.one_of(st.binary(max_size=200), FORMS)
TYPES = st.sampled_from(
    [calls.FORM, "multipart/form-data", "multipart/form-data; boundary=x", "application/json", "x", ""]
)
HEADER = st.text(st.characters(min_codepoint=32, max_codepoint=126), max_size=20)
ACCEPTS = st.one_of(st.sampled_from(["application/json", "text/html", "*/*", "image/*"]), HEADER)
HEADERS = st.fixed_dictionaries(
    {"Accept": ACCEPTS},
    optional=dict.fromkeys(
        ("Origin", "Sec-Fetch-Site", "X-Part", "X-Name", "If-None-Match", "Range", "Cookie"), HEADER
    ),
)
QUERIES = st.dictionaries(st.sampled_from(["key", "next", "copy", "cards", "x"]), st.text(max_size=20), max_size=2)


@settings(max_examples=400, deadline=None, suppress_health_check=list(HealthCheck))
@given(
    operation=st.sampled_from([one for one in OPERATIONS if one.id not in DELETING]),
    who=st.sampled_from(["everyone", "bench", "lead", "nobody"]),
    rubbish=st.dictionaries(st.sampled_from(["photo_id", "bay", "place", "lane", "practical_id", "code", "name"]), RUBBISH, max_size=2),
    headers=HEADERS,
    query=QUERIES,
    body=BODIES,
    kind=TYPES,
)  # fmt: skip
def test_malformed_requests_are_answered_as_documented(
    world: calls.World,
    operation: Operation,
    who: str,
    rubbish: dict[str, str],
    headers: dict[str, str],
    query: dict[str, str],
    body: Any,
    kind: str,
) -> None:
    """Whatever is sent: never a fault, and an answer that stands in the document."""
    sent = (
        {} if operation.method == "get" else {"data": body, "content_type": kind if isinstance(body, bytes) else None}
    )
    address = operation.address({**world.values, **rubbish})
    client = getattr(world, who)
    answer = client.open(address, method=operation.method.upper(), headers=headers, query_string=query, **sent)
    reached = operation_at(world, address, operation.method)
    assert answer.status_code < 500
    assert (check(DOCUMENT, reached, answer)[1] if reached else []) == []


def operation_at(world: calls.World, address: str, method: str) -> Operation | None:
    """The operation that an address leads to, which rubbish in it may change; None where it leads nowhere."""
    with world.room.app.test_request_context(address, method=method.upper()) as context:
        rule = context.request.url_rule
    path = None if rule is None else template(rule.rule)
    return next((one for one in OPERATIONS if (one.path, one.method) == (path, method)), None)
