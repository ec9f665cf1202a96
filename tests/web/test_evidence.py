"""The page of evidence over HTTP: which runs it takes, what it says of them, and the same as JSON and CSV."""

from __future__ import annotations

import csv
import io
import re
from pathlib import Path
from typing import Any
from urllib.parse import urlencode

import pytest

from tests.web.room import Room
from tests.yardstick import yardsticks
from webcapture.reference.library import Library, Value
from webcapture.reference.method import method_of
from webcapture.store.records import LaneRole, PracticalInfo
from webcapture.web import library as shelves

WATER, ETHANOL, MIXED = "water", "ethanol", "water : ethanol 1 : 1"
PAPER = "filter paper"
KNOWN = {
    "Ash grey": (0.3, 0.7, 0.5),
    "Bark brown": (0.3, 0.2, 0.8),
    "Clay red": (0.8, 0.7, 0.5),
    "Dew": (None, None, 0.2),
}
A = LaneRole(1, "sample", "Unknown A")


@pytest.fixture
def room(tmp_path: Path) -> Room:
    made = Room(tmp_path)
    made.set_passphrase()
    values = [
        Value(name, method_of(phase, PAPER, 21.0), rf, "invented", "invented for a test", sd=0.02, n=9)
        for name, rfs in KNOWN.items()
        for phase, rf in zip((WATER, ETHANOL, MIXED), rfs, strict=True)
        if rf is not None
    ]
    with made.app.test_request_context():
        shelves.add(values)
    return made


def ran(room: Room, phase: str, *rfs: float, lanes: tuple[LaneRole, ...] = (A,), title: str = "") -> PracticalInfo:
    """A practical under that mobile phase with a station for each Rf."""
    practical = room.practical(title or f"Run in {phase}", phase=phase, paper=PAPER, lanes=lanes)
    for n, rf in enumerate(rfs, 1):
        station, _ = room.station(practical, f"Bench {n}")
        room.measured(station, (rf,))
    return practical


def look(room: Room, kind: str = "", label: str = "Unknown A", *without: str) -> Any:
    query = urlencode([("label", label), *(("without", one) for one in without)])
    return room.lead().get(f"/lead/evidence/unknown{kind}?{query}")


def text(page: str) -> str:
    return " ".join(re.sub(r"<[^>]+>", " ", page).split())


def test_only_the_lead_sees_it(room: Room) -> None:
    ran(room, WATER, 0.3)
    nobody = room.app.test_client()
    for address in ("", *(f"/unknown{kind}?label=Unknown+A" for kind in ("", ".json", ".csv", ".svg"))):
        assert nobody.get(f"/lead/evidence{address}").status_code in (302, 403)


def test_without_any_label_it_says_what_to_do(room: Room) -> None:
    page = text(room.lead().get("/lead/evidence").text)
    assert "No practical has a sample with a label yet" in page
    assert "New practical" in page
    assert look(room).status_code == 404


def test_labels_are_one_whatever_their_case_and_spaces(room: Room) -> None:
    ran(room, WATER, 0.3, 0.31)
    both = (LaneRole(1, "sample", "unknown   a"), LaneRole(2, "reference", "Ash grey"))
    other = room.practical(phase=ETHANOL, paper=PAPER, lanes=both)
    room.measured(room.station(other, "Bench 1")[0], (0.7,), (0.7,))
    page = room.lead().get("/lead/evidence").text
    assert page.count("<li ") == 1
    assert "2 practicals, 3 measured photos" in text(page)
    assert "Ash grey" not in page
    assert len(look(room, ".json", "UNKNOWN A").json["runs"]) == 3


def test_two_mobile_phases_leave_one(room: Room) -> None:
    ran(room, WATER, 0.3)
    one = look(room, ".json").json
    assert one["consistent"] == ["Ash grey", "Bark brown"]
    assert one["next"][0]["mobile_phase"] in (ETHANOL, "ethanol : water 1 : 1")
    ran(room, ETHANOL, 0.7)
    both = look(room, ".json").json
    assert both["consistent"] == ["Ash grey"]
    assert [c["mobile_phase"] for c in both["conditions"] if c["runs"]] == [WATER, ETHANOL]
    page = text(look(room).text)
    assert "Unknown A is consistent with Ash grey." in page
    assert "2 independent agreements at most, of 2 possible" in page
    assert "ethanol: the nearest spot has Rf 0.70, known is 0.20" in page
    assert "necessary, not sufficient" in page


