"""The page of a result: what it shows, what corrections do to it, and who may see it."""

from __future__ import annotations

import io
import re
import uuid
from collections.abc import Iterator
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import jsonschema
import pytest
from flask.testing import FlaskClient
from PIL import Image

from tests.web.records import Room, close_room, measured, open_room, send_and_wait
from tests.web.room import Room as LeadRoom
from webcapture.flags import REGISTRY
from webcapture.measure.frame import strip_frame
from webcapture.report.export import schema
from webcapture.store.codec import loaded

PARTS = ("", ".json", "/picture.jpg", "/strip-1.jpg", "/profile-1-1.svg")


@pytest.fixture
def room(tmp_path: Path) -> Iterator[Room]:
    opened = open_room(tmp_path)
    yield opened
    close_room(opened)


@pytest.fixture
def bench(room: Room) -> FlaskClient:
    return room.join("Bench 1")


@pytest.fixture
def address(bench: FlaskClient) -> str:
    return f"/results/{send_and_wait(bench)}"


def numbers(bench: FlaskClient, address: str) -> Any:
    answer = bench.get(f"{address}.json")
    assert answer.status_code == 200
    return answer.json


def lane(bench: FlaskClient, address: str, bay: int = 1) -> Any:
    return numbers(bench, address)["strips"][bay - 1]["lanes"][0]


def fields(bench: FlaskClient, address: str, bay: int = 1, number: int = 1) -> dict[str, str]:
    """The form of a lane as it stands in the page."""
    form = re.search(rf'<form id="lane-{bay}-{number}".*?</form>', bench.get(address).text, re.DOTALL)
    assert form
    inputs = re.findall(r"<input[^>]*>", form[0])
    pairs = [
        (re.search(r'name="([^"]*)"', i), re.search(r' value="([^"]*)"', i)) for i in inputs if "checkbox" not in i
    ]
    return {name[1]: value[1] if value else "" for name, value in pairs if name}


def correct(bench: FlaskClient, address: str, bay: int = 1, **changed: str) -> Any:
    """Send the lane's form with these fields changed."""
    form = {**fields(bench, address, bay), **{name.replace("_", "-"): value for name, value in changed.items()}}
    return bench.post(f"{address}/lanes/{bay}-1", data=form)


# --- what it shows


def test_page_shows_every_strip_with_rf_and_its_uncertainty(bench: FlaskClient, address: str) -> None:
    page = bench.get(address).text
    strips = loaded(measured().result).strips
    assert page.count('<article class="result strip"') == len(strips) == 6
    for strip in strips:
        for spot in strip.lanes[0].spots:
            assert spot.rf is not None
            assert f"{spot.rf:.2f} ± 0.0" in page
            assert spot.colour in page
    assert "JCGM 100:2008" in page
    assert 'style="' not in page
    assert "<style" not in page
    assert "<script>" not in page


def test_what_the_practical_has_on_the_strip_stands_over_it(bench: FlaskClient, address: str) -> None:
    page = bench.get(address).text
    assert "Bay 1: Unknown A" in page
    assert "Bay 2: Unknown A" not in page


def test_numbers_are_the_contracts(bench: FlaskClient, address: str) -> None:
    found = numbers(bench, address)
    jsonschema.validate([found], schema())
    assert found["rf_follows"] == "centre"
    assert len(found["strips"]) == 6


def test_pictures_are_pictures(bench: FlaskClient, address: str) -> None:
    for part in ("/picture.jpg", "/strip-1.jpg"):
        answer = bench.get(address + part)
        assert answer.content_type == "image/jpeg"
        with Image.open(io.BytesIO(answer.data)) as picture:
            assert picture.format == "JPEG"
            assert not picture.getexif()


