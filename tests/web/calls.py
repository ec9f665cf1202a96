"""Every documented operation, driven into every answer that can be provoked."""

from __future__ import annotations

import functools
import io
import re
import uuid
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from flask.testing import FlaskClient
from PIL import Image

import webcapture
from tests.web.contract import Document, Operation, Outcome, check, request_wrong
from tests.web.records import PHOTO, Room, close_room, measured, open_room, send_and_wait
from webcapture.errors import ALL_ERRORS
from webcapture.reference.library import INVENTED, Run, Value
from webcapture.reference.method import method_of
from webcapture.report.export import error_dict
from webcapture.settings import DEFAULTS, WebSettings
from webcapture.store import lead as leads
from webcapture.store import own_runs, practicals, references
from webcapture.store.authority import papers
from webcapture.store.codec import loaded
from webcapture.store.own_runs import Place
from webcapture.store.store import Store
from webcapture.web.drawing import as_result
from webcapture.web.examples import Examples
from webcapture.web.measuring import Desk
from webcapture.web.measuring import Outcome as Taken

WORDS = "seven quiet herons"
NOON = datetime(2026, 3, 2, 12, tzinfo=UTC)
ELSEWHERE = {"Origin": "http://elsewhere.example"}
JSON, PAGE, PICTURE = {"Accept": "application/json"}, {"Accept": "text/html"}, {"Accept": "image/*"}
PART = {"X-Part": "1"}
FORM = "application/x-www-form-urlencoded"
PLAN = {
    "title": "Leaf dyes", "mobile_phase": "water", "paper": "filter paper", "temperature_c": "21", "layout": "tray",
    "page": "a4", "keep_days": "60", "role_1": "sample", "label_1": "Unknown A",
}  # fmt: skip


def known_measure(data: bytes, name: str) -> Taken:
    """Stands in for the measurement: the one photo's result, or the error that the name asks for."""
    for error in ALL_ERRORS:
        if name.startswith(error.code):
            return Taken(error_dict(name, error("Seen: as asked for.", "Do something.")), None)
    assert data
    entry = webcapture.as_dict(as_result(loaded(measured().result), name))
    return Taken(entry, PHOTO.read_bytes())


@dataclass
class World:
    """An installation with a practical, two stations, a measured photo and an example; and what came of every call."""

    document: Document
    room: Room
    folder: Path
    seen: set[Outcome] = field(default_factory=set)
    wrong: list[str] = field(default_factory=list)
    values: dict[str, object] = field(default_factory=dict)

    def __repr__(self) -> str:
        return "the world"

    @classmethod
    def open(cls, document: Document, folder: Path, web: WebSettings = DEFAULTS.web, **changed: Any) -> World:
        room = open_room(folder / "data", **changed)
        examples = folder / "examples"
        examples.mkdir()
        (examples / "leaf-dyes.jpg").write_bytes(PHOTO.read_bytes())
        for ending in ("png", "webp"):
            Image.new("RGB", (8, 8)).save(examples / f"small.{ending}")
        room.app.extensions["desk"] = Desk(known_measure, web)
        room.app.extensions["examples"] = Examples(examples, web)
        room.app.extensions["host"] = "192.0.2.7"
        world = cls(document, room, folder)
        world._furnish()
        return world

    def _furnish(self) -> None:
        self.bench = self.room.join("Bench 1")
        self.nobody = self.room.app.test_client()
        self.sign_in()
        with self.room.store.database.reading() as session:
            practical = practicals.find(session, self.room.practical)
        assert practical
        self.values = {
            "photo_id": send_and_wait(self.bench), "bay": 1, "place": "1", "lane": 1, "practical_id": practical.id,
            "station_id": self.room.ids["Bench 1"], "code": practical.join_code, "name": "leaf-dyes.jpg",
            "layout": "sheet", "paper": "letter", "token": self.room.app.extensions["desk"].shelf.put(PHOTO.read_bytes()),
        }  # fmt: skip
        self.values |= dict(zip(("entry", "run_id"), kept_references(self.room.store), strict=True))

    def sign_in(self) -> None:
        """The clients of the lead, and of the lead with a station's cookie besides."""
        self.lead, self.everyone = self.room.lead(), self.room.lead()
        self.everyone.set_cookie("station", self.room.cookies["Bench 1"])

    def set_passphrase(self) -> None:
        with self.room.store.database.writing() as session:
            leads.set_passphrase(session, WORDS)

    def call(self, name: str | Operation, status: int, client: FlaskClient | None = None, **given: Any) -> Any:
        """Use an operation; ``values`` among ``given`` change parameters of its path."""
        operation = self.document.operation(name) if isinstance(name, str) else name
        address = operation.address({**self.values, **given.pop("values", {})})
        answer = (client or self.everyone).open(address, method=operation.method.upper(), **given)
        outcome, wrong = check(self.document, operation, answer)
        data = given.get("data")
        if data and answer.status_code < 400:
            wrong += request_wrong(operation, answer.request.mimetype, data if isinstance(data, dict) else ())
        if answer.status_code != status:
            wrong.append(f"{status} was expected")
        self.seen.add(outcome)
        self.wrong += [f"{operation.id} {answer.status_code}: {words}" for words in wrong]
        return answer

    def both(self, name: str | Operation, status: int, client: FlaskClient | None = None, **given: Any) -> None:
        """The same refusal for a program and for a person; ``data`` is made anew for each by calling it."""
        headers, data = given.pop("headers", {}), given.pop("data", None)
        for accept in (JSON, PAGE):
            body = data() if callable(data) else data
            self.call(name, status, client, headers={**headers, **accept}, data=body, **given)


