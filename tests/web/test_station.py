"""A station's photos: taken once, kept before they are answered for, and nobody else's business."""

from __future__ import annotations

import io
import uuid
from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

from tests.web.records import WORK, Room, close_room, finished, open_room, send, send_and_wait, wait_until
from webcapture.settings import DEFAULTS
from webcapture.store import photos, practicals


@pytest.fixture
def room(tmp_path: Path) -> Iterator[Room]:
    opened = open_room(tmp_path, photos_a_station=3)
    yield opened
    close_room(opened)


@pytest.fixture
def asleep(tmp_path: Path) -> Iterator[Room]:
    """A room whose foreman has not begun."""
    opened = open_room(tmp_path, start=False)
    yield opened
    close_room(opened)


def test_photo_is_on_disk_and_in_the_records_when_it_is_answered_for(asleep: Room) -> None:
    bench = asleep.join("Bench 1")
    photo_id = str(uuid.uuid4())
    answer = send(bench, b"the bytes", "strip 1.jpg", photo_id)
    assert answer.status_code == 201
    assert answer.json == {"id": photo_id, "name": "strip 1.jpg", "state": "waiting", "trouble": None, "address": None}
    with asleep.store.database.reading() as session:
        info = photos.find(session, photo_id)
    assert info is not None
    assert asleep.store.vault.read(info.digest) == b"the bytes"
    assert info.station_id == asleep.ids["Bench 1"]


def test_same_id_and_bytes_again_change_nothing(asleep: Room) -> None:
    bench = asleep.join("Bench 1")
    photo_id = str(uuid.uuid4())
    first, second = send(bench, photo_id=photo_id), send(bench, photo_id=photo_id)
    assert (first.status_code, second.status_code) == (201, 200)
    assert first.json == second.json
    assert len(bench.get(f"{WORK}/photos").json) == 1


def test_same_id_with_other_bytes_is_refused(asleep: Room) -> None:
    bench = asleep.join("Bench 1")
    photo_id = str(uuid.uuid4())
    send(bench, b"one", photo_id=photo_id)
    answer = send(bench, b"other", photo_id=photo_id)
    assert answer.status_code == 409
    assert answer.json["error"]["code"] == "id-taken"
    assert answer.json["error"]["hint"]


def test_same_id_from_another_station_is_refused(asleep: Room) -> None:
    photo_id = str(uuid.uuid4())
    send(asleep.join("Bench 1"), photo_id=photo_id)
    other = asleep.join("Bench 2")
    assert send(other, photo_id=photo_id).status_code == 409
    assert other.get(f"{WORK}/photos").json == []


def test_who_has_not_joined_is_told_what_to_do(asleep: Room) -> None:
    stranger = asleep.app.test_client()
    for cookie in (None, "made-up"):
        if cookie:
            stranger.set_cookie("station", cookie)
        answer = send(stranger)
        assert answer.status_code == 403
        assert answer.json["error"]["code"] == "not-joined"
        assert "Join" in answer.json["error"]["hint"]
        assert stranger.get("/work").status_code == 403
        assert stranger.get(f"{WORK}/photos").status_code == 403
        assert stranger.post(f"{WORK}/photos", data={"photo": (io.BytesIO(b"x"), "x.jpg")}).status_code == 403


def test_closing_the_joining_does_not_stop_those_who_joined(asleep: Room) -> None:
    bench = asleep.join("Bench 1")
    with asleep.store.database.writing() as session:
        practicals.set_joining(session, asleep.practical, False, datetime.now(UTC) - timedelta(hours=1))
    assert send(bench).status_code == 201


def test_station_sends_no_more_than_its_share(room: Room) -> None:
    bench = room.join("Bench 1")
    first = str(uuid.uuid4())
    for n, photo_id in enumerate((first, str(uuid.uuid4()), str(uuid.uuid4()))):
        assert send(bench, b"%d" % n, photo_id=photo_id).status_code == 201
    answer = send(bench, b"one more")
    assert answer.status_code == 429
    assert answer.json["error"]["code"] == "station-full"
    assert send(bench, b"0", photo_id=first).status_code == 200, "a photo that is there already may be sent again"
    assert send(room.join("Bench 2"), b"another's").status_code == 201