def test_strip_is_cut_out_upright_and_to_scale(bench: FlaskClient, address: str) -> None:
    """The spot's colour lies where the marks say it does: at its place along the cut-out strip."""
    strip = loaded(measured().result).strips[0]
    frame, spot = strip_frame(strip), strip.lanes[0].spots[-1]
    with Image.open(io.BytesIO(bench.get(f"{address}/strip-1.jpg").data)) as picture:
        scale = picture.height / (frame.length + 6)
        assert picture.width / (frame.width + 6) == pytest.approx(scale, rel=0.02)
        s, t = frame.on_strip(spot.position_mm)
        at = picture.getpixel((int((t + 3) * scale), int((frame.length + 3 - s) * scale)))
        beside = picture.getpixel((int((t + 3) * scale), int((frame.length + 3 - s - 12) * scale)))
    assert isinstance(at, tuple)
    assert isinstance(beside, tuple)
    assert sum(beside) - sum(at) > 60, "the spot is darker than the paper 12 mm above it"


def test_profile_is_svg_with_three_curves_and_nothing_that_runs(bench: FlaskClient, address: str) -> None:
    answer = bench.get(f"{address}/profile-1-1.svg")
    assert answer.content_type.startswith("image/svg+xml")
    root = ElementTree.fromstring(answer.data)
    names = [element.tag.split("}")[1] for element in root.iter()]
    assert names.count("polyline") == 3
    assert {"script", "style"} & set(names) == set()
    words = [element.text for element in root.iter() if element.tag.endswith("text")]
    spots = loaded(measured().result).strips[0].lanes[0].spots
    assert {"origin", "front", *(str(spot.spot) for spot in spots)} <= set(words)


@pytest.mark.parametrize("part", ["/strip-9.jpg", "/profile-1-9.svg", "/profile-9-1.svg"])
def test_what_is_not_on_the_photo_is_not_found(bench: FlaskClient, address: str, part: str) -> None:
    assert bench.get(address + part).status_code == 404


def test_card_without_strips_is_shown_with_its_advice(bench: FlaskClient) -> None:
    address = f"/results/{send_and_wait(bench, 'empty-card.jpg')}"
    page = bench.get(address).text
    assert REGISTRY["no-strip"].advice in page
    assert "There is no strip on this photo." in page
    assert bench.get(f"{address}/picture.jpg").content_type == "image/jpeg"
    assert numbers(bench, address)["strips"] == []
    assert bench.post(f"{address}/follow", data={"follow": "densest"}).status_code == 303


def test_unmeasured_photo_has_no_result(bench: FlaskClient) -> None:
    assert bench.get(f"/results/{send_and_wait(bench, 'no-card.jpg')}").status_code == 404


# --- who may see it


def posts(address: str) -> list[tuple[str, dict[str, str]]]:
    return [
        (f"{address}/lanes/1-1", {"origin": "25"}),
        (f"{address}/follow", {"follow": "densest"}),
        (f"{address}/ends/1", {"ends": "turn"}),
        (f"{address}/undo", {"correction": "1"}),
    ]


def test_every_address_is_nothing_to_others(room: Room, bench: FlaskClient, address: str) -> None:
    correct(bench, address, origin="21")
    before = numbers(bench, address)
    no_cookie, wrong = room.app.test_client(), room.app.test_client()
    wrong.set_cookie("station", "made-up")
    wrong.set_cookie("lead", "made-up")
    for stranger in (room.join("Bench 2"), no_cookie, wrong):
        for part in PARTS:
            assert stranger.get(address + part).status_code == 404, part
        for target, data in posts(address):
            assert stranger.post(target, data=data).status_code == 404, target
    assert numbers(bench, address) == before


def test_every_route_was_tried(room: Room) -> None:
    """An address that is added later has to be added to the test above."""
    routes = {rule.endpoint for rule in room.app.url_map.iter_rules() if rule.endpoint.startswith("results.")}
    assert routes == {
        f"results.{n}" for n in ("show", "numbers", "picture", "strip", "profile", "correct", "follow", "ends", "undo")
    }


def test_lead_opens_and_corrects_any(room: Room, bench: FlaskClient, address: str) -> None:
    lead = room.lead()
    for part in PARTS:
        assert lead.get(address + part).status_code == 200, part
    assert correct(lead, address, origin="21").status_code == 303
    assert ", lead" in bench.get(address).text


def test_result_that_does_not_exist_is_not_found(room: Room, bench: FlaskClient) -> None:
    for part in PARTS:
        assert bench.get(f"/results/{uuid.uuid4()}{part}").status_code == 404
        assert room.lead().get(f"/results/{uuid.uuid4()}{part}").status_code == 404


