"""Two strips in one bay, as pages and files show them: each its own picture, numbers, form and history."""

from __future__ import annotations

import csv
import io
import re
from collections import Counter
from collections.abc import Iterator
from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import Any

import jsonschema
import pytest
from flask.testing import FlaskClient

from tests.pairs import photographed
from tests.report.factory import SpotSpec, StripSpec, make_result
from tests.web.records import Room, close_room, open_room, send_and_wait
from tests.web.room import Room as LeadRoom
from webcapture.report.export import as_dict, schema
from webcapture.settings import DEFAULTS
from webcapture.store import corrections, photos
from webcapture.store.own_runs import Place, accepted_runs
from webcapture.store.records import LaneRole, PracticalInfo
from webcapture.web import WebConfig, create_app
from webcapture.web.contexts import photo_view
from webcapture.web.foreman import Done, measure
from webcapture.web.measuring import Shown


@cache
def done(layout: str) -> Done:
    """A photo's result, measured once for all tests."""
    found = measure(photographed(layout).data, "two.jpg", DEFAULTS)
    assert isinstance(found, Done)
    return found


@pytest.fixture(params=["sheet", "tray"])
def room(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Room]:
    opened = open_room(tmp_path, work=lambda data, name, settings: done(request.param))
    yield opened
    close_room(opened)


@pytest.fixture
def bench(room: Room) -> FlaskClient:
    return room.join("Bench 1")


@pytest.fixture
def address(bench: FlaskClient) -> str:
    return f"/results/{send_and_wait(bench)}"


@pytest.fixture
def bay(bench: FlaskClient, address: str) -> int:
    """The bay with two strips."""
    return int(strips(bench, address)[0]["bay"])


def strips(bench: FlaskClient, address: str) -> Any:
    found = bench.get(f"{address}.json").json
    jsonschema.validate([found], schema())
    return found["strips"]


def form_of(page: str, name: str) -> dict[str, str]:
    (form,) = re.findall(rf'<form id="{name}".*?</form>', page, re.DOTALL)
    inputs = [dict(re.findall(r'(name|value)="([^"]*)"', i)) for i in re.findall(r"<input[^>]*>", form)]
    action = re.search(r'action="([^"]*)"', form)
    assert action
    return {"action": action[1]} | {i["name"]: i.get("value", "") for i in inputs if i["name"] != "only"}


def send_form(bench: FlaskClient, page: str, name: str, **changed: str) -> Any:
    fields = form_of(page, name) | changed
    return bench.post(fields.pop("action"), data=fields)


# --- the result's page


def test_nothing_of_the_page_is_there_twice(bench: FlaskClient, address: str) -> None:
    page = bench.get(address).text
    ids = Counter(re.findall(r'\sid="([^"]*)"', page))
    assert set(ids.values()) == {1}
    for what in (r'src="([^"]*profile[^"]*)"', r'href="([^"]*strip-[^"]*)"', r'action="([^"]*/(?:lanes|ends)/[^"]*)"'):
        found = re.findall(what, page)
        assert len(found) >= 2 and len(set(found)) == len(found)
    assert set(re.findall(r'aria-labelledby="([^"]*)"', page)) <= set(ids)


def test_each_strip_is_named_in_words(bench: FlaskClient, address: str, bay: int) -> None:
    page = bench.get(address).text
    for number in (1, 2):
        assert f"Bay {bay}, strip {number}</h2>" in page
        assert f'aria-label="Spots, Bay {bay}, strip {number}"' in page
        assert f"Correct lane {number}</summary>" in page
        assert f">{number}.1" in page, "a spot with its lane's number"


def test_no_number_of_a_spot_runs_out_of_a_narrow_picture(bench: FlaskClient, address: str) -> None:
    """“1.2” cut off behind its point would be another number. Bold figures are 3.6 mm high and about six tenths of that wide."""
    pictures = re.findall(r'<svg class="marks".*?</svg>', bench.get(address).text, re.S)
    assert len(pictures) >= 2
    for picture in pictures:
        width = float(re.findall(r'viewBox="0 0 ([\d.]+)', picture)[0])
        numbers = re.findall(r'<text x="([\d.]+)"[^>]*?( text-anchor="end")?>([\d.]+)</text>', picture)
        assert numbers
        for x, ends_there, number in numbers:
            assert float(x) + (0 if ends_there else 0.6 * 3.6 * len(number)) <= width


