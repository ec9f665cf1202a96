"""The HTTP interface's document, and answers held against it.

An answer is held against what is written for its operation and status: content type, headers, body. What is compared are
*outcomes*: one is an operation, a status, a content type and, where the body is an error, its code.
"""

from __future__ import annotations

import re
from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any, NamedTuple, Protocol
from urllib.parse import quote
from xml.etree import ElementTree

from jsonschema import Draft202012Validator, FormatChecker
from referencing import Registry, Resource
from referencing.jsonschema import DRAFT202012
from werkzeug.datastructures import Headers

from webcapture.web.security import HEADERS

BASE = "http://tool.test/api/"
METHODS = ("get", "put", "post", "delete", "patch", "options", "head", "trace")
JSON_TYPES = ("application/json", "application/schema+json", "application/manifest+json")
BEGINNINGS: dict[str, bytes | tuple[bytes, ...]] = {
    "image/jpeg": b"\xff\xd8\xff",
    "image/png": b"\x89PNG\r\n\x1a\n",
    "application/pdf": b"%PDF-",
    "text/csv": (b"\xef\xbb\xbfpractical,", b"\xef\xbb\xbfsubstance,"),
    "application/x-x509-ca-cert": b"-----BEGIN CERTIFICATE-----\n",
    "image/webp": b"RIFF",
    "text/javascript": b"/",
    "text/html": b"<",
}
"""How bodies begin that no schema describes (JFIF, PNG, WebP and PDF by their standards; the byte order mark of UTF-8)."""


class Outcome(NamedTuple):
    """One way an operation can be answered."""

    operation: str
    status: str
    content_type: str
    code: str


class Answer(Protocol):
    """What is needed of an answer, from whichever client."""

    @property
    def status_code(self) -> int: ...
    @property
    def headers(self) -> Headers: ...
    @property
    def mimetype(self) -> str | None: ...
    @property
    def data(self) -> bytes: ...
    def get_json(self) -> Any: ...


@dataclass(frozen=True)
class Operation:
    """One method of one path, as documented."""

    id: str
    method: str
    path: str
    about: Mapping[str, Any]

    def __repr__(self) -> str:
        return self.id

    def address(self, values: Mapping[str, object]) -> str:
        """The path with its parameters filled in."""
        return self.path.format(**{name: quote(str(value), safe="") for name, value in values.items()})

    @property
    def changes(self) -> bool:
        """Whether its method may change something."""
        return self.method not in {"get", "head", "options"}

    def needs(self, cookie: str) -> bool:
        """Whether nobody may use it without that cookie."""
        return self.about.get("security") == [{cookie: []}]


@dataclass
class Document:
    """The document as served, with the schema it refers to."""

    raw: dict[str, Any]
    schema: dict[str, Any]
    registry: Registry[Any] = field(init=False)

    def __post_init__(self) -> None:
        parts = (("openapi.json", self.raw), ("result.schema.json", self.schema))
        self.registry = Registry().with_resources(
            (BASE + name, Resource.from_contents(part, default_specification=DRAFT202012)) for name, part in parts
        )

    def __repr__(self) -> str:
        return "the document"

    def operations(self) -> Iterator[Operation]:
        """Every operation."""
        for path, item in self.raw["paths"].items():
            for method in METHODS:
                if method in item:
                    yield Operation(item[method]["operationId"], method, path, item[method])

    def operation(self, name: str) -> Operation:
        """The one with that id."""
        return next(one for one in self.operations() if one.id == name)

    def followed(self, node: Any) -> tuple[Any, str]:
        """What a node or its reference holds, and the pointer of that reference, else an empty one."""
        reference = node.get("$ref", "")
        return (
            (self.registry.resolver(BASE + "openapi.json").lookup(reference).contents, reference)
            if reference
            else (node, "")
        )

    def response(self, operation: Operation, status: str) -> tuple[Any, str]:
        """What is written for that status, and the pointer to it."""
        own = pointer("paths", operation.path, operation.method, "responses", status)
        found, elsewhere = self.followed(operation.about["responses"][status])
        return found, elsewhere or own

    def complaints(self, instance: Any, at: str) -> list[str]:
        """What is wrong with an instance of the schema at that pointer."""
        validator = Draft202012Validator(
            {"$ref": BASE + "openapi.json" + at}, registry=self.registry, format_checker=FormatChecker()
        )
        return [f"{error.json_path}: {error.message[:300]}" for error in validator.iter_errors(instance)]

    def outcomes(self) -> Iterator[Outcome]:
        """Everything that is documented."""
        for operation in self.operations():
            for status in operation.about["responses"]:
                response, _ = self.response(operation, status)
                for content_type, media in response.get("content", {"": {}}).items():
                    for code in error_codes(media) or [""]:
                        yield Outcome(operation.id, status, content_type, code)


