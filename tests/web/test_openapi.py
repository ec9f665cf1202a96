"""The document of the HTTP interface: valid, complete, and what the running tool does."""

from __future__ import annotations

import json
import re
from datetime import UTC, datetime
from typing import Any

import pytest
from flask import Flask
from openapi_spec_validator import OpenAPIV31SpecValidator
from werkzeug.wrappers import Response

import webcapture
from tests.web import calls
from tests.web.contract import Document, Outcome, check, template
from webcapture.errors import ALL_ERRORS
from webcapture.report.export import schema
from webcapture.settings import DEFAULTS
from webcapture.web import WebConfig, api, create_app, plan_form
from webcapture.web.errors import REQUEST_ERRORS, TROUBLES
from webcapture.web.identity import LEAD_COOKIE, STATION_COOKIE
from webcapture.web.room import MOST_CARDS
from webcapture.web.security import HEADERS

UNDOCUMENTED = {
    "/static/{version_asked}/{name}": "OpenAPI knows no parameter with slashes in it (3.1, Path Templating); what is "
    "there is named by the pages that use it",
}
"""Routes that the document leaves out, with the reason."""

OUT_OF_REACH: dict[Outcome, str] = {}
"""Documented outcomes that no test provokes, with the reason."""

GIVEN_BY_FLASK = {"HEAD", "OPTIONS"}


@pytest.fixture(scope="module")
def app(tmp_path_factory: pytest.TempPathFactory) -> Flask:
    return create_app(WebConfig(data=tmp_path_factory.mktemp("records")))


@pytest.fixture(scope="module")
def document(app: Flask) -> Document:
    """As served."""
    client = app.test_client()
    return Document(client.get("/api/openapi.json").json, json.loads(client.get("/api/result.schema.json").data))


@pytest.fixture(scope="module")
def worlds(document: Document, tmp_path_factory: pytest.TempPathFactory) -> list[calls.World]:
    return list(calls.driven(document, tmp_path_factory.mktemp("driven")))


def routes(app: Flask) -> set[tuple[str, str]]:
    """(method, path as OpenAPI writes it) of everything that the application answers."""
    return {
        (method, template(rule.rule))
        for rule in app.url_map.iter_rules()
        for method in (rule.methods or set()) - GIVEN_BY_FLASK
    }


# --- the document itself


def test_it_is_valid() -> None:
    """By openapi-spec-validator, with the schemas of the OpenAPI Initiative; the reference to the result's schema is followed."""
    raw = json.loads(api.DESCRIPTION.read_text(encoding="utf-8"))
    assert list(OpenAPIV31SpecValidator(raw, base_uri=api.DESCRIPTION.as_uri()).iter_errors()) == []


def test_every_reference_leads_somewhere(document: Document) -> None:
    served = re.findall(r'"\$ref": ?"([^"]*)"', json.dumps(document.raw))
    assert {one.partition("#")[0] for one in served} == {"", "result.schema.json"}
    for reference in served:
        document.followed({"$ref": reference})


def test_it_describes_every_route_and_no_other(app: Flask, document: Document) -> None:
    known = {(operation.method.upper(), operation.path) for operation in document.operations()}
    assert {path for _, path in routes(app) - known} == set(UNDOCUMENTED)
    assert known - routes(app) == set()


def test_operations_have_names_of_their_own(document: Document) -> None:
    names = [operation.id for operation in document.operations()]
    assert len(names) > 50
    assert len(names) == len(set(names))


def test_codes_are_those_that_there_are(document: Document) -> None:
    schemas = document.raw["components"]["schemas"]
    measurement, request = (schemas[f"{kind}ErrorCode"]["enum"] for kind in ("Measurement", "Request"))
    assert measurement == [error.code for error in ALL_ERRORS]
    known = [error.code for error in REQUEST_ERRORS] + [trouble.code for trouble in TROUBLES.values()]
    assert request == list(dict.fromkeys(known))


def test_every_code_of_a_request_stands_at_an_operation_or_in_the_rules(document: Document) -> None:
    used = {outcome.code for outcome in document.outcomes()} - {""}
    by_rule = {"method-not-allowed", "other-name", "too-often"}
    assert set(document.raw["components"]["schemas"]["RequestErrorCode"]["enum"]) - used == by_rule
    assert [code for code in by_rule if f"`{code}`" not in document.raw["info"]["description"]] == []