def photo(name: str = "strip.jpg", data: bytes = b"photo") -> tuple[io.BytesIO, str]:
    """A file of a form."""
    return io.BytesIO(data), name


def photos(*names: str) -> Callable[[], dict[str, Any]]:
    """Makes a form with photos of those names."""
    return lambda: {"photo": [photo(name) for name in names]}


# --- what holds for many operations


def refused_from_elsewhere(world: World) -> None:
    for operation in world.document.operations():
        if operation.changes:
            world.both(operation, 403, headers=ELSEWHERE)


def refused_without_the_lead(world: World) -> None:
    for operation in world.document.operations():
        if operation.needs("lead") and not operation.changes:
            world.call(operation, 302, world.bench, headers=PAGE)
            world.call(operation, 403, world.bench, headers=PICTURE)
            world.call(operation, 403, world.bench, headers=JSON)
        elif operation.needs("lead"):
            world.both(operation, 403, world.bench)


def refused_without_a_station(world: World) -> None:
    for operation in world.document.operations():
        if operation.needs("station"):
            world.both(operation, 403, world.lead)


def reads_a_form(operation: Operation) -> bool:
    """Whether it takes a form; the photo that is sent bare has answers of its own."""
    return bool({FORM, "multipart/form-data"} & set(operation.about.get("requestBody", {}).get("content", ())))


def form_cut_short(world: World) -> None:
    for operation in world.document.operations():
        if reads_a_form(operation):
            kind = next(iter(operation.about["requestBody"]["content"]))
            boundary = "; boundary=x" if kind.startswith("multipart") else ""
            more = {"CONTENT_LENGTH": "50"}
            world.both(operation, 400, data=b"--x\r\n", content_type=kind + boundary, environ_overrides=more)


def too_large_a_form(world: World) -> None:
    for operation in world.document.operations():
        if reads_a_form(operation):
            kind = next(iter(operation.about["requestBody"]["content"]))
            more = {"CONTENT_LENGTH": str(DEFAULTS.web.max_request_bytes + 1)}
            world.both(operation, 413, data=b"", content_type=f"{kind}; boundary=x", environ_overrides=more)


def fault_inside(world: World) -> None:
    """Every view is replaced by one that fails, for a while."""
    views = world.room.app.view_functions
    world.room.app.logger.disabled = True
    whole = dict(views)

    def broken(view: Any) -> Any:
        @functools.wraps(view)
        def failing(*_given: object, **_named: object) -> None:
            raise ZeroDivisionError("a secret of the inside")

        return failing

    views.update({name: broken(view) for name, view in views.items()})
    for operation in world.document.operations():
        world.both(operation, 500)
    views.update(whole)
    world.room.app.logger.disabled = False