# --- corrections


def test_unchanged_form_changes_nothing(bench: FlaskClient, address: str) -> None:
    before = numbers(bench, address)
    assert correct(bench, address).status_code == 303
    assert numbers(bench, address) == before
    assert "Take back" not in bench.get(address).text


def test_moved_spot_follows_the_formula(bench: FlaskClient, address: str) -> None:
    """Rf is distance over run (IUPAC Gold Book R05353): two millimetres more are 2 / run."""
    before = lane(bench, address)
    key = before["spots"][0]["spot"]
    old = float(fields(bench, address)[f"spot-{key}"])
    correct(bench, address, **{f"spot_{key}": f"{old + 2:.2f}"})
    after = lane(bench, address)
    moved = after["spots"][0]
    # Both ratios are rounded to four decimals, and the place that was typed to hundredths of a millimetre.
    rounding = 2 * 0.00005 + 0.005 / before["run_mm"]
    assert moved["rf"] == pytest.approx(before["spots"][0]["rf"] + 2 / before["run_mm"], abs=rounding)
    assert [flag["code"] for flag in moved["flags"]] == ["by-hand"]
    assert moved["U_rf"] > before["spots"][0]["U_rf"]
    assert after["spots"][1:] == before["spots"][1:]
    assert "by hand" in bench.get(address).text


def test_moved_front_changes_every_rf(bench: FlaskClient, address: str) -> None:
    before = lane(bench, address)
    correct(bench, address, front=f"{float(fields(bench, address)['front']) + 5:.2f}")
    after = lane(bench, address)
    assert after["run_mm"] == pytest.approx(before["run_mm"] + 5, abs=0.02)
    for one, other in zip(before["spots"], after["spots"], strict=True):
        assert other["rf"] == pytest.approx(one["distance_mm"] / after["run_mm"], abs=2e-4)


def test_stepper_moves_by_its_step(bench: FlaskClient, address: str) -> None:
    before = float(fields(bench, address)["origin"])
    correct(bench, address, step="origin:-0.5")
    assert float(fields(bench, address)["origin"]) == pytest.approx(before - 0.5, abs=0.006)


def test_spot_is_added_and_removed(bench: FlaskClient, address: str) -> None:
    count = len(lane(bench, address)["spots"])
    free = float(fields(bench, address)["front"]) - 4
    correct(bench, address, add=f"{free:.1f}")
    spots = lane(bench, address)["spots"]
    assert len(spots) == count + 1
    assert "by-hand" in [flag["code"] for flag in spots[-1]["flags"]]
    assert spots[-1]["U_rf"] > 0
    keys = [name[5:] for name in fields(bench, address) if name.startswith("spot-")]
    correct(bench, address, remove=keys[-1])
    assert len(lane(bench, address)["spots"]) == count


def test_lane_is_named(bench: FlaskClient, address: str) -> None:
    correct(bench, address, label="  Fern <b>extract</b> ")
    page = bench.get(address).text
    assert "Bay 1: Fern &lt;b&gt;extract&lt;/b&gt;" in page
    assert "<b>extract" not in page


def test_rf_can_follow_the_densest_place(bench: FlaskClient, address: str) -> None:
    before = lane(bench, address)
    assert bench.post(f"{address}/follow", data={"follow": "densest"}).status_code == 303
    found = numbers(bench, address)
    assert found["rf_follows"] == "densest"
    for one, other in zip(before["spots"], found["strips"][0]["lanes"][0]["spots"], strict=True):
        assert other["rf"] == pytest.approx(one["densest_distance_mm"] / before["run_mm"], abs=2e-4)
    bench.post(f"{address}/follow", data={"follow": "centre"})
    assert lane(bench, address) == before