def test_each_strip_has_its_own_picture_and_profile(bench: FlaskClient, address: str, bay: int) -> None:
    for part in (f"strip-{bay}{{}}.jpg", f"profile-{bay}-{{}}.svg"):
        first, second = ("", "-2") if part.startswith("strip") else ("1", "2")
        one, other = (bench.get(f"{address}/{part.format(number)}") for number in (first, second))
        assert (one.status_code, other.status_code) == (200, 200)
        assert one.data != other.data
    for lost in (f"strip-{bay}-3.jpg", f"strip-{bay}-1.jpg", f"profile-{bay}-3.svg", "strip-x.jpg"):
        assert bench.get(f"{address}/{lost}").status_code == 404


@pytest.mark.parametrize("number", [1, 2])
def test_the_form_of_a_strip_moves_its_own_front_alone(bench: FlaskClient, address: str, bay: int, number: int) -> None:
    page, before = bench.get(address).text, strips(bench, address)
    assert send_form(bench, page, f"lane-{bay}-{number}", front="104.00").status_code == 303
    now = strips(bench, address)
    changed = [one["bay"] == bay and one["strip"] == number for one in now]
    assert [one != other for one, other in zip(now, before, strict=True)] == changed
    assert now[number - 1]["lanes"][0]["run_mm"] != before[number - 1]["lanes"][0]["run_mm"]
    assert f"Front of lane {number} in bay {bay} to 104.0 mm" in bench.get(address).text
    assert bench.post(f"{address}/undo", data={"correction": "1"}).status_code == 303
    assert strips(bench, address) == before


def test_only_the_strip_that_is_turned_turns(bench: FlaskClient, address: str, bay: int) -> None:
    page, before = bench.get(address).text, strips(bench, address)
    assert send_form(bench, page, f"ends-{bay}-2", ends="turn").status_code == 303
    now = strips(bench, address)
    assert [one["upright"] for one in now] == [True, False, True][: len(now)]
    assert now[0] == before[0] and now[1]["lanes"][0]["lane"] == 2
    page = bench.get(address).text
    assert f"Strip 2 in bay {bay} turned: its origin is at the other end" in page
    assert f"strip-{bay}.jpg?turned=0" in page and f"strip-{bay}-2.jpg?turned=1" in page


def test_a_name_by_hand_belongs_to_one_strip(bench: FlaskClient, address: str, bay: int) -> None:
    assert send_form(bench, bench.get(address).text, f"lane-{bay}-2", label="Marl red").status_code == 303
    page = bench.get(address).text
    assert f"Bay {bay}, strip 2: Marl red</h2>" in page and f"Bay {bay}, strip 1</h2>" in page


def test_what_rf_follows_is_chosen_for_both(bench: FlaskClient, address: str) -> None:
    assert bench.post(f"{address}/follow", data={"follow": "densest"}).status_code == 303
    assert bench.get(f"{address}.json").json["rf_follows"] == "densest"


def test_corrections_from_before_strips_were_told_apart_mean_the_first(
    room: Room, bench: FlaskClient, address: str, bay: int
) -> None:
    """They stay valid, and one that fits nothing any more still says so."""
    before = strips(bench, address)
    old = {"bay": bay, "lane": 1, "key": None, "s_mm": 104.0, "only": False, "label": None, "turned": False}
    with room.store.database.writing() as session:
        (photo,) = photos.of_practical(session, room.practical)
        for change in ({**old, "kind": "front"}, {**old, "kind": "spot", "key": "gone"}):
            corrections.add(session, photo.id, change, "Bench 1", photo.received_at)
    now = strips(bench, address)
    assert now[0] != before[0] and now[1:] == before[1:]
    assert bench.get(address).text.count("without effect") == 1


# --- names by the plan, the room and its files

LANES = tuple(LaneRole(n, *one) for n, one in enumerate((("reference", "Marl red"), ("sample", "Vat 7")), 1))
SIDE_BY_SIDE = (StripSpec(lanes=((SpotSpec(0.4),),)), StripSpec(lanes=((SpotSpec(0.6),),), left_mm=60.0))


@pytest.fixture
def lead_room(tmp_path: Path) -> Iterator[LeadRoom]:
    made = LeadRoom(tmp_path)
    made.set_passphrase()
    yield made
    made.store.close()


def keep(
    room: LeadRoom, *specs: StripSpec, layout: str, lanes: tuple[LaneRole, ...] = LANES
) -> tuple[PracticalInfo, FlaskClient, str]:
    """(practical, the station's client, its photo) of a photo with those strips."""
    one = room.practical(lanes=lanes, layout=layout)
    station, token = room.station(one, "Bench 1")
    return one, room.station_client(token), room.kept(station, make_result(*specs, layout=layout))