def test_limits_are_those_of_the_settings(document: Document) -> None:
    web, hand_limits = DEFAULTS.web, document.operation("joining")
    assert hand_limits.about["requestBody"]["required"] is False
    measure = document.operation("measure").about
    photo = measure["requestBody"]["content"]["multipart/form-data"]["schema"]["properties"]["photo"]
    assert (photo["maxItems"], photo["items"]["maxLength"]) == (web.max_photos, DEFAULTS.photo.max_bytes)
    bodies = document.operation("putPhoto").about["requestBody"]["content"].values()
    assert {body["schema"]["maxLength"] for body in bodies} == {DEFAULTS.photo.max_bytes}
    words = document.raw["info"]["description"] + measure["requestBody"]["description"]
    for number in (web.max_request_bytes, DEFAULTS.photo.max_bytes, DEFAULTS.photo.max_pixels):
        assert f"{number:,}".replace(",", " ") in words
    cards = document.raw["components"]["parameters"]["cards"]["schema"]
    assert cards["maximum"] == MOST_CARDS
    assert form(document, "join")["label"]["maxLength"] == DEFAULTS.room.label_length
    assert form(document, "setup")["passphrase"]["minLength"] == DEFAULTS.room.passphrase_least


def form(document: Document, name: str) -> dict[str, Any]:
    """The fields of an operation's form."""
    content = document.operation(name).about["requestBody"]["content"]
    fields: dict[str, Any] = content["application/x-www-form-urlencoded"]["schema"]["properties"]
    return fields


@pytest.mark.parametrize("name", ["newPractical", "edit"])
def test_fields_of_a_plan_are_those_of_its_form(document: Document, name: str) -> None:
    fields = form(document, name)
    assert set(fields) == {*plan_form.fresh(datetime.now(UTC), DEFAULTS.room), "show"}
    lengths = {field: about["maxLength"] for field, about in fields.items() if "maxLength" in about}
    labels = {f"label_{n}": plan_form.MIXED_LABEL for n in range(1, plan_form.LANES + 1)}
    assert lengths == plan_form.LENGTHS | labels


def test_version_and_cookies_are_those_of_the_tool(document: Document) -> None:
    assert document.raw["info"]["version"] == webcapture.__version__
    cookies = {one["name"] for one in document.raw["components"]["securitySchemes"].values()}
    assert cookies == {STATION_COOKIE, LEAD_COOKIE}


def test_the_schema_it_refers_to_is_the_reports(document: Document) -> None:
    assert document.schema == schema()


# --- what the tool does


def test_without_records_only_measuring_and_pages_are_there(document: Document) -> None:
    there = {path for _, path in routes(create_app(WebConfig()))} - set(UNDOCUMENTED)
    tagged = {one.path for one in document.operations() if set(one.about["tags"]) <= {"measuring", "pages"}}
    assert there == tagged


SPOILED: tuple[tuple[str, dict[str, Any], str], ...] = (
    ("another status", {"status": 418}, "this status is not documented"),
    ("another type", {"content_type": "text/html"}, "text/html is not documented"),
    ("no body", {"response": b""}, "a body came and none is documented, or the other way round"),
    ("a header less", {"without": "X-Frame-Options"}, "X-Frame-Options is missing or other"),
    ("no word on keeping it", {"without": "Cache-Control"}, "Cache-Control is missing"),
    ("no hint", {"response": b'{"error": {"code": "busy", "message": "Wait."}}'}, "'hint' is a required property"),
    ("a code of another status", {"code": "no-photo"}, "'no-photo' is not one of ['busy']"),
    ("an unknown code", {"code": "made-up"}, "'made-up' is not valid under any of the given schemas"),
    ("nothing to wait for", {"without": "Retry-After"}, "Retry-After is missing"),
)


@pytest.mark.parametrize(("given", "said"), [one[1:] for one in SPOILED], ids=[one[0] for one in SPOILED])
def test_an_answer_that_is_unlike_the_document_is_told(document: Document, given: dict[str, Any], said: str) -> None:
    """So that the tests below can fail: a good answer has no complaint, a spoiled one the right one."""
    operation = document.operation("measure")
    assert check(document, operation, busy())[1] == []
    assert said in " ".join(check(document, operation, busy(**given))[1])


def busy(code: str = "busy", without: str = "", **changed: Any) -> Response:
    """The answer of a tool that has too much to do, put together by hand."""
    headers = {**HEADERS, "Cache-Control": "no-cache", "Retry-After": "120"}
    headers.pop(without, None)
    body = json.dumps({"error": {"code": code, "message": "Much to do.", "hint": "Wait."}})
    whole = {"response": body, "status": 503, "content_type": "application/json", **changed}
    return Response(headers=headers, **whole)


def test_every_answer_is_as_documented(worlds: list[calls.World]) -> None:
    assert [words for world in worlds for words in world.wrong] == []


def test_every_documented_outcome_was_reached(document: Document, worlds: list[calls.World]) -> None:
    """An outcome: an operation, a status, a content type, an error's code."""
    documented = set(document.outcomes())
    reached = {outcome for world in worlds for outcome in world.seen}
    assert len(documented) > 300
    assert sorted(documented - reached) == sorted(OUT_OF_REACH)
    assert sorted(reached - documented) == []