def test_a_strip_is_turned_by_hand_and_back(bench: FlaskClient, address: str) -> None:
    """Distances from the one line and from the other add up to the run, so Rf and Rf turned add up to 1."""
    before = lane(bench, address)
    assert bench.post(f"{address}/ends/1", data={"ends": "turn"}).status_code == 303
    turned = lane(bench, address)
    assert (turned["origin_mm"], turned["front_mm"]) == (before["front_mm"], before["origin_mm"])
    wanted = [1 - spot["rf"] for spot in reversed(before["spots"])]
    assert [spot["rf"] for spot in turned["spots"]] == pytest.approx(wanted, abs=2e-4)
    page = bench.get(address).text
    assert "The strip in bay 1 turned: its origin is at the other end" in page
    assert REGISTRY["upside-down"].text in page
    number = re.search(r'name="correction" value="(\d+)"', page)
    assert number
    bench.post(f"{address}/undo", data={"correction": number[1]})
    assert lane(bench, address) == before


def test_a_page_from_before_the_turn_changes_nothing(bench: FlaskClient, address: str) -> None:
    """Its places are told from the other end; so is a second press of the button."""
    old = fields(bench, address)
    bench.post(f"{address}/ends/1", data={"ends": "turn", "turned": "0"})
    turned = numbers(bench, address)
    late = bench.post(f"{address}/lanes/1-1", data={"turned": "0", "was-front": old["front"], "front": "99"})
    again = bench.post(f"{address}/ends/1", data={"ends": "turn", "turned": "0"})
    assert (late.status_code, again.status_code) == (400, 400)
    assert "This strip has been turned meanwhile." in late.text
    assert numbers(bench, address) == turned


@pytest.mark.parametrize("said", ["", "sideways"])
def test_an_end_that_is_neither_is_refused(bench: FlaskClient, address: str, said: str) -> None:
    before = numbers(bench, address)
    answer = bench.post(f"{address}/ends/1", data={"ends": said})
    assert answer.status_code == 400
    assert "Choose one of the two." in answer.text
    assert numbers(bench, address) == before


def test_history_tells_and_undo_restores(bench: FlaskClient, address: str) -> None:
    before = numbers(bench, address)
    correct(bench, address, origin="22.5")
    page = bench.get(address).text
    assert "Origin of lane 1 in bay 1 to 22.5 mm" in page
    assert ", Bench 1" in page
    number = re.search(r'name="correction" value="(\d+)"', page)
    assert number
    assert bench.post(f"{address}/undo", data={"correction": number[1]}).status_code == 303
    assert numbers(bench, address) == before
    page = bench.get(address).text
    assert "taken back by Bench 1" in page
    assert 'name="correction"' not in page
    assert "Origin of lane 1 in bay 1 to 22.5 mm" in page


def test_undoing_another_photos_correction_does_nothing(bench: FlaskClient, address: str) -> None:
    correct(bench, address, origin="22.5")
    number = re.search(r'name="correction" value="(\d+)"', bench.get(address).text)
    assert number
    other = f"/results/{send_and_wait(bench, 'strip 2.jpg')}"
    bench.post(f"{other}/undo", data={"correction": number[1]})
    assert "taken back by" not in bench.get(address).text


def test_undoing_what_others_build_on_leaves_those_without_effect(bench: FlaskClient, address: str) -> None:
    before = numbers(bench, address)
    correct(bench, address, add=f"{float(fields(bench, address)['front']) - 4:.1f}")
    key = next(reversed([name for name in fields(bench, address) if name.startswith("spot-")]))
    place = float(fields(bench, address)[key])
    correct(bench, address, **{key.replace("-", "_", 1): f"{place - 1:.2f}"})
    first = re.findall(r'name="correction" value="(\d+)"', bench.get(address).text)[-1]
    bench.post(f"{address}/undo", data={"correction": first})
    assert numbers(bench, address) == before
    assert "without effect" in bench.get(address).text


@pytest.mark.parametrize(
    ("changed", "words"),
    [
        ({"origin": "200"}, "not on the strip"),
        ({"front": "1"}, "above the origin"),
        ({"origin": "twenty"}, "no number"),
        ({"origin": "nan"}, "no number"),
        ({"add": "inf"}, "no number"),
        ({"remove": "made-up"}, "not there any more"),
    ],
)
def test_what_fits_nothing_is_refused_and_changes_nothing(
    bench: FlaskClient, address: str, changed: dict[str, str], words: str
) -> None:
    before = numbers(bench, address)
    answer = correct(bench, address, **changed)
    assert answer.status_code == 400
    assert words in answer.text
    assert numbers(bench, address) == before
    assert "Take back" not in bench.get(address).text