def nothing_there(world: World) -> None:
    """Ids of nothing; where there are none, what else names nothing."""
    none = {"photo_id": uuid.uuid4(), "practical_id": "none", "station_id": "none", "token": "none", "name": "none"}
    none |= {"entry": "none", "run_id": 9999}
    query = {"setupForm": {"key": "wrong"}, "newForm": {"copy": "none"}}
    for operation in world.document.operations():
        if "404" in operation.about["responses"] and "joining" not in operation.about["tags"]:
            world.both(operation, 404, values=none, query_string=query.get(operation.id))
    for name in ("resultStrip", "ends"):
        world.both(name, 404, values={"place": "1-2"})
    for name in ("resultProfile", "correctLane"):
        world.both(name, 404, values={"bay": 99})
    for name in ("resultProfile", "correctLane"):
        world.both(name, 404, values={"lane": 99})


# --- measuring, pages


def measuring(world: World) -> None:
    names = ["strip.jpg", *(f"{error.code}.jpg" for error in ALL_ERRORS)]
    found = world.call("measure", 200, data=photos(*names)()).get_json()
    assert [(one["error"] or {}).get("code") for one in found] == [None, *(error.code for error in ALL_ERRORS)]
    world.call("picture", 200, values={"token": found[0]["picture"].split("/")[-1].removesuffix(".jpg")})
    world.call("measure", 400, data={"other": "x"}, content_type="multipart/form-data")
    world.call("measure", 400, data=photos(*["strip.jpg"] * 31)())
    world.call("measure", 415, data=b"\xff\xd8", content_type="image/jpeg")
    world.call("openapi", 200)
    world.call("resultSchema", 200)


def card(world: World) -> None:
    for layout in ("sheet", "tray"):
        for paper in ("a4", "letter"):
            world.call("card", 200, values={"layout": layout, "paper": paper})


def pages(world: World) -> None:
    for name in ("start", "install", "httpsHelp", "offline", "manifest", "touchIcon", "worker"):
        world.call(name, 200)
    world.call("measurePage", 200, data=photos("strip.jpg")())
    world.call("measurePage", 200, data={"example": "leaf-dyes.jpg"}, headers=PART)
    for form in ({}, {"example": "none"}):
        world.both("measurePage", 400, data=form)
    world.both("measurePage", 400, data=photos(*["strip.jpg"] * 31))
    world.call("measureAgain", 303)
    for name in ("small.png", "small.webp"):
        world.call("example", 200, values={"name": name})
    known = world.call("example", 200)
    world.call("example", 304, headers={"If-None-Match": known.headers["ETag"]})
    world.call("exampleSmall", 200)
    world.room.app.extensions["papers"] = papers(world.folder / "https", [], datetime.now(UTC))
    world.call("httpsHelp", 200)
    world.call("authority", 200)


# --- joining, station


def joining(world: World) -> None:
    world.call("joinForm", 200)
    world.call("joinCode", 303, data={"code": world.values["code"]})
    world.both("joinCode", 400, data={"code": ""})
    world.both("joinCode", 404, data={"code": "WRONGCODE"})
    for name in ("labelForm", "join"):
        world.both(name, 404, values={"code": "WRONGCODE"})
    world.call("labelForm", 200)
    world.call("join", 303, world.nobody, data={"label": "Bench 9"})
    world.both("join", 400, data={"label": "x" * 25})
    world.call("joining", 303, data={"open": "0"})
    world.both("joinCode", 403, data={"code": world.values["code"]})
    for name in ("labelForm", "join"):
        world.both(name, 403)
    world.call("joining", 303, data={"open": "1"})