def test_photo_beyond_the_limit_is_refused_and_not_kept(tmp_path: Path) -> None:
    room = open_room(tmp_path, start=False)
    small = replace(DEFAULTS, photo=replace(DEFAULTS.photo, max_bytes=1000))
    room.app.extensions["settings"] = small
    bench = room.join("Bench 1")
    answer = send(bench, b"x" * 1001)
    assert answer.status_code == 413
    assert answer.json["error"]["code"] == "too-large"
    assert send(bench, b"x" * 1000).status_code == 201
    assert len(list((tmp_path / "files").glob("*/*"))) == 1
    close_room(room)


def test_empty_photo_is_refused(asleep: Room) -> None:
    answer = send(asleep.join("Bench 1"), b"")
    assert answer.status_code == 400
    assert answer.json["error"]["code"] == "no-photo"


@pytest.mark.parametrize("name", ["Überblick 1.jpg", "a/b\\c.jpg", "x" * 500, "%", "\x00\x1b[31m.jpg"])
def test_names_are_tidied(asleep: Room, name: str) -> None:
    answer = send(asleep.join("Bench 1"), name=name)
    assert answer.status_code == 201
    shown = answer.json["name"]
    assert shown
    assert len(shown) <= DEFAULTS.web.name_length
    assert shown.isprintable()
    assert "/" not in shown


@pytest.mark.parametrize("bad", ["not-a-uuid", "../../etc/passwd", "1234"])
def test_id_has_to_be_a_uuid(asleep: Room, bad: str) -> None:
    assert send(asleep.join("Bench 1"), photo_id=bad).status_code == 404


def test_list_tells_states_newest_first(room: Room) -> None:
    bench = room.join("Bench 1")
    measured = send_and_wait(bench, "strip 1.jpg")
    send_and_wait(bench, "no-card.jpg")
    listed = bench.get(f"{WORK}/photos").json
    assert [photo["name"] for photo in listed] == ["no-card.jpg", "strip 1.jpg"]
    assert listed[0]["state"] == "refused"
    assert listed[0]["trouble"]["code"] == "no-card"
    assert listed[0]["address"] is None
    assert listed[1]["state"] == "measured"
    assert listed[1]["address"] == f"/results/{measured}"
    page = bench.get("/work").text
    assert "Leaf dyes" in page
    assert "Bench 1" in page
    assert "Photograph the whole card." in page
    assert f'href="/results/{measured}"' in page


def test_part_of_the_page_is_the_list_alone(room: Room) -> None:
    bench = room.join("Bench 1")
    send_and_wait(bench)
    part = bench.get("/work", headers={"X-Part": "photos"}).text
    assert "<html" not in part
    assert 'data-unfinished="0"' in part


def test_form_without_scripts_sends_several(room: Room) -> None:
    bench = room.join("Bench 1")
    data: dict[str, Any] = {"photo": [(io.BytesIO(b"one"), "one.jpg"), (io.BytesIO(b"two"), "two.jpg")]}
    answer = bench.post(f"{WORK}/photos", data=data)
    assert answer.status_code == 303
    assert answer.headers["Location"] == "/work"
    wait_until(lambda: finished(bench))
    assert {photo["name"] for photo in bench.get(f"{WORK}/photos").json} == {"one.jpg", "two.jpg"}


def test_empty_form_says_what_to_do(asleep: Room) -> None:
    answer = asleep.join("Bench 1").post(f"{WORK}/photos", data={})
    assert answer.status_code == 400
    assert "No photo was chosen." in answer.text


def test_one_station_never_sees_anothers(room: Room) -> None:
    mine, theirs = room.join("Bench 1"), room.join("Bench 2")
    send_and_wait(mine, "secret strip.jpg")
    assert theirs.get(f"{WORK}/photos").json == []
    assert "secret strip" not in theirs.get("/work").text


def test_foreign_pages_cannot_send(asleep: Room) -> None:
    bench = asleep.join("Bench 1")
    answer = bench.put(f"{WORK}/photos/{uuid.uuid4()}", data=b"x", headers={"Origin": "http://elsewhere.example"})
    assert answer.status_code == 403
    assert bench.get(f"{WORK}/photos").json == []