def template(rule: str) -> str:
    """A route of Flask as OpenAPI writes a path.

    >>> template("/results/<uuid:photo_id>/strip-<int:bay>.jpg"), template("/card/<any(sheet, tray):layout>.pdf")
    ('/results/{photo_id}/strip-{bay}.jpg', '/card/{layout}.pdf')
    """
    return re.sub(r"<(?:[^<>:]+(?:\([^)]*\))?:)?(\w+)>", r"{\1}", rule)


def pointer(*steps: str) -> str:
    """A JSON pointer as a fragment (RFC 6901)."""
    return "#/" + "/".join(quote(step.replace("~", "~0").replace("/", "~1"), safe="") for step in steps)


def error_codes(media: Mapping[str, Any]) -> list[str]:
    """The codes that an error's body may carry; none where it is no error."""
    parts = media.get("schema", {}).get("allOf", [])
    if not parts or parts[0].get("$ref") != "#/components/schemas/ErrorAnswer":
        return []
    codes: list[str] = parts[1]["properties"]["error"]["properties"]["code"]["enum"]
    return codes


def check(document: Document, operation: Operation, answer: Answer) -> tuple[Outcome, list[str]]:
    """What came, and where it is unlike what is documented."""
    status, content_type = str(answer.status_code), answer.mimetype or ""
    code = _code(answer) if answer.status_code >= 400 else ""
    outcome = Outcome(operation.id, status, content_type if answer.data else "", code)
    if status not in operation.about["responses"]:
        return outcome, ["this status is not documented"]
    response, at = document.response(operation, status)
    wrong = _headers_wrong(document, response, answer)
    if bool(answer.data) != ("content" in response):
        return outcome, [*wrong, "a body came and none is documented, or the other way round"]
    if answer.data and content_type not in response["content"]:
        return outcome, [*wrong, f"{content_type} is not documented"]
    if answer.data:
        wrong += _body_wrong(
            document, f"{at}/content/{quote(content_type.replace('/', '~1'), safe='~')}/schema", answer
        )
    return outcome, wrong


def request_wrong(operation: Operation, content_type: str, fields: Collection[str]) -> list[str]:
    """Where a request that was served is unlike what is documented: the body's type, a form's fields."""
    content = operation.about.get("requestBody", {}).get("content", {})
    if content_type and content_type not in content:
        return [f"a body of {content_type or 'no type'} is not documented"]
    schema = content.get(content_type, {}).get("schema", {})
    patterns = schema.get("patternProperties", {})
    unknown = set(fields) - set(schema.get("properties", {}))
    return [f"the field {name} is not documented" for name in unknown if not any(re.search(p, name) for p in patterns)]


def _code(answer: Answer) -> str:
    return str(answer.get_json()["error"]["code"]) if answer.data and answer.mimetype == "application/json" else ""


def _headers_wrong(document: Document, response: Mapping[str, Any], answer: Answer) -> list[str]:
    wrong = [f"{name} is missing or other" for name, value in HEADERS.items() if answer.headers.get(name) != value]
    wrong += [] if "Cache-Control" in answer.headers else ["Cache-Control is missing"]
    for name, node in response.get("headers", {}).items():
        about, at = document.followed(node)
        given = answer.headers.get(name)
        if given is None:
            wrong += [f"{name} is missing"] if about.get("required") else []
        elif at:
            wrong += [f"{name}: {words}" for words in document.complaints(given, f"{at}/schema")]
        elif not Draft202012Validator(about["schema"]).is_valid(given):
            wrong.append(f"{name} is {given}")
    return wrong


def _body_wrong(document: Document, at: str, answer: Answer) -> list[str]:
    kind = answer.mimetype or ""
    if kind in JSON_TYPES:
        return document.complaints(answer.get_json(), at)
    if kind == "image/svg+xml":
        return [] if ElementTree.fromstring(answer.data).tag.endswith("svg") else ["no SVG"]
    return [] if answer.data.lstrip().startswith(BEGINNINGS[kind]) else [f"does not begin as {kind}"]