def station(world: World) -> None:
    bench = world.room.join("Bench 2")
    world.call("work", 200, bench)
    world.call("parts", 200)
    world.call("work", 200, bench, headers=PART)
    new = {"photo_id": uuid.uuid4()}
    world.call(
        "putPhoto", 201, bench, values=new, data=b"one", content_type="image/jpeg", headers={"X-Name": "a%20b.jpg"}
    )
    world.call("putPhoto", 200, bench, values=new, data=b"one", content_type="image/jpeg")
    world.call("putPhoto", 409, bench, values=new, data=b"other", content_type="image/jpeg")
    world.call("putPhoto", 400, bench, values=new, data=b"")
    world.call("putPhoto", 400, bench, values=new, data=b"one", environ_overrides={"CONTENT_LENGTH": "50"})
    more = {"CONTENT_LENGTH": str(DEFAULTS.photo.max_bytes + 1)}
    world.call("putPhoto", 413, bench, values=new, data=b"one", environ_overrides=more)
    glances(world, bench)
    send_and_wait(bench, "no-card.jpg")
    states = {one["state"] for one in world.call("listPhotos", 200, bench).get_json()}
    assert states == {"measured", "refused"}
    world.call("postPhotos", 303, bench, data=photos("one.jpg", "two.jpg")())
    world.both("postPhotos", 400, bench, data={})
    world.both("postPhotos", 400, bench, data=photos(*["strip.jpg"] * 31))


def glances(world: World, bench: FlaskClient) -> None:
    frame = {"content_type": "image/jpeg"}
    for side, card in ((900, True), (8, False)):
        seen = world.call("glance", 200, bench, data=small(PHOTO.read_bytes(), side), **frame).get_json()
        assert bool(seen["outline"]) is card
    world.call("glance", 400, bench, data=b"", **frame)
    world.call("glance", 400, bench, data=b"no picture", **frame)
    world.call("glance", 400, bench, data=b"one", environ_overrides={"CONTENT_LENGTH": "50"}, **frame)
    world.call("glance", 413, bench, data=b"1" * (DEFAULTS.glance.most_bytes + 1), **frame)
    world.call("glance", 413, bench, data=small(PHOTO.read_bytes(), DEFAULTS.glance.most_side + 1), **frame)
    gate = world.room.app.extensions["glances"]
    with gate:
        world.call("glance", 503, bench, data=small(PHOTO.read_bytes(), 8), **frame)


def small(photo: bytes, side: int) -> bytes:
    """A photo as a frame whose longer side has so many pixels."""
    picture = Image.open(io.BytesIO(photo)).convert("RGB")
    scale = side / max(picture.size)
    out = io.BytesIO()
    picture.resize((max(round(picture.width * scale), 1), max(round(picture.height * scale), 1))).save(out, "JPEG")
    return out.getvalue()


# --- results


def results(world: World) -> None:
    world.call("result", 200, world.bench)
    world.call("result", 200, world.bench, headers=PART)
    for name in ("resultPicture", "resultStrip", "resultProfile"):
        known = world.call(name, 200)
        world.call(name, 304, headers={"If-None-Match": known.headers["ETag"]})
    world.call("resultNumbers", 200)
    world.both("correctLane", 400, data={"origin": "no number"})
    world.both("follow", 400, data={"follow": "the wind"})
    world.both("ends", 400, data={"ends": "the middle"})


def corrections(world: World) -> None:
    """Numbers are as documented after any of them, too."""
    before = world.call("resultNumbers", 200).get_json()
    changes = ({"front": "100"}, {"origin": "20", "only": "1"}, {"add": "50"}, {"label": "Unknown A"})
    for number, change in enumerate(changes):
        world.call("correctLane", 200 if number % 2 else 303, data=change, headers=PART if number % 2 else PAGE)
        world.call("resultNumbers", 200)
    for headers, status in ((PAGE, 303), (PART, 200)):
        world.call("follow", status, data={"follow": "densest"}, headers=headers)
    assert world.call("resultNumbers", 200).get_json()["rf_follows"] == "densest"
    for ends, headers, status in (("turn", PAGE, 303), ("keep", PART, 200)):
        world.call("ends", status, data={"ends": ends}, headers=headers)
        world.call("resultNumbers", 200)
    ids = re.findall(r'name="correction" value="(\d+)"', world.call("result", 200).text)
    assert len(ids) > len(changes)
    for number in ids:
        world.call("undo", 303, data={"correction": number})
    world.call("undo", 200, data={"correction": "none"}, headers=PART)
    assert world.call("resultNumbers", 200).get_json() == before


# --- lead, room


