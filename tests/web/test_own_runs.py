"""Own values grow from reference lanes: offered, accepted, compared with ever after, withdrawn. Substances are invented."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest

from tests.web.room import Room
from webcapture.reference.library import INVENTED, OWN_RUNS, PUBLISHED, Value
from webcapture.reference.method import method_of
from webcapture.store import own_runs as kept
from webcapture.store import practicals
from webcapture.store.records import LaneRole, PracticalInfo
from webcapture.web import library as shelves
from webcapture.web.library import ACCEPTED_HERE, library, library_without

LANES = (LaneRole(1, "reference", "Marl red"), LaneRole(2, "reference", "Tarn blue"), LaneRole(3, "sample", "Vat 7"))
PHASE = "water : ethanol 4 : 1"


@pytest.fixture
def room(tmp_path: Path) -> Iterator[Room]:
    made = Room(tmp_path)
    made.set_passphrase()
    yield made
    made.store.close()


def practical(room: Room, phase: str = PHASE, lanes: tuple[LaneRole, ...] = LANES) -> PracticalInfo:
    return room.practical(phase=phase, lanes=lanes)


def address(one: PracticalInfo) -> str:
    return f"/lead/practicals/{one.id}/own-runs"


def boxes(page: str) -> dict[str, bool]:
    """Whether it is chosen beforehand, by the name of each spot on offer."""
    found = re.findall(r'name="spot" value="([^"]+)"( checked)?', page)
    return {name: bool(checked) for name, checked in found}


def place(name: str) -> str:
    """PHOTO:BAY:LANE:SPOT of a box: what was seen there stands behind it."""
    return name.rpartition(":")[0]


def own(room: Room) -> list[Value]:
    with room.app.test_request_context():
        return [value for value in library().values if value.source == ACCEPTED_HERE]


def three_stations(room: Room, one: PracticalInfo) -> list[str]:
    rfs = ((0.30, 0.60, 0.45), (0.32, 0.62, 0.47), (0.31, 0.61, 0.46))
    return [
        room.measured(room.station(one, f"Bench {n}")[0], *((rf,) for rf in sheet)) for n, sheet in enumerate(rfs, 1)
    ]


def test_accepted_spots_become_a_value_with_mean_spread_and_n(room: Room) -> None:
    one = practical(room)
    photos, lead = three_stations(room, one), room.lead()
    offered = boxes(lead.get(address(one)).text)
    assert sorted(map(place, offered)) == sorted(f"{photo}:1:{lane}:1" for photo in photos for lane in (1, 2))
    assert all(offered.values())
    assert lead.post(address(one), data={"spot": list(offered)}).status_code == 303
    red, blue = own(room)
    assert (red.substance, red.mark, red.n) == ("Marl red", OWN_RUNS, 3)
    # Mean 0.31 and sample standard deviation 0.01 of 0.30, 0.32, 0.31, by hand.
    assert red.rf == pytest.approx(0.31, abs=5e-4)
    # One practical does not show how far days differ: half the window of 0.05 at least.
    assert red.sd == pytest.approx(0.025)
    assert blue.rf == pytest.approx(0.61, abs=5e-4)
    assert red.method == method_of(PHASE, "filter paper", 21.0)
    page = lead.get(address(one)).text
    assert "<strong>6</strong> runs of this practical count." in page
    assert "Known from 3 sheets under these conditions: mean Rf 0.310, s 0.010." in page
    assert boxes(page) == {}


def test_other_practicals_are_compared_with_them_from_then_on(room: Room) -> None:
    first, lead = practical(room), room.lead()
    three_stations(room, first)
    sample = (LaneRole(1, "sample", "Vat 9"),)
    # The same mobile phase written otherwise, and another one.
    same = practical(room, lanes=sample, phase="10 mL ethanol + 40 mL water")
    other = practical(room, lanes=sample, phase="water : ethanol 1 : 1")
    results = [f"/results/{room.measured(room.station(p, 'Bench 9')[0], (0.312,))}" for p in (same, other)]
    assert all("Marl red" not in lead.get(result).text for result in results)
    lead.post(address(first), data={"spot": list(boxes(lead.get(address(first)).text))})
    pages = [lead.get(result).text for result in results]
    assert "Spot 1: consistent with Marl red." in pages[0]
    assert "own runs" in pages[0]
    assert "Marl red" not in pages[1]


def test_what_needs_a_second_look_is_not_chosen_beforehand(room: Room) -> None:
    one, lead = practical(room), room.lead()
    photos = three_stations(room, one)
    double = room.measured(room.station(one, "Bench 4")[0], (0.31, 0.7), (0.61,), (0.5,))
    offered = boxes(lead.get(address(one)).text)
    assert [place(name) for name, chosen in offered.items() if not chosen] == [f"{double}:1:1:1", f"{double}:1:1:2"]
    assert sum(offered.values()) == 7
    assert len(photos) == 3


def test_an_outlier_is_told_and_not_chosen(room: Room) -> None:
    one, lead = practical(room), room.lead()
    for n, rf in enumerate((0.30, 0.302, 0.301, 0.299, 0.45), 1):
        room.measured(room.station(one, f"Bench {n}")[0], (rf,), (0.6,), (0.5,))
    page = lead.get(address(one)).text
    assert page.count("apart from the other stations") == 1
    assert sum(boxes(page).values()) == len(boxes(page)) - 1


def test_two_spots_of_one_lane_are_declined_and_nothing_is_kept(room: Room) -> None:
    one, lead = practical(room), room.lead()
    double = room.measured(room.station(one, "Bench 4")[0], (0.31, 0.7), (0.61,), (0.5,))
    names = {place(name): name for name in boxes(lead.get(address(one)).text)}
    answer = lead.post(address(one), data={"spot": [names[f"{double}:1:{n}"] for n in ("2:1", "1:1", "1:2")]})
    assert answer.status_code == 400
    assert "Two spots of one lane were chosen." in answer.text
    assert own(room) == []
    kept_one = lead.post(address(one), data={"spot": [names[f"{double}:1:1:2"]]})
    assert kept_one.status_code == 303
    assert [value.rf for value in own(room)] == [pytest.approx(0.7, abs=5e-4)]


@pytest.mark.parametrize("spots", [[], ["nonsense"], ["00000000-0000-0000-0000-000000000000:1:1:1"], ["a" * 3000]])
def test_what_is_not_on_offer_is_declined_with_the_remedy(room: Room, spots: list[str]) -> None:
    one, lead = practical(room), room.lead()
    three_stations(room, one)
    answer = lead.post(address(one), data={"spot": spots})
    assert answer.status_code == 400
    assert ("No spot was chosen." if not spots else "changed meanwhile") in answer.text
    assert own(room) == []


def test_a_sample_lanes_spot_cannot_be_slipped_in(room: Room) -> None:
    one, lead = practical(room), room.lead()
    photos = three_stations(room, one)
    assert lead.post(address(one), data={"spot": [f"{photos[0]}:1:3:1"]}).status_code == 400
    assert own(room) == []


def test_withdrawn_runs_count_no_more_and_can_come_back(room: Room) -> None:
    one, lead = practical(room), room.lead()
    three_stations(room, one)
    offered = list(boxes(lead.get(address(one)).text))
    lead.post(address(one), data={"spot": offered})
    with room.store.database.reading() as session:
        runs = kept.accepted_runs(session)
    assert lead.post(f"{address(one)}/withdraw", data={"run": runs[0].id}).status_code == 303
    page = lead.get(address(one)).text
    assert "<strong>5</strong> runs" in page
    assert len(boxes(page)) == 1
    assert next(value.n for value in own(room) if value.substance == runs[0].run.substance) == 2
    lead.post(address(one), data={"spot": list(boxes(page))})
    assert [value.n for value in own(room)] == [3, 3]


@pytest.mark.parametrize("number", ["", "x", "999999", "-1", "1" * 40])
def test_withdrawing_what_is_not_there_does_nothing(room: Room, number: str) -> None:
    one, lead = practical(room), room.lead()
    three_stations(room, one)
    lead.post(address(one), data={"spot": list(boxes(lead.get(address(one)).text))})
    assert lead.post(f"{address(one)}/withdraw", data={"run": number}).status_code == 303
    assert "<strong>6</strong> runs" in lead.get(address(one)).text


def test_another_practicals_run_is_not_withdrawn_from_here(room: Room) -> None:
    one, lead = practical(room), room.lead()
    three_stations(room, one)
    lead.post(address(one), data={"spot": list(boxes(lead.get(address(one)).text))})
    with room.store.database.reading() as session:
        number = kept.accepted_runs(session)[0].id
    lead.post(f"{address(practical(room))}/withdraw", data={"run": number})
    assert "<strong>6</strong> runs" in lead.get(address(one)).text


def test_corrected_after_accepting_it_says_so_and_is_offered_anew(room: Room) -> None:
    one, lead = practical(room), room.lead()
    photo = room.measured(room.station(one, "Bench 1")[0], (0.30,), (0.6,), (0.5,))
    lead.post(address(one), data={"spot": list(boxes(lead.get(address(one)).text))})
    page = lead.get(f"/results/{photo}").text
    field = re.search(r'name="(spot-[0-9a-f]+)"[^>]*value="([\d.]+)"', page)
    assert field is not None
    lead.post(f"/results/{photo}/lanes/1-1", data={field[1]: str(float(field[2]) + 3)})
    page = lead.get(address(one)).text
    assert "changed since" in page
    assert list(map(place, boxes(page))) == [f"{photo}:1:1:1"]
    lead.post(address(one), data={"spot": list(boxes(page))})
    assert boxes(lead.get(address(one)).text) == {}
    red = next(value for value in own(room) if value.substance == "Marl red")
    assert red.n == 1
    assert red.rf > 0.32


def test_what_changes_between_the_look_and_the_sending_is_not_accepted(room: Room) -> None:
    one, lead = practical(room), room.lead()
    photo = room.measured(room.station(one, "Bench 1")[0], (0.30,), (0.6,), (0.5,))
    offered = list(boxes(lead.get(address(one)).text))
    page = lead.get(f"/results/{photo}").text
    field = re.search(r'name="(spot-[0-9a-f]+)"[^>]*value="([\d.]+)"', page)
    assert field is not None
    lead.post(f"/results/{photo}/lanes/1-1", data={field[1]: str(float(field[2]) + 3)})
    answer = lead.post(address(one), data={"spot": offered})
    assert (answer.status_code, own(room)) == (400, [])
    assert "changed meanwhile" in answer.text


def test_named_anew_after_accepting_it_is_offered_anew(room: Room) -> None:
    one, lead = practical(room), room.lead()
    room.measured(room.station(one, "Bench 1")[0], (0.30,), (0.6,), (0.5,))
    lead.post(address(one), data={"spot": list(boxes(lead.get(address(one)).text))})
    plan = replace(one.plan, lanes=(LaneRole(1, "reference", "Fell moss"), *LANES[1:]))
    with room.store.database.writing() as session:
        practicals.change(session, one.id, plan)
    page = lead.get(address(one)).text
    assert "Accepted as Marl red" in page
    assert lead.post(address(one), data={"spot": list(boxes(page))}).status_code == 303
    assert sorted(value.substance for value in own(room)) == ["Fell moss", "Tarn blue"]


def test_a_newer_photo_of_a_station_takes_the_place_of_the_older(room: Room) -> None:
    """The same sheet photographed again is no second sheet."""
    one, lead = practical(room), room.lead()
    station, _token = room.station(one, "Bench 1")
    for rf in (0.30, 0.302):
        room.measured(station, (rf,), (0.6,), (0.5,))
        offered = boxes(lead.get(address(one)).text)
        assert len(offered) == 2
        lead.post(address(one), data={"spot": list(offered)})
        assert [value.n for value in own(room)] == [1, 1]
    assert own(room)[0].rf == pytest.approx(0.302, abs=5e-4)


def test_far_from_what_is_known_needs_a_second_look(room: Room) -> None:
    one, lead = practical(room), room.lead()
    with room.app.test_request_context():
        method = method_of(PHASE, "filter paper", 21.0)
        shelves.add([Value("marl red", method, 0.62, PUBLISHED, "a book made up for this test", sd=0.01, n=5)])
        shelves.add([Value("Tarn blue", method, 0.2, INVENTED, "invented for this test")])
    three_stations(room, one)
    page = lead.get(address(one)).text
    assert page.count("far from what is known: 0.62 (published)") == 3
    assert sum(boxes(page).values()) == 3


def test_own_values_are_no_evidence_for_the_practical_they_come_from(room: Room) -> None:
    one, lead = practical(room), room.lead()
    three_stations(room, one)
    lead.post(address(one), data={"spot": list(boxes(lead.get(address(one)).text))})
    with room.app.test_request_context():
        assert [value.n for value in library().values if value.source == ACCEPTED_HERE] == [3, 3]
        assert not [value for value in library_without(one.id).values if value.source == ACCEPTED_HERE]
        assert library_without("another") is library()
    assert "Marl red, library" not in lead.get(f"/lead/practicals/{one.id}/plot.svg").text


def test_days_of_which_there_are_enough_tell_their_own_spread(room: Room) -> None:
    lead = room.lead()
    for n, rf in enumerate((0.30, 0.31, 0.32)):
        one = practical(room)
        room.measured(room.station(one, "Bench 1")[0], (rf,), (0.6,), (0.5,))
        lead.post(address(one), data={"spot": list(boxes(lead.get(address(one)).text))})
        expected = (None, 0.025, 0.01)[n]
        assert own(room)[0].sd == (None if expected is None else pytest.approx(expected, abs=5e-4))


def test_what_was_accepted_stays_when_the_practical_goes(room: Room) -> None:
    one, lead = practical(room), room.lead()
    three_stations(room, one)
    lead.post(address(one), data={"spot": list(boxes(lead.get(address(one)).text))})
    lead.post(f"/lead/practicals/{one.id}/delete")
    assert lead.get(address(one)).status_code == 404
    assert [(value.substance, value.n) for value in own(room)] == [("Marl red", 3), ("Tarn blue", 3)]
    with room.store.database.reading() as session:
        told = [(run.practical_title, repr(run)) for run in kept.accepted_runs(session)]
    assert all(title == one.plan.title and "Bench" not in words for title, words in told)


def test_an_unclear_mobile_phase_and_no_reference_lanes_say_what_to_do(room: Room) -> None:
    lead = room.lead()
    unclear = practical(room, phase="ether : water 1 : 1")
    three_stations(room, unclear)
    page = lead.get(address(unclear)).text
    assert "could be" in page
    assert lead.post(address(unclear), data={"spot": ["x"]}).status_code == 400
    bare = practical(room, lanes=LANES[2:])
    assert "This practical has no reference lane." in lead.get(address(bare)).text


def test_it_is_the_leads_page(room: Room) -> None:
    one = practical(room)
    _info, token = room.station(one, "Bench 1")
    for client in (room.app.test_client(), room.station_client(token)):
        assert client.get(address(one)).status_code == 403
        assert client.post(address(one), data={"spot": ["x"]}).status_code == 403
    assert room.lead().get("/lead/practicals/none/own-runs").status_code == 404
