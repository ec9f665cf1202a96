"""Joining by code."""

from __future__ import annotations

from datetime import timedelta
from pathlib import Path

import pytest

from tests.web.room import Room
from webcapture.settings import DEFAULTS
from webcapture.store import practicals, stations
from webcapture.store.records import PracticalInfo


@pytest.fixture
def room(tmp_path: Path) -> Room:
    return Room(tmp_path)


def labels(room: Room, practical: PracticalInfo) -> list[str]:
    with room.store.database.reading() as session:
        return [one.label for one in stations.of_practical(session, practical.id)]


@pytest.mark.parametrize("typed", ["{0}", " {0} ", "{1}", "{2}"])
def test_code_in_any_case_and_spacing(room: Room, typed: str) -> None:
    practical = room.practical()
    code = practical.join_code
    client = room.app.test_client()
    answer = client.post("/join", data={"code": typed.format(code, code.lower(), f"{code[:3]} - {code[3:]}")})
    assert (answer.status_code, answer.location) == (303, f"/join/{code}")
    page = client.get(answer.location)
    assert page.status_code == 200
    assert practical.plan.title in page.text


def test_joining_gives_the_cookie_and_leads_to_the_work(room: Room) -> None:
    practical = room.practical()
    client = room.app.test_client()
    answer = client.post(f"/join/{practical.join_code.lower()}", data={"label": "  Bench   7 "})
    assert (answer.status_code, answer.location) == (303, "/work")
    cookie = answer.headers["Set-Cookie"]
    assert "HttpOnly" in cookie
    assert "SameSite=Lax" in cookie
    assert labels(room, practical) == ["Bench 7"]
    assert "Bench 7" in client.get("/work").text
    assert "Go on as Bench 7" in client.get(f"/join/{practical.join_code}").text


def test_empty_labels_get_the_next_free_number(room: Room) -> None:
    practical = room.practical()
    for label in ("", "Station 3", "", " "):
        room.app.test_client().post(f"/join/{practical.join_code}", data={"label": label})
        room.clock.at += timedelta(seconds=1)
    assert labels(room, practical) == ["Station 1", "Station 3", "Station 2", "Station 4"]


def test_the_same_label_twice_gets_a_number(room: Room) -> None:
    practical = room.practical()
    for _ in range(2):
        room.app.test_client().post(f"/join/{practical.join_code}", data={"label": "Owl"})
        room.clock.at += timedelta(seconds=1)
    assert labels(room, practical) == ["Owl", "Owl (2)"]


def test_long_and_strange_labels(room: Room) -> None:
    practical = room.practical()
    client = room.app.test_client()
    long = "x" * (DEFAULTS.room.label_length + 1)
    answer = client.post(f"/join/{practical.join_code}", data={"label": long})
    assert answer.status_code == 400
    assert long in answer.text
    client.post(f"/join/{practical.join_code}", data={"label": "<b>\u202e\x00Owl"})
    assert labels(room, practical) == ["<b> Owl"]
    assert "<b> Owl" not in client.get("/work").text


def test_wrong_code_is_told_and_counted_over_all_devices(room: Room) -> None:
    practical = room.practical()
    wrong = "AAAAAA" if practical.join_code != "AAAAAA" else "BBBBBB"
    for n in range(DEFAULTS.room.guesses):
        client = room.app.test_client()
        answer = client.post("/join", data={"code": wrong}) if n % 2 else client.get(f"/join/{wrong}")
        assert answer.status_code == 404
        assert "No practical has this code" in answer.text
    right = room.app.test_client().get(f"/join/{practical.join_code}")
    assert right.status_code == 429
    assert "Wait 10 minutes" in right.text
    assert practical.plan.title not in right.text
    assert room.app.test_client().post(f"/join/{practical.join_code}", data={"label": "a"}).status_code == 429
    assert labels(room, practical) == []
    room.clock.at += timedelta(seconds=DEFAULTS.room.guess_window_s + 1)
    assert room.app.test_client().get(f"/join/{practical.join_code}").status_code == 200


def test_right_codes_and_empty_ones_are_not_counted(room: Room) -> None:
    practical = room.practical()
    client = room.app.test_client()
    for _ in range(DEFAULTS.room.guesses + 1):
        assert client.post("/join", data={"code": " - "}).status_code == 400
        assert client.get(f"/join/{practical.join_code}").status_code == 200


def test_closed_and_expired_are_said_plainly(room: Room) -> None:
    practical = room.practical()
    with room.store.database.writing() as session:
        practicals.set_joining(session, practical.id, False, practical.join_until)
    client = room.app.test_client()
    answer = client.post(f"/join/{practical.join_code}", data={"label": "Owl"})
    assert answer.status_code == 403
    assert "Joining is closed" in answer.text
    with room.store.database.writing() as session:
        practicals.set_joining(session, practical.id, True, practical.join_until)
    room.clock.at = practical.join_until
    answer = client.post(f"/join/{practical.join_code}", data={"label": "Owl"})
    assert answer.status_code == 403
    assert "has expired" in answer.text
    assert labels(room, practical) == []


def test_start_page_leads_to_joining(room: Room) -> None:
    assert 'href="/join"' in room.app.test_client().get("/").text