def lead(world: World) -> None:
    key = world.room.app.extensions["setup_key"]
    world.both("signInForm", 403, world.nobody)
    world.both("signIn", 403, world.nobody, data={"passphrase": WORDS})
    world.call("setupForm", 200, world.nobody, query_string={"key": key})
    world.both("setup", 400, world.nobody, data={"key": key, "passphrase": "short"})
    world.call("setup", 303, world.nobody, data={"key": key, "passphrase": WORDS, "again": WORDS})
    world.sign_in()  # a passphrase that is set anew ends all sessions
    world.call("setupForm", 303, query_string={"key": key})
    world.call("signInForm", 303, world.lead)
    world.call("signOut", 303, world.nobody)
    world.call("signInForm", 200, world.nobody)
    world.both("signIn", 403, world.nobody, data={"passphrase": "wrong words here"})
    world.call("signIn", 303, world.nobody, data={"passphrase": WORDS})
    world.call("leadHome", 200, world.nobody)


def practical_forms(world: World) -> None:
    world.call("newForm", 200, query_string={"copy": world.values["practical_id"]})
    world.call("editForm", 200)
    for name in ("newPractical", "edit"):
        world.call(name, 200, data={**PLAN, "show": "1"})
        world.both(name, 400, data={**PLAN, "title": ""})
        world.call(name, 303, data=PLAN)


def room(world: World) -> None:
    for name in ("room", "roomPlot", "roomPicture", "roomQr", "roomHandout"):
        world.call(name, 200)
    known = world.call("roomPart", 200)
    world.call("roomPart", 304, headers={"If-None-Match": known.headers["ETag"]})
    lines = world.call("roomSpots", 200).text.splitlines()
    response, _ = world.document.response(world.document.operation("roomSpots"), "200")
    assert lines[0].lstrip("\ufeff").split(",") == response["content"]["text/csv"]["schema"]["x-columns"]
    assert len(lines) > 6
    world.both("roomHandout", 400, query_string={"cards": "61"})
    world.call("newCode", 303)


def own_values(world: World) -> None:
    world.call("edit", 303, data={**PLAN, "role_2": "reference", "label_2": "Marl red"})
    offered = re.findall(r'name="spot" value="([^"]+)"', world.call("ownRuns", 200).text)
    assert offered
    world.both("acceptRuns", 400, data={"spot": "none"})
    world.call("acceptRuns", 303, data={"spot": offered[:1]})
    kept = re.search(r'name="run" value="(\d+)"', world.call("ownRuns", 200).text)
    assert kept is not None
    world.call("withdrawRun", 303, data={"run": kept[1]})


def evidence(world: World) -> None:
    """The plan's only sample, under a mobile phase that can be read."""
    asked = {"query_string": {"label": "unknown  a"}}
    world.call("evidenceChoice", 200)
    for name in ("evidence", "evidencePlot"):
        world.call(name, 200, **asked)
    found = world.call("evidenceNumbers", 200, **asked).get_json()
    assert found["runs"]
    left = {"query_string": {"label": "Unknown A", "without": found["runs"][0]["practical_id"]}}
    assert not any(run["taken"] for run in world.call("evidenceNumbers", 200, **left).get_json()["runs"])
    lines = world.call("evidenceLines", 200, **asked).text.splitlines()
    response, _ = world.document.response(world.document.operation("evidenceLines"), "200")
    assert lines[0].lstrip("\ufeff").split(",") == response["content"]["text/csv"]["schema"]["x-columns"]


def kept_references(store: Store) -> tuple[str, int]:
    """A kept value's entry and an accepted run's number."""
    method = method_of("water", "filter paper")
    with store.database.writing() as session:
        references.add(session, [Value("Marl red", method, 0.31, INVENTED, "invented for a test")], NOON)
        run = Run("Marl red", method, 0.32, "sheet", "practical")
        own_runs.accept(session, run, 0.01, Place("photo", 1, 1, 1), "Leaf dyes", NOON)
        return references.kept(session)[0].entry, own_runs.accepted_runs(session)[0].id


REFERENCE = {
    "substance": "Tarn blue", "mobile_phase": "water", "paper": "filter paper", "rf": "0,62", "mark": "invented",
    "source": "invented for a test", "note": "first",
}  # fmt: skip