def test_a_run_or_a_practical_is_left_out_by_the_address(room: Room) -> None:
    ran(room, WATER, 0.3)
    other = ran(room, ETHANOL, 0.7)
    run = look(room, ".json").json["runs"][1]["id"]
    for left in (run, other.id):
        found = look(room, ".json", "Unknown A", left).json
        assert [one["taken"] for one in found["runs"]] == [True, False]
        assert found["consistent"] == ["Ash grey", "Bark brown"]
        page = look(room, "", "Unknown A", left).text
        assert re.search(rf'value="{re.escape(left)}" checked', page)
        assert left in re.search(r'href="(/lead/evidence/unknown\.csv[^"]+)"', page)[1]  # type: ignore[index]
    everything = text(look(room, "", "Unknown A", *(one["practical_id"] for one in found["runs"])).text)
    assert "Every run is left out." in everything
    assert "is consistent with" not in everything


def test_a_mobile_phase_that_cannot_be_read_is_listed_with_its_remedy(room: Room) -> None:
    ran(room, "50 % water + 40 % ethanol", 0.3, title="Muddle")
    page = text(look(room).text)
    assert "No run can be compared." in page
    assert "do not add up to 100" in page
    assert look(room, ".json").json["not_compared"][0]["practical"] == "Muddle"


def test_photos_whose_lanes_do_not_fit_the_plan_are_told(room: Room) -> None:
    ran(room, WATER, 0.3, lanes=(A, LaneRole(2, "reference", "Ash grey")), title="One lane too few")
    assert look(room, ".json").json["runs"] == []
    page = text(look(room).text)
    assert "in 1 photo no lane could be told to be this sample" in page


def test_a_lane_named_by_hand_is_a_run_and_a_reference_lane_is_none(room: Room) -> None:
    practical = room.practical(phase=WATER, paper=PAPER, lanes=(LaneRole(1, "reference", "Unknown A"),))
    station, _ = room.station(practical, "Bench 1")
    photo = room.measured(station, (0.3,))
    assert look(room).status_code == 404
    room.lead().post(f"/results/{photo}/lanes/1-1", data={"label": "Find 7"})
    found = look(room, ".json", "find 7").json
    assert [one["station"] for one in found["runs"]] == ["Bench 1"]
    assert found["consistent"] == ["Ash grey", "Bark brown"]


def test_the_newest_measured_photo_of_a_station_counts(room: Room) -> None:
    practical = ran(room, WATER)
    station, _ = room.station(practical, "Bench 1")
    room.measured(station, (0.8,))
    room.measured(station, (0.3,))
    assert [one["spots"] for one in look(room, ".json").json["runs"]] == [[0.3]]


def test_a_class_with_a_sheet_mixed_up(room: Room) -> None:
    ran(room, WATER, *[0.3] * 9, 0.8)
    found = look(room, ".json").json
    assert found["consistent"] == ["Ash grey", "Bark brown"]
    assert "9 agree, 1 disagrees" in text(look(room).text)


def test_csv_holds_a_line_a_substance_and_mobile_phase_run(room: Room) -> None:
    ran(room, WATER, 0.3, lanes=(LaneRole(1, "sample", "=1+1"),))
    answer = look(room, ".csv", "=1+1")
    assert answer.headers["Content-Disposition"] == 'attachment; filename="evidence-1-1.csv"'
    lines = list(csv.DictReader(io.StringIO(answer.text.lstrip("\ufeff"))))
    assert {line["unknown"] for line in lines} == {"'=1+1"}
    clay = next(line for line in lines if line["substance"] == "Clay red")
    assert (clay["verdict"], clay["outcome"], clay["known"], clay["seen"]) == ("ruled out", "disagrees", "0.8", "0.3")
    assert float(clay["e_n"]) > 1.5
    assert {line["mobile_phase"] for line in lines} == {WATER}


def test_the_plot_shows_known_and_seen(room: Room) -> None:
    ran(room, WATER, 0.3)
    drawn = look(room, ".svg").text
    assert drawn.index("Ash grey") < drawn.index("Clay red")
    assert "Rf 0.30 / 0.80" in drawn
    assert "Dew" not in drawn


def test_it_is_linked_from_the_leads_home_and_from_a_practical(room: Room) -> None:
    practical = ran(room, WATER, 0.3)
    assert "/lead/evidence" in room.lead().get("/lead").text
    assert "/lead/evidence/unknown?label=Unknown+A" in room.lead().get(f"/lead/practicals/{practical.id}").text


def test_five_thousand_values_and_thirty_runs_take_no_seconds(room: Room, monkeypatch: pytest.MonkeyPatch) -> None:
    phases = [method_of(f"propanone : water {n} : 10", PAPER, 21.0) for n in range(1, 11)]
    many = Library.of(
        Value(
            f"substance {n}", method, 0.05 + 0.9 * (n * 7919 * (k + 1) % 500) / 500, "invented", "a test", sd=0.02, n=9
        )
        for n in range(500)
        for k, method in enumerate(phases)
    )
    monkeypatch.setattr("webcapture.web.evidence.library", lambda: many)
    ran(room, "propanone : water 1 : 10", *[0.3] * 30)
    page = look(room)
    assert yardsticks(lambda: look(room)) < 15, "four times what was seen"
    assert page.status_code == 200
    assert "30 agree" in page.text