def test_of_several_changes_all_or_none_are_kept(bench: FlaskClient, address: str) -> None:
    before = numbers(bench, address)
    assert correct(bench, address, origin="21.5", add="900").status_code == 400
    assert numbers(bench, address) == before


def test_form_of_an_older_page_takes_nothing_back_that_another_corrected(
    room: Room, bench: FlaskClient, address: str
) -> None:
    older = fields(bench, address)
    correct(room.lead(), address, front=f"{float(older['front']) + 3:.2f}", label="Named by the lead")
    moved = f"{float(older['origin']) + 1:.2f}"
    assert bench.post(f"{address}/lanes/1-1", data={**older, "origin": moved}).status_code == 303
    now = fields(bench, address)
    assert now["origin"] == moved
    assert float(now["front"]) == pytest.approx(float(older["front"]) + 3, abs=0.011)
    assert now["label"] == "Named by the lead"


def test_comma_is_a_decimal_point_too(bench: FlaskClient, address: str) -> None:
    correct(bench, address, origin="21,5")
    assert fields(bench, address)["origin"] == "21.50"


@pytest.mark.parametrize("number", ["", "x", "0", "²", "9" * 40, "-1"])
def test_nonsense_to_take_back_does_nothing(bench: FlaskClient, address: str, number: str) -> None:
    assert bench.post(f"{address}/undo", data={"correction": number}).status_code == 303


def test_script_gets_the_part_only(bench: FlaskClient, address: str) -> None:
    answer = bench.post(f"{address}/follow", data={"follow": "densest"}, headers={"X-Part": "result"})
    assert answer.status_code == 200
    assert "<html" not in answer.text
    assert 'class="whole"' in answer.text


def test_pictures_follow_corrections(bench: FlaskClient, address: str) -> None:
    before = bench.get(f"{address}/picture.jpg").data, bench.get(f"{address}/profile-1-1.svg").data
    correct(bench, address, front=f"{float(fields(bench, address)['front']) + 5:.2f}")
    after = bench.get(f"{address}/picture.jpg").data, bench.get(f"{address}/profile-1-1.svg").data
    assert before[0] != after[0]
    assert before[1] != after[1]


def test_foreign_pages_cannot_correct(bench: FlaskClient, address: str) -> None:
    for target, data in posts(address):
        answer = bench.post(target, data=data, headers={"Origin": "http://elsewhere.example"})
        assert answer.status_code == 403


def test_an_unchanged_picture_is_not_drawn_again(
    bench: FlaskClient, address: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    first = bench.get(f"{address}/picture.jpg")
    monkeypatch.setattr("webcapture.annotated_jpeg", lambda result: pytest.fail("drawn again"), raising=False)
    again = bench.get(f"{address}/picture.jpg", headers={"If-None-Match": first.headers["ETag"]})
    assert (again.status_code, again.data) == (304, b"")
    assert again.headers["ETag"] == first.headers["ETag"]
    monkeypatch.undo()
    bench.post(f"{address}/lanes/1-1", data={"front": "100"})
    changed = bench.get(f"{address}/picture.jpg", headers={"If-None-Match": first.headers["ETag"]})
    assert changed.status_code == 200
    assert changed.data != first.data


def test_the_page_says_what_the_lane_is_consistent_with_and_never_more(tmp_path: Path) -> None:
    room = LeadRoom(tmp_path / "named")
    practical = room.practical()
    station, token = room.station(practical, "Owl")
    client = room.station_client(token)
    page = client.get(f"/results/{room.measured(station, (0.4,), (0.4,))}").text
    assert "Consistent with Saffron yellow." in page  # the reference lane beside
    assert "necessary, not sufficient" in page
    other = client.get(f"/results/{room.measured(station, (0.4,), (0.7,))}").text
    assert "Consistent with" not in other
    assert "No set of references accounts for all spots." in other
    assert "Spot 1: " in other
    assert "pure" not in page + other
    room.store.close()