def test_strips_side_by_side_on_a_sheet_card_are_named_by_the_plans_lanes(lead_room: LeadRoom) -> None:
    one, bench, photo = keep(lead_room, *SIDE_BY_SIDE, layout="sheet")
    page = bench.get(f"/results/{photo}").text
    assert "Bay 1, strip 1: Marl red</h2>" in page and "Bay 1, strip 2: Vat 7</h2>" in page
    assert "Another number of lanes was seen" not in page
    assert "<h3>Lane 2: Vat 7</h3>" in page
    rows = list(
        csv.DictReader(io.StringIO(lead_room.lead().get(f"/lead/practicals/{one.id}/spots.csv").text.lstrip("\ufeff")))
    )
    assert [(row["bay"], row["strip"], row["lane"], row["spot"], row["label"]) for row in rows] == [
        ("1", "1", "1", "1", "Marl red"), ("1", "2", "2", "1", "Vat 7"),
    ]  # fmt: skip


def test_another_number_of_lanes_than_planned_is_said_once_more(lead_room: LeadRoom) -> None:
    _, bench, photo = keep(lead_room, *SIDE_BY_SIDE, replace(SIDE_BY_SIDE[1], left_mm=100.0), layout="sheet")
    page = bench.get(f"/results/{photo}").text
    assert "Another number of lanes was seen" in page
    assert "Marl red</h2>" not in page and "Vat 7</h2>" not in page


def test_two_strips_in_a_bay_of_the_tray_have_no_planned_name(lead_room: LeadRoom) -> None:
    narrow = [replace(one, width_mm=10.0) for one in SIDE_BY_SIDE]
    _, bench, photo = keep(lead_room, *narrow, replace(narrow[0], bay=2), layout="tray")
    page = bench.get(f"/results/{photo}").text
    assert "Bay 1, strip 1</h2>" in page and "Bay 1, strip 2</h2>" in page and "Bay 2: Vat 7</h2>" in page
    assert page.count("Another strip lies in the same bay, or reaches into it.") == 2
    assert "Marl red</h2>" not in page
    named = bench.get(f"/results/{photo}.json").json["names"]["lanes"]
    assert [(lane["strip"], lane["role"], lane["label"]) for lane in named] == [
        (1, "sample", ""), (2, "sample", ""), (1, "sample", "Vat 7"),
    ]  # fmt: skip
    assert "<h3>Bay 1, strip 2</h3>" in page


def test_own_values_know_the_strip(lead_room: LeadRoom) -> None:
    """The second strip of a bay is a sheet of its own: it shares no run with the first."""
    lanes = (LaneRole(1, "sample", "Vat 7"), LaneRole(2, "reference", "Marl red"))
    one, _, photo = keep(lead_room, *SIDE_BY_SIDE, layout="sheet", lanes=lanes)
    lead, address = lead_room.lead(), f"/lead/practicals/{one.id}/own-runs"
    (box,) = re.findall(r'name="spot" value="([^"]+)"', lead.get(address).text)
    assert lead.post(address, data={"spot": box}).status_code == 303
    with lead_room.store.database.reading() as session:
        (run,) = accepted_runs(session)
    assert run.place == Place(photo, 1, 2, 1, strip=2)
    assert (run.run.sheet, run.run.rf) == (f"{photo}:1-2", 0.6)
    assert re.findall(r'name="spot" value="', lead.get(address).text) == [], "it counts, and is not offered again"


# --- the start page


def test_the_start_page_tells_strips_of_one_bay_apart() -> None:
    entry = as_dict(make_result(*SIDE_BY_SIDE, replace(SIDE_BY_SIDE[0], bay=4), layout="tray"))
    entry["strips"][1]["lanes"][0]["flags"] = entry["strips"][1]["flags"]
    with create_app(WebConfig()).test_request_context():
        view = photo_view(Shown(entry, None))
    assert [(group.title, [row.label for row in group.rows]) for group in view.groups] == [
        ("Bay 1, strip 1", ["1.1"]), ("Bay 1, strip 2", ["2.1"]), ("Bay 4", ["1"]),
    ]  # fmt: skip
    assert [note.places for note in view.strip_notes] == [("bay 1 strip 1", "bay 1 strip 2", "bay 1 lane 2")]
    assert view.lanes_told