def reference_pages(world: World) -> None:
    named, under = {"name": "marl red"}, {"under": "water | filter paper"}
    for name in ("references", "referencesChart", "referencesTable"):
        world.call(name, 200, world.nobody, query_string=under)
    response, _ = world.document.response(world.document.operation("referencesTable"), "200")
    for name in ("referencesTable", "referencesTemplate"):
        head = world.call(name, 200).text.splitlines()[0].lstrip("\ufeff")
        assert head.split(",") == response["content"]["text/csv"]["schema"]["x-columns"]
    for name in ("substance", "substanceChart", "substanceRuns"):
        world.call(name, 200, world.nobody, query_string=named | under)
    for name in ("keepReferences", "newValueForm", "valueForm"):
        world.call(name, 200)


def keeping(world: World) -> None:
    world.call("newValue", 303, data=REFERENCE)
    world.both("newValue", 400, data=REFERENCE)
    changed = REFERENCE | {"substance": "Marl red", "rf": "0.33"}
    world.call("changeValue", 303, data=changed | {"version": "1"})
    for name, form in (
        ("changeValue", changed | {"rf": "2"}),
        ("changeValue", changed),
        ("retireValue", {"version": "1"}),
    ):
        world.both(name, 400, data=form)
    world.call("retireValue", 303, data={"version": "2", "note": "old bottle"})
    world.both("restoreValue", 400, data={"version": "1"})
    world.call("restoreValue", 303, data={"version": "3"})
    table = world.call("referencesTable", 200).data
    world.call("importReferences", 303, data={"file": (io.BytesIO(table), "references.csv")})
    world.both("importReferences", 400, data=lambda: {"file": (io.BytesIO(b"substance"), "references.csv")})
    world.call("referenceWindow", 303, data={"window": "0.04"})
    world.both("referenceWindow", 400, data={"window": "wide"})
    world.call("referenceWindow", 303, data={"usual": "1"})
    world.call("withdrawOwnRun", 303)


def deleting(world: World) -> None:
    for form, deed in (
        ("deleteStationForm", "deleteStation"),
        ("purgeForm", "purge"),
        ("deleteForm", "deletePractical"),
    ):
        world.call(form, 200)
        world.call(deed, 303)


# --- what needs an installation with other settings


def busy(document: Document, folder: Path) -> World:
    """Nothing is measured, and nobody waits long."""
    world = World.open(document, folder, replace(DEFAULTS.web, measuring_at_once=0, wait_s=0.01))
    for name in ("measure", "measurePage"):
        world.both(name, 503, data=photos("strip.jpg"))
    return world


def full(document: Document, folder: Path) -> World:
    """One photo a station, which has been sent."""
    world = World.open(document, folder, photos_a_station=1)
    world.both("putPhoto", 429, values={"photo_id": uuid.uuid4()}, data=b"one more")
    world.both("postPhotos", 429, data=photos("one more.jpg"))
    return world


def guessed(document: Document, folder: Path) -> World:
    """No guess is left."""
    world = World.open(document, folder, guesses=0)
    world.set_passphrase()
    world.both("signIn", 429, world.nobody, data={"passphrase": WORDS})
    world.both("joinCode", 429, data={"code": world.values["code"]})
    for name in ("labelForm", "join"):
        world.both(name, 429)
    return world


WAYS: tuple[Callable[[World], None], ...] = (
    refused_from_elsewhere, refused_without_the_lead, refused_without_a_station, form_cut_short, too_large_a_form,
    fault_inside, nothing_there, measuring, card, pages, joining, station, results, corrections, lead, practical_forms,
    room, own_values, reference_pages, keeping, evidence, deleting,
)  # fmt: skip
"""In this order, in one installation: the last one deletes what the others use."""


def driven(document: Document, folder: Path) -> Iterator[World]:
    """Installations through which everything was driven."""
    (folder / "own").mkdir()
    world = World.open(document, folder / "own")
    for way in WAYS:
        try:
            way(world)
        except Exception as error:  # told with the answers that are wrong, which are often why
            world.wrong.append(f"{way.__name__} broke off: {error!r}")
    close_room(world.room)
    yield world
    for other in (busy, full, guessed):
        (folder / other.__name__).mkdir()
        one = other(document, folder / other.__name__)
        close_room(one.room)
        yield one
